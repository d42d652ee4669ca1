"""Forms that fill one record: settings change, weight, event, correction."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from hvmon.records.base import Record
from hvmon.records.dossier import Dossier
from hvmon.services import typed
from hvmon.services.asked import Answers, Ask
from hvmon.services.clock_text import NotUnderstood
from hvmon.services.form_read import FormRead, concluded


def understand_one(
    model: type[Record],
    asks: Sequence[Ask],
    answers: Answers,
    *,
    fixed: Mapping[str, Any],
    zone: str,
    now: datetime,
    dossier: Dossier | None = None,
    also_words: Mapping[str, str] | None = None,
    also_refused: Mapping[str, str] | None = None,
) -> FormRead:
    """Read the answers of a form whose questions fill one record; `fixed` is what nobody types.

    `also_words` and `also_refused` are what was said of questions of the form itself, such as day and time.
    """
    mine = {ask.column: ask.key for ask in asks if ask.model is model}
    texts = {column: answers.get(key, "") for column, key in mine.items()}
    unlikely = {key for column, key in mine.items() if _unlikely(model, column, texts, zone)}
    read = typed.read_record(model, texts, zone=zone, fixed=fixed)
    missing = [ask.key for ask in asks if ask.required and not answers.get(ask.key, "").strip()]
    return concluded(
        [read.record] if read.record is not None else [],
        answers,
        dossier=dossier,
        now=now,
        words={
            **(also_words or {}),
            **{mine[name]: words for name, words in read.words.items() if name in mine},
        },
        unlikely=unlikely,
        refused={
            **(also_refused or {}),
            **{mine.get(name, name): text for name, text in read.refused.items()},
        },
        missing=missing,
    )


def _unlikely(model: type[Record], column: str, texts: Mapping[str, str], zone: str) -> bool:
    text = texts[column]
    if not text.strip():
        return False
    try:
        return typed.read(model, column, text, zone=zone, unit=texts.get(f"{column}_unit") or None).unlikely
    except NotUnderstood:
        return False
