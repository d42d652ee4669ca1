"""The pH/PCO2 map: lines of equal bicarbonate, acute and chronic bands, and this person's path over time."""

from functools import lru_cache

import altair as alt
import polars as pl

from hvmon.charts.picture import Picture, fill, hole, template
from hvmon.charts.theme import GLYPHS, PALETTES, Look, Palette, filled, glyph
from hvmon.charts.titration import FONT_PX, in_unit, named
from hvmon.units import MMHG_PER_KPA, PressureUnit

HEIGHT_PX = 400.0
PH_LOW, PH_HIGH = 7.2, 7.6
"""Ends of the pH axis; wider when a gas lies outside."""

KPA_LOW, KPA_HIGH = 3.5, 10.0
"""[kPa] ends of the PCO2 axis; wider when a gas lies outside."""

NUMBERED = 6
"""The newest gases carry their number; older ones are dots on the path, and the table holds them all."""

PH_LIMITS = (7.35, 7.45)


@lru_cache(maxsize=8)
def map_template(look: Look) -> str:
    """Give the template of the map in a look; built once."""
    palette = PALETTES[look]
    x = alt.X(
        "pco2_kpa:Q",
        scale=alt.Scale(domain=[hole("left"), hole("right")], nice=False, zero=False),
        axis=alt.Axis(title=hole("title"), tickCount=8, grid=False),
    )
    y = alt.Y(
        "ph:Q",
        scale=alt.Scale(domain=[hole("bottom"), hole("top")], nice=False, zero=False),
        axis=alt.Axis(title="pH", tickCount=8, format=".2f", grid=False),
    )
    chart = alt.layer(
        *_bands(x, y, palette), *_isolines(x, y, palette), _limits(y, palette), *_path(x, y, palette)
    ).properties(height=HEIGHT_PX)
    return template(chart.to_dict(validate=False), look, FONT_PX)


def _edge(y: alt.Y) -> alt.Y:
    copy = y.copy()
    copy.shorthand = "ph_low:Q"
    return copy


def _bands(x: alt.X, y: alt.Y, palette: Palette) -> list[alt.Chart]:
    """Draw the chronic band lighter and the acute band darker, each with its line and its name."""
    found = []
    for name, colour, dash in (
        ("chronic", palette.band_wide, [9, 4]),
        ("acute", palette.band_narrow, [2, 3]),
    ):
        area = named(name).mark_area(fill=colour, fillOpacity=0.85, clip=True)
        line = named(name).mark_line(stroke=palette.modelled, strokeDash=dash, strokeWidth=1.6, clip=True)
        found += [area.encode(x=x, y=_edge(y), y2="ph_high:Q"), line.encode(x=x, y=y)]
    texts = named("names").mark_text(
        align="right", dx=-4, dy=-9, fontSize=FONT_PX, fontWeight=600, fill=palette.modelled, clip=True
    )
    rim = texts.copy()
    rim.mark = rim.mark.copy()
    rim.mark.stroke, rim.mark.strokeWidth = palette.paper, 4
    return [*found, *(one.encode(x=x, y=y, text="words:N") for one in (rim, texts))]


def _isolines(x: alt.X, y: alt.Y, palette: Palette) -> list[alt.Chart]:
    lines = named("isolines").mark_line(stroke=palette.muted, strokeWidth=0.7, opacity=0.8, clip=True)
    texts = named("iso_names").mark_text(
        align="left", baseline="bottom", dx=3, dy=-2, fontSize=FONT_PX * 0.85, fill=palette.muted, clip=True
    )
    return [lines.encode(x=x, y=y, detail="hco3_mmol_l:Q"), texts.encode(x=x, y=y, text="words:N")]


def _limits(y: alt.Y, palette: Palette) -> alt.Chart:
    rule = named("limits").mark_rule(stroke=palette.limit, strokeDash=[10, 4], strokeWidth=1.1)
    drawn: alt.Chart = rule.encode(y=y)
    return drawn


def _path(x: alt.X, y: alt.Y, palette: Palette) -> list[alt.Chart]:
    """Draw the path in order of time, the sign of each gas, and the numbers of the newest ones."""
    line = named("path").mark_line(stroke=palette.ink, strokeWidth=1.0, opacity=0.55, clip=True)
    signs = named("path").mark_point(opacity=1, strokeWidth=1.6, strokeJoin="round", clip=True)
    texts = named("path").mark_text(
        align="left", dx=9, dy=-9, fontSize=FONT_PX, fontWeight=700, fill=palette.ink,
        clip=True,
    )  # fmt: skip
    rim = texts.copy()
    rim.mark = rim.mark.copy()
    rim.mark.stroke, rim.mark.strokeWidth, rim.mark.fill = palette.paper, 4, palette.paper
    shape = alt.Shape(
        "glyph:N", scale=alt.Scale(domain=list(GLYPHS), range=list(GLYPHS.values())), legend=None
    )
    tooltip = [
        alt.Tooltip("day:N", title="drawn"),
        alt.Tooltip("glyph:N", title="sample"),
        alt.Tooltip("entered:N", title="PCO2 as entered"),
        alt.Tooltip("ph:Q", title="pH", format=".2f"),
        alt.Tooltip("hco3_mmol_l:Q", title="bicarbonate, recomputed", format=".1f"),
        alt.Tooltip("state:N", title="reads as"),
    ]
    drawn = signs.encode(
        x=x,
        y=y,
        shape=shape,
        size=alt.Size("size:Q", scale=None),
        fill=alt.Fill("fill:N", scale=None),
        stroke=alt.Stroke("stroke:N", scale=None),
        tooltip=tooltip,
    )
    return [
        line.encode(x=x, y=y, order="order:Q"),
        drawn,
        rim.encode(x=x, y=y, text="number:N"),
        texts.encode(x=x, y=y, text="number:N"),
    ]


