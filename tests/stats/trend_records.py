"""Builders of invented records for the tests of series, changes, symptoms and replay."""

from datetime import date, timedelta
from decimal import Decimal

from trend_people import START, after

from hvmon.records.base import Pressure
from hvmon.records.course import ClinicalEvent, NightlyUse, Weight
from hvmon.records.dossier import Dossier
from hvmon.records.gas import BloodGas, SamplingState, SpotTranscutaneous
from hvmon.records.held import Held
from hvmon.records.person import Person
from hvmon.records.settings import Program, SettingsChange
from hvmon.records.study import NightSummary
from hvmon.records.symptoms import SymptomReport
from hvmon.units import PressureUnit
from hvmon.vocabulary import (
    NOT_RECORDED,
    BaseExcessKind,
    BicarbonateKind,
    ChangeKind,
    ChangeUrgency,
    Circuit,
    Dependence,
    DiagnosisGroup,
    DriftCorrection,
    FilterKind,
    FlapTest,
    HeightMethod,
    Informant,
    Interface,
    LeakKind,
    Position,
    RecordStatus,
    Rest,
    Role,
    SampleKind,
    SampleReason,
    SampleSite,
    SensorSite,
    Sex,
    TemperatureCorrection,
    TestKind,
    Trigger,
    VentilatorMode,
    VentilatorState,
    Wakefulness,
)

KEY = "invented-person"


def kpa(value):
    return Pressure(value=Decimal(str(round(value, 2))), unit=PressureUnit.KPA)


def person(**more):
    facts = {
        "person_key": KEY,
        "sex": Sex.FEMALE,
        "diagnosis_group": DiagnosisGroup.COPD,
        "dependence": Dependence.NIGHT_ONLY,
        "height_cm": NOT_RECORDED,
        "height_method": HeightMethod.NOT_RECORDED,
        "has_lung_disease": True,
        "ventilation_started": NOT_RECORDED,
        "home_oxygen": False,
        "tracheostomy": False,
        "zone": "Europe/London",
        "invented": True,
    }
    return Person(**(facts | more))


def state(**more):
    facts = {
        "ventilator": VentilatorState.OFF,
        "minutes_in_state": 60,
        "oxygen_l_min": Decimal(0),
        "minutes_since_oxygen_change": NOT_RECORDED,
        "position": Position.SITTING,
        "rest": Rest.AT_REST,
        "wakefulness": Wakefulness.AWAKE,
        "reason": SampleReason.ROUTINE,
    }
    return SamplingState(**(facts | more))


SITE = {
    SampleKind.ARTERIAL: SampleSite.RADIAL,
    SampleKind.CAPILLARY_EARLOBE: SampleSite.EARLOBE,
    SampleKind.CAPILLARY_FINGERTIP: SampleSite.FINGERTIP,
    SampleKind.VENOUS: SampleSite.ARM_VEIN,
}


def gas(day, value, *, kind=SampleKind.ARTERIAL, hco3=None, ph="7.38", corrected=False, **circumstances):
    return BloodGas(
        person_key=KEY,
        drawn_at=after(day),
        zone="UTC",
        kind=kind,
        site=SITE[kind],
        state=state(**circumstances),
        ph=Decimal(ph),
        pco2=kpa(value),
        hco3_mmol_l=None if hco3 is None else Decimal(str(hco3)),
        hco3_kind=BicarbonateKind.NOT_RECORDED,
        be_kind=BaseExcessKind.NOT_RECORDED,
        temperature_correction=TemperatureCorrection.CORRECTED
        if corrected
        else TemperatureCorrection.NONE_37C,
        failed_attempts=NOT_RECORDED,
        recorded_by="nurse",
    )


def spot(day, value, *, site=SensorSite.EARLOBE, **circumstances):
    return SpotTranscutaneous(
        person_key=KEY,
        read_at=after(day),
        zone="UTC",
        site=site,
        state=state(**circumstances),
        ptcco2=kpa(value),
        minutes_since_applied=30,
        drift_correction=DriftCorrection.NONE,
        recorded_by="nurse",
    )


