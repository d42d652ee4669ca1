"""The audit chain: one event a version, each holding the hash of the one before."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import astuple, dataclass
from enum import StrEnum

from sqlalchemy import Connection, func, select

from hvmon.store.plan import Row
from hvmon.store.tables import AUDIT, INFO

FORM = 1
"""Version of the canonical form of an event; part of what is hashed."""

FIRST = "0" * 64
"""What the first event has for the hash before it."""

IDENTITY = "identity"


class Deed(StrEnum):
    """What was done to a record."""

    ADDED = "added"
    ADDED_AGAIN = "added again"
    CORRECTED = "corrected"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class Event:
    """One event as hashed; the order of the fields is part of the form."""

    seq: int
    at_us: int
    actor: str
    action: str
    table_name: str
    record_id: str
    version: int
    person_key: str
    reason: str
    before: str | None
    after: str
    request_id: str
    prev_hash: str

    def hash(self) -> str:
        """SHA-256 of the canonical form, which holds the hash before."""
        canonical = json.dumps([FORM, *astuple(self)], ensure_ascii=False, separators=(",", ":"))
        return hashlib.sha256(canonical.encode()).hexdigest()


def content(row: Row) -> str:
    """Give the canonical JSON of a row as it is stored; columns without a value are left out."""
    kept = {name: value for name, value in row.items() if value is not None}
    return json.dumps(kept, ensure_ascii=False, sort_keys=True, separators=(",", ":"))


def salted(salt: bytes, text: str) -> str:
    """Give a keyed digest; tells nothing of the text without the store's own salt."""
    return hashlib.blake2b(text.encode(), key=salt, digest_size=20).hexdigest()


def payload(table: str, text: str, salt: bytes, *, brief: bool) -> str:
    """Give what an event keeps of a record's content.

    Identity is kept as a salted digest only, so that it can be erased without breaking the chain; a bulk
    import keeps the digest of each record, whose values stand in its append-only version row.
    """
    if table == IDENTITY:
        return json.dumps({"salted": salted(salt, text)})
    if brief:
        return json.dumps({"sha256": hashlib.sha256(text.encode()).hexdigest()})
    return text


def head(connection: Connection) -> tuple[int, str]:
    """Give sequence number and hash of the last event; (0, zeros) for an empty store."""
    last = select(AUDIT.c.seq, AUDIT.c.hash).order_by(AUDIT.c.seq.desc()).limit(1)
    row = connection.execute(last).first()
    return (int(row[0]), str(row[1])) if row else (0, FIRST)


def last_seq(connection: Connection) -> int:
    """Give the sequence number of the last event; 0 for an empty store."""
    return int(connection.execute(select(func.coalesce(func.max(AUDIT.c.seq), 0))).scalar_one())


def salt_of(connection: Connection) -> bytes:
    """Give the store's own salt."""
    return bytes.fromhex(connection.execute(select(INFO.c.value).where(INFO.c.name == "salt")).scalar_one())


def event_of(row: Mapping[str, object]) -> Event:
    """Read an event from its row."""
    values = {name: row[name] for name in Event.__dataclass_fields__}
    return Event(**values)  # type: ignore[arg-type]
