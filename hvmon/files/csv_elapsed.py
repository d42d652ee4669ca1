"""Rows of a night's CSV that count from the start of the recording instead of showing a clock."""

import datetime as dt
import re
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from hvmon.files.csv_times import Clock
from hvmon.files.local_clock import EPOCH, Millis, utc_of_start
from hvmon.files.understood import Asking, UnreadableNight

NAMES = {
    "elapsed", "elapsedtime", "elapseds", "elapsedsec", "elapsedseconds", "seconds", "secs", "sec",
    "second", "s", "t",
    "ts", "times", "timesec", "timeseconds", "runtime", "sincestart",
}  # fmt: skip
"""Names of such a column, in lower case without signs."""

_SECONDS = r"^[0-9]{1,7}(?:[.,][0-9]{1,6})?$"
_COUNT = r"^(?P<h>[0-9]{1,3}):(?P<m>[0-5][0-9]):(?P<s>[0-5][0-9])(?:[.,](?P<f>[0-9]{1,6}))?$"
_START = re.compile(r"(\d{4}-\d{2}-\d{2})[ T](\d{2}:\d{2}(?::\d{2})?)", re.ASCII)


def is_count(cells: pl.Series) -> bool:
    """Whether a column holds plain numbers, as no clock does."""
    return bool(cells.head(20).str.strip_chars().str.contains(_SECONDS).all()) and len(cells) > 0


def read_elapsed(
    cells: pl.Series, rows: NDArray[np.int64], zone: ZoneInfo | None, asking: Asking
) -> Clock | None:
    """Put rows that count seconds (or hours, minutes and seconds) on the clock; their start is asked.

    Raises
    ------
    UnreadableNight
        A row holds no such count, or the answer is no moment.
    """
    text = "The rows count from the start of the recording. When did it start? Write year-month-day hh:mm:ss."
    given = asking.answer("start", text)
    elapsed = _millis(cells, rows)
    if given is None or zone is None:
        return None
    start = utc_of_start(_moment(given), zone, asking)
    if start is None:
        return None
    first = round((start - EPOCH).total_seconds() * 1000)
    return Clock(None, first + elapsed, f"Rows count from the start, {given}.")


def _millis(cells: pl.Series, rows: NDArray[np.int64]) -> Millis:
    bare = cells.str.strip_chars()
    parts = bare.str.extract_groups(_COUNT).struct.unnest()
    hours, minutes, seconds = (parts[name].cast(pl.Int64) for name in "hms")
    fraction = parts["f"].fill_null("0").str.pad_end(3, "0").str.slice(0, 3).cast(pl.Int64)
    counted = (hours * 3600 + minutes * 60 + seconds) * 1000 + fraction
    plain = bare.str.replace(",", ".", literal=True).cast(pl.Float64, strict=False)
    plain_ms = (plain * 1000).round().cast(pl.Int64, strict=False)
    wrong = ~(bare.str.contains(_SECONDS) | counted.is_not_null())
    if wrong.any():
        k = int(wrong.arg_true()[0])
        raise UnreadableNight(
            f"Row {rows[k]}, time: {cells[k]!r} was given, accepted are seconds from the start such as 12, "
            "or 00:00:12."
        )
    total: Millis = counted.fill_null(plain_ms).to_numpy()
    return total


def _moment(given: str) -> dt.datetime:
    match = _START.fullmatch(given.strip())
    try:
        if match:
            return dt.datetime.fromisoformat(f"{match[1]}T{match[2]}")
    except ValueError:
        pass
    raise UnreadableNight(
        f"The answer {given!r} to 'start' is not accepted; write it as 2026-03-01 22:15:00."
    )
