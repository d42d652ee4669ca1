"""The review page: the four lines, the chart, findings with source and mark, nothing that says safe."""

from datetime import UTC, datetime

import altair as alt
import pytest

from hvmon.app import words
from hvmon.app.estimate_parts import PANEL
from hvmon.store.store import Store
from tests.app import invented
from tests.app.sight import seen

NOW = datetime(2026, 6, 14, 9, tzinfo=UTC)


def text(session):
    tables = [str(table.value.to_dict()) for table in session.table]
    return (seen(session) + "\n".join(tables)).replace("\\", "")


@pytest.fixture
def rising(store: Store):
    gases = [invented.gas(invented.ANNA, 95 - 8 * step, f"{6.8 + 0.2 * step:.1f}") for step in range(1, 12)]
    store.save_all(gases, actor="N. Invented", request_id="rising", now=NOW)


def test_the_page_shows_whose_it_is_the_invented_mark_and_the_caution(open_page):
    shown = text(open_page("review"))
    for wanted in ("Anna Invented", "H1001", "03 Feb 1952", words.INVENTED, words.CAUTION):
        assert wanted in shown


def test_the_four_lines_answer_rising_readings_change_and_owed(open_page):
    shown = text(open_page("review"))
    for question in ("Is CO2 rising?", "On which readings?", "Since which change?", "What is owed?"):
        assert question in shown
    assert "Not enough to tell" in shown
    assert "first settings: IPAP 18 EPAP 6" in shown


@pytest.mark.usefixtures("rising")
def test_a_rise_is_named_with_its_rule_and_its_chance(open_page):
    shown = text(open_page("review"))
    assert "rising (TRD-" in shown
    assert "Chance of a rise since" in shown
    assert PANEL in {expander.label for expander in open_page("review").expander}


def test_a_finding_shows_its_limit_source_and_how_far_it_was_verified(open_page):
    session = open_page("review")
    labels = " ".join(expander.label for expander in session.expander).replace("\\", "")
    assert "GAS-1" in labels
    shown = text(session)
    assert "> 45 mmHg" in shown
    assert "Macrea2020" in shown
    assert "seen in the source" in shown


def test_what_could_not_be_assessed_is_listed_with_the_reason(open_page):
    session = open_page("review")
    labels = [expander.label for expander in session.expander]
    assert any("rules could not be assessed" in label for label in labels)
    assert "Why it could not be assessed" in text(session)


def test_somebody_without_any_reading_gets_a_page_and_no_reassurance(open_page):
    session = open_page("review", person=invented.BRAM)
    assert not session.exception
    shown = text(session)
    assert "No CO2 reading" in shown
    assert " safe" not in shown.lower()


def test_hostile_notes_are_shown_as_typed_everywhere(open_page):
    shown = seen(open_page("review", person=invented.BRAM))
    assert "![x](" not in shown
    assert "<script>" not in shown


def test_without_a_person_the_page_says_how_to_open_one(open_page):
    session = open_page("review", person=None)
    assert words.NO_PERSON in seen(session)


def test_the_unit_of_display_changes_the_headline_and_not_the_value_as_entered(open_page):
    session = open_page("review")
    assert "kPa (" in text(session)
    session.session_state["show_unit"] = "mmHg"
    shown = text(session.run())
    assert "mmHg (" in shown
    assert "6.7 kPa" in shown


def test_the_chart_is_sent_with_words_for_who_does_not_see_it(open_page):
    session = open_page("review")
    charts = [element for element in session.main if element.type == "vega_lite_chart"]
    protos = [element.proto for element in charts] or [
        node.proto for node in session.get("vega_lite_chart") or session.get("arrow_vega_lite_chart")
    ]
    assert "CO2 readings by sample kind (2 capillary earlobe)" in str(protos[0])
    assert alt.__version__
