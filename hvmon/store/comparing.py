"""What saving some records would do, found out without saving."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from sqlalchemy import Connection

from hvmon.records.base import PersonRecord
from hvmon.records.held import Held
from hvmon.store import heads, reading
from hvmon.store.heads import Head
from hvmon.store.tables import YES
from hvmon.store.writing import Entry


class Known(StrEnum):
    """What the store knows of a record."""

    NEW = "new"
    SAME = "recorded already"
    DIFFERENT = "recorded already with other values"


@dataclass(frozen=True, slots=True)
class Compared:
    """One record beside what the store holds under its natural key."""

    record: PersonRecord
    known: Known
    held: Held[Any] | None = None
    """The version in force, where it differs."""
    fields: tuple[str, ...] = ()
    """Names of the differing flat columns."""


def compare(connection: Connection, entries: Sequence[Entry]) -> list[Compared]:
    """Compare records with those in force under the same natural key."""
    there = heads.by_natural_key(connection, ((entry.plan.table, entry.natural_key) for entry in entries))
    return [_compared(connection, entry, there.get(entry.natural_key)) for entry in entries]


def _compared(connection: Connection, entry: Entry, head: Head | None) -> Compared:
    if head is None or head.withdrawn == YES:
        return Compared(entry.record, Known.NEW)
    if head.content == entry.content:
        return Compared(entry.record, Known.SAME)
    held = reading.held(connection, head.record_id)
    fields = entry.plan.changed(entry.plan.row(held.record), entry.row)
    if not fields:
        return Compared(entry.record, Known.SAME)
    return Compared(entry.record, Known.DIFFERENT, held, fields)
