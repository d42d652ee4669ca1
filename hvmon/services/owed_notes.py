"""What became of something owed, and the end of an action agreed at a meeting.

A note changes state or date and closes no test: only a result does. Nothing owed is deleted.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from hvmon.records.base import PersonRecord
from hvmon.records.dossier import Dossier
from hvmon.records.flat import flatten
from hvmon.records.held import Held
from hvmon.records.meeting import Action, OwedEdit
from hvmon.rules import owed
from hvmon.services.asked import Answers, Ask, How, Section, ask, own
from hvmon.services.clock_text import NotUnderstood, read_day
from hvmon.services.form_read import FormRead, concluded
from hvmon.services.one_record import Filled, understand_records
from hvmon.services.outcome import Outcome, attempt
from hvmon.services.packs_in_use import Edits, pack_in_use
from hvmon.services.typed import read_record
from hvmon.services.visit_records import Context
from hvmon.store.store import Store
from hvmon.vocabulary import ActionState, TestKind

__all__ = [
    "CLOSE_ACTION",
    "NOTE_OWED",
    "Waiting",
    "close_action",
    "close_sections",
    "note_sections",
    "open_actions",
    "save_note",
    "understand_close",
    "understand_note",
    "waiting",
]

NOTE_OWED, CLOSE_ACTION = "owed_note", "close_action"

NEW_DATE = "still owed: new date, in hospital or another note"
_STATES: Mapping[str, ActionState] = {
    NEW_DATE: ActionState.OPEN,
    ActionState.MISSED.value: ActionState.MISSED,
    ActionState.REFUSED.value: ActionState.REFUSED,
    ActionState.WITHDRAWN.value: ActionState.WITHDRAWN,
    "done, result not here yet": ActionState.DONE,
}
"""What the form offers, and the state it stands for."""

_ENDS = (ActionState.DONE, ActionState.MISSED, ActionState.REFUSED, ActionState.WITHDRAWN)


@dataclass(frozen=True, slots=True)
class Waiting:
    """One test owed by one day, and every rule's item it stands for."""

    words: str
    why: str
    owed_ids: tuple[str, ...]
    overdue_days: int


def waiting(dossier: Dossier, *, today: date, edits: Edits | None = None) -> tuple[Waiting, ...]:
    """Give what is owed, the longest overdue first; the same test by the same day is one line."""
    pack = pack_in_use(dossier, today=today, edits=edits)
    together: dict[str, list[owed.Owed]] = {}
    for item in owed.owed(dossier, today=today, pack=pack):
        if item.state != ActionState.WITHDRAWN:
            together.setdefault(f"{item.test.value} by {item.due:%d %b %Y}, {item.state.value}", []).append(
                item
            )
    return tuple(
        Waiting(
            words=f"{words} ({', '.join(dict.fromkeys(item.rule_id for item in items))})",
            why="; ".join(dict.fromkeys(item.words for item in items)),
            owed_ids=tuple(item.owed_id for item in items),
            overdue_days=max(item.overdue_days for item in items),
        )
        for words, items in together.items()
    )


def _line(key: str, lines: tuple[str, ...]) -> Ask:
    return Ask(key, key, How.LIST, lines, required=True)


def note_sections(lines: tuple[Waiting, ...]) -> tuple[Section, ...]:
    """Ask what became of something owed."""
    asks = (
        _line("owed_line", tuple(line.words for line in lines)),
        own("became", tuple(_STATES)),
        ask(OwedEdit, "new_due"),
        ask(OwedEdit, "reason", prefix="owed."),
    )
    return (Section("What became of something owed; only a result closes a test", asks),)


def understand_note(answers: Answers, lines: tuple[Waiting, ...], context: Context) -> FormRead:
    """Read a note: one record for every item the line stands for."""
    asks = [one for part in note_sections(lines) for one in part.asks]
    chosen = next((line for line in lines if line.words == answers.get("owed_line")), None)
    state = _STATES.get(answers.get("became", ""))
    texts = {"new_due": answers.get("new_due", ""), "reason": answers.get("owed.reason", "")}
    keys = {"reason": "owed.reason"}
    refused = _bad_day(texts["new_due"], context.today)
    words: dict[str, str] = {}
    records = []
    for owed_id in chosen.owed_ids if chosen else ("-",):
        read = read_record(OwedEdit, texts, zone=context.zone, fixed=_note_fixed(context, owed_id, state))
        words |= {keys.get(name, name): text for name, text in read.words.items()}
        refused = {keys.get(name, name): text for name, text in read.refused.items()} | refused
        records += [read.record] if read.record is not None and chosen and state else []
    return concluded(
        records, answers, dossier=context.dossier, now=context.now, words=words, unlikely={}, refused=refused,
        missing=[one.key for one in asks if one.required and not answers.get(one.key, "").strip()],
    )  # fmt: skip


