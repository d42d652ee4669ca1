"""The answers of the trend estimate, each once, in the order they are asked at a review.

Is CO2 rising, how high is it and how sure is that, on which readings, since which change, what is owed.
"""

from hvmon.services.estimate_words import Table
from hvmon.services.headline import BOUNDS, ago, chance_words, pressure_words, range_words
from hvmon.services.review import Review
from hvmon.services.trends import TrendView
from hvmon.stats.answers import ChangeEffect
from hvmon.stats.mixture import Estimate
from hvmon.stats.trend import (
    REPEAT_CHANCE,
    REPEAT_DIFFERENCE_KPA,
    LimitChance,
    NewestReading,
    TrendResult,
)
from hvmon.units import PressureUnit

WORDS = ("likely", "possibly", "open either way", "rather not", "unlikely")
VERBAL = tuple(zip((*BOUNDS, 0.0), WORDS, strict=True))
"""Chance from which a word is used."""

VERBAL_NOTE = (
    "Words: likely from 95 %, possibly from 80 %, open either way between, rather not below 20 %, unlikely "
    "below 5 %. The chances hold if the assumptions of the model hold; “unlikely” is not “safe”."
)

ABOUT, QUESTION, ANSWER, SURE = "About", "Question", "Answer", "How sure"
RISING, LEVEL, READINGS, CHANGE, OWED = (
    "Rising?",
    "How high?",
    "On which readings?",
    "Since which change?",
    "Owed",
)

HORIZONS_DAYS = (90, 180, 365)
MORE_LIKELY = 0.5
"""A level above its limit by this chance has nothing to cross."""

Row = tuple[str, str, str, str]


def verbal(chance: float) -> str:
    """Give the word for a chance."""
    return next(word for least, word in VERBAL if chance >= least)


def said(chance: float) -> str:
    """Give a chance in a word and in per cent."""
    return f"{verbal(chance)}, {chance_words(chance)}"


def interval(estimate: Estimate, unit: PressureUnit, *, signed: bool = False) -> str:
    """Give the median with its 95 % interval in the display unit."""
    middle = pressure_words(estimate.median, unit, signed=signed)
    return f"{middle} (95 %: {range_words(estimate.low95, estimate.high95, unit)})"


def answers_table(review: Review, unit: PressureUnit, *, risen: TrendView | None = None) -> Table:
    """Give every answer of the estimate once, with its interval and its chance; empty without an estimate.

    `risen` answers the rise since another day than the review's own estimate does.
    """
    made = review.trend.estimate
    if made is None:
        return []
    rows = [
        *_rise_rows(made if risen is None or risen.estimate is None else risen.estimate, unit),
        *_level_rows(made, review.trend.limit_words, unit),
        *_reading_rows(made, unit),
        *_change_rows(review, made, unit),
        _owed_row(review, made.newest, unit),
    ]
    names = (ABOUT, QUESTION, ANSWER, SURE)
    before = ("", *(about for about, *_ in rows))
    return [
        dict(zip(names, ("" if about == last else about, *rest), strict=True))
        for (about, *rest), last in zip(rows, before, strict=False)
    ]


def _rise_rows(made: TrendResult, unit: PressureUnit) -> list[Row]:
    rise = made.rise
    if rise is None or not made.enough:
        return [(RISING, "Has it risen?", made.sufficiency.in_words, "not told")]
    change = "" if rise.change_kpa is None else interval(rise.change_kpa, unit, signed=True)
    more = f"by more than {pressure_words(0.3, unit)}: {said(rise.p_rise_more)}"
    sure = f"at all: {said(rise.p_rise)}; {more}"
    return [
        (RISING, f"Has it risen since {rise.since:%d %b %Y}?", change, sure),
        (RISING, "Slope now, a year", interval(made.slope_kpa_per_year, unit, signed=True), ""),
    ]


