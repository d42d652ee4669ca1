"""The part of the review that says how sure the estimate is, and the panel to check it."""

from datetime import timedelta

import pytest

from hvmon.app.estimate_parts import PANEL
from hvmon.services.estimate_answers import VERBAL_NOTE
from tests.app import invented
from tests.app.sight import seen
from tests.services.cohorts import NOW


@pytest.fixture
def rising(store):
    gases = [invented.gas(invented.ANNA, 95 - 8 * step, f"{6.8 + 0.2 * step:.1f}") for step in range(1, 12)]
    store.save_all(gases, actor="N. Invented", request_id="rising", now=NOW)


def text(session) -> str:
    tables = [str(table.value.to_dict()) for table in session.table]
    codes = [str(code.value) for code in session.code]
    return (seen(session) + "\n".join([*tables, *codes])).replace("\\", "")


@pytest.mark.usefixtures("rising")
def test_the_review_gives_chances_in_words_and_numbers_for_every_horizon(open_page):
    session = open_page("review")
    assert not session.exception
    shown = text(session)
    for days in (90, 180, 365):
        assert f"In {days} days" in shown
    for wanted in ("Without the newest reading", "that it is a gross error: ", VERBAL_NOTE):
        assert wanted in shown


@pytest.mark.usefixtures("rising")
def test_the_panel_is_folded_and_holds_equations_readings_and_version_when_opened(open_page):
    session = open_page("review")
    assert "beta (O2_i" not in text(session)
    assert PANEL in {expander.label for expander in session.expander}
    session.session_state["open_how"] = True
    shown = text(session.run())
    for wanted in (
        "beta (O2_i",
        "docs/trend.md",
        "Model trend-1; priors",
        "used, newest",
        "noise multiplier",
        "RepeatGas2015",
        "80 % intervals then covered 68 to 75 %",
    ):
        assert wanted in shown


@pytest.mark.usefixtures("rising")
def test_the_day_since_which_a_rise_is_asked_for_can_be_chosen(open_page):
    session = open_page("review")
    usual = text(session)
    chosen = invented.TODAY - timedelta(days=40)
    session.date_input[0].set_value(chosen)
    session.run()
    assert not session.exception
    shown = text(session)
    assert f"Has it risen since {chosen:%d %b %Y}?" in shown
    assert f"Has it risen since {chosen:%d %b %Y}?" not in usual
    assert VERBAL_NOTE in shown


def test_somebody_without_a_reading_gets_no_such_part(open_page):
    assert VERBAL_NOTE not in text(open_page("review", person=invented.BRAM))
