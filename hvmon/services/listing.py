"""Findings of one person or of all, as rows for a command line or a table."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from hvmon.records.dossier import Dossier
from hvmon.rules.finding import Finding
from hvmon.rules.judge import findings
from hvmon.rules.owed import Owed, owed
from hvmon.store.store import Store
from hvmon.vocabulary import ActionState, Answer


class NoSuchPerson(LookupError):  # noqa: N818 - reads as a sentence where it is caught
    """No person with this local id."""


@dataclass(frozen=True, slots=True)
class FindingLine:
    """One finding or owed test of one person."""

    local_id: str
    rule_id: str
    answer: str
    grade: str
    title: str
    sentence: str


def end_of(day: date) -> datetime:
    """Give the last moment of a day [UTC]."""
    return datetime.combine(day + timedelta(days=1), time(), UTC) - timedelta(microseconds=1)


def findings_of(
    store: Store,
    *,
    today: date,
    local_id: str | None = None,
    answers: frozenset[Answer] = frozenset({Answer.MET}),
) -> Iterator[FindingLine]:
    """Give the findings of one person, or of all, with what is owed, as of a day.

    Only what was measured up to that day counts.

    Raises
    ------
    NoSuchPerson
        `local_id` is given and nobody has it.
    """
    for dossier in _dossiers(store, local_id):
        known = dossier.until(end_of(today))
        name = dossier.identity.local_id if dossier.identity else dossier.person_key
        for finding in findings(known, today=today):
            if finding.answer in answers:
                yield _line(name, finding)
        yield from (_owed_line(name, item) for item in owed(known, today=today))


def _dossiers(store: Store, local_id: str | None) -> Iterator[Dossier]:
    if local_id is None:
        yield from store.dossiers()
        return
    match = [line for line in store.people(local_id) if line.local_id == local_id]
    if not match:
        raise NoSuchPerson(f"nobody has the local id {local_id!r}; 'hvmon people' lists those in the store")
    yield store.dossier(match[0].person_key)


def _line(name: str, finding: Finding) -> FindingLine:
    return FindingLine(
        name, finding.rule_id, finding.answer.value, finding.grade.value, finding.title, finding.sentence
    )


def _owed_line(name: str, item: Owed) -> FindingLine:
    late = f"{item.overdue_days} days overdue" if item.overdue_days > 0 else "not yet due"
    state = "" if item.state == ActionState.OPEN else f"; {item.state.value}"
    title = f"{item.test.value} due {item.due.isoformat()}"
    return FindingLine(name, item.rule_id, "owed", "owed", title, f"{item.words} ({late}{state})")
