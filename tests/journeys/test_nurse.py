"""A nurse at a home visit, in a real browser, with the keyboard."""

import time

import pytest
from playwright.sync_api import Page, expect

from hvmon.store.store import Store
from tests.app.invented import HOSTILE
from tests.journeys.conftest import Served, Somebody
from tests.journeys.hands import Hands, alone, go, open_person, sees, settled, sign_in

pytestmark = pytest.mark.browser

TAB, PICK, NEXT = "Tab", "Space", "ArrowDown"
TO_THE_SAMPLE = ("1005", TAB, TAB, PICK, TAB)  # time; place stays home; routine
SAMPLE = (NEXT, TAB, "1030", TAB, "0", TAB, PICK, TAB)  # earlobe, time, attempts, 37 C
STATE = (NEXT, TAB, "45", TAB, "1", TAB, "n", TAB, PICK, TAB, PICK, TAB, PICK, TAB)
VALUES = ("7.36", TAB, "6,7", TAB, "8.4", TAB, "28.1", TAB, PICK, TAB, "91", TAB, "3.2", TAB, PICK, TAB)
RESULT = (PICK, TAB, *VALUES, TAB, TAB, TAB)  # kPa; no SO2, lactate, haemoglobin
SYMPTOMS = (PICK, TAB, PICK, TAB, *("3", TAB) * 6, NEXT, TAB, NEXT, TAB)
MACHINE = (PICK, TAB, TAB, PICK, TAB)  # same as ordered, no meter, backup tested
PERSON = ("18", TAB, TAB, TAB, "71.5", TAB, PICK, TAB, TAB, TAB, TAB, NEXT, TAB)
NOTE = ("Mask sore.", TAB, TAB, TAB)  # no advice, nothing more
WHOLE_VISIT = (*TO_THE_SAMPLE, *SAMPLE, *STATE, *RESULT, *SYMPTOMS, *MACHINE, *PERSON, *NOTE)


def dossier(served: Served, somebody: Somebody):
    with Store.open(served.store_path) as store:
        return store.dossier(somebody.key)


def at_the_form(page: Page, served: Served, somebody: Somebody) -> Hands:
    sign_in(page, served.url)
    open_person(page, somebody.number)
    hands = Hands(page)
    hands.stand_on("Time")
    return hands


def test_a_whole_visit_is_entered_by_keyboard_alone(page: Page, served: Served, somebody: Somebody):
    hands = at_the_form(page, served, somebody)
    began = time.monotonic()
    hands.type(*WHOLE_VISIT)
    hands.stand_on("Save the visit")
    sees(page.get_by_text("Nothing is missing."))
    hands.type("Enter")
    sees(page.get_by_text("Stored. 5 records."))
    took_s = time.monotonic() - began
    print(f"whole visit: {hands.keys} keys, {took_s:.1f} s typed ahead")  # noqa: T201 - a figure to read, no limit
    gas = dossier(served, somebody).blood_gas[-1].record
    assert (str(gas.pco2), str(gas.ph), str(gas.hco3_mmol_l)) == ("6.7 kPa", "7.36", "28.1")
    assert hands.keys < 180


def test_a_questionnaire_and_the_rest_of_the_sample_are_entered_by_keyboard_behind_one_answer(
    page: Page, served: Served, somebody: Somebody
):
    hands = at_the_form(page, served, somebody)
    hands.type(*WHOLE_VISIT[:-1])
    hands.stand_on("More to record")
    hands.type(NEXT)
    page.get_by_label("Time analysed (optional)").wait_for()
    hands.type(TAB)
    hands.stand_on("Time analysed")
    hands.type("1042", TAB, "clinic 2", TAB, TAB, TAB, "peak cough flow: too tired", TAB, TAB)
    hands.stand_on("Questionnaire 1")
    hands.type(PICK)
    page.get_by_text("0 to 24, high is worse").first.wait_for()
    hands.type(TAB, "11", TAB, TAB, TAB, PICK, TAB)
    sees(page.get_by_text("understood: 11 of 0 to 24, high is worse"))
    sees(page.get_by_text("Nothing is missing."))
    alone(page.get_by_role("button", name="Save the visit")).press("Enter")
    sees(page.get_by_text("Stored. 5 records."))
    held = dossier(served, somebody)
    assert str(held.symptom_report[-1].record.instruments[0].total) == "11"
    assert held.visit[-1].record.not_done == "peak cough flow: too tired"


