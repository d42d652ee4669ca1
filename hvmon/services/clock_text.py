"""Days and clock times as people type them, on the clock of the person's own zone.

Digits only is enough (DDMMYYYY, HHMM). A time the clock skipped is refused, one it showed twice is asked.
"""

import re
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

_DAY = re.compile(
    r"(\d{2})(\d{2})(\d{4})|(\d{4})-(\d{2})-(\d{2})|(\d{1,2})[./ ](\d{1,2})[./ ](\d{4})", re.ASCII
)
_CLOCK = re.compile(r"(\d{2}):?(\d{2})", re.ASCII)
_MOMENT = re.compile(r"(?P<day>\S+?)[ T](?P<clock>\d{2}:?\d{2})", re.ASCII)


class NotUnderstood(ValueError):  # noqa: N818 - reads as a sentence where it is caught
    """A typed text that is refused; the message says what was given and what is accepted."""


def read_day(text: str) -> date:
    """Read a day: 8 digits DDMMYYYY, DD/MM/YYYY (or with points), or YYYY-MM-DD.

    Raises
    ------
    NotUnderstood
        The text is no such day.
    """
    found = _DAY.fullmatch(text.strip())
    if found:
        parts = [int(part) for part in found.groups() if part is not None]
        day, month, year = parts if found[4] is None else reversed(parts)
        try:
            return date(year, month, day)
        except ValueError:
            pass
    raise NotUnderstood(f"{text!r} is no day; type 8 digits DDMMYYYY, such as 05032026, or 2026-03-05")


def read_clock(text: str) -> tuple[int, int]:
    """Read a clock time: 4 digits HHMM, or HH:MM.

    Raises
    ------
    NotUnderstood
        The text is no clock time.
    """
    found = _CLOCK.fullmatch(text.strip())
    if found and int(found[1]) < 24 and int(found[2]) < 60:  # noqa: PLR2004 - the clock
        return int(found[1]), int(found[2])
    raise NotUnderstood(f"{text!r} is no clock time; type 4 digits HHMM, such as 0930, or 09:30")


def at(day: date, clock: tuple[int, int], zone: str) -> datetime:
    """Give the moment [aware, UTC] of a clock time in a zone.

    Raises
    ------
    NotUnderstood
        The clock skipped that time, or showed it twice.
    """
    wall = datetime(day.year, day.month, day.day, *clock, tzinfo=ZoneInfo(zone))
    first, second = wall.replace(fold=0).utcoffset(), wall.replace(fold=1).utcoffset()
    if first == second:
        return wall.astimezone(UTC)
    seen = f"{wall:%H:%M} on {wall:%d %b %Y} in {zone}"
    if first < second:  # type: ignore[operator]  # a zone always has one
        raise NotUnderstood(f"{seen} did not exist: the clock was put forward; type the time it showed")
    raise NotUnderstood(
        f"{seen} happened twice: the clock was put back; "
        f"type it with its offset, such as {day:%Y-%m-%d}T{wall:%H:%M}{_offset_text(wall)}"
    )


def _offset_text(wall: datetime) -> str:
    text = f"{wall:%z}"
    return f"{text[:3]}:{text[3:]}"


def read_moment(text: str, zone: str) -> datetime:
    """Read a day and a clock time of the person's zone: 12 digits, or an ISO text with or without offset.

    Raises
    ------
    NotUnderstood
        The text is no moment, or the clock skipped or repeated it.
    """
    iso = _iso(text.strip())
    if iso is not None:
        return iso
    squeezed = re.sub(r"^(\d{8})(\d{4})$", r"\1 \2", text.strip(), flags=re.ASCII)
    found = _MOMENT.fullmatch(squeezed)
    if not found:
        raise NotUnderstood(
            f"{text!r} is no moment; type day and clock time, such as 05032026 0930 or 2026-03-05T09:30"
        )
    day, clock = read_day(found["day"]), read_clock(found["clock"])
    return at(day, clock, zone)


def _iso(text: str) -> datetime | None:
    """Give the moment of an ISO text with its offset; None for every other text."""
    if "T" not in text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment.astimezone(UTC) if moment.tzinfo else None


def moment_text(moment: datetime, zone: str) -> str:
    """Give the ISO text of a moment on the clock of the zone; `read_moment` gives the moment back."""
    wall = moment.astimezone(ZoneInfo(zone))
    return wall.isoformat(timespec="auto" if wall.second or wall.microsecond else "minutes")


def moment_words(moment: datetime, zone: str) -> str:
    """Give a moment as the clock of the zone showed it."""
    return f"{moment.astimezone(ZoneInfo(zone)):%a %d %b %Y %H:%M}"
