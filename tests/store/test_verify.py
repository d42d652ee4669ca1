"""Tampering behind the program's back is found by `verify`."""

import pytest

from hvmon.store.errors import Damaged
from tests.store.samples import ANNA, BY, weight

TAMPERS = {
    "a value": (
        "UPDATE weight_version SET weight_kg = '50', weight_kg_number = 50",
        "differs from its event",
    ),
    "who": ("UPDATE weight_version SET held_by = 'X'", "differs from its event"),
    "when": ("UPDATE weight_version SET held_us = 5", "differs from its event"),
    "why": ("UPDATE weight_version SET held_reason = 'other' WHERE version = 2", "differs from its event"),
    "an identity": ("UPDATE identity_version SET name = 'Eve'", "identity .* differs from its event"),
    "a version": ("DELETE FROM weight_version WHERE version = 1", "has no version"),
    "an event": ("DELETE FROM audit_event WHERE seq = 3", "event 3 is missing"),
    "a version and its event": (
        "DELETE FROM audit_event WHERE seq = 3; DELETE FROM weight_version WHERE seq = 3",
        "event 3 is missing",
    ),
    "the actor of an event": ("UPDATE audit_event SET actor = 'X' WHERE seq = 3", "event 3 was changed"),
    "two events": (
        (
            "UPDATE audit_event SET seq = 99 WHERE seq = 3; UPDATE audit_event SET seq = 3 WHERE seq = 4; "
            "UPDATE audit_event SET seq = 4 WHERE seq = 99"
        ),
        "event 3 was changed",
    ),
    "a version without event": (
        (
            "INSERT INTO weight_version SELECT person_key, record_id, 9, 77, held_status, "
            "held_reason, held_us, held_by, request_id, weighed_on, weight_kg, weight_kg_number, "
            "estimated, visit_id FROM weight_version WHERE version = 2"
        ),
        "version 9 has no event",
    ),
}


@pytest.fixture
def filled(store):
    """Give a store with a corrected weight and a bulk import."""
    held = store.save(weight("71.5"), request_id="w1", **BY).held
    store.correct(held.record_id, weight("70"), expect_version=1, reason="slip", request_id="c1", **BY)
    return store


def _behind_its_back(store, statements):
    with store._database.write() as connection:
        triggers = connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        for (name,) in triggers.fetchall():
            connection.exec_driver_sql(f"DROP TRIGGER {name}")
        for statement in statements.split(";"):
            connection.exec_driver_sql(statement)


@pytest.mark.parametrize("what", TAMPERS)
def test_verify_finds_a_change_of(what, filled):
    statements, words = TAMPERS[what]
    assert filled.verify() == ()
    _behind_its_back(filled, statements)
    faults = filled.verify()
    assert any(_matches(words, fault) for fault in faults), faults


def _matches(words, fault):
    first, _, last = words.partition(" .* ")
    return first in fault and last in fault


def test_verify_finds_a_change_of_a_bulk_imported_value(store):
    store.save_many([weight("71.5")], request_id="bulk", **BY)
    assert store.verify() == ()
    _behind_its_back(store, "UPDATE weight_version SET weight_kg = '50', weight_kg_number = 50")
    assert "differs from its event" in store.verify()[0]


def test_an_impossible_value_behind_its_back_is_not_shown_as_fact(filled):
    _behind_its_back(
        filled, "PRAGMA ignore_check_constraints=ON; UPDATE weight_version SET weight_kg = '999'"
    )
    with pytest.raises(Damaged, match="stored weight"):
        filled.dossier(ANNA)
