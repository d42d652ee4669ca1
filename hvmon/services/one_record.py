"""Forms whose questions fill whole records column by column: settings change, person, weight, correction."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from hvmon.records.base import Record
from hvmon.records.dossier import Dossier
from hvmon.services import typed
from hvmon.services.asked import Answers, Ask
from hvmon.services.form_read import FormRead, concluded
from hvmon.services.outcome import Outcome, attempt
from hvmon.services.visit_records import Context
from hvmon.store.store import Store


@dataclass(frozen=True, slots=True)
class Filled:
    """One record type a form fills, and the columns nobody types."""

    model: type[Record]
    fixed: Mapping[str, Any]


@dataclass(slots=True)
class _Said:
    words: dict[str, str] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)
    unlikely: dict[str, str] = field(default_factory=dict)
    records: list[Any] = field(default_factory=list)


def understand_records(
    parts: Sequence[Filled],
    asks: Sequence[Ask],
    answers: Answers,
    *,
    zone: str,
    now: datetime,
    dossier: Dossier | None = None,
    also_words: Mapping[str, str] | None = None,
    also_refused: Mapping[str, str] | None = None,
) -> FormRead:
    """Read the answers of a form.

    `also_words` and `also_refused` are what was said of questions of the form itself, such as day and time.
    """
    said = _Said(dict(also_words or {}), dict(also_refused or {}))
    for part in parts:
        _read_part(part, asks, answers, zone, said)
    return concluded(
        said.records if len(said.records) == len(parts) else [],
        answers,
        dossier=dossier,
        now=now,
        words=said.words,
        unlikely=said.unlikely,
        refused=said.refused,
        missing=[ask.key for ask in asks if ask.required and not answers.get(ask.key, "").strip()],
    )


def _read_part(part: Filled, asks: Sequence[Ask], answers: Answers, zone: str, said: _Said) -> None:
    keys = {ask.column: ask.key for ask in asks if ask.model is part.model}
    texts = {column: answers.get(key, "") for column, key in keys.items()}
    read = typed.read_record(part.model, texts, zone=zone, fixed=part.fixed)
    said.words |= {keys[name]: words for name, words in read.words.items() if name in keys}
    open_keys = {ask.key for ask in asks if ask.required and not answers.get(ask.key, "").strip()}
    refused = {keys.get(name, name): text for name, text in read.refused.items()}
    said.refused |= {key: text for key, text in refused.items() if key not in open_keys}
    said.unlikely |= {keys[name]: text for name, text in read.unlikely.items() if name in keys}
    if read.record is not None:
        said.records.append(read.record)


def save_one(store: Store, read: FormRead, context: Context) -> Outcome:
    """Store the one record of a form; accepted warnings stand in its reason."""

    def save() -> tuple[bool, tuple[Any, ...]]:
        saved = store.save(
            read.records[0],
            actor=context.actor,
            request_id=context.token,
            now=context.now,
            reason=read.reasons,
        )
        return saved.added, (saved.held,)

    return attempt(save)
