"""A small store of invented people for the journeys through the pages."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from hvmon.records.base import Pressure
from hvmon.records.gas import BloodGas, SamplingState
from hvmon.records.person import Identity, Person
from hvmon.records.settings import Program, SettingsChange
from hvmon.store.store import Store
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
    FilterKind,
    HeightMethod,
    Interface,
    Position,
    Rest,
    Role,
    SampleKind,
    SampleReason,
    SampleSite,
    Sex,
    TemperatureCorrection,
    TestKind,
    Trigger,
    VentilatorMode,
    VentilatorState,
    Wakefulness,
)

TODAY = date(2026, 6, 15)
ZONE = "Europe/London"
ANNA, BRAM = "anna0000anna0000", "bram0000bram0000"
HOSTILE = (
    "![x](http://127.0.0.1:9/leak) <script>alert(1)</script> **bold** :red[x] $x$ [a](http://127.0.0.1:9)"
)

PROGRAM = Program(
    mode=VentilatorMode.SPONTANEOUS_TIMED,
    ipap_cmh2o=Decimal(18),
    epap_cmh2o=Decimal(6),
    backup_rate_min=Decimal(14),
    inspiratory_time_s=Decimal("1.2"),
    trigger=Trigger.MEDIUM,
    oxygen_l_min=Decimal(1),
    interface=Interface.ORONASAL_MASK,
    circuit=Circuit.SINGLE_LIMB_PORT,
    filter_kind=FilterKind.BACTERIAL,
)


def identity(key: str, name: str, number: str, born: date) -> Identity:
    return Identity(
        person_key=key, local_id=number, second_identifier=f"NHS-{number}", name=name, date_of_birth=born
    )


def person(key: str, group: DiagnosisGroup, *, goals: str = "") -> Person:
    return Person(
        person_key=key,
        sex=Sex.FEMALE,
        diagnosis_group=group,
        dependence=Dependence.NIGHT_ONLY,
        height_cm=Decimal(164),
        height_method=HeightMethod.STANDING,
        has_lung_disease=True,
        ventilation_started=date(2024, 3, 1),
        spo2_target_low_pct=88,
        spo2_target_high_pct=92,
        home_oxygen=True,
        tracheostomy=False,
        goals_of_care=goals,
        zone=ZONE,
        invented=True,
    )


def gas(key: str, days_ago: int, pco2: str, *, ph: str = "7.37", hco3: str = "30.1") -> BloodGas:
    noon = datetime(TODAY.year, TODAY.month, TODAY.day, 10, 30, tzinfo=UTC)
    return BloodGas(
        person_key=key,
        drawn_at=noon - timedelta(days=days_ago),
        zone=ZONE,
        kind=SampleKind.CAPILLARY_EARLOBE,
        site=SampleSite.EARLOBE,
        state=SamplingState(
            ventilator=VentilatorState.OFF,
            minutes_in_state=45,
            oxygen_l_min=Decimal(1),
            minutes_since_oxygen_change=NOT_RECORDED,
            position=Position.SITTING,
            rest=Rest.AT_REST,
            wakefulness=Wakefulness.AWAKE,
            reason=SampleReason.ROUTINE,
        ),
        ph=Decimal(ph),
        pco2=Pressure(value=Decimal(pco2), unit=PressureUnit.KPA),
        hco3_mmol_l=Decimal(hco3),
        hco3_kind=BicarbonateKind.ACTUAL,
        be_kind=BaseExcessKind.NOT_RECORDED,
        temperature_correction=TemperatureCorrection.NONE_37C,
        failed_attempts=0,
        recorded_by="N. Invented",
    )


def change(key: str, days_ago: int) -> SettingsChange:
    noon = datetime(TODAY.year, TODAY.month, TODAY.day, 9, 0, tzinfo=UTC)
    return SettingsChange(
        person_key=key,
        changed_at=noon - timedelta(days=days_ago),
        zone=ZONE,
        changed_by="P. Invented",
        role=Role.PHYSICIAN,
        why="initiation after the night study",
        kind=ChangeKind.INITIATION,
        urgency=ChangeUrgency.ELECTIVE,
        owed_test=TestKind.DAY_GAS,
        owed_by=TODAY - timedelta(days=days_ago - 42),
        program_1=PROGRAM,
    )


def one_like_anna(key: str, name: str, number: str) -> tuple:
    """Somebody with COPD, ordered settings and two gases."""
    return (
        identity(key, name, number, date(1952, 2, 3)),
        person(key, DiagnosisGroup.COPD, goals="No intubation; home first"),
        change(key, 400),
        gas(key, 200, "6.9"),
        gas(key, 100, "6.7"),
    )


def records() -> tuple:
    return (
        *one_like_anna(ANNA, "Anna Invented", "H1001"),
        identity(BRAM, HOSTILE, "H1002", date(1990, 12, 24)),
        person(BRAM, DiagnosisGroup.DUCHENNE, goals=HOSTILE),
    )


def build(path: Path) -> Path:
    """Make the store file."""
    now = datetime(2026, 6, 1, 9, 0, tzinfo=UTC)
    with Store.open(path, create=True) as store:
        store.save_all(records(), actor="N. Invented", request_id="invented", now=now)
    return path
