"""The record as a folder of tables: dry run, all or nothing, good rows on request, nothing twice."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from hvmon.services.exchange import export_tables, import_tables
from hvmon.store.store import Store

NOW = datetime(2026, 6, 15, 9, 0, tzinfo=UTC)


@pytest.fixture(name="folder")
def _folder(store: Store, tmp_path: Path) -> Path:
    path = tmp_path / "tables"
    assert export_tables(store, path) > 4
    return path


def spoil(folder: Path, given: str, bad: str) -> None:
    table = folder / "blood_gas.csv"
    text = table.read_text(encoding="utf-8")
    assert given in text
    table.write_text(text.replace(given, bad, 1), encoding="utf-8")


def test_an_export_comes_back_equal_record_for_record(store: Store, folder: Path) -> None:
    with Store.in_memory() as copy:
        result = import_tables(copy, folder, actor="test", now=NOW)
        assert result.report.is_clean
        for dossier in store.dossiers():
            back = copy.dossier(dossier.person_key)
            assert back.person == dossier.person
            assert back.identity == dossier.identity
            for part in ("blood_gas", "settings_change", "symptom_report", "visit"):
                theirs = [held.record for held in getattr(dossier, part)]
                assert [held.record for held in getattr(back, part)] == theirs


def test_a_dry_run_reports_and_stores_nothing(folder: Path) -> None:
    with Store.in_memory() as empty:
        result = import_tables(empty, folder, actor="test", now=NOW, dry_run=True)
        assert empty.revision() == 0
        assert "nothing was stored" in result.summary()


def test_one_bad_row_stops_everything_and_is_named(folder: Path) -> None:
    spoil(folder, ",kPa,", ",kpa,")
    with Store.in_memory() as empty:
        result = import_tables(empty, folder, actor="test", now=NOW)
        assert empty.revision() == 0
        [line] = [line for line in result.lines() if "pco2_unit" in line]
        assert "'kpa'" in line
        assert "kPa, mmHg" in line


def test_good_rows_are_stored_when_the_user_accepts_them(folder: Path) -> None:
    spoil(folder, ",kPa,", ",kpa,")
    with Store.in_memory() as empty:
        result = import_tables(empty, folder, actor="test", now=NOW, accept_good=True)
        assert result.counts is not None
        assert result.counts.added == len(result.report.records) > 0
        assert not result.report.is_clean


def test_a_second_import_adds_nothing(folder: Path) -> None:
    with Store.in_memory() as empty:
        first = import_tables(empty, folder, actor="test", now=NOW)
        again = import_tables(empty, folder, actor="test", now=NOW)
        assert first.counts is not None
        assert again.counts is not None
        assert (again.counts.added, again.counts.already) == (0, first.counts.added)


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with Store.in_memory() as empty:
        result = import_tables(empty, tmp_path / "nowhere", actor="test", now=NOW)
        assert any("nowhere" in line for line in result.lines())
        assert not result.stored


def test_a_row_that_is_there_with_other_values_is_a_correction_and_stops_everything(folder: Path) -> None:
    with Store.in_memory() as empty:
        import_tables(empty, folder, actor="test", now=NOW)
        before = empty.revision()
        spoil(folder, ",kPa,", ",mmHg,")
        spoil(folder, ",6.", ",46.")
        result = import_tables(empty, folder, actor="test", now=NOW)
        assert empty.revision() == before
        [line] = [line for line in result.lines() if "is there already" in line]
        assert "pco2" in line
        accepted = import_tables(empty, folder, actor="test", now=NOW, accept_good=True)
        assert accepted.counts is not None
        assert accepted.counts.added == 0


@pytest.mark.parametrize("dry_run", [True, False])
def test_rows_of_people_nobody_knows_are_refused_row_by_row_and_the_rest_can_be_stored(
    store: Store, folder: Path, *, dry_run: bool
) -> None:
    people = folder / "person.csv"
    note, header, *rows = people.read_text(encoding="utf-8").splitlines(keepends=True)
    people.write_text("".join([note, header, *rows[1:]]), encoding="utf-8")
    left_out = rows[0].split(",")[0]
    with Store.in_memory() as empty:
        result = import_tables(empty, folder, actor="test", now=NOW, dry_run=dry_run, accept_good=True)
        told = [line for line in result.lines() if "the key of a person" in line]
        assert told
        assert all(left_out in line and ", row " in line for line in told)
        assert (result.counts is None) == dry_run
        assert {one.person_key for one in empty.people("")} == (
            set() if dry_run else {row.split(",")[0] for row in rows[1:]}
        )
    assert import_tables(store, folder, actor="test", now=NOW).is_clean  # there they are known


def test_a_new_person_under_the_identifier_of_another_is_left_out_whole(store: Store, folder: Path) -> None:
    before = store.revision()
    for table in folder.iterdir():
        text = table.read_text(encoding="utf-8")
        for line in store.people(""):
            text = text.replace(line.person_key, f"second-{line.person_key}")
        table.write_text(text, encoding="utf-8")
    result = import_tables(store, folder, actor="test", now=NOW, accept_good=True)
    assert not result.stored
    assert store.revision() == before
    assert f"{len(result.differing)} are there already with other values" in result.summary()
