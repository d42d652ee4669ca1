"""What a rule is: its limits in their native unit, its source, and the check that answers it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from decimal import Decimal
from enum import StrEnum

from hvmon.rules.case import Case
from hvmon.rules.finding import Part
from hvmon.vocabulary import Grade, Mark


class Comparator(StrEnum):
    """How a value is held against a limit; strict and inclusive differ between diseases."""

    ABOVE = ">"
    AT_LEAST = ">="
    BELOW = "<"
    AT_MOST = "<="


class Sense(StrEnum):
    """What "met" says. Every rule is a flag; that of a goal is raised when the goal is not reached."""

    FLAG = "raised when the limit is reached"
    GOAL = "raised when the goal is not reached"


class Ages(StrEnum):
    """Whom a rule was published for; chosen by age on the study date."""

    ANY = "any age"
    ADULT = "adults"
    CHILD = "children"


@dataclass(frozen=True, slots=True)
class Limit:
    """One published limit, in the unit and with the comparator of its source."""

    value: Decimal
    unit: str
    comparator: Comparator
    source: str
    place: str
    name: str = ""
    """Which of the rule's limits; empty for the main one."""
    published: Decimal | None = None
    """The value before a local edit; None when it is the published one."""
    edit_reason: str = ""

    @property
    def words(self) -> str:
        """The limit in words, an edit and its reason included."""
        shown = " ".join(part for part in (self.name, self.comparator, str(self.value), self.unit) if part)
        if self.published is None:
            return shown
        return f"{shown} (edited from {self.published} {self.unit}: {self.edit_reason})"

    def edited(self, value: Decimal, reason: str) -> "Limit":
        """Give the limit with another value and the reason for it."""
        published = self.value if self.published is None else self.published
        return replace(self, value=value, published=published, edit_reason=reason)


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of the catalogue."""

    id: str
    title: str
    grade: Grade
    limits: tuple[Limit, ...]
    check: "Check"
    population: str
    source: str
    place: str
    mark: Mark
    condition: str = ""
    """What the source asks of the measurement."""
    sense: Sense = Sense.FLAG
    ages: Ages = Ages.ANY

    @property
    def limit(self) -> Limit:
        """The main limit."""
        return self.limits[0]

    def named(self, name: str) -> Limit:
        """Give the limit of that name.

        Raises
        ------
        KeyError
            The rule has no limit of that name.
        """
        for limit in self.limits:
            if limit.name == name:
                return limit
        raise KeyError(f"rule {self.id} has no limit {name!r}")

    @property
    def limit_words(self) -> str:
        """All limits in words."""
        words = "; ".join(limit.words for limit in self.limits)
        return f"goal {words}" if self.sense == Sense.GOAL and words else words

    @property
    def edits(self) -> str:
        """What was edited and why, empty when nothing was."""
        return "; ".join(limit.words for limit in self.limits if limit.published is not None)


Check = Callable[[Case, Rule], Part]
"""Answers one rule for one person: what was compared, with what, and what is not known."""
