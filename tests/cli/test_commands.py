"""Commands: messages and exit codes a script can rely on."""

import json
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from hvmon.cli import app
from hvmon.store.store import Store
from tests.app import invented

ROOT = Path(__file__).parents[2]
NOW = datetime(2026, 6, 15, 9, tzinfo=UTC)


@pytest.fixture(name="store")
def _store(tmp_path: Path) -> Path:
    return invented.build(tmp_path / "record.sqlite")


def run(*words: str | Path) -> Result:
    return CliRunner().invoke(app, [str(word) for word in words])


def test_findings_are_rows_of_six_cells_with_their_rule_ids(store: Path) -> None:
    result = run("findings", "--store", store, "--as-of", invented.TODAY.isoformat(), "--plain")
    assert result.exit_code == 0
    rows = [line.split("\t") for line in result.stdout.splitlines()]
    assert rows
    assert {len(row) for row in rows} == {6}
    assert any(row[1].startswith("GAS-") for row in rows)


def test_findings_before_any_reading_are_empty(store: Path) -> None:
    result = run("findings", "--store", store, "--as-of", "2000-01-01", "--plain")
    assert result.exit_code == 0
    assert "GAS-" not in result.stdout


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("findings", "--as-of", "15/06/2026"), "accepted is YYYY-MM-DD"),
        (("findings", "--person", "NOBODY"), "nobody has the local id 'NOBODY'"),
    ],
)
def test_a_wrong_word_ends_with_two_and_says_what_is_accepted(
    store: Path, words: tuple[str, ...], message: str
) -> None:
    result = run(*words, "--store", store)
    assert result.exit_code == 2
    assert message in result.stderr


def test_a_store_that_is_not_there_is_named_and_not_made(tmp_path: Path) -> None:
    path = tmp_path / "none.sqlite"
    result = run("findings", "--store", path)
    assert result.exit_code == 2
    assert not path.exists()


def test_a_foreign_file_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "letter.txt"
    path.write_text("no store", encoding="utf-8")
    result = run("upgrade", "--store", path)
    assert result.exit_code == 2
    assert path.read_text(encoding="utf-8") == "no store"


def test_where_a_rule_lives_is_a_file_and_a_line() -> None:
    result = run("rule", "GAS-1")
    assert result.exit_code == 0
    place = result.stdout.split()[0]
    name, line = place.split(":")
    assert '"GAS-1"' in (ROOT / name).read_text(encoding="utf-8").splitlines()[int(line) - 1]


def test_an_unknown_rule_and_an_unknown_source_end_with_two() -> None:
    assert run("rule", "GAS-999").exit_code == 2
    assert run("source", "Nobody1900").exit_code == 2
    assert "Mokhlesi" in run("source", "Mokhlesi2019").stdout


def test_export_then_import_twice_adds_nothing_the_second_time(store: Path, tmp_path: Path) -> None:
    folder, other = tmp_path / "out", tmp_path / "other.sqlite"
    assert run("export", folder, "--store", store).exit_code == 0
    assert run("import", folder, "--store", other, "--dry-run").exit_code == 0
    first = run("import", folder, "--store", other)
    assert "0 were already there" in first.stdout
    assert " 0 records added" in run("import", folder, "--store", other).stdout


def test_a_refused_row_ends_with_two_and_stores_nothing(store: Path, tmp_path: Path) -> None:
    folder, other = tmp_path / "out", tmp_path / "other.sqlite"
    run("export", folder, "--store", store)
    table = folder / "blood_gas.csv"
    table.write_text(table.read_text(encoding="utf-8").replace(",kPa,", ",bar,", 1), encoding="utf-8")
    result = run("import", folder, "--store", other)
    assert result.exit_code == 2
    assert "'bar'" in result.stderr
    assert run("people", "--store", other).stdout == ""


