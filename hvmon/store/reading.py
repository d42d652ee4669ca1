"""Reading versions back: histories, dossiers, people."""

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Any

from sqlalchemy import Connection, Select, bindparam, select

from hvmon.records.dossier import Dossier
from hvmon.records.held import Held
from hvmon.records.kinds import KIND_OF_TABLE, RECORD_KINDS, RecordKind
from hvmon.records.person import Identity, Person
from hvmon.store.errors import UnknownPerson, UnknownRecord
from hvmon.store.plan import from_us, plan_of
from hvmon.store.tables import RECORD, VERSIONS
from hvmon.vocabulary import DiagnosisGroup, RecordStatus

_HELD = ("person_key", "record_id", "version", "seq", "held_status", "held_reason", "held_us", "held_by")
_STATUS = {status.value: status for status in RecordStatus}
_LATEST = 2**62
"""Stands for "now" where a sequence number is asked for."""

Rows = Sequence[Any]


@dataclass(frozen=True, slots=True)
class PersonLine:
    """One person in a list; texts are empty and the birthday None where no identity is kept."""

    person_key: str
    local_id: str
    second_identifier: str
    name: str
    date_of_birth: date | None
    diagnosis_group: DiagnosisGroup
    invented: bool


@lru_cache(maxsize=64)
def _columns(kind: RecordKind) -> tuple[Any, ...]:
    table = VERSIONS[kind.table]
    return tuple(table.c[name] for name in (*_HELD, *plan_of(kind).names))


@lru_cache(maxsize=64)
def _by_people(kind: RecordKind) -> Select[Any]:
    table = VERSIONS[kind.table]
    dated = (table.c[kind.dated_by],) if kind.dated_by else ()
    return (
        select(*_columns(kind))
        .where(table.c.person_key.in_(bindparam("people", expanding=True)), table.c.seq <= bindparam("seq"))
        .order_by(table.c.person_key, *dated, table.c.seq)
    )


@lru_cache(maxsize=64)
def _by_record(kind: RecordKind) -> Select[Any]:
    table = VERSIONS[kind.table]
    same = (table.c.person_key == bindparam("person"), table.c.record_id == bindparam("record_id"))
    return select(*_columns(kind)).where(*same).order_by(table.c.version)


def _held(kind: RecordKind, row: Any) -> Held[Any]:  # noqa: ANN401 - a row
    _, record_id, version, seq, status, reason, at_us, by = row[: len(_HELD)]
    record = plan_of(kind).record(row[len(_HELD) :])
    return Held(record_id, version, _STATUS[status], seq, from_us(at_us), by, reason, record)


def _in_force(rows: Rows) -> list[Any]:
    """Keep the latest version of each record, unless it is entered in error; the order stays."""
    latest: dict[str, int] = {}
    for row in rows:
        if row[2] > latest.get(row[1], 0):
            latest[row[1]] = row[2]
    error = RecordStatus.ENTERED_IN_ERROR.value
    return [row for row in rows if row[2] == latest[row[1]] and row[4] != error]


def history(connection: Connection, record_id: str) -> tuple[Held[Any], ...]:
    """Give every version of a record, the first one first.

    Raises
    ------
    UnknownRecord
        The store has no such record.
    """
    head = select(RECORD.c.table_name, RECORD.c.person_key).where(RECORD.c.record_id == record_id)
    row = connection.execute(head).first()
    if row is None:
        raise UnknownRecord(f"The store has no record {record_id!r}.")
    kind = KIND_OF_TABLE[row.table_name]
    rows = connection.execute(_by_record(kind), {"person": row.person_key, "record_id": record_id})
    return tuple(_held(kind, version) for version in rows)


def held(connection: Connection, record_id: str) -> Held[Any]:
    """Give the latest version of a record, withdrawn or not."""
    return history(connection, record_id)[-1]


def version(connection: Connection, record_id: str, number: int) -> Held[Any]:
    """Give one version of a record."""
    return history(connection, record_id)[number - 1]


def _parts(connection: Connection, people: list[str], seq: int) -> dict[str, dict[str, list[Held[Any]]]]:
    """Give for each person the held records in force by table."""
    parts: dict[str, dict[str, list[Held[Any]]]] = {key: {} for key in people}
    for kind in RECORD_KINDS:
        rows = connection.execute(_by_people(kind), {"people": people, "seq": seq}).all()
        for row in _in_force(rows):
            parts[row[0]].setdefault(kind.table, []).append(_held(kind, row))
    return parts


