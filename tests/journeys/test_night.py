"""A night from its file to the review, in a real browser: asked about, drawn, saved, compared, found."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from hvmon.nights.synthetic import hypoventilation, measured, quiet
from hvmon.records.night_signal import NightSignal
from hvmon.services.night_view import keep_night
from hvmon.services.nights import NightFacts, nights_with_signal
from hvmon.store.store import Store
from hvmon.vocabulary import NOT_RECORDED, SampleReason, VentilatorState
from tests.journeys.conftest import Served, Somebody
from tests.journeys.hands import alone, go, open_person, sees, settled, sign_in

pytestmark = pytest.mark.browser

EARLIER, AMBIGUOUS = datetime(2026, 2, 3, 22, 10, tzinfo=UTC), datetime(2026, 5, 4, 21, 50, tzinfo=UTC)
"""4 May 2026 is written 04/05/2026, which is 5 April where the month comes first."""


def csv_of(signal: NightSignal) -> str:
    rows = ["time,SpO2 (%),pulse (/min),tcCO2 (mmHg)"]
    for second in range(0, signal.n_seconds, 2):
        clock = signal.start_local + timedelta(seconds=second)
        tc = signal.tcco2_tenths_mmhg[second] / 10
        pulse = signal.pulse_tenths[second] // 10
        rows.append(f"{clock:%d/%m/%Y %H:%M:%S},{signal.spo2_tenths[second] // 10},{pulse},{tc:.1f}")
    return "\n".join(rows)


@pytest.fixture
def with_earlier(served: Served, somebody: Somebody) -> Somebody:
    facts = NightFacts(VentilatorState.ON, NOT_RECORDED, SampleReason.ROUTINE, "N. Invented")
    signal = measured(np.random.default_rng(3), hypoventilation, EARLIER, hours=4.5)
    with Store.open(served.store_path) as store:
        keep_night(
            store,
            served.store_path,
            somebody.key,
            signal,
            b"the file",
            facts,
            request_id=f"earlier-{somebody.key}",
            now=signal.end_utc,
        )
    return somebody


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "night.csv"
    signal = measured(np.random.default_rng(4), quiet, AMBIGUOUS, hours=4.5)
    path.write_text(csv_of(signal), encoding="utf-8")
    return path


def drop(page: Page, path: Path) -> None:
    alone(page.locator("[data-testid='stFileUploader'] input[type=file]")).set_input_files(path)
    sees(page.get_by_text("The file cannot say this itself"))
    settled(page)


def answer(page: Page) -> None:
    sees(page.get_by_text("How is the date 04/05/2026 written?"))
    alone(page.get_by_test_id("stForm").get_by_text("day first", exact=True)).click()
    alone(page.get_by_role("button", name="Answer", exact=True)).click()
    expect(page.get_by_text("The file cannot say this itself")).to_have_count(0)
    settled(page)


def say_the_rest_and_save(page: Page) -> None:
    alone(page.get_by_role("radiogroup", name="Ventilator that night").get_by_text("on ventilator")).click()
    settled(page)
    alone(page.get_by_role("radiogroup", name="Reason").get_by_text("routine")).click()
    settled(page)
    alone(page.get_by_role("button", name="Save the night")).click()


def test_a_night_with_an_ambiguous_date_is_asked_about_saved_compared_and_found_in_the_review(
    page: Page, served: Served, with_earlier: Somebody, file: Path
):
    sign_in(page, served.url, path="night")
    open_person(page, with_earlier.number)
    alone(page.get_by_text("Add the file of a night")).click()
    drop(page, file)
    answer(page)
    sees(page.locator("[data-testid='stVegaLiteChart']"))
    say_the_rest_and_save(page)
    sees(page.get_by_text("Night of 04 May 2026: Stored."))
    with Store.open(served.store_path) as store:
        held = nights_with_signal(store.dossier(with_earlier.key))
    assert [f"{one.record.night_of}" for one in held] == ["2026-02-03", "2026-05-04"]
    page.reload()
    open_person(page, with_earlier.number)
    sees(page.get_by_role("heading", name="Two nights"))
    sees(page.locator("[data-testid='stVegaLiteChart']").nth(1))
    go(page, "Review")
    sees(page.get_by_role("heading", name="Overnight studies"))
    sees(page.get_by_role("cell", name="04 May 2026"))


def test_the_same_file_again_is_said_to_be_there_already(
    page: Page, served: Served, somebody: Somebody, file: Path
):
    sign_in(page, served.url, path="night")
    open_person(page, somebody.number)
    for words in ("Stored.", "Stored before; nothing was added."):
        drop(page, file)
        answer(page)
        say_the_rest_and_save(page)
        sees(page.get_by_text(f"Night of 04 May 2026: {words}"))
        sign_in(page, served.url, path="night")
        open_person(page, somebody.number)
        if words == "Stored.":
            alone(page.get_by_text("Add the file of a night")).click()
    with Store.open(served.store_path) as store:
        assert len(nights_with_signal(store.dossier(somebody.key))) == 1
