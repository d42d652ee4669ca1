"""The header of an EDF or EDF+ file, checked field by field before anything else reads the file.

Layout after the EDF and EDF+ specification (source `EDFPlus`): a fixed part of 256 bytes and 256 bytes
for each signal, all text, each field of fixed width.
"""

import datetime as dt
import math
import re
from dataclasses import dataclass

from hvmon.files.understood import UnreadableNight
from hvmon.records.night_signal import LONGEST_NIGHT_S

FIXED_BYTES = 256
ANNOTATIONS_LABEL = "EDF Annotations"
MAX_SIGNALS = 256
MAX_RECORDS = 200_000
DIGITAL_LOWEST, DIGITAL_HIGHEST = -32768, 32767
CENTURY_TURNS_AT = 85
"""Two-digit years 85 to 99 are 1985 to 1999, 00 to 84 are 2000 to 2084 (EDF+ specification, 2.1.3)."""

FIXED_FIELDS = (
    ("version", 8),
    ("patient identification", 80),
    ("recording identification", 80),
    ("start date", 8),
    ("start time", 8),
    ("number of header bytes", 8),
    ("reserved", 44),
    ("number of data records", 8),
    ("duration of a data record", 8),
    ("number of signals", 4),
)
SIGNAL_FIELDS = (
    ("label", 16),
    ("transducer type", 80),
    ("physical dimension", 8),
    ("physical minimum", 8),
    ("physical maximum", 8),
    ("digital minimum", 8),
    ("digital maximum", 8),
    ("prefiltering", 80),
    ("number of samples in a data record", 8),
    ("reserved", 32),
)
MONTHS = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")
_PLAIN_NUMBER = re.compile(r"[+-]?\d{1,8}(?:[.,]\d{1,7})?(?:[eE][+-]?\d{1,2})?", re.ASCII)
_PLAIN_INTEGER = re.compile(r"[+-]?\d{1,8}", re.ASCII)
_TRIPLE = re.compile(r"(\d{1,2})[.:'\-/ ](\d{1,2})[.:'\-/ ](\d{1,2})", re.ASCII)
_STARTDATE = re.compile(r"Startdate (\S+)", re.IGNORECASE)
_PLUS_DATE = re.compile(r"(\d{1,2})-([A-Za-z]{3})-(\d{4})", re.ASCII)


@dataclass(frozen=True, slots=True)
class EdfSignalHeader:
    """The header of one signal; the scaling fields stay text until the signal is used."""

    number: int
    label: str
    dimension: str
    physical_minimum: str
    physical_maximum: str
    digital_minimum: str
    digital_maximum: str
    samples: int
    transducer: str
    prefiltering: str

    @property
    def is_annotations(self) -> bool:
        """Whether this is an annotation channel and no signal."""
        return self.label == ANNOTATIONS_LABEL

    @property
    def name(self) -> str:
        """How messages and questions name this signal."""
        return f"{self.label or '(no label)'} (signal {self.number})"


@dataclass(frozen=True, slots=True)
class EdfHeader:
    """The checked header of one file."""

    patient: str
    recording: str
    start_time: dt.time
    start_dates: tuple[dt.date, ...]
    """The dates the file gives: none when made anonymous, two when its two date fields disagree."""
    is_plus: bool
    is_discontinuous: bool
    header_bytes: int
    records: int
    record_seconds: float
    signals: tuple[EdfSignalHeader, ...]
    warnings: tuple[str, ...]

    @property
    def record_bytes(self) -> int:
        """Length of one data record [bytes]."""
        return 2 * sum(signal.samples for signal in self.signals)


def field_error(field: str, given: str, accepted: str) -> UnreadableNight:
    """Give the one form of message that every faulty header field gets."""
    shown = given if len(given) <= 80 else given[:77] + "..."  # noqa: PLR2004 - the widest field
    return UnreadableNight(f"EDF header, field '{field}': {shown!r} was given, accepted is {accepted}.")


