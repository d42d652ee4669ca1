"""Nights in CSV, in the dialects exports come in. What the file cannot say is asked; nothing is guessed."""

import datetime as dt
import hashlib
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from hvmon.files.csv_dialect import NAMES, Sheet, read_sheet
from hvmon.files.csv_elapsed import NAMES as ELAPSED_NAMES
from hvmon.files.csv_elapsed import is_count, read_elapsed
from hvmon.files.csv_grid import held, interval_of, numbers, seconds_of_rows, without_repeats
from hvmon.files.csv_times import Clock, read_clock
from hvmon.files.local_clock import EPOCH, Millis, utc_of_rows, zone_of
from hvmon.files.night_build import RawChannel, RawNight, build
from hvmon.files.night_channels import Candidate, Channel, candidate, choose, is_named, plain, unit_of
from hvmon.files.understood import Asking, Outcome, Questions, UnreadableNight, ask_long, read_file
from hvmon.records.night_signal import Annotation

Whole = NDArray[np.int64]
_DATE_NAMES = {"date", "datum", "day", "fecha"}
_TIME_NAMES = {
    "time", "clock", "clocktime", "localtime", "timestamp", "datetime", "dateandtime", "datetimelocal",
    "zeit", "uhrzeit",
    "datumzeit", "datumuhrzeit", "heure", "hora", "tijd", "timehhmmss", "timeofday", "recordedat",
    "recordtime",
}  # fmt: skip
_MARK_NAMES = {"event", "events", "marker", "annotation", "annotations", "comment", "note", "bemerkung"}
MAX_MARKS = 5_000
_BRACKETS = re.compile(r"[\[(].*?[\])]")


@dataclass(frozen=True, slots=True)
class _Roles:
    """Which columns are time and marks."""

    date: int | None
    time: int
    marks: int | None
    is_count: bool
    """Whether the time column counts from the start and shows no clock."""


def understand(path: Path, answers: Mapping[str, str]) -> Outcome:
    """Read a night from a CSV file, or say what must be asked first.

    Parameters
    ----------
    path : Path
        The file, at most 20 MB.
    answers : mapping
        Answers by the key of their question: ``zone``, ``date_format``, ``start_date``, ``start``,
        ``column.time``,
        ``column.spo2``, ``column.pulse``, ``column.tcco2``, ``unit.tcco2``, ``clock_change``,
        ``long_recording``.

    Raises
    ------
    UnreadableNight
        The file is damaged or holds no night; the message names row and column.
    """
    return understand_bytes(read_file(path), answers)


def understand_bytes(content: bytes, answers: Mapping[str, str]) -> Outcome:
    """As `understand`, from the bytes of the file."""
    asking = Asking(answers)
    sheet = read_sheet(content, _is_header)
    roles = _roles(sheet, asking)
    if roles is None:
        return Questions(tuple(asking.open))
    chosen = choose(_candidates(sheet, roles), asking)
    units = {channel: unit_of(channel, one, asking) for channel, one in chosen.items()}
    zone = zone_of(asking)
    if roles.is_count:
        clock = read_elapsed(sheet.columns[roles.time], sheet.rows, zone, asking)
    else:
        clock = read_clock(_stamps(sheet, roles), sheet.rows, asking, zone.key if zone else None)
    if zone is None or clock is None:
        return Questions(tuple(asking.open))
    utc = clock.utc if clock.utc is not None else utc_of_rows(_of(clock.local), zone, asking)
    if utc is None or asking.open:
        return Questions(tuple(asking.open))
    return _night(content, sheet, roles, _Rows(utc, clock, zone.key), chosen, units, asking)


@dataclass(frozen=True, slots=True)
class _Rows:
    utc: Millis
    clock: Clock
    zone: str


def _of(local: Millis | None) -> Millis:
    if local is None:
        raise UnreadableNight("The file holds no clock times.")
    return local


