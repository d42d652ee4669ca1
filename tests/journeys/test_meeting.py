"""A meeting of several people at one screen, in a real browser."""

import re

import pytest
from playwright.sync_api import Page, expect

from hvmon.store.store import Store
from tests.app import invented
from tests.journeys.conftest import Served, Somebody
from tests.journeys.hands import alone, sees, settled, sign_in

pytestmark = pytest.mark.browser

HEADLINE_PX, FACTS_PX = 44, 28
HURRIED = 30
"""Times a hurried hand goes on and back; a fault of timing shows in some of them only."""


@pytest.fixture
def acute(served: Served, somebody: Somebody) -> Somebody:
    """Give somebody who stands first in the list."""
    gases = [
        invented.gas(somebody.key, 5 - place, value, ph="7.21", hco3="33.0")
        for place, value in enumerate(("10.2", "12.4"))
    ]
    with Store.open(served.store_path) as store:
        store.save_all(gases, actor="N. Invented", request_id=f"acute-{somebody.key}", now=gases[-1].drawn_at)
    return somebody


def at_the_meeting(page: Page, served: Served, somebody: Somebody) -> None:
    page.set_viewport_size({"width": 1920, "height": 1080})
    sign_in(page, served.url, path="meeting", name="P. Physician")
    settled(page)
    walk_to(page, somebody.name)


def walk_to(page: Page, name: str) -> None:
    for place in range(1, 41):
        sees(page.get_by_text(re.compile(rf"^{place} of \d+, in order of need")))
        settled(page)
        if alone(page.get_by_role("heading", level=1)).inner_text() == name:
            return
        page.keyboard.press("Alt+ArrowRight")
    pytest.fail(f"{name} is not in the list of the meeting")


def size_px(page: Page, selector: str) -> float:
    size = page.locator(selector).first.evaluate("node => getComputedStyle(node).fontSize")
    return float(size.removesuffix("px"))


def decide(page: Page, decision: str, owner: str = "N. Invented") -> None:
    alone(page.get_by_label("Question to the meeting")).fill("Is the rise real?")
    alone(page.get_by_label("Decision", exact=True)).fill(decision)
    alone(page.get_by_label("Owner")).fill(owner)
    page.keyboard.press("Tab")
    page.keyboard.type("20072026")
    page.keyboard.press("Tab")
    settled(page)


def stored(served: Served, somebody: Somebody):
    with Store.open(served.store_path) as store:
        dossier = store.dossier(somebody.key)
    return dossier.meeting_decision, dossier.action


def test_texts_are_large_enough_to_read_at_three_metres(page: Page, served: Served, acute: Somebody):
    at_the_meeting(page, served, acute)
    assert size_px(page, ".st-key-meeting_head h1") >= HEADLINE_PX
    assert size_px(page, ".st-key-meeting_facts p") >= FACTS_PX


@pytest.mark.parametrize("size", [(1920, 1080), (1366, 768)])
def test_the_whole_person_fits_on_one_screen(
    page: Page, served: Served, acute: Somebody, size: tuple[int, int]
):
    at_the_meeting(page, served, acute)
    page.set_viewport_size({"width": size[0], "height": size[1]})
    save = alone(page.get_by_role("button", name="Save decision"))
    page.wait_for_function(
        "button => button.getBoundingClientRect().bottom <= innerHeight", arg=save.element_handle()
    )


def test_a_double_click_on_save_stores_one_decision_with_owner_and_date(
    page: Page, served: Served, acute: Somebody
):
    at_the_meeting(page, served, acute)
    decide(page, "Repeat the gas on the new mask")
    alone(page.get_by_role("button", name="Save decision")).dblclick()
    sees(page.get_by_text("Decision: Stored.").or_(page.get_by_text("nothing was typed")))
    settled(page)
    decisions, actions = stored(served, acute)
    assert [held.record.decision for held in decisions] == ["Repeat the gas on the new mask"]
    assert [(held.record.owner, f"{held.record.due}") for held in actions] == [("N. Invented", "2026-07-20")]


def test_the_keyboard_moves_on_and_back(page: Page, served: Served, acute: Somebody):
    at_the_meeting(page, served, acute)
    page.keyboard.press("Alt+ArrowRight")
    settled(page)
    expect(alone(page.get_by_role("heading", level=1))).not_to_have_text(acute.name)
    page.keyboard.press("Alt+ArrowLeft")
    expect(alone(page.get_by_role("heading", level=1))).to_have_text(acute.name)


def test_a_key_pressed_while_a_person_is_still_drawn_moves_by_one(
    page: Page, served: Served, acute: Somebody
):
    at_the_meeting(page, served, acute)
    heading = page.get_by_role("heading", level=1)
    for _ in range(HURRIED):
        page.keyboard.press("Alt+ArrowRight")
        expect(heading.first).not_to_have_text(acute.name)  # drawn, and what stands below it not yet
        page.keyboard.press("Alt+ArrowLeft")
        expect(alone(heading)).to_have_text(acute.name)


def test_names_are_hidden_at_a_touch(page: Page, served: Served, acute: Somebody):
    at_the_meeting(page, served, acute)
    page.get_by_text("Hide names").first.click()
    expect(alone(page.get_by_role("heading", level=1))).to_have_text(re.compile(r"^J\. "))
    expect(page.get_by_text(acute.name)).to_have_count(0)
    expect(page.get_by_text(acute.number)).to_have_count(0)


def test_a_decision_left_half_typed_is_not_stored_with_the_next_person(
    page: Page, served: Served, acute: Somebody
):
    at_the_meeting(page, served, acute)
    alone(page.get_by_label("Decision", exact=True)).fill("half a thought")
    page.keyboard.press("Tab")
    settled(page)
    alone(page.get_by_role("button", name=re.compile("^Next"))).click()
    settled(page)
    expect(alone(page.get_by_label("Decision", exact=True))).to_have_value("")
    assert stored(served, acute)[0] == ()