def read_header(content: bytes) -> EdfHeader:
    """Read and check the header of an EDF or EDF+ file.

    Raises
    ------
    UnreadableNight
        A field that the night depends on is missing, cut or impossible; the message names the field.
    """
    fixed = _fixed_fields(content)
    signals = _signal_headers(content, _signal_count(fixed, len(content)))
    header_bytes = _header_bytes(fixed, len(signals))
    reserved = fixed["reserved"]
    record_seconds = _record_seconds(fixed, signals)
    records, warnings = _record_count(fixed, signals, len(content) - header_bytes)
    _check_length(records, record_seconds)
    return EdfHeader(
        patient=fixed["patient identification"],
        recording=fixed["recording identification"],
        start_time=_start_time(fixed["start time"]),
        start_dates=start_dates(fixed["start date"], fixed["recording identification"]),
        is_plus=reserved.startswith("EDF+"),
        is_discontinuous=reserved.startswith("EDF+D"),
        header_bytes=header_bytes,
        records=records,
        record_seconds=record_seconds,
        signals=signals,
        warnings=warnings,
    )


def is_24_bit(content: bytes) -> bool:
    """Whether the file begins as the 24-bit relative of EDF does: byte 255, then a letter."""
    return content[:1] == b"\xff" and content[1:2].isalpha()


def _fixed_fields(content: bytes) -> dict[str, str]:
    if not content:
        raise UnreadableNight("The file is empty; an EDF file begins with a header of at least 256 bytes.")
    if is_24_bit(content):
        raise field_error("version", "24-bit BDF", "'0', a 16-bit EDF file")
    fields, start = {}, 0
    for name, width in FIXED_FIELDS:
        if len(content) < start + width:
            raise UnreadableNight(
                f"EDF header, field '{name}': the file ends after {len(content)} bytes, inside or before "
                "this "
                f"field; the fixed header takes {FIXED_BYTES} bytes. The file was cut."
            )
        fields[name] = _text(content[start : start + width])
        start += width
    if fields["version"] != "0":
        raise field_error("version", fields["version"], "'0' (is this an EDF file?)")
    return fields


def _text(raw: bytes) -> str:
    """Text of a field; bytes beyond ASCII are read as Latin-1, as older recorders write them."""
    return raw.decode("latin-1").replace("\x00", " ").strip()


def _signal_count(fixed: dict[str, str], file_bytes: int) -> int:
    count = _integer("number of signals", fixed["number of signals"])
    if not 1 <= count <= MAX_SIGNALS:
        raise field_error("number of signals", str(count), f"1 to {MAX_SIGNALS}")
    needed = FIXED_BYTES * (1 + count)
    if file_bytes < needed:
        raise UnreadableNight(
            f"EDF header, field 'number of signals': {count} signals need a header of {needed} bytes, but "
            "the file "
            f"ends after {file_bytes} bytes. The file was cut or the number is wrong."
        )
    return count


def _signal_headers(content: bytes, count: int) -> tuple[EdfSignalHeader, ...]:
    columns: dict[str, list[str]] = {}
    start = FIXED_BYTES
    for name, width in SIGNAL_FIELDS:
        columns[name] = [_text(content[start + i * width : start + (i + 1) * width]) for i in range(count)]
        start += count * width
    return tuple(_signal_header(columns, i) for i in range(count))


def _signal_header(columns: dict[str, list[str]], i: int) -> EdfSignalHeader:
    label = columns["label"][i]
    field = f"number of samples in a data record of signal {i + 1} ({label})"
    samples = _integer(field, columns["number of samples in a data record"][i])
    if samples < 1:
        raise field_error(field, str(samples), "1 or more")
    return EdfSignalHeader(
        number=i + 1,
        label=label,
        dimension=columns["physical dimension"][i],
        physical_minimum=columns["physical minimum"][i],
        physical_maximum=columns["physical maximum"][i],
        digital_minimum=columns["digital minimum"][i],
        digital_maximum=columns["digital maximum"][i],
        samples=samples,
        transducer=columns["transducer type"][i],
        prefiltering=columns["prefiltering"][i],
    )


