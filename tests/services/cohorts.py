"""An invented cohort whose settings changes and symptoms follow known rules."""

from datetime import UTC, datetime, timedelta

import numpy as np

from hvmon.records.course import ClinicalEvent
from hvmon.records.symptoms import SymptomReport
from hvmon.vocabulary import ChangeKind, DiagnosisGroup, EventKind, FlapTest, Informant
from tests.app import invented

NOW = datetime(2026, 6, 1, tzinfo=UTC)
PER_CMH2O_KPA = -0.12
PER_BREATH_KPA = -0.05
POINTS_PER_KPA = 2.0
DAY_KPA, READING_KPA = 0.26, 0.29
"""Spread of days and of an earlobe reading as the model assumes them at 6.5 kPa."""

GROUPS = (DiagnosisGroup.COPD, DiagnosisGroup.OBESITY_HYPOVENTILATION, DiagnosisGroup.CHEST_WALL)
BEFORE, AFTER, CHANGED = (280, 250, 215), (160, 135, 110), 200
"""[days ago] gases and the change; the last gas is 40 to 90 days after the change."""


def key(number: int) -> str:
    return f"cohort{number:026d}"


def report(person: str, gas, co2: float, rng: np.random.Generator) -> SymptomReport:
    def rated(slope: float) -> int:
        return int(np.clip(round(5 + slope * (co2 - 6.5) + 0.7 * rng.standard_normal()), 0, 10))

    return SymptomReport(
        person_key=person,
        asked_at=gas.drawn_at + timedelta(minutes=20),
        zone=invented.ZONE,
        morning_headache=rated(POINTS_PER_KPA),
        daytime_sleepiness=rated(POINTS_PER_KPA),
        sleep_quality=rated(0.0),
        breathlessness=rated(0.0),
        poor_concentration=rated(0.0),
        pins_and_needles=rated(0.0),
        answered_by=Informant.SELF,
        flap=FlapTest.ABSENT,
        new_drowsiness_or_confusion=False,
        recorded_by="N. Invented",
    )


def one(number: int, rng: np.random.Generator) -> list:
    """A person with one change of known size, three gases on each side of it and a report beside each."""
    who, group = key(number), GROUPS[number % len(GROUPS)]
    support, rate = int(rng.choice([-2, 0, 2, 4])), int(rng.choice([-2, 0, 2, 4]))
    first = invented.change(who, 400)
    program = invented.PROGRAM.model_copy(
        update={
            "ipap_cmh2o": invented.PROGRAM.ipap_cmh2o + support,
            "backup_rate_min": invented.PROGRAM.backup_rate_min + rate,
        }
    )
    second = invented.change(who, CHANGED).model_copy(
        update={"kind": ChangeKind.ESCALATION, "program_1": program}
    )
    usual = 6.5 + 0.3 * rng.standard_normal()
    effect = PER_CMH2O_KPA * support + PER_BREATH_KPA * rate
    made = [
        invented.identity(
            who, f"Invented {number}", f"C{number:04d}", invented.TODAY - timedelta(days=20000)
        ),
        invented.person(who, group),
        first,
        second,
    ]
    for day in (*BEFORE, *AFTER):
        co2 = usual + (effect if day in AFTER else 0.0) + DAY_KPA * rng.standard_normal()
        gas = invented.gas(who, day, f"{co2 + READING_KPA * rng.standard_normal():.2f}")
        made += [gas, report(who, gas, co2, rng)]
    return made


def event(number: int, kind: EventKind, days_ago: int) -> ClinicalEvent:
    return ClinicalEvent(
        person_key=key(number),
        happened_on=invented.TODAY - timedelta(days=days_ago),
        kind=kind,
        recorded_by="N. Invented",
    )


def records(n_people: int = 48, *, seed: int = 5) -> list:
    rng = np.random.default_rng(seed)
    return [record for number in range(n_people) for record in one(number, rng)]
