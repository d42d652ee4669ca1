"""The record types, as one explicit table: name of the table, type, the field that dates it."""

from dataclasses import dataclass

from hvmon.records.base import PersonRecord
from hvmon.records.course import ClinicalEvent, LungFunction, NightlyUse, Visit, Weight
from hvmon.records.gas import BloodGas, SpotTranscutaneous
from hvmon.records.meeting import Action, MeetingDecision, OwedEdit, PersonRuleEdit
from hvmon.records.person import Identity, Person
from hvmon.records.settings import PlannedChange, SettingsChange, SettingsReading
from hvmon.records.study import NightSummary
from hvmon.records.symptoms import SymptomReport


@dataclass(frozen=True, slots=True)
class RecordKind:
    """One record type and how it is stored and exported."""

    table: str
    model: type[PersonRecord]
    dated_by: str | None
    words: str


RECORD_KINDS: tuple[RecordKind, ...] = (
    RecordKind("identity", Identity, None, "identity"),
    RecordKind("person", Person, None, "person"),
    RecordKind("visit", Visit, "started_at", "visit"),
    RecordKind("blood_gas", BloodGas, "drawn_at", "blood gas"),
    RecordKind("spot_transcutaneous", SpotTranscutaneous, "read_at", "spot transcutaneous CO2"),
    RecordKind("night_summary", NightSummary, "started_at", "overnight study"),
    RecordKind("symptom_report", SymptomReport, "asked_at", "symptoms"),
    RecordKind("settings_change", SettingsChange, "changed_at", "settings change"),
    RecordKind("settings_reading", SettingsReading, "read_at", "settings read at the machine"),
    RecordKind("planned_change", PlannedChange, "planned_at", "planned change"),
    RecordKind("nightly_use", NightlyUse, "night_of", "nightly use"),
    RecordKind("weight", Weight, "weighed_on", "weight"),
    RecordKind("lung_function", LungFunction, "tested_on", "lung function"),
    RecordKind("clinical_event", ClinicalEvent, "happened_on", "clinical event"),
    RecordKind("meeting_decision", MeetingDecision, "met_at", "meeting decision"),
    RecordKind("action", Action, "agreed_on", "action"),
    RecordKind("owed_edit", OwedEdit, "noted_on", "note on something owed"),
    RecordKind("rule_edit", PersonRuleEdit, "edited_on", "rule edit for a person"),
)

KIND_OF_TABLE: dict[str, RecordKind] = {kind.table: kind for kind in RECORD_KINDS}
KIND_OF_MODEL: dict[type[PersonRecord], RecordKind] = {kind.model: kind for kind in RECORD_KINDS}
