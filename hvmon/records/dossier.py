"""Everything held about one person, current versions only, each list in order of time."""

from dataclasses import dataclass, fields
from datetime import UTC, date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from hvmon.records.base import PersonRecord
from hvmon.records.course import ClinicalEvent, LungFunction, NightlyUse, Visit, Weight
from hvmon.records.gas import BloodGas, SpotTranscutaneous
from hvmon.records.held import Held
from hvmon.records.meeting import Action, MeetingDecision, OwedEdit, PersonRuleEdit
from hvmon.records.person import Identity, Person
from hvmon.records.settings import PlannedChange, SettingsChange, SettingsReading
from hvmon.records.study import NightSummary
from hvmon.records.symptoms import SymptomReport


@dataclass(frozen=True)
class Dossier:
    """One person's record, the input of rules, series, trend and differential.

    The tuples hold current versions that are not entered in error, sorted by the field that dates them.
    """

    person_key: str
    person: Person
    identity: Identity | None = None
    """None in pseudonymised work; age is then not known."""
    visit: tuple[Held[Visit], ...] = ()
    blood_gas: tuple[Held[BloodGas], ...] = ()
    spot_transcutaneous: tuple[Held[SpotTranscutaneous], ...] = ()
    night_summary: tuple[Held[NightSummary], ...] = ()
    symptom_report: tuple[Held[SymptomReport], ...] = ()
    settings_change: tuple[Held[SettingsChange], ...] = ()
    settings_reading: tuple[Held[SettingsReading], ...] = ()
    planned_change: tuple[Held[PlannedChange], ...] = ()
    nightly_use: tuple[Held[NightlyUse], ...] = ()
    weight: tuple[Held[Weight], ...] = ()
    lung_function: tuple[Held[LungFunction], ...] = ()
    clinical_event: tuple[Held[ClinicalEvent], ...] = ()
    meeting_decision: tuple[Held[MeetingDecision], ...] = ()
    action: tuple[Held[Action], ...] = ()
    owed_edit: tuple[Held[OwedEdit], ...] = ()
    rule_edit: tuple[Held[PersonRuleEdit], ...] = ()

    def age_on(self, day: date) -> int | None:
        """Age in completed years [y]; None when the date of birth is not known."""
        if self.identity is None:
            return None
        born = self.identity.date_of_birth
        return day.year - born.year - ((day.month, day.day) < (born.month, born.day))

    def settings_at(self, moment: datetime) -> SettingsChange | None:
        """Give the settings in force at a moment; None before the first recorded change."""
        before = [held.record for held in self.settings_change if held.record.changed_at <= moment]
        return before[-1] if before else None

    def until(self, moment: datetime) -> "Dossier":
        """Give the dossier as of a moment: only what was measured up to it."""
        parts: dict[str, Any] = {field.name: getattr(self, field.name) for field in fields(self)}
        for name, part in parts.items():
            if isinstance(part, tuple):
                parts[name] = tuple(held for held in part if dated(held.record) <= moment)
        return Dossier(**parts)


DATED_BY: dict[str, str] = {
    "Visit": "started_at",
    "BloodGas": "drawn_at",
    "SpotTranscutaneous": "read_at",
    "NightSummary": "started_at",
    "SymptomReport": "asked_at",
    "SettingsChange": "changed_at",
    "SettingsReading": "read_at",
    "PlannedChange": "planned_at",
    "NightlyUse": "night_of",
    "Weight": "weighed_on",
    "LungFunction": "tested_on",
    "ClinicalEvent": "happened_on",
    "MeetingDecision": "met_at",
    "Action": "agreed_on",
    "OwedEdit": "noted_on",
    "PersonRuleEdit": "edited_on",
}


def dated(record: PersonRecord) -> datetime:
    """Give the moment a record belongs to [aware, UTC]; a date counts from its midnight UTC."""
    value = getattr(record, DATED_BY[type(record).__name__])
    return value if isinstance(value, datetime) else datetime.combine(value, time(), UTC)


def local(moment: datetime, zone: str) -> datetime:
    """Give the clock time of a moment in its zone."""
    return moment.astimezone(ZoneInfo(zone))
