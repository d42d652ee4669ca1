"""Nights: kept with their file, scored into the record, never twice, damaged ones never used."""

from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from hvmon.files.night_write import to_edf
from hvmon.nights.score import score_night
from hvmon.nights.synthetic import demo_nights
from hvmon.records.night_signal import MISSING, NightSignal
from hvmon.services import night_import
from hvmon.services.night_import import Questions, UnreadableNight, import_folder, read_upload
from hvmon.services.nights import (
    NightFacts,
    evening_of,
    night_files,
    nights_with_signal,
    open_night,
    save_night,
    summary_of,
)
from hvmon.store.nights import NightFiles, NightState
from hvmon.store.store import Saved, Store
from hvmon.units import PressureUnit
from hvmon.vocabulary import SampleReason, VentilatorState
from tests.app import invented

NOW = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)
FACTS = NightFacts(VentilatorState.ON, Decimal(0), SampleReason.ROUTINE, "N. Invented")


def quiet_night(hours: int = 5) -> NightSignal:
    """95 % for all but one hour at 87 %, entered over three seconds so that no gate drops a second."""
    spo2 = np.full(hours * 3600, 950, dtype=np.int16)
    spo2[7200:10800] = 870
    spo2[7199], spo2[10800] = 910, 910
    return NightSignal(datetime(2026, 3, 1, 22, 0, tzinfo=UTC), "Europe/London", 1, spo2, averaging_s=3.0)


@pytest.fixture(name="files")
def _files(tmp_path: Path) -> NightFiles:
    return night_files(tmp_path / "record.sqlite")


def save(store: Store, files: NightFiles, signal: NightSignal, request: str = "one") -> Saved:
    return save_night(
        store, files, person_key=invented.ANNA, signal=signal, original=to_edf(signal), facts=FACTS,
        request_id=request, now=NOW,
    )  # fmt: skip


def test_a_saved_night_stands_in_the_record_with_its_closed_form_score(
    store: Store, files: NightFiles
) -> None:
    saved = save(store, files, quiet_night())
    record = saved.held.record
    assert saved.added
    assert (record.valid_s, record.below_90_s, record.longest_at_or_below_88_s) == (18000, 3600, 3600)
    assert record.night_of == date(2026, 3, 1)
    assert record.dip_convention.startswith("C1")


def test_the_same_night_again_adds_nothing(store: Store, files: NightFiles) -> None:
    save(store, files, quiet_night())
    again = save(store, files, quiet_night(), request="two")
    assert not again.added
    assert len(store.dossier(invented.ANNA).night_summary) == 1


def test_a_stored_night_is_read_back_and_scored(store: Store, files: NightFiles) -> None:
    save(store, files, quiet_night())
    dossier = store.dossier(invented.ANNA)
    [held] = nights_with_signal(dossier)
    opened = open_night(files, dossier, held)
    assert opened.state == NightState.SOUND
    assert opened.score is not None
    assert opened.score.c1.s_below_90 == 3600


def test_a_damaged_night_is_named_and_not_used(store: Store, files: NightFiles) -> None:
    saved = save(store, files, quiet_night())
    path = next(files.root.glob("signals/*/*.parquet"))
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))
    opened = open_night(files, store.dossier(invented.ANNA), saved.held)
    assert opened.state == NightState.DAMAGED
    assert opened.signal is None
    assert opened.score is None
    assert opened.why_not


@pytest.mark.parametrize(
    ("hour", "evening"), [(21, date(2026, 3, 1)), (1, date(2026, 2, 28)), (13, date(2026, 3, 1))]
)
def test_a_night_belongs_to_its_evening(hour: int, evening: date) -> None:
    start = datetime(2026, 3, 1, hour, 30, tzinfo=UTC)
    assert evening_of(replace(quiet_night(), start_utc=start)) == evening


