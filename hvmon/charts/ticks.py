"""Ticks of a time axis: the first of a month, or a Monday, on the wall clock."""

from datetime import UTC, datetime, timedelta

DAY_MS = 86_400_000
MONTH_STEPS = (1, 2, 3, 6, 12, 24, 60, 120)
"""[months] between two ticks of a long axis."""

WEEK_STEPS = (1, 2)
"""[weeks] between two ticks of a short axis."""


def ticks(first_ms: float, last_ms: float, most: int) -> tuple[list[float], str]:
    """Give the ticks of an axis [ms] and the format of their labels.

    Parameters
    ----------
    first_ms, last_ms : float
        Ends of the axis, wall clock read as UTC [ms].
    most : int
        At most so many ticks.
    """
    days = (last_ms - first_ms) / DAY_MS
    for weeks in WEEK_STEPS:
        if days / (7 * weeks) <= most:
            return _weeks(first_ms, last_ms, weeks), "%d %b %Y"
    step = next((step for step in MONTH_STEPS if days / (30.4 * step) <= most), MONTH_STEPS[-1])
    return _months(first_ms, last_ms, step), "%b %Y" if step < 12 else "%Y"  # noqa: PLR2004 - a year


def _weeks(first_ms: float, last_ms: float, weeks: int) -> list[float]:
    first = datetime.fromtimestamp(first_ms / 1000, UTC)
    monday = (first - timedelta(days=first.weekday())).replace(hour=0, minute=0, second=0, microsecond=0)
    start = monday.timestamp() * 1000
    step = weeks * 7 * DAY_MS
    count = int((last_ms - start) // step) + 1
    return [start + place * step for place in range(count) if start + place * step >= first_ms]


def _months(first_ms: float, last_ms: float, step: int) -> list[float]:
    first, last = (datetime.fromtimestamp(ms / 1000, UTC) for ms in (first_ms, last_ms))
    start = (first.year * 12 + first.month - 1) // step * step
    end = last.year * 12 + last.month - 1
    months = [datetime(month // 12, month % 12 + 1, 1, tzinfo=UTC) for month in range(start, end + 1, step)]
    return [ms for month in months if first_ms <= (ms := month.timestamp() * 1000) <= last_ms]
