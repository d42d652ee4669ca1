"""Writing versions: natural keys, optimistic lock, audit event, all in the caller's transaction."""

import json
import secrets
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, bindparam, insert, select, update

from hvmon.records.base import PersonRecord
from hvmon.records.flat import Kind
from hvmon.records.kinds import KIND_OF_MODEL
from hvmon.store import audit, heads, reading
from hvmon.store.audit import Deed, Event
from hvmon.store.errors import AlreadyDifferent, Refused
from hvmon.store.heads import Head
from hvmon.store.plan import Plan, Row, from_us, plan_of
from hvmon.store.stamp import Stamp
from hvmon.store.tables import AUDIT, NO, PERSON_HEAD, RECORD, VERSIONS, YES
from hvmon.vocabulary import RecordStatus

_ENTERED_AGAIN = "entered again after it was withdrawn"


@dataclass(frozen=True, slots=True)
class Entry:
    """A record on its way in."""

    plan: Plan[Any]
    record: PersonRecord
    row: Row
    text: str
    natural_key: str
    content: str

    @property
    def person_key(self) -> str:
        """Whose record it is."""
        return self.record.person_key


@dataclass(frozen=True, slots=True)
class Written:
    """What became of one record: its version, and whether this call added it."""

    record_id: str
    version: int
    added: bool


def entry_of(record: PersonRecord, salt: bytes) -> Entry:
    """Work out row, natural key and content digest of a record.

    Raises
    ------
    Refused
        The type is not one the store keeps.
    """
    kind = KIND_OF_MODEL.get(type(record))
    if kind is None:
        raise Refused(f"{type(record).__name__} is no record the store keeps.")
    plan = plan_of(kind)
    row = plan.row(record)
    text = audit.content(row)
    natural = json.dumps([kind.table, *(row[name] for name in record.natural_key)], ensure_ascii=False)
    return Entry(plan, record, row, text, audit.salted(salt, natural), audit.salted(salt, text))


