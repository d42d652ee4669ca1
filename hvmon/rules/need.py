"""How much a person needs eyes, for sorting a caseload: a rank and the words for it."""

from collections.abc import Iterable
from dataclasses import dataclass

from hvmon.rules.finding import GRADES, Finding, Owed
from hvmon.vocabulary import ActionState, Answer, Grade

FOLLOW_UP = "FUP-"
"""Follow-up findings repeat what is owed and are counted there."""


@dataclass(frozen=True, slots=True)
class Need:
    """A rank that sorts (higher is more need) and why, in words."""

    rank: tuple[int, ...]
    words: str


def need(findings: Iterable[Finding], owed: Iterable[Owed]) -> Need:
    """Give the need of one person: same-day flags first, then soon, then overdue, then at review.

    The last places count days overdue and what is not assessable: nobody is last for want of data.
    """
    found = tuple(findings)
    raised = [each for each in found if each.raised and not each.rule_id.startswith(FOLLOW_UP)]
    counts = {grade: sum(each.grade == grade for each in raised) for grade in GRADES}
    late = [each for each in owed if each.overdue_days > 0 and each.state != ActionState.WITHDRAWN]
    open_questions = sum(each.answer == Answer.NOT_ASSESSABLE for each in found)
    rank = (
        counts[Grade.SAME_DAY],
        counts[Grade.SOON],
        len(late),
        counts[Grade.REVIEW],
        max((each.overdue_days for each in late), default=0),
        open_questions,
    )
    return Need(rank, _words(raised, counts, late, open_questions))


def _words(
    raised: list[Finding], counts: dict[Grade, int], late: list[Owed], open_questions: int
) -> str:  # fmt: skip
    parts = []
    for grade in GRADES[:-1]:
        if counts[grade]:
            titles = ", ".join(f"{each.title} ({each.rule_id})" for each in raised if each.grade == grade)
            parts.append(f"{grade.value}: {titles}")
    if late:
        longest = max(late, key=lambda each: each.overdue_days)
        days = longest.overdue_days
        more = f" and {len(late) - 1} more" if len(late) > 1 else ""
        parts.append(f"overdue by {days} day{'s' if days != 1 else ''}: {longest.test.value}{more}")
    if not parts:
        parts.append(f"no flag raised, which is not reassurance; {open_questions} rules not assessable")
    return "; ".join(parts)
