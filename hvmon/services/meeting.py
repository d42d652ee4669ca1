"""The meeting: its list in order of need, and what it decides, stored once however often Save is pressed."""

from dataclasses import dataclass
from datetime import date, datetime

import polars as pl

from hvmon.records.dossier import Dossier
from hvmon.records.meeting import Action, MeetingDecision
from hvmon.services.outcome import Outcome, attempt
from hvmon.store.store import Store
from hvmon.vocabulary import ActionState, TestKind

LIST_LENGTH = 40
"""People of one meeting (two minutes each)."""


@dataclass(frozen=True, slots=True)
class Decided:
    """What the meeting typed for one person; an action needs an owner and a date."""

    question: str
    decision: str
    owner: str
    due: date | None
    asks_for: TestKind


def agenda(frame: pl.DataFrame, *, length: int = LIST_LENGTH) -> tuple[str, ...]:
    """Give the people who ask for eyes or owe something overdue, most need first.

    Parameters
    ----------
    frame : polars.DataFrame
        A caseload, as `hvmon.services.caseload.caseload` gives it.
    length : int
        At most so many.
    """
    listed = frame.filter((pl.col("grade") != "") | (pl.col("overdue") > 0))
    return tuple(listed["person_key"].head(length))


def problems(decided: Decided, *, today: date) -> tuple[tuple[str, str], ...]:
    """Give what stops a save, as (field, sentence) pairs; empty when nothing does."""
    found = []
    if not decided.decision.strip():
        found.append(("decision", "Decision: nothing was typed; say what was decided, even “no change”."))
    if decided.owner.strip() and decided.due is None:
        found.append(("due", "Date: an owner was named without a date; give the day by which it is done."))
    if decided.due is not None and not decided.owner.strip():
        found.append(("owner", "Owner: a date was given without an owner; name who does it."))
    if decided.due is not None and decided.due < today:
        found.append(("due", f"Date: {decided.due:%d %b %Y} lies before today; give today or a later day."))
    if decided.asks_for != TestKind.NONE and not decided.owner.strip():
        found.append(("owner", f"Owner: a {decided.asks_for.value} was asked for; name who sees to it."))
    return tuple(dict(reversed(found)).items())[::-1]


def save_decision(
    store: Store,
    dossier: Dossier,
    decided: Decided,
    *,
    met_at: datetime,
    actor: str,
    request_id: str,
    now: datetime,
) -> Outcome:
    """Store a decision and its action together.

    Parameters
    ----------
    store : Store
        The open store.
    dossier : Dossier
        The person.
    decided : Decided
        What was typed; `problems` must be empty.
    met_at : datetime
        When the form was drawn [aware]: the same form saved twice is one decision.
    actor, request_id : str
        Who saves, and the token of the form.
    now : datetime
        The moment of saving [aware].
    """
    records = _records(dossier, decided, met_at=met_at, actor=actor)

    def save() -> tuple[bool, tuple]:  # type: ignore[type-arg]
        saved = store.save_all(records, actor=actor, request_id=request_id, now=now)
        return any(one.added for one in saved), tuple(one.held for one in saved)

    return attempt(save)


def _records(
    dossier: Dossier, decided: Decided, *, met_at: datetime, actor: str
) -> tuple[MeetingDecision | Action, ...]:
    decision = MeetingDecision(
        person_key=dossier.person_key,
        met_at=met_at,
        zone=dossier.person.zone,
        question=decided.question.strip(),
        decision=decided.decision.strip(),
        decided_by=actor,
    )
    if decided.due is None or not decided.owner.strip():
        return (decision,)
    action = Action(
        person_key=dossier.person_key,
        agreed_on=met_at.date(),
        what=decided.decision.strip(),
        owner=decided.owner.strip(),
        due=decided.due,
        asks_for=decided.asks_for,
        state=ActionState.OPEN,
    )
    return (decision, action)


def last_decisions(dossier: Dossier, *, at_most: int = 3) -> tuple[MeetingDecision, ...]:
    """Give the last decisions about a person, newest first."""
    return tuple(held.record for held in reversed(dossier.meeting_decision[-at_most:]))


def open_actions(dossier: Dossier) -> tuple[Action, ...]:
    """Give the actions not yet done, the earliest due first."""
    actions = (held.record for held in dossier.action if held.record.state == ActionState.OPEN)
    return tuple(sorted(actions, key=lambda action: action.due))
