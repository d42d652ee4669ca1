"""The forest plot: one figure a row with its interval, and the people and changes behind it in words.

Nothing rests on colour: the figure of everybody is a filled diamond, that of a diagnosis group a hollow
square, and a row without a figure says why in the place of one.
"""

from functools import lru_cache
from typing import Any

import altair as alt
import polars as pl

from hvmon.charts.picture import Picture, fill, hole, template
from hvmon.charts.theme import PALETTES, Look, Palette
from hvmon.units import MMHG_PER_KPA, PressureUnit

FONT_PX = 13.0
ROW_PX = 42.0
"""[px] height of a row: its name, and under it how many stand behind its figure."""

SIGN_PX2 = 130.0
LABEL_PX, FIGURE_PX = 200.0, 185.0
"""[px] room for the names of rows on the left and for the figures in words on the right."""

EVERYBODY = "all"
LEAST_REACH_KPA = 0.15
"""[kPa a unit] the axis never shows less on either side of zero."""

ROWS: dict[str, Any] = {
    "group": pl.String,
    "estimate_kpa": pl.Float64,
    "low_kpa": pl.Float64,
    "high_kpa": pl.Float64,
    "behind": pl.String,
    "why_none": pl.String,
}
"""One row a figure: whose, estimate with 95 % interval [kPa a unit], n in words, why there is none."""


def _named(name: str) -> alt.Chart:
    chart: alt.Chart = alt.Chart(alt.NamedData(name))
    return chart


def _x(field: str) -> alt.X:
    scale = alt.Scale(domain=[hole("low"), hole("high")], nice=False, zero=False)
    return alt.X(f"{field}:Q", scale=scale, axis=alt.Axis(title=hole("title"), tickCount=7, grid=True))


def _rows(axis: alt.Axis | None = None) -> alt.Y:
    """Give the place of a row; its axis is drawn by one layer a side."""
    return alt.Y("row:N", sort=None, scale=alt.Scale(domain=[hole("rows")], padding=0), axis=axis)


def _named_rows(*, figures: bool = False) -> alt.Y:
    """Give the axis of rows: on the left the group and how many stand behind it, on the right the figure."""
    side: dict[str, Any] = {
        "orient": "right" if figures else "left",
        "labelExpr": "split(datum.label, '|')[2]" if figures else "slice(split(datum.label, '|'), 0, 2)",
        "minExtent": FIGURE_PX if figures else LABEL_PX,
        "labelOffset": 0 if figures else -FONT_PX * 0.6,
    }
    axis = alt.Axis(
        title=None,
        labelLimit=320,
        labelLineHeight=FONT_PX * 1.25,
        labelBaseline="middle",
        ticks=False,
        domain=False,
        **side,
    )
    return _rows(axis)


_TOOLTIP = [
    alt.Tooltip("group:N", title="group"),
    alt.Tooltip("said:N", title="figure"),
    alt.Tooltip("behind:N", title="behind it"),
]


def _signs(palette: Palette) -> list[alt.Chart]:
    everybody = f"datum.group === '{EVERYBODY}'"
    signs = _named("figures").mark_point(size=SIGN_PX2, strokeWidth=1.8, opacity=1)
    rule = _named("figures").mark_rule(stroke=palette.ink, strokeWidth=1.8, clip=True)
    shape = {"condition": {"test": everybody, "value": "diamond"}, "value": "square"}
    inside = {"condition": {"test": everybody, "value": palette.ink}, "value": palette.paper}
    stroke = alt.value(palette.ink)
    return [
        rule.encode(x=_x("low"), x2="high:Q", y=_named_rows()),
        signs.encode(x=_x("estimate"), y=_rows(), shape=shape, stroke=stroke, fill=inside, tooltip=_TOOLTIP),
    ]


def _ends_words(palette: Palette) -> list[alt.Chart]:
    """Say above the plot which side means what."""
    style: dict[str, Any] = {"baseline": "bottom", "dy": -4, "fill": palette.muted, "fontSize": FONT_PX}
    left, right = (_named("ends").mark_text(align=side, **style) for side in ("left", "right"))
    return [
        left.encode(x=alt.value(0), y=alt.value(0), text="lower:N"),
        right.encode(x={"value": "width"}, y=alt.value(0), text="higher:N"),
    ]


