"""Questions about a blood gas or a spot transcutaneous value: slips of unit, sample and transcription."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from decimal import Decimal

from hvmon.physiology.acid_base import (
    Consistency,
    UnitSlip,
    bicarbonate_mmol_l,
    consistency,
    slip_ratio,
    unit_slip,
)
from hvmon.physiology.alveolar_gas import inspired_po2_kpa, pao2_is_possible
from hvmon.physiology.base_excess import (
    base_excess_blood_mmol_l,
    base_excess_extracellular_mmol_l,
    standard_bicarbonate_mmol_l,
)
from hvmon.records.base import Pressure
from hvmon.records.dossier import Dossier, local
from hvmon.records.gas import BloodGas, SamplingState, SpotTranscutaneous
from hvmon.rules.entry_question import EntryQuestion, question
from hvmon.rules.looks_venous import USUAL_HB_G_DL, estimated_so2_pct, gap_points
from hvmon.stats.likeforlike import reference_change
from hvmon.units import STANDARD_ATMOSPHERE_KPA, PressureUnit
from hvmon.vocabulary import (
    BaseExcessKind,
    BicarbonateKind,
    NotRecorded,
    SampleKind,
    SensorSite,
    VentilatorState,
)

STANDARD_WITHIN_MMOL_L = 1.0
"""[mmol/L] a bicarbonate this near the standard one, far from the actual, is the standard one (Project)."""
BASE_EXCESS_WITHIN_MMOL_L = Decimal(3)
"""[mmol/L] twice the largest mean error between published forms (LangZander2002, Project)."""
IMPLIED_HCO3_MMOL_L = (8.0, 60.0)
"""[mmol/L] bicarbonate implied by pH and PCO2 outside it makes a unit slip likely (Project)."""
LIKELY_HCO3_MMOL_L = (12.0, 55.0)
ROOM_AIR = 0.209
PURE_OXYGEN = 1.0
ANALYSE_WITHIN = timedelta(minutes=30)
"""Longer from drawing to analysis and PCO2 and PO2 move (Cuhadar2022; the time is Practice)."""
STEADY_MINUTES = 20
OXYGEN_STEADY_MINUTES = 30
SLIP_RATIO = (5.0, 11.0)
"""Ratio of two PCO2 of one person that only a slip between the pressure units leaves (Project)."""
_FACTOR = Decimal("7.500617")


def gas_questions(gas: BloodGas, dossier: Dossier | None) -> Iterator[EntryQuestion]:
    """Ask about everything in one gas that is unlikely."""
    slipped = list(_unit_slip(gas))
    yield from slipped
    if not slipped:  # what else such a PCO2 contradicts is the same slip
        yield from _triple(gas)
        yield from _base_excess(gas)
        yield from _oxygen(gas)
    yield from _saturation(gas)
    yield from _delay(gas)
    yield from state_questions(gas.state)
    if dossier is not None:
        yield from _far_from_own(gas, dossier)
        yield from _same_day_change(gas.drawn_at, gas.zone, "drawn_at", dossier)


# --- pH, PCO2, bicarbonate ----------------------------------------------------------------------------


def _unit_slip(gas: BloodGas) -> Iterator[EntryQuestion]:
    """Ask when the PCO2 looks like a number of the other pressure unit."""
    if gas.hco3_mmol_l is not None:
        label = unit_slip(float(gas.ph), gas.pco2.kpa, float(gas.hco3_mmol_l))
        slip = label if isinstance(label, UnitSlip) else UnitSlip.NONE
        ratio = slip_ratio(float(gas.ph), gas.pco2.kpa, float(gas.hco3_mmol_l))
        why = f"is {ratio:.2f} times what pH {gas.ph} and bicarbonate {gas.hco3_mmol_l} imply"
    else:
        slip, why = _slip_without_bicarbonate(gas)
    if slip == UnitSlip.NONE:
        return
    other = PressureUnit.MMHG if slip == UnitSlip.MMHG_IN_KPA_FIELD else PressureUnit.KPA
    words = {
        UnitSlip.MMHG_IN_KPA_FIELD: "mmHg typed as kPa",
        UnitSlip.KPA_IN_MMHG_FIELD: "kPa typed as mmHg",
    }[slip]
    meant = Pressure(value=gas.pco2.value, unit=_meant_unit(gas.pco2.unit, other))
    yield question("gas.unit_slip", "pco2", gas.pco2, f"near {_implied(gas, meant)}", words, why)


def _meant_unit(unit: PressureUnit, other: PressureUnit) -> PressureUnit:
    if unit != other:
        return other
    return PressureUnit.KPA if unit == PressureUnit.MMHG else PressureUnit.MMHG


def _implied(gas: BloodGas, meant: Pressure) -> str:
    """Read the typed number in the other unit and show it in the unit of the field."""
    value = meant.in_unit(gas.pco2.unit)
    return f"{value:.1f} {gas.pco2.unit}"


def _slip_without_bicarbonate(gas: BloodGas) -> tuple[UnitSlip, str]:
    """Judge by the bicarbonate that pH and PCO2 imply, as typed and in the other unit."""
    as_typed = bicarbonate_mmol_l(float(gas.ph), gas.pco2.kpa)
    why = f"with pH {gas.ph} implies a bicarbonate of {as_typed:.0f} mmol/L"
    low, high = LIKELY_HCO3_MMOL_L
    if as_typed > IMPLIED_HCO3_MMOL_L[1]:
        down = bicarbonate_mmol_l(float(gas.ph), gas.pco2.kpa / float(_FACTOR))
        return (UnitSlip.MMHG_IN_KPA_FIELD if low <= down <= high else UnitSlip.NONE), why
    if as_typed < IMPLIED_HCO3_MMOL_L[0]:
        up = bicarbonate_mmol_l(float(gas.ph), gas.pco2.kpa * float(_FACTOR))
        return (UnitSlip.KPA_IN_MMHG_FIELD if low <= up <= high else UnitSlip.NONE), why
    return UnitSlip.NONE, why


def _triple(gas: BloodGas) -> Iterator[EntryQuestion]:
    """Ask when pH, PCO2 and bicarbonate cannot belong to one gas."""
    if gas.hco3_mmol_l is None:
        return
    hco3, ph, kpa = float(gas.hco3_mmol_l), float(gas.ph), gas.pco2.kpa
    hb = float(gas.hb_g_dl) if gas.hb_g_dl is not None else USUAL_HB_G_DL
    standard = standard_bicarbonate_mmol_l(ph, kpa, hb)
    actual = bicarbonate_mmol_l(ph, kpa)
    if gas.hco3_kind == BicarbonateKind.STANDARD:
        expected, kind = standard, "standard"
        bad = consistency_of(hco3, standard)
    else:
        expected, kind = actual, "actual"
        bad = bool(consistency(ph, kpa, hco3) != Consistency.CONSISTENT)
    if not bad:
        return
    accepted = f"{kind} {expected:.1f} mmol/L within 1 mmol/L or 5 %"
    slip = "one wrong or transposed digit in pH, PCO2 or bicarbonate"
    if gas.hco3_kind != BicarbonateKind.STANDARD and abs(hco3 - standard) <= STANDARD_WITHIN_MMOL_L:
        slip = "standard bicarbonate typed as actual"
    why = f"does not fit pH {gas.ph} and PCO2 {gas.pco2}"
    yield question("gas.triple", "hco3_mmol_l", gas.hco3_mmol_l, accepted, slip, why)


def consistency_of(given: float, expected: float) -> bool:
    """Whether a standard bicarbonate is further than 1 mmol/L and 5 % from the expected one."""
    difference = abs(given - expected)
    return difference > STANDARD_WITHIN_MMOL_L and difference > 0.05 * expected


def _base_excess(gas: BloodGas) -> Iterator[EntryQuestion]:
    """Ask when the printed base excess is far from the one pH and PCO2 give, in the kind it is."""
    if gas.be_mmol_l is None:
        return
    ph, hco3 = float(gas.ph), bicarbonate_mmol_l(float(gas.ph), gas.pco2.kpa)
    hb = float(gas.hb_g_dl) if gas.hb_g_dl is not None else USUAL_HB_G_DL
    both = {
        BaseExcessKind.BLOOD: base_excess_blood_mmol_l(ph, hco3, hb),
        BaseExcessKind.EXTRACELLULAR: base_excess_extracellular_mmol_l(ph, hco3),
    }
    own = [both[gas.be_kind]] if gas.be_kind in both else list(both.values())
    nearest = min(own, key=lambda value: abs(float(gas.be_mmol_l or 0) - value))
    if abs(float(gas.be_mmol_l) - nearest) <= BASE_EXCESS_WITHIN_MMOL_L:
        return
    sign = abs(float(gas.be_mmol_l) + nearest) <= BASE_EXCESS_WITHIN_MMOL_L
    slip = "a lost minus sign" if sign else "bicarbonate or the other kind of base excess typed here"
    yield question(
        "gas.base_excess",
        "be_mmol_l",
        gas.be_mmol_l,
        f"{nearest:.1f} within 3 mmol/L",
        slip,
        f"does not fit pH {gas.ph} and PCO2 {gas.pco2}",
    )


# --- oxygen -------------------------------------------------------------------------------------------


def _oxygen(gas: BloodGas) -> Iterator[EntryQuestion]:
    """Ask about a PO2 that the inspired oxygen cannot give."""
    flow, fio2 = gas.state.oxygen_l_min, gas.state.fio2
    if fio2 is not None and not isinstance(flow, NotRecorded) and flow == 0 and fio2 > Decimal("0.22"):
        yield question(
            "gas.fio2_on_air",
            "state_fio2",
            fio2,
            "0.21 on air",
            "oxygen flow not typed",
            "is above air while the oxygen flow is 0",
        )
    if gas.po2 is None or gas.kind == SampleKind.VENOUS:
        return
    fraction = _fraction(gas.state)
    inspired = inspired_po2_kpa(fraction, STANDARD_ATMOSPHERE_KPA)
    if pao2_is_possible(inspired, gas.pco2.kpa, gas.po2.kpa):
        return
    most = max(0.0, inspired - gas.pco2.kpa + 1.0)
    shown = (
        f"at most {most:.1f} kPa ({most * float(_FACTOR):.0f} mmHg) at an inspired fraction of {fraction:g}"
    )
    yield question(
        "gas.po2_impossible",
        "po2",
        gas.po2,
        shown,
        "mmHg typed as kPa, oxygen on but not typed, or an air bubble",
        "cannot come from the inspired oxygen given",
    )


def _fraction(state: SamplingState) -> float:
    """Inspired fraction: as typed, air when the flow is 0, pure oxygen when it is not known."""
    if state.fio2 is not None:
        return float(state.fio2)
    return ROOM_AIR if state.on_oxygen is False else PURE_OXYGEN


def _saturation(gas: BloodGas) -> Iterator[EntryQuestion]:
    """Ask when an arterial or capillary sample looks venous beside the oximeter."""
    if gas.kind == SampleKind.VENOUS or gas.spo2_pct is None:
        return
    estimates = []
    if gas.so2_pct is not None:
        estimates.append(("sample saturation", float(gas.so2_pct)))
    of_po2 = estimated_so2_pct(gas)
    if of_po2 is not None and gas.kind == SampleKind.ARTERIAL:
        estimates.append((f"saturation of PO2 {gas.po2}", of_po2))
    gap = gap_points(float(gas.spo2_pct))
    for what, value in estimates:
        if float(gas.spo2_pct) - value >= gap:
            yield question(
                "gas.looks_venous",
                "kind",
                gas.kind.value,
                f"{what} within {gap:g} points of SpO2 {gas.spo2_pct} %",
                "a venous or mixed sample typed as " + gas.kind.value,
                f"{what} is {value:.0f} % beside an oximeter reading of {gas.spo2_pct} %",
            )
            return


# --- conditions and times --------------------------------------------------------------------------------


def _delay(gas: BloodGas) -> Iterator[EntryQuestion]:
    if gas.analysed_at is not None and gas.analysed_at - gas.drawn_at > ANALYSE_WITHIN:
        minutes = (gas.analysed_at - gas.drawn_at) // timedelta(minutes=1)
        yield question(
            "gas.delay",
            "analysed_at",
            f"{minutes} min after drawing",
            "within 30 min",
            "a wrong clock time, or a sample that stood too long",
        )


def state_questions(state: SamplingState) -> Iterator[EntryQuestion]:
    """Ask about a state too short to be steady."""
    minutes = state.minutes_in_state
    if not isinstance(minutes, NotRecorded) and minutes < STEADY_MINUTES:
        yield question(
            "state.not_steady",
            "state_minutes_in_state",
            minutes,
            "20 to 30 min or more",
            "the sample was early, or hours were typed as minutes",
            "is too short since mask on or off for a steady value",
        )
    since = state.minutes_since_oxygen_change
    if state.on_oxygen and not isinstance(since, NotRecorded) and since < OXYGEN_STEADY_MINUTES:
        yield question(
            "state.oxygen_not_steady",
            "state_minutes_since_oxygen_change",
            since,
            "30 min or more",
            "the sample was early",
            "is too short since the oxygen change",
        )


def _same_day_change(moment: datetime, zone: str, field: str, dossier: Dossier) -> Iterator[EntryQuestion]:
    """Ask whether a reading of the day of a settings change was before or after it."""
    day = local(moment, zone).date()
    for held in dossier.settings_change:
        change = held.record
        if local(change.changed_at, change.zone).date() == day:
            at = local(change.changed_at, change.zone)
            which = "before" if moment < change.changed_at else "after"
            yield question(
                "gas.same_day_as_change",
                field,
                f"{local(moment, zone):%H:%M}",
                "a clock time known to be right",
                f"counted as {which} the change of {at:%H:%M}; check both times",
                "is of the day of a settings change",
            )


# --- the person's own past ----------------------------------------------------------------------------------


def _far_from_own(gas: BloodGas, dossier: Dossier) -> Iterator[EntryQuestion]:
    """Ask about a PCO2 beyond the reference change from the last gas of the same kind and conditions."""
    past = [
        held.record
        for held in dossier.blood_gas
        if held.record.drawn_at < gas.drawn_at and _alike(held.record, gas)
    ]
    if past:
        before = past[-1]
        same_day = before.drawn_at.date() == gas.drawn_at.date()
        yield from _far(gas.pco2, before.pco2, gas.kind.value, "pco2", before.drawn_at, same_day=same_day)


def _alike(one: BloodGas, other: BloodGas) -> bool:
    known = other.state.ventilator != VentilatorState.NOT_RECORDED
    flows = (one.state.oxygen_l_min, other.state.oxygen_l_min)
    same_flow = not isinstance(flows[0], NotRecorded) and flows[0] == flows[1]
    return known and one.kind == other.kind and one.state.ventilator == other.state.ventilator and same_flow


def _far(
    now: Pressure, before: Pressure, source: str, field: str, at: datetime, *, same_day: bool
) -> Iterator[EntryQuestion]:
    limit = reference_change(source, same_day=same_day)
    percent = 100 * (now.kpa - before.kpa) / before.kpa
    if limit.down_pct <= percent <= limit.up_pct:
        return
    low, high = (before.in_unit(now.unit) * (1 + part / 100) for part in (limit.down_pct, limit.up_pct))
    ratio = now.kpa / before.kpa
    slip = "wrong person, wrong kind of sample, or a real change"
    if SLIP_RATIO[0] <= ratio <= SLIP_RATIO[1] or SLIP_RATIO[0] <= 1 / ratio <= SLIP_RATIO[1]:
        slip = "the other pressure unit: the ratio is near 7.5"
    yield question(
        "own.far",
        field,
        now,
        f"{low:.1f} to {high:.1f} {now.unit}",
        slip,
        f"is far from this person's last like reading, {before} on {at.date()}",
    )


def spot_questions(spot: SpotTranscutaneous, dossier: Dossier | None) -> Iterator[EntryQuestion]:
    """Ask about everything in one spot transcutaneous value that is unlikely."""
    since = spot.minutes_since_applied
    if not isinstance(since, NotRecorded) and since < 15:  # noqa: PLR2004 - the limit of MEA-2
        yield question(
            "tc.not_settled",
            "minutes_since_applied",
            since,
            "15 min or more",
            "the sensor was read too early",
        )
    yield from state_questions(spot.state)
    if dossier is None:
        return
    past = [
        held.record
        for held in dossier.spot_transcutaneous
        if held.record.read_at < spot.read_at
        and held.record.site == spot.site
        and held.record.state.ventilator == spot.state.ventilator
    ]
    if past and spot.state.ventilator != VentilatorState.NOT_RECORDED:
        source = "tc earlobe" if spot.site == SensorSite.EARLOBE else "tc other"
        before = past[-1]
        same_day = before.read_at.date() == spot.read_at.date()
        yield from _far(spot.ptcco2, before.ptcco2, source, "ptcco2", before.read_at, same_day=same_day)