def draw_map(
    curves: pl.DataFrame, isolines: pl.DataFrame, path: pl.DataFrame, *, look: Look, unit: PressureUnit
) -> Picture:
    """Draw the map with one person's path.

    Parameters
    ----------
    curves : polars.DataFrame
        ``line`` ("acute", "chronic"), ``pco2_kpa``, ``ph``, ``ph_low``, ``ph_high``.
    isolines : polars.DataFrame
        ``hco3_mmol_l``, ``pco2_kpa``, ``ph``.
    path : polars.DataFrame
        One row a gas in order of time: ``order``, ``day``, ``kind``, ``ventilator``, ``entered``,
        ``pco2_kpa``, ``ph``, ``hco3_mmol_l``, ``state``.
    look : Look
        Surroundings.
    unit : PressureUnit
        Unit of the axis; the path's texts keep the unit of entry.
    """
    palette = PALETTES[look]
    left, right = min([KPA_LOW, *path["pco2_kpa"]]), max([KPA_HIGH, *path["pco2_kpa"]]) + 0.3
    bottom, top = min([PH_LOW, *path["ph"]]) - 0.01, max([PH_HIGH, *path["ph"]]) + 0.01
    inside = pl.col("pco2_kpa").is_between(left, right) & pl.col("ph").is_between(bottom, top)
    frames = {line: curves.filter(pl.col("line") == line) for line in ("acute", "chronic")}
    frames |= {
        "isolines": isolines,
        "iso_names": _iso_names(isolines.filter(inside & (pl.col("ph") < top - 0.02))),
        "names": _names(curves.filter(inside)),
        "path": _signs(path, palette),
    }
    shown = {name: in_unit(frame, ("pco2_kpa",), unit) for name, frame in frames.items()}
    shown["limits"] = pl.DataFrame({"ph": list(PH_LIMITS)})
    factor = 1.0 if unit == PressureUnit.KPA else MMHG_PER_KPA
    holes = {"left": left * factor, "right": right * factor, "bottom": bottom, "top": top}
    spec = fill(map_template(look), {**holes, "title": f"PCO2, {unit.value}"})
    return Picture(spec, shown, _words(path))


def _iso_names(isolines: pl.DataFrame) -> pl.DataFrame:
    """Write each bicarbonate once, at the left end of its line within the chart."""
    ends = isolines.sort("pco2_kpa").group_by("hco3_mmol_l", maintain_order=True).first()
    return ends.with_columns(pl.format("{}", pl.col("hco3_mmol_l").cast(pl.Int64)).alias("words"))


def _names(curves: pl.DataFrame) -> pl.DataFrame:
    ends = curves.sort("pco2_kpa").group_by("line", maintain_order=True).last()
    return ends.with_columns(pl.col("line").alias("words"))


def _signs(path: pl.DataFrame, palette: Palette) -> pl.DataFrame:
    """Give each gas its sign; the newest carry their number and a larger sign."""
    pairs = list(zip(path["kind"], path["ventilator"], strict=True))
    newest = pl.col("order") > path.height - NUMBERED
    return (
        path.sort("order")
        .with_columns(
            pl.Series("glyph", [glyph(*pair) for pair in pairs], dtype=pl.String),
            pl.Series("stroke", [palette.kinds[kind] for kind, _ in pairs], dtype=pl.String),
            pl.Series(
                "fill",
                [palette.kinds[pair[0]] if filled(*pair) else palette.paper for pair in pairs],
                dtype=pl.String,
            ),
            pl.when(newest).then(pl.lit(110.0)).otherwise(pl.lit(36.0)).alias("size"),
            pl.when(newest).then(pl.col("order").cast(pl.String)).alias("number"),
        )
        .with_columns(_joined_numbers())
    )


def _joined_numbers() -> pl.Expr:
    """Write the numbers of gases at one place once, beside the newest of them."""
    place = ["pco2_kpa", "ph"]
    told = pl.col("number").drop_nulls().str.join(", ").over(place)
    newest_there = pl.col("order") == pl.col("order").max().over(place)
    return pl.when(newest_there).then(told).otherwise(pl.lit("")).fill_null("").alias("number")


def _words(path: pl.DataFrame) -> str:
    if path.is_empty():
        return "Map of pH against PCO2 without a gas on it."
    last = path.sort("order").row(-1, named=True)
    return (
        f"Map of pH against PCO2 with {path.height} gases in order of time; the newest, {last['day']}, has "
        f"pH {last['ph']:.2f} and PCO2 {last['entered']}. The table beside it holds the same values."
    )
