"""Checking the whole store: the chain of events, and each version against its event."""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import Connection, select

from hvmon.records.kinds import RECORD_KINDS
from hvmon.store import audit, sqlite_only
from hvmon.store.plan import plan_of
from hvmon.store.tables import AUDIT, VERSIONS


def faults(connection: Connection, salt: bytes) -> tuple[str, ...]:
    """Give what is wrong, in words; empty when all is sound.

    Cutting off the last events together with their versions is not found here: that needs a note of
    the last hash kept outside the store.
    """
    found = list(sqlite_only.broken_pages(connection))
    events: dict[int, Any] = {}
    found += _chain_faults(connection, events)
    for kind in RECORD_KINDS:
        found += _version_faults(connection, kind.table, events, salt)
    left = sorted(events)
    found += [f"event {seq} has no version" for seq in left[:20]]
    return tuple(found)


def _chain_faults(connection: Connection, events: dict[int, Any]) -> Iterator[str]:
    before, number = audit.FIRST, 0
    for row in connection.execute(select(AUDIT).order_by(AUDIT.c.seq)).mappings():
        event = audit.event_of(row)  # type: ignore[arg-type]
        number += 1
        if event.seq != number:
            yield f"event {number} is missing before event {event.seq}"
            number = event.seq
        if event.prev_hash != before or row["hash"] != event.hash():
            yield f"event {event.seq} was changed or does not follow the one before"
        before = row["hash"]
        events[event.seq] = event


def _version_faults(connection: Connection, table: str, events: dict[int, Any], salt: bytes) -> Iterator[str]:
    plan = next(plan_of(kind) for kind in RECORD_KINDS if kind.table == table)
    names = ("record_id", "version", "seq", "held_reason", "held_us", "held_by", "request_id", *plan.names)
    columns = VERSIONS[table].c
    for row in connection.execute(select(*(columns[name] for name in names))).mappings():
        event = events.pop(row["seq"], None)
        if event is None:
            yield f"{table} {row['record_id']} version {row['version']} has no event"
            continue
        text = audit.content({name: row[name] for name in plan.names})
        brief = event.after.startswith('{"sha256": ')
        told = (event.record_id, event.version, event.reason, event.at_us, event.actor, event.request_id)
        stored = tuple(row[name] for name in names[:2]) + tuple(
            row[name] for name in ("held_reason", "held_us", "held_by", "request_id")
        )
        if told != stored or event.after != audit.payload(table, text, salt, brief=brief):
            yield f"{table} {row['record_id']} version {row['version']} differs from its event {event.seq}"
