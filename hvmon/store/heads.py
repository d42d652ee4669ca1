"""The head of each record: which version is in force, and under which natural key it is found."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Select, bindparam, select

from hvmon.store import reading
from hvmon.store.errors import Refused, StaleVersion, UnknownRecord
from hvmon.store.tables import RECORD, VERSIONS, YES
from hvmon.vocabulary import RecordStatus

_IN_ONE_QUESTION = 500


@dataclass(slots=True)
class Head:
    """The head row of a record: where its history stands."""

    record_id: str
    table_name: str
    person_key: str
    natural_key: str | None
    version: int
    withdrawn: str
    content: str


_HEAD = tuple(RECORD.c[name] for name in Head.__dataclass_fields__)
_BY_NATURAL_KEY = select(*_HEAD).where(
    RECORD.c.table_name == bindparam("table"), RECORD.c.natural_key.in_(bindparam("keys", expanding=True))
)
_BY_ID = select(*_HEAD).where(RECORD.c.record_id == bindparam("record_id"))


def _versions_of(table: str) -> Select[Any]:
    columns = VERSIONS[table].c
    wanted = select(columns.person_key, columns.record_id, columns.held_status)
    people = columns.person_key.in_(bindparam("people", expanding=True))
    return wanted.where(people).order_by(columns.record_id, columns.version)


_ONE_A_PERSON = {table: _versions_of(table) for table in ("person", "identity")}


def batches(keys: Sequence[str]) -> Iterator[Sequence[str]]:
    """Give keys in portions that fit one question."""
    return (keys[start : start + _IN_ONE_QUESTION] for start in range(0, len(keys), _IN_ONE_QUESTION))


def by_natural_key(connection: Connection, keys: Iterable[tuple[str, str]]) -> dict[str, Head]:
    """Give the heads found under (table, natural key) pairs, by natural key."""
    wanted: dict[str, list[str]] = {}
    for table, key in keys:
        wanted.setdefault(table, []).append(key)
    found: dict[str, Head] = {}
    for table, all_keys in wanted.items():
        for some in batches(all_keys):
            rows = connection.execute(_BY_NATURAL_KEY, {"table": table, "keys": some})
            found |= {row.natural_key: Head(*row) for row in rows}
    return found


def in_force(connection: Connection, table: str, people: Sequence[str]) -> dict[str, str]:
    """Give by person the record in force of a table that holds one record a person."""
    latest: dict[str, tuple[str, str]] = {}
    for some in batches(people):
        rows = connection.execute(_ONE_A_PERSON[table], {"people": some})
        latest |= {record_id: (person_key, status) for person_key, record_id, status in rows}
    error = RecordStatus.ENTERED_IN_ERROR.value
    return {person: record_id for record_id, (person, status) in latest.items() if status != error}


def head_of(connection: Connection, record_id: str) -> Head:
    """Give the head of a record.

    Raises
    ------
    UnknownRecord
        The store has no such record.
    """
    row = connection.execute(_BY_ID, {"record_id": record_id}).first()
    if row is None:
        raise UnknownRecord(f"The store has no record {record_id!r}.")
    return Head(*row)


def head_to_change(connection: Connection, record_id: str, expect_version: int) -> Head:
    """Give the head of a record in force, at the version the person saw.

    Raises
    ------
    StaleVersion, Refused, UnknownRecord
        Somebody else changed it; it is withdrawn; it is not there. Nothing was saved.
    """
    head = head_of(connection, record_id)
    if head.version != expect_version:
        raise StaleVersion(
            f"You saw version {expect_version}, it is at version {head.version}. Nothing was saved; "
            "look at the newer values first.",
            reading.held(connection, record_id),
        )
    if head.withdrawn == YES:
        raise Refused("This record was withdrawn as entered in error. Nothing was saved; enter it again.")
    return head