def test_the_save_button_stays_the_same_while_the_form_fills_so_that_a_key_pressed_on_it_is_not_lost(
    page: Page, served: Served, somebody: Somebody
):
    hands = at_the_form(page, served, somebody)
    save = page.get_by_role("button", name="Save the visit")
    save.evaluate("button => { button.seenBefore = true }")
    for part in (TO_THE_SAMPLE, SAMPLE, STATE[:2], STATE[2:6], STATE[6:], RESULT, SYMPTOMS, MACHINE, PERSON):
        hands.type(*part)
        page.wait_for_timeout(400)  # lets the form answer in between, as it does for slower hands
        settled(page)
        assert save.evaluate("button => button.seenBefore === true")


def test_what_was_typed_is_answered_at_once(page: Page, served: Served, somebody: Somebody):
    hands = at_the_form(page, served, somebody)
    hands.type(*TO_THE_SAMPLE, *SAMPLE, *STATE, PICK, TAB, "7.36", TAB, "6,7", TAB)
    sees(page.get_by_text("understood: 6.7 kPa"))


def test_mmhg_typed_in_a_kpa_field_is_asked_about_and_not_saved(
    page: Page, served: Served, somebody: Somebody
):
    hands = at_the_form(page, served, somebody)
    slip = tuple("49" if part == "6,7" else part for part in WHOLE_VISIT)
    hands.type(*slip[: -len(NOTE)])
    sees(page.get_by_text("Unlikely, please check."))
    alone(page.get_by_role("button", name="Save the visit")).click()
    sees(page.get_by_text("NOT saved."))
    assert dossier(served, somebody).visit == ()


def test_mmhg_beyond_every_survived_kpa_is_refused(page: Page, served: Served, somebody: Somebody):
    hands = at_the_form(page, served, somebody)
    hands.type(*TO_THE_SAMPLE, *SAMPLE, *STATE, PICK, TAB, "7.36", TAB, "61", TAB)
    sees(page.get_by_text("PCO2 61 is not possible; accepted is 0.9 to 50 kPa"))


def test_a_double_click_on_save_adds_one_visit(page: Page, served: Served, somebody: Somebody):
    hands = at_the_form(page, served, somebody)
    hands.type(*WHOLE_VISIT)
    sees(page.get_by_text("Nothing is missing."))
    alone(page.get_by_role("button", name="Save the visit")).dblclick()
    sees(page.get_by_text("Stored. 5 records."))
    settled(page)
    held = dossier(served, somebody)
    assert (len(held.visit), len(held.symptom_report), len(held.weight)) == (1, 1, 1)


def half_fill(page: Page, served: Served, somebody: Somebody) -> None:
    hands = at_the_form(page, served, somebody)
    hands.type(*TO_THE_SAMPLE, *SAMPLE, *STATE, PICK, TAB, "7.36", TAB)
    sees(page.get_by_text("understood: 7.36"))
    settled(page)


def go_on_with_it(page: Page, somebody: Somebody) -> None:
    kept = page.get_by_test_id("stLayoutWrapper").filter(has_text=f"{somebody.name}:").last
    alone(kept.get_by_role("button", name="Go on with it")).click()
    expect(alone(page.get_by_label("pH", exact=True))).to_have_value("7.36")
    expect(alone(page.get_by_label("Time", exact=True))).to_have_value("1005")


def test_a_refresh_with_a_half_filled_visit_offers_it_back(page: Page, served: Served, somebody: Somebody):
    half_fill(page, served, somebody)
    page.reload()
    sees(page.get_by_text("Unfinished forms on this machine"))
    go_on_with_it(page, somebody)


