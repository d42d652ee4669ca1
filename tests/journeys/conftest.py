"""The dashboard in a real Chromium: a server on a store of its own, and a page that may ask nobody else."""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
import uuid
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Playwright, expect, sync_playwright

from hvmon.store.store import Store
from tests.app import invented

ROOT = Path(__file__).parents[2]
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable")
PATIENCE_MS = 60_000
START_S = 120


def _chromium() -> str:
    found = os.environ.get("HVMON_CHROMIUM") or next(filter(None, map(shutil.which, NAMES)), None)
    if found:
        return found
    missing = (
        "no Chromium on this machine (looked for: " + ", ".join(NAMES) + "; HVMON_CHROMIUM names another)"
    )
    if os.environ.get("CI"):
        pytest.fail(missing)
    pytest.skip(missing)


@dataclass
class Served:
    """A running dashboard."""

    store_path: Path
    port: int
    process: subprocess.Popen[bytes] | None = field(default=None)

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        environment = os.environ | {
            "HVMON_STORE": str(self.store_path),
            "HVMON_TODAY": invented.TODAY.isoformat(),
        }
        command = [
            sys.executable,
            "-m",
            "streamlit",
            "run",
            "streamlit_app.py",
            "--server.port",
            str(self.port),
        ]
        self.process = subprocess.Popen(
            command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        self._wait()

    def _wait(self) -> None:
        until = time.monotonic() + START_S
        while time.monotonic() < until:
            try:
                with urllib.request.urlopen(f"{self.url}/_stcore/health", timeout=5) as answer:  # noqa: S310
                    if answer.status == 200:
                        return
            except OSError:
                time.sleep(0.2)
        pytest.fail(f"the dashboard did not start within {START_S} s")

    def stop(self) -> None:
        if self.process is not None:
            self.process.terminate()
            self.process.wait(timeout=30)
            self.process = None

    def restart(self) -> None:
        self.stop()
        self.start()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    chromium = playwright.chromium.launch(executable_path=_chromium(), args=list(FLAGS))
    yield chromium
    chromium.close()


@pytest.fixture(scope="session")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """Give one dashboard for all journeys; each journey has a person of its own."""
    _chromium()
    running = Served(invented.build(tmp_path_factory.mktemp("store") / "invented.sqlite"), _free_port())
    running.start()
    yield running
    running.stop()


@dataclass(frozen=True)
class Somebody:
    """A person of one journey."""

    key: str
    number: str
    name: str


@pytest.fixture
def somebody(served: Served) -> Somebody:
    key = uuid.uuid4().hex
    new = Somebody(key, f"J{key[:8]}", f"Jo {key[:6]}")
    with Store.open(served.store_path) as store:
        records = invented.one_like_anna(new.key, new.name, new.number)
        store.save_all(records, actor="N. Invented", request_id=key, now=datetime.now(UTC))
    return new


@pytest.fixture
def page(browser: Browser, served: Served) -> Iterator[Page]:
    """Give a fresh page; afterwards every request it made must have gone to the dashboard itself."""
    context = browser.new_context(viewport={"width": 1366, "height": 768}, locale="en-GB")
    context.set_default_timeout(PATIENCE_MS)
    asked: list[str] = []
    opened = context.new_page()
    opened.on("request", lambda request: asked.append(request.url))
    opened.on("dialog", lambda dialog: pytest.fail(f"a script of the record ran: {dialog.message}"))
    yield opened
    context.close()
    outside = [url for url in asked if not url.startswith((served.url, "data:", "blob:"))]
    assert asked
    assert outside == []
