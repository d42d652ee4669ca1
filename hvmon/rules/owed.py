"""What is owed: from the last relevant test, never from the last contact.

A settings change opens a recheck that closes only with a result of the kind named at the change, taken on the
new settings and after the wait; a gas of the same day does not close it. A missed visit, a refusal or a stay
in hospital changes the state and deletes nothing. The waits after a change are project defaults and say so.
"""

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime, timedelta

from hvmon.records.dossier import Dossier, local
from hvmon.records.held import Held
from hvmon.records.meeting import OwedEdit
from hvmon.records.settings import SettingsChange
from hvmon.rules.catalogue import rule
from hvmon.rules.finding import Owed
from hvmon.rules.intervals import after, span
from hvmon.rules.packs import Pack, default_pack
from hvmon.rules.rule import Rule
from hvmon.rules.tests_done import Done, closing, done_tests, last_of, parts_of
from hvmon.vocabulary import (
    ActionState,
    ChangeUrgency,
    EventKind,
    NotRecorded,
    TestKind,
)

__all__ = ["Owed", "owed"]

PROJECT_DEFAULT = "project default"
_CLOSED = {ActionState.DONE, ActionState.WITHDRAWN}


def owed(
    dossier: Dossier, *, today: date, pack: Pack | None = None, with_done: bool = False
) -> tuple[Owed, ...]:
    """Give everything owed for one person, the longest overdue first.

    Parameters
    ----------
    dossier
        The person's record; later records than `today` are not looked at.
    today
        The day of judgement.
    pack
        The rules in use; None takes the default pack.
    with_done
        Also give what is done or withdrawn; the default gives what is open, missed, refused or withdrawn by
        name, never what is done.
    """
    chosen = pack or default_pack(dossier, today)
    done = done_tests(dossier, today)
    items = [
        *_rechecks(dossier, today, done, chosen),
        *_recalls(dossier, today, done, chosen),
        *_agreed(dossier, today, done),
    ]
    noted = [_with_notes(dossier, today, item) for item in items]
    kept = [item for item in noted if with_done or item.state != ActionState.DONE]
    return tuple(sorted(kept, key=lambda item: (item.state in _CLOSED, item.due, item.owed_id)))


def _item(
    rule_id: str, owed_id: str, test: TestKind, opens: date, due: date, words: str, today: date,
    last: Done | None = None,
) -> Owed:  # fmt: skip
    closes = f"a {test.value} from {opens} on"
    overdue = max(0, (today - due).days)
    last_day = last.day if last else None
    return Owed(owed_id, test, due, ActionState.OPEN, rule_id, words, overdue, closes, opens, "", last_day)


def _named(pack: Pack, rule_id: str) -> Rule:
    return pack.rule(rule_id) or rule(rule_id)


# --- rechecks after a settings change ---------------------------------------------------------------


def _rechecks(dossier: Dossier, today: date, done: tuple[Done, ...], pack: Pack) -> list[Owed]:
    changes = [held for held in dossier.settings_change if _changed_on(held.record) <= today]
    return [
        _recheck(held, _superseded_by(changes[index + 1 :]), today, done, pack)
        for index, held in enumerate(changes)
        if held.record.owed_test != TestKind.NONE
    ]


def _changed_on(change: SettingsChange) -> date:
    return local(change.changed_at, change.zone).date()


def _superseded_by(later: list[Held[SettingsChange]]) -> SettingsChange | None:
    """Give the next change that owes a test of its own; one that owes none leaves the recheck open."""
    return next((held.record for held in later if held.record.owed_test != TestKind.NONE), None)


def _recheck(
    held: Held[SettingsChange], later: SettingsChange | None, today: date, done: tuple[Done, ...], pack: Pack
) -> Owed:
    change, day = held.record, _changed_on(held.record)
    chosen = _named(pack, "FUP-10" if change.urgency == ChangeUrgency.URGENT else "FUP-9")
    opens, due = recheck_window(change, chosen)
    until = later.changed_at if later else None
    left = tuple(part for part in parts_of(change.owed_test)
                 if _closed(done, part, opens, until) is None)  # fmt: skip
    test = change.owed_test if len(left) != 1 else left[0]
    words = f"{test.value} on the settings of {day}, from {opens}, by {due}"
    words += "" if change.owed_by else f" ({PROJECT_DEFAULT})"
    item = _item(chosen.id, f"recheck:{held.record_id}", test, opens, due, words, today)
    item = replace(item, closes_with=f"a {test.value} on the settings of {day}, from {opens} on")
    if not left:
        return replace(item, state=ActionState.DONE, overdue_days=0, words=f"{item.words}: done")
    if later is not None:
        superseded = f"{words}; superseded by the change of {_changed_on(later)}, not done before it"
        return replace(item, state=ActionState.WITHDRAWN, overdue_days=0, words=superseded)
    return replace(item, words=words + _too_early(done, left, day, opens))


