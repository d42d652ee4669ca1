"""The store: what services call. Safe to share between threads.

Every write is one transaction that also holds its audit events; a save that returns is on the disk.
"""

import hashlib
import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import islice
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import polars as pl
from sqlalchemy import Connection

from hvmon.records.base import PersonRecord
from hvmon.records.dossier import Dossier
from hvmon.records.held import Held
from hvmon.records.person import Identity, Person
from hvmon.store import audit, comparing, frames, heads, opening, reading, requests, side, verify
from hvmon.store.audit import Deed
from hvmon.store.comparing import Compared
from hvmon.store.engine import BUSY_TIMEOUT_S, Database
from hvmon.store.errors import Refused
from hvmon.store.plan import Row
from hvmon.store.reading import PersonLine
from hvmon.store.side import Draft, Summary
from hvmon.store.stamp import Stamp, aware, needed
from hvmon.store.stamp import stamp as stamp_of
from hvmon.store.writing import Entry, Writer, Written, entry_of
from hvmon.vocabulary import RecordStatus

_AT_ONCE = 2_000
"""Records written by one statement of a bulk import."""

_PEOPLE_AT_ONCE = 100
"""Dossiers read by one set of questions."""


@dataclass(frozen=True, slots=True)
class Saved:
    """The record as held; `added` is False where the same reading was there already."""

    held: Held[Any]
    added: bool


@dataclass(frozen=True, slots=True)
class Counts:
    """What became of a bulk import."""

    added: int
    already: int


