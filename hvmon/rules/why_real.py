"""Is the rise real? Causes A1 to A5 of the differential: sample, handling, conditions, sensor, slips."""

from datetime import timedelta
from decimal import Decimal

from hvmon.physiology.acid_base import Consistency, UnitSlip, consistency, unit_slip
from hvmon.physiology.alveolar_gas import inspired_po2_kpa, pao2_is_possible
from hvmon.physiology.ambient import ROOM_AIR_FIO2
from hvmon.records.dossier import local
from hvmon.records.gas import BloodGas, SamplingState
from hvmon.rules.case import basis, gas_words
from hvmon.rules.finding import Basis
from hvmon.rules.looks_venous import estimated_so2_pct, gap_points
from hvmon.rules.why_windows import (
    NOTHING,
    Pair,
    Reading,
    Weighed,
    joined,
    missing,
    speaks_against,
    supports,
)
from hvmon.units import STANDARD_ATMOSPHERE_KPA
from hvmon.vocabulary import (
    BicarbonateKind,
    DriftCorrection,
    NotRecorded,
    Position,
    Rest,
    SampleKind,
    VentilatorState,
    Wakefulness,
)

LATE_ANALYSIS = timedelta(minutes=30)
"""Analysis later than this after drawing (Practice)."""
SEVERAL_ATTEMPTS = 2
STEADY_MINUTES = 30
HOURS_APART = 6.0
"""[h] clock times further apart than this are "another time of day" (Project)."""
OXYGEN_APART_L_MIN = Decimal("0.5")
WARM_SENSOR_C = Decimal(42)
"""[C] below it a sensor arterialises skin poorly off the earlobe (Conway2019Transcutaneous)."""


def venous_or_mixed(pair: Pair) -> Weighed:
    """A1: a venous or mixed sample."""
    held = pair.last.gas
    if held is None:
        return speaks_against("not a blood sample")
    gas, on = held.record, basis(held, gas_words(held))
    kind = (
        supports("the last sample is venous", on)
        if gas.kind == SampleKind.VENOUS
        else speaks_against(f"labelled {gas.kind.value}", on)
    )
    return kind + _saturation(gas, pair.last)


def _saturation(gas: BloodGas, reading: Reading) -> Weighed:
    oximeter = gas.spo2_pct
    if gas.po2 is None or oximeter is None:
        return missing("PO2 of the sample or oximeter beside it")
    if gas.kind in {SampleKind.CAPILLARY_FINGERTIP, SampleKind.CAPILLARY_EARLOBE}:
        return missing(
            f"saturation check: the PO2 of a {gas.kind.value} sample does not stand for the arterial"
        )
    estimated = estimated_so2_pct(gas)
    if estimated is None:
        return missing("saturation check: PO2 is of a body temperature that is not recorded")
    words = f"PO2 {gas.po2} gives a saturation of {estimated:.0f} %, the oximeter showed {oximeter} %"
    wide = float(oximeter) - estimated >= gap_points(float(oximeter))
    return supports(words, *_on(reading)) if wide else speaks_against(words, *_on(reading))


def pre_analytic(pair: Pair) -> Weighed:
    """A2: air bubble, delay, cold ear, poor flow, breath-holding."""
    held = pair.last.gas
    if held is None:
        return speaks_against("not a blood sample")
    gas = held.record
    return joined((_delay(gas, pair.last), _attempts(gas, pair.last), _triple(gas, pair.last),
                   _possible_po2(gas, pair.last)))  # fmt: skip


def _delay(gas: BloodGas, reading: Reading) -> Weighed:
    if gas.analysed_at is None:
        return missing("time of analysis")
    late = gas.analysed_at - gas.drawn_at
    words = f"analysed {late.total_seconds() / 60:.0f} min after drawing"
    return supports(words, *_on(reading)) if late > LATE_ANALYSIS else speaks_against(words, *_on(reading))


def _attempts(gas: BloodGas, reading: Reading) -> Weighed:
    if isinstance(gas.failed_attempts, NotRecorded):
        return missing("failed attempts")
    words = f"{gas.failed_attempts} failed attempts"
    several = gas.failed_attempts >= SEVERAL_ATTEMPTS
    return supports(words, *_on(reading)) if several else speaks_against(words, *_on(reading))


def _triple(gas: BloodGas, reading: Reading) -> Weighed:
    if gas.hco3_mmol_l is None or gas.hco3_kind != BicarbonateKind.ACTUAL:
        return missing("actual bicarbonate as printed")
    status = consistency(float(gas.ph), gas.pco2.kpa, float(gas.hco3_mmol_l))
    words = f"pH {gas.ph}, PCO2 {gas.pco2} and bicarbonate {gas.hco3_mmol_l} mmol/L: {status}"
    fits = status == Consistency.CONSISTENT
    return speaks_against(words, *_on(reading)) if fits else supports(words, *_on(reading))


def _possible_po2(gas: BloodGas, reading: Reading) -> Weighed:
    if gas.po2 is None or gas.state.on_oxygen is not False:
        return NOTHING
    inspired = inspired_po2_kpa(ROOM_AIR_FIO2, STANDARD_ATMOSPHERE_KPA)
    words = f"PO2 {gas.po2} on air"
    possible = pao2_is_possible(inspired, gas.pco2.kpa, gas.po2.kpa)
    if possible:
        return speaks_against(f"{words} can be", *_on(reading))
    return supports(f"{words} cannot be: air bubble, or oxygen was on", *_on(reading))


