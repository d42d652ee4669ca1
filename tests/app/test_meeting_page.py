"""The meeting page: one person a screen, on and back, a decision saved there once."""

from datetime import timedelta

import pytest

from hvmon.app import words
from hvmon.store.store import Store
from tests.app import invented
from tests.app.sight import press, seen

DUE = invented.TODAY + timedelta(days=14)


def shown(session):
    return seen(session).replace("\\", "")


def typed(session, part):
    return next(each for each in session.text_input if (each.key or "").startswith(f"{part}-"))


def fill(session, *, owner="N. Invented", due=DUE):
    typed(session, "question").set_value("Is the rise real?")
    typed(session, "decision").set_value("Repeat the gas on the new mask")
    typed(session, "owner").set_value(owner)
    if due:
        next(each for each in session.date_input if (each.key or "").startswith("due-")).set_value(due)
    return session


@pytest.fixture
def acute(store: Store):
    gas = invented.gas(invented.ANNA, 1, "9.6", ph="7.27", hco3="32.0")
    store.save(gas, actor="N. Invented", request_id="acute", now=gas.drawn_at)


@pytest.fixture
def meeting(acute, open_page):  # noqa: ARG001 - who is acute comes first
    return open_page("meeting", person=None, actor="P. Physician")


def test_a_screen_shows_who_why_the_facts_and_the_caution(meeting):
    assert not meeting.exception
    text = shown(meeting)
    assert meeting.title[0].value.replace("\\", "") == "Anna Invented"
    assert "74 y, COPD" in text
    assert "RED-2" in text
    for fact in ("CO2", "Use, leak: 28 nights", "Symptoms, course", "Owed"):
        assert fact in text
    assert words.INVENTED in text
    assert words.CAUTION in text


def test_a_decision_is_saved_with_owner_and_date_and_shown(meeting, store: Store):
    session = press(fill(meeting), "Save decision")
    assert not session.exception
    assert "Decision: Stored." in shown(session)
    dossier = store.dossier(invented.ANNA)
    assert [held.record.decision for held in dossier.meeting_decision] == ["Repeat the gas on the new mask"]
    assert [(held.record.owner, held.record.due) for held in dossier.action] == [("N. Invented", DUE)]
    assert "Repeat the gas on the new mask: N. Invented by" in shown(session)


def test_after_a_save_the_form_is_empty_and_a_second_press_adds_nothing(meeting, store: Store):
    session = press(fill(meeting), "Save decision")
    assert typed(session, "decision").value == ""
    session = press(session, "Save decision")
    assert "nothing was typed" in shown(session)
    assert len(store.dossier(invented.ANNA).meeting_decision) == 1


def test_an_owner_without_a_date_is_refused_by_name(meeting, store: Store):
    session = press(fill(meeting, due=None), "Save decision")
    assert "an owner was named without a date" in shown(session)
    assert store.dossier(invented.ANNA).meeting_decision == ()


def test_names_can_be_hidden(meeting):
    meeting.session_state["hide_names"] = True
    session = meeting.run()
    assert "Anna" not in shown(session)
    assert session.title[0].value.replace("\\", "") == "A. I."


def test_nobody_can_save_without_a_name(open_page):
    session = open_page("meeting", person=None, actor="")
    assert not [button for button in session.button if button.label == "Save decision"]
    assert "Type your name" in shown(session)


def test_next_and_previous_walk_the_list(meeting):
    assert "**1** of 2" in shown(meeting)
    session = press(meeting, "Next")
    assert "**2** of 2" in shown(session)
    assert session.title[0].value.replace("\\", "") == invented.HOSTILE
    session = press(session, "Previous")
    assert session.title[0].value.replace("\\", "") == "Anna Invented"


def test_the_list_of_the_meeting_is_in_its_order_and_leads_to_a_person(meeting):
    chooser = meeting.selectbox(key="meeting_jump-0")
    assert chooser.options[0] == "1. Anna Invented"
    assert len(chooser.options) == 2
    session = chooser.select_index(1).run()
    assert "**2** of 2" in shown(session)
    assert session.title[0].value.replace("\\", "") == invented.HOSTILE
