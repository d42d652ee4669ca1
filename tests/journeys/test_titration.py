"""A physician at a titration review, in a real browser."""

import uuid

import pytest
from playwright.sync_api import Page, expect

from hvmon.store.store import Store
from tests.app import rising
from tests.journeys.conftest import Served, Somebody
from tests.journeys.hands import alone, go, open_person, sees, settled, sign_in
from tests.services.conftest import NOW

pytestmark = pytest.mark.browser


@pytest.fixture
def rises(served: Served) -> Somebody:
    """Give a person of this journey alone, whose CO2 rises."""
    key = uuid.uuid4().hex
    new = Somebody(key, f"R{key[:8]}", f"Ria {key[:6]}")
    with Store.open(served.store_path) as store:
        records = rising.records(key=new.key, name=new.name, number=new.number)
        store.save_all(records, actor="N. Invented", request_id=key, now=NOW)
    return new


def propose(page: Page, label: str, text: str) -> None:
    alone(page.get_by_label(label, exact=True)).fill(text)
    page.keyboard.press("Tab")


def test_a_rise_is_read_two_proposals_are_compared_and_one_is_owed_in_the_caseload(
    page: Page, served: Served, rises: Somebody
):
    sign_in(page, served.url, "titration", name="Pia Physician")
    open_person(page, rises.number)
    main = page.get_by_test_id("stMain")
    sees(main.get_by_text("above 6.4 on 2026-04-12; like for like"))
    sees(main.get_by_text("A · Is it real?"))
    sees(main.get_by_text("C1 under-use"))
    propose(page, "A · IPAP [cmH2O]", "20")
    propose(page, "B · backup rate [/min]", "18")
    sees(main.get_by_text("backup rate 14 → 18 /min"))
    sees(main.get_by_text("IPAP 18 → 20 cmH2O"))
    sees(main.get_by_text("not a recommendation"))
    expect(main.locator(".stVegaLiteChart canvas, .stVegaLiteChart svg")).to_have_count(5)
    alone(page.get_by_role("radiogroup", name="Which proposal").get_by_text("B", exact=True)).click()
    alone(page.get_by_label("Why", exact=True)).fill("rate below what is breathed")
    page.keyboard.press("Tab")
    tests = page.get_by_role("radiogroup", name="Test owed after it")
    alone(tests.get_by_text("day blood gas", exact=True)).click()
    expect(alone(page.get_by_label("Owed by", exact=True))).to_have_value("13072026")
    alone(page.get_by_role("button", name="Save as a planned change")).click()
    sees(main.get_by_text("Planned and not yet carried out"))
    settled(page)
    go(page, "Caseload")
    alone(page.get_by_label("Find in the caseload")).fill(rises.number)
    page.keyboard.press("Tab")
    sees(main.get_by_text("1 people"))
    sees(main.get_by_role("button", name=rises.name))
    sees(main.get_by_text("13 Jul 2026"))
    with Store.open(served.store_path) as store:
        plans = store.dossier(rises.key).planned_change
    assert [plan.record.proposal for plan in plans] == ["backup rate 14 → 18 /min"]


def test_epap_above_ipap_is_refused_by_name_while_the_other_proposal_stands(
    page: Page, served: Served, rises: Somebody
):
    sign_in(page, served.url, "titration", name="Pia Physician")
    open_person(page, rises.number)
    propose(page, "A · EPAP [cmH2O]", "19")
    propose(page, "B · IPAP [cmH2O]", "20,5")
    main = page.get_by_test_id("stMain")
    sees(main.get_by_text("EPAP 19 is not below IPAP 18"))
    sees(main.get_by_text("IPAP 18 → 20.5 cmH2O"))


def test_a_proposal_is_still_there_after_a_look_at_another_page(page: Page, served: Served, rises: Somebody):
    sign_in(page, served.url, "titration", name="Pia Physician")
    open_person(page, rises.number)
    propose(page, "A · IPAP [cmH2O]", "20")
    sees(page.get_by_text("IPAP 18 → 20 cmH2O"))
    go(page, "Review")
    settled(page)
    go(page, "Titration")
    expect(alone(page.get_by_label("A · IPAP [cmH2O]", exact=True))).to_have_value("20")


def test_at_1366_by_768_nothing_runs_out_of_the_page(page: Page, served: Served, rises: Somebody):
    sign_in(page, served.url, "titration", name="Pia Physician")
    open_person(page, rises.number)
    propose(page, "A · IPAP [cmH2O]", "20")
    sees(page.get_by_text("IPAP 18 → 20 cmH2O"))
    settled(page)
    wide = page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth - "
                         "document.querySelector('[data-testid=stMain]').clientWidth")  # fmt: skip
    assert wide <= 0
