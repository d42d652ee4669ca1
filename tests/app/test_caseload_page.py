"""The caseload page: who, why, what is owed; opening a person; nothing typed by a person acts as markup."""

from datetime import UTC, datetime

import streamlit as st

from hvmon.app import words
from hvmon.services import caseload
from hvmon.store.store import Store
from tests.app import invented
from tests.app.sight import seen

NOW = datetime(2026, 6, 14, 9, tzinfo=UTC)


def names(session):
    return [button.label for button in session.button if (button.key or "").startswith("open-")]


def test_the_caseload_is_the_start_page_and_judges_everybody_for_today(open_page):
    session = open_page("caseload", person=None)
    assert not session.exception
    assert session.title[0].value == "Caseload"
    assert len(names(session)) == 2
    assert words.CAUTION in seen(session)
    assert f"{words.INVENTED}: all people in this list are invented" in seen(session).replace("\\", "")


def test_a_row_says_why_by_rule_id_what_is_owed_and_what_could_not_be_assessed(open_page):
    shown = seen(open_page("caseload", person=None)).replace("\\", "")
    assert "GAS-1" in shown
    assert "rules could not be assessed" in shown
    assert "6.7 kPa capillary earlobe, off ventilator" in shown


def test_pressing_a_name_opens_the_review_of_that_person(open_page):
    session = open_page("caseload", person=None)
    anna = next(button for button in session.button if button.key == f"open-{invented.ANNA}")
    session = anna.click().run()
    assert session.session_state["person_key"] == invented.ANNA
    assert session.title[0].value == "Review"


def test_a_hostile_name_is_shown_as_typed(open_page):
    session = open_page("caseload", person=None)
    label = next(label for label in names(session) if "script" in label)
    assert r"\!\[x\]\(http\:\/\/127\.0\.0\.1" in label


def test_finding_by_number_keeps_that_person_only(open_page):
    session = open_page("caseload", person=None)
    session.text_input(key="caseload_text").set_value("H1001").run()
    assert len(names(session)) == 1
    assert "Anna" in names(session)[0]


def test_nobody_found_is_said(open_page):
    session = open_page("caseload", person=None)
    session.text_input(key="caseload_text").set_value("nobody of that name").run()
    assert "Nobody fits these filters." in seen(session)


def test_hidden_names_are_not_on_the_page(open_page):
    session = open_page("caseload", person=None)
    session.session_state["hide_names"] = True
    session.run()
    assert "Anna" not in " ".join(names(session))
    assert "H1001" not in " ".join(names(session))


def test_a_reading_saved_elsewhere_is_judged_when_the_page_is_seen_again(open_page, store: Store):
    session = open_page("caseload", person=None)
    assert "RED-2" not in seen(session)
    gas = invented.gas(invented.ANNA, 1, "9.6", ph="7.27", hco3="32.0")
    store.save(gas, actor="N. Invented", request_id="acute", now=NOW)
    assert "RED-2" in seen(session.run()).replace("\\", "")
    assert caseload.stale(store, today=invented.TODAY) == ()


def test_more_people_than_are_judged_at_once_are_asked_for(open_page, monkeypatch):
    st.cache_resource.clear()
    session = open_page("caseload", person=None)
    assert "are not judged for today" not in seen(session)
    monkeypatch.setattr(caseload, "stale", lambda *_a, **_k: tuple(f"person-{n}" for n in range(500)))
    assert "500 people are not judged for today and are not in this list" in seen(session.run())


def test_edits_of_the_service_that_are_wrong_stop_the_judging_and_are_named(open_page, tmp_path, monkeypatch):
    path = tmp_path / "service.toml"
    path.write_text("[rules.GAS-99]\nreason = 'x'\n", encoding="utf-8")
    monkeypatch.setenv("HVMON_SERVICE", str(path))
    session = open_page("caseload", person=None)
    shown = seen(session).replace("\\", "")
    assert "Nobody is judged" in shown
    assert "GAS-99" in shown
    assert names(session) == []
