"""The four lines read first: is CO2 rising, on which readings, since which change, what is owed.

Every line says how sure it is, and none says that all is well.
"""

import math
from collections import Counter
from dataclasses import dataclass
from datetime import date

from hvmon.rules.catalogue import rule
from hvmon.services.comparisons import AroundChange
from hvmon.services.review import Review
from hvmon.services.trends import TrendView
from hvmon.stats.trend import TrendResult
from hvmon.units import MMHG_PER_KPA, PressureUnit

RISE_RULES = ("TRD-4", "TRD-2", "TRD-3", "TRD-1")
"""Trend rules of a rise, the most pressing first."""

LIKELY_RISE = "TRD-2"
"""The rule whose limit, mirrored, is where a fall is called likely."""

SUREST = 0.99
"""A chance is never shown as surer than this, nor as less than one minus this."""


BOUNDS = (0.95, 0.80, 0.20, 0.05)
"""Chances at which the word for a chance changes; the upper two are the tiers the trend rules ship with."""


@dataclass(frozen=True, slots=True)
class Tile:
    """One line of the headline: a question, the answer in a few words, what it rests on."""

    label: str
    words: str
    detail: str


def pressure_words(kpa: float, unit: PressureUnit, *, signed: bool = False) -> str:
    """Give a pressure or difference [kPa] in the display unit: one decimal in kPa, none in mmHg."""
    value = kpa if unit == PressureUnit.KPA else kpa * MMHG_PER_KPA
    digits = 1 if unit == PressureUnit.KPA else 0
    rounded = round(value, digits) + 0.0  # never "-0.0"
    sign = "+" if signed else ""
    return f"{rounded:{sign}.{digits}f} {unit.value}"


def range_words(low_kpa: float, high_kpa: float, unit: PressureUnit) -> str:
    """Give an interval in the display unit."""
    low = pressure_words(low_kpa, unit).removesuffix(f" {unit.value}")
    return f"{low} to {pressure_words(high_kpa, unit)}"


def headline(review: Review, unit: PressureUnit) -> tuple[Tile, ...]:
    """Give the four lines of a review in a display unit."""
    return (
        rising_tile(review, unit),
        readings_tile(review, unit),
        change_tile(review.around_change, unit, review.today),
        owed_tile(review),
    )


# --- is CO2 rising -------------------------------------------------------------------------------


def chance_words(chance: float) -> str:
    """Give a chance in percent; an estimate never says 0 % or 100 %, nor rounds up to a bound of a word."""
    if chance > SUREST:
        return f"over {100 * SUREST:.0f} %"
    if chance < 1 - SUREST:
        return f"under {100 * (1 - SUREST):.0f} %"
    if any(chance < bound <= round(chance, 2) for bound in BOUNDS):
        return f"{math.floor(1000 * chance) / 10:.1f} %"
    return f"{100 * chance:.0f} %"


def rising_tile(review: Review, unit: PressureUnit) -> Tile:
    """Say whether the usual CO2 is rising and how sure that is."""
    label = "Is CO2 rising?"
    made = review.trend.estimate
    if made is None:
        return Tile(label, "Not estimated", _sentence(review.trend.reason))
    if not made.enough or made.rise is None:
        reasons = "; ".join(made.sufficiency.reasons)
        return Tile(label, "Not enough to tell", f"{_level(made, unit)}. {_sentence(reasons)}")
    words = _rise_words(review, made.rise.p_rise)
    chances = (
        f"Chance of a rise since {made.rise.since:%b %Y}: {chance_words(made.rise.p_rise)}; "
        f"of more than {pressure_words(0.3, unit)}: {chance_words(made.rise.p_rise_more)}"
    )
    return Tile(label, words, f"{_level(made, unit)}. {chances}{_above(review.trend, made)}.")


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:].rstrip(".") + "."


def _rise_words(review: Review, p_rise: float) -> str:
    met = {finding.rule_id for finding in review.met}
    for rule_id in RISE_RULES:
        if rule_id in met:
            likely = "likely" in rule(rule_id).title
            return f"{'Likely' if likely else 'Possibly'} rising ({rule_id})"
    fall = 1 - float(rule(LIKELY_RISE).limit.value)
    return "Likely falling" if p_rise <= fall else "No rise is shown, none is excluded"


def _level(made: TrendResult, unit: PressureUnit) -> str:
    level = made.level
    return (
        f"Modelled usual level {pressure_words(level.median, unit)} "
        f"({range_words(level.low95, level.high95, unit)})"
    )


def _above(view: TrendView, made: TrendResult) -> str:
    if not made.limits:
        return ""
    return f"; of being above {view.limit_words}: {chance_words(made.limits[0].now)}"


# --- on which readings ---------------------------------------------------------------------------


def readings_tile(review: Review, unit: PressureUnit) -> Tile:
    """Say which reading is the newest, how it stands to the one before, and what there is."""
    label = "On which readings?"
    frame = review.course.readings
    if frame.is_empty():
        return Tile(label, "No CO2 reading", "Nothing has been measured or entered.")
    last = frame.row(-1, named=True)
    counted = ", ".join(f"{number} {kind}" for kind, number in Counter(frame["kind"]).most_common())
    words = f"{last['entered']}, {ago((review.today - last['at'].date()).days)}"
    detail = (
        f"{last['kind'].capitalize()}, {last['ventilator']}, {last['oxygen']}. {_last_pair(review, unit)}"
    )
    return Tile(label, words, f"{detail} All: {counted}.")


def ago(days: int) -> str:
    """Give a number of days in the past in words."""
    if days <= 0:
        return "today"
    return f"{days} d ago" if days < 60 else f"{days / 30.44:.0f} months ago"  # noqa: PLR2004 - two months


def _last_pair(review: Review, unit: PressureUnit) -> str:
    if not review.compared:
        return "No reading whose conditions were recorded."
    last = review.compared[0]
    if last.difference_kpa is None:
        return f"Not compared: {last.words}."
    step = pressure_words(last.difference_kpa, unit, signed=True)
    return f"Like for like {step}, {last.noise}."


# --- since which change --------------------------------------------------------------------------


def change_tile(around: AroundChange | None, unit: PressureUnit, today: date) -> Tile:
    """Say what was changed last and what like-for-like readings show on both sides of it."""
    label = "Since which change?"
    if around is None:
        return Tile(label, "No settings recorded", "Nothing can be said of settings and CO2.")
    when = ago((today - around.change.changed_at.date()).days)
    if around.difference_kpa is None or around.key is None:
        return Tile(
            label, around.words, f"{when.capitalize()}. No like-for-like reading on both sides of it."
        )
    noise = "beyond noise" if around.beyond_noise else "within noise"
    step = pressure_words(around.difference_kpa, unit, signed=True)
    detail = f"{when.capitalize()}. Across it {step}, {noise} ({around.key})."
    return Tile(label, around.words, detail)


# --- what is owed --------------------------------------------------------------------------------


def owed_tile(review: Review) -> Tile:
    """Say what is owed and overdue, and how much could not be judged."""
    lines = review.owed_lines
    late = [line for line in lines if line.overdue_days > 0]
    words = f"{len(lines)} owed, {len(late)} overdue" if lines else "Nothing owed by the rules in force"
    parts = [line.short for line in lines[:2]]
    parts.append(f"{len(review.not_assessable)} rules could not be assessed")
    return Tile("What is owed?", words, _sentence("; ".join(parts)))