class Writer:
    """Writes entries under one stamp; `finish` must end the work inside the same transaction."""

    def __init__(self, connection: Connection, stamp: Stamp, salt: bytes) -> None:
        self._connection = connection
        self._stamp = stamp
        self._salt = salt
        self._seq, self._hash = audit.head(connection)
        self._last_seq: dict[str, int] = {}
        self._versions: dict[str, list[dict[str, Any]]] = {}
        self._events: list[dict[str, Any]] = []
        self._new_heads: list[Head] = []
        self._moved_heads: dict[str, Head] = {}

    def add(self, entries: Sequence[Entry]) -> list[Written]:
        """Add what is new; what is there already with the same values adds nothing.

        Raises
        ------
        AlreadyDifferent
            The same reading is there with other values; nothing of this transaction is stored.
        """
        there = self._there(entries)
        identities = self._identities(entries)
        written = [self._add_one(entry, there, identities) for entry in entries]
        self._flush()
        return written

    def _add_one(self, entry: Entry, there: dict[str, Head], identities: dict[str, str]) -> Written:
        head = there.get(entry.natural_key)
        if head is not None and head.withdrawn == NO:
            self._refuse_other_values(entry, head)
            return Written(head.record_id, head.version, added=False)
        self._refuse_second_identity(entry, identities)
        if head is not None and head.person_key == entry.person_key:
            self._again(entry, head)
        else:
            if head is not None:
                self._release(head)
            there[entry.natural_key] = head = self._first(entry)
        if entry.plan.table == audit.IDENTITY:
            identities[entry.person_key] = head.record_id
        return Written(head.record_id, head.version, added=True)

    def _there(self, entries: Sequence[Entry]) -> dict[str, Head]:
        keys = ((entry.plan.table, entry.natural_key) for entry in entries)
        return heads.by_natural_key(self._connection, keys)

    def _first(self, entry: Entry) -> Head:
        seq = self._seq + 1
        record_id = f"{seq:010x}{secrets.token_hex(6)}"
        head = Head(record_id, entry.plan.table, entry.person_key, entry.natural_key, 1, NO, entry.content)
        self._new_heads.append(head)
        self._put(entry, head, Deed.ADDED, RecordStatus.FINAL, self._stamp.reason, None)
        return head

    def _again(self, entry: Entry, head: Head) -> None:
        head.version, head.withdrawn, head.content = head.version + 1, NO, entry.content
        self._moved_heads[head.record_id] = head
        reason = self._stamp.reason or _ENTERED_AGAIN
        self._put(entry, head, Deed.ADDED_AGAIN, RecordStatus.FINAL, reason, None)

    def _release(self, head: Head) -> None:
        """Free the natural key of a withdrawn record that another person needs."""
        freed = update(RECORD).where(RECORD.c.record_id == head.record_id).values(natural_key=None)
        self._connection.execute(freed)

    def replace(self, head: Head, entry: Entry, deed: Deed, status: RecordStatus, before: Row) -> Written:
        """Write the next version of a record in force."""
        self._refuse_other_record(entry, head)
        head.version, head.content, head.natural_key = head.version + 1, entry.content, entry.natural_key
        head.withdrawn = YES if status == RecordStatus.ENTERED_IN_ERROR else NO
        self._moved_heads[head.record_id] = head
        self._put(entry, head, deed, status, self._stamp.reason, audit.content(before))
        self._flush()
        return Written(head.record_id, head.version, added=True)

    def _put(
        self, entry: Entry, head: Head, deed: Deed, status: RecordStatus, reason: str, before: str | None
    ) -> None:
        stamp, table = self._stamp, entry.plan.table
        self._seq += 1
        self._last_seq[entry.person_key] = self._seq
        version = {
            "record_id": head.record_id, "version": head.version, "seq": self._seq,
            "held_status": status.value, "held_reason": reason, "held_us": stamp.at_us,
            "held_by": stamp.actor, "request_id": stamp.request_id,
        }  # fmt: skip
        self._versions.setdefault(table, []).append(version | entry.row | entry.plan.shadows(entry.row))
        event = Event(
            self._seq, stamp.at_us, stamp.actor, deed.value, table, head.record_id, head.version,
            entry.person_key, reason, None if before is None else self._payload(table, before),
            self._payload(table, entry.text), stamp.request_id, self._hash,
        )  # fmt: skip
        self._hash = event.hash()
        values = {name: getattr(event, name) for name in Event.__dataclass_fields__}
        self._events.append(values | {"hash": self._hash})

    def _payload(self, table: str, text: str) -> str:
        return audit.payload(table, text, self._salt, brief=self._stamp.brief)

    def _identities(self, entries: Sequence[Entry]) -> dict[str, str]:
        """Give the identity record in force of each person that brings one."""
        keys = [entry.person_key for entry in entries if entry.plan.table == audit.IDENTITY]
        return heads.in_force(self._connection, audit.IDENTITY, keys)

    def _refuse_second_identity(self, entry: Entry, identities: dict[str, str]) -> None:
        other = identities.get(entry.person_key)
        if entry.plan.table != audit.IDENTITY or other is None:
            return
        self._flush()
        raise AlreadyDifferent(
            "This person has an identity already, with another local_id. Nothing was saved; "
            "correct the recorded identity instead.",
            reading.held(self._connection, other),
            ("local_id",),
        )

    def _refuse_other_values(self, entry: Entry, head: Head) -> None:
        if head.content == entry.content:
            return
        self._flush()
        held = reading.held(self._connection, head.record_id)
        old = entry.plan.row(held.record)
        fields = entry.plan.changed(old, entry.row)
        if fields:
            raise AlreadyDifferent(_differs(entry, old, fields), held, fields)

    def _refuse_other_record(self, entry: Entry, head: Head) -> None:
        """Refuse a correction that takes the natural key of another record."""
        other = self._there([entry]).get(entry.natural_key)
        if other is None or other.record_id == head.record_id:
            return
        if other.withdrawn == YES:
            self._release(other)
            return
        fields = tuple(type(entry.record).natural_key)
        raise AlreadyDifferent(
            f"Another {entry.plan.words} with the same {_listed(fields)} is recorded already. "
            "Nothing was saved; correct that one, or withdraw this one.",
            reading.held(self._connection, other.record_id),
            fields,
        )

    def _flush(self) -> None:
        self._make_person_heads({head.person_key for head in self._new_heads})
        if self._new_heads:
            rows = [_head_values(head) for head in self._new_heads]
            self._connection.execute(insert(RECORD), rows)
        fresh = {head.record_id for head in self._new_heads}
        for head in self._moved_heads.values():
            if head.record_id not in fresh:
                moved = update(RECORD).where(RECORD.c.record_id == head.record_id)
                self._connection.execute(moved.values(**_head_values(head)))
        for table, versions in self._versions.items():
            self._connection.execute(insert(VERSIONS[table]), versions)
        if self._events:
            self._connection.execute(insert(AUDIT), self._events)
        self._new_heads, self._events = [], []
        self._versions, self._moved_heads = {}, {}

    def _make_person_heads(self, people: set[str]) -> None:
        known: set[str] = set()
        for some in heads.batches(sorted(people)):
            rows = self._connection.execute(_KNOWN_PEOPLE, {"people": some})
            known |= {row.person_key for row in rows}
        missing = [{"person_key": key, "last_seq": 0} for key in sorted(people - known)]
        if missing:
            self._connection.execute(insert(PERSON_HEAD), missing)

    def finish(self, *, known_people_only: bool = True) -> None:
        """Note for each person the last change; refuse records of people the store does not know.

        Raises
        ------
        Refused
            A person has readings but no person record in force.
        """
        people = sorted(self._last_seq)
        if known_people_only:
            self._refuse_strangers(people)
        changes = [{"person": key, "seq": self._last_seq[key]} for key in people]
        if changes:
            self._connection.execute(_NOTE_CHANGE, changes)

    def _refuse_strangers(self, people: list[str]) -> None:
        present = heads.in_force(self._connection, "person", people)
        strangers = [key for key in people if key not in present]
        if strangers:
            raise Refused(
                f"The store knows no person with key {', '.join(strangers[:5])}. Nothing was saved; "
                "save the person first, or in the same step."
            )


