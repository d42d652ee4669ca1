"""Checks on daytime blood gases: which gas may answer, and what it says."""

from datetime import timedelta
from decimal import Decimal

from hvmon.physiology.compensation import expected_bicarbonate_mmol_l
from hvmon.records.base import Pressure
from hvmon.records.gas import BloodGas
from hvmon.records.held import Held
from hvmon.rules.case import (
    LEVEL_HOLDS_DAYS,
    Case,
    gas_basis,
    gas_day,
    gas_words,
    oxygen_words,
)
from hvmon.rules.compare import Amount, against, compared_words, converted, difference, holds
from hvmon.rules.finding import Part, all_of, met, unclear
from hvmon.rules.rule import Limit, Rule
from hvmon.units import PressureUnit
from hvmon.vocabulary import (
    BaseExcessKind,
    BicarbonateKind,
    NotRecorded,
    Rest,
    SampleKind,
    VentilatorState,
    Wakefulness,
)

STEADY_MINUTES = 20
"""[min] shorter on or off the mask and the gas may still be moving (Practice, 20 to 30 min)."""
OXYGEN_STEADY_MINUTES = 30
"""[min] guideline wait after an oxygen change (Weinreich2013)."""
ALKALAEMIA = Decimal("7.45")
"""pH above which a high bicarbonate is first a metabolic alkalosis (Textbook)."""
TELLS_FROM_MMHG = Decimal(50)
"""[mmHg] below it one gas cannot tell acute from chronic (Project)."""


# --- which gas answers ------------------------------------------------------------------------


def missing_conditions(held: Held[BloodGas]) -> tuple[str, ...]:
    """Conditions of an awake resting gas that were not recorded."""
    state = held.record.state
    asked = (
        ("awake or asleep", state.wakefulness == Wakefulness.NOT_RECORDED),
        ("at rest", state.rest == Rest.NOT_RECORDED),
        ("on or off ventilator", state.ventilator == VentilatorState.NOT_RECORDED),
    )
    return tuple(f"{name} not recorded" for name, absent in asked if absent)


def steadiness(held: Held[BloodGas]) -> tuple[str, ...]:
    """Doubts about the steadiness of a gas that do not forbid reading it."""
    state = held.record.state
    doubts = []
    if isinstance(state.minutes_in_state, NotRecorded):
        doubts.append("minutes since mask on or off not recorded")
    elif state.minutes_in_state < STEADY_MINUTES:
        doubts.append(f"only {state.minutes_in_state} min since mask on or off: not steady")
    since = state.minutes_since_oxygen_change
    if state.on_oxygen and not isinstance(since, NotRecorded) and since < OXYGEN_STEADY_MINUTES:
        doubts.append(f"only {since} min since the oxygen was changed")
    return tuple(doubts)


def awake_gas(case: Case) -> Held[BloodGas] | Part:
    """Give the newest awake resting gas that may answer, or why none may."""
    if not case.awake:
        only = "only venous samples, which never rule in" if case.gases else "no blood gas in the record"
        return unclear("no awake resting arterial or capillary gas" if case.not_venous else only)
    held = case.awake[-1]
    missing = missing_conditions(held)
    if missing:
        return unclear(f"{gas_words(held)}: {', '.join(missing)}", gas_basis(held), missing)
    age = case.days_ago(gas_day(held))
    if age > LEVEL_HOLDS_DAYS:
        why = f"the last awake gas is {age} days old"
        return unclear(f"{why} ({gas_words(held)})", gas_basis(held), (why,))
    return held


def stable_gas(case: Case) -> Held[BloodGas] | Part:
    """Give the newest awake resting gas outside an exacerbation, or why there is none."""
    held = awake_gas(case)
    if isinstance(held, Part):
        return held
    why = case.unstable_on(gas_day(held))
    if why:
        return unclear(f"{gas_words(held)}: not stable, {why}", gas_basis(held), (f"stable value, {why}",))
    return held


def like(one: Held[BloodGas], other: Held[BloodGas], *, oxygen: bool = True) -> bool:
    """Whether two gases share sample kind, ventilator state and (if asked) oxygen, all recorded."""
    a, b = one.record, other.record
    known = a.state.ventilator != VentilatorState.NOT_RECORDED
    same = a.kind == b.kind and a.state.ventilator == b.state.ventilator
    if not oxygen:
        return known and same
    flows = (a.state.oxygen_l_min, b.state.oxygen_l_min)
    return known and same and not isinstance(flows[0], NotRecorded) and flows[0] == flows[1]