def _dossier(person_key: str, parts: dict[str, list[Held[Any]]]) -> Dossier | None:
    people, identities = parts.pop("person", []), parts.pop("identity", [])
    if not people:
        return None
    person: Person = people[-1].record
    identity: Identity | None = identities[-1].record if identities else None
    lists: dict[str, Any] = {table: tuple(rows) for table, rows in parts.items()}
    return Dossier(person_key, person, identity, **lists)


def dossier(connection: Connection, person_key: str, as_of_seq: int | None) -> Dossier:
    """Give everything in force about one person, now or as the store knew it at a sequence number.

    Raises
    ------
    UnknownPerson
        No such person, not yet, or withdrawn.
    """
    seq = _LATEST if as_of_seq is None else as_of_seq
    found = _dossier(person_key, _parts(connection, [person_key], seq)[person_key])
    if found is None:
        when = "" if as_of_seq is None else f" at change {as_of_seq}"
        raise UnknownPerson(f"The store knows no person with key {person_key!r}{when}.")
    return found


def person_records(connection: Connection, person_key: str) -> tuple[Held[Person], Held[Identity] | None]:
    """Give the versions in force of person and identity.

    Raises
    ------
    UnknownPerson
        No such person, or withdrawn.
    """
    found: dict[str, Held[Any]] = {}
    for table in ("person", "identity"):
        kind = KIND_OF_TABLE[table]
        rows = connection.execute(_by_people(kind), {"people": [person_key], "seq": _LATEST}).all()
        for row in _in_force(rows):
            found[table] = _held(kind, row)
    if "person" not in found:
        raise UnknownPerson(f"The store knows no person with key {person_key!r}.")
    return found["person"], found.get("identity")


def dossiers(connection: Connection, people: list[str]) -> list[Dossier]:
    """Give the dossiers of some people, in their order; the unknown and withdrawn are left out."""
    parts = _parts(connection, people, _LATEST)
    found = (_dossier(key, parts[key]) for key in people)
    return [each for each in found if each is not None]


def person_keys(connection: Connection) -> list[str]:
    """Give the key of every person in force, in order of entry."""
    wanted = select(RECORD.c.person_key).where(RECORD.c.table_name == "person", RECORD.c.withdrawn == "no")
    return list(connection.execute(wanted.order_by(RECORD.c.record_id)).scalars())


def _current(connection: Connection, table: str, names: tuple[str, ...]) -> dict[str, Any]:
    """Give some columns of a one-a-person table for everyone, by person key."""
    columns = VERSIONS[table].c
    rows = connection.execute(
        select(*(columns[name] for name in (*_HELD[:5], *names))).order_by(columns.seq)
    ).all()
    return {row[0]: row[5:] for row in _in_force(rows)}


def person_lines(connection: Connection) -> tuple[PersonLine, ...]:
    """Give everyone in force, by name, then local id."""
    names = ("local_id", "second_identifier", "name", "date_of_birth")
    identities = _current(connection, "identity", names)
    people = _current(connection, "person", ("diagnosis_group", "invented"))
    lines = [_line(key, row, identities.get(key)) for key, row in people.items()]
    return tuple(sorted(lines, key=lambda line: (levelled(line.name), line.local_id, line.person_key)))


def _line(person_key: str, person: Any, identity: Any) -> PersonLine:  # noqa: ANN401 - rows
    group, invented = DiagnosisGroup(person[0]), person[1] == "yes"
    if identity is None:
        return PersonLine(person_key, "", "", "", None, group, invented)
    local_id, second, name, born = identity
    return PersonLine(person_key, local_id, second, name, date.fromisoformat(born), group, invented)


def levelled(text: str) -> str:
    """Give a text for searching: without case and accents."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


def searchable(line: PersonLine) -> str:
    """Give the text in which a person is searched."""
    return levelled(f"{line.name}\n{line.local_id}\n{line.second_identifier}")


def matching(lines: Sequence[tuple[str, PersonLine]], text: str) -> Iterator[PersonLine]:
    """Give the people whose searchable text holds every word of a text."""
    wanted = levelled(text).split()
    return (line for where, line in lines if all(word in where for word in wanted))
