"""One night drawn: saturation, pulse and transcutaneous CO2 on one clock, with events and limits.

Time is minutes since the start, which no clock change can bend; the labels are the clock on the wall.
"""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt
import polars as pl

from hvmon.charts.buckets import min_max, without_repeats
from hvmon.charts.picture import Picture, fill, hole, template
from hvmon.charts.texts import set_out
from hvmon.charts.theme import PALETTES, Look, Palette
from hvmon.records.night_signal import NightSignal
from hvmon.units import KPA_PER_MMHG, PressureUnit

FONT_PX = 12.0
MARGIN_PX = 104
PLOT_PX = 900.0
GAP_PX = 12
MARKS_PX, SPO2_PX, DIPS_PX, PULSE_PX, TC_PX = 40, 152, 24, 60, 132
LEAST_SPO2, MOST_SPO2 = 80.0, 100.0
WHOLE_S = 1000
"""[s] a window no longer than this is drawn second by second."""

BUCKETS = 500
"""Buckets of a longer window, under two pixels each, least and greatest of each drawn; the browser spends its
time on points."""

LEAST_TC_MMHG = 25.0
"""[mmHg] the CO2 axis goes no lower: below it a sensor is off or still warming up."""

DIPS = {"onset_s": pl.Int64, "end_s": pl.Int64, "nadir": pl.Float64, "counted": pl.Boolean}
SPANS = {"lane": pl.String, "from_s": pl.Int64, "to_s": pl.Int64, "what": pl.String}
LEVELS = {"lane": pl.String, "value": pl.Float64, "words": pl.String}


@dataclass(frozen=True)
class NightMarks:
    """What is drawn beside the signals.

    Attributes
    ----------
    dips : polars.DataFrame
        Events: onset and end [s], nadir [%], whether counted.
    spans : polars.DataFrame
        Stretches left out of the scoring or without signal: lane "spo2" or "tc", from, to [s], what.
    levels : polars.DataFrame
        Limits of the rules in force: lane "spo2" [%] or "tc" [mmHg], value, words with id.
    """

    dips: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=DIPS))
    spans: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=SPANS))
    levels: pl.DataFrame = field(default_factory=lambda: pl.DataFrame(schema=LEVELS))


def _place(lane: str) -> tuple[float, float]:
    top = 0.0
    for name, height in _LANES:
        if name == lane:
            return top, top + height
        top += height + GAP_PX
    raise KeyError(lane)


_LANES = (("marks", MARKS_PX), ("spo2", SPO2_PX), ("dips", DIPS_PX), ("pulse", PULSE_PX), ("tc", TC_PX))
HEIGHT_PX = sum(height for _, height in _LANES) + GAP_PX * (len(_LANES) - 1)


def _x(*, with_ends: bool = False) -> alt.X:
    ends: Any = [hole("x_from"), hole("x_to")] if with_ends else alt.Undefined
    axis = alt.Axis(title=None, values=[hole("x_values")], labelExpr=hole("x_label"), grid=False)
    return alt.X("t:Q", scale=alt.Scale(nice=False, zero=False, domain=ends), axis=axis)


def _y(lane: str, field_name: str, ends: list[Any], words: list[Any], **axis: Any) -> alt.Y:  # noqa: ANN401
    top, bottom = _place(lane)
    shown = alt.Axis(
        **{
            "title": words,
            "titleAngle": 0,
            "titleAlign": "left",
            "titleBaseline": "top",
            "titleX": -MARGIN_PX,
            "titleY": (top + bottom) / 2 - 8 * len(words),
            "minExtent": MARGIN_PX,
            "orient": "left",
            "tickCount": 5,
            "grid": False,
            **axis,
        }
    )
    scale = alt.Scale(domain=ends, range=[bottom, top], nice=False, zero=False, clamp=True)
    return alt.Y(f"{field_name}:Q", scale=scale, axis=shown)


def _named(name: str) -> alt.Chart:
    chart: alt.Chart = alt.Chart(alt.NamedData(name))
    return chart


def _layers(*charts: alt.Chart) -> alt.LayerChart:
    lane: alt.LayerChart = alt.layer(*charts).resolve_scale(y="shared")
    return lane