@lru_cache(maxsize=4)
def forest_template(look: Look) -> str:
    """Give the template of the forest plot in a look; built once."""
    palette = PALETTES[look]
    zero = _named("zero").mark_rule(stroke=palette.ink, strokeDash=[4, 3], strokeWidth=1.2)
    missing = _named("missing").mark_text(
        align="left", baseline="middle", dx=8, fill=palette.muted, fontSize=FONT_PX
    )
    unseen = _named("figures").mark_point(opacity=0, tooltip=None)
    chart = alt.layer(
        zero.encode(x=_x("zero")),
        *_signs(palette),
        missing.encode(x=alt.value(0), y=_rows(), text="why_none:N"),
        *_ends_words(palette),
        unseen.encode(y=_named_rows(figures=True)),
    ).resolve_axis(y="independent")
    return template({**chart.to_dict(validate=False), "height": hole("height")}, look, FONT_PX)


def draw_forest(rows: pl.DataFrame, *, what: str, per: str, look: Look, unit: PressureUnit) -> Picture:
    """Draw the effects of one kind of change: everybody first, then each diagnosis group.

    Parameters
    ----------
    rows : polars.DataFrame
        Columns of `ROWS`; a row without an estimate says why in the place of its figure.
    what : str
        What was changed, such as "pressure support".
    per : str
        One unit of it, such as "cmH2O".
    look : Look
        Surroundings.
    unit : PressureUnit
        Unit of the axis.
    """
    frame = _shown(rows, unit)
    figures = frame.filter(pl.col("estimate").is_not_null())
    missing = frame.filter(pl.col("estimate").is_null()).select("row", "why_none")
    low, high = _ends(figures, unit)
    names = frame["row"].to_list()
    title = f"{unit.value} per {per} of {what}"
    height = ROW_PX * max(1, frame.height)
    spec = fill(
        forest_template(look), {"low": low, "high": high, "title": title, "height": height, "rows": names}
    )
    lines = [
        f"{row['group']}: {row['said'] or row['why_none']} ({row['behind']})"
        for row in frame.iter_rows(named=True)
    ]
    return Picture(
        spec,
        {
            "figures": figures.drop("why_none"),
            "missing": missing,
            "zero": pl.DataFrame({"zero": [0.0]}),
            "ends": pl.DataFrame({"lower": ["◂ CO2 lower after"], "higher": ["CO2 higher after ▸"]}),
        },
        f"PaCO2 after minus before, {title}, 95 % interval. {'; '.join(lines)}.",
    )


def _shown(rows: pl.DataFrame, unit: PressureUnit) -> pl.DataFrame:
    """Give the rows in the display unit, with their two-line names and their figure in words."""
    factor, places = (1.0, 3) if unit == PressureUnit.KPA else (MMHG_PER_KPA, 2)
    numbers = {name: pl.col(f"{name}_kpa") * factor for name in ("estimate", "low", "high")}
    frame = rows.select("group", "behind", "why_none", **numbers)
    said = [
        "" if row["estimate"] is None
        else f"{row['estimate']:+.{places}f} ({row['low']:+.{places}f} to {row['high']:+.{places}f})"
        for row in frame.iter_rows(named=True)
    ]  # fmt: skip
    told = frame.with_columns(pl.Series("said", said, dtype=pl.String))
    return told.with_columns(pl.format("{}|{}|{}", "group", "behind", "said").alias("row"))


def _ends(figures: pl.DataFrame, unit: PressureUnit) -> tuple[float, float]:
    factor = 1.0 if unit == PressureUnit.KPA else MMHG_PER_KPA
    least = LEAST_REACH_KPA * factor
    ends = [*figures["low"].to_list(), *figures["high"].to_list()]
    reach = max(0.02 * factor, 0.06 * (max(ends) - min(ends))) if ends else 0.0
    low, high = min([-least, *(end - reach for end in ends)]), max([least, *(end + reach for end in ends)])
    return round(low, 3), round(high, 3)
