"""Commands of nights and of looking back."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner, Result

from hvmon.cli import app
from hvmon.files.night_write import write_edf
from hvmon.records.night_signal import NightSignal
from hvmon.services.nights import night_files
from hvmon.store.store import Store
from tests.app import invented

HEADER = "file,local_id,ventilator,oxygen_l_min,reason,answer.zone\n"


@pytest.fixture(name="store")
def _store(tmp_path: Path) -> Path:
    return invented.build(tmp_path / "record.sqlite")


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


def local_id(store: Path) -> str:
    with Store.open(store) as record:
        return record.people()[0].local_id


def edf_folder(tmp_path: Path, store: Path, extra: str = "") -> tuple[Path, Path]:
    """A folder with one invented night of three hours, and its manifest."""
    spo2 = np.full(3 * 3600, 940, dtype=np.int16)
    write_edf(tmp_path / "a.edf", NightSignal(datetime(2026, 3, 1, 22, tzinfo=UTC), "Europe/London", 1, spo2))
    manifest = tmp_path / "manifest.csv"
    row = f"a.edf,{local_id(store)},on ventilator,0,routine,Europe/London\n"
    manifest.write_text(HEADER + row + extra, encoding="utf-8")
    return tmp_path, manifest


def test_nights_are_imported_once_and_scored_once(store: Path, tmp_path: Path) -> None:
    folder, manifest = edf_folder(tmp_path, store)
    first = run("import-nights", folder, "--manifest", manifest, "--store", store)
    assert (first.exit_code, first.stdout.strip()) == (0, "a.edf: stored")
    assert "already there" in run("import-nights", folder, "--manifest", manifest, "--store", store).stdout
    assert "1 nights scored, 0 had a result" in run("rescore", "--store", store).stdout
    assert "0 nights scored, 1 had a result" in run("rescore", "--store", store).stdout


def test_a_file_that_is_missing_is_left_out_with_one_and_the_others_go_on(
    store: Path, tmp_path: Path
) -> None:
    folder, manifest = edf_folder(tmp_path, store, f"b.edf,{local_id(store)},on ventilator,0,routine,\n")
    result = run("import-nights", folder, "--manifest", manifest, "--store", store)
    assert result.exit_code == 1
    assert "a.edf: stored" in result.stdout
    assert "b.edf" in result.stderr


def test_an_import_that_could_store_no_night_ends_with_two(store: Path, tmp_path: Path) -> None:
    folder, manifest = edf_folder(tmp_path, store)
    (folder / "a.edf").unlink()
    result = run("import-nights", folder, "--manifest", manifest, "--store", store)
    assert result.exit_code == 2
    assert "a.edf" in result.stderr


def test_an_archive_is_not_scored_where_no_store_is(tmp_path: Path) -> None:
    result = run("rescore", "--store", tmp_path / "none.sqlite")
    assert result.exit_code == 2
    assert "There is no store" in result.stderr


def test_a_damaged_night_is_named_by_the_archive_run(store: Path, tmp_path: Path) -> None:
    folder, manifest = edf_folder(tmp_path, store)
    run("import-nights", folder, "--manifest", manifest, "--store", store)
    path = next(night_files(store).root.glob("signals/*/*.parquet"))
    path.write_bytes(path.read_bytes()[:-8])
    result = run("rescore", "--store", store)
    assert result.exit_code == 1
    assert path.stem in result.stderr


def test_a_replay_of_an_export_writes_events(store: Path, tmp_path: Path) -> None:
    run("export", tmp_path / "tables", "--store", store, "--history")
    out = tmp_path / "events.csv"
    result = run("replay", tmp_path / "tables", "--out", out, "--limit-kpa", "6.0", "--every-days", "90")
    assert result.exit_code == 0, result.stderr
    assert "No finding never means safe" in result.stdout
    assert out.read_text(encoding="utf-8").count("\n") > 1


def test_a_replay_by_edits_that_cannot_be_used_is_refused(tmp_path: Path) -> None:
    service = tmp_path / "service.toml"
    service.write_text('[rules.GAS-99]\nlimit = 50\nreason = "x"\n', encoding="utf-8")
    out = tmp_path / "events.csv"
    result = run("replay", tmp_path, "--out", out, "--service", service)
    assert result.exit_code == 2
    assert "GAS-99" in result.stderr
    assert not out.exists()


def test_a_replay_of_nothing_is_refused(tmp_path: Path) -> None:
    result = run("replay", tmp_path / "none", "--out", tmp_path / "events.csv")
    assert result.exit_code == 2
    assert "none" in result.stderr


def test_learning_from_too_few_is_refused_and_writes_nothing(store: Path, tmp_path: Path) -> None:
    out = tmp_path / "priors.toml"
    result = run("learn", "--store", store, "--out", out)
    assert result.exit_code == 2
    assert "50" in result.stderr
    assert not out.exists()


def test_learning_into_a_folder_that_is_not_there_is_refused_before_anything_is_read(
    store: Path, tmp_path: Path
) -> None:
    result = run("learn", "--store", store, "--out", tmp_path / "nowhere" / "priors.toml")
    assert result.exit_code == 2
    assert "nowhere" in result.stderr
