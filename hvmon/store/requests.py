"""Requests and their answers: the same request again gets the same answer and changes nothing."""

import json
from typing import Any

from sqlalchemy import Connection, insert, select

from hvmon.store.errors import Refused
from hvmon.store.tables import REQUEST


def earlier(connection: Connection, request_id: str) -> tuple[str, str] | None:
    """Give digest and answer of a request made before; None for a new one."""
    wanted = select(REQUEST.c.digest, REQUEST.c.answer).where(REQUEST.c.request_id == request_id)
    row = connection.execute(wanted).first()
    return (str(row[0]), str(row[1])) if row else None


def refuse_other(digest: str, now: str) -> None:
    """Refuse a request id that stood for another save."""
    if digest != now:
        raise Refused(
            "This request was used for another save already. Nothing was saved; "
            "reload the form and save again."
        )


def answered(connection: Connection, request_id: str, digest: str) -> list[Any] | None:
    """Give the answer of a request made before; None for a new one; raises Refused for another save."""
    before = earlier(connection, request_id)
    if before is None:
        return None
    refuse_other(before[0], digest)
    return list(json.loads(before[1]))


def note(connection: Connection, request_id: str, digest: str, answer: list[Any]) -> None:
    """Keep the answer of a request, in the transaction that did what it asked."""
    values = {"request_id": request_id, "digest": digest, "answer": json.dumps(answer)}
    connection.execute(insert(REQUEST), [values])
