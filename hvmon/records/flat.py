"""Every record type as flat columns: one description serves the SQL tables, the CSV tables and the docs.

Nested records flatten with a prefix (`state_ventilator`), a pressure becomes a number and a unit
(`pco2`, `pco2_unit`), lists of records become one JSON text. Decimals keep the digits as typed.
"""

import json
import types
from collections.abc import Callable, Hashable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache
from typing import Any, TypeVar, Union, cast, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from hvmon.records.base import Pressure, Record
from hvmon.units import PressureUnit
from hvmon.vocabulary import NOT_RECORDED, NotRecorded

R = TypeVar("R", bound=Record)
Flat = dict[str, Any]
"""Column name to str, int, Decimal, bool, date, datetime, None or the text "not recorded"."""


class Kind(StrEnum):
    """What a flat column holds."""

    TEXT = "text"
    WHOLE = "whole number"
    DECIMAL = "decimal number"
    YES_NO = "yes or no"
    INSTANT = "moment with offset"
    DATE = "date"
    WORD = "word of a closed set"
    LIST = "list (JSON)"


@dataclass(frozen=True, slots=True)
class Column:
    """One flat column of a record type."""

    name: str
    kind: Kind
    required: bool
    words: tuple[str, ...] = ()
    may_be_not_recorded: bool = False


@lru_cache(maxsize=4096)
def _members(annotation: Any) -> tuple[Any, ...]:  # noqa: ANN401 - a type annotation
    """Members of a union, `Annotated` peeled off."""
    if hasattr(annotation, "__metadata__"):
        annotation = annotation.__origin__
    if get_origin(annotation) in {Union, types.UnionType}:
        return tuple(inner for member in get_args(annotation) for inner in _members(member))
    return (annotation,)


_KINDS: tuple[tuple[type, Kind], ...] = (
    (bool, Kind.YES_NO),
    (int, Kind.WHOLE),
    (Decimal, Kind.DECIMAL),
    (datetime, Kind.INSTANT),
    (date, Kind.DATE),
    (str, Kind.TEXT),
)


def _is(member: Any, base: type) -> bool:  # noqa: ANN401 - a type annotation
    return isinstance(member, type) and issubclass(member, base)


def _kind_of(member: Any) -> Kind:  # noqa: ANN401 - a type annotation
    if get_origin(member) is tuple:
        return Kind.LIST
    if _is(member, StrEnum):
        return Kind.WORD
    kinds = (kind for base, kind in _KINDS if _is(member, base))
    return next(kinds, Kind.INSTANT)  # pydantic's AwareDatetime is a class of its own


def _field_columns(name: str, field: FieldInfo, *, required: bool) -> Iterator[Column]:
    members = [member for member in _members(cast("Hashable", field.annotation)) if member is not type(None)]
    optional = not required or not field.is_required()
    core = next(member for member in members if member is not NotRecorded)
    if core is Pressure:
        yield Column(name, Kind.DECIMAL, not optional)
        yield Column(f"{name}_unit", Kind.WORD, not optional, tuple(PressureUnit))
    elif _is(core, BaseModel):
        for inner_name, inner in core.model_fields.items():
            yield from _field_columns(f"{name}_{inner_name}", inner, required=not optional)
    else:
        kind = _kind_of(core)
        words = tuple(core) if kind == Kind.WORD else ()
        yield Column(name, kind, not optional, words, NotRecorded in members)


@lru_cache(maxsize=64)
def columns(model: type[Record]) -> tuple[Column, ...]:
    """Flat columns of a record type, in order."""
    return tuple(
        column
        for name, field in model.model_fields.items()
        for column in _field_columns(name, field, required=True)
    )


def _json(items: tuple[Record, ...]) -> str:
    return json.dumps([item.model_dump(mode="json") for item in items], ensure_ascii=False)