def night(day, value, *, valid_s=6 * 3600, ventilator=VentilatorState.ON, site=SensorSite.EARLOBE):
    start = after(day) + timedelta(hours=13)
    return NightSummary(
        person_key=KEY,
        night_of=start.date(),
        started_at=start,
        ended_at=start + timedelta(hours=8),
        zone="UTC",
        ventilator=ventilator,
        oxygen_l_min=Decimal(0),
        reason=SampleReason.ROUTINE,
        valid_s=8 * 3600,
        averaging_s=NOT_RECORDED,
        tcco2_median=kpa(value),
        tcco2_valid_s=valid_s,
        sensor_site=site,
        drift_correction=DriftCorrection.TWO_POINT,
        recorded_by="nurse",
    )


def change(day, kind=ChangeKind.ESCALATION, *, ipap="18", epap="6", rate="14"):
    return SettingsChange(
        person_key=KEY,
        changed_at=after(day),
        zone="UTC",
        changed_by="physician",
        role=Role.PHYSICIAN,
        why="titration review",
        kind=kind,
        urgency=ChangeUrgency.ELECTIVE,
        owed_test=TestKind.NONE,
        program_1=Program(
            mode=VentilatorMode.SPONTANEOUS_TIMED,
            ipap_cmh2o=Decimal(ipap),
            epap_cmh2o=Decimal(epap),
            backup_rate_min=Decimal(rate),
            trigger=Trigger.NOT_RECORDED,
            oxygen_l_min=NOT_RECORDED,
            interface=Interface.NOT_RECORDED,
            circuit=Circuit.NOT_RECORDED,
            filter_kind=FilterKind.NOT_RECORDED,
        ),
    )


def symptoms(
    day, *, headache=NOT_RECORDED, sleepiness=NOT_RECORDED, breathless=NOT_RECORDED, flap=FlapTest.NOT_TESTED
):
    return SymptomReport(
        person_key=KEY,
        asked_at=after(day),
        zone="UTC",
        morning_headache=headache,
        daytime_sleepiness=sleepiness,
        sleep_quality=NOT_RECORDED,
        breathlessness=breathless,
        poor_concentration=NOT_RECORDED,
        pins_and_needles=NOT_RECORDED,
        answered_by=Informant.SELF,
        flap=flap,
        new_drowsiness_or_confusion=NOT_RECORDED,
        recorded_by="nurse",
    )


def use(day, hours, leak=None):
    return NightlyUse(
        person_key=KEY,
        night_of=after(day).date(),
        usage_h=Decimal(str(hours)),
        leak_l_min=None if leak is None else Decimal(str(leak)),
        leak_kind=LeakKind.NOT_RECORDED if leak is None else LeakKind.UNINTENTIONAL_MEDIAN,
    )


def weight(day, kg):
    return Weight(person_key=KEY, weighed_on=after(day).date(), weight_kg=Decimal(str(kg)), estimated=False)


def event(day, kind, **more):
    return ClinicalEvent(
        person_key=KEY, happened_on=after(day).date(), kind=kind, recorded_by="nurse", **more
    )


def held(record, *, record_id, version=1, status=RecordStatus.FINAL, seq=1, recorded_day=None):
    moment = START if recorded_day is None else after(recorded_day) + timedelta(hours=1)
    return Held(record_id, version, status, seq, moment, "nurse", "", record)


FIELDS = {
    BloodGas: "blood_gas",
    SpotTranscutaneous: "spot_transcutaneous",
    NightSummary: "night_summary",
    SettingsChange: "settings_change",
    SymptomReport: "symptom_report",
    NightlyUse: "nightly_use",
    Weight: "weight",
    ClinicalEvent: "clinical_event",
}


def dossier(*records, **who):
    parts = {}
    for i, record in enumerate(records):
        parts.setdefault(FIELDS[type(record)], []).append(held(record, record_id=f"x{i}", seq=i + 1))
    return Dossier(KEY, person(**who), **{name: tuple(part) for name, part in parts.items()})


def day_of(day) -> date:
    return after(day).date()
