"""Half-filled forms, kept so that a refresh or a restart loses nothing."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from hvmon.services.asked import Answers
from hvmon.store.store import Store

OWNER = "this machine"
"""Whose drafts are offered: those of this machine, until people sign in."""


@dataclass(frozen=True, slots=True)
class Unfinished:
    """A form somebody began and neither saved nor discarded."""

    token: str
    person_key: str
    begun_by: str
    kept_at: datetime
    answers: Mapping[str, str]


def keep(
    store: Store, form: str, token: str, answers: Answers, *, person_key: str, actor: str, now: datetime
) -> None:
    """Keep the answers so far under the form's token; the next call replaces them.

    Raises
    ------
    StoreError
        They could not be kept; the message says so.
    """
    payload = {
        "person_key": person_key, "actor": actor, "kept_at": now.isoformat(), "answers": dict(answers),
    }  # fmt: skip
    store.put_draft(form, OWNER, token, payload, now=now)


def unfinished(store: Store, form: str) -> tuple[Unfinished, ...]:
    """Give every unfinished form of a kind."""
    return tuple(
        Unfinished(
            token=draft.token,
            person_key=draft.payload["person_key"],
            begun_by=draft.payload["actor"],
            kept_at=datetime.fromisoformat(draft.payload["kept_at"]),
            answers=draft.payload["answers"],
        )
        for draft in store.drafts(form, OWNER)
    )


def answers_of(store: Store, form: str, token: str) -> Mapping[str, str]:
    """Give the kept answers of one form; empty when none are kept."""
    return next((one.answers for one in unfinished(store, form) if one.token == token), {})


def discard(store: Store, token: str) -> None:
    """Forget an unfinished form."""
    store.drop_draft(token)