def recheck_window(change: SettingsChange, chosen: Rule) -> tuple[date, date]:
    """Give the first day on which a result answers a change, and the day it is due.

    The date ordered at the change goes before the rule's; an earlier one also shortens the wait, but never to
    the day of the change.
    """
    day = _changed_on(change)
    opens, due = span(chosen, day)
    if change.owed_by is None:
        return opens, due
    return max(day + timedelta(days=1), min(opens, change.owed_by)), change.owed_by


def _closed(done: Iterable[Done], part: TestKind, opens: date, until: datetime | None) -> Done | None:
    usable = (each for each in done if part != TestKind.NIGHT_STUDY or each.on_ventilator)
    return closing(usable, part, opens, until)


def _too_early(done: Iterable[Done], left: tuple[TestKind, ...], day: date, opens: date) -> str:
    """Say which results since the change do not close it, and why."""
    notes = []
    for each in done:
        if each.kind not in left or each.day < day:
            continue
        if each.why_not:
            notes.append(f"{each.kind.value} of {each.day} does not count: {each.why_not}")
        elif each.day == day:
            notes.append(f"{each.kind.value} of {each.day} does not count: the day of the change")
        elif each.day < opens:
            notes.append(f"{each.kind.value} of {each.day} does not count: before the wait is over")
        elif each.kind == TestKind.NIGHT_STUDY and not each.on_ventilator:
            notes.append(f"{each.kind.value} of {each.day} does not count: not known to be on the ventilator")
    return "".join(f"; {note}" for note in notes)


# --- recalls ------------------------------------------------------------------------------------------

PERIODIC: tuple[tuple[str, TestKind], ...] = (
    ("FUP-4", TestKind.LUNG_FUNCTION),
    ("FUP-5", TestKind.LUNG_FUNCTION),
    ("FUP-6", TestKind.LUNG_FUNCTION),
    ("FUP-7", TestKind.DAY_GAS_AND_NIGHT),
    ("FUP-11", TestKind.DAY_GAS),
    ("FUP-12", TestKind.DAY_GAS),
    ("FUP-13", TestKind.DAY_GAS),
)
"""Recalls that repeat: the date counts from the last test of the kind."""

ONCE: tuple[tuple[str, TestKind], ...] = (
    ("FUP-1", TestKind.DAY_GAS),
    ("FUP-2", TestKind.NIGHT_STUDY),
    ("FUP-3", TestKind.DAY_GAS),
    ("FUP-8", TestKind.DAY_GAS_AND_NIGHT),
    ("FUP-16", TestKind.NIGHT_STUDY),
)
"""Recalls after one occasion: an admission, the start, an oxygen change."""


def _recalls(dossier: Dossier, today: date, done: tuple[Done, ...], pack: Pack) -> list[Owed]:
    items = []
    for rule_id, test in ONCE:
        chosen, start = pack.rule(rule_id), _occasion(dossier, rule_id, today)
        if chosen is not None and start is not None and _record_reaches(dossier, span(chosen, start)[1]):
            items.append(_once(chosen, test, start, today, done))
    for rule_id, test in PERIODIC:
        chosen = pack.rule(rule_id)
        if chosen is not None:
            items.append(_periodic(dossier, chosen, test, today, done))
    return items + _yearly_on_oxygen(dossier, today, done, pack)


def _occasion(dossier: Dossier, rule_id: str, today: date) -> date | None:
    """Give the day a once-only recall counts from; None when there was no occasion."""
    started = dossier.person.ventilation_started
    begun = None if isinstance(started, NotRecorded) or started > today else started
    if rule_id in {"FUP-2", "FUP-8"}:
        return begun
    if rule_id == "FUP-1":
        return _last_event(dossier, EventKind.ADMISSION_HYPERCAPNIC, today)
    oxygen = _last_event(dossier, EventKind.OXYGEN_CHANGE, today)
    return oxygen if rule_id == "FUP-3" or begun is not None else None


