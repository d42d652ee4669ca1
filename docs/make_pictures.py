"""Photograph the pages with the demo record: `python docs/make_pictures.py` (needs Chromium).

Starts the dashboard on a demo store of its own, goes through the pages as their users do, and writes
docs/pictures. Every person in the pictures is invented.

    python docs/make_pictures.py                    # the pictures of the documents
    python docs/make_pictures.py --look FOLDER      # every page at both sizes, light and dark, to look at
"""

import argparse
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, expect, sync_playwright

ROOT = Path(__file__).parents[1]
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
SMALL, LARGE = {"width": 1366, "height": 768}, {"width": 1920, "height": 1080}
PATIENCE_MS = 90_000
SHOWN = "Orla Fennimore"
NIGHTS_OF = "Tobias Wrenfield"


def free_port() -> int:
    """Give a port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def dashboard(folder: Path) -> Iterator[str]:
    """Run the demo on a store of its own; give its address."""
    port = free_port()
    command = [sys.executable, "-m", "hvmon.cli", "start", "--demo"]
    command += ["--store", str(folder / "demo.sqlite"), "--port", str(port)]
    running = subprocess.Popen(command, cwd=ROOT, env=os.environ | {"HVMON_TODAY": "2026-06-15"})
    url = f"http://127.0.0.1:{port}"
    try:
        wait_for(url)
        yield url
    finally:
        running.terminate()
        running.wait(timeout=30)


def wait_for(url: str) -> None:
    """Wait until the dashboard answers."""
    for _ in range(600):
        try:
            with urllib.request.urlopen(f"{url}/_stcore/health", timeout=5):  # noqa: S310 - our own address
                return
        except OSError:
            time.sleep(0.2)
    raise SystemExit("the dashboard did not start")


def settled(page: Page) -> None:
    """Wait until the page has answered, and its charts are drawn."""
    expect(page.get_by_test_id("stApp")).to_have_attribute("data-test-script-state", "notRunning")
    expect(page.get_by_test_id("stSkeleton")).to_have_count(0)
    page.wait_for_timeout(1500)


def sign_in(page: Page, url: str) -> None:
    """Open the caseload and say who is looking."""
    page.goto(url)
    page.get_by_label("You", exact=True).fill("N. Aldous")
    page.get_by_label("You", exact=True).press("Enter")
    page.get_by_label("Your role").click()
    page.get_by_role("option", name="nurse").click()
    settled(page)


def open_person(page: Page, name: str) -> None:
    """Open a person from the search box."""
    page.get_by_label("Find a person").fill(name)
    page.get_by_label("Find a person").press("Enter")
    page.locator("[class*='st-key-pick'] button").first.click()
    settled(page)


def go(page: Page, title: str) -> None:
    """Go to a page by its name in the bar."""
    page.get_by_role("link", name=title, exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text(re.compile(".+"))
    settled(page)


def caseload(page: Page) -> None:
    """Show the caseload."""
    go(page, "Caseload")


def review(page: Page) -> None:
    """Show a review."""
    open_person(page, SHOWN)
    go(page, "Review")


def visit(page: Page) -> None:
    """Show an empty home visit."""
    open_person(page, SHOWN)
    go(page, "Home visit")


def meeting(page: Page) -> None:
    """Show the meeting."""
    go(page, "Meeting")


def night(page: Page) -> None:
    """Show the nights of a person."""
    open_person(page, NIGHTS_OF)
    go(page, "Night")


def titration(page: Page) -> None:
    """Show a titration review."""
    open_person(page, SHOWN)
    go(page, "Titration")


SCENES: tuple[tuple[str, Callable[[Page], None], dict[str, int]], ...] = (
    ("caseload", caseload, SMALL),
    ("review", review, SMALL),
    ("visit", visit, SMALL),
    ("meeting", meeting, LARGE),
    ("night", night, SMALL),
    ("titration", titration, SMALL),
)


def photograph(browser: Browser, url: str, folder: Path, *, everything: bool) -> None:
    """Write the pictures; `everything` takes each page at both sizes, light and dark."""
    looks = [(size, scheme) for size in (SMALL, LARGE) for scheme in ("light", "dark")]
    for name, scene, usual in SCENES:
        for size, scheme in looks if everything else [(usual, "light")]:
            page = browser.new_page(viewport=size, color_scheme=scheme, locale="en-GB")
            page.set_default_timeout(PATIENCE_MS)
            sign_in(page, url)
            scene(page)
            mark = f"-{size['width']}-{scheme}" if everything else ""
            page.screenshot(path=folder / f"{name}{mark}.png")
            page.close()
            print(f"wrote {folder / name}{mark}.png")


def main() -> None:
    """Take the pictures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--look", type=Path, default=None)
    look = parser.parse_args().look
    folder = look or ROOT / "docs" / "pictures"
    folder.mkdir(parents=True, exist_ok=True)
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    expect.set_options(timeout=PATIENCE_MS)
    with tempfile.TemporaryDirectory() as name, dashboard(Path(name)) as url, sync_playwright() as running:
        browser = running.chromium.launch(executable_path=chromium, args=list(FLAGS))
        photograph(browser, url, folder, everything=look is not None)
        browser.close()


if __name__ == "__main__":
    main()
