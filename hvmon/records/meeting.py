"""Decisions and actions of the meeting, and what is said of things owed."""

from datetime import date
from decimal import Decimal
from typing import ClassVar, Self

from pydantic import model_validator

from hvmon.records.base import Instant, Name, Note, PersonRecord, Zone
from hvmon.vocabulary import ActionState, TestKind


class MeetingDecision(PersonRecord):
    """What a meeting decided about one person."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "met_at")

    met_at: Instant
    zone: Zone
    question: Note = ""
    decision: Name
    decided_by: Name


class Action(PersonRecord):
    """Something a named person will do by a date."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "agreed_on", "what")

    agreed_on: date
    what: Name
    owner: Name
    due: date
    asks_for: TestKind
    state: ActionState
    comment: Note = ""

    @model_validator(mode="after")
    def _due_after_agreed(self) -> Self:
        if self.due < self.agreed_on:
            raise ValueError(f"due {self.due} lies before agreed_on {self.agreed_on}")
        return self


class OwedEdit(PersonRecord):
    """A change of state or date of something owed, with its reason; what is owed is never deleted."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "owed_id", "noted_on")

    owed_id: Name
    noted_on: date
    state: ActionState
    new_due: date | None = None
    reason: Name
    noted_by: Name


class PersonRuleEdit(PersonRecord):
    """A rule switched on, off or given another limit for one person, with its reason."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "rule_id")

    rule_id: Name
    in_use: bool
    limit_value: Decimal | None = None
    reason: Name
    edited_by: Name
    edited_on: date