def _last_event(dossier: Dossier, kind: EventKind, today: date) -> date | None:
    days = [
        held.record.until or held.record.happened_on
        for held in dossier.clinical_event
        if held.record.kind == kind and (held.record.until or held.record.happened_on) <= today
    ]
    return max(days, default=None)


def first_day(dossier: Dossier) -> date | None:
    """Give the first day anything was measured."""
    days = [
        *(held.record.drawn_at.date() for held in dossier.blood_gas[:1]),
        *(held.record.night_of for held in dossier.night_summary[:1]),
        *(held.record.started_at.date() for held in dossier.visit[:1]),
        *(held.record.night_of for held in dossier.nightly_use[:1]),
        *(_changed_on(held.record) for held in dossier.settings_change[:1]),
    ]
    return min(days, default=None)


def _record_reaches(dossier: Dossier, due: date) -> bool:
    """Whether the record began before a once-only recall was due; older ones were done elsewhere."""
    first = first_day(dossier)
    return first is None or first <= due


def _once(chosen: Rule, test: TestKind, start: date, today: date, done: tuple[Done, ...]) -> Owed:
    opens, due = span(chosen, start)
    left = tuple(part for part in parts_of(test) if closing(done, part, opens) is None)
    open_test = test if len(left) != 1 else left[0]
    words = f"{chosen.title}: {open_test.value} from {opens}, by {due} (counted from {start})"
    words += f" ({PROJECT_DEFAULT})" if chosen.source == "Project" else ""
    item = _item(chosen.id, f"{chosen.id}:{start}", open_test, opens, due, words, today)
    return item if left else replace(item, state=ActionState.DONE, overdue_days=0, words=f"{words}: done")


def _periodic(dossier: Dossier, chosen: Rule, test: TestKind, today: date, done: tuple[Done, ...]) -> Owed:
    last = {part: last_of(done, part) for part in parts_of(test)}
    never = [part for part, found in last.items() if found is None]
    found = min((each for each in last.values() if each is not None), key=lambda each: each.at, default=None)
    if never:
        found, open_test = None, (test if len(never) == len(last) else never[0])
    else:
        open_test = test if len(last) == 1 or found is None else found.kind
    start = found.day if found else _never_tested_from(dossier, today)
    opens, due = span(chosen, start)
    never_words = f"no {open_test.value} in the record, counted from {start}"
    since = f"last {open_test.value} {start}" if found else never_words
    words = f"{chosen.title}: {open_test.value} by {due} ({since})"
    return _item(chosen.id, f"{chosen.id}:{start}", open_test, opens, due, words, today, found)


def _never_tested_from(dossier: Dossier, today: date) -> date:
    """Give the day an interval counts from when there is no test: the start, else the record's first day."""
    started, first = dossier.person.ventilation_started, first_day(dossier)
    begun = None if isinstance(started, NotRecorded) or started > today else started
    known = [day for day in (begun, first) if day is not None and day <= today]
    return max(known, default=today)


def _yearly_on_oxygen(dossier: Dossier, today: date, done: tuple[Done, ...], pack: Pack) -> list[Owed]:
    """Give the yearly gas of somebody on home oxygen, once there is a gas to count from."""
    chosen, last = pack.rule("FUP-3"), last_of(done, TestKind.DAY_GAS)
    if chosen is None or dossier.person.home_oxygen is not True or last is None:
        return []
    due = after(last.day, chosen.named("then"))
    words = f"{chosen.title}: day blood gas by {due} (yearly on oxygen, last {last.day})"
    return [_item("FUP-3", f"FUP-3:yearly:{last.day}", TestKind.DAY_GAS, last.day + timedelta(days=1), due,
                  words, today, last)]  # fmt: skip


# --- agreed at a meeting or planned --------------------------------------------------------------------


def _agreed(dossier: Dossier, today: date, done: tuple[Done, ...]) -> list[Owed]:
    items = []
    for held in dossier.action:
        action = held.record
        if action.asks_for != TestKind.NONE and action.agreed_on <= today:
            words = f"{action.asks_for.value} agreed {action.agreed_on}, by {action.due}"
            item = _agreed_item(f"action:{held.record_id}", action.asks_for, action.agreed_on, action.due,
                                words, today, done)  # fmt: skip
            items.append(_in_state(item, action.state))
    for plan in dossier.planned_change:
        planned = plan.record
        day = local(planned.planned_at, planned.zone).date()
        if planned.owed_test == TestKind.NONE or day > today or _carried_out(dossier, planned.planned_at):
            continue
        words = f"{planned.owed_test.value} after the change planned {day}, by {planned.owed_by}; "
        words += "the change itself is not recorded"
        item = _agreed_item(f"planned:{plan.record_id}", planned.owed_test, day, planned.owed_by,
                            words, today, ())  # fmt: skip  # no result answers a change not yet made
        items.append(_in_state(item, planned.state))
    return items


