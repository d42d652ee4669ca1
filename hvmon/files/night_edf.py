"""Nights in EDF and EDF+ (continuous and discontinuous), each record placed by its own onset.

edfio decodes the samples. It joins the records of a discontinuous file without a word, so the onsets
are read here and holes stay missing. What the file cannot say (zone, a date made anonymous, which
signal, which unit) is asked; what is damaged is named by its header field.
"""

import datetime as dt
import hashlib
import math
import re
import warnings as python_warnings
from collections.abc import Mapping
from pathlib import Path

import edfio
import numpy as np
from numpy.typing import NDArray

from hvmon.files.edf_header import (
    EdfHeader,
    EdfSignalHeader,
    digital_range,
    physical_range,
    plain_header,
    read_header,
    scale,
)
from hvmon.files.edf_marks import GAP_TEXT, SignalMark, is_ours, read_clock
from hvmon.files.edf_onsets import Timing, continuous, holes, timing
from hvmon.files.local_clock import utc_of_start, zone_of
from hvmon.files.night_build import RawChannel, RawNight, build
from hvmon.files.night_channels import Candidate, Channel, candidate, choose, unit_of
from hvmon.files.night_values import Floats
from hvmon.files.understood import (
    LONGEST_INTERVAL_S,
    Asking,
    Outcome,
    Questions,
    UnreadableNight,
    ask_long,
    read_file,
)
from hvmon.records.night_signal import Annotation
from hvmon.vocabulary import SensorSite

_ISO_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_SITE = re.compile(r"(?P<kind>.*); site (?P<site>.*)")
EXACT_TO_S = 1e-6


def understand(path: Path, answers: Mapping[str, str]) -> Outcome:
    """Read a night from an EDF or EDF+ file, or say what must be asked first.

    Parameters
    ----------
    path : Path
        The file, at most 20 MB.
    answers : mapping
        Answers by the key of their question: ``zone``, ``start_date``, ``column.spo2``, ``column.pulse``,
        ``column.tcco2``, ``unit.tcco2``, ``clock_change``, ``long_recording``.

    Raises
    ------
    UnreadableNight
        The file is damaged or holds no night; the message names the header field or the data record.
    """
    return understand_bytes(read_file(path), answers)


def understand_bytes(content: bytes, answers: Mapping[str, str]) -> Outcome:
    """As `understand`, from the bytes of the file."""
    header = read_header(content)
    asking = Asking(answers)
    chosen = choose(_candidates(header), asking)
    units = {channel: unit_of(channel, one, asking) for channel, one in chosen.items()}
    clock = _timing(content, header)
    seconds = math.ceil(clock.onsets_s[-1] - clock.onsets_s[0] + header.record_seconds - EXACT_TO_S)
    ask_long(seconds, asking)
    start = _start(header, float(clock.onsets_s[0]), asking)
    if asking.open or start is None:
        return Questions(tuple(asking.open))
    reading = _Reading(content, header, clock, max(seconds, 1))
    channels = {channel: reading.channel(one, str(units[channel])) for channel, one in chosen.items()}
    raw = _night(content, header, clock, start, reading, channels, chosen)
    raw.warnings += asking.not_needed()
    return build(raw)


def _night(
    content: bytes,
    header: EdfHeader,
    clock: Timing,
    start: tuple[dt.datetime, str],
    reading: "_Reading",
    channels: Mapping[Channel, RawChannel],
    chosen: Mapping[Channel, Candidate],
) -> RawNight:
    first = header.signals[next(iter(chosen.values())).position]
    mark = SignalMark.read(first.prefiltering)
    marks = _annotations(clock.annotations, own=mark is not None)
    kind, site = _device(header, chosen)
    return RawNight(
        start_utc=start[0],
        zone=start[1],
        interval_s=mark.interval_s
        if mark
        else max(1, math.ceil(header.record_seconds / first.samples - EXACT_TO_S)),
        channels=channels,
        source_sha256=hashlib.sha256(content).hexdigest(),
        annotations=marks,
        averaging_s=mark.averaging_s if mark else None,
        device_kind=kind if mark else "not recorded",
        sensor_site=site if mark else SensorSite.NOT_RECORDED,
        summary=_summary(header, len(marks)),
        warnings=[*header.warnings, *clock.warnings, *_hole_warnings(header, clock), *reading.warnings],
    )


