"""Nights with their signal: keep the file, score it, join its summary to the record, compare two."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from hvmon.nights.conventions import convention
from hvmon.nights.drift import PairedGas
from hvmon.nights.results import NightScore, TcScore
from hvmon.nights.score import Circumstances, score_night
from hvmon.records.base import Pressure
from hvmon.records.dossier import Dossier
from hvmon.records.gas import BloodGas
from hvmon.records.held import Held
from hvmon.records.night_signal import NightSignal
from hvmon.records.study import NightSummary
from hvmon.store.nights import DamagedNight, NightFiles, NightState, UnknownNight
from hvmon.store.store import Saved, Store
from hvmon.units import PressureUnit
from hvmon.vocabulary import (
    DriftCorrection,
    NotRecorded,
    SampleKind,
    SampleReason,
    VentilatorState,
)

NOON_H = 12
"""[h] a recording that starts before noon belongs to the evening before."""

DIP_CONVENTION = "C1"
"""The convention whose index goes into the record; the other stands beside it on the night's page."""


@dataclass(frozen=True, slots=True)
class NightFacts:
    """What the file of a night cannot say."""

    ventilator: VentilatorState
    oxygen_l_min: Decimal | NotRecorded
    reason: SampleReason
    recorded_by: str
    awake_supine: Pressure | None = None
    correct_from_gases: bool = False
    visit_id: str | None = None


@dataclass(frozen=True, slots=True)
class OpenedNight:
    """A night of the record with its signal, or the reason why there is none."""

    held: Held[NightSummary]
    state: NightState
    signal: NightSignal | None
    score: NightScore | None
    why_not: str = ""


def night_files(store_path: Path) -> NightFiles:
    """Give the folder of nights that stands beside a store file."""
    return NightFiles(store_path.with_suffix(".nights"))


def evening_of(signal: NightSignal) -> date:
    """Give the date of the evening a night belongs to."""
    start = signal.start_local
    return start.date() - timedelta(days=1) if start.hour < NOON_H else start.date()


def gases_during(dossier: Dossier, start: datetime, end: datetime) -> tuple[PairedGas, ...]:
    """Give the gases of the record that were drawn while the sensor was on; venous ones never correct."""
    kinds = {SampleKind.ARTERIAL, SampleKind.CAPILLARY_EARLOBE}
    return tuple(
        _paired(held.record, start)
        for held in dossier.blood_gas
        if start <= held.record.drawn_at <= end and held.record.kind in kinds
    )


def _paired(gas: BloodGas, start: datetime) -> PairedGas:
    return PairedGas((gas.drawn_at - start).total_seconds(), gas.pco2.mmhg, gas.kind)


def circumstances(dossier: Dossier | None, signal: NightSignal, facts: NightFacts) -> Circumstances:
    """Give what the scoring needs beyond the file."""
    awake = facts.awake_supine.mmhg if facts.awake_supine else None
    if dossier is None or not facts.correct_from_gases:
        return Circumstances(awake_supine_mmhg=awake)
    gases = gases_during(dossier, signal.start_utc, signal.end_utc)
    return Circumstances(awake_supine_mmhg=awake, gases=gases, earlobe_allowed=True)


def summary_of(
    person_key: str, signal: NightSignal, score: NightScore, facts: NightFacts, signal_hash: str | None
) -> NightSummary:
    """Give the record of a scored night."""
    c1 = score.c1
    return NightSummary(
        person_key=person_key,
        visit_id=facts.visit_id,
        night_of=evening_of(signal),
        started_at=signal.start_utc,
        ended_at=signal.end_utc,
        zone=signal.zone,
        ventilator=facts.ventilator,
        oxygen_l_min=facts.oxygen_l_min,
        reason=facts.reason,
        valid_s=c1.valid_s,
        averaging_s=NotRecorded.NOT_RECORDED if signal.averaging_s is None else round(signal.averaging_s),
        spo2_mean_pct=_one_decimal(c1.mean),
        spo2_nadir_pct=_one_decimal(c1.nadir),
        below_90_s=c1.s_below_90,
        at_or_below_88_s=c1.s_le_88,
        longest_at_or_below_88_s=c1.longest_le_88_s,
        dips_per_h=_one_decimal(c1.odi3_c1),
        dip_size_pct=None if c1.odi3_c1 is None else 3,
        dip_convention="" if c1.odi3_c1 is None else _convention_words(),
        sensor_site=signal.sensor_site,
        drift_correction=score.drift.method if score.drift else DriftCorrection.NONE,
        signal_hash=signal_hash,
        recorded_by=facts.recorded_by,
        **_tc_fields(score.tc_corrected or score.tc_raw, signal.tcco2_unit),
    )


