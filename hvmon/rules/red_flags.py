"""Checks behind same-day contact: what the record can see of an acute state, and what it cannot."""

from datetime import timedelta
from decimal import Decimal
from statistics import median

from hvmon.records.dossier import local
from hvmon.records.held import Held
from hvmon.records.symptoms import SymptomReport
from hvmon.rules import gas
from hvmon.rules.case import Case, bases, basis, gas_basis, gas_day, gas_words
from hvmon.rules.compare import Amount, against, compared_words
from hvmon.rules.finding import Basis, Part, all_of, any_of, met, unclear
from hvmon.rules.rule import Limit, Rule
from hvmon.vocabulary import Dependence, EventKind, FlapTest, NotRecorded, SampleKind

RECENT_DAYS = 28
"""[d] a negative older than this no longer answers an acute question (Project)."""
WEEK_DAYS = 7
USUAL_NIGHTS = 14
"""[nights] of recorded use needed to know the usual use (Project)."""
VENOUS_PH_BIAS = "venous pH reads about 0.03 lower than arterial (VenousReview2012)"


def _day(held: Held[SymptomReport]) -> str:
    return str(local(held.record.asked_at, held.record.zone).date())


def _age(case: Case, held: Held[SymptomReport]) -> int:
    return case.days_ago(local(held.record.asked_at, held.record.zone).date())


def drowsy_or_flap(case: Case, rule: Rule) -> Part:
    """Look for new drowsiness or confusion, or a flap not there before, at the last report."""
    del rule
    if not case.reports:
        return unclear("drowsiness, confusion and flap were never asked for")
    held = case.reports[-1]
    part = any_of((_drowsiness(held), _flap(case, held)))
    age = _age(case, held)
    words = f"{_day(held)}: {part.words}"
    if part.answer == part.answer.NOT_MET and age > RECENT_DAYS:
        return unclear(f"last asked {age} days ago ({words})", part.basis)
    return Part(part.answer, words, part.basis, part.unknown, age_days=age)


def _drowsiness(held: Held[SymptomReport]) -> Part:
    new = held.record.new_drowsiness_or_confusion
    basis_of = (basis(held, f"symptoms asked {_day(held)}"),)
    if isinstance(new, NotRecorded):
        return unclear("new drowsiness or confusion not recorded", basis_of)
    return met(new, f"new drowsiness or confusion: {'yes' if new else 'no'}", basis_of)


def _flap(case: Case, held: Held[SymptomReport]) -> Part:
    basis_of = (basis(held, f"symptoms asked {_day(held)}"),)
    if held.record.flap == FlapTest.NOT_TESTED:
        return unclear("flap not tested, which is not absent", basis_of)
    before = [each.record.flap for each in case.reports[:-1] if each.record.flap != FlapTest.NOT_TESTED]
    known = bool(before) and before[-1] == FlapTest.PRESENT
    present = held.record.flap == FlapTest.PRESENT
    words = f"flap {held.record.flap.value}" + (", as before" if present and known else "")
    return met(present and not known, words, basis_of)


def acidosis(case: Case, rule: Rule) -> Part:
    """PH of the newest gas of any kind."""
    if not case.gases:
        return unclear("no blood gas in the record")
    held = case.gases[-1]
    part = gas.ph_part(case, held, rule.limit)
    doubt = (VENOUS_PH_BIAS,) if held.record.kind == SampleKind.VENOUS else ()
    return _stale_if_not_met(
        case, Part(part.answer, f"{gas_words(held)}: {part.words}", part.basis, doubt, part.at_threshold,
                   part.age_days))  # fmt: skip


def acidosis_with_raised_pco2(case: Case, rule: Rule) -> Part:
    """PH below the limit with raised PCO2 in one gas."""
    return _stale_if_not_met(case, gas.pco2_of_its_unit_with_ph(case, rule))


def acute_hypercapnia(case: Case, rule: Rule) -> Part:
    """PCO2 above the acute level with pH below the limit in one gas."""
    return _stale_if_not_met(case, gas.pco2_with_ph(case, rule))