def _line(name: str, colour: str, y: alt.Y) -> alt.Chart:
    mark = _named(name).mark_line(
        interpolate="step-after",
        strokeWidth=1,
        stroke=colour,
        clip=True,
        invalid="break-paths-show-path-domains",
        aria=False,  # a description of every point costs more than the line; the picture has its words
    )
    line: alt.Chart = mark.encode(x=_x(), y=y)
    return line


def _levels(name: str, palette: Palette, y: alt.Y) -> list[alt.Chart]:
    rule = _named(name).mark_rule(stroke=palette.limit, strokeDash=[10, 4], clip=True)
    text = _named(name).mark_text(
        align="left", baseline="bottom", dx=4, dy=-2, fill=palette.limit, fontSize=11, fontWeight=600
    )
    words = [each.encode(x=alt.value(0), y=y, text="words:N") for each in (_paper(text, palette), text)]
    return [rule.encode(y=y), *words]


def _paper(text: alt.Chart, palette: Palette) -> alt.Chart:
    """Give the same words in the colour of the paper, to stand under them over lines."""
    under: alt.Chart = text.copy()
    under.mark = text.mark.copy()
    under.mark.stroke, under.mark.strokeWidth, under.mark.fill = palette.paper, 4, palette.paper
    return under


def _marks(palette: Palette) -> alt.LayerChart:
    """Draw the lane of annotations: a tick at the moment, words beside it."""
    y = _y("marks", "row", [2, 0], ["Marks"], labels=False, ticks=False, domain=False)
    lines = _named("mark_lines").mark_rule(stroke=palette.muted, strokeDash=[2, 3], clip=True)
    words = _named("mark_words").mark_text(
        align=alt.expr("datum.side"), dx=alt.expr("datum.dx"), baseline="middle", fill=palette.ink
    )
    return _layers(
        lines.encode(x=_x(with_ends=True), y=alt.value(0), y2=alt.value(HEIGHT_PX)),
        *(
            each.encode(x=_x(), y=y, text="words:N", tooltip=[alt.Tooltip("full:N", title="mark")])
            for each in (_paper(words, palette), words)
        ),
    )


def _spans(palette: Palette) -> alt.Chart:
    """Shade what was left out of the scoring or had no signal, behind the lane it belongs to."""
    shade = _named("spans").mark_rect(fill=palette.grid, clip=True)
    tooltip = [alt.Tooltip("what:N", title="not scored")]
    spans: alt.Chart = shade.encode(
        x=_x(), x2="t2:Q", y=alt.Y("top:Q", scale=None, axis=None), y2="bottom:Q", tooltip=tooltip
    )
    return spans


def _span_frame(spans: pl.DataFrame) -> pl.DataFrame:
    """Place the shaded stretches: saturation over its lane and its events, CO2 over its own."""
    of_spo2 = pl.col("lane") == "spo2"
    spo2, tc = (_place("spo2")[0], _place("dips")[1]), _place("tc")
    return spans.select(
        (pl.col("from_s") / 60).alias("t"),
        (pl.col("to_s") / 60).alias("t2"),
        pl.when(of_spo2).then(pl.lit(spo2[0])).otherwise(pl.lit(tc[0])).alias("top"),
        pl.when(of_spo2).then(pl.lit(spo2[1])).otherwise(pl.lit(tc[1])).alias("bottom"),
        "what",
    )


def _dips(palette: Palette) -> alt.LayerChart:
    """Draw each event as a bar of its length: full when counted, hollow when not."""
    y = _y("dips", "row", [0, 1], ["Events"], labels=False, ticks=False, domain=False)
    tooltip = [
        alt.Tooltip("clock:N", title="from"),
        alt.Tooltip("length_s:Q", title="length, s"),
        alt.Tooltip("nadir:Q", title="lowest, %"),
        alt.Tooltip("counted:N", title="counted"),
    ]
    bars = _named("dips").mark_bar(strokeWidth=1, clip=True, minBandSize=1)
    fill_ = alt.Fill("fill:N", scale=None)
    return _layers(
        bars.encode(
            x=_x(), x2="t2:Q", y=y, y2="row2:Q", fill=fill_, stroke=alt.value(palette.cool), tooltip=tooltip
        )
    )


