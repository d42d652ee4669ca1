"""What became of something owed is noted with a reason and closes no test; an action ends with its result."""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from hvmon.records.meeting import Action
from hvmon.services import corrections, owed_notes
from hvmon.services.outcome import Fate, Outcome
from hvmon.services.visit_records import Context
from hvmon.store.store import Store
from hvmon.vocabulary import ActionState, TestKind
from tests.app.invented import ANNA, TODAY, gas


def fresh(store: Store, context: Context, token: str = "token-2") -> Context:  # noqa: S107 - a form's token
    return replace(context, dossier=store.dossier(ANNA), token=token)


def lines_of(context: Context) -> tuple[owed_notes.Waiting, ...]:
    return owed_notes.waiting(context.dossier, today=TODAY)


def note(store: Store, context: Context, **answers: str) -> Outcome:
    form = owed_notes.understand_note(typed(context, **answers), lines_of(context), context)
    assert (form.missing, form.refused) == ((), {})
    return owed_notes.save_note(store, form, context)


def typed(context: Context, **answers: str) -> dict[str, str]:
    first = lines_of(context)[0].words
    return {"owed_line": first, "became": "missed visit", "owed.reason": "not at home"} | answers


def test_what_is_owed_is_one_line_a_test_and_day_and_names_every_rule(context: Context):
    lines = lines_of(context)
    assert lines
    assert len({line.words for line in lines}) == len(lines)
    assert all(line.owed_ids and "(" in line.words for line in lines)


def test_a_missed_visit_is_noted_and_the_test_stays_owed(store: Store, context: Context):
    before = lines_of(context)[0]
    assert note(store, context).fate == Fate.SAVED
    after = lines_of(fresh(store, context))
    told = next(line for line in after if line.owed_ids == before.owed_ids)
    assert "missed visit" in told.words
    assert "not at home (Nia Nurse" in told.why
    assert told.overdue_days == before.overdue_days


def test_a_new_date_with_its_reason_moves_the_day(store: Store, context: Context):
    before = lines_of(context)[0]
    note(store, context, became=owed_notes.NEW_DATE, new_due="01072026")
    told = next(line for line in lines_of(fresh(store, context)) if line.owed_ids == before.owed_ids)
    assert "01 Jul 2026" in told.words
    assert told.overdue_days == 0


def test_one_noted_as_done_without_a_result_stays_owed(store: Store, context: Context):
    before = lines_of(context)[0]
    note(store, context, became="done, result not here yet")
    told = next(line for line in lines_of(fresh(store, context)) if line.owed_ids == before.owed_ids)
    assert "no result in the record" in told.why


def test_a_note_on_a_line_of_several_rules_is_stored_for_each_or_for_none(store: Store, context: Context):
    note(store, context)
    held = store.dossier(ANNA).owed_edit
    assert {one.record.owed_id for one in held} == set(lines_of(context)[0].owed_ids)


def test_the_same_note_twice_adds_nothing(store: Store, context: Context):
    first, second = note(store, context), note(store, context)
    assert (first.fate, second.stored) == (Fate.SAVED, True)
    assert len(store.dossier(ANNA).owed_edit) == len(first.held)


@pytest.mark.parametrize(
    ("answers", "key"),
    [({"owed_line": ""}, "owed_line"), ({"became": ""}, "became"), ({"owed.reason": " "}, "owed.reason")],
)
def test_a_note_without_its_parts_is_not_made(context: Context, answers: dict[str, str], key: str):
    form = owed_notes.understand_note(typed(context) | answers, lines_of(context), context)
    assert key in form.missing
    assert form.records == ()


@pytest.mark.parametrize(("day", "words"), [("01062026", "lies before today"), ("soon", "is no day")])
def test_a_new_date_that_cannot_be_is_refused(context: Context, day: str, words: str):
    form = owed_notes.understand_note(typed(context, new_due=day), lines_of(context), context)
    assert words in form.refused["new_due"]
    assert form.records == ()


# --- actions -----------------------------------------------------------------------------------------------


def agreed(store: Store, context: Context, asks_for: TestKind = TestKind.NONE) -> Context:
    action = Action(
        person_key=ANNA, agreed_on=date(2026, 6, 1), what="Order a second mask", owner="Nia Nurse",
        due=date(2026, 6, 10), asks_for=asks_for, state=ActionState.OPEN,
    )  # fmt: skip
    store.save(action, actor="P. Invented", request_id="action", now=context.now)
    return fresh(store, context)


def ended(context: Context, state: str = "done") -> dict[str, str]:
    line = next(iter(owed_notes.open_actions(context.dossier)))
    return {"action_line": line, "action.state": state, "why_closed": "mask delivered"}


def test_an_action_is_closed_as_a_new_version_and_the_open_one_is_kept(store: Store, context: Context):
    known = agreed(store, context)
    form = owed_notes.understand_close(ended(known), known.dossier, known)
    outcome = owed_notes.close_action(store, form, "mask delivered", known)
    assert outcome.fate == Fate.SAVED
    assert owed_notes.open_actions(store.dossier(ANNA)) == {}
    versions = corrections.history(store, outcome.held[0].record_id)
    assert [version.reason for version in versions] == ["", "mask delivered"]
    assert versions[-1].changes == (("state", "open", "done"),)


def test_an_action_that_asks_for_a_test_is_not_done_without_its_result(store: Store, context: Context):
    known = agreed(store, context, TestKind.DAY_GAS)
    form = owed_notes.understand_close(ended(known), known.dossier, known)
    assert "none is in the record" in form.refused["action.state"]
    assert form.records == ()


def test_with_the_result_in_the_record_it_is_done(store: Store, context: Context):
    agreed(store, context, TestKind.DAY_GAS)
    later = gas(ANNA, 3, "6.6")
    assert later.drawn_at.date() == TODAY - timedelta(days=3)
    store.save(later, actor="N", request_id="later gas", now=context.now)
    known = fresh(store, context)
    form = owed_notes.understand_close(ended(known), known.dossier, known)
    assert form.refused == {}
    assert owed_notes.close_action(store, form, "gas taken", known).stored


def test_a_refused_action_ends_without_a_result(store: Store, context: Context):
    known = agreed(store, context, TestKind.DAY_GAS)
    form = owed_notes.understand_close(ended(known, "refused"), known.dossier, known)
    assert form.records[0].state == ActionState.REFUSED
