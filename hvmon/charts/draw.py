"""From what is given to what is drawn: the timeline of one person as a `Picture`."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import polars as pl

from hvmon.charts.layout import Lane, Layout
from hvmon.charts.legend import legend
from hvmon.charts.picture import Picture, fill, hush_empty
from hvmon.charts.rows import TimelineRows
from hvmon.charts.texts import Placed, set_out
from hvmon.charts.theme import PALETTES, Look, Palette, filled, glyph
from hvmon.charts.ticks import ticks
from hvmon.charts.timeline import RATINGS, timeline_template
from hvmon.units import MMHG_PER_KPA, PressureUnit
from hvmon.vocabulary import VentilatorState

LEAST_SPAN_KPA = 3.0
"""[kPa] the CO2 axis never shows less, so that noise does not look like a fall from a cliff."""

NO_OXYGEN = "on air"
"""The words of a reading without oxygen; before the first reading, so that air alone is not written."""

DENSE_TEXTS = 45
"""Numbers beside the symptom bars are left out above this many columns; the pointer still shows them."""

MOST_TINT = 0.85
"""Opacity of a tile rated 10; the number on it stays readable."""


def _factor(unit: PressureUnit) -> float:
    return 1.0 if unit == PressureUnit.KPA else MMHG_PER_KPA


def _wall_ms(column: str, zone: str) -> pl.Expr:
    """Give the clock time on the person's wall [ms], so that no browser zone can bend it."""
    wall = pl.col(column).dt.convert_time_zone(zone).dt.replace_time_zone(None)
    return wall.dt.timestamp("ms").cast(pl.Float64)


def _day_ms(day: date) -> float:
    return datetime.combine(day, time(), ZoneInfo("UTC")).timestamp() * 1000


def _when(column: str, zone: str) -> pl.Expr:
    return pl.col(column).dt.convert_time_zone(zone).dt.strftime("%d %b %Y %H:%M")


def _on_day(column: str, zone: str) -> pl.Expr:
    return pl.col(column).dt.convert_time_zone(zone).dt.strftime("%d %b %Y")


def _readings(rows: TimelineRows, zone: str, unit: PressureUnit, palette: Palette) -> pl.DataFrame:
    """Give each reading its place and sign; oxygen is written where it differs from the reading before."""
    frame = rows.readings.sort("at")
    kinds, states = frame["kind"].to_list(), frame["ventilator"].to_list()
    strokes = [palette.kinds[kind] for kind in kinds]
    fills = [
        palette.kinds[kind] if filled(kind, state) else palette.paper
        for kind, state in zip(kinds, states, strict=True)
    ]
    glyphs = [glyph(kind, state) for kind, state in zip(kinds, states, strict=True)]
    before = pl.col("oxygen").shift(fill_value=NO_OXYGEN)
    same = (pl.col("oxygen") == before) & ~pl.col("beside").str.contains("?", literal=True)
    return frame.with_columns(
        pl.when(same).then(pl.lit("")).otherwise("beside").alias("beside"),
        _wall_ms("at", zone).alias("t"),
        (pl.col("pco2_kpa") * _factor(unit)).alias("y"),
        _when("at", zone).alias("when"),
        pl.Series("stroke", strokes, dtype=pl.String),
        pl.Series("fill", fills, dtype=pl.String),
        pl.Series("glyph", glyphs, dtype=pl.String),
    ).drop("at", "pco2_kpa")


def _links(readings: pl.DataFrame) -> pl.DataFrame:
    """Give the points of the thin lines: only within one like-for-like series of two or more."""
    return readings.select("t", "y", "series", "kind", "ventilator", "stroke").filter(
        pl.len().over("series") > 1
    )


def _trend(rows: TimelineRows, zone: str, unit: PressureUnit) -> pl.DataFrame:
    bounds = ["low80", "high80", "low95", "high95", "centre"]
    schema = {"t": pl.Float64, **dict.fromkeys(bounds, pl.Float64)}
    if rows.trend is None:
        return pl.DataFrame(schema=schema)
    factor = _factor(unit)
    return rows.trend.select(_wall_ms("at", zone).alias("t"), *(pl.col(name) * factor for name in bounds))