def _note_fixed(context: Context, owed_id: str, state: ActionState | None) -> dict[str, Any]:
    return {
        "person_key": context.dossier.person_key,
        "owed_id": owed_id,
        "noted_on": context.today,
        "noted_by": context.actor or "-",
        "state": state or ActionState.OPEN,
    }


def _bad_day(text: str, today: date) -> dict[str, str]:
    try:
        day = read_day(text)
    except NotUnderstood:
        return {}  # told when the field itself is read
    if day < today:
        return {"new_due": f"{day:%d %b %Y} lies before today; give the day by which it will be done"}
    return {}


def save_note(store: Store, read: FormRead, context: Context) -> Outcome:
    """Store the note for every item it stands for, all or none."""

    def save() -> tuple[bool, tuple[Any, ...]]:
        saved = store.save_all(read.records, actor=context.actor, request_id=context.token, now=context.now)
        return any(one.added for one in saved), tuple(one.held for one in saved)

    return attempt(save)


# --- actions ---------------------------------------------------------------------------------------------


def action_words(action: Action) -> str:
    """Give an action in one line."""
    return f"{action.what}: {action.owner}, by {action.due:%d %b %Y} (agreed {action.agreed_on:%d %b %Y})"


def open_actions(dossier: Dossier) -> dict[str, Held[Action]]:
    """Give the open actions by their line, the earliest due first."""
    held = [one for one in dossier.action if one.record.state == ActionState.OPEN]
    return {action_words(one.record): one for one in sorted(held, key=lambda one: one.record.due)}


def close_sections(dossier: Dossier) -> tuple[Section, ...]:
    """Ask which action came to its end, and how."""
    asks: tuple[Ask, ...] = (
        _line("action_line", tuple(open_actions(dossier))),
        ask(Action, "state", prefix="action.", options=tuple(state.value for state in _ENDS)),
        own("why_closed"),
    )
    return (Section("End of an action agreed at a meeting", asks),)


def understand_close(answers: Answers, dossier: Dossier, context: Context) -> FormRead:
    """Read the end of an action. One that asks for a test ends as done with the test's result only."""
    asks = [one for part in close_sections(dossier) for one in part.asks]
    held = open_actions(dossier).get(answers.get("action_line", ""))
    fixed = {name: value for name, value in flatten(held.record).items() if name != "state"} if held else {}
    return understand_records(
        [Filled(Action, fixed)], asks, answers, zone=context.zone, now=context.now, dossier=dossier,
        also_refused=_without_result(held, answers, dossier, context.today),
    )  # fmt: skip


def _without_result(
    held: Held[Action] | None, answers: Answers, dossier: Dossier, today: date
) -> dict[str, str]:
    done = answers.get("action.state") == ActionState.DONE
    if held is None or not done or held.record.asks_for == TestKind.NONE:
        return {}
    still = {item.owed_id for item in owed.owed(dossier, today=today)}
    if f"action:{held.record_id}" not in still:
        return {}
    test = held.record.asks_for.value
    words = f"it asks for a {test} and none is in the record since"
    return {"action.state": f"{words}; enter the result, or note above what became of it"}


def _same(action: Action, other: PersonRecord) -> bool:
    return isinstance(other, Action) and (action.what, action.agreed_on) == (other.what, other.agreed_on)


def close_action(store: Store, read: FormRead, reason: str, context: Context) -> Outcome:
    """Store the action's new state as a new version; the open one is kept."""
    closed = read.records[0]
    held = next(one for one in context.dossier.action if _same(one.record, closed))

    def save() -> tuple[bool, tuple[Any, ...]]:
        changed = store.correct(
            held.record_id, closed, expect_version=held.version, reason=reason,
            actor=context.actor, request_id=context.token, now=context.now,
        )  # fmt: skip
        return True, (changed,)

    return attempt(save)