def pair(case: Case) -> tuple[Held[BloodGas], Held[BloodGas]] | Part:
    """Give the newest awake gas and the one before it under the same conditions, or why not."""
    if not case.awake:
        return unclear("no awake resting arterial or capillary gas")
    last = case.awake[-1]
    missing = missing_conditions(last)
    if missing:
        return unclear(f"{gas_words(last)}: {', '.join(missing)}", gas_basis(last), missing)
    oldest = gas_day(last) - timedelta(days=LEVEL_HOLDS_DAYS)
    earlier = [
        held
        for held in case.awake[:-1]
        if like(last, held) and not missing_conditions(held) and gas_day(held) >= oldest
    ]
    if not earlier:
        return unclear(
            f"{gas_words(last)}: no earlier gas of the same kind and conditions in the year before",
            gas_basis(last),
            ("an earlier gas of the same sample kind, on or off ventilator and oxygen",),
        )
    return last, earlier[-1]


# --- PCO2 -------------------------------------------------------------------------------------


def pco2_part(case: Case, held: Held[BloodGas], limit: Limit) -> Part:
    """Hold the PCO2 of one gas against a limit, in words and with its doubts."""
    outcome = against(held.record.pco2, limit)
    return met(
        outcome.holds,
        f"{gas_words(held)}: {compared_words(held.record.pco2, limit, outcome)}",
        gas_basis(held),
        unknown=steadiness(held),
        at_threshold=outcome.at_threshold,
        age_days=case.days_ago(gas_day(held)),
    )


def awake_pco2(case: Case, rule: Rule) -> Part:
    """Awake resting PCO2 against the main limit."""
    held = awake_gas(case)
    return held if isinstance(held, Part) else pco2_part(case, held, rule.limit)


def stable_awake_pco2(case: Case, rule: Rule) -> Part:
    """Awake resting PCO2 outside an exacerbation against the main limit."""
    held = stable_gas(case)
    return held if isinstance(held, Part) else pco2_part(case, held, rule.limit)


def severity(case: Case, rule: Rule) -> Part:
    """Place the PCO2 in the printed bins; the gaps between whole-number bins stay gaps."""
    held = awake_gas(case)
    if isinstance(held, Part):
        return held
    reached = [limit for limit in rule.limits if against(held.record.pco2, limit).holds]
    if _between_bins(held.record.pco2, rule):
        return unclear(f"{gas_words(held)}: between two whole-number bins, in none of them", gas_basis(held))
    if not reached:
        return pco2_part(case, held, rule.limit)
    part = pco2_part(case, held, reached[-1])
    return met(True, f"{part.words}; bin: {reached[-1].name}", part.basis,
               unknown=part.unknown, at_threshold=part.at_threshold, age_days=part.age_days)  # fmt: skip


def _between_bins(pco2: Pressure, rule: Rule) -> bool:
    """Whether a value falls in the gap below a bin's lower edge; bins are whole mmHg."""
    same = pco2.unit == rule.limit.unit
    return same and any(limit.value - 1 < pco2.value < limit.value for limit in rule.limits)


def pco2_with_ph(case: Case, rule: Rule) -> Part:
    """PCO2 and pH of the same newest gas, both limits needed."""
    if not case.not_venous:
        return unclear("no arterial or capillary gas in the record")
    held = case.not_venous[-1]
    parts = [pco2_part(case, held, limit) for limit in rule.limits if limit.name != "pH"]
    return all_of((*parts, ph_part(case, held, rule.named("pH"))))


def pco2_of_its_unit_with_ph(case: Case, rule: Rule) -> Part:
    """PCO2 against the limit given in its own unit, and pH, of the same newest gas."""
    if not case.not_venous:
        return unclear("no arterial or capillary gas in the record")
    held = case.not_venous[-1]
    unit = held.record.pco2.unit
    limit = next(each for each in rule.limits if each.unit == unit)
    return all_of((pco2_part(case, held, limit), ph_part(case, held, rule.named("pH"))))


