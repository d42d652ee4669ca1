"""The few questions of a planned change: why, which test it owes, by when."""

from dataclasses import dataclass
from datetime import date

from hvmon.records.settings import PlannedChange
from hvmon.services import typed
from hvmon.services.asked import Answers, Ask, ask
from hvmon.services.clock_text import NotUnderstood
from hvmon.services.form_read import FormRead
from hvmon.vocabulary import TestKind

TESTS = tuple(kind.value for kind in TestKind if kind != TestKind.NONE)
"""Tests that can be owed; a plan without one is not kept."""

NAMES = ("why", "owed_test", "owed_by")


@dataclass(frozen=True, slots=True)
class PlanRead:
    """What was understood, and the values once nothing stands in their way."""

    read: FormRead
    why: str = ""
    owed_test: TestKind | None = None
    owed_by: date | None = None

    @property
    def whole(self) -> bool:
        """Whether it can be stored."""
        return not (self.read.refused or self.read.missing)


def asks(earliest: date | None) -> tuple[Ask, ...]:
    """Give the questions; the day starts at the earliest honest awake gas, where there is one."""
    start = "" if earliest is None else f"{earliest:%d%m%Y}"
    return (
        ask(PlannedChange, "why", required=True),
        ask(PlannedChange, "owed_test", options=TESTS, required=True),
        ask(PlannedChange, "owed_by", required=True, default=start),
    )


def read_plan(answers: Answers, *, day: date, zone: str) -> PlanRead:
    """Read the answers; a day before the plan itself is refused."""
    words: dict[str, str] = {}
    refused: dict[str, str] = {}
    values: dict[str, object] = {}
    for name in NAMES:
        text = answers.get(name, "")
        if not text.strip():
            continue
        try:
            understood = typed.read(PlannedChange, name, text, zone=zone)
        except NotUnderstood as error:
            refused[name] = str(error)
            continue
        words[name], values[name] = understood.words, understood.value
    by = values.get("owed_by")
    if isinstance(by, date) and by < day:
        refused["owed_by"] = f"{by:%d %b %Y} lies before today, {day:%d %b %Y}"
    missing = tuple(name for name in NAMES if name not in values and name not in refused)
    read = FormRead(words=words, refused=refused, missing=missing)
    test = values.get("owed_test")
    return PlanRead(
        read,
        str(values.get("why", "")),
        TestKind(str(test)) if test is not None else None,
        by if isinstance(by, date) else None,
    )
