"""What people type, read strictly: one text a flat column, the value and the words of what was understood.

Nothing is guessed. A blank is a blank; `n` typed in a field that may be "not recorded" says so on purpose.
The accepted ranges are those of the record's own door, so that a form and an import refuse alike.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache
from typing import Annotated, Any, get_args

from pydantic import TypeAdapter, ValidationError

from hvmon.records.base import Pressure, Record
from hvmon.records.door import problems
from hvmon.records.flat import Column, Kind, columns, unflatten
from hvmon.records.limits import EntryLimit, Verdict, entry_limit
from hvmon.records.number_text import BadNumber, parse_decimal, parse_whole
from hvmon.services.clock_text import NotUnderstood, moment_text, moment_words, read_day, read_moment
from hvmon.units import PressureUnit
from hvmon.vocabulary import NOT_RECORDED

NOT_RECORDED_TYPED = {"n", "nr", NOT_RECORDED.value}
YES, NO = "yes", "no"

_UNITS = {unit.value for unit in PressureUnit}
_PRESSURE_STEMS = {
    "pco2": "paco2",
    "po2": "pao2",
    **dict.fromkeys(
        ("ptcco2", "tcco2_awake_supine", "tcco2_mean", "tcco2_median", "tcco2_peak"),
        "ptcco2",
    ),
}
_LIMIT_NAMES = {
    "residual_events_per_h": "events_per_h",
    "daytime_h": "usage_h",
    "ipap_max_cmh2o": "ipap_cmh2o",
    "target_volume_ml": "tidal_volume_ml",
    "spo2_mean_pct": "spo2_pct",
    "spo2_nadir_pct": "spo2_pct",
}


@dataclass(frozen=True, slots=True)
class Understood:
    """One value and how it reads back to the person who typed it."""

    value: Any
    words: str
    unlikely: str = ""
    """What is usual and the likely slip, for a value that is asked about; empty for a usual one."""


@dataclass(frozen=True, slots=True)
class ReadRecord:
    """A record made of typed texts, or what stands in its way."""

    record: Any = None
    words: Mapping[str, str] = field(default_factory=dict)
    refused: Mapping[str, str] = field(default_factory=dict)
    missing: tuple[str, ...] = ()
    unlikely: Mapping[str, str] = field(default_factory=dict)


def limit_of(column: str, unit: str | None = None) -> EntryLimit | None:
    """Give the entry limits of a flat column; None when the table has none."""
    for prefix in ("", "state_", "program_1_", "program_2_"):
        name = column.removeprefix(prefix)
        if name in _PRESSURE_STEMS:
            return entry_limit(f"{_PRESSURE_STEMS[name]}_{unit.lower()}") if unit in _UNITS else None
        try:
            return entry_limit(_LIMIT_NAMES.get(name, name))
        except KeyError:
            continue
    return None


def _field_of(model: type[Record], column: str) -> Any:  # noqa: ANN401 - pydantic's FieldInfo
    if column in model.model_fields:
        return model.model_fields[column]
    for name, info in model.model_fields.items():
        inner = next((m for m in (info.annotation, *get_args(info.annotation)) if _is_record(m)), None)
        if inner and column.startswith(f"{name}_"):
            return _field_of(inner, column.removeprefix(f"{name}_"))
    raise KeyError(column)


def _is_record(member: object) -> bool:
    return isinstance(member, type) and issubclass(member, Record)


@lru_cache(maxsize=512)
def _door(model: type[Record], column: str) -> TypeAdapter[Any]:
    info = _field_of(model, column)
    annotation: Any = Annotated[info.annotation, *info.metadata] if info.metadata else info.annotation
    return TypeAdapter(annotation)


@lru_cache(maxsize=512)
def column_of(model: type[Record], name: str) -> Column:
    """Give the description of one flat column.

    Raises
    ------
    KeyError
        The record type has no such column.
    """
    return {column.name: column for column in columns(model)}[name]


@lru_cache(maxsize=2048)
def hint(model: type[Record], name: str, unit: str | None = None) -> str:
    """Say what an empty field accepts."""
    column = column_of(model, name)
    limit = limit_of(name, unit)
    shape = "whole minutes" if "minutes" in name else _SHAPES.get(column.kind)
    tail = ", or n for not recorded" if column.may_be_not_recorded else ""
    if limit is not None:
        return f"{limit.accepted}{tail}"
    bounds = shape or _bounds(model, name)
    return f"{bounds}{tail}" if bounds else tail.removeprefix(", or ")


_SHAPES = {Kind.DATE: "DDMMYYYY", Kind.INSTANT: "DDMMYYYY HHMM"}


def _bounds(model: type[Record], name: str) -> str:
    schema = _door(model, name).json_schema()
    found = [part for part in (schema, *schema.get("anyOf", ())) if "minimum" in part and "maximum" in part]
    return f"{found[0]['minimum']:g} to {found[0]['maximum']:g}" if found else ""


def read(model: type[Record], name: str, text: str, *, zone: str, unit: str | None = None) -> Understood:
    """Read one field of a record from what was typed; the text is not blank.

    Raises
    ------
    NotUnderstood
        The text is refused; the message names what was given and what is accepted.
    """
    column = column_of(model, name)
    if column.may_be_not_recorded and text.strip().lower() in NOT_RECORDED_TYPED:
        return Understood(NOT_RECORDED, NOT_RECORDED.value)
    limit = limit_of(name, unit)
    value = _parse(column, text, zone)
    if _is_pressure(model, name):
        if unit not in _UNITS:
            raise NotUnderstood("choose the unit first: kPa or mmHg")
        value = Pressure(value=value, unit=PressureUnit(unit))
    if not _is_unit(model, name):
        _check(model, name, value)
    number = value.value if isinstance(value, Pressure) else value
    unit_words = limit.unit if limit else "min" if "minutes" in name else ""
    return Understood(value, words_of(value, unit_words, zone), _unlikely(limit, number))


def _unlikely(limit: EntryLimit | None, number: object) -> str:
    if limit is None or not isinstance(number, int | Decimal):
        return ""
    if limit.verdict(Decimal(number)) != Verdict.CONFIRM:
        return ""
    usual = f"{limit.ask_low} to {limit.ask_high} {limit.unit}".strip()
    return f"is unlikely; usual is {usual}." + (f" Likely slip: {limit.slip}." if limit.slip else "")


def _is_pressure(model: type[Record], name: str) -> bool:
    return any(column.name == f"{name}_unit" for column in columns(model))


def _is_unit(model: type[Record], name: str) -> bool:
    return name.endswith("_unit") and _is_pressure(model, name.removesuffix("_unit"))


def _parse(column: Column, text: str, zone: str) -> Any:  # noqa: ANN401 - the value of any column
    try:
        return _PARSERS[column.kind](column, text, zone)
    except BadNumber as error:
        tail = ", or n for not recorded" if column.may_be_not_recorded else ""
        raise NotUnderstood(f"{error}{tail}") from None


def _yes_no(text: str) -> bool:
    if text not in {YES, NO}:
        raise NotUnderstood(f"{text!r} is neither yes nor no")
    return text == YES


def _word(column: Column, text: str) -> Any:  # noqa: ANN401 - a member of the column's closed set
    for word in column.words:
        if word == text:
            return word
    raise NotUnderstood(f"{text!r} is none of: {', '.join(column.words)}")


_PARSERS: Mapping[Kind, Any] = {
    Kind.TEXT: lambda _column, text, _zone: text,
    Kind.DECIMAL: lambda _column, text, _zone: parse_decimal(text),
    Kind.WHOLE: lambda _column, text, _zone: parse_whole(text),
    Kind.YES_NO: lambda _column, text, _zone: _yes_no(text),
    Kind.WORD: lambda column, text, _zone: _word(column, text),
    Kind.DATE: lambda _column, text, _zone: read_day(text),
    Kind.INSTANT: lambda _column, text, zone: read_moment(text, zone),
}


def _check(model: type[Record], name: str, value: Any) -> None:  # noqa: ANN401 - the value of any column
    try:
        _door(model, name).validate_python(value, strict=True)
    except ValidationError as error:
        if limit_of(name, "kPa") is None and (accepted := hint(model, name)):
            raise NotUnderstood(f"{value} is not accepted; accepted is {accepted}") from None
        raise NotUnderstood("; ".join(problem.accepted for problem in problems(error))) from None


def words_of(value: Any, unit: str = "", zone: str = "UTC") -> str:  # noqa: ANN401 - the value of any column
    """Say a value back."""
    if isinstance(value, bool):
        return YES if value else NO
    if isinstance(value, datetime):
        return moment_words(value, zone)
    if isinstance(value, date):
        return f"{value:%a %d %b %Y}"
    if isinstance(value, StrEnum):
        return value.value
    return str(value) if isinstance(value, Pressure) else f"{value} {unit}".strip()


def as_typed(value: Any, zone: str) -> str:  # noqa: ANN401 - the value of any flat column
    """Give the text a person would have typed for a stored value; the inverse of `read`."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return YES if value else NO
    if isinstance(value, datetime):
        return moment_text(value, zone)
    return value.isoformat() if isinstance(value, date) else str(value)