def _header_bytes(fixed: dict[str, str], signals: int) -> int:
    given = _integer("number of header bytes", fixed["number of header bytes"])
    expected = FIXED_BYTES * (1 + signals)
    if given != expected:
        raise field_error("number of header bytes", str(given), f"{expected} for {signals} signals")
    return given


def _record_seconds(fixed: dict[str, str], signals: tuple[EdfSignalHeader, ...]) -> float:
    field = "duration of a data record"
    seconds = number(field, fixed[field])
    if all(signal.is_annotations for signal in signals):
        raise UnreadableNight("EDF header, field 'label': the file holds annotations only and no signal.")
    if not 0.0 < seconds <= LONGEST_NIGHT_S:
        raise field_error(field, fixed[field], f"more than 0 and at most {LONGEST_NIGHT_S} s")
    return seconds


def _record_count(
    fixed: dict[str, str], signals: tuple[EdfSignalHeader, ...], data_bytes: int
) -> tuple[int, tuple[str, ...]]:
    field = "number of data records"
    given = _integer(field, fixed[field])
    if given < -1:
        raise field_error(field, str(given), "-1 (unknown) or a count")
    record_bytes = 2 * sum(signal.samples for signal in signals)
    held, rest = divmod(data_bytes, record_bytes)
    if held == 0:
        raise UnreadableNight(
            f"EDF header, field '{field}': {given} was given, but only {data_bytes} bytes follow the "
            "header and one "
            f"record takes {record_bytes}; there is no whole data record in the file."
        )
    if held > MAX_RECORDS:
        raise field_error(field, str(held), f"at most {MAX_RECORDS}")
    warnings = []
    if rest:
        warnings.append(
            f"The file ends inside a data record; {rest} bytes after record {held} were not used."
        )
    if given != held:
        told = "not stated" if given == -1 else f"stated as {given}"
        warnings.append(f"The number of data records is {told}; the file holds {held} and these were read.")
    return held, tuple(warnings)


def _check_length(records: int, record_seconds: float) -> None:
    if records * record_seconds > LONGEST_NIGHT_S:
        raise UnreadableNight(
            f"EDF header, fields 'number of data records' and 'duration of a data record': {records} "
            "records of "
            f"{record_seconds:g} s are longer than {LONGEST_NIGHT_S // 3600} h; accepted is one night a file."
        )


def _start_time(given: str) -> dt.time:
    match = _TRIPLE.fullmatch(given)
    try:
        if match:
            hour, minute, second = (int(part) for part in match.groups())
            return dt.time(hour, minute, second)
    except ValueError:
        pass
    raise field_error("start time", given, "hh.mm.ss between 00.00.00 and 23.59.59")


def start_dates(fixed: str, recording: str) -> tuple[dt.date, ...]:
    """Give the start dates of the fixed field and of the recording field of EDF+.

    A date made anonymous (``Startdate X``, or the placeholder 01.01.85) is no date.
    """
    stated = _STARTDATE.match(recording)
    if stated and stated[1].upper() == "X":
        return ()
    from_recording = _plus_date(stated[1]) if stated else None
    from_fixed = _fixed_date(fixed, needed=from_recording is None)
    if from_recording is None:
        anonymous = from_fixed == dt.date(1985, 1, 1)
        return () if anonymous or from_fixed is None else (from_fixed,)
    if from_fixed in {None, from_recording} or from_recording.year > 2084:  # noqa: PLR2004 - see EDF+ 2.1.3
        return (from_recording,)
    return (from_recording, from_fixed) if from_fixed is not None else (from_recording,)


