"""Findings of one person or of all, as rows for a command line or a table."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import islice

from hvmon.records.dossier import Dossier
from hvmon.rules.finding import Finding
from hvmon.rules.judge import findings
from hvmon.rules.owed import Owed, owed
from hvmon.rules.packs import Pack
from hvmon.services.as_of import known_on
from hvmon.services.packs_in_use import Edits, pack_in_use, priors_in_use
from hvmon.services.rule_trends import rule_trends
from hvmon.services.trends import RuleTrend
from hvmon.store.store import Store
from hvmon.vocabulary import ActionState, Answer

BATCH = 100
"""People judged at once; memory does not grow with their number."""


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


def findings_of(
    store: Store,
    *,
    today: date,
    local_id: str | None = None,
    answers: frozenset[Answer] = frozenset({Answer.MET}),
    edits: Edits | None = None,
) -> Iterator[FindingLine]:
    """Give the findings of one person, or of all, with what is owed, as of a day.

    Only what was measured up to that day counts.

    Raises
    ------
    NoSuchPerson
        `local_id` is given and nobody has it.
    """
    waiting = iter(_dossiers(store, local_id))
    while batch := [known_on(dossier, today) for dossier in islice(waiting, BATCH)]:
        packs = [pack_in_use(known, today=today, edits=edits) for known in batch]
        trends = rule_trends(batch, packs, today=today, priors=priors_in_use(edits))
        for known, pack, trend in zip(batch, packs, trends, strict=True):
            yield from _lines(known, pack, trend, today, answers)


def _lines(
    known: Dossier, pack: Pack, trend: RuleTrend | None, today: date, answers: frozenset[Answer]
) -> Iterator[FindingLine]:
    name = known.identity.local_id if known.identity else known.person_key
    for finding in findings(known, today=today, pack=pack, trend=trend):
        if finding.answer in answers:
            yield _line(name, finding)
    yield from (_owed_line(name, item) for item in owed(known, today=today, pack=pack))


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