def other_conditions(pair: Pair) -> Weighed:
    """A3: on or off the mask, other oxygen, other time of day, lying."""
    now, before = _state(pair.last), _state(pair.previous)
    if now is None or before is None:
        return missing("conditions at a night's reading beyond the ventilator and oxygen")
    same = () if pair.like_for_like else (supports(pair.why_not),)
    looks = (
        *same,
        _ventilator(now, before),
        _just_changed(now, pair.last),
        _oxygen(now, before),
        _same_word("position", now.position, before.position, Position.NOT_RECORDED),
        _same_word("awake or asleep", now.wakefulness, before.wakefulness, Wakefulness.NOT_RECORDED),
        _same_word("rest", now.rest, before.rest, Rest.NOT_RECORDED),
        _clock(pair),
    )
    return joined(looks)


def _ventilator(now: SamplingState, before: SamplingState) -> Weighed:
    return _same_word("ventilator", now.ventilator, before.ventilator, VentilatorState.NOT_RECORDED)


def _same_word(name: str, now: str, before: str, unknown: str) -> Weighed:
    if unknown in {now, before}:
        return missing(f"{name} at one of the readings")
    words = f"{name}: {now}, before {before}" if now != before else f"{name}: {now} both times"
    return speaks_against(words) if now == before else supports(words)


def _just_changed(state: SamplingState, reading: Reading) -> Weighed:
    minutes = state.minutes_in_state
    if isinstance(minutes, NotRecorded):
        return missing("minutes on or off the mask")
    words = f"{minutes} min in the state at sampling"
    return supports(words, *_on(reading)) if minutes < STEADY_MINUTES else speaks_against(words)


def _oxygen(now: SamplingState, before: SamplingState) -> Weighed:
    if isinstance(now.oxygen_l_min, NotRecorded) or isinstance(before.oxygen_l_min, NotRecorded):
        return missing("oxygen flow at one of the readings")
    words = f"oxygen {now.oxygen_l_min} L/min, before {before.oxygen_l_min}"
    apart = abs(now.oxygen_l_min - before.oxygen_l_min) >= OXYGEN_APART_L_MIN
    return supports(words) if apart else speaks_against(words)


def _clock(pair: Pair) -> Weighed:
    times = [_local_hour(reading) for reading in (pair.last, pair.previous)]
    now, before = times
    if now is None or before is None:
        return NOTHING
    apart = min(abs(now - before), 24.0 - abs(now - before))
    words = f"taken at {now:.0f} h, before at {before:.0f} h"
    return supports(words) if apart > HOURS_APART else speaks_against(words)


def sensor(pair: Pair) -> Weighed:
    """A4: drift of a transcutaneous sensor, low temperature, bad site."""
    if pair.last.gas is not None:
        return speaks_against("a blood gas, not a transcutaneous reading")
    record = pair.last.spot or pair.last.night
    if record is None:
        return missing("how the reading was taken")
    drift = _drift(record.record.drift_correction, pair.last)
    if pair.last.spot is None:
        return drift + missing("temperature of the sensor and a paired blood gas")
    warm = pair.last.spot.record.sensor_temperature_c
    if warm is None:
        return drift + missing("temperature of the sensor")
    words = f"sensor at {warm} C"
    return drift + (supports(words) if warm < WARM_SENSOR_C else speaks_against(words))


def _drift(correction: DriftCorrection, reading: Reading) -> Weighed:
    if correction == DriftCorrection.NOT_RECORDED:
        return missing("whether drift was corrected")
    words = f"drift correction: {correction.value}"
    corrected = correction == DriftCorrection.TWO_POINT
    return speaks_against(words, *_on(reading)) if corrected else supports(words, *_on(reading))


def slip(pair: Pair) -> Weighed:
    """A5: a unit, person or date error."""
    jump = pair.last.kpa / pair.previous.kpa
    words = f"the last value is {jump:.2f} times the one before"
    step = supports(words) if jump > 2.0 or jump < 0.5 else speaks_against(words)  # noqa: PLR2004 - a doubling
    held = pair.last.gas
    if held is None:
        return step
    gas = held.record
    if gas.hco3_mmol_l is None:
        return step + missing("bicarbonate, which would show a unit slip")
    found = unit_slip(float(gas.ph), gas.pco2.kpa, float(gas.hco3_mmol_l))
    unit = (
        speaks_against("pH and bicarbonate fit the unit of the PCO2", *_on(pair.last))
        if found == UnitSlip.NONE
        else supports(f"pH and bicarbonate fit the other pressure unit ({found})", *_on(pair.last))
    )
    return step + unit + missing("whether the slip was read back against name and date")


def _state(reading: Reading) -> SamplingState | None:
    if reading.gas is not None:
        return reading.gas.record.state
    return None if reading.spot is None else reading.spot.record.state


def _local_hour(reading: Reading) -> float | None:
    if reading.gas is not None:
        moment = local(reading.gas.record.drawn_at, reading.gas.record.zone)
    elif reading.spot is not None:
        moment = local(reading.spot.record.read_at, reading.spot.record.zone)
    else:
        return None
    return moment.hour + moment.minute / 60.0


def _on(reading: Reading) -> tuple[Basis, ...]:
    held = reading.gas
    return () if held is None else (basis(held, gas_words(held)),)