def ph_part(case: Case, held: Held[BloodGas], limit: Limit) -> Part:
    """Hold the pH of one gas against a limit."""
    outcome = against(Amount(held.record.ph, ""), limit)
    return met(
        outcome.holds,
        "pH " + compared_words(Amount(held.record.ph, ""), limit, outcome),
        gas_basis(held),
        at_threshold=outcome.at_threshold,
        age_days=case.days_ago(gas_day(held)),
    )


def stable_gate(case: Case, rule: Rule) -> Part:
    """PCO2 above the gate with pH not below it, outside an exacerbation."""
    held = stable_gas(case)
    if isinstance(held, Part):
        return held
    return all_of((pco2_part(case, held, rule.limit), ph_part(case, held, rule.named("pH"))))


def step(case: Case, rule: Rule) -> Part:
    """Rise from the last like-for-like gas."""
    both = pair(case)
    return both if isinstance(both, Part) else step_part(case, *both, rule.limit)


def step_part(case: Case, last: Held[BloodGas], before: Held[BloodGas], limit: Limit) -> Part:
    """Hold the difference of two gases against a limit."""
    rise = difference(last.record.pco2, before.record.pco2)
    outcome = against(rise, limit)
    mixed = () if last.record.pco2.unit == before.record.pco2.unit else ("two units: one was converted once",)
    return met(
        outcome.holds,
        f"{gas_words(last)}, after {gas_words(before)}: change {compared_words(rise, limit, outcome)}",
        gas_basis(last, before),
        unknown=mixed + steadiness(last) + steadiness(before),
        at_threshold=outcome.at_threshold,
        age_days=case.days_ago(gas_day(last)),
    )


def step_with_ph_fall(case: Case, rule: Rule) -> Part:
    """Rise from the last like-for-like gas together with a fall of pH."""
    both = pair(case)
    if isinstance(both, Part):
        return both
    last, before = both
    outcome = against(Amount(before.record.ph - last.record.ph, ""), rule.named("pH fall"))
    words = f"pH {before.record.ph} then {last.record.ph}"
    fall = met(outcome.holds, words, gas_basis(last, before), at_threshold=outcome.at_threshold)
    return all_of((step_part(case, last, before, rule.limit), fall))


def rise_after_oxygen(case: Case, rule: Rule) -> Part:
    """Rise between two gases alike but for a higher oxygen flow."""
    for last, before in _oxygen_raised(case):
        part = step_part(case, last, before, rule.limit)
        flows = (before.record.state.oxygen_l_min, last.record.state.oxygen_l_min)
        words = f"{oxygen_words(flows[0])} then {oxygen_words(flows[1])}: {part.words}"
        return Part(part.answer, words, part.basis, part.unknown, part.at_threshold, part.age_days)
    return unclear("no two like gases before and after a rise of the oxygen flow")


def _oxygen_raised(case: Case) -> list[tuple[Held[BloodGas], Held[BloodGas]]]:
    """Newest pair first: consecutive gases alike but for a raised oxygen flow."""
    pairs = []
    for last, before in zip(reversed(case.awake), list(reversed(case.awake))[1:], strict=False):
        new, old = last.record.state.oxygen_l_min, before.record.state.oxygen_l_min
        if isinstance(new, NotRecorded) or isinstance(old, NotRecorded):
            continue
        if new > old and like(last, before, oxygen=False):
            pairs.append((last, before))
    return pairs


def venous_leaves_open(case: Case, rule: Rule) -> Part:
    """Whether a venous PCO2, the newest sample, fails to rule hypercapnia out; it never rules in."""
    if not case.gases or case.gases[-1].record.kind != SampleKind.VENOUS:
        return unclear("the newest sample is not venous")
    held = case.gases[-1]
    outcome = against(held.record.pco2, rule.limit)
    says = "makes a high arterial value unlikely" if outcome.holds else "leaves it open; it never rules in"
    return met(
        not outcome.holds,
        f"{gas_words(held)}: {compared_words(held.record.pco2, rule.limit, outcome)}; {says}",
        gas_basis(held),
        at_threshold=outcome.at_threshold,
    )


def overnight_rise(case: Case, rule: Rule) -> Part:
    """Rise from an evening to the next morning's gas of the same kind and conditions."""
    for last in reversed(case.not_venous):
        for before in case.not_venous:
            if _evening_and_morning(before, last) and like(before, last):
                return step_part(case, last, before, rule.limit)
    return unclear("no evening and morning gas of one night under the same conditions")


