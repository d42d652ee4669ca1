"""Is the treatment enough, and has the person changed? Causes D1 to D4 and E1 to E6."""

from datetime import timedelta
from decimal import Decimal

from hvmon.physiology.acid_base import bicarbonate_mmol_l
from hvmon.records.course import LungFunction
from hvmon.records.dossier import dated
from hvmon.records.held import Held
from hvmon.records.study import NightSummary
from hvmon.rules.case import basis
from hvmon.rules.why_now import use_and_leak_steady
from hvmon.rules.why_windows import (
    NOTHING,
    Pair,
    Reading,
    Weighed,
    event_words,
    events_in,
    joined,
    look_at_nights,
    missing,
    settings_for,
    speaks_against,
    supports,
)
from hvmon.stats.body import body_of
from hvmon.stats.breathing import breathing_between
from hvmon.stats.figure import Refused
from hvmon.stats.ventilation import volume_per_kg
from hvmon.vocabulary import EventKind, MedicineClass, VentilatorState

LOW_ML_KG = 6.0
"""[mL/kg ideal weight] lower end of the usual range (Practice)."""
NIGHT_MEAN_MMHG = 50.0
"""[mmHg] mean of a night on the ventilator (Janssens2011, from memory)."""
DIPS_STEP = 5.0
"""[/h] rise of the dip index worth naming (Project)."""
FALL_SHARE = 0.10
"""Relative fall of a lung function worth naming (Project)."""
WEIGHT_SHARE = 0.05
"""Relative change of weight worth naming (Practice)."""
HCO3_STEP_MMOL_L = 2.6
"""[mmol/L] significant difference of two bicarbonates (HardingFraser1987)."""
ALKALAEMIA_PH = Decimal("7.45")
LOW_PCO2_KPA = 4.5
"""[kPa] over-ventilation (Practice)."""
LOOK_BACK_DAYS = 400
"""[d] a test older than this says nothing about the change (Project)."""
ALKALOSIS_MEDICINES = {MedicineClass.DIURETIC, MedicineClass.CORTICOSTEROID}


def too_little_support(pair: Pair) -> Weighed:
    """D1: pressure support or rate too low."""
    found = joined(
        (
            _per_kg(pair),
            look_at_nights(
                pair, "minute ventilation", "L/min", lambda n: n.minute_ventilation_l_min, bad="down"
            ),
            _night_co2(pair),
        )
    )
    return found + _otherwise_good(pair, beside=bool(found.support))


def _per_kg(pair: Pair) -> Weighed:
    settings = settings_for(pair, pair.last)
    if settings is None:
        return missing("settings in force")
    body = body_of(pair.dossier, pair.last.day, interface=settings.program_1.interface)
    breathing = breathing_between(pair.dossier, pair.last.start, pair.last.day)
    if isinstance(breathing, Refused):
        return missing(f"tidal volume: {breathing.reason}")
    per_kg = volume_per_kg(breathing, body)
    if isinstance(per_kg, Refused):
        return missing(f"tidal volume per kg: {per_kg.reason}")
    words = f"tidal volume {per_kg.value:.1f} mL per kg of predicted weight ({per_kg.assumes[0]})"
    return supports(words) if per_kg.value < LOW_ML_KG else speaks_against(words)


def _night_co2(pair: Pair) -> Weighed:
    nights = [
        held
        for held in _nights(pair, pair.last)
        if held.record.tcco2_mean is not None and held.record.ventilator == VentilatorState.ON
    ]
    if not nights:
        return missing("a night's transcutaneous CO2 on the ventilator")
    mean = nights[-1].record.tcco2_mean
    words = f"night mean {mean} on the ventilator, {nights[-1].record.night_of}"
    high = mean is not None and mean.mmhg >= NIGHT_MEAN_MMHG
    on = basis(nights[-1], words)
    return supports(words, on) if high else speaks_against(words, on)


def _otherwise_good(pair: Pair, *, beside: bool) -> Weighed:
    """Use and leak that hold speak for too little support only beside something that does."""
    steady = use_and_leak_steady(pair)
    if steady is None:
        return missing("use and leak in both windows, which come first")
    if steady:
        return supports("use did not fall and leak did not rise") if beside else NOTHING
    return speaks_against("use fell or leak rose, which come first")


def upper_airway(pair: Pair) -> Weighed:
    """D2: upper airway obstruction, EPAP too low."""
    events = look_at_nights(pair, "residual events", "/h", lambda n: n.residual_events_per_h, bad="up")
    return _dips(pair) + events + missing("snoring")


def _dips(pair: Pair) -> Weighed:
    now, before = _study(pair, pair.last), _study(pair, pair.previous)
    if now is None or before is None or now is before:
        return missing("an overnight oximetry before each reading")
    one, other = now.record, before.record
    if one.dips_per_h is None or other.dips_per_h is None or one.dip_size_pct != other.dip_size_pct:
        return missing("dip index of one convention in both studies")
    words = f"{one.dip_size_pct} % dips {one.dips_per_h}/h on {one.night_of}, before {other.dips_per_h}/h"
    up = float(one.dips_per_h - other.dips_per_h) >= DIPS_STEP
    on = basis(now, words)
    return supports(words, on) if up else speaks_against(words, on)


