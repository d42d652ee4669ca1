"""What the shape of a night suggests, with the numbers it rests on. Thresholds are the project's own.

Oximetry on ventilation finds falls but does not tell their cause; transcutaneous CO2 beside it separates
hypoventilation from mismatch and shows over-ventilation (Janssens2011). A pattern is a suggestion to look,
never a finding, and none being suggested says nothing.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hvmon.nights.conventions import BELOW_90, SUSTAINED_S
from hvmon.nights.dips import run_lengths
from hvmon.nights.results import NightScore
from hvmon.nights.transcutaneous import excluded_seconds
from hvmon.nights.validity import BoolArray, IntArray, spo2_validity, tc_validity
from hvmon.records.night_signal import AnnotationKind, NightSignal

FloatArray = NDArray[np.float64]
Numbers = tuple[tuple[str, float], ...]

PLATEAU_SHARE: Final = 0.5
SAW_TOOTH_DIPS_PER_H: Final = 15.0
FEW_DIPS_PER_H: Final = 5.0
LEAST_BELOW_90_S: Final = 600
CO2_RISE_MMHG: Final = 5.0
CO2_FLAT_MMHG: Final = 3.0
REGULAR: Final = 0.6
"""Share of the power between 30 and 120 s that lies within a sixth of the peak."""
SHORTEST_PERIOD_S: Final = 30.0
LONGEST_PERIOD_S: Final = 120.0
SEGMENT_S: Final = 900
LAG_S: Final = 120
"""[s] the transcutaneous channel is read this much later than saturation: transport and sensor together."""
BESIDE_S: Final = 600
OXYGEN_SPO2_RISE: Final = 2.0
OXYGEN_CO2_RISE_MMHG: Final = 4.0
REM_SPACING_S: Final = (60 * 60, 120 * 60)
LEAST_REM_RUNS: Final = 3
LOW_CO2_MMHG: Final = 35.0


@dataclass(frozen=True, slots=True)
class Shape:
    """The numbers a reading rests on; None where the recording does not give them."""

    dips_per_h: float | None
    below_90_s: int
    plateau_share: float | None
    """Share of the seconds below 90 % that lie in runs of 300 s or longer."""
    period_s: float | None
    """Strongest period of saturation between 30 and 120 s."""
    regularity: float | None
    co2_in_plateaus_mmhg: tuple[float, ...]
    """Rise of CO2 in each run of 300 s below 90 %, over the 10 min before it."""
    plateau_starts_s: tuple[int, ...]
    co2_median_mmhg: float | None


@dataclass(frozen=True, slots=True)
class PatternReading:
    """One suggestion. `suggests` completes the sentence "the night suggests ..."."""

    key: str
    suggests: str
    numbers: Numbers


def read_patterns(signal: NightSignal, score: NightScore) -> tuple[PatternReading, ...]:
    """Give what the night suggests, with numbers; empty when nothing stands out or it is too short."""
    shape = shape_of(signal, score)
    if shape.dips_per_h is None:
        return ()
    found = (
        _plateaus(shape),
        _rem_spacing(shape),
        _saw_tooth(shape),
        _periodic(shape),
        *_oxygen(signal),
    )
    return tuple(each for each in found if each is not None)


def shape_of(signal: NightSignal, score: NightScore) -> Shape:
    """Measure the shape of a night."""
    valid = spo2_validity(signal.spo2_tenths).valid
    below = valid & (signal.spo2_tenths < BELOW_90)
    lengths = run_lengths(below)
    below_s, long_s = int(lengths.sum()), int(lengths[lengths >= SUSTAINED_S].sum())
    starts = np.flatnonzero(np.diff(np.concatenate(([0], below.astype(np.int8)))) == 1)
    long_starts, long_lengths = starts[lengths >= SUSTAINED_S], lengths[lengths >= SUSTAINED_S]
    period, regularity = _period(signal.spo2_tenths.astype(np.float64) / 10.0, valid)
    tc = score.tc_corrected or score.tc_raw
    return Shape(
        score.c1.odi3_c1,
        below_s,
        long_s / below_s if below_s >= LEAST_BELOW_90_S else None,
        period,
        regularity,
        _co2_rises(signal, long_starts, long_lengths),
        tuple(long_starts.tolist()),
        None if tc is None else tc.tc_median,
    )


def _co2_rises(signal: NightSignal, starts: IntArray, lengths: IntArray) -> tuple[float, ...]:
    """Rise of CO2 in each plateau over the 10 min before it, read with the lag of the sensor [mmHg]."""
    if signal.tcco2_tenths_mmhg is None:
        return ()
    usable = tc_validity(signal.tcco2_tenths_mmhg).valid & ~excluded_seconds(signal)
    rises = []
    for start, length in zip(starts.tolist(), lengths.tolist(), strict=True):
        before = _median(signal, usable, start + LAG_S - BESIDE_S, start + LAG_S)
        within = _median(signal, usable, start + LAG_S + length // 2, start + LAG_S + length)
        if before is not None and within is not None:
            rises.append(within - before)
    return tuple(rises)


def _median(signal: NightSignal, usable: BoolArray, start: int, end: int) -> float | None:
    """Median of CO2 in [start, end) [mmHg]; None with less than a minute of values."""
    inside = slice(max(start, 0), max(end, 0))
    if signal.tcco2_tenths_mmhg is None:
        return None
    values = signal.tcco2_tenths_mmhg[inside][usable[inside]]
    return float(np.median(values)) / 10.0 if len(values) >= 60 else None  # noqa: PLR2004 - a minute


def _period(spo2: FloatArray, valid: BoolArray) -> tuple[float | None, float | None]:
    """Strongest period between 30 and 120 s and how regular it is, from whole segments of 15 min."""
    n_segments = len(spo2) // SEGMENT_S
    whole = slice(0, n_segments * SEGMENT_S)
    complete = np.mean(valid[whole].reshape(n_segments, SEGMENT_S), axis=1) > 0.95  # noqa: PLR2004
    if not complete.any():
        return None, None
    seconds = np.arange(len(spo2))
    filled = np.interp(seconds, seconds[valid], spo2[valid])[whole].reshape(n_segments, SEGMENT_S)[complete]
    centred = (filled - filled.mean(axis=1, keepdims=True)) * np.hanning(SEGMENT_S)
    power = np.mean(np.abs(np.fft.rfft(centred, axis=1)) ** 2, axis=0)
    frequency = np.fft.rfftfreq(SEGMENT_S)
    band = (frequency >= 1 / LONGEST_PERIOD_S) & (frequency <= 1 / SHORTEST_PERIOD_S)
    total = float(power[band].sum())
    if total == 0.0:
        return None, None
    peak = float(frequency[band][np.argmax(power[band])])
    near = band & (np.abs(frequency - peak) <= peak / 6)
    return 1.0 / peak, float(power[near].sum()) / total


def _plateaus(shape: Shape) -> PatternReading | None:
    """Long low runs with few dips: hypoventilation when CO2 rises with them, else something flat."""
    share, dips = shape.plateau_share, shape.dips_per_h
    if share is None or dips is None or share < PLATEAU_SHARE or dips >= SAW_TOOTH_DIPS_PER_H:
        return None
    numbers: Numbers = (
        ("share of time below 90 % in runs of 5 min or longer", share),
        ("dips per valid hour", dips),
    )
    if not shape.co2_in_plateaus_mmhg:
        return PatternReading(
            "plateau", "sustained falls; without transcutaneous CO2 their cause is open", numbers
        )
    rise = float(np.median(shape.co2_in_plateaus_mmhg))
    numbers = (*numbers, ("median rise of CO2 in them [mmHg]", rise))
    if rise >= CO2_RISE_MMHG:
        return PatternReading(
            "plateau with CO2", "hypoventilation: pressure support, rate and leak are worth a look", numbers
        )
    if rise <= CO2_FLAT_MMHG:
        return PatternReading(
            "plateau without CO2",
            "ventilation-perfusion mismatch, too little oxygen, or leak without hypoventilation",
            numbers,
        )
    return None


def _rem_spacing(shape: Shape) -> PatternReading | None:
    """Plateaus 60 to 120 min apart, each with a rise of CO2."""
    starts = np.array(shape.plateau_starts_s)
    if len(shape.co2_in_plateaus_mmhg) < LEAST_REM_RUNS or len(shape.co2_in_plateaus_mmhg) != len(starts):
        return None
    spacing = float(np.median(np.diff(starts)))
    least = min(shape.co2_in_plateaus_mmhg)
    if not REM_SPACING_S[0] <= spacing <= REM_SPACING_S[1] or least < CO2_FLAT_MMHG:
        return None
    return PatternReading(
        "REM-like spacing",
        "hypoventilation in REM sleep",
        (("median spacing [min]", spacing / 60.0), ("least rise of CO2 in them [mmHg]", least)),
    )


def _saw_tooth(shape: Shape) -> PatternReading | None:
    """Many dips, no plateaus, no regular period: obstruction."""
    dips, share = shape.dips_per_h, shape.plateau_share
    regular = shape.regularity is not None and shape.regularity >= REGULAR
    if dips is None or dips < SAW_TOOTH_DIPS_PER_H or (share or 0.0) >= PLATEAU_SHARE or regular:
        return None
    numbers = (
        ("dips per valid hour", dips),
        ("share of time below 90 % in runs of 5 min or longer", share or 0.0),
    )
    return PatternReading(
        "saw-tooth", "upper-airway obstruction: expiratory pressure and leak are worth a look", numbers
    )


def _periodic(shape: Shape) -> PatternReading | None:
    """Recognise a very regular saw-tooth: periodic breathing, over-ventilation when CO2 is low."""
    if shape.dips_per_h is None or shape.period_s is None or shape.regularity is None:
        return None
    if shape.dips_per_h < SAW_TOOTH_DIPS_PER_H or shape.regularity < REGULAR:
        return None
    numbers: Numbers = (
        ("dips per valid hour", shape.dips_per_h),
        ("period [s]", shape.period_s),
        ("regularity", shape.regularity),
    )
    if shape.co2_median_mmhg is None:
        return PatternReading("periodic", "periodic breathing; CO2 is not known", numbers)
    numbers = (*numbers, ("median CO2 [mmHg]", shape.co2_median_mmhg))
    if shape.co2_median_mmhg < LOW_CO2_MMHG:
        return PatternReading("periodic with low CO2", "periodic breathing with over-ventilation", numbers)
    return PatternReading("periodic", "periodic or central breathing, CO2 not low", numbers)


def _oxygen(signal: NightSignal) -> tuple[PatternReading, ...]:
    """After each oxygen change: saturation up and CO2 up within an hour."""
    if signal.tcco2_tenths_mmhg is None:
        return ()
    valid = spo2_validity(signal.spo2_tenths).valid
    usable = tc_validity(signal.tcco2_tenths_mmhg).valid & ~excluded_seconds(signal)
    found = []
    for mark in signal.of_kind(AnnotationKind.OXYGEN_CHANGE):
        at = round(mark.onset_s)
        low = _spo2_median(signal, valid, at - BESIDE_S, at)
        high = _spo2_median(signal, valid, at + BESIDE_S, at + 2 * BESIDE_S)
        before = _median(signal, usable, at - BESIDE_S, at)
        hour = range(at + BESIDE_S, at + 3600 - BESIDE_S + 1, BESIDE_S)
        after = [_median(signal, usable, start, start + BESIDE_S) for start in hour]
        known = [value for value in after if value is not None]
        if low is None or high is None or before is None or not known:
            continue
        if high - low >= OXYGEN_SPO2_RISE and max(known) - before >= OXYGEN_CO2_RISE_MMHG:
            found.append(_retention(mark.onset_s, high - low, max(known) - before))
    return tuple(found)


def _retention(at_s: float, spo2_rise: float, co2_rise: float) -> PatternReading:
    return PatternReading(
        "CO2 up on oxygen",
        "CO2 retention on oxygen: the time below 90 % improves while ventilation worsens",
        (
            ("oxygen changed at [min]", at_s / 60.0),
            ("rise of saturation [%]", spo2_rise),
            ("rise of CO2 within an hour [mmHg]", co2_rise),
        ),
    )


def _spo2_median(signal: NightSignal, valid: BoolArray, start: int, end: int) -> float | None:
    """Median saturation in [start, end) [%]; None with less than a minute of values."""
    inside = slice(max(start, 0), max(end, 0))
    values = signal.spo2_tenths[inside][valid[inside]]
    return float(np.median(values)) / 10.0 if len(values) >= 60 else None  # noqa: PLR2004 - a minute
