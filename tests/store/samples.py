"""Invented records for the tests of the store."""

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime
from decimal import Decimal

from hvmon import vocabulary as words
from hvmon.records.base import Pressure
from hvmon.records.course import Weight
from hvmon.records.gas import BloodGas, SamplingState
from hvmon.records.person import Identity, Person
from hvmon.units import PressureUnit

NOW = datetime(2026, 3, 1, 10, 30, tzinfo=UTC)
ANNA, BERT = "a" * 32, "b" * 32
BY = {"actor": "Nurse N", "now": NOW}


def person(person_key=ANNA, **other):
    values = {
        "sex": words.Sex.FEMALE,
        "diagnosis_group": words.DiagnosisGroup.COPD,
        "dependence": words.Dependence.NIGHT_ONLY,
        "height_cm": Decimal(165),
        "height_method": words.HeightMethod.STANDING,
        "has_lung_disease": True,
        "ventilation_started": date(2022, 1, 1),
        "home_oxygen": False,
        "tracheostomy": False,
        "zone": "Europe/London",
        "invented": True,
    }
    return Person(person_key=person_key, **values | other)


def identity(person_key=ANNA, local_id="00123", name="Anna Invented", second_identifier="S-1"):
    return Identity(
        person_key=person_key,
        local_id=local_id,
        second_identifier=second_identifier,
        name=name,
        date_of_birth=date(1950, 5, 1),
    )


def weight(kg="71.5", day=date(2026, 2, 1), person_key=ANNA):
    return Weight(person_key=person_key, weighed_on=day, weight_kg=Decimal(kg), estimated=False)


STATE = SamplingState(
    ventilator=words.VentilatorState.OFF,
    minutes_in_state=words.NOT_RECORDED,
    oxygen_l_min=words.NOT_RECORDED,
    minutes_since_oxygen_change=30,
    position=words.Position.SITTING,
    rest=words.Rest.AT_REST,
    wakefulness=words.Wakefulness.AWAKE,
    reason=words.SampleReason.ROUTINE,
)


def gas(pco2="6.80", drawn_at=NOW, person_key=ANNA, **other):
    values = {
        "kind": words.SampleKind.ARTERIAL,
        "site": words.SampleSite.RADIAL,
        "state": STATE,
        "ph": Decimal("7.36"),
        "hco3_kind": words.BicarbonateKind.NOT_RECORDED,
        "be_kind": words.BaseExcessKind.NOT_RECORDED,
        "temperature_correction": words.TemperatureCorrection.NONE_37C,
        "failed_attempts": 0,
        "recorded_by": "Nurse N",
    }
    pressure = Pressure(value=Decimal(pco2), unit=PressureUnit.KPA)
    return BloodGas(
        person_key=person_key, drawn_at=drawn_at, zone="Europe/London", pco2=pressure, **values | other
    )


def with_anna(store):
    """Save the first person."""
    store.save_all([person(), identity()], request_id="anna", **BY)
    return store


def run_sql(path, *statements):
    """Run statements as another program would."""
    with closing(sqlite3.connect(path)) as connection:
        for statement in statements:
            connection.executescript(statement)
