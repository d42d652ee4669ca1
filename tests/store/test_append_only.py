"""What was recorded can be added to, and neither changed nor removed, by us or by another program."""

import sqlite3
from datetime import timedelta

import pytest

from hvmon.records.kinds import RECORD_KINDS
from hvmon.store.errors import Unsaved
from hvmon.store.store import Store
from tests.store import samples
from tests.store.samples import BY, NOW, weight


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE weight_version SET weight_kg = '50'",
        "DELETE FROM weight_version",
        "INSERT OR REPLACE INTO weight_version SELECT * FROM weight_version",
        "UPDATE audit_event SET actor = 'X'",
        "DELETE FROM audit_event",
        "INSERT OR REPLACE INTO audit_event SELECT * FROM audit_event",
        "DELETE FROM request",
        "DELETE FROM record",
    ],
)
def test_sql_cannot_change_or_remove_what_was_recorded(store, statement):
    store.save(weight(), request_id="r1", **BY)
    with pytest.raises(Unsaved, match="own checks"), store._database.write() as connection:
        connection.exec_driver_sql(statement)
    assert store.verify() == ()


def test_another_program_cannot_change_them_either(path):
    with Store.open(path) as store:
        samples.with_anna(store).save(weight(), request_id="r1", **BY)
    for statement in ("UPDATE weight_version SET weight_kg = '50'", "DELETE FROM audit_event"):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            samples.run_sql(path, statement)
    with Store.open(path) as store:
        assert store.verify() == ()


@pytest.mark.parametrize(
    "table", [*(f"{kind.table}_version" for kind in RECORD_KINDS), "audit_event", "request"]
)
def test_every_table_of_the_record_has_its_guards(store, table):
    with store._database.read() as connection:
        rows = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        names = {row[0] for row in rows}
    assert {f"{table}_no_update", f"{table}_no_delete", f"{table}_no_replace"} <= names


def test_a_correction_leaves_the_row_of_the_first_version_untouched(store):
    def first_row():
        with store._database.read() as connection:
            wanted = "SELECT * FROM weight_version WHERE version = 1"
            return tuple(connection.exec_driver_sql(wanted).one())

    held = store.save(weight("71.5"), request_id="r1", **BY).held
    before = first_row()
    later = {"actor": "Doctor D", "now": NOW + timedelta(days=1), "reason": "slip"}
    store.correct(held.record_id, weight("17.5"), expect_version=1, request_id="c1", **later)
    store.withdraw(held.record_id, expect_version=2, request_id="x1", **later)
    assert first_row() == before
    assert [str(each.record.weight_kg) for each in store.history(held.record_id)] == ["71.5", "17.5", "17.5"]
