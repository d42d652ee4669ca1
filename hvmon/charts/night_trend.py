"""Summaries of a person's nights over time: what may be compared is joined by a line, nothing else is."""

from functools import lru_cache
from typing import Any

import altair as alt
import polars as pl

from hvmon.charts.picture import Picture, fill, hole, template
from hvmon.charts.theme import PALETTES, Look, Palette
from hvmon.units import KPA_PER_MMHG, PressureUnit

FONT_PX = 12.0
LANE_PX, GAP_PX = 64.0, 18.0
SIGN_PX2 = 70.0

TREND: dict[str, Any] = {
    "night_of": pl.Date,
    "lane": pl.String,
    "value": pl.Float64,
    "said": pl.String,
    "series": pl.String,
    "on_ventilator": pl.Boolean,
}
"""One row a night and lane: value (CO2 in kPa), the same in words, and what it may be joined with."""

LANES: tuple[tuple[str, str, float], ...] = (
    ("below_90", "Below 90 %, % of valid time", 5.0),
    ("dips", "Falls in saturation, /h", 5.0),
    ("co2", "tcCO2 mean", 0.5),
)
"""Key, words and least height of each lane."""


def _named(name: str) -> alt.Chart:
    chart: alt.Chart = alt.Chart(alt.NamedData(name))
    return chart


@lru_cache(maxsize=4)
def _template(look: Look) -> str:
    palette = PALETTES[look]
    axis = alt.Axis(
        title=None, values=[hole("x_values")], labelExpr=hole("x_label"), grid=False, labelOverlap=True
    )
    scale = alt.Scale(domain=[hole("x_from"), hole("x_to")], nice=False, zero=False)
    x, y = alt.X("t:Q", axis=axis, scale=scale), alt.Y("y:Q", scale=None, axis=None)
    line = _named("points").mark_line(stroke=palette.muted, strokeWidth=1.2, aria=False)
    sign = _named("points").mark_point(size=SIGN_PX2, strokeWidth=1.4, opacity=1)
    words = _named("words").mark_text(align="right", dx=-8, baseline="middle", fill=palette.ink)
    tooltip = [alt.Tooltip("night:N", title="night of"), alt.Tooltip("said:N", title="value")]
    stroke, inside = alt.value(palette.ink), alt.Fill("fill:N", scale=None)
    whole = alt.layer(
        _named("floors").mark_rule(stroke=palette.grid).encode(y=y),
        line.encode(x=x, y=y, detail="series:N"),
        sign.encode(x=x, y=y, stroke=stroke, fill=inside, tooltip=tooltip),
        words.encode(x=alt.value(0), y=y, text="words:N"),
    ).resolve_scale(y="shared")
    return template({**whole.to_dict(validate=False), "height": hole("height")}, look, FONT_PX)


def draw_night_trend(rows: pl.DataFrame, *, look: Look, unit: PressureUnit) -> Picture:
    """Draw the summaries of nights over time, a lane for each; hollow on the ventilator.

    Parameters
    ----------
    rows : polars.DataFrame
        `TREND`, at least one row. Rows of one series are joined.
    look, unit
        Surroundings; unit of CO2.
    """
    lanes = [lane for lane in LANES if (rows["lane"] == lane[0]).any()]
    factor = 1.0 if unit == PressureUnit.KPA else 1.0 / KPA_PER_MMHG
    first = rows["night_of"].min()
    placed, texts = [], []
    for number, (key, words, least) in enumerate(lanes):
        top = number * (LANE_PX + GAP_PX)
        of_lane = rows.filter(pl.col("lane") == key)
        scale = factor if key == "co2" else 1.0
        low, high = _ends(of_lane["value"], least, from_zero=key != "co2")
        placed.append(_placed(of_lane, top, low, high, PALETTES[look]))
        middle = f"{words}, {unit.value}" if key == "co2" else words
        for y, text in (
            (8.0, f"{high * scale:.1f}"),
            (LANE_PX / 2, middle),
            (LANE_PX - 8.0, f"{low * scale:.1f}"),
        ):
            texts.append({"y": top + y, "words": text})
    points = pl.concat(placed).with_columns(t=(pl.col("night_of") - first).dt.total_days().cast(pl.Float64))
    frames = {
        "points": points.drop("night_of"),
        "words": pl.DataFrame(texts, schema={"y": pl.Float64, "words": pl.String}),
        "floors": pl.DataFrame(
            {"y": [number * (LANE_PX + GAP_PX) + LANE_PX for number in range(len(lanes))]}
        ),
    }
    names = [words for _, words, _ in lanes]
    told = f"{rows['night_of'].n_unique()} nights over time: {'; '.join(names)}. The table holds the numbers."
    return Picture(fill(_template(look), _holes(points, len(lanes))), frames, told)


def _placed(rows: pl.DataFrame, top: float, low: float, high: float, palette: Palette) -> pl.DataFrame:
    share = (pl.lit(high) - pl.col("value")) / (high - low)
    return rows.select(
        "night_of",
        (share * LANE_PX + top).alias("y"),
        (pl.col("lane") + " " + pl.col("series")).alias("series"),
        "said",
        pl.col("night_of").dt.strftime("%d %b %Y").alias("night"),
        pl.when("on_ventilator").then(pl.lit(palette.paper)).otherwise(pl.lit(palette.ink)).alias("fill"),
    )


def _ends(values: pl.Series, least: float, *, from_zero: bool) -> tuple[float, float]:
    """Give the ends of a lane: from nought for shares and counts, around the values for CO2."""
    low, high = float(values.min()), float(values.max())  # type: ignore[arg-type]
    if from_zero:
        return 0.0, max(high, least)
    spare = max((least - (high - low)) / 2, 0.1)
    return low - spare, high + spare


def _holes(points: pl.DataFrame, n_lanes: int) -> dict[str, Any]:
    days = points.select("t", "night").unique().sort("t")
    span = max(float(days["t"][-1]), 1.0)
    labels = ",".join(f"'{night}'" for night in days["night"])
    return {
        "x_from": -0.04 * span,
        "x_to": 1.04 * span,
        "x_values": days["t"].to_list(),
        "x_label": f"[{labels}][indexof([{','.join(map(str, days['t'].to_list()))}], datum.value)]",
        "height": n_lanes * (LANE_PX + GAP_PX),
    }