class Store:
    """One store file, or one in memory.

    Examples
    --------
    >>> store = Store.in_memory()
    >>> store.revision()
    0
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        with database.read() as connection:
            self._salt = audit.salt_of(connection)
        self._lines: tuple[int, tuple[tuple[str, PersonLine], ...]] = (-1, ())

    @classmethod
    def open(cls, path: Path, *, create: bool = False, busy_timeout_s: float = BUSY_TIMEOUT_S) -> "Store":
        """Open a store file; an older schema is upgraded after a verified copy.

        Raises
        ------
        NotAnHvmonStore, NewerStore
            The file is missing, something else, changed, or newer than this program. It is left untouched.
        """
        return cls(opening.open_file(path, create=create, busy_timeout_s=busy_timeout_s))

    @classmethod
    def in_memory(cls) -> "Store":
        """Make an empty store that lives as long as the object."""
        return cls(opening.in_memory())

    def close(self) -> None:
        """Close the store."""
        self._database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, _kind: type[BaseException] | None, _error: BaseException | None, _trace: TracebackType | None
    ) -> None:
        self.close()

    def revision(self) -> int:
        """Sequence number of the last change; raised by every write of a record."""
        with self._database.read() as connection:
            return audit.last_seq(connection)

    def save(
        self, record: PersonRecord, *, actor: str, request_id: str, now: datetime, reason: str = ""
    ) -> Saved:
        """Save one record. The same again, or the same request again, adds nothing.

        Raises
        ------
        AlreadyDifferent
            The same reading is there with other values.
        Refused, Busy, Unsaved
            Nothing was stored; the message says why and what to do.
        """
        return self._save([record], stamp_of(actor, request_id, now, reason))[0]

    def save_all(
        self, records: Sequence[PersonRecord], *, actor: str, request_id: str, now: datetime
    ) -> tuple[Saved, ...]:
        """Save a whole visit: all records or none; raises as `save` does."""
        return self._save(records, stamp_of(actor, request_id, now))

    def _save(self, records: Sequence[PersonRecord], stamp: Stamp) -> tuple[Saved, ...]:
        entries = [entry_of(record, self._salt) for record in records]
        digest = self._digest("save", stamp.actor, stamp.reason, *(entry.text for entry in entries))

        def act(connection: Connection) -> list[Written]:
            writer = Writer(connection, stamp, self._salt)
            written = writer.add(entries)
            writer.finish()
            return written

        return self._once(stamp, digest, act)

    def correct(
        self,
        record_id: str,
        record: PersonRecord,
        *,
        expect_version: int,
        reason: str,
        actor: str,
        request_id: str,
        now: datetime,
    ) -> Held[Any]:
        """Add a version with other values; the old one is kept.

        Raises
        ------
        StaleVersion
            Somebody changed it since; holds the version in force.
        AlreadyDifferent
            The new date or kind is that of another record.
        Refused, UnknownRecord, Busy, Unsaved
            Nothing was stored; the message says why and what to do.
        """
        stamp = stamp_of(actor, request_id, now, needed(reason, "reason for the correction"))
        entry = entry_of(record, self._salt)

        def act(connection: Connection) -> list[Written]:
            head = heads.head_to_change(connection, record_id, expect_version)
            old = reading.held(connection, record_id)
            before = _comparable(entry, old.record)
            writer = Writer(connection, stamp, self._salt)
            written = writer.replace(head, entry, Deed.CORRECTED, RecordStatus.CORRECTED, before)
            writer.finish()
            return [written]

        digest = self._digest("correct", actor, reason, record_id, str(expect_version), entry.text)
        return self._once(stamp, digest, act)[0].held

    def withdraw(
        self,
        record_id: str,
        *,
        expect_version: int,
        reason: str,
        actor: str,
        request_id: str,
        now: datetime,
    ) -> Held[Any]:
        """Mark a record as entered in error; it stays in the history and leaves everything else.

        Raises
        ------
        StaleVersion, Refused, UnknownRecord, Busy, Unsaved
            Nothing was stored; the message says why and what to do.
        """
        stamp = stamp_of(actor, request_id, now, needed(reason, "reason for the withdrawal"))

        def act(connection: Connection) -> list[Written]:
            head = heads.head_to_change(connection, record_id, expect_version)
            entry = entry_of(reading.held(connection, record_id).record, self._salt)
            writer = Writer(connection, stamp, self._salt)
            error = RecordStatus.ENTERED_IN_ERROR
            written = writer.replace(head, entry, Deed.WITHDRAWN, error, entry.row)
            writer.finish(known_people_only=False)
            return [written]

        digest = self._digest("withdraw", actor, reason, record_id, str(expect_version))
        return self._once(stamp, digest, act)[0].held

    def _once(
        self, stamp: Stamp, digest: str, act: Callable[[Connection], list[Written]]
    ) -> tuple[Saved, ...]:
        """Do a request once; the same request again gives the same answer."""
        with self._database.write() as connection:
            answer = requests.answered(connection, stamp.request_id, digest)
            if answer is None:
                written = act(connection)
                answer = [[each.record_id, each.version, each.added] for each in written]
                requests.note(connection, stamp.request_id, digest, answer)
            return tuple(
                Saved(reading.version(connection, record_id, version), added)
                for record_id, version, added in answer
            )

    def save_many(
        self,
        records: Iterable[PersonRecord],
        *,
        actor: str,
        request_id: str,
        now: datetime,
        progress: Callable[[int], None] | None = None,
    ) -> Counts:
        """Import many records in one transaction: all or none.

        The audit keeps an event a record, with a digest of its content in the place of the content.

        Parameters
        ----------
        progress
            Called with the number of records done so far.

        Raises
        ------
        AlreadyDifferent, Refused, Busy, Unsaved
            Nothing was stored.
        """
        stamp = stamp_of(actor, request_id, now, brief=True)
        with self._database.write() as connection:
            earlier = requests.earlier(connection, request_id)
            writer = None if earlier else Writer(connection, stamp, self._salt)
            counts, digest = self._import(writer, records, stamp, progress)
            if earlier is not None:
                requests.refuse_other(earlier[0], digest)
                return Counts(*json.loads(earlier[1]))
            requests.note(connection, request_id, digest, [counts.added, counts.already])
        return counts

    def known_people(self, person_keys: Iterable[str]) -> frozenset[str]:
        """Give those of some people that have a person record in force."""
        with self._database.read() as connection:
            return frozenset(heads.in_force(connection, "person", sorted(person_keys)))

    def compare(self, records: Iterable[PersonRecord]) -> Iterator[Compared]:
        """Tell of each record whether saving it would add it, find it there, or find other values there.

        Nothing is stored. Records are compared with the store, not with one another.
        """
        waiting = iter(records)
        while some := list(islice(waiting, _AT_ONCE)):
            entries = [entry_of(record, self._salt) for record in some]
            with self._database.read() as connection:
                batch = comparing.compare(connection, entries)
            yield from batch

    def _import(
        self,
        writer: Writer | None,
        records: Iterable[PersonRecord],
        stamp: Stamp,
        progress: Callable[[int], None] | None,
    ) -> tuple[Counts, str]:
        running = hashlib.sha256(self._digest("import", stamp.actor).encode())
        added = done = 0
        waiting = iter(records)
        while some := list(islice(waiting, _AT_ONCE)):
            entries = [entry_of(record, self._salt) for record in some]
            for entry in entries:
                running.update(entry.content.encode())
            if writer is not None:
                added += sum(each.added for each in writer.add(entries))
            done += len(entries)
            if progress is not None:
                progress(done)
        if writer is not None:
            writer.finish()
        return Counts(added, done - added), running.hexdigest()

    def _digest(self, *parts: str) -> str:
        return audit.salted(self._salt, json.dumps(parts, ensure_ascii=False))

    def dossier(self, person_key: str, *, as_of_seq: int | None = None) -> Dossier:
        """Everything in force about one person, now or as the store knew it at an audit sequence number.

        Raises
        ------
        UnknownPerson
            No such person, not yet, or withdrawn.
        """
        with self._database.read() as connection:
            return reading.dossier(connection, person_key, as_of_seq)

    def person_records(self, person_key: str) -> tuple[Held[Person], Held[Identity] | None]:
        """Versions in force of person and identity, to be corrected; raises UnknownPerson."""
        with self._database.read() as connection:
            return reading.person_records(connection, person_key)

    def dossiers(self, person_keys: Sequence[str] | None = None) -> Iterator[Dossier]:
        """Dossiers one after another, read in batches; all people in force when none are named."""
        with self._database.read() as connection:
            everyone = reading.person_keys(connection) if person_keys is None else list(person_keys)
        for start in range(0, len(everyone), _PEOPLE_AT_ONCE):
            with self._database.read() as connection:
                batch = reading.dossiers(connection, everyone[start : start + _PEOPLE_AT_ONCE])
            yield from batch

    def history(self, record_id: str) -> tuple[Held[Any], ...]:
        """Every version of a record, the first one first; raises UnknownRecord."""
        with self._database.read() as connection:
            return reading.history(connection, record_id)

    def held(self, record_id: str) -> Held[Any]:
        """Give the latest version of a record, withdrawn or not; raises UnknownRecord."""
        with self._database.read() as connection:
            return reading.held(connection, record_id)

    def people(self, text: str = "", *, limit: int = 50) -> tuple[PersonLine, ...]:
        """People in force whose name or identifiers hold every word of `text`, by name.

        Case and accents do not count.
        """
        return tuple(islice(reading.matching(self._everyone(), text), limit))

    def person_keys(self) -> tuple[str, ...]:
        """Key of every person in force, in order of entry."""
        with self._database.read() as connection:
            return tuple(reading.person_keys(connection))

    def _everyone(self) -> tuple[tuple[str, PersonLine], ...]:
        with self._database.read() as connection:
            revision = audit.last_seq(connection)
            seen, lines = self._lines
            if seen != revision:
                people = reading.person_lines(connection)
                lines = tuple((reading.searchable(line), line) for line in people)
                self._lines = (revision, lines)
        return lines

    def frame(self, table: str, person_key: str | None = None) -> pl.DataFrame:
        """Rows of a table that are in force; see `hvmon.store.frames.frame` for the types."""
        with self._database.read() as connection:
            return frames.frame(connection, table, person_key)

    def audit_trail(self, person_key: str | None = None, limit: int = 200) -> pl.DataFrame:
        """Last changes, the newest first: who did what to which record, when and why."""
        with self._database.read() as connection:
            return frames.audit_trail(connection, person_key, limit)

    def verify(self) -> tuple[str, ...]:
        """Compare every version with its audit event and walk the chain; empty when all is sound."""
        with self._database.read() as connection:
            return verify.faults(connection, self._salt)

    def put_draft(self, form: str, owner: str, token: str, payload: dict[str, Any], *, now: datetime) -> None:
        """Keep a half-filled form; `token` names the draft, the same token overwrites."""
        with self._database.write() as connection:
            side.put_draft(connection, Draft(form, owner, token, payload, aware(now)))

    def drafts(self, form: str, owner: str) -> tuple[Draft, ...]:
        """Someone's drafts of a form, the one saved last first."""
        with self._database.read() as connection:
            return side.drafts(connection, form, owner)

    def drop_draft(self, token: str) -> None:
        """Forget a draft; one that is not there is no error."""
        with self._database.write() as connection:
            side.drop_draft(connection, token)

    def put_summaries(self, rows: Sequence[Summary]) -> None:
        """Keep summaries in the place of older ones of the same person and day; three days are kept."""
        with self._database.write() as connection:
            side.put_summaries(connection, rows)

    def summaries(self, as_of: date) -> pl.DataFrame:
        """Summaries of a day: person_key, person_seq, stale, and the payload's own columns."""
        with self._database.read() as connection:
            return side.summaries(connection, as_of)

    def stale_people(self, as_of: date) -> tuple[str, ...]:
        """People in force without a summary of that day, or changed since it was made."""
        with self._database.read() as connection:
            return side.stale_people(connection, as_of)


def _comparable(entry: Entry, old: PersonRecord) -> Row:
    """Give the old row of a correction; refuse another type, another person, or no change."""
    if type(old) is not type(entry.record):
        raise Refused("A correction keeps the type of the record. Nothing was saved.")
    if old.person_key != entry.person_key:
        raise Refused(
            "A record cannot be moved to another person. Nothing was saved; "
            "withdraw it here and enter it for the right person."
        )
    before = entry.plan.row(old)
    if before == entry.row:
        raise Refused("The correction changes nothing. Nothing was saved.")
    return before