def _night(
    content: bytes,
    sheet: Sheet,
    roles: _Roles,
    rows: _Rows,
    chosen: Mapping[Channel, Candidate],
    units: Mapping[Channel, str | None],
    asking: Asking,
) -> Outcome:
    values = {
        channel: numbers(sheet.columns[one.position], sheet.rows, one.shown)
        for channel, one in chosen.items()
    }
    kept, repeats = without_repeats(rows.utc, list(values.values()), sheet.rows)
    utc = rows.utc[kept]
    interval = interval_of(utc)
    ask_long(int(utc[-1] - utc[0]) // 1000, asking)
    if asking.open:
        return Questions(tuple(asking.open))
    interval_s = max(1, math.ceil(interval - 0.001))
    seconds = seconds_of_rows(utc, interval)
    channels = {
        channel: RawChannel(one.shown, str(units[channel]), held(seconds, values[channel][kept], interval_s))
        for channel, one in chosen.items()
    }
    return build(
        RawNight(
            start_utc=EPOCH + dt.timedelta(milliseconds=int(utc[0])),
            zone=rows.zone,
            interval_s=interval_s,
            channels=channels,
            source_sha256=hashlib.sha256(content).hexdigest(),
            annotations=_marks(sheet, roles, rows, kept),
            summary=_summary(sheet, rows, len(kept)),
            warnings=[*_warnings(sheet, repeats, interval, seconds, interval_s), *asking.not_needed()],
        )
    )


def _is_header(cells: list[str]) -> bool:
    """Whether cells name a time and at least one channel."""
    named = [_plain(cell) for cell in cells]
    timed = any(name in _TIME_NAMES | _DATE_NAMES | ELAPSED_NAMES for name in named)
    return timed and any(is_named(cell) for cell in cells)


def _plain(cell: str) -> str:
    return plain(_BRACKETS.sub(" ", cell))


def _roles(sheet: Sheet, asking: Asking) -> _Roles | None:
    """Give the columns of date, time and marks; which is the time is asked when not unique."""
    named = [_plain(name) for name in sheet.names]
    dates = [k for k, name in enumerate(named) if name in _DATE_NAMES]
    times = [k for k, name in enumerate(named) if name in _TIME_NAMES]
    times = times or [k for k, name in enumerate(named) if name in ELAPSED_NAMES]
    marks = [k for k, name in enumerate(named) if name in _MARK_NAMES]
    if not times and len(dates) == 1:
        dates, times = [], dates
    if len(times) == 1 and "column.time" not in asking.answers:
        time = times[0]
    else:
        options = tuple(_shown(sheet, k) for k in range(len(sheet.names)))
        answer = asking.answer("column.time", "Which column holds the clock time of each row?", options)
        if answer is None:
            return None
        time = options.index(answer)
    date = dates[0] if len(dates) == 1 and dates[0] != time else None
    counts = named[time] in ELAPSED_NAMES or (date is None and is_count(sheet.columns[time]))
    return _Roles(date, time, marks[0] if len(marks) == 1 else None, counts)


def _shown(sheet: Sheet, position: int) -> str:
    name = sheet.names[position]
    return name if sheet.names.count(name) == 1 else f"{name} (column {position + 1})"


def _candidates(sheet: Sheet, roles: _Roles) -> list[Candidate]:
    apart = {roles.date, roles.time, roles.marks}
    return [
        candidate(position, name, sheet.units[position] if sheet.units else "", _shown(sheet, position))
        for position, name in enumerate(sheet.names)
        if position not in apart
    ]


def _stamps(sheet: Sheet, roles: _Roles) -> pl.Series:
    time = sheet.columns[roles.time].fill_null("")
    if roles.date is None:
        return time
    return sheet.columns[roles.date].fill_null("").str.strip_chars() + " " + time.str.strip_chars()


def _marks(sheet: Sheet, roles: _Roles, rows: _Rows, kept: Whole) -> tuple[Annotation, ...]:
    """Give the texts of the marks column, each where it begins to stand."""
    if roles.marks is None:
        return ()
    texts = sheet.columns[roles.marks].fill_null("").str.strip_chars().to_numpy()[kept]
    begins = np.flatnonzero((texts != "") & (texts != np.concatenate(([""], texts[:-1]))))
    if len(begins) > MAX_MARKS:
        raise UnreadableNight(
            f"{_shown(sheet, roles.marks)}: {len(begins)} marks were given, accepted are at most "
            f"{MAX_MARKS} in a night."
        )
    utc = rows.utc[kept]
    return tuple(Annotation(float(utc[k] - utc[0]) / 1000.0, None, str(texts[k])) for k in begins)


def _summary(sheet: Sheet, rows: _Rows, count: int) -> list[str]:
    header = f"header in row {len(sheet.preamble) + 1}" if sheet.has_header else "no header"
    return [
        f"CSV text in {sheet.encoding}, separated by {NAMES[sheet.separator]}s, {header}, {count} rows used.",
        rows.clock.told,
    ]


def _warnings(sheet: Sheet, repeats: int, interval: float, seconds: Whole, interval_s: int) -> list[str]:
    told = []
    if sheet.encoding == "Windows-1252":
        told.append("The file is no UTF-8 and was read as Windows-1252; check accented letters.")
    if repeats:
        told.append(f"{repeats} rows repeat earlier rows and were used once.")
    if interval < 1 - 0.001:
        told.append(f"The rows are {interval:g} s apart; the first of each second is used.")
    steps = np.diff(seconds)
    absent = steps[steps > interval_s]
    if len(absent):
        missing = int((absent - interval_s).sum())
        told.append(f"{len(absent)} gaps without rows, {missing} s in all, are kept as missing.")
    return told