def _plus_date(given: str) -> dt.date:
    match = _PLUS_DATE.fullmatch(given)
    try:
        if match and match[2].upper() in MONTHS:
            return dt.date(int(match[3]), MONTHS.index(match[2].upper()) + 1, int(match[1]))
    except ValueError:
        pass
    raise field_error(
        "recording identification", f"Startdate {given}", "'Startdate dd-MMM-yyyy', for example 02-MAR-2026"
    )


def _fixed_date(given: str, *, needed: bool) -> dt.date | None:
    match = _TRIPLE.fullmatch(given)
    try:
        if match:
            day, month, year = (int(part) for part in match.groups())
            return dt.date(year + (1900 if year >= CENTURY_TURNS_AT else 2000), month, day)
    except ValueError:
        pass
    if not needed:
        return None
    raise field_error("start date", given, "a day that exists, written dd.mm.yy")


def number(field: str, given: str) -> float:
    """Give the number of a header field; one decimal comma is read as a point.

    Raises
    ------
    UnreadableNight
        The field is no plain number; the message names it.
    """
    if not _PLAIN_NUMBER.fullmatch(given):
        raise field_error(field, given, "a plain number")
    value = float(given.replace(",", "."))
    if not math.isfinite(value):
        raise field_error(field, given, "a finite number")
    return value


def _integer(field: str, given: str) -> int:
    if not _PLAIN_INTEGER.fullmatch(given):
        raise field_error(field, given, "a whole number")
    return int(given)


def digital_range(signal: EdfSignalHeader) -> tuple[int, int]:
    """Give the digital minimum and maximum of a signal that is going to be used.

    Raises
    ------
    UnreadableNight
        One of them is no whole number of 16 bits or they are not in order.
    """
    low_field = f"digital minimum of signal {signal.number} ({signal.label})"
    high_field = f"digital maximum of signal {signal.number} ({signal.label})"
    low, high = _integer(low_field, signal.digital_minimum), _integer(high_field, signal.digital_maximum)
    if not DIGITAL_LOWEST <= low < high:
        raise field_error(
            low_field, str(low), f"{DIGITAL_LOWEST} or more and below the digital maximum {high}"
        )
    if high > DIGITAL_HIGHEST:
        raise field_error(high_field, str(high), f"{DIGITAL_HIGHEST} or less")
    return low, high


def physical_range(signal: EdfSignalHeader) -> tuple[float, float]:
    """Give the physical minimum and maximum of a signal that is going to be used.

    Raises
    ------
    UnreadableNight
        One of them is no number, or they are equal, so that the signal has no scale.
    """
    low_field = f"physical minimum of signal {signal.number} ({signal.label})"
    high_field = f"physical maximum of signal {signal.number} ({signal.label})"
    low, high = number(low_field, signal.physical_minimum), number(high_field, signal.physical_maximum)
    if low == high:
        raise field_error(
            high_field, signal.physical_maximum, f"a number unlike the physical minimum {low:g}"
        )
    return low, high


def scale(signal: EdfSignalHeader) -> tuple[float, float]:
    """Give gain and offset of a signal: physical value = digital value * gain + offset.

    Raises
    ------
    UnreadableNight
        As `digital_range` and `physical_range`.
    """
    digital_low, digital_high = digital_range(signal)
    low, high = physical_range(signal)
    gain = (high - low) / (digital_high - digital_low)
    return gain, low - digital_low * gain


def plain_header(content: bytes, header: EdfHeader) -> bytes:
    """Give the file with its counts written as they were found, and without NUL in the header."""
    fixed = content[:FIXED_BYTES].replace(b"\x00", b" ")
    counted = b"%-8d%-8s%-4d" % (
        header.records,
        f"{header.record_seconds:.8g}"[:8].encode(),
        len(header.signals),
    )
    signals = content[FIXED_BYTES : header.header_bytes].replace(b"\x00", b" ")
    return fixed[: FIXED_BYTES - len(counted)] + counted + signals + content[header.header_bytes :]
