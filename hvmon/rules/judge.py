"""Every rule of a pack answered for one person."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from hvmon.records.dossier import Dossier
from hvmon.rules.case import Case, TrendLike
from hvmon.rules.finding import GRADES, Finding, Part
from hvmon.rules.owed import owed
from hvmon.rules.packs import Pack, pack_for
from hvmon.rules.red_flags import RECENT_DAYS
from hvmon.rules.rule import Rule
from hvmon.vocabulary import Answer, Grade

SAME_DAY_WORDS = "same-day contact with the ventilation team or emergency services, by local protocol"
CAUTION = (
    "Supports, does not replace, licensed judgement and local protocol. Figures may be stale, mistyped or of "
    "another person. A missing flag is not reassurance. Goals of care and refusals of treatment come first."
)
_ANSWERS = (Answer.MET, Answer.NOT_ASSESSABLE, Answer.NOT_MET)


def findings(
    dossier: Dossier, *, today: date, pack: Pack | None = None, trend: TrendLike | None = None
) -> tuple[Finding, ...]:
    """Answer every rule in use for one person, met first, most pressing first.

    Parameters
    ----------
    dossier
        The person's record; later records than `today` are not looked at.
    today
        The day of judgement.
    pack
        The rules in use; None takes the default pack with the person's own edits.
    trend
        A trend estimate; without it the trend rules are not assessable.
    """
    chosen = pack or pack_for(dossier, today)
    case = Case(dossier, today, trend, owed(dossier, today=today, pack=chosen))
    found = [judged(case, rule) for rule in chosen.rules]
    return tuple(sorted(found, key=_order))


def _order(finding: Finding) -> tuple[int, int]:
    return _ANSWERS.index(finding.answer), GRADES.index(finding.grade)


def judged(case: Case, rule: Rule) -> Finding:
    """Answer one rule."""
    part = rule.check(case, rule)
    grade, words = _graded(rule, part)
    return Finding(
        rule_id=rule.id,
        title=rule.title,
        grade=grade,
        answer=part.answer,
        sentence=_sentence(words, grade, part.answer),
        basis=part.basis,
        unknown=part.unknown,
        limit_words=rule.limit_words,
        source_key=rule.source,
        place=rule.place,
        mark=rule.mark,
        at_threshold=part.at_threshold,
        edited=rule.edits,
        population=rule.population,
        condition=rule.condition,
    )


def _graded(rule: Rule, part: Part) -> tuple[Grade, str]:
    """Give grade and words; what raised a same-day flag long ago is "soon" now, but stays raised."""
    age = part.age_days
    old = age is not None and age > RECENT_DAYS
    if rule.grade == Grade.SAME_DAY and part.answer == Answer.MET and old:
        return Grade.SOON, f"{part.words}. This was {age} days ago and no later result answers it"
    return rule.grade, part.words


def _sentence(words: str, grade: Grade, answer: Answer) -> str:
    shown = words[:1].upper() + words[1:]
    if answer == Answer.MET and grade == Grade.SAME_DAY:
        return f"{shown}. Asks for {SAME_DAY_WORDS}."
    return f"{shown}."


@dataclass(frozen=True, slots=True)
class GoalLine:
    """One line of the at-goal set: a set of answers, never a score."""

    part: str
    rule_id: str
    answer: Answer
    """Met: at goal. Not met: not at goal. Not assessable: not known."""
    words: str


GOAL_PARTS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("awake CO2", ("TGT-1", "TGT-2", "TGT-3", "TGT-7", "TGT-10")),
    ("night CO2", ("TGT-5", "TGT-6", "NGT-1", "NGT-3", "NGT-4")),
    ("oximetry", ("TGT-11", "TGT-8")),
    ("use", ("USE-1", "USE-2")),
    ("leak", ("USE-3",)),
    ("symptoms", ("SYM-1", "RED-1")),
)
"""Adequacy is a set: each part with the rules that answer it, those of the pack in use."""

_TURNED = {
    Answer.MET: Answer.NOT_MET,
    Answer.NOT_MET: Answer.MET,
    Answer.NOT_ASSESSABLE: Answer.NOT_ASSESSABLE,
}


def goals(found: Iterable[Finding]) -> tuple[GoalLine, ...]:
    """Give the at-goal set from the findings of one person; a part no rule answers is "not known"."""
    by_id = {finding.rule_id: finding for finding in found}
    lines: list[GoalLine] = []
    for part, rule_ids in GOAL_PARTS:
        answering = [by_id[rule_id] for rule_id in rule_ids if rule_id in by_id]
        lines += [
            GoalLine(part, each.rule_id, _TURNED[each.answer], each.sentence) for each in answering
        ] or [GoalLine(part, "", Answer.NOT_ASSESSABLE, "No rule in use answers this; not known.")]
    return tuple(lines)
