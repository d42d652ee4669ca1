"""Builders of invented people and readings for the tests of this room."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from hvmon.records.base import Pressure
from hvmon.records.course import ClinicalEvent, LungFunction, NightlyUse, Visit, Weight
from hvmon.records.dossier import Dossier, dated
from hvmon.records.gas import BloodGas, SamplingState, SpotTranscutaneous
from hvmon.records.held import Held
from hvmon.records.kinds import KIND_OF_MODEL
from hvmon.records.person import Identity, Person
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
    EventKind,
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
    VisitPlace,
    Wakefulness,
)

KEY = "invented-1"
ZONE = "Europe/London"
TODAY = date(2026, 3, 10)
HOME = {"person_key": KEY, "zone": ZONE}
SITES = {
    SampleKind.ARTERIAL: SampleSite.RADIAL,
    SampleKind.VENOUS: SampleSite.ARM_VEIN,
    SampleKind.CAPILLARY_EARLOBE: SampleSite.EARLOBE,
    SampleKind.CAPILLARY_FINGERTIP: SampleSite.FINGERTIP,
}


def pressure(value: str, unit: str) -> Pressure:
    return Pressure(value=Decimal(value), unit=PressureUnit(unit))


def at(day: date, hour: int = 10, minute: int = 0) -> datetime:
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=UTC)


def state(**changes: Any) -> SamplingState:
    usual = {
        "ventilator": VentilatorState.OFF,
        "minutes_in_state": 60,
        "oxygen_l_min": Decimal(0),
        "minutes_since_oxygen_change": NOT_RECORDED,
        "position": Position.SITTING,
        "rest": Rest.AT_REST,
        "wakefulness": Wakefulness.AWAKE,
        "reason": SampleReason.ROUTINE,
    }
    return SamplingState(**(usual | changes))


_STATE = set(SamplingState.model_fields)


def gas(value: str = "6.0", unit: str = "kPa", day: date = date(2026, 3, 1), **changes: Any) -> BloodGas:
    kind = changes.pop("kind", SampleKind.ARTERIAL)
    moment = changes.pop("drawn_at", at(day))
    conditions = {name: changes.pop(name) for name in list(changes) if name in _STATE}
    if isinstance(flow := conditions.get("oxygen_l_min"), str) and flow != NOT_RECORDED:
        conditions["oxygen_l_min"] = Decimal(flow)
    usual = {
        "drawn_at": moment,
        "kind": kind,
        "site": SITES[kind],
        "state": state(**conditions),
        "ph": Decimal("7.40"),
        "pco2": pressure(value, unit),
        "hco3_kind": BicarbonateKind.ACTUAL,
        "be_kind": BaseExcessKind.EXTRACELLULAR,
        "temperature_correction": TemperatureCorrection.NONE_37C,
        "failed_attempts": 0,
        "recorded_by": "Invented Nurse",
    }
    numbers = {name: Decimal(text) if type(text) is str and name != "comment" else text
               for name, text in changes.items()}  # fmt: skip
    return BloodGas(**HOME, **(usual | numbers))


def spot(value: str, unit: str, day: date = date(2026, 3, 1), **changes: Any) -> SpotTranscutaneous:
    conditions = {name: changes.pop(name) for name in list(changes) if name in _STATE}
    usual = {
        "read_at": changes.pop("read_at", at(day)),
        "site": SensorSite.EARLOBE,
        "state": state(**conditions),
        "ptcco2": pressure(value, unit),
        "minutes_since_applied": 30,
        "drift_correction": DriftCorrection.NONE,
        "recorded_by": "Invented Nurse",
    }
    return SpotTranscutaneous(**HOME, **(usual | changes))


def night(day: date = date(2026, 3, 1), **changes: Any) -> NightSummary:
    usual = {
        "night_of": day,
        "started_at": at(day, 22),
        "ended_at": at(day, 22) + timedelta(hours=8),
        "ventilator": VentilatorState.ON,
        "oxygen_l_min": Decimal(0),
        "reason": SampleReason.ROUTINE,
        "valid_s": 28800,
        "averaging_s": 3,
        "tcco2_valid_s": 28800,
        "sensor_site": SensorSite.EARLOBE,
        "drift_correction": DriftCorrection.TWO_POINT,
        "recorded_by": "Invented Physiologist",
    }
    return NightSummary(**HOME, **(usual | changes))


def report(day: date = date(2026, 3, 1), rating: int = 0, **changes: Any) -> SymptomReport:
    usual = {
        "asked_at": at(day),
        "morning_headache": rating,
        "daytime_sleepiness": 0,
        "sleep_quality": 0,
        "breathlessness": 0,
        "poor_concentration": 0,
        "pins_and_needles": 0,
        "answered_by": Informant.SELF,
        "flap": FlapTest.ABSENT,
        "new_drowsiness_or_confusion": False,
        "recorded_by": "Invented Nurse",
    }
    return SymptomReport(**HOME, **(usual | changes))


def use(
    hours: str = "8", days: int = 28, last: date = TODAY - timedelta(days=1), **changes: Any
) -> list[Any]:
    kind = changes.pop("leak_kind", LeakKind.UNINTENTIONAL_MEDIAN)
    return [
        NightlyUse(
            person_key=KEY,
            night_of=last - timedelta(days=back),
            usage_h=Decimal(hours),
            leak_kind=kind,
            **{name: Decimal(text) for name, text in changes.items()},
        )
        for back in reversed(range(days))
    ]


def event(kind: EventKind, day: date, **changes: Any) -> ClinicalEvent:
    return ClinicalEvent(person_key=KEY, happened_on=day, kind=kind, recorded_by="Invented Nurse", **changes)


def visit(day: date, **changes: Any) -> Visit:
    usual = {"started_at": at(day), "place": VisitPlace.HOME, "recorded_by": "Invented Nurse",
             "role": Role.NURSE, "reason": "routine"}  # fmt: skip
    return Visit(**HOME, **(usual | changes))


def lung(day: date = date(2026, 2, 1), **values: str) -> LungFunction:
    return LungFunction(
        person_key=KEY, tested_on=day, **{name: Decimal(text) for name, text in values.items()}
    )


def weight(day: date, kilograms: str) -> Weight:
    return Weight(person_key=KEY, weighed_on=day, weight_kg=Decimal(kilograms), estimated=False)


def program(ipap: str = "20", **changes: Any) -> Program:
    usual = {
        "mode": VentilatorMode.SPONTANEOUS_TIMED,
        "ipap_cmh2o": Decimal(ipap),
        "epap_cmh2o": Decimal(5),
        "backup_rate_min": Decimal(14),
        "trigger": Trigger.MEDIUM,
        "oxygen_l_min": Decimal(0),
        "interface": Interface.ORONASAL_MASK,
        "circuit": Circuit.SINGLE_LIMB_PORT,
        "filter_kind": FilterKind.NONE,
    }
    return Program(**(usual | changes))


def change(day: date, test: TestKind = TestKind.DAY_GAS, hour: int = 12, **changes: Any) -> SettingsChange:
    usual = {
        "changed_at": at(day, hour),
        "changed_by": "Invented Physician",
        "role": Role.PHYSICIAN,
        "why": "review",
        "kind": ChangeKind.ESCALATION,
        "urgency": ChangeUrgency.ELECTIVE,
        "owed_test": test,
        "program_1": program(),
    }
    return SettingsChange(**HOME, **(usual | changes))


def person(group: DiagnosisGroup = DiagnosisGroup.COPD, **changes: Any) -> Person:
    usual = {
        "sex": Sex.MALE,
        "diagnosis_group": group,
        "dependence": Dependence.NIGHT_ONLY,
        "height_cm": Decimal("152.4"),
        "height_method": HeightMethod.STANDING,
        "has_lung_disease": False,
        "ventilation_started": date(2025, 1, 1),
        "home_oxygen": False,
        "tracheostomy": False,
        "invented": True,
    }
    return Person(**HOME, **(usual | changes))


def identity(born: date) -> Identity:
    return Identity(person_key=KEY, local_id="INV-1", second_identifier="INV-ONE", name="Invented Person",
                    date_of_birth=born)  # fmt: skip


def held(record: Any, number: int) -> Held[Any]:
    return Held(f"r{number}", 1, RecordStatus.FINAL, number, dated(record), "Invented", "", record)


def dossier(*records: Any, born: date | None = date(1950, 1, 1), **who: Any) -> Dossier:
    """Give a dossier of records in any order; keyword arguments change the person."""
    parts: dict[str, list[Any]] = {}
    for number, record in enumerate(records):
        for one in record if isinstance(record, list) else [record]:
            parts.setdefault(KIND_OF_MODEL[type(one)].table, []).append(held(one, 1000 * number + len(parts)))
    for table, items in parts.items():
        items.sort(key=lambda each: dated(each.record))
        for index, item in enumerate(items):
            object.__setattr__(item, "record_id", f"{table}-{index}")
    return Dossier(KEY, person(**who), identity(born) if born else None,
                   **{table: tuple(items) for table, items in parts.items()})  # fmt: skip


@pytest.fixture(scope="session")
def make() -> SimpleNamespace:
    """Builders by name."""
    names = (pressure, at, state, gas, spot, night, report, use, event, visit, lung, weight, program, change,
             person, identity, dossier)  # fmt: skip
    return SimpleNamespace(**{each.__name__: each for each in names}, today=TODAY)
