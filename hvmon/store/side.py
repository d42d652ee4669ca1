"""Drafts and person summaries: what may be overwritten, kept apart from the record."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

import polars as pl
from sqlalchemy import Connection, and_, delete, func, insert, or_, select

from hvmon.store.errors import Refused
from hvmon.store.plan import from_us, to_us
from hvmon.store.tables import DRAFT, PERSON_HEAD, RECORD, SUMMARY

DAYS_KEPT = 3
"""How many days' summaries are kept: today, and the two days looked at last."""


@dataclass(frozen=True, slots=True)
class Draft:
    """A form half filled in."""

    form: str
    owner: str
    token: str
    payload: dict[str, Any]
    saved_at: datetime


@dataclass(frozen=True, slots=True)
class Summary:
    """What a list of people shows of one person, worked out beforehand.

    `person_seq` is the store's revision read before the dossier was; the payload holds JSON values.
    """

    person_key: str
    as_of: date
    person_seq: int
    payload: dict[str, Any] = field(default_factory=dict)


def _json(payload: dict[str, Any], what: str) -> str:
    try:
        return json.dumps(payload, ensure_ascii=False, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise Refused(
            f"A {what} holds texts, numbers, yes/no, lists and nothing else as JSON: {error}."
        ) from None


def put_draft(connection: Connection, draft: Draft) -> None:
    """Keep a draft, in the place of the one with the same token."""
    payload = _json(draft.payload, "draft")
    connection.execute(delete(DRAFT).where(DRAFT.c.token == draft.token))
    values = {
        "token": draft.token,
        "form": draft.form,
        "owner": draft.owner,
        "payload": payload,
        "saved_us": to_us(draft.saved_at),
    }
    newest = select(func.coalesce(func.max(DRAFT.c.draft_id), 0) + 1).scalar_subquery()
    connection.execute(insert(DRAFT).values(draft_id=newest, **values))


def drafts(connection: Connection, form: str, owner: str) -> tuple[Draft, ...]:
    """Give someone's drafts of a form, the one saved last first."""
    mine = select(DRAFT).where(DRAFT.c.form == form, DRAFT.c.owner == owner)
    rows = connection.execute(mine.order_by(DRAFT.c.draft_id.desc()))
    return tuple(
        Draft(row.form, row.owner, row.token, json.loads(row.payload), from_us(row.saved_us)) for row in rows
    )


def drop_draft(connection: Connection, token: str) -> None:
    """Forget a draft; one that is not there is no error."""
    connection.execute(delete(DRAFT).where(DRAFT.c.token == token))


def put_summaries(connection: Connection, rows: Sequence[Summary]) -> None:
    """Keep summaries, in the place of older ones of the same person and day."""
    if not rows:
        return
    days = sorted({row.as_of for row in rows})
    for day in days:
        keys = [row.person_key for row in rows if row.as_of == day]
        for start in range(0, len(keys), 500):
            old = SUMMARY.c.person_key.in_(keys[start : start + 500])
            connection.execute(delete(SUMMARY).where(SUMMARY.c.as_of == day.isoformat(), old))
    last = connection.execute(select(func.coalesce(func.max(SUMMARY.c.summary_id), 0))).scalar_one()
    values = [
        {
            "summary_id": last + count,
            "as_of": row.as_of.isoformat(),
            "person_key": row.person_key,
            "person_seq": row.person_seq,
            "payload": _json(row.payload, "summary"),
        }
        for count, row in enumerate(rows, start=1)
    ]
    connection.execute(insert(SUMMARY), values)
    _forget_old_days(connection)


def _forget_old_days(connection: Connection) -> None:
    by_use = select(SUMMARY.c.as_of).group_by(SUMMARY.c.as_of).order_by(func.max(SUMMARY.c.summary_id).desc())
    days = list(connection.execute(by_use).scalars())
    if len(days) > DAYS_KEPT:
        connection.execute(delete(SUMMARY).where(SUMMARY.c.as_of.in_(days[DAYS_KEPT:])))


_IN_FORCE = (RECORD.c.table_name == "person", RECORD.c.withdrawn == "no")


def summaries(connection: Connection, as_of: date) -> pl.DataFrame:
    """Give the summaries of a day: person_key, person_seq, stale, and the payload's own columns.

    `stale` says that the person changed since; people without a summary have no row.
    """
    wanted = (
        select(SUMMARY.c.person_key, SUMMARY.c.person_seq, PERSON_HEAD.c.last_seq, SUMMARY.c.payload)
        .join(PERSON_HEAD, PERSON_HEAD.c.person_key == SUMMARY.c.person_key)
        .join(RECORD, and_(RECORD.c.person_key == SUMMARY.c.person_key, *_IN_FORCE))
        .where(SUMMARY.c.as_of == as_of.isoformat())
        .order_by(SUMMARY.c.person_key)
    )
    rows = connection.execute(wanted).all()
    payloads = json.loads(f"[{','.join(row[3] for row in rows)}]")
    fixed = pl.DataFrame(
        {
            "person_key": [row[0] for row in rows],
            "person_seq": [row[1] for row in rows],
            "stale": [row[2] > row[1] for row in rows],
        },
        schema={"person_key": pl.String, "person_seq": pl.Int64, "stale": pl.Boolean},
    )
    if not any(payloads):
        return fixed
    return fixed.hstack(pl.from_dicts(payloads, infer_schema_length=None))


def stale_people(connection: Connection, as_of: date) -> tuple[str, ...]:
    """Give the people in force without a summary of that day, or changed since it was made."""
    same = and_(SUMMARY.c.person_key == RECORD.c.person_key, SUMMARY.c.as_of == as_of.isoformat())
    wanted = (
        select(RECORD.c.person_key)
        .join(PERSON_HEAD, PERSON_HEAD.c.person_key == RECORD.c.person_key)
        .outerjoin(SUMMARY, same)
        .where(*_IN_FORCE)
        .where(or_(SUMMARY.c.person_seq.is_(None), SUMMARY.c.person_seq < PERSON_HEAD.c.last_seq))
        .order_by(RECORD.c.record_id)
    )
    return tuple(connection.execute(wanted).scalars())
