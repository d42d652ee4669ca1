"""Checks on follow-up: what is overdue, and two rules of payers shown for context."""

from decimal import Decimal

from hvmon.records.gas import BloodGas
from hvmon.records.held import Held
from hvmon.rules import gas
from hvmon.rules.case import Case, gas_basis, gas_day
from hvmon.rules.compare import Amount, against, compared_words
from hvmon.rules.finding import Part, met, unclear
from hvmon.rules.rule import Limit, Rule
from hvmon.vocabulary import ActionState, NotRecorded

DAYS_A_WEEK = 7


def overdue(case: Case, rule: Rule) -> Part:
    """Whether anything owed under this rule is past its date."""
    owed = [each for each in case.owed if each.rule_id == rule.id and each.state != ActionState.WITHDRAWN]
    if not owed:
        return met(holds=False, words="nothing is owed under this rule")
    late = [each for each in owed if each.overdue_days > 0]
    return met(bool(late), "; ".join(each.words for each in (late or owed)))


def too_early_for_payer(case: Case, rule: Rule) -> Part:
    """Whether the days since the start are not yet those after which a payer accepts a re-evaluation."""
    started = case.dossier.person.ventilation_started
    if isinstance(started, NotRecorded):
        return unclear("start of ventilation not recorded")
    days = case.days_ago(started)
    outcome = against(Amount(Decimal(days), "days"), rule.limit)
    words = f"{days} days since ventilation was started on {started}"
    return met(outcome.holds, words, at_threshold=outcome.at_threshold)


def two_tests(case: Case, rule: Rule) -> Part:
    """Two awake values at the level, the interval apart, both outside acute illness."""
    apart = rule.named("apart")
    usable = [held for held in case.awake
              if not gas.missing_conditions(held) and not case.unstable_on(gas_day(held))]  # fmt: skip
    high = [held for held in usable if against(held.record.pco2, rule.limit).holds]
    for last in reversed(high):
        for first in high:
            weeks = Amount(Decimal((gas_day(last) - gas_day(first)).days) / DAYS_A_WEEK, "weeks")
            gap = against(weeks, apart)
            if gap.holds:
                return _confirmed(first, last, rule.limit, exact=gap.at_threshold)
    if len(usable) < 2:  # noqa: PLR2004 - a pair
        return unclear("fewer than two stable awake gases with their conditions")
    return met(holds=False, words=f"no two stable awake gases at {rule.limit.words}, {apart.words}",
               basis=gas_basis(*usable[-2:]))  # fmt: skip


def _confirmed(first: Held[BloodGas], last: Held[BloodGas], limit: Limit, *, exact: bool) -> Part:
    outcomes = [(held, against(held.record.pco2, limit)) for held in (first, last)]
    words = " and ".join(
        f"{gas_day(held)} {compared_words(held.record.pco2, limit, outcome)}" for held, outcome in outcomes
    )
    at_threshold = exact or any(outcome.at_threshold for _, outcome in outcomes)
    return met(holds=True, words=words, basis=gas_basis(first, last), at_threshold=at_threshold)
