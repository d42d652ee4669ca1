"""Every rule of a pack answered for one person."""

from datetime import date

from hvmon.records.dossier import Dossier
from hvmon.rules.case import Case, TrendLike
from hvmon.rules.finding import GRADES, Finding
from hvmon.rules.packs import Pack, default_pack
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
        The rules in use; None takes the default pack.
    trend
        A trend estimate; without it the trend rules are not assessable.
    """
    chosen = pack or default_pack(dossier, today)
    case = Case(dossier, today, trend)
    found = [judged(case, rule) for rule in chosen.rules]
    return tuple(sorted(found, key=_order))


def _order(finding: Finding) -> tuple[int, int]:
    return _ANSWERS.index(finding.answer), GRADES.index(finding.grade)


def judged(case: Case, rule: Rule) -> Finding:
    """Answer one rule."""
    part = rule.check(case, rule)
    return Finding(
        rule_id=rule.id,
        title=rule.title,
        grade=rule.grade,
        answer=part.answer,
        sentence=_sentence(part.words, rule.grade, part.answer),
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


def _sentence(words: str, grade: Grade, answer: Answer) -> str:
    shown = words[:1].upper() + words[1:]
    if answer == Answer.MET and grade == Grade.SAME_DAY:
        return f"{shown}. Asks for {SAME_DAY_WORDS}."
    return f"{shown}."
