"""The titration page: four questions, proposals side by side, refusals at the field, one saved as a plan."""

import re
from datetime import timedelta

import pytest

from hvmon.app import words
from hvmon.store.errors import Busy
from hvmon.store.store import Store
from tests.app import invented, rising
from tests.app.rising import CARA
from tests.app.sight import answer, press, seen
from tests.services.conftest import NOW

DUE = invented.TODAY + timedelta(days=28)


def text(session):
    tables = [str(table.value.to_dict()) for table in session.table]
    labels = [expander.label for expander in session.expander]
    headers = [header.value for header in session.header]
    return "\n".join([seen(session), *tables, *labels, *headers]).replace("\\", "")


def propose(session, letter, **settings):
    for name, typed in settings.items():
        session.text_input(key=f"whatif|{CARA}|{letter}|{name}").set_value(typed)
    return session.run()


@pytest.fixture
def cara(store: Store):
    store.save_all(rising.records(), actor="N. Invented", request_id="rising", now=NOW)
    return store


@pytest.fixture
def page(open_page, cara):  # noqa: ARG001 - the page reads the store
    return open_page("titration", person=CARA)


def test_the_page_shows_whose_it_is_the_invented_mark_the_caution_and_four_questions(page):
    shown = text(page)
    assert not page.exception
    for wanted in (
        "Cara Invented", "H1003", words.INVENTED, words.CAUTION, "1 · Why is CO2 rising?",
        "2 · What do the machine and the gases imply?", "3 · What could a change do?", "4 · Acid-base",
    ):  # fmt: skip
        assert wanted in shown


def test_the_differential_shows_for_against_and_not_recorded_in_order(page):
    labels = [one.label.replace("\\", "") for one in page.expander]
    questions = [label for label in labels if label.startswith("**")]
    assert [label[2] for label in questions] == list("ABCDE")
    shown = text(page)
    for wanted in ("For", "Against", "Not recorded", "C1 under-use", "No score"):
        assert wanted in shown


def test_without_a_proposal_nothing_is_estimated(page):
    assert "No proposal yet." in text(page)
    assert "Estimates, side by side" not in text(page)


def test_two_proposals_stand_side_by_side_with_intervals_recheck_and_facts(page):
    shown = text(propose(propose(page, "A", ipap_cmh2o="22"), "B", backup_rate_min="18"))
    for wanted in (
        "Estimates, side by side", "not a recommendation", "IPAP 18 → 22 cmH2O", "backup rate 14 → 18 /min",
        "80 % interval", "95 % interval", "Earliest honest recheck", "Methods and weights", "Source",
        "What would make these estimates wrong",
    ):  # fmt: skip
        assert wanted in shown


REFUSED = (
    ({"epap_cmh2o": "19"}, "EPAP 19 is not below IPAP 18"),
    ({"inspiratory_time_s": "0"}, "inspiratory time 0 is not possible"),
    ({"inspiratory_time_s": "-1"}, "inspiratory time -1 is not possible"),
    ({"inspiratory_time_s": "2", "backup_rate_min": "30"}, "not shorter than the cycle"),
    ({"ipap_cmh2o": "64,x"}, "'64,x' is no plain number"),
    ({"hours_per_day": "9", "ipap_cmh2o": "20"}, "hours of use is asked alone"),
)


def test_bad_input_is_refused_by_name_at_its_proposal(page):
    blank = {name: "" for settings, _ in REFUSED for name in settings}
    for settings, said in REFUSED:
        shown = text(propose(page, "A", **(blank | settings)))
        assert said in shown
        assert "Save as a planned change" not in {button.label for button in page.button}


def test_what_is_refused_in_one_proposal_leaves_the_other(page):
    shown = text(propose(propose(page, "A", epap_cmh2o="19"), "B", ipap_cmh2o="20"))
    assert "EPAP 19 is not below IPAP 18" in shown
    assert "IPAP 18 → 20 cmH2O" in shown


def test_a_person_without_settings_gets_a_reason_and_no_fields(open_page):
    session = open_page("titration", person=invented.BRAM)
    assert not session.exception
    assert "No what-if." in text(session)
    assert not [box for box in session.text_input if (box.key or "").startswith("whatif|")]


def test_a_pressure_is_shown_in_the_unit_chosen_and_entered_values_stay(page):
    propose(page, "A", ipap_cmh2o="22")
    page.segmented_control(key="titration_unit").set_value("mmHg")
    shown = text(page.run())
    assert "mmHg" in shown
    assert "7.1 kPa" in shown  # as entered, in the acid-base table