def _evening_and_morning(evening: Held[BloodGas], morning: Held[BloodGas]) -> bool:
    gap = morning.record.drawn_at - evening.record.drawn_at
    return gas_day(morning) == gas_day(evening) + timedelta(days=1) and timedelta(
        hours=4
    ) <= gap <= timedelta(hours=16)


# --- bicarbonate and base excess ----------------------------------------------------------------


def bicarbonate(case: Case, rule: Rule) -> Part:
    """Actual bicarbonate of the newest gas that gives one; venous is usable."""
    held = next((each for each in reversed(case.gases) if each.record.hco3_mmol_l is not None), None)
    if held is None or held.record.hco3_mmol_l is None:
        return unclear("no bicarbonate in the record")
    if held.record.hco3_kind != BicarbonateKind.ACTUAL:
        why = f"bicarbonate of {gas_day(held)} is {held.record.hco3_kind.value}, not known to be actual"
        return unclear(why, gas_basis(held))
    age = case.days_ago(gas_day(held))
    if age > LEVEL_HOLDS_DAYS:
        return unclear(f"the last bicarbonate is {age} days old", gas_basis(held))
    return _bicarbonate_part(held, Amount(held.record.hco3_mmol_l, "mmol/L"), rule.limit, age)


def _bicarbonate_part(held: Held[BloodGas], amount: Amount, limit: Limit, age: int) -> Part:
    outcome = against(amount, limit)
    words = f"bicarbonate of {gas_day(held)} ({held.record.kind.value}): "
    words += compared_words(amount, limit, outcome)
    if held.record.ph > ALKALAEMIA:
        words += f"; pH {held.record.ph}: metabolic alkalosis is considered first"
    return met(outcome.holds, words, gas_basis(held), at_threshold=outcome.at_threshold, age_days=age,
               unknown=("diuretics, steroids, vomiting and electrolytes also raise it",))  # fmt: skip


def base_excess(case: Case, rule: Rule) -> Part:
    """Hold the newest base excess of a known kind against the limit."""
    held = next((each for each in reversed(case.not_venous) if each.record.be_mmol_l is not None), None)
    if held is None or held.record.be_mmol_l is None:
        return unclear("no base excess in the record")
    if held.record.be_kind == BaseExcessKind.NOT_RECORDED:
        return unclear(
            f"base excess of {gas_day(held)}: of blood or extracellular fluid not recorded", gas_basis(held)
        )
    amount = Amount(held.record.be_mmol_l, "mmol/L")
    outcome = against(amount, rule.limit)
    return met(
        outcome.holds,
        f"base excess ({held.record.be_kind.value}) of {gas_day(held)}: "
        f"{compared_words(amount, rule.limit, outcome)}",
        gas_basis(held),
        unknown=("the source does not say which base excess; the two differ by about 2 in hypercapnia",),
        at_threshold=outcome.at_threshold,
        age_days=case.days_ago(gas_day(held)),
    )


def below_chronic_line(case: Case, rule: Rule) -> Part:
    """Whether bicarbonate is below what chronic compensation of this PCO2 would give."""
    held = awake_gas(case)
    if isinstance(held, Part):
        return held
    gas = held.record
    if gas.hco3_mmol_l is None or gas.hco3_kind != BicarbonateKind.ACTUAL:
        return unclear(f"actual bicarbonate of {gas_day(held)} not recorded", gas_basis(held))
    decimals = Amount.of(gas.pco2).decimals
    floor = TELLS_FROM_MMHG if gas.pco2.unit == PressureUnit.MMHG else converted(
        TELLS_FROM_MMHG, "mmHg", "kPa", decimals)  # fmt: skip
    if gas.pco2.value < floor:
        return unclear(f"PCO2 {gas.pco2} is too near normal to tell acute from chronic", gas_basis(held))
    slope = float(rule.limit.value) / 10
    line = Decimal(str(round(expected_bicarbonate_mmol_l(gas.pco2.kpa, slope), 1)))
    return met(
        holds(gas.hco3_mmol_l, rule.limit.comparator, line),
        f"{gas_words(held)}: bicarbonate {gas.hco3_mmol_l}, chronic line {line} mmol/L",
        gas_basis(held),
        at_threshold=gas.hco3_mmol_l == line,
        age_days=case.days_ago(gas_day(held)),
    )
