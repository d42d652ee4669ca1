"""Trend flags in two tiers, from a trend estimate; the estimate itself is made elsewhere."""

from decimal import Decimal

from hvmon.records.dossier import dated
from hvmon.rules.case import Case, TrendLike
from hvmon.rules.compare import Amount, against
from hvmon.rules.finding import Basis, Part, met, unclear
from hvmon.rules.rule import Rule

__all__ = ["TrendLike", "above_limit", "rise", "rise_above_0_3"]

_PLACES = 3


def rise(case: Case, rule: Rule) -> Part:
    """Chance that the usual level has risen since the review."""
    return _judged(case, rule, case.trend.p_rise if case.trend else None, "has risen since the review")


def rise_above_0_3(case: Case, rule: Rule) -> Part:
    """Chance that the usual level has risen by more than 0.3 kPa since the review."""
    chance = case.trend.p_rise_0_3 if case.trend else None
    return _judged(case, rule, chance, "has risen by more than 0.3 kPa since the review")


def above_limit(case: Case, rule: Rule) -> Part:
    """Chance that the usual level is above the person's limit."""
    return _judged(
        case, rule, case.trend.p_above_limit if case.trend else None, "is above the person's limit"
    )


def _judged(case: Case, rule: Rule, chance: float | None, what: str) -> Part:
    if case.trend is None:
        return unclear("no trend estimate was given")
    carried = _carried(case, case.trend)
    if chance is None:
        return unclear(f"not enough to tell whether the usual CO2 level {what}", carried)
    amount = Amount(Decimal(str(chance)), "probability")
    outcome = against(amount, rule.limit)
    words = f"estimated chance {round(chance, _PLACES)} that the usual CO2 level {what}"
    words += f" (model {case.trend.model_version}, {len(case.trend.readings)} readings)"
    return met(outcome.holds, words, carried, at_threshold=outcome.at_threshold,
               unknown=("an estimate from a model, not a measurement",))  # fmt: skip


def _carried(case: Case, trend: TrendLike) -> tuple[Basis, ...]:
    """Give the readings that carry the estimate, as far as the dossier holds them."""
    wanted = set(trend.readings)
    dossier = case.dossier
    held = (*dossier.blood_gas, *dossier.spot_transcutaneous, *dossier.night_summary)
    return tuple(
        Basis(each.record_id, f"reading of {dated(each.record).date()}", dated(each.record))
        for each in held
        if each.record_id in wanted
    )
