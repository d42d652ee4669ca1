"""A day and a clock time typed in two fields, read together on the clock of the person's zone."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from zoneinfo import ZoneInfo

from hvmon.services.asked import Answers
from hvmon.services.clock_text import NotUnderstood, at, read_clock, read_day, read_moment


@dataclass(frozen=True, slots=True)
class Pair:
    """The moment, once both fields are understood, and what is said at each field."""

    moment: datetime | None = None
    words: Mapping[str, str] = field(default_factory=dict)
    refused: Mapping[str, str] = field(default_factory=dict)


def read_pair(answers: Answers, day_key: str, clock_key: str, *, zone: str, today: date) -> Pair:
    """Read both fields; a blank one says nothing. The clock field also takes a full ISO moment."""
    words: dict[str, str] = {}
    day = _day(answers, day_key, today)
    if isinstance(day, str):
        return Pair(refused={day_key: day} if day else {})
    words[day_key] = f"{day:%a %d %b %Y}" + (", today" if day == today else "")
    clock = answers.get(clock_key, "").strip()
    if not clock:
        return Pair(words=words)
    try:
        moment = read_moment(clock, zone) if "T" in clock else at(day, read_clock(clock), zone)
    except NotUnderstood as error:
        return Pair(words=words, refused={clock_key: str(error)})
    words[clock_key] = f"{moment.astimezone(ZoneInfo(zone)):%H:%M}"
    return Pair(moment, words)


def _day(answers: Answers, key: str, today: date) -> date | str:
    """Give the day, or why it is refused; an empty text for a blank."""
    text = answers.get(key, "").strip()
    if not text:
        return ""
    try:
        day = read_day(text)
    except NotUnderstood as error:
        return str(error)
    return f"{day:%d %b %Y} lies in the future; today is {today:%d %b %Y}" if day > today else day
