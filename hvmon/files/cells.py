"""Cells of a record table: text to value and back, by the kind of the column. Nothing is guessed."""

import json
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from hvmon.records.flat import Column, Kind
from hvmon.vocabulary import NOT_RECORDED

GUARDED = frozenset("=+-@\t\r\n\x00＝＋－＠'")
"""A text that begins with one of these (blanks aside) could run as a formula in a spreadsheet."""

GUARD = "'"
EARLIEST_YEAR, LATEST_YEAR = 1900, 2100
_DECIMAL = re.compile(r"-?[0-9]{1,7}(?:\.[0-9]{1,6})?", re.ASCII)
_WHOLE = re.compile(r"-?[0-9]{1,9}", re.ASCII)
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", re.ASCII)
_INSTANT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]{1,6})?)?"
    r"(?P<offset>Z|[+-][0-9]{2}:[0-9]{2})?",
    re.ASCII,
)
_DEEPEST_JSON = 20
_YES_NO = {"yes": True, "no": False}


class RefusedCell(ValueError):  # noqa: N818 - a fact about a cell, told to its reader
    """A cell that is not accepted: what is, and what to do."""

    def __init__(self, accepted: str, advice: str) -> None:
        super().__init__(accepted)
        self.accepted = accepted
        self.advice = advice


def guard(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet could take for a formula.

    Formula injection: OWASP Application Security Verification Standard 5.0, requirement 1.2.10.
    """
    return GUARD + text if text.lstrip(" \u00a0")[:1] in GUARDED and text else text


def unguard(text: str) -> str:
    """Take the apostrophe of `guard` off again."""
    return text.removeprefix(GUARD)


def cell_text(column: Column, value: Any, zone: str | None = None) -> str:  # noqa: ANN401 - any flat value
    """Give the text of one cell; moments are written on the clock of `zone` with their offset."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return _instant_text(value, zone)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return format(value, "f")
    return guard(value) if column.kind == Kind.TEXT else str(value)


def _instant_text(moment: datetime, zone: str | None) -> str:
    """ISO 8601 with offset; in UTC where the zone's offset had seconds (before standard time)."""
    local = moment.astimezone(ZoneInfo(zone) if zone else UTC)
    offset = local.utcoffset()
    whole_minutes = offset is not None and offset.total_seconds() % 60 == 0
    return (local if whole_minutes else moment.astimezone(UTC)).isoformat()


def reader(column: Column, *, guarded: bool) -> Callable[[str], Any]:
    """Give the function that reads the cells of a column; it raises `RefusedCell`.

    `guarded` says that the table was written with the guard, which is taken off texts.
    """
    if column.kind == Kind.TEXT:
        return unguard if guarded else _text
    read = _READERS.get(column.kind) or _word_reader(column)
    if not column.may_be_not_recorded:
        return lambda text: read(text.strip())
    return lambda text: NOT_RECORDED.value if text.strip() == NOT_RECORDED.value else read(text.strip())


def _text(text: str) -> str:
    return text


def _word_reader(column: Column) -> Callable[[str], str]:
    words = frozenset(column.words)
    accepted = ", ".join(str(word) for word in column.words)

    def read(text: str) -> str:
        if text not in words:
            raise RefusedCell(f"one of: {accepted}", "write one of the accepted words exactly")
        return text

    return read


def _decimal(text: str) -> Decimal:
    if not _DECIMAL.fullmatch(text):
        raise RefusedCell("a plain decimal number such as 6.8", _number_advice(text))
    return Decimal(text)


def _whole(text: str) -> int:
    if not _WHOLE.fullmatch(text):
        raise RefusedCell("a whole number in plain digits such as 12", _number_advice(text))
    return int(text)


def _number_advice(text: str) -> str:
    if "," in text:
        return "write a decimal point and no thousands separator; a comma is never read as either"
    if any(mark.isdigit() and not mark.isascii() for mark in text):
        return "write the digits 0 to 9 of a plain keyboard"
    return "write digits with at most one point; no exponent, sign +, blank, unit, NaN or infinity"


def _yes_no(text: str) -> bool:
    if text not in _YES_NO:
        raise RefusedCell("yes or no", "write yes or no")
    return _YES_NO[text]


def _date(text: str) -> date:
    if not _DATE.fullmatch(text):
        raise RefusedCell(
            "a date as year-month-day, such as 2026-03-01", "write it in that order; no other is guessed"
        )
    day: date = _in_years(_existing(date.fromisoformat, text))
    return day


def _instant(text: str) -> datetime:
    match = _INSTANT.fullmatch(text)
    if match is None:
        raise RefusedCell(
            "a moment with its offset, such as 2026-03-01T10:30+00:00",
            "write year-month-day, T, the time and the offset; no other order is guessed",
        )
    if match["offset"] is None:
        raise RefusedCell(
            "a moment with its offset, such as 2026-03-01T10:30+00:00",
            "add the offset of the clock that was read, +00:00 or Z for UTC; no zone is assumed",
        )
    moment: datetime = _in_years(_existing(datetime.fromisoformat, text))
    return moment


def _existing(parse: Callable[[str], Any], text: str) -> Any:  # noqa: ANN401 - a date or a datetime
    try:
        return parse(text)
    except ValueError:
        raise RefusedCell("a day and a time that exist", "check day, month, hour and offset") from None


def _in_years(moment: Any) -> Any:  # noqa: ANN401 - a date or a datetime
    if not EARLIEST_YEAR <= moment.year <= LATEST_YEAR:
        raise RefusedCell(f"a year from {EARLIEST_YEAR} to {LATEST_YEAR}", "check the year")
    return moment


def _list(text: str) -> str:
    accepted, advice = "a JSON list such as []", "leave the cell empty or write the list as exported"
    if text.count("[") + text.count("{") > 10_000 or _depth(text) > _DEEPEST_JSON:  # noqa: PLR2004
        raise RefusedCell(accepted, advice)
    try:
        items = json.loads(text, parse_constant=_no_constant)
    except ValueError:
        raise RefusedCell(accepted, advice) from None
    if not isinstance(items, list):
        raise RefusedCell(accepted, advice)
    return text


def _depth(text: str) -> int:
    deepest = depth = 0
    for mark in text:
        if mark in "[{":
            depth += 1
            deepest = max(deepest, depth)
        elif mark in "]}":
            depth -= 1
    return deepest


def _no_constant(name: str) -> None:
    raise ValueError(name)


_READERS: dict[Kind, Callable[[str], Any]] = {
    Kind.DECIMAL: _decimal,
    Kind.WHOLE: _whole,
    Kind.YES_NO: _yes_no,
    Kind.DATE: _date,
    Kind.INSTANT: _instant,
    Kind.LIST: _list,
}
