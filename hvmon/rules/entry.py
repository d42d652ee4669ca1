"""Every question about a typed record: impossible is refused at the door, unlikely is asked here."""

from collections.abc import Iterator
from datetime import datetime

from hvmon.records.base import PersonRecord
from hvmon.records.course import NightlyUse, Weight
from hvmon.records.dossier import Dossier
from hvmon.records.gas import BloodGas, SpotTranscutaneous
from hvmon.records.person import Identity
from hvmon.records.settings import PlannedChange, SettingsChange, SettingsReading
from hvmon.records.study import NightSummary
from hvmon.rules import entry_course, entry_gas
from hvmon.rules.entry_question import EntryQuestion
from hvmon.rules.entry_range import range_questions

__all__ = ["EntryQuestion", "questions"]


def questions(record: PersonRecord, dossier: Dossier | None, *, now: datetime) -> tuple[EntryQuestion, ...]:
    """Give every question about a record, at most one for each check and field.

    Parameters
    ----------
    record
        What was typed; it already passed the door.
    dossier
        The person's record so far, for comparison with their own past; None when there is none.
    now
        The moment of entry [aware].
    """
    asked = (
        *_of_kind(record, dossier, now),
        *entry_course.date_questions(record, dossier, now),
        *range_questions(record, dossier),
    )
    slips = {question.field for question in asked if question.check_id == "gas.unit_slip"}
    kept = {
        (question.check_id, question.field): question
        for question in asked
        if question.check_id == "gas.unit_slip" or question.field not in slips
    }
    return tuple(kept.values())


def _of_kind(record: PersonRecord, dossier: Dossier | None, now: datetime) -> Iterator[EntryQuestion]:
    """Questions of the record's own kind."""
    match record:
        case BloodGas():
            yield from entry_gas.gas_questions(record, dossier)
        case SpotTranscutaneous():
            yield from entry_gas.spot_questions(record, dossier)
        case NightSummary():
            yield from entry_course.night_questions(record)
        case SettingsChange():
            yield from entry_course.change_questions(record, dossier)
        case SettingsReading():
            yield from entry_course.reading_questions(record, dossier)
        case PlannedChange():
            yield from entry_course.planned_questions(record)
        case NightlyUse():
            yield from entry_course.use_questions(record, dossier)
        case Weight():
            yield from entry_course.weight_questions(record, dossier)
        case Identity():
            yield from entry_course.identity_questions(record, now)
        case _:
            return
