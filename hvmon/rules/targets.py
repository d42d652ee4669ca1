"""Checks of goals on treatment: each is raised when the goal is not reached."""

from decimal import Decimal

from hvmon.records.base import Pressure
from hvmon.records.gas import BloodGas
from hvmon.records.held import Held
from hvmon.rules import gas, night
from hvmon.rules.case import Case, basis, gas_basis, gas_day, gas_words
from hvmon.rules.compare import Amount, against, compared_words, percent_fall
from hvmon.rules.finding import Part, all_of, any_of, met, not_reached, unclear
from hvmon.rules.red_flags import RECENT_DAYS, newest_spo2
from hvmon.rules.rule import Limit, Rule
from hvmon.vocabulary import NotRecorded, VentilatorState


def awake_pco2(case: Case, rule: Rule) -> Part:
    """Awake PCO2 not at the goal."""
    return not_reached(gas.awake_pco2(case, rule))


def awake_window(case: Case, rule: Rule) -> Part:
    """Awake PCO2 outside the window, low side included."""
    held = gas.awake_gas(case)
    if isinstance(held, Part):
        return held
    return not_reached(all_of(gas.pco2_part(case, held, limit) for limit in rule.limits))


def bicarbonate(case: Case, rule: Rule) -> Part:
    """Bicarbonate not at the goal."""
    return not_reached(gas.bicarbonate(case, rule))


def night_peak(case: Case, rule: Rule) -> Part:
    """Night peak on the ventilator not at the goal."""
    held = night.study(case, rule, night.on_ventilator, "night CO2 on the ventilator")
    if isinstance(held, Part):
        return held
    return not_reached(night.level_part(case, held, held.record.tcco2_peak, "peak tcCO2", rule.limit))


def night_mean(case: Case, rule: Rule) -> Part:
    """Night mean on the ventilator not at the goal."""
    held = night.study(case, rule, night.on_ventilator, "night CO2 on the ventilator")
    return held if isinstance(held, Part) else not_reached(night.mean_part(case, held, rule.limit))


def fall_or_cut(case: Case, rule: Rule) -> Part:
    """Neither the fall from the person's own baseline nor the cut is reached."""
    held = gas.awake_gas(case)
    if isinstance(held, Part):
        return held
    cut = gas.pco2_part(case, held, rule.named("or"))
    return not_reached(any_of((cut, _fall(case, held, rule.limit))))


def own_baseline(case: Case, like: Held[BloodGas]) -> Held[BloodGas] | Part:
    """Give the last stable awake gas off the ventilator before it was started, of the same sample kind."""
    started = case.dossier.person.ventilation_started
    if isinstance(started, NotRecorded):
        return unclear("start of ventilation not recorded: no own baseline")
    before = [
        held
        for held in case.awake
        if gas_day(held) <= started
        and held.record_id != like.record_id
        and held.record.kind == like.record.kind
        and held.record.state.ventilator == VentilatorState.OFF
        and not gas.missing_conditions(held)
        and not case.unstable_on(gas_day(held))
    ]
    if not before:
        return unclear(f"no stable {like.record.kind.value} gas off the ventilator before {started}")
    return before[-1]


def _fall(case: Case, held: Held[BloodGas], limit: Limit) -> Part:
    baseline = own_baseline(case, held)
    if isinstance(baseline, Part):
        return baseline
    if held.record.state.ventilator != VentilatorState.OFF:
        return unclear(f"{gas_words(held)}: a fall is judged off the ventilator", gas_basis(held))
    first, now = baseline.record.pco2, held.record.pco2
    if first.unit != now.unit:
        return unclear("baseline and present value are in two units: no percent fall", gas_basis(held))
    percent = percent_fall(first, now)
    outcome = against(Amount(percent, limit.unit), limit)
    return met(
        outcome.holds,
        f"from own baseline {gas_words(baseline)}: fall {percent:.1f} %, limit {limit.words}",
        gas_basis(held, baseline),
        unknown=_rounding_decides(first, now, limit),
        at_threshold=outcome.at_threshold,
    )


def _rounding_decides(first: Pressure, now: Pressure, limit: Limit) -> tuple[str, ...]:
    """Say whether the rounding of the two printed values could put the fall on either side of the limit."""
    half_first, half_now = (Decimal(5).scaleb(-Amount.of(each).decimals - 1) for each in (first, now))
    least = percent_fall(_moved(first, -half_first), _moved(now, half_now))
    most = percent_fall(_moved(first, half_first), _moved(now, -half_now))
    if least < limit.value <= most:
        return (f"as printed, the fall lies between {least:.1f} and {most:.1f} %: rounding may decide",)
    return ()


def _moved(pressure: Pressure, by: Decimal) -> Pressure:
    return Pressure(value=pressure.value + by, unit=pressure.unit)


def saturation_on_oxygen(case: Case, rule: Rule) -> Part:
    """Newest SpO2 above the target range in somebody on oxygen."""
    oxygen = case.dossier.person.home_oxygen
    if isinstance(oxygen, NotRecorded):
        return unclear("home oxygen or not is not recorded")
    if not oxygen:
        return met(holds=False, words="no home oxygen")
    seen = newest_spo2(case)
    if seen is None:
        return unclear("no SpO2 in the record")
    value, at, where = seen
    age = case.days_ago(at.at.date())
    if age > RECENT_DAYS:
        return unclear(f"last SpO2 {age} days ago ({value} %)", (at,))
    limit, whose = _own_high(case, rule.limit)
    outcome = against(Amount(value, "%"), limit)
    words = f"on home oxygen, SpO2 at {where} {at.at.date()}: "
    words += f"{compared_words(Amount(value, '%'), limit, outcome)} ({whose})"
    return not_reached(met(outcome.holds, words, (at,), at_threshold=outcome.at_threshold, age_days=age,
                           unknown=("oxygen flow at that moment",)))  # fmt: skip


def _own_high(case: Case, limit: Limit) -> tuple[Limit, str]:
    high = case.dossier.person.spo2_target_high_pct
    if high is None:
        return limit, "no individual target recorded"
    return limit.edited(Decimal(high), "the person's own target"), "the person's own target"


def weight_each_visit(case: Case, rule: Rule) -> Part:
    """Whether the last visit has no weight of the same day."""
    del rule
    visits = [held for held in case.dossier.visit if held.record.started_at.date() <= case.today]
    if not visits:
        return unclear("no visit in the record")
    last = visits[-1]
    day = last.record.started_at.date()
    weighed = any(held.record.weighed_on == day for held in case.dossier.weight)
    words = f"visit of {day}: {'weighed' if weighed else 'no weight recorded'}"
    return met(not weighed, words, (basis(last, words),), age_days=case.days_ago(day))