_KNOWN_PEOPLE = select(PERSON_HEAD.c.person_key).where(
    PERSON_HEAD.c.person_key.in_(bindparam("people", expanding=True))
)
_NOTE_CHANGE = (
    update(PERSON_HEAD)
    .where(PERSON_HEAD.c.person_key == bindparam("person"))
    .values(last_seq=bindparam("seq"))
)


def _head_values(head: Head) -> dict[str, Any]:
    return {name: getattr(head, name) for name in Head.__dataclass_fields__}


def _listed(fields: Iterable[str]) -> str:
    return ", ".join(fields)


def _shown(entry: Entry, name: str, value: Any) -> str:  # noqa: ANN401 - a stored value
    if value is None:
        return "nothing"
    return from_us(value).isoformat() if entry.plan.kinds[name] == Kind.INSTANT else str(value)[:60]


def _differs(entry: Entry, old: Row, fields: tuple[str, ...]) -> str:
    key = [name for name in type(entry.record).natural_key if name != "person_key"]
    which = _listed(f"{name} {_shown(entry, name, entry.row[name])}" for name in key)
    parts = [
        f"{name} (recorded {_shown(entry, name, old[name])}, given {_shown(entry, name, entry.row[name])})"
        for name in fields
    ]
    return (
        f"The {entry.plan.words} {which + ' ' if which else ''}is recorded already with other values: "
        f"{'; '.join(parts)}. Nothing was saved; correct the recorded one instead."
    )
