"""Clock times of a night's CSV: date order never guessed, clock-only times carried over midnight."""

import datetime as dt
import re
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
from numpy.typing import NDArray

from hvmon.files.local_clock import EPOCH, Millis, change_between, second_pass_start
from hvmon.files.understood import Asking, UnreadableNight

DAY_MS = 86_400_000
MAX_DIFFERENT_DAYS = 60
EARLIEST_YEAR, LATEST_YEAR = 1980, 2100
_DATE = (
    r"(?P<d1>[0-9]{1,4})(?P<s1>[-/. ])(?P<d2>[0-9]{1,2}|[A-Za-z]{3})[-/. ](?P<d3>[0-9]{4}|[0-9]{1,2})"
    r"|(?P<compact>[0-9]{8})"
)
_TIME = (
    r"(?P<h>[0-9]{1,2})[:.](?P<m>[0-9]{2})(?:[:.](?P<s>[0-9]{2})(?:[.,](?P<f>[0-9]{1,9}))?)?"
    r"(?: ?(?P<half>[AaPp])\.?[Mm]\.?)?"
)
_OFFSET = r"(?: ?(?P<offset>Z|[+-][0-9]{2}:?[0-9]{2}))?"
_STAMP = re.compile(rf"^(?:(?P<date>{_DATE})(?:[ T]|, ?|$))?(?:{_TIME})?{_OFFSET}$")
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
DAY_FIRST, MONTH_FIRST, YEAR_FIRST = "day first", "month first", "year first"
_POLARS_STAMP = _STAMP.pattern


@dataclass(frozen=True, slots=True)
class Clock:
    """Rows on the wall clock (or in UTC where the file states the offset), in milliseconds."""

    local: Millis | None
    utc: Millis | None
    told: str


def read_clock(
    stamps: pl.Series, rows: NDArray[np.int64], asking: Asking, zone_key: str | None
) -> Clock | None:
    """Read one text a row, "date time" or "time"; None while something is asked.

    Raises
    ------
    UnreadableNight
        A row holds no time or a date that does not exist; the row is named.
    """
    parts = _parts(stamps, rows)
    within_day = _time_of_day(parts, stamps, rows)
    if parts["date"].is_null().all():
        return _clock_only(within_day, asking, zone_key)
    days = _days(parts["date"], stamps, rows, asking)
    if days is None:
        return None
    local = days[0] * DAY_MS + within_day
    if parts["offset"].is_null().any():
        return Clock(local, None, f"Dates read {days[1]}.")
    return Clock(
        None, local - _offsets(parts["offset"]), f"Dates read {days[1]}; the file states its offset from UTC."
    )


def _parts(stamps: pl.Series, rows: NDArray[np.int64]) -> pl.DataFrame:
    found = stamps.str.strip_chars().str.extract_groups(_POLARS_STAMP).struct.unnest()
    bad = (found["h"].is_null()).arg_true()
    if len(bad):
        k = int(bad[0])
        raise UnreadableNight(
            f"Row {rows[k]}, time: {stamps[k]!r} was given, accepted are times such as 22:15:00, with or "
            "without a "
            "date such as 2026-03-01 or 01.03.2026. A file cut in its last row does this too."
        )
    dated = found["date"].is_not_null()
    if dated.any() and not dated.all():
        k = int((~dated).arg_true()[0])
        raise UnreadableNight(f"Row {rows[k]}, time: {stamps[k]!r} has no date, while other rows have one.")
    if found["offset"].is_null().any() and not found["offset"].is_null().all():
        k = int(found["offset"].is_null().arg_true()[0])
        raise UnreadableNight(f"Row {rows[k]}, time: {stamps[k]!r} has no offset, while other rows have one.")
    return found


def _time_of_day(parts: pl.DataFrame, stamps: pl.Series, rows: NDArray[np.int64]) -> Millis:
    hour, minute = parts["h"].cast(pl.Int64), parts["m"].cast(pl.Int64)
    second = parts["s"].cast(pl.Int64).fill_null(0)
    half = parts["half"].str.to_lowercase()
    twelve = half.is_not_null()
    no_hour = (hour > 23) | (twelve & ((hour > 12) | (hour < 1)))  # noqa: PLR2004 - a clock
    wrong = no_hour | (minute > 59) | (second > 59)  # noqa: PLR2004 - a clock
    if wrong.any():
        k = int(wrong.arg_true()[0])
        raise UnreadableNight(f"Row {rows[k]}, time: {stamps[k]!r} is no time a clock can show.")
    afternoon = (half == "p").fill_null(value=False).cast(pl.Int64)
    hours = hour.to_numpy() % np.where(twelve.to_numpy(), 12, 24) + 12 * afternoon.to_numpy()
    millis = parts["f"].fill_null("0").str.pad_end(9, "0").str.slice(0, 3).cast(pl.Int64).to_numpy()
    total: Millis = (hours * 3600 + minute.to_numpy() * 60 + second.to_numpy()) * 1000 + millis
    return total


def _offsets(offset: pl.Series) -> Millis:
    different = offset.unique().to_list()
    millis = {text: _offset_ms(text) for text in different}
    return offset.replace_strict(millis, return_dtype=pl.Int64).to_numpy()


def _offset_ms(text: str) -> int:
    if text == "Z":
        return 0
    hours, minutes = int(text[1:3]), int(text[-2:])
    if hours > 14 or minutes > 59:  # noqa: PLR2004 - offsets end at 14 h
        raise UnreadableNight(f"The offset {text!r} is none that exists; accepted are -12:00 to +14:00.")
    return (-1 if text[0] == "-" else 1) * (hours * 60 + minutes) * 60_000


