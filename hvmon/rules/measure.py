"""Checks on the measurement itself: steadiness, settling, and pairs that disagree."""

from datetime import timedelta
from decimal import Decimal

from hvmon.records.gas import BloodGas, SpotTranscutaneous
from hvmon.records.held import Held
from hvmon.rules.case import Case, basis, gas_basis, gas_day, gas_words
from hvmon.rules.compare import Amount, against, compared_words, difference
from hvmon.rules.finding import Basis, Part, met, unclear
from hvmon.rules.rule import Rule
from hvmon.vocabulary import NotRecorded, SampleKind, SensorSite

PAIR_WITHIN = timedelta(minutes=30)
"""A transcutaneous value and a gas further apart in time are no pair (Project)."""


def oxygen_not_steady(case: Case, rule: Rule) -> Part:
    """Newest gas drawn before the wait after an oxygen change was over."""
    if not case.gases:
        return unclear("no blood gas in the record")
    held = case.gases[-1]
    since = held.record.state.minutes_since_oxygen_change
    if isinstance(since, NotRecorded):
        if held.record.state.on_oxygen is False:
            return met(holds=False, words=f"{gas_words(held)}: on air", basis=gas_basis(held))
        return unclear(f"{gas_words(held)}: minutes since the oxygen change not recorded", gas_basis(held))
    outcome = against(Amount(Decimal(since), "min"), rule.limit)
    words = (
        f"{gas_words(held)}: oxygen last changed {since} min before; PO2 and SpO2 need {rule.limit.value} min"
    )
    return met(outcome.holds, words, gas_basis(held), at_threshold=outcome.at_threshold)


def sensor_not_settled(case: Case, rule: Rule) -> Part:
    """Newest spot transcutaneous value read before the sensor had settled."""
    held = _last_spot(case)
    if held is None:
        return unclear("no spot transcutaneous value in the record")
    since = held.record.minutes_since_applied
    if isinstance(since, NotRecorded):
        return unclear("minutes since the sensor was applied not recorded", (_spot_basis(held),))
    outcome = against(Amount(Decimal(since), "min"), rule.limit)
    words = f"tcCO2 {held.record.ptcco2} read {since} min after the sensor was applied"
    return met(outcome.holds, words, (_spot_basis(held),), at_threshold=outcome.at_threshold)


def _last_spot(case: Case) -> Held[SpotTranscutaneous] | None:
    spots = [held for held in case.dossier.spot_transcutaneous if held.record.read_at.date() <= case.today]
    return spots[-1] if spots else None


def _spot_basis(held: Held[SpotTranscutaneous]) -> Basis:
    return basis(held, f"tcCO2 {held.record.ptcco2}, {held.record.site.value}, {held.record.read_at.date()}")


def _paired(case: Case) -> tuple[Held[SpotTranscutaneous], Held[BloodGas]] | Part:
    spots = [held for held in case.dossier.spot_transcutaneous if held.record.read_at.date() <= case.today]
    for spot in reversed(spots):
        for held in reversed(case.not_venous):
            if abs(held.record.drawn_at - spot.record.read_at) <= PAIR_WITHIN:
                return spot, held
    return unclear("no transcutaneous value within 30 min of a gas")


def pair_disagrees(case: Case, rule: Rule) -> Part:
    """Transcutaneous value and gas of one moment further apart than the limits of agreement."""
    pair = _paired(case)
    if isinstance(pair, Part):
        return pair
    spot, held = pair
    limit = rule.named("ear lobe" if spot.record.site == SensorSite.EARLOBE else "other sites")
    gap = difference(spot.record.ptcco2, held.record.pco2)
    size = Amount(abs(gap.value), gap.unit)
    outcome = against(size, limit)
    words = (
        f"tcCO2 {spot.record.ptcco2} beside {gas_words(held)}: apart {compared_words(size, limit, outcome)}"
    )
    return met(outcome.holds, words, (_spot_basis(spot), *gas_basis(held)), at_threshold=outcome.at_threshold)


def high_transcutaneous(case: Case, rule: Rule) -> Part:
    """Newest spot transcutaneous value where agreement with arterial worsens."""
    held = _last_spot(case)
    if held is None:
        return unclear("no spot transcutaneous value in the record")
    outcome = against(held.record.ptcco2, rule.limit)
    words = f"tcCO2 {compared_words(held.record.ptcco2, rule.limit, outcome)}"
    return met(outcome.holds, words, (_spot_basis(held),), at_threshold=outcome.at_threshold)


def kind_changed(case: Case, rule: Rule) -> Part:
    """Newest gas of another kind or state than the one before: no line joins them."""
    del rule
    if len(case.gases) < 2:  # noqa: PLR2004 - a pair
        return unclear("fewer than two blood gases")
    before, last = case.gases[-2:]
    changes = []
    if before.record.kind != last.record.kind:
        changes.append(f"{before.record.kind.value} then {last.record.kind.value}")
    if before.record.state.ventilator != last.record.state.ventilator:
        changes.append(f"{before.record.state.ventilator.value} then {last.record.state.ventilator.value}")
    if before.record.state.oxygen_l_min != last.record.state.oxygen_l_min:
        changes.append("another oxygen flow")
    words = f"{gas_day(before)} and {gas_day(last)}: {', '.join(changes) or 'same kind and conditions'}"
    venous = (
        SampleKind.VENOUS in {before.record.kind, last.record.kind} and before.record.kind != last.record.kind
    )
    unknown = ("no constant turns venous into arterial",) if venous else ()
    return met(bool(changes), words, gas_basis(before, last), unknown=unknown)
