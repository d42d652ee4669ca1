"""Totals of published questionnaires as a form asks for them: name, total, version, who completed it.

Never an item and never its wording.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from hvmon.records.symptoms import FACTS_OF, INSTRUMENTS, Instrument, InstrumentTotal
from hvmon.services import typed
from hvmon.services.asked import Answers, Ask, How, Section, options_of

MOST = 6
"""Totals of one occasion; the next is asked for once the one before is named."""

_COLUMNS = {
    "questionnaire": "instrument",
    "total": "total",
    "version": "version",
    "language": "language",
    "completed_by": "completed_by",
}
"""Word of the question's key to the column it fills."""


@dataclass(slots=True)
class Totals:
    """The totals understood so far, and what is said at each question."""

    totals: list[InstrumentTotal] = field(default_factory=list)
    words: dict[str, str] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)


def range_words(name: str) -> str:
    """Give range, direction and how far they were verified, for an instrument's name; empty for no name."""
    if name not in set(Instrument):
        return ""
    facts = FACTS_OF[Instrument(name)]
    direction = "worse" if facts.high_is_worse else "better"
    return f"{facts.low} to {facts.high}, high is {direction} ({facts.mark.value})"


def sections(answers: Answers, stored: Sequence[InstrumentTotal] = ()) -> tuple[Section, ...]:
    """Ask for totals; those of `stored` are what the questions start with."""
    named = [place for place in range(1, MOST + 1) if _answer(answers, "questionnaire", place)]
    shown = min(MOST, max([len(stored), *named], default=0) + 1)
    return tuple(
        Section(
            "Questionnaire, the total only" if place == 1 else "Another questionnaire",
            _asks(answers, place, stored[place - 1] if place <= len(stored) else None),
        )
        for place in range(1, shown + 1)
    )


def _answer(answers: Answers, word: str, place: int) -> str:
    return answers.get(f"{word}_{place}", "").strip()


def _asks(answers: Answers, place: int, stored: InstrumentTotal | None) -> tuple[Ask, ...]:
    name = _answer(answers, "questionnaire", place) or (stored.instrument.value if stored else "")
    start = {word: str(getattr(stored, column)) if stored else "" for word, column in _COLUMNS.items()}
    who = options_of(typed.column_of(InstrumentTotal, "completed_by"))

    def ask(
        word: str, how: How, options: tuple[str, ...] = (), hint: str = "", *, needed: bool = False
    ) -> Ask:
        key = f"{word}_{place}"
        return Ask(key, key, how, options, hint, needed, start[word])

    return (
        ask("questionnaire", How.CHOICE, tuple(facts.instrument.value for facts in INSTRUMENTS)),
        ask("total", How.TEXT, hint=range_words(name), needed=bool(name)),
        ask("version", How.TEXT),
        ask("language", How.TEXT),
        ask("completed_by", How.CHOICE, who, needed=bool(name)),
    )


def read(answers: Answers) -> Totals:
    """Read what was typed; a total is made once its questionnaire and who completed it are given."""
    said = Totals()
    for place in range(1, MOST + 1):
        _read_one(answers, place, said)
    return said


def _read_one(answers: Answers, place: int, said: Totals) -> None:
    texts = {column: _answer(answers, word, place) for word, column in _COLUMNS.items()}
    if not texts["instrument"]:
        if any(texts.values()):
            said.refused[f"questionnaire_{place}"] = "choose which questionnaire this is the total of"
        return
    if any(total.instrument.value == texts["instrument"] for total in said.totals):
        said.refused[f"questionnaire_{place}"] = "is given twice; one total each"
        return
    found = typed.read_record(InstrumentTotal, texts, zone="UTC")
    key = f"total_{place}"
    if found.refused:
        said.refused[key] = "; ".join(found.refused.values())
    elif "total" in found.words:
        said.words[key] = f"{found.words['total']} of {range_words(texts['instrument'])}"
    if found.record is not None:
        said.totals.append(found.record)