@lru_cache(maxsize=4)
def _template(look: Look) -> str:
    palette = PALETTES[look]
    spo2 = _y("spo2", "v", [hole("spo2_low"), MOST_SPO2], ["SpO2, %"], grid=True)
    pulse = _y("pulse", "v", [hole("pulse_low"), hole("pulse_high")], ["Pulse, /min"], tickCount=3)
    tc = _y("tc", "v", [hole("tc_low"), hole("tc_high")], ["tcCO2", hole("unit")], grid=True)
    chart = alt.layer(
        _spans(palette),
        _marks(palette),
        _layers(*_levels("spo2_levels", palette, spo2), _line("spo2", palette.kinds["arterial"], spo2)),
        _dips(palette),
        _layers(_line("pulse", palette.muted, pulse)),
        _layers(*_levels("tc_levels", palette, tc), _line("tc", palette.kinds["transcutaneous"], tc)),
    ).resolve_scale(y="independent", x="shared")
    return template(chart.properties(height=HEIGHT_PX).to_dict(validate=False), look, FONT_PX)


# --- the frames ----------------------------------------------------------------------------------


def clock_ticks(
    start_utc: datetime, zone: str, first_s: int, last_s: int, most: int = 12
) -> tuple[list[float], str]:
    """Give ticks at round times of the wall clock [min since start] and their labels as an expression.

    On the night the clocks change an hour is missing from the labels or stands twice; the spacing stays.
    """
    minutes = (last_s - first_s) / 60
    step = next((each for each in (1, 2, 5, 10, 15, 30, 60, 120, 240) if minutes / each <= most), 480)
    first = start_utc + timedelta(seconds=first_s)
    over = timedelta(minutes=first.minute % step if step < 60 else first.minute, seconds=first.second)  # noqa: PLR2004
    moment = first - over if not over else first - over + timedelta(minutes=min(step, 60))
    values, labels = [], []
    while (since := (moment - start_utc).total_seconds()) <= last_s:
        values.append(since / 60)
        labels.append(f"'{moment.astimezone(ZoneInfo(zone)):%H:%M}'")
        moment += timedelta(minutes=step)
    origin = values[0] if values else 0.0
    return values, f"[{','.join(labels)}][round((datum.value - {origin}) / {step})]"


def _clock(start_utc: datetime, zone: str, second: int) -> str:
    return f"{(start_utc + timedelta(seconds=second)).astimezone(ZoneInfo(zone)):%H:%M:%S}"


def _mark_frames(signal: NightSignal, first_s: int, last_s: int) -> dict[str, pl.DataFrame]:
    shown = [note for note in signal.annotations if first_s <= note.onset_s <= last_s]
    places = [(note.onset_s - first_s) / (last_s - first_s) * PLOT_PX for note in shown]
    texts = [note.text[:40] for note in shown]
    placed = set_out(places, texts, plot_px=PLOT_PX, font_px=FONT_PX, rows=2)
    times = [note.onset_s / 60 for note in shown]
    words = pl.DataFrame(
        {
            "t": times,
            "row": [each.row + 0.5 for each in placed],
            "side": [each.side for each in placed],
            "dx": [each.dx for each in placed],
            "words": [each.words for each in placed],
            "full": [note.text for note in shown],
        },
        schema={
            "t": pl.Float64,
            "row": pl.Float64,
            "side": pl.String,
            "dx": pl.Float64,
            "words": pl.String,
            "full": pl.String,
        },
    )
    return {"mark_words": words, "mark_lines": words.select("t")}


def _dip_frame(
    marks: NightMarks, signal: NightSignal, window: tuple[int, int], palette: Palette
) -> pl.DataFrame:
    inside = marks.dips.filter((pl.col("end_s") >= window[0]) & (pl.col("onset_s") <= window[1]))
    clocks = [_clock(signal.start_utc, signal.zone, second) for second in inside["onset_s"]]
    return inside.select(
        (pl.col("onset_s") / 60).alias("t"),
        (pl.col("end_s") / 60).alias("t2"),
        (pl.col("end_s") - pl.col("onset_s")).alias("length_s").cast(pl.Float64),
        pl.col("nadir"),
        pl.when("counted").then(pl.lit("yes")).otherwise(pl.lit("no")).alias("counted"),
        pl.when("counted").then(pl.lit(palette.cool)).otherwise(pl.lit(palette.paper)).alias("fill"),
        pl.lit(0.15).alias("row"),
        pl.lit(0.85).alias("row2"),
        pl.Series("clock", clocks, dtype=pl.String),
    )