def _stale_if_not_met(case: Case, part: Part) -> Part:
    """Let an old normal value say nothing of today, while an old abnormal one stays raised."""
    del case
    old = part.age_days is not None and part.age_days > RECENT_DAYS
    if part.answer == part.answer.NOT_MET and old:
        return unclear(f"last gas {part.age_days} days ago ({part.words})", part.basis)
    return part


def saturation_below_target(case: Case, rule: Rule) -> Part:
    """Newest awake SpO2 against the person's own lower target, else the published one."""
    seen = newest_spo2(case)
    if seen is None:
        return unclear("no SpO2 in the record")
    value, at, where = seen
    limit, whose = own_low(case, rule.limit)
    outcome = against(Amount(value, "%"), limit)
    age = case.days_ago(at.at.date())
    compared = compared_words(Amount(value, "%"), limit, outcome)
    words = f"SpO2 at {where} {at.at.date()}: {compared} ({whose})"
    part = met(outcome.holds, words, (at,), at_threshold=outcome.at_threshold, age_days=age,
               unknown=("oximeters over-read in darker skin; whether usual oxygen and ventilator were on",),
               )  # fmt: skip
    return _stale_if_not_met(case, part)


def own_low(case: Case, limit: Limit) -> tuple[Limit, str]:
    """Give the lower saturation limit of the person, or the published one."""
    low = case.dossier.person.spo2_target_low_pct
    if low is None:
        return limit, "no individual target recorded"
    return limit.edited(Decimal(low), "the person's own target"), "the person's own target"


def newest_spo2(case: Case) -> tuple[Decimal, Basis, str] | None:
    """Give the newest spot SpO2 of a visit or beside a gas."""
    found: list[tuple[Decimal, Basis, str]] = []
    for visit in case.dossier.visit:
        value = visit.record.spo2_pct
        if value is not None and local(visit.record.started_at, visit.record.zone).date() <= case.today:
            found.append((value, basis(visit, f"SpO2 {value} % at the visit"), "the visit of"))
    for held in case.gases:
        value = held.record.spo2_pct
        if value is not None:
            found.append((value, basis(held, f"SpO2 {value} % beside the gas"), "the gas of"))
    return max(found, key=lambda each: each[1].at, default=None)


def oxygen_rising(case: Case, rule: Rule) -> Part:
    """Oxygen flow beside the newest gas or event against the flow before."""
    flows = _oxygen_flows(case)
    if len(flows) < 2:  # noqa: PLR2004 - a pair
        return unclear("fewer than two oxygen flows in the record")
    (old, before), (new, last) = flows[-2:]
    age = case.days_ago(last.at.date())
    amount = Amount(new - old, "L/min")
    outcome = against(amount, rule.limit)
    words = f"oxygen {old} L/min on {before.at.date()}, {new} L/min on {last.at.date()}"
    part = met(outcome.holds, words, (before, last), at_threshold=outcome.at_threshold, age_days=age,
               unknown=("whether the flow was raised by plan or by need",))  # fmt: skip
    return _stale_if_not_met(case, part)


def _oxygen_flows(case: Case) -> list[tuple[Decimal, Basis]]:
    flows: list[tuple[Decimal, Basis]] = []
    for held in case.gases:
        flow = held.record.state.oxygen_l_min
        if not isinstance(flow, NotRecorded):
            flows.append((flow, basis(held, f"oxygen {flow} L/min")))
    for event in case.dossier.clinical_event:
        flow_then = event.record.oxygen_l_min
        changed = event.record.kind == EventKind.OXYGEN_CHANGE and event.record.happened_on <= case.today
        if changed and flow_then is not None:
            flows.append((flow_then, basis(event, f"oxygen set to {flow_then} L/min")))
    return sorted(flows, key=lambda each: each[1].at)


