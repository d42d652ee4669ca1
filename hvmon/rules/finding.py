"""What the rules give back: findings with their basis, and the parts they are built from."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from hvmon.vocabulary import ActionState, Answer, Grade, Mark, TestKind

GRADES = (Grade.SAME_DAY, Grade.SOON, Grade.REVIEW, Grade.CONTEXT)
"""Most pressing first."""


@dataclass(frozen=True, slots=True)
class Basis:
    """One record a finding rests on."""

    record_id: str
    words: str
    at: datetime
    """Aware, UTC; a date counts from its midnight UTC."""


@dataclass(frozen=True, slots=True)
class Part:
    """The answer of one condition: met, not met or not assessable, in words and with its basis."""

    answer: Answer
    words: str
    basis: tuple[Basis, ...] = ()
    unknown: tuple[str, ...] = ()
    at_threshold: bool = False
    age_days: int | None = None
    """[d] age of the newest record it rests on."""


@dataclass(frozen=True, slots=True)
class Finding:
    """What one rule says of one person, so that a reader can check it independently."""

    rule_id: str
    title: str
    grade: Grade
    answer: Answer
    sentence: str
    basis: tuple[Basis, ...]
    unknown: tuple[str, ...]
    limit_words: str
    source_key: str
    place: str
    mark: Mark
    at_threshold: bool = False
    """The value stands exactly at the limit, natively or after the one rounding of the limit."""
    edited: str = ""
    """What was edited locally and why; empty when the published limit stands."""
    population: str = ""
    condition: str = ""

    @property
    def raised(self) -> bool:
        """Whether the finding asks for eyes; context never does."""
        return self.answer == Answer.MET and self.grade != Grade.CONTEXT


@dataclass(frozen=True, slots=True)
class Owed:
    """A test that is owed: from when a result counts, by when, and what closes it."""

    owed_id: str
    test: TestKind
    due: date
    state: ActionState
    rule_id: str
    words: str
    overdue_days: int
    closes_with: str
    opens: date
    """First day on which a result counts."""
    reason: str = ""
    """Why the date or the state differs from the rule's, as noted."""
    last_done: date | None = None
    """Date of the last relevant test, None when there is none in the record."""


def met(holds: bool, words: str, basis: tuple[Basis, ...] = (), **more: object) -> Part:
    """Give a part that was compared."""
    return Part(Answer.MET if holds else Answer.NOT_MET, words, basis, **more)  # type: ignore[arg-type]


def unclear(why: str, basis: tuple[Basis, ...] = (), unknown: tuple[str, ...] | None = None) -> Part:
    """Give a part that cannot be assessed, and why."""
    return Part(Answer.NOT_ASSESSABLE, why, basis, (why,) if unknown is None else unknown)


def any_of(parts: Iterable[Part]) -> Part:
    """Join conditions of which one suffices: met if one is, not met only if all are known not to be."""
    return _joined(tuple(parts), Answer.MET, Answer.NOT_MET)


def all_of(parts: Iterable[Part]) -> Part:
    """Join conditions that are all needed: not met if one is not, met only if all are known to be."""
    return _joined(tuple(parts), Answer.NOT_MET, Answer.MET)


def _joined(parts: tuple[Part, ...], decides: Answer, otherwise: Answer) -> Part:
    answers = [part.answer for part in parts]
    if decides in answers:
        answer = decides
    else:
        answer = Answer.NOT_ASSESSABLE if Answer.NOT_ASSESSABLE in answers else otherwise
    ages = [part.age_days for part in parts if part.age_days is not None]
    return Part(
        answer,
        "; ".join(part.words for part in parts),
        tuple(dict.fromkeys(basis for part in parts for basis in part.basis)),
        tuple(dict.fromkeys(unknown for part in parts for unknown in part.unknown)),
        any(part.at_threshold for part in parts if part.answer != Answer.NOT_ASSESSABLE),
        min(ages, default=None),
    )


def not_reached(part: Part) -> Part:
    """Turn "the goal holds" into the flag "the goal is not reached"."""
    flipped = {Answer.MET: Answer.NOT_MET, Answer.NOT_MET: Answer.MET}.get(part.answer, part.answer)
    return Part(flipped, part.words, part.basis, part.unknown, part.at_threshold, part.age_days)