def _convention_words() -> str:
    return convention(DIP_CONVENTION).name


def _one_decimal(value: float | None) -> Decimal | None:
    return None if value is None else Decimal(f"{value:.1f}")


def _pressure(mmhg: float | None, unit: PressureUnit | None) -> Pressure | None:
    """Give a summary value in the unit the device wrote: a tenth of kPa or of mmHg."""
    if mmhg is None:
        return None
    exact = Pressure(value=Decimal(f"{mmhg:.1f}"), unit=PressureUnit.MMHG)
    if unit == PressureUnit.KPA:
        return Pressure(value=Decimal(f"{exact.kpa:.2f}"), unit=PressureUnit.KPA)
    return exact


def _tc_fields(score: TcScore | None, unit: PressureUnit | None) -> dict[str, Any]:
    if score is None or score.tc_mean is None:
        return {}
    return {
        "tcco2_awake_supine": _pressure(score.tc_awake, unit),
        "tcco2_mean": _pressure(score.tc_mean, unit),
        "tcco2_median": _pressure(score.tc_median, unit),
        "tcco2_peak": _pressure(score.tc_max_sustained, unit),
        "tcco2_valid_s": score.valid_s,
        "tcco2_above_49_mmhg_s": score.tc_s_gt_49,
        "tcco2_above_50_mmhg_s": score.tc_s_gt_50,
        "tcco2_above_55_mmhg_s": score.tc_s_gt_55,
        "tcco2_longest_above_55_mmhg_s": score.tc_longest_gt_55_s,
        "tcco2_longest_risen_10_above_50_mmhg_s": score.tc_longest_gt_50_and_rise_10_s,
    }


def save_night(
    store: Store,
    files: NightFiles,
    *,
    person_key: str,
    signal: NightSignal,
    original: bytes | None,
    facts: NightFacts,
    request_id: str,
    now: datetime,
) -> Saved:
    """Keep the original and the signal, score it, and save its summary; the same night again adds nothing.

    The files are written and synced first, the record last: a fault in between leaves at most a file that
    no record names.

    Raises
    ------
    StoreError
        Nothing was added to the record; the message says why.
    """
    score = score_night(signal, circumstances(store.dossier(person_key), signal, facts))
    if original is not None:
        files.save_original(original)
    summary = summary_of(person_key, signal, score, facts, files.save(signal))
    return store.save(summary, actor=facts.recorded_by, request_id=request_id, now=now)


def scored_summary(
    dossier: Dossier, signal: NightSignal, record: NightSummary, signal_hash: str
) -> NightSummary:
    """Give a typed night's record anew, scored from its recording."""
    facts = _facts_of(record)
    score = score_night(signal, circumstances(dossier, signal, facts))
    return summary_of(record.person_key, signal, score, facts, signal_hash)


def nights_with_signal(dossier: Dossier) -> tuple[Held[NightSummary], ...]:
    """Give the nights of a person that have a stored signal, in order of time."""
    return tuple(held for held in dossier.night_summary if held.record.signal_hash)


def open_night(files: NightFiles, dossier: Dossier, held: Held[NightSummary]) -> OpenedNight:
    """Read a night and score it; a damaged one is named and never used."""
    key = held.record.signal_hash
    if key is None:
        return OpenedNight(held, NightState.ABSENT, None, None, "typed from a report; no signal is stored")
    try:
        signal = files.load(key)
    except DamagedNight as error:
        return OpenedNight(held, NightState.DAMAGED, None, None, str(error))
    except UnknownNight as error:
        return OpenedNight(held, NightState.ABSENT, None, None, str(error))
    facts = _facts_of(held.record)
    return OpenedNight(
        held, NightState.SOUND, signal, score_night(signal, circumstances(dossier, signal, facts))
    )


def _facts_of(record: NightSummary) -> NightFacts:
    return NightFacts(
        record.ventilator,
        record.oxygen_l_min,
        record.reason,
        record.recorded_by,
        record.tcco2_awake_supine,
        correct_from_gases=record.drift_correction != DriftCorrection.NONE,
        visit_id=record.visit_id,
    )
