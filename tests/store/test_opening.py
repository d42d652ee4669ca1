"""Opening a store: foreign, newer, older and tampered files; the copy before an upgrade."""

import hashlib
import shutil
import sqlite3
import threading
from pathlib import Path

import pytest
from sqlalchemy import inspect

from hvmon.store import migrate, opening, sqlite_only
from hvmon.store.engine import Database
from hvmon.store.errors import NewerStore, NotAnHvmonStore, StoreError
from hvmon.store.freeze import frozen_columns
from hvmon.store.migrations.versions import v0001_first
from hvmon.store.store import Store
from hvmon.store.tables import METADATA
from tests.store import samples
from tests.store.samples import ANNA, BY

FIXTURE = Path(__file__).with_name("fixtures") / "v0001.sqlite"
"""A store as the first schema made it: two people, a correction, a withdrawal, a bulk import."""


def _digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _refused(path, kind, words, **how):
    before = _digest(path)
    with pytest.raises(kind, match=words) as refusal:
        Store.open(path, **how)
    assert str(path) in str(refusal.value)
    assert _digest(path) == before


def test_a_missing_file_is_named_and_not_created(tmp_path):
    path = tmp_path / "folder" / "none.sqlite"
    with pytest.raises(NotAnHvmonStore, match="There is no store at"):
        Store.open(path)
    assert not path.parent.exists()


def test_a_new_store_is_readable_by_its_owner_only(tmp_path):
    path = tmp_path / "folder" / "new.sqlite"
    Store.open(path, create=True).close()
    assert path.stat().st_mode & 0o077 == 0


def test_any_file_name_will_do(tmp_path):
    path = tmp_path / "Ångström 50% #1?mode=memory.sqlite"
    with Store.open(path, create=True) as store:
        samples.with_anna(store)
    with Store.open(path) as store:
        assert store.dossier(ANNA)
    assert [each.name for each in tmp_path.iterdir() if each.name != path.name] == []


def test_create_on_an_existing_store_keeps_what_it_holds(path):
    with Store.open(path) as store:
        samples.with_anna(store)
    with Store.open(path, create=True) as store:
        assert store.dossier(ANNA).identity.local_id == "00123"


@pytest.mark.parametrize("create", [False, True])
def test_a_file_that_is_something_else_is_refused_and_left_as_it_was(tmp_path, create):
    text, other, folder = tmp_path / "letter.txt", tmp_path / "other.sqlite", tmp_path / "folder"
    text.write_text("Dear colleague, " * 100)
    _refused(text, NotAnHvmonStore, "is no hvmon store; it was left untouched", create=create)
    samples.run_sql(other, "PRAGMA journal_mode=WAL; CREATE TABLE tax (year INTEGER);")
    _refused(other, NotAnHvmonStore, "is no hvmon store", create=create)
    folder.mkdir()
    with pytest.raises(NotAnHvmonStore, match="is no file"):
        Store.open(folder, create=create)


def test_an_empty_file_is_filled_only_when_asked(tmp_path):
    path = tmp_path / "empty.sqlite"
    path.touch()
    _refused(path, NotAnHvmonStore, "is an empty file")
    Store.open(path, create=True).close()
    Store.open(path).close()


def test_a_newer_store_is_refused_by_name(path):
    samples.run_sql(path, "UPDATE alembic_version SET version_num = 'v0999'")
    _refused(path, NewerStore, "written by a newer hvmon .*v0999")


@pytest.mark.parametrize(
    ("tamper", "named"),
    [
        ("DROP TRIGGER weight_version_no_update", "trigger weight_version_no_update is missing"),
        ("DROP TRIGGER audit_event_no_delete", "trigger audit_event_no_delete is missing"),
        ("CREATE TRIGGER t AFTER INSERT ON record BEGIN SELECT 1; END", "trigger t was added"),
        ("DROP INDEX audit_event_by_person", "index audit_event_by_person is missing"),
        ("CREATE TABLE extra (a)", "table extra was added"),
        (
            (
                "PRAGMA writable_schema=1; UPDATE sqlite_master SET sql = replace(sql, 'STRICT', '') "
                "WHERE name = 'draft'"
            ),
            "table draft was changed",
        ),
        (
            (
                "PRAGMA writable_schema=1; UPDATE sqlite_master SET sql = replace(sql, 'BETWEEN 2 AND 350', "
                "'BETWEEN 2 AND 9999') WHERE name = 'weight_version'"
            ),
            "table weight_version was changed",
        ),
    ],
)
def test_a_store_whose_protections_were_changed_is_refused(path, tamper, named):
    samples.run_sql(path, tamper)
    _refused(path, NotAnHvmonStore, named)


def test_the_migrations_make_the_tables_the_program_uses():
    with migrate.template().read() as connection:
        found = inspect(connection)
        for table in METADATA.tables.values():
            columns = {column["name"] for column in found.get_columns(table.name)}
            assert columns == {column.name for column in table.columns}
        catalogue = sqlite_only.catalogue(connection)
    for (kind, name), text in catalogue.items():
        if kind == "table" and name != "alembic_version":
            assert text.endswith("STRICT"), name


