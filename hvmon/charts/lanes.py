"""Small lanes under one another on one clock: two nights side by side, or many nights over time."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

import altair as alt
import polars as pl

from hvmon.charts.buckets import histogram, min_max
from hvmon.charts.picture import Picture, fill, hole, template
from hvmon.charts.theme import PALETTES, Look, Palette
from hvmon.records.night_signal import NightSignal
from hvmon.units import KPA_PER_MMHG, PressureUnit

FONT_PX = 12.0
GAP_PX = 10.0
NOON_H = 12
SPO2_ENDS = (70.0, 100.0)
TC_ENDS_MMHG = (30.0, 70.0)
SHORT_DASH = [5, 3]
LEAST_TC_TENTHS = 250
"""[0.1 mmHg] below it a sensor is off or still warming up, and its time is not shared out."""


@dataclass(frozen=True)
class NamedNight:
    """A night with the words that stand beside it."""

    words: str
    signal: NightSignal


@dataclass(frozen=True, slots=True)
class _Trace:
    """One line of one lane, already scaled to the lane."""

    lane: int
    low: float
    high: float
    unit: str
    colour: str
    label: str
    points: pl.DataFrame


def minutes_after_noon(signal: NightSignal) -> float:
    """Give the start of a night in minutes after noon of its evening on the wall clock [min]."""
    start = signal.start_local
    evening = start.date() - timedelta(days=1) if start.hour < NOON_H else start.date()
    noon = datetime.combine(evening, time(NOON_H), ZoneInfo(signal.zone))
    return (signal.start_utc - noon).total_seconds() / 60


def _points(values: Any, scale: float, signal: NightSignal, buckets: int) -> pl.DataFrame:  # noqa: ANN401
    drawn = min_max(values, scale=scale, buckets=buckets)
    return drawn.with_columns((pl.col("t") + minutes_after_noon(signal)).alias("t"))


def _placed(trace: _Trace, lane_px: float) -> pl.DataFrame:
    """Give the points of a trace in pixels from the top; a gap ends a line, no value leaves its lane."""
    top = trace.lane * (lane_px + GAP_PX)
    share = (pl.lit(trace.high) - pl.col("v").clip(trace.low, trace.high)) / (trace.high - trace.low)
    runs = pl.col("v").is_null().cum_sum().cast(pl.String)
    return (
        trace.points.with_columns((pl.lit(f"{trace.lane} {trace.label} ") + runs).alias("line"))
        .filter(pl.col("v").is_not_null())
        .select("t", (share * lane_px + top).alias("y"), "line", pl.lit(trace.colour).alias("colour"))
    )


@lru_cache(maxsize=4)
def _template(look: Look) -> str:
    palette = PALETTES[look]
    axis = alt.Axis(title=None, values=[hole("x_values")], labelExpr=hole("x_label"), grid=False)
    x = alt.X(
        "t:Q", axis=axis, scale=alt.Scale(domain=[hole("x_from"), hole("x_to")], nice=False, zero=False)
    )
    y = alt.Y("y:Q", scale=None, axis=None)
    rows = alt.Chart(alt.NamedData("rows")).mark_rule(stroke=palette.grid)
    lines = alt.Chart(alt.NamedData("lines")).mark_line(
        interpolate="step-after", strokeWidth=1, clip=True, invalid="break-paths-show-path-domains"
    )
    texts = alt.Chart(alt.NamedData("texts")).mark_text(
        align="right", dx=-8, baseline="middle", fill=palette.ink
    )
    whole = alt.layer(
        rows.encode(y=y),
        lines.encode(x=x, y=y, detail="line:N", stroke=alt.Stroke("colour:N", scale=None)),
        texts.encode(x=alt.value(0), y=y, text="words:N"),
    ).resolve_scale(y="shared")
    chart = {**whole.to_dict(validate=False), "height": hole("height")}
    return template(chart, look, FONT_PX)


def _draw(
    traces: Sequence[_Trace],
    labels: Sequence[str],
    lane_px: float,
    look: Look,
    words: str,
    *,
    with_ends: bool,
) -> Picture:
    lines = pl.concat([_placed(trace, lane_px) for trace in traces])
    step = lane_px + GAP_PX
    texts = [{"y": lane * step + lane_px / 2, "words": label} for lane, label in enumerate(labels)]
    if with_ends:
        for trace in traces:
            texts.append({"y": trace.lane * step + 6, "words": f"{trace.high:g} {trace.unit}"})
            texts.append({"y": trace.lane * step + lane_px - 6, "words": f"{trace.low:g} {trace.unit}"})
    frames = {
        "lines": lines,
        "texts": pl.DataFrame(texts, schema={"y": pl.Float64, "words": pl.String}),
        "rows": pl.DataFrame(
            {"y": [lane * step + lane_px + GAP_PX / 2 for lane in range(len(labels))]},
            schema={"y": pl.Float64},
        ),
    }
    first, last = float(lines["t"].min()), float(lines["t"].max())  # type: ignore[arg-type]
    hours = range(int(first // 60), int(last // 60) + 2)
    spec = fill(
        _template(look),
        {
            "x_from": first,
            "x_to": last,
            "x_values": [60.0 * hour for hour in hours],
            "x_label": f"pad('' + (({NOON_H} + round(datum.value / 60)) % 24), 2, '0', 'left') + ':00'",
            "height": step * len(labels),
        },
    )
    return Picture(spec, frames, words)


def _traces(
    night: NamedNight, lanes: tuple[int, int], unit: PressureUnit, palette: Palette, buckets: int
) -> list[_Trace]:
    factor = 1.0 if unit == PressureUnit.MMHG else KPA_PER_MMHG
    signal = night.signal
    traces = [
        _Trace(
            lanes[0],
            *SPO2_ENDS,
            "%",
            palette.kinds["arterial"],
            "SpO2",
            _points(signal.spo2_tenths, 0.1, signal, buckets),
        )
    ]
    if signal.tcco2_tenths_mmhg is not None:
        low, high = (round(end * factor, 1) for end in TC_ENDS_MMHG)
        points = _points(signal.tcco2_tenths_mmhg, 0.1 * factor, signal, buckets)
        colour = palette.kinds["transcutaneous"]
        traces.append(_Trace(lanes[1], low, high, unit.value, colour, "tcCO2", points))
    return traces


def draw_two(one: NamedNight, other: NamedNight, *, look: Look, unit: PressureUnit) -> Picture:
    """Draw two nights aligned by the clock: saturation of both, then transcutaneous CO2 of both."""
    palette = PALETTES[look]
    traces = _traces(one, (0, 2), unit, palette, 700) + _traces(other, (1, 3), unit, palette, 700)
    with_co2 = any(trace.lane > 1 for trace in traces)
    labels = [f"SpO2, {one.words}", f"SpO2, {other.words}"]
    labels += [f"tcCO2, {one.words}", f"tcCO2, {other.words}"] if with_co2 else []
    words = (
        f"Two nights on one clock: {one.words} above {other.words}. The table below compares their scores."
    )
    return _draw(traces, labels, 100.0, look, words, with_ends=True)


def draw_strip(nights: Sequence[NamedNight], *, look: Look, unit: PressureUnit) -> Picture:
    """Draw many nights small, oldest first: saturation dark, transcutaneous CO2 in its own colour."""
    palette = PALETTES[look]
    traces = [
        trace
        for lane, night in enumerate(nights)
        for trace in _traces(night, (lane, lane), unit, palette, 240)
    ]
    words = (
        f"{len(nights)} nights under one another on one clock, from {nights[0].words} to {nights[-1].words}."
    )
    return _draw(traces, [night.words for night in nights], 44.0, look, words, with_ends=False)


# --- distributions -------------------------------------------------------------------------------


@lru_cache(maxsize=4)
def _shares_template(look: Look) -> str:
    palette = PALETTES[look]
    x = alt.X("v:Q", scale=alt.Scale(zero=False, nice=False), axis=alt.Axis(title=hole("title"), grid=False))
    y = alt.Y("share:Q", axis=alt.Axis(title="share of time, %", grid=True, tickCount=4))
    dash = alt.StrokeDash(
        "night:N",
        scale=alt.Scale(domain=[hole("one"), hole("other")], range=[[1, 0], SHORT_DASH]),
        legend=None,
    )
    line = alt.Chart(alt.NamedData("shares")).mark_line(
        interpolate="step", strokeWidth=1.6, stroke=palette.ink
    )
    text = alt.Chart(alt.NamedData("names")).mark_text(align="left", baseline="top", fill=palette.ink)
    whole = alt.layer(
        line.encode(x=x, y=y, strokeDash=dash),
        text.encode(x=alt.value(8), y=alt.Y("y:Q", scale=None, axis=None), text="words:N"),
    ).resolve_scale(y="independent")
    return template(whole.properties(height=150).to_dict(validate=False), look, FONT_PX)


def draw_shares(one: NamedNight, other: NamedNight, *, co2: bool, look: Look, unit: PressureUnit) -> Picture:
    """Draw how the valid time of two nights is spread over saturation or transcutaneous CO2."""
    factor = 1.0 if unit == PressureUnit.MMHG else KPA_PER_MMHG
    parts = []
    for night in (one, other):
        values = night.signal.tcco2_tenths_mmhg if co2 else night.signal.spo2_tenths
        if values is None:
            continue
        if co2:
            values = values[values >= LEAST_TC_TENTHS]
        step = (1.0 if unit == PressureUnit.MMHG else 0.1) if co2 else 1.0
        shares = histogram(values, scale=0.1 * (factor if co2 else 1.0), step=step)
        parts.append(shares.with_columns(pl.lit(night.words).alias("night")))
    schema = {"v": pl.Float64, "share": pl.Float64, "night": pl.String}
    frames = {
        "shares": pl.concat(parts) if parts else pl.DataFrame(schema=schema),
        "names": pl.DataFrame(
            {"y": [4.0, 20.0], "words": [f"full line: {one.words}", f"dashed: {other.words}"]}
        ),
    }
    title = f"transcutaneous CO2, {unit.value}" if co2 else "saturation, %"
    spec = fill(_shares_template(look), {"title": title, "one": one.words, "other": other.words})
    return Picture(spec, frames, f"Share of time over {title} in two nights.")