def _limits(rows: TimelineRows, lane: str, factor: float) -> pl.DataFrame:
    frame = rows.limits.filter(pl.col("lane") == lane)
    return frame.select("words", (pl.col("kpa") * factor).alias("y"))


def _places_px(t_ms: Sequence[float], first_ms: float, last_ms: float, layout: Layout) -> list[float]:
    return [(t - first_ms) / (last_ms - first_ms) * layout.plot_px for t in t_ms]


def _worded(frame: pl.DataFrame, lane: Lane, span_ms: tuple[float, float], layout: Layout) -> pl.DataFrame:
    """Give each moment of a lane of texts its row, side and words."""
    ended = "t2" if "t2" in frame.columns else "t"
    frame = frame.filter(pl.col("t").is_between(*span_ms)).sort(ended)
    place = layout.place(lane)
    ends = frame[ended].to_list()
    placed = set_out(
        _places_px(ends, *span_ms, layout),
        frame["words"].to_list(),
        plot_px=layout.plot_px,
        font_px=layout.font_px,
        rows=int((place.bottom - place.top) // layout.row_px),
    )
    return frame.with_columns(
        pl.Series("row", [p.row + 0.5 for p in placed], dtype=pl.Float64),
        pl.Series("side", [p.side for p in placed], dtype=pl.String),
        pl.Series("dx", [p.dx for p in placed], dtype=pl.Float64),
        pl.Series("words", [p.words for p in placed], dtype=pl.String),
        pl.Series("tx", _beside(frame["t"].to_list(), ends, placed), dtype=pl.Float64),
    )


def _beside(starts: Sequence[float], ends: Sequence[float], placed: Sequence[Placed]) -> list[float]:
    """Give where each text starts: right of its span's end, or left of its start."""
    return [
        end if place.side == "left" else start for start, end, place in zip(starts, ends, placed, strict=True)
    ]


def _changes(rows: TimelineRows, zone: str) -> pl.DataFrame:
    return rows.changes.select(
        _wall_ms("at", zone).alias("t"), _when("at", zone).alias("when"), "words", "detail"
    )


def _events(rows: TimelineRows, zone: str) -> pl.DataFrame:
    until = pl.coalesce("until", "at").alias("until")
    return rows.events.with_columns(until).select(
        _wall_ms("at", zone).alias("t"),
        _wall_ms("until", zone).alias("t2"),
        _on_day("at", zone).alias("when"),
        "words",
        "detail",
    )


def _nights(rows: TimelineRows, zone: str, unit: PressureUnit, palette: Palette) -> pl.DataFrame:
    factor = _factor(unit)
    hollow = pl.col("ventilator") == VentilatorState.ON.value
    peak = pl.coalesce("peak_kpa", "mean_kpa") * factor
    return rows.nights.select(
        _wall_ms("at", zone).alias("t"),
        _on_day("at", zone).alias("when"),
        (pl.coalesce("mean_kpa", "peak_kpa") * factor).alias("mean"),
        peak.alias("peak"),
        "ventilator",
        "oxygen",
        "entered",
        "beside",
        pl.lit(palette.cool).alias("stroke"),
        pl.when(hollow).then(pl.lit(palette.paper)).otherwise(pl.lit(palette.cool)).alias("fill"),
    )


def _ratings(rows: TimelineRows, zone: str, plot_px: float) -> pl.DataFrame:
    """Give a tile for each rating: its row, its tint from the rating, its width from how many there are."""
    row = pl.col("rating").replace_strict({name: i for i, name in enumerate(RATINGS)}, return_dtype=pl.Int64)
    columns = max(1, rows.symptoms["at"].n_unique())
    few = columns <= DENSE_TEXTS
    return rows.symptoms.filter(pl.col("value").is_not_null()).select(
        _wall_ms("at", zone).alias("t"),
        _when("at", zone).alias("when"),
        "rating",
        (row + 0.06).alias("low"),
        (row + 0.94).alias("high"),
        (row + 0.5).alias("middle"),
        (pl.col("value").clip(0, 10) / 10.0 * MOST_TINT).alias("tint"),
        pl.lit(min(26.0, max(3.0, 0.8 * plot_px / columns))).alias("width"),
        pl.col("value").cast(pl.String).alias("said"),
        (pl.col("value").cast(pl.String) if few else pl.lit("")).alias("words"),
    )


def _flaps(rows: TimelineRows, zone: str) -> pl.DataFrame:
    return (
        rows.symptoms.filter("flap")
        .unique("at")
        .select(_wall_ms("at", zone).alias("t"), pl.lit(0.0).alias("low"), pl.lit("flap").alias("words"))
    )


def _runs(present: str) -> pl.Expr:
    """Give each unbroken run of weeks its own number, so that a line stops where nothing was recorded."""
    gap = pl.col("week").diff() > timedelta(days=8)
    return (gap.fill_null(value=False)).cum_sum().cast(pl.String).alias("run") + pl.lit(present)


def _use(rows: TimelineRows, zone: str) -> pl.DataFrame:
    frame = rows.use.filter(pl.col("median_h").is_not_null()).sort("week")
    said = pl.format(
        "median {}, from {} to {}", *(pl.col(c).round(1) for c in ("median_h", "low_h", "high_h"))
    )
    return frame.select(
        _wall_ms("week", zone).alias("t"),
        _on_day("week", zone).alias("when"),
        pl.col("median_h").alias("median"),
        pl.col("low_h").alias("low"),
        pl.col("high_h").alias("high"),
        pl.col("nights"),
        said.alias("said"),
        _runs("").alias("run"),
    )


def _leak(rows: TimelineRows, zone: str) -> pl.DataFrame:
    frame = rows.use.filter(pl.col("leak_l_min").is_not_null()).sort("week")
    return frame.select(
        _wall_ms("week", zone).alias("t"),
        _on_day("week", zone).alias("when"),
        pl.col("leak_l_min").alias("leak"),
        pl.format("{} L/min, {}", pl.col("leak_l_min").round(0), "leak_kind").alias("said"),
        (_runs("") + pl.lit(" ") + pl.col("leak_kind")).alias("run"),
    )


def _span(values: Sequence[float | None], least: float, pad: float) -> tuple[float, float]:
    """Give the ends of an axis around values, never narrower than `least`."""
    known = [value for value in values if value is not None]
    if not known:
        return 0.0, least
    low, high = min(known) - pad, max(known) + pad
    spare = max(0.0, least - (high - low)) / 2
    return round(low - spare, 2), round(high + spare, 2)


def _holes(
    frames: Mapping[str, pl.DataFrame], layout: Layout, unit: PressureUnit, span_ms: tuple[float, float]
) -> dict[str, Any]:
    factor = _factor(unit)
    shown = [*frames["readings"]["y"], *frames["limits"]["y"]]
    drawn = frames["trend"].filter(pl.col("t").is_between(*span_ms))
    shown += [*drawn["low80"].drop_nulls(), *drawn["high80"].drop_nulls()]
    low, high = _span(shown, LEAST_SPAN_KPA * factor, 0.35 * factor)
    holes: dict[str, Any] = {"x_from": span_ms[0], "x_to": span_ms[1], "co2_low": low, "co2_high": high}
    values, form = ticks(*span_ms, layout.ticks)
    holes |= {"unit": unit.value, "x_values": values, "x_label": f"utcFormat(datum.value, '{form}')"}
    if layout.shows(Lane.NIGHTS):
        nights = frames["nights"]
        around = [*nights["mean"], *nights["peak"], *frames["night_limits"]["y"]]
        holes["night_low"], holes["night_high"] = _span(around, 2.0 * factor, 0.3 * factor)
    if layout.shows(Lane.USE):
        holes["use_top"] = max([8.0, *frames["use"]["high"].to_list()])
        holes["leak_top"] = max([30.0, *frames["leak"]["leak"].to_list()])
    return holes


def _desk_frames(
    rows: TimelineRows,
    layout: Layout,
    zone: str,
    unit: PressureUnit,
    palette: Palette,
    span: tuple[float, float],
) -> dict[str, pl.DataFrame]:
    """Give the frames of the lanes that only the desk layout shows."""
    return {
        "nights": _nights(rows, zone, unit, palette),
        "night_limits": _limits(rows, "nights", _factor(unit)),
        "ratings": _ratings(rows, zone, layout.plot_px),
        "flaps": _flaps(rows, zone),
        "use": _use(rows, zone),
        "use_limits": _limits(rows, "use", 1.0),
        "leak": _leak(rows, zone),
        "events": _worded(_events(rows, zone), Lane.EVENTS, span, layout),
    }


def draw_timeline(
    rows: TimelineRows,
    *,
    layout: Layout,
    look: Look,
    unit: PressureUnit,
    zone: str,
    first: date,
    last: date,
    today: date,
) -> Picture:
    """Draw one person's course on one time axis.

    Parameters
    ----------
    rows : TimelineRows
        What is shown.
    layout : Layout
        `layout.REVIEW` or `layout.MEETING`.
    look : Look
        Surroundings.
    unit : PressureUnit
        Unit of the axis; texts keep the unit of entry.
    zone : str
        The person's time zone, whose wall clock the axis shows.
    first, last : date
        First and last day of the axis.
    today : date
        Where the line of today stands.
    """
    palette = PALETTES[look]
    span = (_day_ms(first), _day_ms(last + timedelta(days=1)))
    readings = _readings(rows, zone, unit, palette)
    trend = _trend(rows, zone, unit)
    changes = _changes(rows, zone)
    pairs = zip(readings["kind"], readings["ventilator"], strict=True)
    frames = {
        "readings": readings,
        "links": _links(readings),
        "limits": _limits(rows, "co2", _factor(unit)),
        "trend": trend,
        "changes": changes.select("t"),
        "change_words": _worded(changes, Lane.SETTINGS, span, layout),
        "today": pl.DataFrame({"t": [_day_ms(today)], "words": ["today"]}),
        **legend(pairs, with_trend=trend.height > 0, layout=layout, palette=palette),
    }
    if layout.shows(Lane.USE):
        frames |= _desk_frames(rows, layout, zone, unit, palette, span)
    frames = {name: _within(frame, span) for name, frame in frames.items()}
    frames["silent"] = _silent(frames, layout)
    spec = fill(timeline_template(layout.name, look), _holes(frames, layout, unit, span))
    return Picture(hush_empty(spec, frames), frames, _words(rows, first, last))


_SPEAKS = {
    Lane.SETTINGS: "changes",
    Lane.CO2: "readings",
    Lane.NIGHTS: "nights",
    Lane.SYMPTOMS: "ratings",
    Lane.USE: "use",
    Lane.LEAK: "leak",
    Lane.EVENTS: "events",
}
"""Lane and the frame without which it is empty."""


def _silent(frames: Mapping[str, pl.DataFrame], layout: Layout) -> pl.DataFrame:
    """Give the top of each lane in which nothing is drawn [px]."""
    empty = [
        layout.place(lane).top
        for lane, name in _SPEAKS.items()
        if layout.shows(lane) and frames[name].is_empty()
    ]
    return pl.DataFrame({"y": empty}, schema={"y": pl.Float64})


def _within(frame: pl.DataFrame, span_ms: tuple[float, float]) -> pl.DataFrame:
    """Keep what lies on the axis; signs outside it would be drawn in the margin."""
    if "t" not in frame.columns or "low95" in frame.columns or "run" in frame.columns:
        return frame
    end = pl.col("t2") if "t2" in frame.columns else pl.col("t")
    return frame.filter((end >= span_ms[0]) & (pl.col("t") <= span_ms[1]))


def _words(rows: TimelineRows, first: date, last: date) -> str:
    kinds = rows.readings["kind"].value_counts(sort=True).rows()
    counted = ", ".join(f"{count} {kind}" for kind, count in kinds) or "no readings"
    return (
        f"Course from {first:%d %B %Y} to {last:%d %B %Y}: CO2 readings by sample kind ({counted}), "
        f"{rows.changes.height} settings changes, {rows.nights.height} overnight studies, symptoms, use "
        "and events. The tables below hold the same values."
    )
