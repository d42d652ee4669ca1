"""A settings change says who, why, and which test is owed after it and when."""

from datetime import date
from decimal import Decimal

from streamlit.testing.v1 import AppTest

from hvmon.store.store import Store
from hvmon.vocabulary import TestKind
from tests.app.invented import ANNA
from tests.app.sight import answer, press, seen

CHANGE = {
    "time": "0900",
    "kind": "escalation",
    "urgency": "elective",
    "why": "night CO2 high at 18",
    "program_1_ipap_cmh2o": "20",
    "owed_test": "day blood gas",
}


def fill(session: AppTest, answers: dict[str, str]) -> AppTest:
    for key, text in answers.items():
        answer(session, key, text)
    return session.run()


def test_the_settings_in_force_stand_above_the_form(open_page):
    shown = seen(open_page("settings_change"))
    assert "In force since" in shown
    assert "IPAP 18 cmH2O, EPAP 6 cmH2O" in shown


def test_a_change_starts_from_the_settings_in_force_and_is_stored_with_what_is_owed(open_page, store: Store):
    session = fill(open_page("settings_change"), CHANGE)
    answer(session, "owed_by", "15072026")
    session = press(session.run(), "Save the change")
    change = store.dossier(ANNA).settings_change[-1].record
    assert (change.program_1.ipap_cmh2o, change.program_1.epap_cmh2o) == (Decimal(20), Decimal(6))
    assert (change.owed_test, change.owed_by) == (TestKind.DAY_GAS, date(2026, 7, 15))
    assert (change.changed_by, change.why) == ("Nia Nurse", "night CO2 high at 18")


def test_a_test_owed_without_a_day_is_still_needed(open_page, store: Store):
    session = press(fill(open_page("settings_change"), CHANGE), "Save the change")
    assert "Still needed: Owed by" in seen(session).replace("\\", "")
    assert len(store.dossier(ANNA).settings_change) == 1


def test_pressures_out_of_order_are_refused(open_page):
    session = fill(open_page("settings_change"), CHANGE | {"program_1_epap_cmh2o": "22", "owed_test": "none"})
    assert "is not below" in seen(session)


def test_a_second_program_is_asked_only_when_there_is_one(open_page):
    session = fill(open_page("settings_change"), {"second_program": "yes"})
    assert any((widget.key or "").endswith("|program_2_ipap_cmh2o") for widget in session.text_input)


def test_what_is_not_yet_answered_of_a_second_program_is_needed_and_not_refused(open_page):
    session = fill(open_page("settings_change"), {"second_program": "yes"})
    session = fill(session, {"program_2_mode": "mouthpiece on demand"})
    shown = seen(session)
    assert "Interface 2" in shown
    assert "Refused" not in shown
    assert "(refused)" not in shown
