"""A physician before a review, in a real browser: from the caseload to one person, by key and by click."""

import re

import pytest
from playwright.sync_api import Page, expect

from hvmon.store.store import Store
from tests.app import invented
from tests.journeys.conftest import Served, Somebody
from tests.journeys.hands import alone, go, sees, settled, sign_in

pytestmark = pytest.mark.browser

CHART = "[data-testid='stVegaLiteChart'] canvas, [data-testid='stVegaLiteChart'] svg"


@pytest.fixture
def rising(served: Served, somebody: Somebody) -> Somebody:
    gases = [
        invented.gas(somebody.key, 95 - 8 * step, f"{6.8 + 0.2 * step:.1f}", ph="7.36")
        for step in range(1, 12)
    ]
    with Store.open(served.store_path) as store:
        store.save_all(
            gases, actor="N. Invented", request_id=f"rising-{somebody.key}", now=gases[-1].drawn_at
        )
    return somebody


def at_the_caseload(page: Page, served: Served) -> None:
    page.goto(served.url)
    sees(page.get_by_role("heading", name="Caseload"))
    sees(page.get_by_text("with something overdue"))
    settled(page)


def found(page: Page, somebody: Somebody) -> None:
    settled(page)
    alone(page.get_by_label("Find in the caseload")).fill(somebody.number)
    page.keyboard.press("Tab")
    sees(page.get_by_text(re.compile("^1 people")))
    settled(page)


def drawn(page: Page) -> None:
    sees(page.locator(CHART))
    settled(page)


def test_the_caseload_leads_to_a_review_that_says_what_rises_and_what_is_owed(
    page: Page, served: Served, rising: Somebody
):
    at_the_caseload(page, served)
    found(page, rising)
    alone(page.get_by_role("button", name=re.compile(rising.name))).click()
    sees(page.get_by_role("heading", name="Review", exact=True))
    expect(alone(page.locator(".st-key-person_banner"))).to_contain_text(rising.number)
    sees(page.get_by_text("Is CO2 rising?"))
    sees(page.get_by_text(re.compile(r"rising \(TRD-\d\)")))
    sees(page.get_by_text("What is owed?"))
    drawn(page)


def test_a_person_is_opened_with_the_keyboard_alone(page: Page, served: Served, rising: Somebody):
    at_the_caseload(page, served)
    found(page, rising)
    alone(page.get_by_role("button", name=re.compile(rising.name))).focus()
    page.keyboard.press("Enter")
    expect(alone(page.locator(".st-key-person_banner"))).to_contain_text(rising.number)


def test_a_finding_opens_to_its_limit_basis_source_and_mark(page: Page, served: Served, rising: Somebody):
    at_the_caseload(page, served)
    found(page, rising)
    alone(page.get_by_role("button", name=re.compile(rising.name))).click()
    drawn(page)
    alone(
        page.get_by_test_id("stExpander").filter(has_text="GAS-1 · Awake hypercapnia").locator("summary")
    ).click()
    sees(page.get_by_text("> 45 mmHg"))
    sees(page.get_by_text("Macrea2020, definition"))
    sees(page.get_by_text("seen in the source"))


def test_changing_the_unit_and_the_period_redraws_and_keeps_the_person(
    page: Page, served: Served, rising: Somebody
):
    at_the_caseload(page, served)
    found(page, rising)
    alone(page.get_by_role("button", name=re.compile(rising.name))).click()
    drawn(page)
    alone(page.get_by_role("radio", name="mmHg")).click()
    sees(page.get_by_text(re.compile(r"Modelled usual level \d+ mmHg")))
    alone(page.get_by_role("radio", name="6 months")).click()
    settled(page)
    drawn(page)
    expect(alone(page.locator(".st-key-person_banner"))).to_contain_text(rising.number)


def test_no_name_or_number_stands_in_the_address(page: Page, served: Served, rising: Somebody):
    at_the_caseload(page, served)
    found(page, rising)
    alone(page.get_by_role("button", name=re.compile(rising.name))).click()
    drawn(page)
    for secret in (rising.key, rising.number, rising.name.split()[-1]):
        assert secret not in page.url


def test_what_a_nurse_saves_is_judged_when_the_caseload_is_opened_again(
    page: Page, served: Served, somebody: Somebody
):
    at_the_caseload(page, served)
    gas = invented.gas(somebody.key, 1, "9.6", ph="7.27", hco3="32.0")
    with Store.open(served.store_path) as store:
        store.save(gas, actor="N. Invented", request_id=f"acute-{somebody.key}", now=gas.drawn_at)
    go(page, "Review")
    go(page, "Caseload")
    found(page, somebody)
    sees(page.get_by_text("same day"))
    sees(page.get_by_text("RED-2"))


def test_going_to_another_page_and_back_keeps_the_open_person(page: Page, served: Served, rising: Somebody):
    sign_in(page, served.url, path="")
    found(page, rising)
    alone(page.get_by_role("button", name=re.compile(rising.name))).click()
    drawn(page)
    go(page, "Home visit")
    expect(alone(page.locator(".st-key-person_banner"))).to_contain_text(rising.number)
    go(page, "Review")
    expect(alone(page.locator(".st-key-person_banner"))).to_contain_text(rising.number)