def test_summaries_are_worked_out_once_a_day(store: Path) -> None:
    first = run("refresh", "--store", store, "--as-of", invented.TODAY.isoformat())
    again = run("refresh", "--store", store, "--as-of", invented.TODAY.isoformat())
    assert first.exit_code == again.exit_code == 0
    assert not first.stdout.rstrip().endswith("0 people judged")
    assert "0 people judged" in again.stdout


def night_csv(path: Path) -> Path:
    """An invented night of five hours: 95 %, then one hour at 85 %, ISO times with offset."""
    rows = ["time,SpO2"]
    for second in range(0, 5 * 3600, 4):
        value = 85 if 7200 <= second < 10800 else 95
        hour, rest = divmod(second, 3600)
        rows.append(f"2026-03-02T{18 + hour:02d}:{rest // 60:02d}:{rest % 60:02d}+00:00,{value}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_a_scored_file_is_json_with_the_field_names_of_the_score(tmp_path: Path) -> None:
    file = night_csv(tmp_path / "night.csv")
    result = run("score", file, "--zone", "Europe/London")
    assert result.exit_code == 0, result.stderr
    scored = json.loads(result.stdout)
    # a step of 10 points passes the gate of 4 a second in its third second: 2 s of each step are artefact
    assert scored["c1"]["s_le_88"] == 3600 - 2
    assert scored["c1"]["artefact_slew_s"] == 4
    assert scored["c1"]["pct_below_90"] == pytest.approx(20.0, abs=0.01)
    assert scored["m1"]["s_below_90"] == 3600 - 2
    one = json.loads(run("score", file, "--zone", "Europe/London", "--convention", "C1").stdout)
    assert "m1" not in one


def test_an_open_question_is_asked_and_nothing_is_scored(tmp_path: Path) -> None:
    file = tmp_path / "night.csv"
    file.write_text(
        "time,SpO2\n" + "".join(f"03/04/2026 01:{m:02d}:{s:02d},95\n" for m in range(60) for s in range(60)),
        encoding="utf-8",
    )
    result = run("score", file)
    assert result.exit_code == 2
    assert "date_format" in result.stderr


def test_the_module_starts_as_a_program() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "hvmon.cli", "rule", "GAS-1"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0
    assert "hvmon/rules/" in done.stdout


def test_a_dry_run_into_a_store_that_is_not_there_makes_none(store: Path, tmp_path: Path) -> None:
    folder, other = tmp_path / "out", tmp_path / "other.sqlite"
    run("export", folder, "--store", store)
    result = run("import", folder, "--store", other, "--dry-run")
    assert result.exit_code == 0
    assert "0 refused" in result.stdout
    assert not other.exists()


def test_a_rule_is_told_with_its_limit_and_source_after_its_place() -> None:
    assert "> 45 mmHg" in run("rule", "GAS-1").stdout.splitlines()[-1]
    assert "Macrea2020" in run("rule", "GAS-1").stdout.splitlines()[-1]


@pytest.mark.parametrize("command", ["upgrade", "export", "start"])
def test_a_place_that_cannot_be_written_to_is_named_and_ends_with_two(
    store: Path, tmp_path: Path, command: str
) -> None:
    in_the_way = tmp_path / "a file"
    in_the_way.write_text("not a folder", encoding="utf-8")
    words = (in_the_way, "--store", store) if command == "export" else ("--store", in_the_way / "new.sqlite")
    result = run(command, *words)
    assert result.exit_code == 2
    assert str(in_the_way) in result.stderr


def test_a_store_of_real_people_is_not_shown_as_a_demo(store: Path) -> None:
    with Store.open(store) as held:
        dossier = held.dossier(invented.ANNA)
        real = dossier.person.model_copy(update={"person_key": "not-invented-1", "invented": False})
        held.save(real, actor="N. Invented", request_id="real", now=NOW)
    result = run("start", "--demo", "--store", store)
    assert result.exit_code == 2
    assert "without --demo" in result.stderr