def central(pair: Pair) -> Weighed:
    """D3: central events, glottic closure from over-ventilation."""
    low = [
        held
        for held in pair.dossier.blood_gas
        if pair.previous.start <= held.record.drawn_at.date() <= pair.last.day
        and held.record.pco2.kpa < LOW_PCO2_KPA
    ]
    trace = missing("periodic dips and CO2 swings on a trace")
    if not low:
        return speaks_against("no PCO2 below 4.5 kPa between the readings") + trace
    words = f"PCO2 {low[-1].record.pco2} on {low[-1].record.drawn_at.date()}: over-ventilated then"
    return supports(words, basis(low[-1], words)) + trace


def hours_too_short(pair: Pair) -> Weighed:
    """D4: hours too short for the disease."""
    daytime = look_at_nights(pair, "daytime use", "h", lambda n: n.daytime_h, bad="up")
    return daytime + missing("PaCO2 on waking and late on the same day")


def progression(pair: Pair) -> Weighed:
    """E1: progression: vital capacity, sniff pressure, cough flow falling, use up."""
    names = (
        ("vital capacity", "fvc_l", "L"),
        ("sniff pressure", "snip_cmh2o", "cmH2O"),
        ("peak cough flow", "peak_cough_flow_l_min", "L/min"),
    )
    tests = joined(_falling(pair, *name) for name in names)
    return tests + look_at_nights(pair, "use", "h", lambda n: n.usage_h, bad="up")


def _falling(pair: Pair, name: str, field: str, unit: str) -> Weighed:
    now, before = _test(pair, pair.last, field), _test(pair, pair.previous, field)
    if now is None or before is None or now is before:
        return missing(f"{name} before each reading")
    value, earlier = getattr(now.record, field), getattr(before.record, field)
    words = f"{name} {value} {unit} on {now.record.tested_on}, {earlier} on {before.record.tested_on}"
    fell = float(value) < (1.0 - FALL_SHARE) * float(earlier)
    on = basis(now, words)
    return supports(words, on) if fell else speaks_against(words, on)


def weight(pair: Pair) -> Weighed:
    """E2: weight gain or loss, growth, pregnancy."""
    found = []
    for reading in (pair.last, pair.previous):
        oldest = reading.day - timedelta(days=LOOK_BACK_DAYS)
        near = [held for held in pair.dossier.weight if oldest <= held.record.weighed_on <= reading.day]
        found.append(near[-1] if near else None)
    now, before = found
    if now is None or before is None or now is before:
        return missing("a weight before each reading")
    kg, earlier = now.record.weight_kg, before.record.weight_kg
    words = f"weight {kg} kg on {now.record.weighed_on}, {earlier} on {before.record.weighed_on}"
    moved = abs(float(kg) - float(earlier)) >= WEIGHT_SHARE * float(earlier)
    on = basis(now, words)
    return supports(words, on) if moved else speaks_against(words, on)


def other_disease(pair: Pair) -> Weighed:
    """E3: heart failure, hypothyroidism, untreated sleep apnoea."""
    return _dips(pair) + missing("heart failure and thyroid tests")


def metabolic_alkalosis(pair: Pair) -> Weighed:
    """E4: metabolic alkalosis (diuretic, steroid, low potassium or chloride)."""
    started = [
        held
        for held in events_in(pair, {EventKind.MEDICINE_STARTED}, since_previous=True)
        if held.record.medicine_class in ALKALOSIS_MEDICINES
    ]
    medicines = joined(supports(event_words(held), basis(held, event_words(held))) for held in started)
    return joined((_bicarbonate(pair), medicines, missing("potassium and chloride")))


def _bicarbonate(pair: Pair) -> Weighed:
    if pair.last.gas is None or pair.previous.gas is None:
        return missing("pH at both readings")
    gas, earlier = pair.last.gas.record, pair.previous.gas.record
    now = bicarbonate_mmol_l(float(gas.ph), gas.pco2.kpa)
    before = bicarbonate_mmol_l(float(earlier.ph), earlier.pco2.kpa)
    words = f"bicarbonate {now:.1f} mmol/L, before {before:.1f}; pH {gas.ph}"
    if gas.ph > ALKALAEMIA_PH:
        return supports(words)
    risen = "; a rise without alkalaemia goes with CO2" if now - before > HCO3_STEP_MMOL_L else ""
    return speaks_against(words + risen)


def more_co2(pair: Pair) -> Weighed:
    """E5: more CO2 made (fever, seizures, overfeeding)."""
    found = events_in(pair, {EventKind.INFECTION})
    fever = joined(
        supports(f"{event_words(held)}: fever would raise CO2 output", basis(held, event_words(held)))
        for held in found
    )
    return fever + missing("temperature, seizures and feeds")


def bulbar(pair: Pair) -> Weighed:
    """E6: bulbar weakness, secretions."""
    cough = _falling(pair, "peak cough flow", "peak_cough_flow_l_min", "L/min")
    lost = look_at_nights(pair, "leak", "L/min", lambda n: n.leak_l_min, bad="up")
    return cough + lost + missing("suction, swallowing and secretions")


def _nights(pair: Pair, reading: Reading) -> list[Held[NightSummary]]:
    oldest = reading.day - timedelta(days=LOOK_BACK_DAYS // 4)
    return [held for held in pair.dossier.night_summary if oldest <= held.record.night_of <= reading.day]


def _study(pair: Pair, reading: Reading) -> Held[NightSummary] | None:
    nights = _nights(pair, reading)
    return nights[-1] if nights else None


def _test(pair: Pair, reading: Reading, field: str) -> Held[LungFunction] | None:
    oldest = reading.day - timedelta(days=LOOK_BACK_DAYS)
    found = [
        held
        for held in pair.dossier.lung_function
        if oldest <= dated(held.record).date() <= reading.day and getattr(held.record, field) is not None
    ]
    return found[-1] if found else None