def _carried_out(dossier: Dossier, planned_at: datetime) -> bool:
    return any(
        held.record.changed_at >= planned_at and held.record.owed_test != TestKind.NONE
        for held in dossier.settings_change
    )


def _agreed_item(
    owed_id: str, test: TestKind, agreed: date, due: date, words: str, today: date, done: tuple[Done, ...]
) -> Owed:
    opens = agreed + timedelta(days=1)
    left = tuple(part for part in parts_of(test) if closing(done, part, opens) is None)
    item = _item("FUP-18", owed_id, test if len(left) != 1 else left[0], opens, due, words, today)
    return item if left else replace(item, state=ActionState.DONE, overdue_days=0)


def _in_state(item: Owed, state: ActionState) -> Owed:
    """Give the item in the state recorded for it, unless a result has closed it."""
    if item.state == ActionState.DONE or state == ActionState.OPEN:
        return item
    return replace(item, state=state, overdue_days=0 if state in _CLOSED else item.overdue_days)


# --- what was noted about it -----------------------------------------------------------------------------

_EVENT_STATES = {EventKind.MISSED_VISIT: ActionState.MISSED, EventKind.REFUSAL: ActionState.REFUSED}
_END = {EventKind.DEATH, EventKind.MOVED}
_ADMISSIONS = {EventKind.ADMISSION, EventKind.ADMISSION_HYPERCAPNIC}
INPATIENT_AT_MOST_DAYS = 60
"""[d] an admission without an end is not taken to last longer (Project)."""


def _with_notes(dossier: Dossier, today: date, item: Owed) -> Owed:
    """Apply events and notes, newest last; nothing closes or deletes an open item but a result."""
    if item.state in _CLOSED:
        return item
    noted = _with_edits(dossier, today, _with_events(dossier, today, item))
    for held in dossier.clinical_event:
        event = held.record
        if event.kind in _END and event.happened_on <= today:
            words = f"{noted.words}; {event.kind.value} {event.happened_on}"
            return replace(noted, state=ActionState.WITHDRAWN, overdue_days=0, words=words)
    return noted


def _with_events(dossier: Dossier, today: date, item: Owed) -> Owed:
    noted = item
    for held in dossier.clinical_event:
        event = held.record
        if event.happened_on > today:
            continue
        state = _EVENT_STATES.get(event.kind)
        if state is not None and event.happened_on >= item.opens:
            noted = replace(noted, state=state, words=f"{item.words}; {event.kind.value} {event.happened_on}")
        if event.kind in _ADMISSIONS and _inpatient(dossier, event.happened_on, event.until, today):
            noted = replace(noted, words=f"{noted.words}; in hospital since {event.happened_on}")
    return noted


def _inpatient(dossier: Dossier, since: date, until: date | None, today: date) -> bool:
    if until is not None:
        return until >= today
    discharged = _last_event(dossier, EventKind.DISCHARGE, today)
    left = discharged is not None and discharged >= since
    return not left and (today - since).days <= INPATIENT_AT_MOST_DAYS


def _with_edits(dossier: Dossier, today: date, item: Owed) -> Owed:
    edits = [held.record for held in dossier.owed_edit
             if held.record.owed_id == item.owed_id and held.record.noted_on <= today]  # fmt: skip
    noted = item
    for edit in sorted(edits, key=lambda each: each.noted_on):
        noted = _edited(noted, edit, today)
    return noted


def _edited(item: Owed, edit: OwedEdit, today: date) -> Owed:
    due = edit.new_due or item.due
    reason = f"{edit.reason} ({edit.noted_by}, {edit.noted_on})"
    words = f"{item.words}; {edit.state.value}: {reason}"
    state = edit.state
    if state == ActionState.DONE:
        state, words = item.state, f"{item.words}; noted as done, no result in the record: {reason}"
    if edit.new_due:
        words += f"; new date {due}"
    overdue = 0 if state in _CLOSED else max(0, (today - due).days)
    return replace(item, state=state, due=due, overdue_days=overdue, reason=reason, words=words)
