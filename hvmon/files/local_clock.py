"""Clock times of a file as moments: zone, the repeated and the skipped hour, recorders that never change."""

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from hvmon.files.understood import Asking, UnreadableNight
from hvmon.records.night_signal import LONGEST_NIGHT_S

Millis = NDArray[np.int64]
"""Milliseconds since 1970-01-01T00:00, on a wall clock or in UTC."""

EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
FIRST_TIME = "the first pass, before the clock was put back"
SECOND_TIME = "the second pass, after the clock was put back"
UNCHANGED = "the recorder did not change its clock"
CHANGED = "the recorder changed its clock"
_CONTIGUOUS_MS = 60_000
"""Rows closer than this are one stretch of recording."""


def zone_of(asking: Asking) -> ZoneInfo | None:
    """Give the zone of the clock of the file, asked for when no answer gives it.

    Raises
    ------
    UnreadableNight
        The answer is no IANA zone.
    """
    text = "In which time zone was the recorder's clock? Give an IANA name such as Europe/London."
    given = asking.answer("zone", text)
    if given is None:
        return None
    try:
        return ZoneInfo(given)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise UnreadableNight(
            f"The zone {given!r} is not known; give an IANA name such as Europe/London."
        ) from None


@dataclass(frozen=True, slots=True)
class Change:
    """One change of the clock, in milliseconds of the wall clock."""

    offset_before: int
    offset_after: int
    low: int
    """Start of the hour that is repeated or skipped."""
    high: int

    @property
    def goes_back(self) -> bool:
        """Whether the hour is repeated."""
        return self.offset_after < self.offset_before

    @property
    def words(self) -> str:
        """The hour in words."""
        first, last = (clock_text(moment) for moment in (self.low, self.high))
        return f"{first} to {last[-5:]}"


def clock_text(millis: int) -> str:
    """Give a wall-clock moment as text."""
    return (EPOCH + dt.timedelta(milliseconds=int(millis))).strftime("%Y-%m-%d %H:%M")


def _offset_ms(zone: ZoneInfo, utc_ms: int) -> int:
    offset = (EPOCH + dt.timedelta(milliseconds=utc_ms)).astimezone(zone).utcoffset()
    return round(offset.total_seconds() * 1000) if offset else 0


def change_between(zone: ZoneInfo, first_ms: int, last_ms: int) -> Change | None:
    """Give the change of clock that touches a stretch of wall-clock time; None when there is none."""
    day = 86_400_000
    step = 1_800_000
    moments = range(first_ms - day, last_ms + day + step, step)
    offsets = [_offset_ms(zone, moment) for moment in moments]
    for k in range(1, len(offsets)):
        if offsets[k] != offsets[k - 1]:
            at = _instant_of_change(zone, moments[k - 1], moments[k])
            low, high = sorted((at + offsets[k - 1], at + offsets[k]))
            if first_ms < high and last_ms >= low:
                return Change(offsets[k - 1], offsets[k], low, high)
    return None


def _instant_of_change(zone: ZoneInfo, before: int, after: int) -> int:
    offset = _offset_ms(zone, before)
    while after - before > 1000:  # noqa: PLR2004 - changes fall on whole seconds
        middle = (before + after) // 2000 * 1000
        if _offset_ms(zone, middle) == offset:
            before = middle
        else:
            after = middle
    return after


def utc_of_start(naive: dt.datetime, zone: ZoneInfo, asking: Asking) -> dt.datetime | None:
    """Give the moment of one clock time; the repeated hour is asked.

    Raises
    ------
    UnreadableNight
        The clock skipped this time.
    """
    local = naive.replace(tzinfo=zone)
    if local.astimezone(dt.UTC).astimezone(zone).replace(tzinfo=None) != naive:
        raise UnreadableNight(
            f"The start time {naive:%Y-%m-%d %H:%M:%S} does not exist in {zone.key}: the clock skipped it. "
            "Check date and zone."
        )
    if local.utcoffset() != local.replace(fold=1).utcoffset():
        text = (
            f"The clock of {zone.key} showed {naive:%Y-%m-%d %H:%M} twice. In which pass did the "
            "recording start?"
        )
        answer = asking.answer("clock_change", text, (FIRST_TIME, SECOND_TIME))
        if answer is None:
            return None
        local = local.replace(fold=int(answer == SECOND_TIME))
    return local.astimezone(dt.UTC)