def _candidates(header: EdfHeader) -> list[Candidate]:
    return [
        candidate(position, signal.label, signal.dimension, signal.name)
        for position, signal in enumerate(header.signals)
        if not signal.is_annotations
    ]


def _timing(content: bytes, header: EdfHeader) -> Timing:
    """Give the onsets of all records; without annotation signals record follows record."""
    ends = np.cumsum([2 * signal.samples for signal in header.signals])
    annotated = [k for k, signal in enumerate(header.signals) if signal.is_annotations]
    if not annotated:
        if header.is_plus:
            raise UnreadableNight(
                "EDF header, field 'label': the file says it is EDF+, but has no signal 'EDF Annotations' "
                "that would "
                "say when each data record begins. Export the file again."
            )
        return continuous(header.records, header.record_seconds)
    size = header.records * header.record_bytes
    data = np.frombuffer(content, np.uint8, size, header.header_bytes).reshape(header.records, -1)
    channels = [data[:, ends[k] - 2 * header.signals[k].samples : ends[k]].tobytes() for k in annotated]
    return timing(channels, header.records, header.record_seconds)


def _start(header: EdfHeader, first_onset_s: float, asking: Asking) -> tuple[dt.datetime, str] | None:
    """Give the moment at which the first record begins and its zone; None while something is asked."""
    own = read_clock(header.recording)
    day = _start_date(header, asking)
    if own and day:
        local = dt.datetime.combine(day, header.start_time, dt.timezone(dt.timedelta(minutes=own[1])))
        return local.astimezone(dt.UTC) + dt.timedelta(seconds=first_onset_s), own[0]
    zone = zone_of(asking)
    if zone is None or day is None:
        return None
    start = utc_of_start(dt.datetime.combine(day, header.start_time), zone, asking)
    return None if start is None else (start + dt.timedelta(seconds=first_onset_s), zone.key)


def _start_date(header: EdfHeader, asking: Asking) -> dt.date | None:
    if len(header.start_dates) == 1:
        return header.start_dates[0]
    if header.start_dates:
        text = "The two date fields of the file disagree. On which date did the recording start?"
        options = tuple(day.isoformat() for day in header.start_dates)
    else:
        text, options = "The file tells no start date. On which date did it start? Write year-month-day.", ()
    given = asking.answer("start_date", text, options)
    return None if given is None else date_answer(given)


def date_answer(given: str) -> dt.date:
    """Give the date of an answer written year-month-day.

    Raises
    ------
    UnreadableNight
        It is written otherwise or does not exist.
    """
    try:
        if _ISO_DATE.fullmatch(given):
            return dt.date.fromisoformat(given)
    except ValueError:
        pass
    raise UnreadableNight(
        f"The answer {given!r} to 'start_date' is not accepted; write year-month-day, as 2026-03-01."
    )


def _annotations(found: tuple[Annotation, ...], *, own: bool) -> tuple[Annotation, ...]:
    """Give the marks; in a file of ours without those that only describe gaps."""
    return tuple(one for one in found if not (own and one.text.startswith(f"{GAP_TEXT}: ")))


def _device(header: EdfHeader, chosen: Mapping[Channel, Candidate]) -> tuple[str, SensorSite]:
    first = header.signals[next(iter(chosen.values())).position].transducer
    match = _SITE.fullmatch(first)
    if match and match["site"] in set(SensorSite):
        return match["kind"], SensorSite(match["site"])
    return first or "not recorded", SensorSite.NOT_RECORDED


def _summary(header: EdfHeader, marks: int) -> list[str]:
    kind = "EDF+ discontinuous" if header.is_discontinuous else "EDF+ continuous" if header.is_plus else "EDF"
    records = f"{header.records} data records of {header.record_seconds:g} s"
    lines = [f"{kind}: {records}, {len(header.signals)} signals."]
    if header.patient.strip("X "):
        lines.append(f"The file names its person as: {header.patient}. Check that this is the right person.")
    if marks:
        lines.append(f"{marks} annotations are kept.")
    return lines


