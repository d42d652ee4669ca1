"""Time-stamped annotation lists of EDF+: where each data record lies on the clock, and its marks.

EDF+ specification, time keeping (source `EDFPlus`): the first list of the first annotation signal of a
record gives the record's own onset. A reader that joins records without it closes every hole of a
discontinuous file.
"""

import re
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hvmon.files.understood import UnreadableNight
from hvmon.records.night_signal import LONGEST_NIGHT_S, Annotation

SLACK_S = 0.001
"""[s] records that begin this close to the end of the one before follow it without a hole."""

MAX_ANNOTATIONS = 20_000
_TAL = re.compile(
    rb"(?P<onset>[+-]\d{1,7}(?:\.\d{0,20})?)"
    rb"(?:\x15(?P<duration>\d{1,7}(?:\.\d{0,20})?))?"
    rb"\x14(?P<texts>(?:[^\x00]*\x14)?)\x00"
)


@dataclass(frozen=True, slots=True)
class Timing:
    """Onsets of the data records [s after the header's start time], and the marks with theirs."""

    onsets_s: NDArray[np.float64]
    annotations: tuple[Annotation, ...]
    warnings: tuple[str, ...]


def continuous(records: int, record_seconds: float) -> Timing:
    """Give the timing of a file without annotation signals: record follows record."""
    return Timing(np.arange(records, dtype=np.float64) * record_seconds, (), ())


def timing(channels: list[bytes], records: int, record_seconds: float) -> Timing:
    """Give the timing of a file with annotation signals; `channels` hold their bytes, record after record.

    Raises
    ------
    UnreadableNight
        A record tells no onset, or begins before the one before it ended; the record is named.
    """
    onsets = np.empty(records)
    found: list[tuple[float, float | None, bytes]] = []
    for c, content in enumerate(channels):
        width = len(content) // records
        for k in range(records):
            lists = content[k * width : (k + 1) * width]
            if c == 0:
                onsets[k], lists = _record_onset(lists, k)
            if lists and lists.strip(b"\x00"):
                found += _marks(lists, k)
        if len(found) > MAX_ANNOTATIONS:
            raise UnreadableNight(
                f"The file holds more than {MAX_ANNOTATIONS} annotations; that is no night's file."
            )
    _check_order(onsets, record_seconds)
    annotations, warnings = _annotations(found, float(onsets[0]))
    return Timing(onsets, annotations, warnings)


def _record_onset(lists: bytes, k: int) -> tuple[float, bytes]:
    """Give the onset of record k and the lists after its own."""
    match = _TAL.match(lists)
    if match is None:
        raise UnreadableNight(
            f"EDF Annotations of data record {k + 1}: {lists[:24]!r} was given, accepted is a time-keeping "
            "entry such "
            "as '+30' that says when the record begins. The file is damaged there or is no EDF+."
        )
    own = match["texts"]
    rest = b"" if own in {b"", b"\x14"} else match["onset"] + b"\x14" + own.removeprefix(b"\x14") + b"\x00"
    return float(match["onset"]), rest + lists[match.end() :]


def _marks(lists: bytes, k: int) -> list[tuple[float, float | None, bytes]]:
    """Give onset, duration and text of every mark of a record."""
    marks: list[tuple[float, float | None, bytes]] = []
    position = 0
    for match in _TAL.finditer(lists):
        if lists[position : match.start()].strip(b"\x00"):
            break
        duration = float(match["duration"]) if match["duration"] else None
        if len(marks) > MAX_ANNOTATIONS:
            return marks
        marks += [(float(match["onset"]), duration, text) for text in match["texts"].split(b"\x14") if text]
        position = match.end()
    if lists[position:].strip(b"\x00"):
        raise UnreadableNight(
            f"EDF Annotations of data record {k + 1}: {lists[position : position + 24]!r} was given, "
            "accepted are "
            "entries of an onset, an optional duration and a text. The file is damaged there."
        )
    return marks


def _check_order(onsets: NDArray[np.float64], record_seconds: float) -> None:
    early = np.flatnonzero(np.diff(onsets) < record_seconds - SLACK_S)
    if len(early):
        k = int(early[0])
        raise UnreadableNight(
            f"EDF Annotations of data record {k + 2}: it begins at {onsets[k + 1]:g} s, accepted is "
            f"{onsets[k] + record_seconds:g} s or later, the end of the record before it. The file is "
            "damaged."
        )
    if not 0.0 <= onsets[0] < LONGEST_NIGHT_S or onsets[-1] - onsets[0] + record_seconds > LONGEST_NIGHT_S:
        raise UnreadableNight(
            f"EDF Annotations: the records lie from {onsets[0]:g} to {onsets[-1] + record_seconds:g} s, "
            "accepted is "
            f"one night of at most {LONGEST_NIGHT_S // 3600} h that begins at the header's start time."
        )


def _annotations(
    found: list[tuple[float, float | None, bytes]], start: float
) -> tuple[tuple[Annotation, ...], tuple[str, ...]]:
    annotations, odd = [], 0
    for onset, duration, raw in found:
        try:
            text = raw.decode()
        except UnicodeDecodeError:
            text, odd = raw.decode("latin-1"), odd + 1
        annotations.append(Annotation(round(onset - start, 6), duration, text))
    warning = f"{odd} annotations are no UTF-8 and were read as Latin-1; check accented letters."
    return tuple(annotations), (warning,) if odd else ()


def holes(onsets: NDArray[np.float64], record_seconds: float) -> list[tuple[float, float]]:
    """Give start and length [s] of every hole between records."""
    ends = onsets[:-1] + record_seconds
    lengths = onsets[1:] - ends
    return [(float(ends[k] - onsets[0]), float(lengths[k])) for k in np.flatnonzero(lengths > SLACK_S)]