def _days(
    dates: pl.Series, stamps: pl.Series, rows: NDArray[np.int64], asking: Asking
) -> tuple[Millis, str] | None:
    """Give days since 1970 and the order in words; the order is asked when more than one fits."""
    different = dates.unique(maintain_order=True).to_list()
    if len(different) > MAX_DIFFERENT_DAYS:
        raise UnreadableNight(
            f"The file holds {len(different)} different days; accepted is one night a file."
        )
    readings = {order: _read_days(different, order) for order in (DAY_FIRST, MONTH_FIRST, YEAR_FIRST)}
    fitting = {order: days for order, days in readings.items() if days is not None}
    if not fitting:
        k = next(
            (k for k, text in enumerate(different) if all(_day(text, order) is None for order in readings)), 0
        )
        row = int((dates == different[k]).arg_true()[0])
        raise UnreadableNight(
            f"Row {rows[row]}, date: {stamps[row]!r} was given, accepted is a day that exists, from "
            f"{EARLIEST_YEAR} "
            f"to {LATEST_YEAR}, written in one order throughout the file, such as 2026-03-01 or 01.03.2026."
        )
    order = _order(fitting, different[0], asking)
    if order is None:
        return None
    days = dict(zip(different, fitting[order], strict=True))
    numbers: Millis = dates.replace_strict(days, return_dtype=pl.Int64).to_numpy()
    return numbers, order


def _order(fitting: dict[str, list[int]], example: str, asking: Asking) -> str | None:
    """Give the order of day and month; asked when two orders give unlike days."""
    orders = list(fitting)
    if all(fitting[order] == fitting[orders[0]] for order in orders[1:]):
        return orders[0]
    meanings = ", ".join(
        f"{order}: {EPOCH + dt.timedelta(days=fitting[order][0]):%d %B %Y}" for order in orders
    )
    text = f"How is the date {example} written? It can be read as {meanings}."
    return asking.answer("date_format", text, tuple(orders))


def _read_days(different: list[str], order: str) -> list[int] | None:
    days = [_day(text, order) for text in different]
    return None if None in days else [day for day in days if day is not None]


def _day(text: str, order: str) -> int | None:
    """Give days since 1970 of a date in an order; None when it cannot be read so."""
    if len(text) == 8 and text.isdigit():  # noqa: PLR2004 - yyyymmdd
        text = f"{text[:4]}-{text[4:6]}-{text[6:]}"
    first, second, third = re.split(r"[-/. ]", text)
    if second.isalpha():
        second = str(MONTHS.index(second.lower()) + 1) if second.lower() in MONTHS else "99"
        if order == MONTH_FIRST:
            return None
    if len(first) > 2 and order != YEAR_FIRST:  # noqa: PLR2004 - a year of four digits stands first
        return None
    year, month, day = {
        DAY_FIRST: (third, second, first),
        MONTH_FIRST: (third, first, second),
        YEAR_FIRST: (first, second, third),
    }[order]
    return _days_since_1970(year, month, day)


def _days_since_1970(year: str, month: str, day: str) -> int | None:
    if len(year) not in {2, 4} or len(day) > 2:  # noqa: PLR2004 - digits of a date
        return None
    full = int(year) + (2000 if len(year) == 2 else 0)  # noqa: PLR2004 - two digits are 2000 to 2099
    try:
        date = dt.date(full, int(month), int(day))
    except ValueError:
        return None
    return (date - EPOCH.date()).days if EARLIEST_YEAR <= full <= LATEST_YEAR else None


def _clock_only(within_day: Millis, asking: Asking, zone_key: str | None) -> Clock | None:
    """Put clock times on days: the first on the start date, every step back begins the next day.

    A step back inside the repeated hour of autumn is the clock being put back, not a new day.
    """
    text = "The file has clock times but no date. On which date did it start? Write year-month-day."
    given = asking.answer("start_date", text)
    if given is None:
        return None
    start = _start_day(given)
    local = _over_midnight(within_day, start, zone_key)
    return Clock(local, None, f"Clock times without date, from {given} on.")


def _start_day(given: str) -> int:
    day = _days_since_1970(*given.split("-")) if re.fullmatch(r"\d{4}-\d{2}-\d{2}", given, re.ASCII) else None
    if day is None:
        raise UnreadableNight(
            f"The answer {given!r} to 'start_date' is not accepted; write year-month-day, as 2026-03-01."
        )
    return day


def _over_midnight(within_day: Millis, start_day: int, zone_key: str | None) -> Millis:
    back = np.flatnonzero(np.diff(within_day) < 0) + 1
    if len(back) > MAX_DIFFERENT_DAYS:
        raise UnreadableNight(
            f"The clock steps back {len(back)} times, first in row of data {int(back[0]) + 1}; accepted is "
            "one step for each "
            "midnight. The rows are out of order or the time column was not recognised."
        )
    days = np.zeros(len(within_day), dtype=np.int64)
    for k in back.tolist():
        local = (start_day + days[k:]) * DAY_MS + within_day[k:]
        change = None
        if zone_key is not None:
            previous = int((start_day + days[k - 1]) * DAY_MS + within_day[k - 1])
            change = change_between(ZoneInfo(zone_key), min(previous, int(local[0])), previous)
        pair = np.array([(start_day + days[k - 1]) * DAY_MS + within_day[k - 1], local[0]], dtype=np.int64)
        if change is None or not change.goes_back or second_pass_start(pair, change) is None:
            days[k:] += 1
    result: Millis = (start_day + days) * DAY_MS + within_day
    return result
