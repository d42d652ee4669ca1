"""How long a person waits for the picture of a night, clocked inside Chromium.

    python docs/studies/night_browser.py                     # the invented people, 12 steps of each kind
    python docs/studies/night_browser.py --times 20

The first picture: from the click that opens the night page to the frame in which its chart stands drawn. A zoom
step: from the click on a stretch, or on "later", to the frame in which the drawing has changed. The clock is the
browser's own (`performance.now`), read in the handler of the click and in the frame that shows the change, so
that the time of the driver does not count. The load of the machine is printed beside the figures.
"""

import argparse
import os
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Locator, Page, expect, sync_playwright

ROOT = Path(__file__).parents[2]
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
PATIENCE_MS = 60_000
CHART = "[data-testid='stVegaLiteChart']"

CLOCK = """(chart) => {
  const drawing = () => {
    const first = document.querySelector(chart)
    const picture = first && first.querySelector('canvas, svg')
    if (!picture) return ''
    return picture.tagName === 'CANVAS' ? picture.toDataURL() : picture.innerHTML
  }
  window.night = {before: drawing(), from: null, ms: null}
  const begun = () => {
    window.night.from = performance.now()
    const look = () => {
      const now = drawing()
      if (now.length > 2000 && now !== window.night.before) {
        window.night.ms = performance.now() - window.night.from
      } else requestAnimationFrame(look)
    }
    requestAnimationFrame(look)
  }
  document.addEventListener('click', begun, {capture: true, once: true})
}"""


def free_port() -> int:
    """Give a port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def served(store: Path, today: str) -> Iterator[str]:
    """Run the dashboard on a store; give its address."""
    port = free_port()
    command = (sys.executable, "-m", "streamlit", "run", "streamlit_app.py", "--server.port", str(port))
    process = subprocess.Popen(
        command,
        cwd=ROOT,
        env=os.environ | {"HVMON_STORE": str(store), "HVMON_TODAY": today},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        address = f"http://127.0.0.1:{port}"
        for _ in range(600):
            try:
                with urllib.request.urlopen(f"{address}/_stcore/health", timeout=5):  # noqa: S310 - our own server
                    break
            except OSError:
                time.sleep(0.2)
        yield address
    finally:
        process.terminate()
        process.wait(timeout=30)


def settled(page: Page) -> None:
    """Wait until the dashboard has answered everything it was sent."""
    expect(page.get_by_test_id("stApp")).to_have_attribute("data-test-script-state", "notRunning")


def clocked(page: Page, act: Callable[[], None]) -> float:
    """Give the time [ms] from the click of an action to the changed drawing."""
    settled(page)
    page.wait_for_timeout(400)
    page.evaluate(CLOCK, CHART)
    act()
    page.wait_for_function("() => window.night.ms !== null")
    return float(page.evaluate("() => window.night.ms"))


def button(page: Page, name: str) -> Locator:
    """Find a button by its words."""
    return page.get_by_role("button", name=name, exact=True).first


def open_person(page: Page, address: str, person: str) -> None:
    """Open the review of a person, so that the night page is a click away."""
    page.goto(f"{address}/review")
    page.get_by_label("Find a person").fill(person)
    page.locator("[class*='st-key-pick'] button").first.click()
    expect(page.locator(".st-key-person_banner").first).to_be_visible()
    settled(page)


def first_pictures(page: Page, address: str, person: str, times: int) -> list[float]:
    """Clock the way from another page to the drawn night."""
    open_person(page, address, person)
    found = []
    for _ in range(times + 1):
        page.get_by_role("link", name="Rules and sources", exact=True).click()
        expect(page.locator(CHART)).to_have_count(0)
        found.append(clocked(page, lambda: page.get_by_role("link", name="Night", exact=True).click()))
    return found


def zoom_steps(page: Page, times: int) -> list[float]:
    """Clock one stretch after another, then steps along the night."""
    settled(page)
    found = [clocked(page, page.get_by_text("1 h", exact=True).first.click)]
    for step in range(times):
        if step % 2:
            found.append(clocked(page, lambda: button(page, "Later").click()))
        else:
            name = ("2 h", "30 min", "1 h")[step // 2 % 3]
            found.append(clocked(page, lambda name=name: page.get_by_text(name, exact=True).first.click()))
    return found


def told(what: str, found: list[float]) -> None:
    """Print a row: the first time apart, then the middle and the worst of the rest."""
    first, *rest = found
    row = f"| {what} | {first:.0f} | {statistics.median(rest):.0f} | {max(rest):.0f} | {len(rest)} |"
    print(row, flush=True)


def main() -> None:
    """Clock both on the invented people and print a table."""
    raw = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=raw)
    parser.add_argument("--times", type=int, default=12)
    parser.add_argument("--person", default="HV0001")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as running:
        store = Path(folder) / "demo.sqlite"
        made = (sys.executable, "-m", "hvmon.cli", "load-demo", "--store", str(store))
        subprocess.run(made, cwd=ROOT, check=True, stdout=subprocess.DEVNULL)
        chromium = os.environ.get("HVMON_CHROMIUM") or shutil.which("chromium")
        browser = running.chromium.launch(executable_path=chromium, args=list(FLAGS))
        page = browser.new_page(viewport={"width": 1366, "height": 768}, locale="en-GB")
        page.set_default_timeout(PATIENCE_MS)
        expect.set_options(timeout=PATIENCE_MS)
        with served(store, "2026-06-15") as address:
            print(f"load of the machine: {os.getloadavg()[0]:.1f}\n")
            print("| ms in the browser | the first | median | worst | n |\n|---|---|---|---|---|")
            told("first picture of a night", first_pictures(page, address, asked.person, asked.times))
            told("zoom step", zoom_steps(page, asked.times))
            print(f"\nload of the machine: {os.getloadavg()[0]:.1f}")
        browser.close()


if __name__ == "__main__":
    main()
