"""The home visit page, from the entry file of the dashboard."""

from streamlit.testing.v1 import AppTest

from hvmon.services.drafts import unfinished
from hvmon.store.store import Store
from tests.app.answers import WHOLE_VISIT
from tests.app.invented import ANNA, BRAM
from tests.app.sight import answer, press, seen


def fill(session: AppTest, answers: dict[str, str]) -> AppTest:
    for key, text in answers.items():
        answer(session, key, text)
    return session.run()


def test_the_page_asks_for_a_person_first(open_page):
    assert "No person is open" in seen(open_page("visit", person=None))


def test_a_whole_visit_is_stored_and_shown(open_page, store: Store):
    session = fill(open_page("visit"), WHOLE_VISIT)
    assert "understood: 6\\.7 kPa" in seen(session)
    session = press(session, "Save the visit")
    assert not session.exception
    assert "**Stored.** 5 records." in seen(session)
    held = store.dossier(ANNA)
    assert str(held.blood_gas[-1].record.pco2) == "6.7 kPa"
    assert held.visit[-1].recorded_by == "Nia Nurse"


def test_a_save_with_something_missing_says_what_and_stores_nothing(open_page, store: Store):
    session = press(fill(open_page("visit"), {"time": "1005"}), "Save the visit")
    assert "**NOT saved.** Still needed:" in seen(session)
    assert store.dossier(ANNA).visit == ()


def test_a_save_without_a_name_says_so_and_keeps_the_form(open_page, store: Store):
    session = press(fill(open_page("visit", actor=""), WHOLE_VISIT), "Save the visit")
    assert "NOT saved. Type your name" in seen(session)
    assert store.dossier(ANNA).visit == ()
    assert unfinished(store, "visit")[0].answers["sample.ph"] == "7.36"


def test_an_impossible_number_is_refused_at_once_with_the_accepted_range(open_page):
    session = fill(open_page("visit"), {"sample.ph": "736"})
    assert "**Refused.** pH 736 is not possible" in seen(session)


def test_mmhg_typed_as_kpa_is_asked_and_the_reason_is_stored(open_page, store: Store):
    session = fill(open_page("visit"), WHOLE_VISIT | {"sample.pco2": "49"})
    assert "Unlikely, please check" in seen(session)
    reasons = [widget.key for widget in session.text_input if widget.key and "|reason." in widget.key]
    fill(session, {key.split("|")[1]: "read twice" for key in reasons})
    press(session, "Save the visit")
    accepted = store.dossier(ANNA).blood_gas[-1].record.accepted_warnings
    assert {one.reason for one in accepted} == {"read twice"}


def test_a_half_filled_visit_comes_back_in_a_new_session(open_page, store: Store):
    fill(open_page("visit"), {"time": "1005", "sample": "capillary earlobe", "sample.ph": "7.36"})
    assert len(unfinished(store, "visit")) == 1
    session = open_page("visit")
    assert "was begun and not saved" in seen(session)
    session = press(session, "Go on with it")
    kept = {
        widget.key.split("|")[-1]: widget.value for widget in session.text_input if "|" in (widget.key or "")
    }
    assert (kept["time"], kept["sample.ph"]) == ("1005", "7.36")
    fill(session, WHOLE_VISIT)
    press(session, "Save the visit")
    assert len(store.dossier(ANNA).visit) == 1
    assert unfinished(store, "visit") == ()


def test_unfinished_visits_are_offered_before_a_person_is_chosen(open_page):
    fill(open_page("visit"), {"time": "1005"})
    session = press(open_page("visit", person=None), "Go on with it")
    assert session.session_state["person_key"] == ANNA


def test_discarding_asks_first(open_page, store: Store):
    session = fill(open_page("visit"), {"time": "1005"})
    assert "will be lost" in seen(session)
    press(session, "Yes, discard it")
    assert unfinished(store, "visit") == ()


def test_an_untouched_form_leaves_no_draft(open_page, store: Store):
    open_page("visit")
    assert unfinished(store, "visit") == ()


def test_the_form_of_one_person_does_not_follow_to_another(open_page):
    session = fill(open_page("visit"), {"time": "1005"})
    session.session_state["person_key"] = BRAM
    session.run()
    times = [widget.value for widget in session.text_input if (widget.key or "").endswith("|time")]
    assert times == [""]


def test_text_of_the_record_is_shown_with_every_punctuation_escaped(open_page):
    shown = seen(open_page("visit", person=BRAM))
    assert "http://127.0.0.1:9" not in shown
    assert "http\\:\\/\\/127\\.0\\.0\\.1\\:9\\/leak" in shown


def test_names_can_be_hidden(open_page):
    session = open_page("visit")
    session.toggle(key="hide_names").set_value(True)
    session.run()
    shown = seen(session)
    assert "Anna" not in shown
    assert "H1001" not in shown
    assert "A\\. I\\." in shown