def test_kpa_recordings_keep_kpa_in_the_record() -> None:
    _, signal = demo_nights()[0]
    assert signal.tcco2_tenths_mmhg is not None
    hundredths = np.where(signal.tcco2_tenths_mmhg == MISSING, MISSING, 600).astype(np.int16)
    in_kpa = replace(signal, tcco2_tenths_mmhg=None, tcco2_unit=None, tcco2_hundredths_kpa=hundredths)
    record = summary_of(invented.ANNA, in_kpa, score_night(in_kpa), FACTS, None)
    assert record.tcco2_mean is not None
    assert record.tcco2_mean.unit == PressureUnit.KPA
    assert record.tcco2_mean.kpa == pytest.approx(6.0, abs=0.01)


def test_an_awake_supine_value_makes_a_rise_assessable() -> None:
    _, signal = demo_nights()[0]
    stated = night_import.stated("45mmHg")
    assert score_night(signal, stated).tc_raw.tc_awake == 45.0  # type: ignore[union-attr]
    with pytest.raises(ValueError, match="kPa or mmHg"):
        night_import.stated("45")


def test_an_upload_with_an_ambiguous_date_asks_before_it_reads() -> None:
    rows = "time,SpO2\n" + "".join(
        f"03/04/2026 0{hour}:{minute:02d}:{second:02d},95\n"
        for hour in range(3)
        for minute in range(60)
        for second in range(0, 60, 4)
    )
    asked = read_upload("night.csv", rows.encode(), {})
    assert isinstance(asked, Questions)
    keys = {question.key for question in asked.questions}
    assert "date_format" in keys


def test_an_upload_that_is_no_night_is_refused_in_words() -> None:
    with pytest.raises(UnreadableNight):
        read_upload("night.edf", b"0       " + b"x" * 300, {})


MANIFEST = "file,local_id,ventilator,oxygen_l_min,reason,awake_supine_tcco2,awake_supine_unit,answer.zone\n"


def test_a_folder_is_imported_by_its_manifest_and_each_failure_is_named(
    store: Store, files: NightFiles, tmp_path: Path
) -> None:
    [line] = [line for line in store.people() if line.person_key == invented.ANNA]
    (tmp_path / "good.edf").write_bytes(to_edf(quiet_night()))
    (tmp_path / "bad.edf").write_bytes(b"no night")
    manifest = tmp_path / "manifest.csv"
    manifest.write_text(
        MANIFEST
        + f"good.edf,{line.local_id},on ventilator,0,routine,5.8,kPa,Europe/London\n"
        + f"good.edf,{line.local_id},on ventilator,0,routine,5.8,kPa,Europe/London\n"
        + f"bad.edf,{line.local_id},on ventilator,not recorded,routine,,,\n"
        + "good.edf,NOBODY,on ventilator,0,routine,,,\n",
        encoding="utf-8",
    )
    made = list(import_folder(store, files, tmp_path, manifest, actor="N. Invented", now=NOW))
    assert [each.stored for each in made] == [True, True, False, False]
    assert made[1].words == "already there"
    assert "NOBODY" in made[3].words
    [held] = nights_with_signal(store.dossier(invented.ANNA))
    assert held.record.oxygen_l_min == 0


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("../up.edf,A,on ventilator,0,routine,,,", "a file name inside the folder"),
        ("a.edf,A,perhaps,0,routine,,,", "on ventilator, off ventilator"),
        ("a.edf,A,on ventilator,2 L,routine,,,", "no plain number"),
        ("a.edf,A,on ventilator,0,routine,45,bar,", "kPa, mmHg"),
    ],
)
def test_a_wrong_cell_of_a_manifest_stops_everything_by_row(
    store: Store, files: NightFiles, tmp_path: Path, row: str, words: str
) -> None:
    manifest = tmp_path / "manifest.csv"
    manifest.write_text(MANIFEST + row + "\n", encoding="utf-8")
    with pytest.raises(ValueError, match="row 2") as caught:
        list(import_folder(store, files, tmp_path, manifest, actor="N. Invented", now=NOW))
    assert words in str(caught.value)
    assert store.dossier(invented.ANNA).night_summary == ()