def _signal_frames(signal: NightSignal, window: tuple[int, int], factor: float) -> dict[str, pl.DataFrame]:
    first, last = window
    channels = {
        "spo2": (signal.spo2_tenths, 0.1),
        "pulse": (signal.pulse_tenths, 0.1),
        "tc": (signal.tcco2_tenths_mmhg, 0.1 * factor),
    }
    empty = pl.DataFrame(schema={"t": pl.Float64, "v": pl.Float64})
    buckets = WHOLE_S if last - first <= WHOLE_S else BUCKETS
    return {
        name: empty
        if values is None
        else without_repeats(min_max(values, scale=scale, first_s=first, last_s=last, buckets=buckets))
        for name, (values, scale) in channels.items()
    }


def _ends(values: pl.Series, low: float, high: float, pad: float) -> tuple[float, float]:
    known = values.drop_nulls()
    if known.is_empty():
        return low, high
    return min(low, float(known.min()) - pad), max(high, float(known.max()) + pad)  # type: ignore[arg-type]


def draw_night(
    signal: NightSignal,
    marks: NightMarks,
    *,
    look: Look,
    unit: PressureUnit,
    first_s: int = 0,
    last_s: int | None = None,
) -> Picture:
    """Draw a night, or a window of it at the finest resolution the screen can show.

    Parameters
    ----------
    signal : NightSignal
        The night.
    marks : NightMarks
        Events, stretches left out, limits.
    look, unit
        Surroundings; unit of the CO2 axis.
    first_s, last_s : int
        The window [s from the start].
    """
    window = (first_s, signal.n_seconds if last_s is None else last_s)
    palette, factor = PALETTES[look], 1.0 if unit == PressureUnit.MMHG else KPA_PER_MMHG
    frames = _signal_frames(signal, window, factor)
    frames |= _mark_frames(signal, *window)
    frames["dips"] = _dip_frame(marks, signal, window, palette)
    frames["spans"] = _span_frame(marks.spans)
    levels = marks.levels
    frames["spo2_levels"] = levels.filter(pl.col("lane") == "spo2").select(
        pl.col("value").alias("v"), "words"
    )
    frames["tc_levels"] = levels.filter(pl.col("lane") == "tc").select(
        (pl.col("value") * factor).alias("v"), "words"
    )
    spec = fill(_template(look), _holes(frames, signal, window, unit, factor))
    return Picture(spec, frames, _words(signal, marks))


def _holes(
    frames: dict[str, pl.DataFrame],
    signal: NightSignal,
    window: tuple[int, int],
    unit: PressureUnit,
    factor: float,
) -> dict[str, Any]:
    values, labels = clock_ticks(signal.start_utc, signal.zone, *window)
    tc = pl.concat([frames["tc"]["v"], frames["tc_levels"]["v"]])
    real = tc.filter(tc >= LEAST_TC_MMHG * factor)  # the warming sensor is cut off at the foot of the lane
    tc_low, tc_high = _ends(real, 35 * factor, 55 * factor, factor)
    pulse_low, pulse_high = _ends(frames["pulse"]["v"], 50.0, 100.0, 2.0)
    return {
        "x_from": window[0] / 60,
        "x_to": window[1] / 60,
        "x_values": values,
        "x_label": labels,
        "spo2_low": _ends(frames["spo2"]["v"], LEAST_SPO2, MOST_SPO2, 1.0)[0],
        "pulse_low": pulse_low,
        "pulse_high": pulse_high,
        "tc_low": tc_low,
        "tc_high": tc_high,
        "unit": unit.value,
    }


def _words(signal: NightSignal, marks: NightMarks) -> str:
    start = signal.start_utc.astimezone(UTC).astimezone(ZoneInfo(signal.zone))
    return (
        f"Night from {start:%d %B %Y %H:%M}, {signal.n_seconds / 3600:.1f} h: saturation, pulse and "
        f"transcutaneous CO2 over the clock, {marks.dips.height} events, {len(signal.annotations)} marks. "
        "The table below holds the scores."
    )
