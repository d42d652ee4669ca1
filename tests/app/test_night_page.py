"""The night page: a file understood before it is stored, asked only what it cannot say, then drawn."""

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from hvmon.app import cache, words
from hvmon.nights.synthetic import hypoventilation, measured, quiet
from hvmon.records.night_signal import NightSignal
from hvmon.services import night_view
from hvmon.services.nights import NightFacts, night_files, nights_with_signal
from hvmon.store.store import Store
from hvmon.vocabulary import NOT_RECORDED, SampleReason, VentilatorState
from tests.app import invented
from tests.app.sight import press, seen

NOW = datetime(2026, 6, 14, 9, tzinfo=UTC)
FIRST, SECOND = datetime(2026, 2, 3, 22, 10, tzinfo=UTC), datetime(2026, 5, 4, 21, 50, tzinfo=UTC)


def shown(session):
    tables = [str(table.value.to_dict()) for table in session.table]
    return (seen(session) + "\n".join(tables)).replace("\\", "")


def csv_of(signal: NightSignal, *, date_format: str = "%d/%m/%Y %H:%M:%S") -> bytes:
    rows = ["time,SpO2 (%),pulse (/min),tcCO2 (mmHg)"]
    for second in range(0, signal.n_seconds, 2):
        clock = (signal.start_local + timedelta(seconds=second)).strftime(date_format)
        tc = signal.tcco2_tenths_mmhg[second] / 10
        rows.append(
            f"{clock},{signal.spo2_tenths[second] // 10},{signal.pulse_tenths[second] // 10},{tc:.1f}"
        )
    return "\n".join(rows).encode()


@pytest.fixture(scope="module")
def signals():
    rng = np.random.default_rng(7)
    return measured(rng, hypoventilation, FIRST, hours=5.0), measured(rng, quiet, SECOND, hours=5.0)


@pytest.fixture
def stored(store: Store, store_path: Path, signals):
    facts = NightFacts(VentilatorState.ON, NOT_RECORDED, SampleReason.ROUTINE, "N. Invented")
    for number, signal in enumerate(signals):
        night_view.keep_night(
            store,
            store_path,
            invented.ANNA,
            signal,
            b"the file",
            facts,
            request_id=f"night-{number}",
            now=NOW,
        )
    return store


def test_without_a_night_the_page_offers_to_add_one(open_page):
    session = open_page("night")
    assert not session.exception
    assert "No night with a signal is stored" in shown(session)
    assert words.CAUTION in seen(session)
    assert words.INVENTED in shown(session)


@pytest.mark.usefixtures("stored")
def test_a_stored_night_is_shown_with_its_scores_conventions_and_definitions(open_page):
    session = open_page("night")
    assert not session.exception
    text = shown(session)
    options = session.selectbox(key=f"night-{invented.ANNA}").options
    assert options == ["04 May 2026, on ventilator", "03 Feb 2026, on ventilator"]
    for wanted in ("C1", "M1", "Awake supine", "Berry2012"):
        assert wanted in text
    assert "None decides alone." in text
    assert "Two nights" in [header.value for header in session.header]


@pytest.mark.usefixtures("stored")
def test_the_shape_of_a_night_is_only_suggested_and_with_its_numbers(open_page):
    session = open_page("night")
    session.selectbox(key=f"night-{invented.ANNA}").select_index(1).run()
    text = shown(session)
    assert "suggests hypoventilation" in text
    assert "dips per valid hour" in text


def test_a_damaged_night_is_shown_as_damaged_and_never_drawn(open_page, stored: Store):
    folder = night_files(cache.store_path())
    key = nights_with_signal(stored.dossier(invented.ANNA))[-1].record.signal_hash
    path = folder._signal_path(key)
    path.write_bytes(path.read_bytes()[:-40])
    session = open_page("night")
    assert not session.exception
    assert "damaged" in shown(session)
    assert "Saturation, under each convention by name" not in shown(session)


def upload(session, name, content):
    session.file_uploader(key="night_file").set_value((name, content, "text/csv")).run()
    return session


def test_a_file_is_asked_about_shown_saved_and_known_the_second_time(open_page, signals, store: Store):
    session = upload(open_page("night"), "night.csv", csv_of(signals[0]))
    assert not session.exception
    for _ in range(4):
        if "The file cannot say this itself" not in shown(session):
            break
        for radio in session.radio:
            if (radio.key or "").startswith("ask-"):
                day_first = next((o for o in radio.options if "day" in o.lower()), radio.options[0])
                radio.set_value(day_first)
        session = press(session, "Answer")
    assert "The file cannot say this itself" not in shown(session)
    next(radio for radio in session.radio if radio.label == "Ventilator that night").set_value(
        "on ventilator"
    )
    next(radio for radio in session.radio if radio.label == "Reason").set_value("routine")
    session = press(session.run(), "Save the night")
    assert "Night of 03 Feb 2026: Stored." in shown(session)
    held = nights_with_signal(store.dossier(invented.ANNA))
    assert [str(one.record.night_of) for one in held] == ["2026-02-03"]
    session = press(session, "Save the night")
    assert len(nights_with_signal(store.dossier(invented.ANNA))) == 1


def test_a_file_that_is_no_night_is_refused_in_words(open_page):
    session = upload(open_page("night"), "letter.csv", b"Dear colleague, thank you for seeing this person.")
    assert not session.exception
    assert "NOT read." in shown(session)


def minutes_shown(session):
    charts = session.get("vega_lite_chart") or session.get("arrow_vega_lite_chart")
    marks = json.loads(charts[0].proto.spec)["layer"][1]
    return tuple(marks["layer"][0]["encoding"]["x"]["scale"]["domain"])


@pytest.mark.usefixtures("stored")
def test_a_shorter_stretch_is_drawn_and_moved_along_the_night_but_never_beyond_its_ends(open_page):
    session = open_page("night")
    assert minutes_shown(session) == (0.0, 300.0)
    assert session.button(key="night_Earlier").disabled
    assert session.button(key="night_Later").disabled
    session.segmented_control(key="night_stretch").set_value("1 h").run()
    assert minutes_shown(session) == (0.0, 60.0)
    session = press(session, "Later")
    assert minutes_shown(session) == (30.0, 90.0)
    session.select_slider(key="night_from").set_value(4 * 3600).run()
    assert minutes_shown(session) == (240.0, 300.0)
    assert session.button(key="night_Later").disabled
    session.segmented_control(key="night_stretch").set_value("2 h").run()
    assert minutes_shown(session) == (180.0, 300.0)
    session = press(session, "Earlier")
    assert minutes_shown(session) == (120.0, 240.0)
    session.segmented_control(key="night_stretch").set_value("whole night").run()
    assert minutes_shown(session) == (0.0, 300.0)
    assert not session.exception
