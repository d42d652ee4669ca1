"""Windows of a transcutaneous recording: warm-up, sensor off, and the annotated awake supine stretch."""

from dataclasses import dataclass

import numpy as np

from hvmon.nights.conventions import TC_WARM_UP_S
from hvmon.nights.validity import BoolArray, tc_validity
from hvmon.records.night_signal import Annotation, AnnotationKind, Int16Array, NightSignal

LEAST_AWAKE_S = 60
"""[s] valid seconds an annotated awake supine stretch must hold (Project)."""


@dataclass(frozen=True, slots=True)
class AwakeSupine:
    """Awake supine value in tenths of mmHg with where it comes from, or the reason why there is none."""

    tenths_mmhg: int | None
    origin: str | None
    reason: str | None


def excluded_seconds(signal: NightSignal) -> BoolArray:
    """Seconds of warm-up (15 min after application, recalibration, change of site) and of sensor off.

    The sensor counts as applied at the start of the recording unless an annotation says when it was; an
    onset before the start of the recording is negative.
    """
    excluded = np.zeros(signal.n_seconds, dtype=np.bool_)
    applied = signal.of_kind(AnnotationKind.SENSOR_APPLIED)
    starts = [_span_end(mark) for mark in applied] or [0.0]
    for kind in (AnnotationKind.RECALIBRATION, AnnotationKind.SITE_CHANGE):
        for mark in signal.of_kind(kind):
            _mark(excluded, mark.onset_s, _span_end(mark))
            starts.append(_span_end(mark))
    for mark in signal.of_kind(AnnotationKind.SENSOR_OFF):
        _mark(excluded, mark.onset_s, _span_end(mark))
    for start in starts:
        _mark(excluded, start, start + TC_WARM_UP_S)
    return excluded


def awake_supine(
    signal: NightSignal, tc_tenths: Int16Array, excluded: BoolArray, stated_mmhg: float | None
) -> AwakeSupine:
    """Give the awake supine value: the stated one, else the median of the annotated stretch.

    A mark without a duration reaches to the next "asleep" mark. Never the first value of the recording, and
    never an "awake" mark that does not say supine.
    """
    if stated_mmhg is not None:
        return AwakeSupine(round(stated_mmhg * 10.0), "stated", None)
    marks = signal.of_kind(AnnotationKind.AWAKE_SUPINE)
    if not marks:
        return AwakeSupine(None, None, "no awake supine value was stated and none is annotated")
    inside = np.zeros(signal.n_seconds, dtype=np.bool_)
    for mark in marks:
        _mark(inside, mark.onset_s, _awake_end(signal, mark))
    values = _valid_values(tc_tenths, inside & ~excluded)
    if len(values) < LEAST_AWAKE_S:
        return AwakeSupine(
            None, None, f"the annotated awake supine stretch holds fewer than {LEAST_AWAKE_S} valid seconds"
        )
    return AwakeSupine(round(float(np.median(values))), "annotated awake supine", None)


def _valid_values(tc_tenths: Int16Array, wanted: BoolArray) -> Int16Array:
    """Give the valid values of the wanted seconds; the gate looks back, so nothing later is judged."""
    at = np.flatnonzero(wanted)
    if not len(at):
        return tc_tenths[:0]
    end = int(at[-1]) + 1
    return np.asarray(tc_tenths[:end][tc_validity(tc_tenths[:end]).valid & wanted[:end]], dtype=np.int16)


def _awake_end(signal: NightSignal, mark: Annotation) -> float:
    """End of an awake supine stretch; its onset when nothing says how long it lasted."""
    if mark.duration_s is not None:
        return mark.onset_s + mark.duration_s
    asleep = [each.onset_s for each in signal.of_kind(AnnotationKind.ASLEEP) if each.onset_s > mark.onset_s]
    return min(asleep, default=mark.onset_s)


def _span_end(mark: Annotation) -> float:
    """End of a mark; its onset when it is a moment."""
    return mark.onset_s + (mark.duration_s or 0.0)


def _mark(seconds: BoolArray, start_s: float, end_s: float) -> None:
    """Set every second that lies wholly or partly in [start, end)."""
    seconds[max(int(np.floor(start_s)), 0) : max(int(np.ceil(end_s)), 0)] = True
