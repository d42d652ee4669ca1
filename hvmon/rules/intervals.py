"""Recall intervals: from which day a result counts and by which day it is due, read from a rule's limits."""

import calendar
from datetime import date, timedelta

from hvmon.rules.rule import Limit, Rule

MONTHS_A_YEAR = 12


def after(start: date, limit: Limit) -> date:
    """Give the day an interval after a start; months by the calendar, to the month's last day if need be.

    Raises
    ------
    ValueError
        The limit is no interval.
    """
    count = int(limit.value)
    if limit.unit == "days":
        return start + timedelta(days=count)
    if limit.unit == "weeks":
        return start + timedelta(weeks=count)
    if limit.unit == "months":
        return _months_after(start, count)
    raise ValueError(f"limit {limit.words} is no interval of days, weeks or months")


def _months_after(start: date, months: int) -> date:
    years, month = divmod(start.month - 1 + months, MONTHS_A_YEAR)
    year = start.year + years
    return date(year, month + 1, min(start.day, calendar.monthrange(year, month + 1)[1]))


def span(rule: Rule, start: date) -> tuple[date, date]:
    """Give the first day on which a result counts, and the day by which it is due."""
    named = {limit.name: limit for limit in rule.limits}
    opens = after(start, named["from"]) if "from" in named else start + timedelta(days=1)
    return opens, after(start, named["by"])
