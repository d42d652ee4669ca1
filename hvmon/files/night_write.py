"""A night as EDF+: exact tenths, gaps as a stated value and as annotations, no identity in the file.

Digital 0 to 32767 stand for 0 to 3276.7 (0 to 327.67 for kPa), so that every tenth is exact; the usual
fit of the 16-bit range to the data is not. EDF has no "no data": the value used for it (0 unless a
second truly holds 0) stands in the prefiltering field.
"""

import datetime as dt
import unicodedata
from pathlib import Path

import edfio
import numpy as np

from hvmon.files.edf_marks import GAP_TEXT, HIGHEST, SignalMark, clock_text, highest_physical
from hvmon.records.night_signal import MISSING, Annotation, Int16Array, NightSignal

LONGEST_RECORD_S = 60
MOST_GAPS = 2_000
FREE_FIELD = 80


def write_edf(path: Path, night: NightSignal) -> None:
    """Write a night to a file in EDF+.

    Raises
    ------
    ValueError
        As `to_edf`.
    """
    path.write_bytes(to_edf(night))


def to_edf(night: NightSignal) -> bytes:
    """Give a night as the bytes of an EDF+ file.

    Control characters in annotations become blanks; onsets are kept to the microsecond.

    Raises
    ------
    ValueError
        A channel holds a negative reading or uses every value EDF could spare for "no data", or the
        night lies outside the years 1985 to 2084 that EDF can tell.
    """
    record_s = next(d for d in range(LONGEST_RECORD_S, 0, -1) if night.n_seconds % d == 0)
    signals, gaps = [], []
    for label, dimension, values in _channels(night):
        signals.append(_signal(night, label, dimension, values))
        gaps += _gaps(label, values)
    local = night.start_local
    offset = local.utcoffset() or dt.timedelta()
    clock = clock_text(night.zone, round(offset.total_seconds() / 60))
    equipment, *additional = clock.split()
    edf = edfio.Edf(
        signals,
        recording=edfio.Recording(startdate=local.date(), equipment_code=equipment, additional=additional),
        starttime=local.time(),
        data_record_duration=record_s,
        annotations=[_edf_annotation(one) for one in (*night.annotations, *_bounded(gaps))],
    )
    content: bytes = edf.to_bytes()
    return content


def _channels(night: NightSignal) -> list[tuple[str, str, Int16Array]]:
    """Label after the standard texts where there is one, dimension, whole steps."""
    found = [("SaO2 finger", "%", night.spo2_tenths)]
    if night.pulse_tenths is not None:
        found.append(("Pulse", "/min", night.pulse_tenths))
    if night.tcco2_hundredths_kpa is not None:
        found.append(("tcCO2", "kPa", night.tcco2_hundredths_kpa))
    elif night.tcco2_tenths_mmhg is not None:
        found.append(("tcCO2", "mmHg", night.tcco2_tenths_mmhg))
    return found


def _signal(night: NightSignal, label: str, dimension: str, values: Int16Array) -> edfio.EdfSignal:
    sentinel = _sentinel(label, values)
    return edfio.EdfSignal.from_digital(
        np.where(values == MISSING, sentinel, values).astype(np.int16),
        1,
        label=label,
        transducer_type=_transducer(night),
        physical_dimension=dimension,
        physical_range=(0, highest_physical(dimension)),
        digital_range=(0, HIGHEST),
        prefiltering=SignalMark(night.interval_s, night.averaging_s, sentinel).text,
    )


def _sentinel(label: str, values: Int16Array) -> int:
    """Give the value that stands for "no data": 0, or the highest unused one where 0 is a reading."""
    readings = values[values != MISSING]
    if len(readings) and readings.min() < 0:
        raise ValueError(f"{label}: {readings.min()} was given, accepted are readings of 0 or more.")
    if not (readings == 0).any():
        return 0
    used = set(np.unique(readings).tolist())
    free = next((value for value in range(HIGHEST, 0, -1) if value not in used), None)
    if free is None:
        raise ValueError(f"{label}: every value of 16 bits is used; none is left for 'no data'.")
    return free


def _transducer(night: NightSignal) -> str:
    site = f"; site {night.sensor_site}"
    kind = "".join(mark if mark.isascii() and mark.isprintable() else "?" for mark in night.device_kind)
    return kind[: FREE_FIELD - len(site)] + site


def _gaps(label: str, values: Int16Array) -> list[Annotation]:
    """Give one annotation for each stretch without readings."""
    missing = np.concatenate(([False], values == MISSING, [False]))
    edges = np.flatnonzero(np.diff(missing))
    starts, ends = edges[::2], edges[1::2]
    pairs = zip(starts.tolist(), ends.tolist(), strict=True)
    return [Annotation(float(start), float(end - start), f"{GAP_TEXT}: {label}") for start, end in pairs]


def _bounded(gaps: list[Annotation]) -> list[Annotation]:
    if len(gaps) <= MOST_GAPS:
        return gaps
    return [Annotation(0.0, 0.0, f"{GAP_TEXT}: {len(gaps)} stretches, not listed one by one")]


def _is_control(mark: str) -> bool:
    """Whether a character cannot stand in an annotation: control characters and half characters."""
    return unicodedata.category(mark) in {"Cc", "Cs"} and mark not in "\t\n\r"


def _edf_annotation(one: Annotation) -> edfio.EdfAnnotation:
    text = "".join(" " if _is_control(mark) else mark for mark in one.text)
    duration = None if one.duration_s is None else round(max(one.duration_s, 0.0), 6)
    return edfio.EdfAnnotation(round(one.onset_s, 6), duration, text or "(no text)")