def _flat_field(name: str, field: FieldInfo, value: Any) -> Iterator[tuple[str, Any]]:  # noqa: ANN401
    if isinstance(value, Pressure):
        yield name, value.value
        yield f"{name}_unit", value.unit.value
    elif isinstance(value, Record):
        for inner_name, inner in type(value).model_fields.items():
            yield from _flat_field(f"{name}_{inner_name}", inner, getattr(value, inner_name))
    elif isinstance(value, tuple):
        yield name, _json(value)
    elif value is None:
        yield from ((column.name, None) for column in _field_columns(name, field, required=False))
    else:
        yield name, value.value if isinstance(value, StrEnum) else value


def flatten(record: Record) -> Flat:
    """Give the flat row of a record; `unflatten` gives the record back, equal."""
    model = type(record)
    return {
        column: value
        for name, field in model.model_fields.items()
        for column, value in _flat_field(name, field, getattr(record, name))
    }


def _word(core: type[StrEnum], value: Any) -> Any:  # noqa: ANN401
    try:
        return core(value)
    except ValueError:
        return value  # pydantic refuses it with the list of accepted words


Reader = Callable[[Mapping[str, Any]], Any]
"""Takes the value of one field out of a flat row; None where the row has none."""


def _nested(name: str, core: type[Record], *, optional: bool) -> Reader:
    inner = [(key, _reader(f"{name}_{key}", field)) for key, field in core.model_fields.items()]

    def read(flat: Mapping[str, Any]) -> Any:  # noqa: ANN401
        values = {key: value for key, take in inner if (value := take(flat)) is not None}
        return None if optional and not values else values

    return read


def _pressure(name: str) -> Reader:
    unit_name = f"{name}_unit"

    def read(flat: Mapping[str, Any]) -> Any:  # noqa: ANN401
        value, unit = flat.get(name), flat.get(unit_name)
        if value is None and unit is None:
            return None
        parts = {"value": value, "unit": _word(PressureUnit, unit)}
        return {key: part for key, part in parts.items() if part is not None}

    return read


def _items(name: str, core: type[Record]) -> Reader:
    def read(flat: Mapping[str, Any]) -> Any:  # noqa: ANN401
        text = flat.get(name)
        if not isinstance(text, str):
            return text
        return tuple(core.model_validate_json(json.dumps(item)) for item in json.loads(text or "[]"))

    return read


def _words(name: str, core: type[StrEnum], *, may_be_not_recorded: bool) -> Reader:
    members: dict[str, StrEnum] = {word.value: word for word in core}
    if may_be_not_recorded:
        members[NOT_RECORDED.value] = NOT_RECORDED

    def read(flat: Mapping[str, Any]) -> Any:  # noqa: ANN401
        value = flat.get(name)
        return members.get(value, value) if isinstance(value, str) else value

    return read


def _scalar(name: str, *, may_be_not_recorded: bool) -> Reader:
    if not may_be_not_recorded:
        return lambda flat: flat.get(name)

    def read(flat: Mapping[str, Any]) -> Any:  # noqa: ANN401
        value = flat.get(name)
        return NOT_RECORDED if value == NOT_RECORDED.value else value

    return read


def _reader(name: str, field: FieldInfo) -> Reader:
    members = _members(cast("Hashable", field.annotation))
    core = next(m for m in members if m is not NotRecorded and m is not type(None))
    if core is Pressure:
        return _pressure(name)
    if _is(core, BaseModel):
        return _nested(name, core, optional=type(None) in members)
    if get_origin(core) is tuple:
        return _items(name, get_args(core)[0])
    if _is(core, StrEnum):
        return _words(name, core, may_be_not_recorded=NotRecorded in members)
    return _scalar(name, may_be_not_recorded=NotRecorded in members)


@lru_cache(maxsize=64)
def _readers(model: type[Record]) -> tuple[tuple[str, Reader], ...]:
    """How each field of a record type is taken out of a flat row, worked out once."""
    return tuple((name, _reader(name, field)) for name, field in model.model_fields.items())


def unflatten(model: type[R], flat: Mapping[str, Any]) -> R:
    """Give the record of a flat row, checked at the door.

    Raises
    ------
    pydantic.ValidationError
        A value is refused; `hvmon.records.door.problems` puts it in words.
    """
    return model.model_validate(
        {name: value for name, take in _readers(model) if (value := take(flat)) is not None}
    )
