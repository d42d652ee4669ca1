"""What was understood of a form, and the questions an unlikely value raises."""

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from hvmon.records.base import AcceptedWarning, PersonRecord, Reading
from hvmon.records.dossier import Dossier
from hvmon.rules.entry import EntryQuestion, questions
from hvmon.services.asked import Answers

__all__ = ["EntryQuestion", "FormRead", "concluded", "reason_key", "reason_of"]


@dataclass(frozen=True, slots=True)
class FormRead:
    """What was understood of the answers so far. Keys are those of the form's questions."""

    records: tuple[PersonRecord, ...] = ()
    """What would be stored; empty while anything is missing, refused or asked and not yet answered."""
    words: Mapping[str, str] = field(default_factory=dict)
    unlikely: Mapping[str, str] = field(default_factory=dict)
    refused: Mapping[str, str] = field(default_factory=dict)
    missing: tuple[str, ...] = ()
    questions: tuple[EntryQuestion, ...] = ()
    unanswered: tuple[EntryQuestion, ...] = ()
    reasons: str = ""
    """Accepted warnings with their reasons in one text, for records that hold no warnings themselves."""


def reason_key(question: EntryQuestion) -> str:
    """Give the key of the answer to a question; another value asks anew."""
    return f"reason.{question.check_id}.{zlib.crc32(question.words.encode()):08x}"


def reason_of(question: EntryQuestion, answers: Answers) -> str:
    """Give the typed reason for accepting an unlikely value; empty when none."""
    return answers.get(reason_key(question), "").strip()


def concluded(
    records: Sequence[PersonRecord],
    answers: Answers,
    *,
    dossier: Dossier | None,
    now: datetime,
    words: Mapping[str, str],
    unlikely: Mapping[str, str],
    refused: Mapping[str, str],
    missing: Sequence[str],
) -> FormRead:
    """Ask about what is unlikely in the records, and give them out once nothing stands in their way."""
    asked = [questions(record, dossier, now=now) for record in records]
    once = {reason_key(question): question for part in asked for question in part}
    unanswered = tuple(question for question in once.values() if not reason_of(question, answers))
    whole = not (missing or refused or unanswered)
    return FormRead(
        records=_with_reasons(records, asked, answers) if whole else (),
        words=words,
        unlikely=unlikely,
        refused=refused,
        missing=tuple(missing),
        questions=tuple(once.values()),
        unanswered=unanswered,
        reasons="; ".join(f"{q.words} Accepted: {reason_of(q, answers)}" for q in once.values())
        if whole
        else "",
    )


def _with_reasons(
    records: Sequence[PersonRecord], asked: Sequence[Sequence[EntryQuestion]], answers: Answers
) -> tuple[PersonRecord, ...]:
    """Keep each accepted warning with its reading; records that hold none lend theirs to the first one."""
    first = next((place for place, record in enumerate(records) if isinstance(record, Reading)), None)
    homes: dict[int, list[EntryQuestion]] = {}
    for place, (record, part) in enumerate(zip(records, asked, strict=True)):
        home = place if isinstance(record, Reading) else first
        if home is not None:
            homes.setdefault(home, []).extend(part)
    return tuple(_accepting(record, homes.get(place, []), answers) for place, record in enumerate(records))


def _accepting(record: PersonRecord, asked: Sequence[EntryQuestion], answers: Answers) -> PersonRecord:
    if not asked:
        return record
    accepted = tuple(
        AcceptedWarning(check_id=question.check_id, shown=question.words, reason=reason_of(question, answers))
        for question in asked
    )
    return record.model_copy(update={"accepted_warnings": accepted})