def use_near_all_day(case: Case, rule: Rule) -> Part:
    """Median use of the last week near 24 h in somebody whose usual use is well below."""
    if case.dossier.person.dependence in {Dependence.CONTINUOUS, Dependence.NEAR_CONTINUOUS}:
        return unclear("use near 24 h is usual for this person")
    start = case.today - timedelta(days=WEEK_DAYS)
    last = case.use_between(start, case.today + timedelta(days=1))
    usual = case.use_between(start - timedelta(days=RECENT_DAYS), start)
    if len(last) < 3 or len(usual) < USUAL_NIGHTS:  # noqa: PLR2004 - most of a week
        return unclear(
            f"use recorded on {len(last)} of 7 and {len(usual)} of the {RECENT_DAYS} nights before"
        )
    now, before = (Amount(median([n.record.usage_h for n in part]), "h") for part in (last, usual))
    jump, usual_part = against(now, rule.named("last week")), against(before, rule.named("usual"))
    basis_of = bases(last, f"use of {len(last)} nights") + bases(usual, f"use of {len(usual)} nights")
    then = f"median of the four weeks before {before}"
    return all_of(
        (
            met(jump.holds, f"median use last week {now}", basis_of, at_threshold=jump.at_threshold),
            met(usual_part.holds, then, at_threshold=usual_part.at_threshold),
        )
    )


def infection(case: Case, rule: Rule) -> Part:
    """Respiratory infection recorded within the limit of days and not over."""
    events = [
        held
        for held in case.dossier.clinical_event
        if held.record.kind == EventKind.INFECTION and held.record.happened_on <= case.today
    ]
    if not events:
        return unclear("no infection in the record; cough, sputum and fever are not held", ())
    held = events[-1]
    age = case.days_ago(held.record.happened_on)
    over = held.record.until is not None and held.record.until < case.today
    words = f"respiratory infection from {held.record.happened_on}, {age} days ago"
    words += f", over on {held.record.until}" if over else ""
    recent = against(Amount(Decimal(age), rule.limit.unit), rule.limit)
    basis_of = (basis(held, words),)
    at_threshold = recent.at_threshold
    return met(recent.holds and not over, words, basis_of, at_threshold=at_threshold, age_days=age)


def step_with_ph_fall(case: Case, rule: Rule) -> Part:
    """Rise of PCO2 with a lower pH, like for like."""
    return _stale_if_not_met(case, gas.step_with_ph_fall(case, rule))


def not_held(case: Case, rule: Rule) -> Part:
    """Answer for a danger the record has no field for."""
    del case
    return unclear(f"the record holds nothing on this: {rule.condition}")


def group_not_coded(case: Case, rule: Rule) -> Part:
    """Whether the diagnosis group is missing, so that no pack can be chosen."""
    del rule
    group = case.dossier.person.diagnosis_group
    unknown = group == group.UNKNOWN
    words = f"diagnosis group {group.value}"
    return met(unknown, f"{words}: no verdict on CO2, nights or goals" if unknown else words)


def action_level(case: Case, rule: Rule) -> Part:
    """PCO2 above the action level in somebody not yet ventilated."""
    dependence = case.dossier.person.dependence
    if dependence == Dependence.NOT_RECORDED:
        return unclear("whether the person is ventilated is not recorded")
    if dependence != Dependence.NOT_YET_VENTILATED:
        return met(False, "already ventilated and under a respiratory service")
    return gas.awake_pco2(case, rule)


def gas_at_low_saturation(case: Case, rule: Rule) -> Part:
    """SpO2 at rest on air at which a gas is due, lung disease or not; nothing newer than the SpO2."""
    person = case.dossier.person
    if person.dependence == Dependence.NOT_RECORDED:
        return unclear("whether the person is ventilated is not recorded")
    if person.dependence != Dependence.NOT_YET_VENTILATED:
        return met(False, "already ventilated")
    if isinstance(person.has_lung_disease, NotRecorded):
        return unclear("lung disease or not is not recorded")
    seen = newest_spo2(case)
    if seen is None:
        return unclear("no SpO2 in the record")
    if isinstance(person.home_oxygen, NotRecorded) or person.home_oxygen:
        return unclear("SpO2 on air is asked for; home oxygen or not recorded", (seen[1],))
    limit = rule.named("with lung disease" if person.has_lung_disease else "without lung disease")
    outcome = against(Amount(seen[0], "%"), limit)
    done = [held for held in case.gases if gas_day(held) >= seen[1].at.date()]
    words = compared_words(Amount(seen[0], "%"), limit, outcome)
    words += f"; gas taken {gas_day(done[-1])}" if done else "; no gas since"
    return met(outcome.holds and not done, f"SpO2 {words}", (seen[1], *gas_basis(*done[-1:])),
               unknown=("at rest and on air at that moment",), at_threshold=outcome.at_threshold)  # fmt: skip
