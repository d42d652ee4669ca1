"""Charts of the titration review: metabolic hyperbola, before and after, and the way to a new level.

Bands are modelled and differ in lightness; readings are filled, proposals are hollow with their letter
inside, so that grey paper keeps them apart.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import altair as alt
import polars as pl

from hvmon.charts.picture import Picture, fill, hole, template
from hvmon.charts.theme import PALETTES, Look, Palette
from hvmon.units import MMHG_PER_KPA, PressureUnit

FONT_PX = 13.0
HYPERBOLA_PX, FAN_PX, ROW_PX = 300.0, 190.0, 34.0
"""[px] height of the hyperbola, of a fan, of one row of before and after."""

SIGN_PX2 = 330.0
NOW = "now"
"""Label of the point that stands for the settings in force."""

CURVE = ("low_95_kpa", "low_80_kpa", "paco2_kpa", "high_80_kpa", "high_95_kpa")
"""Pressures of a curve [kPa]: outer and inner interval about the middle."""

POINTS: dict[str, Any] = {
    "label": pl.String,
    "alveolar_l_min": pl.Float64,
    "low_l_min": pl.Float64,
    "high_l_min": pl.Float64,
    "kpa": pl.Float64,
    "low_95_kpa": pl.Float64,
    "high_95_kpa": pl.Float64,
}
"""Points of the hyperbola: the reading now and each proposal, with 95 % intervals both ways."""

INTERVALS: dict[str, Any] = {"label": pl.String, "words": pl.String, **dict.fromkeys(CURVE, pl.Float64)}
"""Rows of before and after: label, what would change, and the expected pressure with its intervals [kPa]."""

LEAST_SPAN_KPA = 3.0
"""[kPa] an axis of pressure never shows less."""


def in_unit(frame: pl.DataFrame, columns: Sequence[str], unit: PressureUnit) -> pl.DataFrame:
    """Give a frame whose pressures [kPa] are in the display unit."""
    factor = 1.0 if unit == PressureUnit.KPA else MMHG_PER_KPA
    return frame.with_columns(pl.col(name) * factor for name in columns)


def span(values: Sequence[float | None], unit: PressureUnit) -> tuple[float, float]:
    """Give the ends of an axis of pressure around values in the display unit."""
    factor = 1.0 if unit == PressureUnit.KPA else MMHG_PER_KPA
    known = [value for value in values if value is not None]
    if not known:
        return 4.0 * factor, 8.0 * factor
    low, high = min(known) - 0.3 * factor, max(known) + 0.3 * factor
    spare = max(0.0, LEAST_SPAN_KPA * factor - (high - low)) / 2
    return round(max(0.0, low - spare), 2), round(high + spare, 2)


def named(name: str) -> alt.Chart:
    """Give a chart on a named frame."""
    chart: alt.Chart = alt.Chart(alt.NamedData(name))
    return chart


def _bands(name: str, x: alt.X, y: alt.Y, palette: Palette) -> list[alt.Chart]:
    """Draw the two bands and the dashed middle of a curve."""
    wide = named(name).mark_area(fill=palette.band_wide, clip=True)
    narrow = named(name).mark_area(fill=palette.band_narrow, clip=True)
    middle = named(name).mark_line(stroke=palette.modelled, strokeDash=[6, 3], strokeWidth=1.6, clip=True)
    return [
        wide.encode(x=x, y=_of(y, "low_95_kpa"), y2="high_95_kpa:Q"),
        narrow.encode(x=x, y=_of(y, "low_80_kpa"), y2="high_80_kpa:Q"),
        middle.encode(x=x, y=y),
    ]


def _of(y: alt.Y, field: str) -> alt.Y:
    copy = y.copy()
    copy.shorthand = f"{field}:Q"
    return copy


def _pressure(title: Any) -> alt.Y:  # noqa: ANN401 - a text or a hole
    scale = alt.Scale(domain=[hole("low"), hole("high")], nice=False, zero=False)
    return alt.Y("paco2_kpa:Q", scale=scale, axis=alt.Axis(title=title, tickCount=6, titlePadding=8))


def _lettered(name: str, x: alt.X, y: alt.Y, palette: Palette, tooltip: list[alt.Tooltip]) -> list[alt.Chart]:
    """Draw the reading now as a filled sign, each proposal as a hollow one with its letter inside."""
    is_now = f"datum.label === '{NOW}'"
    signs = named(name).mark_point(size=SIGN_PX2, opacity=1, strokeWidth=1.8, shape="circle", clip=True)
    texts = named(name).mark_text(fontSize=FONT_PX, fontWeight=700, baseline="middle", clip=True)
    ink = alt.value(palette.ink)
    hollow = {"condition": {"test": is_now, "value": palette.ink}, "value": palette.paper}
    return [
        signs.encode(x=x, y=y, stroke=ink, fill=hollow, tooltip=tooltip),
        texts.encode(x=x, y=y, text="letter:N", fill=ink),
    ]


# --- metabolic hyperbola -----------------------------------------------------------------------------


@lru_cache(maxsize=8)
def hyperbola_template(look: Look) -> str:
    """Give the template of the metabolic hyperbola in a look; built once."""
    palette = PALETTES[look]
    scale = alt.Scale(domain=[hole("left"), hole("right")], nice=False, zero=False)
    x = alt.X(
        "alveolar_l_min:Q",
        scale=scale,
        axis=alt.Axis(title="Alveolar ventilation, L/min", tickCount=8, grid=True),
    )
    y = _pressure(hole("title"))
    across = named("points").mark_rule(stroke=palette.muted, strokeWidth=1.4, clip=True)
    up = named("points").mark_rule(stroke=palette.muted, strokeWidth=1.4, clip=True)
    point_y = _of(y, "kpa")
    beside = named("points").mark_text(
        fontSize=FONT_PX, fontWeight=700, align="left", baseline="bottom", dx=12, dy=-4, fill=palette.ink
    )
    rim = beside.copy()
    rim.mark = rim.mark.copy()
    rim.mark.stroke, rim.mark.strokeWidth, rim.mark.fill = palette.paper, 4, palette.paper
    chart = alt.layer(
        *_bands("curve", x, y, palette),
        across.encode(x=_x_of(x, "low_l_min"), x2="high_l_min:Q", y=point_y),
        up.encode(x=x, y=_of(y, "low_95_kpa"), y2="high_95_kpa:Q"),
        *_lettered("points", x, point_y, palette, [alt.Tooltip("words:N", title="point")]),
        rim.encode(x=x, y=point_y, text="beside:N"),
        beside.encode(x=x, y=point_y, text="beside:N"),
    ).properties(height=HYPERBOLA_PX)
    return template(chart.to_dict(validate=False), look, FONT_PX)


def _x_of(x: alt.X, field: str) -> alt.X:
    copy = x.copy()
    copy.shorthand = f"{field}:Q"
    return copy


def draw_hyperbola(curve: pl.DataFrame, points: pl.DataFrame, *, look: Look, unit: PressureUnit) -> Picture:
    """Draw the metabolic hyperbola of this person with the reading now and each proposal on it.

    Parameters
    ----------
    curve : polars.DataFrame
        ``alveolar_l_min`` and the columns of `CURVE` [kPa].
    points : polars.DataFrame
        Columns of `POINTS`; the label `NOW` is the reading, others are proposals.
    look : Look
        Surroundings.
    unit : PressureUnit
        Unit of the axis.
    """
    lines = in_unit(curve, CURVE, unit)
    marks = with_letters(in_unit(points, ("kpa", "low_95_kpa", "high_95_kpa"), unit)).with_columns(
        pl.format(
            "{}: {} {} at {} L/min",
            "label",
            pl.col("kpa").round(1),
            pl.lit(unit.value),
            pl.col("alveolar_l_min").round(1),
        ).alias("words")
    )
    low, high = span([*marks["low_95_kpa"], *marks["high_95_kpa"]], unit)
    ends = [*marks["low_l_min"], *marks["high_l_min"]]
    left, right = (max(0.0, 0.85 * min(ends)), 1.08 * max(ends)) if ends else (2.0, 8.0)
    spec = fill(
        hyperbola_template(look),
        {"low": low, "high": high, "left": left, "right": right, "title": f"PaCO2, {unit.value}"},
    )
    told = "; ".join(marks["words"].to_list())
    words = f"Metabolic hyperbola: PaCO2 against alveolar ventilation with 80 and 95 % bands. {told}."
    return Picture(spec, {"curve": lines, "points": marks}, words)


def with_letters(frame: pl.DataFrame) -> pl.DataFrame:
    """Add the letter that stands inside a sign: none for the reading now, which is filled."""
    letter = pl.when(pl.col("label") == NOW).then(pl.lit("")).otherwise(pl.col("label").str.slice(0, 1))
    beside = pl.when(pl.col("label") == NOW).then(pl.lit(NOW)).otherwise(pl.lit(""))
    return frame.with_columns(letter.alias("letter"), beside.alias("beside"))


# --- before and after --------------------------------------------------------------------------------


@lru_cache(maxsize=8)
def intervals_template(look: Look) -> str:
    """Give the template of before and after in a look; built once."""
    palette = PALETTES[look]
    scale = alt.Scale(domain=[hole("low"), hole("high")], nice=False, zero=False)
    x = alt.X("paco2_kpa:Q", scale=scale, axis=alt.Axis(title=hole("title"), tickCount=8, grid=True))
    y = alt.Y(
        "label:N",
        sort=None,
        axis=alt.Axis(title=None, labelPadding=8, grid=False, domain=False, ticks=False),
    )
    wide = named("rows").mark_bar(height=7, fill=palette.band_narrow, stroke=palette.muted, strokeWidth=0.6)
    narrow = named("rows").mark_bar(height=13, fill=palette.modelled, fillOpacity=0.75)
    before = named("now").mark_rule(stroke=palette.ink, strokeDash=[3, 3], strokeWidth=1.2)
    ends = {"x": _x_of(x, "low_95_kpa"), "x2": "high_95_kpa:Q", "y": y}
    inner = {"x": _x_of(x, "low_80_kpa"), "x2": "high_80_kpa:Q", "y": y}
    chart = alt.layer(
        wide.encode(**ends),
        narrow.encode(**inner),
        before.encode(x=x),
        *_lettered("rows", x, y, palette, [alt.Tooltip("said:N", title="expected")]),
    )
    return template({**chart.to_dict(validate=False), "height": hole("height")}, look, FONT_PX)


def draw_intervals(rows: pl.DataFrame, *, title: str, look: Look, unit: PressureUnit) -> Picture:
    """Draw the reading before and what each proposal could bring, with 80 and 95 % intervals.

    Parameters
    ----------
    rows : polars.DataFrame
        Columns of `INTERVALS`; the row `NOW` is the reading before, whose interval is that of a repeat.
    title : str
        What the pressures are of.
    look : Look
        Surroundings.
    unit : PressureUnit
        Unit of the axis.
    """
    frame = with_letters(in_unit(rows, CURVE, unit)).with_columns(
        pl.format(
            "{}: {} {}, 80 % {} to {}, 95 % {} to {}",
            "label",
            pl.col("paco2_kpa").round(1),
            pl.lit(unit.value),
            *(pl.col(f"{side}_{share}_kpa").round(1) for share in (80, 95) for side in ("low", "high")),
        ).alias("said")
    )
    low, high = span([*frame["low_95_kpa"], *frame["high_95_kpa"]], unit)
    spec = fill(
        intervals_template(look),
        {
            "low": low,
            "high": high,
            "title": f"{title}, {unit.value}",
            "height": ROW_PX * max(1, frame.height),
        },
    )
    now = frame.filter(pl.col("label") == NOW).select("paco2_kpa")
    words = f"{title}, with 80 and 95 % intervals. {'; '.join(frame['said'].to_list())}."
    return Picture(spec, {"rows": frame, "now": now}, words)


# --- the way to a new level --------------------------------------------------------------------------


@lru_cache(maxsize=8)
def fan_template(look: Look) -> str:
    """Give the template of a fan in a look; built once."""
    palette = PALETTES[look]
    x = alt.X(
        "minute:Q",
        scale=alt.Scale(domain=[0, 180], nice=False),
        axis=alt.Axis(title="Minutes after the change", values=[0, 30, 60, 90, 120, 150, 180], grid=False),
    )
    y = _pressure(hole("title"))
    rule = named("recheck").mark_rule(stroke=palette.ink, strokeDash=[2, 3], strokeWidth=1.4)
    text = named("recheck").mark_text(
        align="left", baseline="top", dx=5, dy=3, fontSize=FONT_PX, fill=palette.ink
    )
    chart = alt.layer(
        *_bands("fan", x, y, palette),
        rule.encode(x=x),
        text.encode(x=x, y=alt.value(0), text="words:N"),
    ).properties(height=FAN_PX)
    return template(chart.to_dict(validate=False), look, FONT_PX)


def draw_fan(
    fan: pl.DataFrame,
    *,
    label: str,
    earliest_min: float,
    ends_kpa: tuple[float, float],
    look: Look,
    unit: PressureUnit,
) -> Picture:
    """Draw the way of PaCO2 to its new level on the ventilator, with 80 and 95 % bands.

    Parameters
    ----------
    fan : polars.DataFrame
        ``minute`` and the columns of `CURVE` [kPa].
    label : str
        Name of the proposal.
    earliest_min : float
        Earliest honest recheck on the ventilator [min]; a line stands there.
    ends_kpa : tuple of float
        Ends of the axis [kPa], the same for all proposals, so that fans beside one another compare.
    look, unit
        Surroundings and unit of the axis.
    """
    frame = in_unit(fan, CURVE, unit)
    factor = 1.0 if unit == PressureUnit.KPA else MMHG_PER_KPA
    low, high = span([end * factor for end in ends_kpa], unit)
    recheck = pl.DataFrame(
        {"minute": [min(180.0, earliest_min)], "words": [f"not before {earliest_min:.0f} min"]}
    )
    spec = fill(fan_template(look), {"low": low, "high": high, "title": f"{label}: PaCO2, {unit.value}"})
    words = (
        f"Proposal {label}: the way of PaCO2 over three hours on the ventilator, with 80 and 95 % bands; "
        f"recheck not before {earliest_min:.0f} min."
    )
    return Picture(spec, {"fan": frame, "recheck": recheck}, words)