def choose(page, why="nights too short", test="day blood gas"):
    propose(page, "A", ipap_cmh2o="20")
    next(radio for radio in page.radio if radio.label == "Which proposal").set_value("A")
    page.run()
    if why:
        answer(page, "why", why)
    if test:
        answer(page, "owed_test", test)
    return page.run()


def test_a_plan_starts_at_the_earliest_honest_day_and_is_saved_and_listed(page, cara):
    session = press(choose(page), "Save as a planned change")
    assert not session.exception
    plan = cara.dossier(CARA).planned_change[0].record
    assert (plan.proposal, plan.owed_by, plan.planned_by) == ("IPAP 18 → 20 cmH2O", DUE, "Nia Nurse")
    assert "Planned and not yet carried out" in text(session)


def test_a_plan_without_a_reason_or_a_test_is_not_saved_and_says_what_is_needed(page, cara):
    session = press(choose(page, why="", test=""), "Save as a planned change")
    shown = text(session)
    assert words.NOT_SAVED in shown
    assert "Why, Test owed after it" in shown
    assert cara.dossier(CARA).planned_change == ()


def test_a_plan_owed_in_the_past_is_refused_at_its_field(page, cara):
    choose(page)
    answer(page, "owed_by", "01012026")
    session = press(page.run(), "Save as a planned change")
    assert "lies before today" in text(session)
    assert cara.dossier(CARA).planned_change == ()


def test_nobody_named_saves_nothing(open_page, cara):
    session = open_page("titration", person=CARA, actor="")
    session = press(choose(session), "Save as a planned change")
    assert words.NO_ACTOR in text(session)
    assert cara.dossier(CARA).planned_change == ()


def test_a_failing_save_says_not_saved_and_keeps_what_was_typed(page, monkeypatch: pytest.MonkeyPatch):
    def busy(*_args: object, **_more: object) -> None:
        raise Busy("Another program holds the store. NOT saved, press Save again.")

    choose(page)
    monkeypatch.setattr(Store, "save", busy)
    session = press(page, "Save as a planned change")
    assert "NOT saved" in text(session)
    assert any(box.value == "nights too short" for box in session.text_input)


def test_a_reason_is_shown_as_typed_and_asks_nobody(page, cara):
    session = press(choose(page, why=invented.HOSTILE), "Save as a planned change")
    assert cara.dossier(CARA).planned_change[0].record.why == invented.HOSTILE
    cells = [cell for table in session.table for cell in table.value.to_dict().get("Why", {}).values()]
    assert cells
    assert all("![" not in str(cell).replace("\\!\\[", "") for cell in cells)


def test_a_measured_dead_space_is_used_and_a_wrong_one_is_refused(page):
    for name, typed in (("paco2_kpa", "6"), ("mixed_expired_pco2_kpa", "4"), ("tidal_volume_ml", "500")):
        page.text_input(key=f"titration|{CARA}|{name}").set_value(typed)
    assert "167 ±" in text(page.run())
    page.text_input(key=f"titration|{CARA}|mixed_expired_pco2_kpa").set_value("7")
    shown = text(page.run())
    assert "Refused." in shown
    assert "167 ±" not in shown


def test_a_measured_dead_space_changes_the_estimate_of_a_proposal_already_typed(page):
    before = text(propose(page, "A", dead_space_change_ml="-60"))
    for name, typed in (("paco2_kpa", "6"), ("mixed_expired_pco2_kpa", "4.5"), ("tidal_volume_ml", "480")):
        page.text_input(key=f"titration|{CARA}|{name}").set_value(typed)
    after = text(page.run())
    assert methods(before) != methods(after)


def methods(shown):
    return re.findall(r"PaCO2 × [0-9.]+", shown)


def test_on_paper_no_gas_is_left_out(page, cara):
    more = [rising.gas(210 + day, "6.1") for day in range(20)]
    cara.save_all(more, actor="N. Invented", request_id="more", now=NOW)
    page.toggle(key="titration_print").set_value(True)
    longest = max(len(table.value) for table in page.run().table)
    assert longest == 26


def test_for_paper_every_question_of_the_differential_is_open(page):
    page.toggle(key="titration_print").set_value(True)
    opened = [one for one in page.run().expander if one.label.startswith("**")]
    assert all(one.proto.expanded for one in opened)
