"""Refusals in words: field, what was given, what is accepted."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Any

from pydantic import ValidationError

from hvmon import vocabulary
from hvmon.records import symptoms
from hvmon.records.base import Record
from hvmon.records.flat import columns
from hvmon.units import PressureUnit
from hvmon.vocabulary import NOT_RECORDED


@dataclass(frozen=True, slots=True)
class Problem:
    """One refusal, for a form or an import report."""

    field: str
    given: str
    accepted: str

    def __str__(self) -> str:
        return f"{self.field}: {self.accepted}" + (f" (given: {self.given})" if self.given else "")


_TEXTS = {
    "missing": "is required",
    "extra_forbidden": "is no field of this record",
    "timezone_aware": "needs its offset, such as 2026-03-01T10:30+00:00",
    "string_too_short": "may not be empty",
}


def _is_branch(part: int | str) -> bool:
    """Union branches carry type names with brackets or capitals, not field names."""
    return isinstance(part, str) and (
        "[" in part or part != part.lower() or part in {"decimal", "int", "datetime", "bool", "date"}
    )


def _field(location: tuple[int | str, ...]) -> str:
    parts = [str(part) for part in location if not _is_branch(part)]
    return "_".join(parts).removesuffix("_value") or "record"


def _given(detail: Any) -> str:  # noqa: ANN401 - pydantic's ErrorDetails
    given = detail.get("input")
    if detail["type"] == "missing" or isinstance(given, dict | Record):
        return ""
    return str(given)[:120] if isinstance(given, Decimal) else repr(given)[:120]


def _words_of(class_name: str) -> tuple[str, ...]:
    word_set = getattr(vocabulary, class_name, None) or getattr(symptoms, class_name, None)
    if class_name == "PressureUnit":
        word_set = PressureUnit
    if not (isinstance(word_set, type) and issubclass(word_set, StrEnum)):
        return ()
    return tuple(word.value for word in word_set)


def _text(detail: Any) -> str:  # noqa: ANN401 - pydantic's ErrorDetails
    if detail["type"] == "is_instance_of":
        words = _words_of(detail["ctx"]["class"])
        return f"accepted: {', '.join(words)}" if words else str(detail["msg"])
    return _TEXTS.get(detail["type"], str(detail["msg"]).removeprefix("Value error, "))


def _may_be_not_recorded(model: type[Record] | None) -> frozenset[str]:
    if model is None:
        return frozenset()
    return frozenset(
        column.name for column in columns(model) if column.may_be_not_recorded or NOT_RECORDED in column.words
    )


def problems(error: ValidationError, model: type[Record] | None = None) -> tuple[Problem, ...]:
    """Give one problem a field, in the order of the fields.

    `model` lets a missing condition say that "not recorded" is an accepted value.
    """
    open_conditions = _may_be_not_recorded(model)
    found: dict[str, Problem] = {}
    for detail in error.errors(include_url=False):
        field, text = _field(detail["loc"]), _text(detail)
        if detail["type"] == "missing" and field in open_conditions:
            text = "is required; where it was not written down choose 'not recorded'"
        known = found.get(field)
        if known is None:
            found[field] = Problem(field, _given(detail), text)
        elif text not in known.accepted:
            found[field] = Problem(field, known.given, f"{known.accepted}; or {text}")
    return tuple(found.values())