def test_who_is_working_and_hidden_names_last_a_refresh_and_end_with_the_tab(page: Page, served: Served):
    sign_in(page, served.url)
    alone(page.get_by_test_id("stSidebar").get_by_text("Hide names")).click()
    page.wait_for_function("(sessionStorage.getItem('hvmon') || '').includes('true')")
    page.reload()
    expect(alone(page.get_by_label("You", exact=True))).to_have_value("Nia Nurse")
    expect(alone(page.get_by_label("Your role"))).to_have_value("nurse")
    expect(alone(page.get_by_label("Hide names"))).to_be_checked()
    assert "Nia" not in str(page.context.cookies())
    assert "Nia" not in page.url
    other = page.context.new_page()
    other.goto(f"{served.url}/visit")
    sees(other.get_by_label("Your role"))
    settled(other)
    expect(alone(other.get_by_label("You", exact=True))).to_have_value("")
    other.close()


def test_a_restart_of_the_server_with_a_half_filled_visit_offers_it_back(
    page: Page, served: Served, somebody: Somebody
):
    half_fill(page, served, somebody)
    served.restart()
    page.goto(f"{served.url}/visit")
    expect(alone(page.get_by_label("Your role"))).to_have_value("nurse")  # as this tab kept it
    settled(page)
    open_person(page, somebody.number)
    go_on_with_it(page, somebody)


def test_a_correction_keeps_the_old_value(page: Page, served: Served, somebody: Somebody):
    sign_in(page, served.url, "correct")
    open_person(page, somebody.number)
    alone(page.get_by_label("Which record")).click()
    page.get_by_role("option", name="blood gas").first.click()
    alone(page.get_by_label("pH", exact=True)).fill("7.38")
    alone(page.get_by_label("Reason for the correction")).fill("digits swapped")
    page.keyboard.press("Tab")
    sees(page.get_by_text("Nothing is missing."))
    alone(page.get_by_role("button", name="Save the correction")).click()
    sees(page.get_by_text("pH: 7.37 → 7.38"))
    sees(page.get_by_text("Stored as a new version."))


def test_hostile_text_is_shown_as_typed_on_every_page_and_asks_nobody(page: Page, served: Served):
    sign_in(page, served.url)
    open_person(page, "H1002")
    banner = page.locator(".st-key-person_banner")
    for title in (
        "Home visit",
        "Settings change",
        "Person",
        "Rules and sources",
        "Review",
        "Caseload",
        "Meeting",
    ):
        go(page, title)
        settled(page)
        if title not in {"Caseload", "Meeting"}:
            expect(alone(banner)).to_contain_text(HOSTILE)
        assert page.locator("img[src*='127.0.0.1:9']").count() == 0
        expect(page.locator("[data-testid=stMarkdownContainer] a[href*='127.0.0.1:9']")).to_have_count(0)


def test_no_key_follows_an_address_typed_into_the_record(page: Page, served: Served):
    sign_in(page, served.url)
    open_person(page, "H1002")
    settled(page)
    stops = set()
    for _ in range(40):
        page.keyboard.press("Tab")
        stops.add(page.evaluate("document.activeElement.getAttribute('href') || ''"))
    assert not any("127.0.0.1:9" in stop for stop in stops)
    page.get_by_text("127.0.0.1:9/leak").first.click()
    page.keyboard.press("Enter")
    settled(page)
    assert len(page.context.pages) == 1
    assert page.url.startswith(served.url)


def test_a_hostile_note_is_stored_and_shown_as_typed(page: Page, served: Served, somebody: Somebody):
    hands = at_the_form(page, served, somebody)
    hands.type(*WHOLE_VISIT[: -len(NOTE)], HOSTILE, TAB, TAB, TAB)
    sees(page.get_by_text("Nothing is missing."))
    hands.type("Enter")
    sees(page.get_by_text("Stored. 5 records."))
    sees(page.get_by_text(HOSTILE))
    assert dossier(served, somebody).visit[-1].record.comment == HOSTILE


def test_names_can_be_hidden_for_a_screen_that_others_see(page: Page, served: Served, somebody: Somebody):
    sign_in(page, served.url)
    open_person(page, somebody.number)
    alone(page.get_by_test_id("stSidebar").get_by_text("Hide names")).click()
    expect(alone(page.locator(".st-key-person_banner"))).not_to_contain_text(somebody.name)
    expect(page.get_by_text(somebody.number)).to_have_count(0)
    assert "Jo" not in page.title() + page.url