def test_the_frozen_columns_of_the_newest_migration_are_those_of_the_records():
    assert v0001_first.COLUMNS.read_text(encoding="utf-8") == frozen_columns(), (
        "A record type changed. Before the first release: python -m hvmon.store.freeze "
        "hvmon/store/migrations/versions/v0001_columns.json; later: add a migration."
    )


@pytest.fixture
def first_schema(tmp_path):
    """Give a copy of the store that the first schema made."""
    return Path(shutil.copy(FIXTURE, tmp_path / "old.sqlite"))


def test_a_store_of_the_first_schema_opens_and_verifies(first_schema):
    with Store.open(first_schema) as store:
        assert store.verify() == ()
        assert store.revision() == 38
        held = store.dossier(ANNA).weight
        assert [str(each.record.weight_kg) for each in held][:2] == ["71.50", "70"]
        assert {line.name for line in store.people()} == {"Anna Invented", "Bert Invented"}


MIGRATION = """
from alembic import op
import sqlalchemy as sa
revision, down_revision, branch_labels, depends_on = "v0002", "v0001", None, None

def upgrade():
    op.add_column("weight_version", sa.Column("scales", sa.Text))
    {more}
"""


@pytest.fixture
def later(tmp_path):
    """Give a function that makes a migrations folder with a second schema."""

    def make(more=""):
        folder = tmp_path / "migrations"
        shutil.copytree(migrate.MIGRATIONS, folder, ignore=shutil.ignore_patterns("__pycache__"))
        (folder / "versions" / "v0002_scales.py").write_text(MIGRATION.format(more=more))
        return folder

    return make


def _open(path, folder):
    return opening.open_file(path, create=False, busy_timeout_s=5, folder=folder)


def test_an_upgrade_keeps_the_record_and_its_protections_after_a_copy(first_schema, later):
    folder = later()
    before = _digest(first_schema)
    store = Store(_open(first_schema, folder))
    assert store.verify() == ()
    held = store.dossier(ANNA).weight[0]
    assert str(held.record.weight_kg) == "71.50"
    with store._database.read() as connection:
        assert migrate.differences(connection, folder) == ()
        assert "weight_version_no_update" in str(sqlite_only.catalogue(connection))
    store.close()
    copy = first_schema.with_name("old.sqlite.before-v0002")
    with Store.open(copy) as kept:
        assert kept.verify() == ()
    assert before != _digest(first_schema)
    _refused(first_schema, NewerStore, "v0002")


def test_an_upgrade_that_fails_half_way_changes_nothing(first_schema, later):
    folder = later('op.execute("INSERT INTO no_such_table VALUES (1)")')
    with pytest.raises(StoreError):
        _open(first_schema, folder)
    first_schema.with_name("old.sqlite.before-v0002").unlink()
    with Store.open(first_schema) as store:
        assert store.verify() == ()


def test_an_upgrade_never_overwrites_an_earlier_copy(first_schema, later):
    first_schema.with_name("old.sqlite.before-v0002").write_text("kept")
    with pytest.raises(StoreError, match="is in the way"):
        _open(first_schema, later())
    with Store.open(first_schema) as store:
        assert store.verify() == ()


def test_two_threads_that_create_the_same_store_make_one(tmp_path):
    path, opened = tmp_path / "new.sqlite", []
    together = threading.Barrier(2)

    def create():
        together.wait()
        opened.append(Store.open(path, create=True))

    threads = [threading.Thread(target=create) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    one, two = opened
    samples.with_anna(one)
    assert two.dossier(ANNA) == one.dossier(ANNA)
    assert not two.save(samples.person(), request_id="again", **BY).added
    one.close()
    two.close()


@pytest.mark.parametrize(
    ("version", "safe"),
    [
        ((3, 40, 1), False), ((3, 51, 2), False), ((3, 51, 3), True), ((3, 52, 0), True), ((4, 0, 0), True),
        ((3, 50, 6), False), ((3, 50, 7), True), ((3, 44, 5), False), ((3, 44, 6), True), ((3, 45, 9), False),
    ],
)  # fmt: skip
def test_write_ahead_logging_is_used_only_with_the_reset_fix(version, safe):
    assert sqlite_only.wal_is_safe(version) is safe
    assert sqlite_only.durability(version) == (("WAL", "FULL") if safe else ("DELETE", "EXTRA"))


def test_every_connection_has_the_settings_that_guard_the_record(path):
    database = Database(path)
    wanted = {"foreign_keys": 1, "trusted_schema": 0, "cell_size_check": 1, "recursive_triggers": 1}
    journal, synchronous = sqlite_only.durability(sqlite3.sqlite_version_info)
    with database.read() as connection:
        for name, value in wanted.items():
            assert connection.exec_driver_sql(f"PRAGMA {name}").scalar_one() == value
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar_one() == journal.lower()
        level = connection.exec_driver_sql("PRAGMA synchronous").scalar_one()
        assert level == {"FULL": 2, "EXTRA": 3}[synchronous]
    database.close()