def _level_rows(made: TrendResult, limit_words: str, unit: PressureUnit) -> list[Row]:
    limit = made.limits[0] if made.limits else None
    above = "" if limit is None else f"above {limit_words}: {said(limit.now)}"
    rows = [(LEVEL, "Usual level now", interval(made.level, unit), above)]
    chances = (None,) * 3 if limit is None else _ahead(limit)
    for days, each, chance in zip(HORIZONS_DAYS, made.forecast, chances, strict=True):
        sure = "" if chance is None else f"above it at a month-end by then: {said(chance)}"
        rows.append((LEVEL, f"In {days} days, {each.at:%b %Y}", interval(each.level, unit), sure))
    if limit is not None and limit.now <= MORE_LIKELY:
        rows.append((LEVEL, f"When above {limit_words}?", *_when(limit)))
    return rows


def _ahead(limit: LimitChance) -> tuple[float | None, ...]:
    ahead = limit.ahead
    return ahead.within_90_days, ahead.within_180_days, ahead.within_365_days


def _when(limit: LimitChance) -> tuple[str, str]:
    """Say when the level may cross a limit, never by a date that is not likely."""
    within = f"within 2 years: {said(limit.ahead.within_2_years)}"
    if limit.ahead.median_date is None:
        return "no date: not expected within 2 years", within
    return f"half of the simulated courses by {limit.ahead.median_date:%B %Y}", within


def _reading_rows(made: TrendResult, unit: PressureUnit) -> list[Row]:
    carried = ", ".join(f"{each.n} {each.source} {100 * each.share:.0f} %" for each in made.sources)
    rows = [(READINGS, "What carries the level now", carried, "")]
    newest = made.newest
    if newest.without_it is None or newest.p_gross is None or newest.difference_kpa is None:
        rows.append((READINGS, "Without the newest reading", newest.why, ""))
    else:
        moved = pressure_words(newest.difference_kpa, unit, signed=True)
        alone = f"{interval(newest.without_it, unit)}; it alone moves the level by {moved}"
        gross = f"that it is a gross error: {said(newest.p_gross)}"
        rows.append((READINGS, "Without the newest reading", alone, gross))
    blood = "no such reading" if made.blood_only is None else interval(made.blood_only, unit)
    return [*rows, (READINGS, "From arterial and capillary readings alone", blood, "")]


def _change_rows(review: Review, made: TrendResult, unit: PressureUnit) -> list[Row]:
    around = review.around_change
    if around is None or not made.changes:
        return [(CHANGE, "Last settings change", "none is recorded", "")]
    last: ChangeEffect = made.changes[-1]
    when = ago((review.today - around.change.changed_at.date()).days)
    question = f"{around.words}, {when}"
    if last.effect_kpa is None or last.p_lower is None:
        return [(CHANGE, question, last.note, "")]
    told = f"modelled effect {interval(last.effect_kpa, unit, signed=True)}"
    sure = f"{last.note}; that CO2 is lower by it: {said(last.p_lower)}"
    return [(CHANGE, question, told, sure)]


def repeat_words(newest: NewestReading, unit: PressureUnit) -> str:
    """Say why a repeat of the newest reading is asked for, in the display unit; empty when none is."""
    if not newest.ask_for_repeat or newest.p_gross is None or newest.difference_kpa is None:
        return ""
    reasons = []
    if newest.p_gross > REPEAT_CHANCE:
        reasons.append(f"the chance that it is far off what the others say is {chance_words(newest.p_gross)}")
    if abs(newest.difference_kpa) > REPEAT_DIFFERENCE_KPA:
        moved = pressure_words(newest.difference_kpa, unit, signed=True)
        reasons.append(f"it alone moves the level by {moved}")
    return "; ".join(reasons)


def _owed_row(review: Review, newest: NewestReading, unit: PressureUnit) -> Row:
    lines = [line.short for line in review.owed_lines]
    why = repeat_words(newest, unit)
    asked = f"ASK FOR A REPEAT of the newest reading: {why}" if why else ""
    told = "; ".join(part for part in (asked, *lines) if part)
    return OWED, "What is owed?", told or "nothing by the rules in force", ""