def check_span(moments: Millis) -> None:
    """Refuse rows that span more than the longest recording.

    Raises
    ------
    UnreadableNight
        They do.
    """
    span_h = (int(moments.max()) - int(moments.min())) / 3_600_000
    if span_h > LONGEST_NIGHT_S / 3600 + 1:
        raise UnreadableNight(
            f"The rows span {span_h:.0f} h, accepted are at most {LONGEST_NIGHT_S // 3600} h. Check the "
            "order of day and month, or split the file."
        )


def utc_of_rows(local: Millis, zone: ZoneInfo, asking: Asking) -> Millis | None:
    """Give the moments of wall-clock rows in file order; None while something is asked.

    A step back by most of an hour inside the repeated hour begins its second pass. What the rows cannot
    decide (a file that begins in the repeated hour, a hole over the change, a recorder that never
    changes its clock) is asked.
    """
    check_span(local)
    change = change_between(zone, int(local.min()), int(local.max()))
    if change is None:
        return local - _offset_ms(zone, int(local[0]) - _offset_ms(zone, int(local[0])))
    return _over_autumn(local, change, asking) if change.goes_back else _over_spring(local, change, asking)


def _over_spring(local: Millis, change: Change, asking: Asking) -> Millis | None:
    changed = np.where(local < change.low, change.offset_before, change.offset_after)
    if ((local >= change.low) & (local < change.high)).any():
        text = (
            f"The file has rows from {change.words}, an hour the clock skipped. How was the "
            "recorder's clock set?"
        )
        answer = asking.answer("clock_change", text, (UNCHANGED,))
        return None if answer is None else local - change.offset_before
    before, after = local[local < change.low], local[local >= change.high]
    if (
        len(before)
        and len(after)
        and int(after.min() - before.max()) > change.high - change.low + _CONTIGUOUS_MS
    ):
        text = (
            f"Nothing was recorded while the clock skipped {change.words}. Did the recorder change its clock?"
        )
        answer = asking.answer("clock_change", text, (CHANGED, UNCHANGED))
        if answer is None:
            return None
        return local - (changed if answer == CHANGED else change.offset_before)
    return local - changed


def second_pass_start(local: Millis, change: Change) -> int | None:
    """Give the row with which the second pass of the repeated hour begins; None when no row steps back."""
    hour = change.high - change.low
    inside = (local >= change.low) & (local < change.high)
    steps = np.flatnonzero((np.diff(local) < -hour // 2) & (np.diff(local) >= -hour) & inside[1:]) + 1
    return int(steps[0]) if len(steps) else None


def _over_autumn(local: Millis, change: Change, asking: Asking) -> Millis | None:
    start = second_pass_start(local, change)
    if start is not None:
        second = np.arange(len(local)) >= start
        return local - np.where(second, change.offset_after, change.offset_before)
    answer = _ask_autumn(local, change, asking)
    if answer is None:
        return None
    if answer == UNCHANGED:
        return local - change.offset_before
    edge = change.low if answer == SECOND_TIME else change.high
    return local - np.where(local < edge, change.offset_before, change.offset_after)


def _ask_autumn(local: Millis, change: Change, asking: Asking) -> str | None:
    """Give the pass of the rows in the repeated hour when no row steps back."""
    inside = (local >= change.low) & (local < change.high)
    before, after = local[local < change.low], local[local >= change.high]
    if not inside.any():
        if not len(before) or not len(after):
            return FIRST_TIME
        text = (
            f"Nothing was recorded while the clock repeated {change.words}. Did the recorder "
            "change its clock?"
        )
        answer = asking.answer("clock_change", text, (CHANGED, UNCHANGED))
        return FIRST_TIME if answer == CHANGED else answer
    joined = len(before) and int(local[inside].min() - before.max()) < _CONTIGUOUS_MS
    if joined and not len(after):
        return FIRST_TIME
    options = (FIRST_TIME, SECOND_TIME, UNCHANGED) if len(after) else (FIRST_TIME, SECOND_TIME)
    text = f"The clock repeated {change.words}, but the file goes through that hour once. Which pass is it?"
    return asking.answer("clock_change", text, options)
