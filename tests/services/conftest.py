"""A store in memory with two invented people, and the context of a visit to the first."""

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest

from hvmon.services.visit_records import Context
from hvmon.store.store import Store
from hvmon.vocabulary import Role
from tests.app import invented

NOW = datetime(2026, 6, 15, 12, 0, tzinfo=UTC)


@pytest.fixture
def store() -> Iterator[Store]:
    with Store.in_memory() as held:
        held.save_all(invented.records(), actor="N. Invented", request_id="invented", now=NOW)
        yield held


@pytest.fixture
def context(store: Store) -> Context:
    return Context(store.dossier(invented.ANNA), "Nia Nurse", Role.NURSE, "token-1", NOW)