def read_record(
    model: type[Record], texts: Mapping[str, str], *, zone: str, fixed: Mapping[str, Any] | None = None
) -> ReadRecord:
    """Make a record of typed texts (flat column name to text) and of `fixed` values not typed by anyone."""
    flat: dict[str, Any] = dict(fixed or {})
    words: dict[str, str] = {}
    refused: dict[str, str] = {}
    unlikely: dict[str, str] = {}
    for column in columns(model):
        text = texts.get(column.name, "")
        if column.name in flat or not text.strip() or _unit_of_nothing(column.name, texts):
            continue
        try:
            understood = read(
                model, column.name, text, zone=zone, unit=texts.get(f"{column.name}_unit") or None
            )
        except NotUnderstood as error:
            refused[column.name] = str(error)
            continue
        words[column.name] = understood.words
        if understood.unlikely:
            unlikely[column.name] = understood.unlikely
        flat[column.name] = (
            understood.value.value if isinstance(understood.value, Pressure) else understood.value
        )
    missing = tuple(
        c.name for c in columns(model) if c.required and c.name not in flat and c.name not in refused
    )
    if refused or missing:
        return ReadRecord(None, words, refused, missing, unlikely)
    return replace(_made(model, flat, words), unlikely=unlikely)


def _unit_of_nothing(name: str, texts: Mapping[str, str]) -> bool:
    """Whether a column is the unit of a pressure that is left blank."""
    stem = name.removesuffix("_unit")
    return stem != name and not texts.get(stem, "").strip()


def _made(model: type[Record], flat: Mapping[str, Any], words: Mapping[str, str]) -> ReadRecord:
    try:
        return ReadRecord(unflatten(model, flat), words)
    except ValidationError as error:
        return ReadRecord(None, words, {problem.field: problem.accepted for problem in problems(error)})
