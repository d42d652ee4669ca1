"""Checks on symptoms. They stand beside CO2 and never inside a CO2 flag."""

from dataclasses import replace
from decimal import Decimal

from hvmon.records.held import Held
from hvmon.records.symptoms import FACTS_OF, InstrumentTotal, SymptomReport
from hvmon.rules import gas
from hvmon.rules.case import Case, basis
from hvmon.rules.compare import Amount, against
from hvmon.rules.finding import Basis, Part, all_of, met, not_reached, unclear
from hvmon.rules.rule import Rule
from hvmon.vocabulary import Rating

RETENTION = tuple(rating for rating in Rating if rating != Rating.PINS_AND_NEEDLES)
"""Pins and needles point rather to over-ventilation and are left out."""


def ratings_worse(case: Case, rule: Rule) -> Part:
    """Any rating worse than at the report before by the limit or more."""
    if len(case.reports) < 2:  # noqa: PLR2004 - a pair
        return unclear("fewer than two symptom reports")
    before, last = case.reports[-2:]
    pairs = [(which, before.record.rating(which), last.record.rating(which)) for which in RETENTION]
    known = [(which, old, new) for which, old, new in pairs if old is not None and new is not None]
    if not known:
        return unclear("no rating recorded at both reports", _bases(before, last))
    worst = max(new - old for _, old, new in known)
    outcome = against(Amount(Decimal(worst), rule.limit.unit), rule.limit)
    changes = ", ".join(f"{which.value} {old} to {new}" for which, old, new in known)
    words = f"{_day(before)} to {_day(last)}: {changes}"
    missing = tuple(
        f"{which.value} not rated twice" for which, old, new in pairs if old is None or new is None
    )
    return met(outcome.holds, words, _bases(before, last), unknown=missing, at_threshold=outcome.at_threshold,
               age_days=case.days_ago(last.record.asked_at.date()))  # fmt: skip


def _bases(*reports: Held[SymptomReport]) -> tuple[Basis, ...]:
    return tuple(basis(held, f"symptoms asked {_day(held)}") for held in reports)


def _day(held: Held[SymptomReport]) -> str:
    return str(held.record.asked_at.date())


def total_worse(case: Case, rule: Rule) -> Part:
    """Compare questionnaire totals in the direction of each instrument."""
    del rule
    if not case.reports:
        return unclear("no questionnaire total in the record")
    last = case.reports[-1]
    parts = [part for total in last.record.instruments if (part := _total(case, last, total)) is not None]
    if not parts:
        return unclear("no questionnaire answered twice with a known smallest important change")
    worse = [part for part in parts if part.answer == part.answer.MET]
    words = "; ".join(part.words for part in (worse or parts))
    return met(bool(worse), words, tuple(b for part in parts for b in part.basis),
               at_threshold=any(part.at_threshold for part in parts))  # fmt: skip


def _total(case: Case, last: Held[SymptomReport], total: InstrumentTotal) -> Part | None:
    facts = FACTS_OF[total.instrument]
    if facts.important_change is None:
        return None
    for held in reversed(case.reports[:-1]):
        for earlier in held.record.instruments:
            if (earlier.instrument, earlier.version) == (total.instrument, total.version):
                worse = total.total - earlier.total if facts.high_is_worse else earlier.total - total.total
                way = "high is worse" if facts.high_is_worse else "low is worse"
                words = f"{total.instrument.value} {earlier.total} to {total.total} ({way}), "
                words += f"smallest important change {facts.important_change} ({facts.source})"
                return met(worse >= facts.important_change, words, _bases(held, last),
                           at_threshold=worse == facts.important_change)  # fmt: skip
    return None


def co2_up_without_symptoms(case: Case, rule: Rule) -> Part:
    """PCO2 stepped up while no rating got worse: common, and still real."""
    return all_of((gas.step(case, rule), not_reached(_worse(case, rule))))


def symptoms_without_co2(case: Case, rule: Rule) -> Part:
    """Ratings worse while the awake gas is not raised."""
    return all_of((_worse(case, rule), not_reached(gas.awake_pco2(case, rule))))


def _worse(case: Case, rule: Rule) -> Part:
    return ratings_worse(case, replace(rule, limits=(rule.named("rating"),)))
