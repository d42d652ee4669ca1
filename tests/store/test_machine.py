"""The store behaves as a plain dictionary, and the test that says so notices planted faults."""

from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from hvmon.store import audit, heads, reading, requests, stamp, store, writing
from hvmon.store.errors import StoreError
from hvmon.store.store import Store
from hvmon.store.tables import VERSIONS
from hvmon.vocabulary import RecordStatus
from tests.store.machine import StoreMachine

PLAIN = {"database": None, "derandomize": True, "report_multiple_bugs": False}
QUIET = [HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large]


@pytest.fixture
def machine(empty_file):
    """Give the state machine on copies of an empty store."""
    return type("Machine", (StoreMachine,), {"empty_file": empty_file})


def _run(machine, examples, **other):
    how = settings(
        max_examples=examples, stateful_step_count=25, deadline=None, suppress_health_check=QUIET, **other
    )
    run_state_machine_as_test(machine, settings=how)


def test_the_store_behaves_as_a_plain_dictionary(machine):
    _run(machine, 60, phases=[Phase.explicit, Phase.reuse, Phase.generate])


def _no_version_check(monkeypatch):
    real = heads.head_to_change

    def blind(connection, record_id, _expect_version):
        return real(connection, record_id, heads.head_of(connection, record_id).version)

    monkeypatch.setattr(heads, "head_to_change", blind)


def _no_idempotency(monkeypatch):
    monkeypatch.setattr(requests, "answered", lambda *_: None)
    monkeypatch.setattr(requests, "note", lambda *_: None)


def _audit_forgets_corrections(monkeypatch):
    real = writing.Writer._put

    def put(self, entry, head, deed, status, reason, before):
        real(self, entry, head, deed, status, reason, before)
        if deed == audit.Deed.CORRECTED:
            self._events.pop()

    monkeypatch.setattr(writing.Writer, "_put", put)


def _update_in_the_place_of_a_version(monkeypatch):
    def replace(self, head, entry, _deed, _status, _before):
        table = VERSIONS[entry.plan.table]
        for verb in ("update", "delete"):
            self._connection.exec_driver_sql(f"DROP TRIGGER {table.name}_no_{verb}")
        values = entry.row | entry.plan.shadows(entry.row)
        same = (table.c.record_id == head.record_id, table.c.version == head.version)
        self._connection.execute(table.update().where(*same).values(**values))
        return writing.Written(head.record_id, head.version, added=True)

    monkeypatch.setattr(writing.Writer, "replace", replace)


def _chain_over_other_values(monkeypatch):
    real = writing.Writer._payload
    monkeypatch.setattr(
        writing.Writer, "_payload", lambda self, table, text: real(self, table, text.replace('.0"', '"'))
    )


def _shows_what_was_entered_in_error(monkeypatch):
    def in_force(rows):
        latest = {row[1]: row[2] for row in sorted(rows, key=lambda row: row[2])}
        return [row for row in rows if row[2] == latest[row[1]]]

    monkeypatch.setattr(reading, "_in_force", in_force)


def _shows_older_versions(monkeypatch):
    error = RecordStatus.ENTERED_IN_ERROR.value
    monkeypatch.setattr(reading, "_in_force", lambda rows: [row for row in rows if row[4] != error])


def _no_natural_key(monkeypatch):
    real = writing.entry_of
    count = iter(range(10**9))

    def entry_of(record, salt):
        entry = real(record, salt)
        return writing.Entry(entry.plan, entry.record, entry.row, entry.text, f"{next(count)}", entry.content)

    monkeypatch.setattr(store, "entry_of", entry_of)


def _keeps_silent_about_other_values(monkeypatch):
    monkeypatch.setattr(writing.Writer, "_refuse_other_values", lambda *_: None)


def _a_visit_is_saved_piece_by_piece(monkeypatch):
    real = Store._save

    def save(self, records, of):
        parts = [stamp.Stamp(of.actor, f"{of.request_id} {n}", of.at_us) for n in range(len(records))]
        if len(records) == 1:
            return real(self, records, of)
        return tuple(real(self, [record], part)[0] for record, part in zip(records, parts, strict=True))

    monkeypatch.setattr(Store, "_save", save)


def _order_by_the_clock(monkeypatch):
    real = reading._by_record

    def by_record(kind):
        return real(kind).order_by(None).order_by(VERSIONS[kind.table].c.held_us)

    monkeypatch.setattr(reading, "_by_record", by_record)


def _takes_readings_of_strangers(monkeypatch):
    monkeypatch.setattr(writing.Writer, "_refuse_strangers", lambda *_: None)


def _digits_are_lost(monkeypatch):
    real = writing.entry_of

    def entry_of(record, salt):
        if hasattr(record, "weight_kg"):
            record = record.model_copy(update={"weight_kg": record.weight_kg.normalize()})
        return real(record, salt)

    monkeypatch.setattr(store, "entry_of", entry_of)


FAULTS: list[Callable[[pytest.MonkeyPatch], None]] = [
    _no_version_check,
    _no_idempotency,
    _audit_forgets_corrections,
    _update_in_the_place_of_a_version,
    _chain_over_other_values,
    _shows_what_was_entered_in_error,
    _shows_older_versions,
    _no_natural_key,
    _keeps_silent_about_other_values,
    _a_visit_is_saved_piece_by_piece,
    _order_by_the_clock,
    _takes_readings_of_strangers,
    _digits_are_lost,
]


@pytest.mark.parametrize("plant", FAULTS, ids=lambda plant: plant.__name__.strip("_"))
def test_a_planted_fault_is_noticed(plant, machine, monkeypatch):
    plant(monkeypatch)
    with pytest.raises((AssertionError, StoreError)):
        _run(machine, 60, phases=[Phase.generate], **PLAIN)
