"""What a form asks: one question a flat column, with its answer's kind, its choices and its hint."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from hvmon.records.base import Record
from hvmon.records.flat import Column, Kind
from hvmon.services import typed
from hvmon.vocabulary import NOT_RECORDED

Answers = Mapping[str, str]
"""Key of a question to the text as typed or the word as chosen; a blank is no answer."""


class How(StrEnum):
    """How a question is answered."""

    TEXT = "text"
    LINE = "line"
    CHOICE = "choice"
    LIST = "list"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Ask:
    """One question of a form."""

    key: str
    column: str
    """Flat column it fills, the name its label is found by; for questions of the form itself, its key."""
    how: How
    options: tuple[str, ...] = ()
    hint: str = ""
    required: bool = False
    default: str = ""
    model: type[Record] | None = None
    """Record type of the column; None for a question of the form itself."""


@dataclass(frozen=True, slots=True)
class Section:
    """Questions under one heading."""

    title: str
    asks: tuple[Ask, ...]


_SEEN_AT_ONCE = 16
"""As many words are all shown, since a list that opens closes again when the form moves under it."""

_LINES = {"why_changed", "why_closed"}
_NOTES = {"comment", "detail", "diagnosis", "goals_of_care", "advice_given"}


def options_of(column: Column) -> tuple[str, ...]:
    """Give the words a column may be answered with; empty for typed columns."""
    if column.kind == Kind.YES_NO:
        extra = (NOT_RECORDED.value,) if column.may_be_not_recorded else ()
        return (typed.YES, typed.NO, *extra)
    return tuple(str(word) for word in column.words)


def _how(options: tuple[str, ...]) -> How:
    return How.CHOICE if len(options) <= _SEEN_AT_ONCE else How.LIST


def ask(
    model: type[Record],
    name: str,
    *,
    prefix: str = "",
    unit: str | None = None,
    options: tuple[str, ...] = (),
    required: bool | None = None,
    default: str = "",
) -> Ask:
    """Ask for one column of a record type; the key is the prefix and the column's name."""
    column = typed.column_of(model, name)
    offered = options or options_of(column)
    how = How.NOTE if name in _NOTES else How.LINE if column.kind == Kind.TEXT else How.TEXT
    if offered:
        how = _how(offered)
    hint = "" if offered else typed.hint(model, name, unit)
    needed = column.required if required is None else required
    return Ask(f"{prefix}{name}", name, how, offered, hint, needed, default, model)


def own(
    key: str, options: tuple[str, ...] = (), *, hint: str = "", default: str = "", required: bool = True
) -> Ask:
    """Ask for something that steers the form itself or fills more than one record."""
    how = How.LINE if key in _LINES else How.TEXT
    if options:
        how = _how(options)
    return Ask(key, key, how, options, hint, required, default)
