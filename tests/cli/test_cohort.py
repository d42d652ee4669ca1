"""The command `cohort`: the forest frame as a table, with the words the page shows."""

from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner, Result

from hvmon.cli import app
from hvmon.services.cohort_tables import FOREST
from hvmon.store.store import Store
from tests.app import invented
from tests.services import cohorts


@pytest.fixture(name="store")
def _store(tmp_path: Path) -> Path:
    path = invented.build(tmp_path / "record.sqlite")
    with Store.open(path) as record:
        record.save_many(cohorts.records(), actor="N. Invented", request_id="cohort", now=cohorts.NOW)
    return path


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(app, ["cohort", *(str(word) for word in words), "--as-of", "2026-06-15"])


def test_the_table_holds_every_figure_with_its_n_and_names_nobody(store: Path, tmp_path: Path) -> None:
    out = tmp_path / "forest.csv"
    result = run("--store", store, "--out", out)
    assert result.exit_code == 0, result.stderr
    frame = pl.read_csv(out)
    assert frame.columns == list(FOREST)
    assert frame.filter(pl.col("group") == "all")["n_people"].min() > 20
    assert "8 figures of 8 rows" in result.stdout
    assert "morning headache: consistent" in result.stdout
    for private in ("Anna", "H1001", "cohort0"):
        assert private not in result.stdout + out.read_text(encoding="utf-8")


def test_too_few_changes_are_an_answer_and_not_a_failure(tmp_path: Path) -> None:
    out = tmp_path / "forest.csv"
    result = run("--store", invented.build(tmp_path / "few.sqlite"), "--out", out)
    assert result.exit_code == 0
    assert "At least 20 such changes in 10 people are needed" in result.stdout
    frame = pl.read_csv(out)
    assert (frame.height, frame["estimate_kpa"].null_count()) == (4, 4)  # all and COPD, two kinds of change


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--store", "nowhere.sqlite", "--out", "x.csv"), "nowhere.sqlite"),
        (("--out", "no_such_folder/x.csv"), "the folder no_such_folder is not there"),
        (("--out", "x.csv", "--service", "none.toml"), "none.toml"),
    ],
)
def test_what_cannot_be_read_or_written_ends_with_two_and_says_why(
    words: tuple[str, ...], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    result = run(*words)
    assert result.exit_code == 2
    assert told in result.stderr
    assert not list(tmp_path.glob("*.csv"))


def test_a_wrong_prior_of_the_service_is_named(store: Path, tmp_path: Path) -> None:
    service = tmp_path / "service.toml"
    service.write_text("[priors]\nnoise.arteriel = 0.04\n", encoding="utf-8")
    result = run("--store", store, "--out", tmp_path / "x.csv", "--service", service)
    assert result.exit_code == 2
    assert "noise.arteriel" in result.stderr
