"""What a person does at the keyboard, counted."""

import re
from dataclasses import dataclass

from playwright.sync_api import Locator, Page, expect

SHORTCUTS = {"Tab", "Space", "ArrowDown", "ArrowRight", "Enter"}
FOCUSED = """label => {
  const here = document.activeElement
  const group = here.closest('[role=radiogroup]')
  const named = (group || here).getAttribute('aria-label') || here.textContent || ''
  return named.startsWith(label)
}"""


@dataclass
class Hands:
    """Two hands on a keyboard."""

    page: Page
    keys: int = 0

    def type(self, *parts: str) -> None:
        """Press named keys, type everything else; no waiting in between."""
        for part in parts:
            if part in SHORTCUTS:
                self.page.keyboard.press(part)
                self.keys += 1
            else:
                self.page.keyboard.type(part)
                self.keys += len(part)

    def stand_on(self, label: str) -> None:
        """Wait until the cursor stands on a question."""
        self.page.wait_for_function(FOCUSED, arg=label)


def alone(found: Locator) -> Locator:
    """Wait until there is one of it: while a page is drawn anew, old and new stand side by side."""
    expect(found).to_have_count(1)
    return found


def sees(found: Locator) -> None:
    """Wait until it is on the screen, once or, while a page is drawn anew, twice."""
    expect(found.first).to_be_visible()


def sign_in(page: Page, url: str, path: str = "visit", name: str = "Nia Nurse") -> None:
    """Open a page of the dashboard and say who is working."""
    page.goto(f"{url}/{path}")
    alone(page.get_by_label("You", exact=True)).fill(name)
    alone(page.get_by_label("Your role")).click()
    alone(page.get_by_role("option", name="nurse")).click()
    expect(alone(page.get_by_label("Your role"))).to_have_value("nurse")


def open_person(page: Page, text: str) -> None:
    """Find a person by what a search box takes, and open the first one found."""
    alone(page.get_by_label("Find a person")).fill(text)
    page.locator("[class*='st-key-pick'] button").first.click()
    sees(page.locator(".st-key-person_banner"))


def go(page: Page, title: str) -> None:
    """Go to a page by its name in the bar."""
    alone(page.get_by_role("link", name=title, exact=True)).click()
    expect(alone(page.get_by_role("heading", level=1))).to_have_text(re.compile(".+"))


def settled(page: Page) -> None:
    """Wait until the dashboard has answered everything it was sent."""
    expect(page.get_by_test_id("stApp")).to_have_attribute("data-test-script-state", "notRunning")