def _hole_warnings(header: EdfHeader, clock: Timing) -> list[str]:
    found = holes(clock.onsets_s, header.record_seconds)
    if not found:
        return []
    total = sum(length for _, length in found)
    told = [f"The recording has {len(found)} holes, {total:g} s in all; they are kept as missing."]
    if not header.is_discontinuous:
        told.append(
            "The header calls the file continuous, but its records are not; each was placed by its own onset."
        )
    if any(abs(onset - round(onset)) > EXACT_TO_S for onset in (clock.onsets_s - clock.onsets_s[0]).tolist()):
        told.append("Some records begin between whole seconds and were moved by less than 1 s.")
    return told


class _Reading:
    """Reads the chosen signals of one file onto the grid of whole seconds."""

    def __init__(self, content: bytes, header: EdfHeader, clock: Timing, seconds: int) -> None:
        self.header, self.seconds = header, seconds
        self.onsets = clock.onsets_s - clock.onsets_s[0]
        self.warnings: list[str] = []
        with python_warnings.catch_warnings():
            python_warnings.simplefilter("ignore")
            try:
                self.edf = edfio.read_edf(plain_header(content, header))
            except Exception as error:  # noqa: BLE001 - one plain error whatever edfio raises
                raise UnreadableNight(f"The EDF file cannot be decoded: {error}.") from None

    def channel(self, chosen: Candidate, unit: str) -> RawChannel:
        """Give one signal on the grid, in its physical unit."""
        header = self.header.signals[chosen.position]
        low, high = digital_range(header)
        gain, offset = scale(header)
        mark = SignalMark.read(header.prefiltering)
        exact = mark is not None and is_ours((low, high), physical_range(header), unit)
        index = self._index(header)
        digital = self._digital(header)[np.maximum(index, 0)].astype(np.float64)
        outside = (index >= 0) & ((digital < low) | (digital > high))
        absent = (index < 0) | outside | (digital == (mark.sentinel if mark else np.nan))
        if outside.any():
            self.warnings.append(
                f"{header.name}: {int(outside.sum())} s outside the digital range are kept as missing."
            )
        return RawChannel(header.name, unit, np.where(absent, np.nan, digital * gain + offset), exact=exact)

    def _digital(self, header: EdfSignalHeader) -> NDArray[np.int16]:
        before = sum(not signal.is_annotations for signal in self.header.signals[: header.number - 1])
        digital: NDArray[np.int16] = self.edf.signals[before].digital
        return digital

    def _index(self, header: EdfSignalHeader) -> NDArray[np.int64]:
        """Give for every second the sample that covers it, -1 where no record does."""
        period = self.header.record_seconds / header.samples
        if period > LONGEST_INTERVAL_S + EXACT_TO_S:
            raise UnreadableNight(
                f"EDF header, field 'number of samples in a data record' of {header.name}: one value every "
                f"{period:g} s "
                f"was given, accepted is one every {LONGEST_INTERVAL_S} s or faster; slower data hide "
                "short events."
            )
        if period < 1 - EXACT_TO_S:
            self.warnings.append(
                f"{header.name}: {1 / period:g} values a second; the first of each second is used."
            )
        picked = _picked(self.header.record_seconds, header.samples)
        times = self.onsets[:, None] + picked * period
        samples = np.arange(len(self.onsets))[:, None] * header.samples + picked
        return _cover(times.ravel(), samples.ravel(), period, self.seconds)


def _picked(record_seconds: float, samples: int) -> NDArray[np.int64]:
    """Give the samples of a record that can be the first of a second; all when they are 1 s apart or more."""
    if record_seconds / samples >= 1 - EXACT_TO_S:
        return np.arange(samples)
    per_second = samples / record_seconds
    picked = np.ceil(np.arange(math.ceil(record_seconds)) * per_second - EXACT_TO_S).astype(np.int64)
    inside: NDArray[np.int64] = picked[picked < samples]
    return inside


def _cover(times_s: Floats, samples: NDArray[np.int64], period_s: float, seconds: int) -> NDArray[np.int64]:
    """Give the covering sample of each second: its own if it has one, else the one held."""
    index = np.full(seconds, -1, dtype=np.int64)
    first = np.floor(times_s + EXACT_TO_S).astype(np.int64)
    for held in reversed(range(max(1, math.ceil(period_s - EXACT_TO_S)))):
        inside = (first + held >= 0) & (first + held < seconds)
        index[(first[inside] + held)[::-1]] = samples[inside][::-1]
    return index
