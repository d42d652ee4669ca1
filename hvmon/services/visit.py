"""A home visit: understand what was typed, ask about the unlikely, store all of it or nothing."""

from typing import Any

from hvmon.services import visit_form
from hvmon.services.asked import Answers
from hvmon.services.form_read import FormRead, concluded
from hvmon.services.outcome import Outcome, attempt
from hvmon.services.visit_records import BUILDERS, Context, Work, read_fields, read_moments
from hvmon.store.store import Store

__all__ = ["FORM", "Context", "save", "understand"]

FORM = "visit"
"""Name under which drafts of this form are kept."""


def understand(answers: Answers, context: Context) -> FormRead:
    """Read the answers: each field at once, each record as soon as it is whole."""
    parts = visit_form.sections(answers, context.dossier, today=context.today)
    work = Work(context, answers, tuple(ask for part in parts for ask in part.asks))
    read_fields(work)
    read_moments(work)
    for build in BUILDERS:
        build(work)
    missing = [ask.key for ask in work.asks if ask.required and not answers.get(ask.key, "").strip()]
    return concluded(
        work.records,
        answers,
        dossier=context.dossier,
        now=context.now,
        words=work.words,
        unlikely=work.unlikely,
        refused=work.refused,
        missing=missing,
    )


def save(store: Store, read: FormRead, context: Context) -> Outcome:
    """Store the visit, all of it or nothing; a second click on the same form adds nothing."""

    def attempt_once() -> tuple[bool, tuple[Any, ...]]:
        saved = store.save_all(read.records, actor=context.actor, request_id=context.token, now=context.now)
        return any(one.added for one in saved), tuple(one.held for one in saved)

    return attempt(attempt_once)
