"""Records to stored rows and back, by a plan worked out once for each record type.

The same columns as `hvmon.records.flat`, at a tenth of the time; a test holds the two together. Rows
are read back through the door (`model_validate`): a value the door would refuse is never shown.
"""

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum
from functools import lru_cache
from typing import Any, Generic, TypeVar, get_args, get_origin

from pydantic import TypeAdapter, ValidationError

from hvmon.records.base import PersonRecord, Record
from hvmon.records.flat import Column, Kind, columns
from hvmon.records.kinds import RecordKind
from hvmon.store.errors import Damaged, Refused
from hvmon.store.specs import SHADOW
from hvmon.store.tables import NO, YES
from hvmon.vocabulary import NOT_RECORDED, NotRecorded

R = TypeVar("R", bound=PersonRecord)
Value = str | int | float | None
Row = dict[str, Value]
Encode = Callable[[Any], Value]
Decode = Callable[[Any], Any]
Make = Callable[[Sequence[Any]], Any]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_SECONDS_PER_DAY = 86_400
_US_PER_S = 1_000_000


def to_us(moment: datetime) -> int:
    """Give microseconds since 1970 UTC [us], exactly."""
    since = moment - _EPOCH
    return (since.days * _SECONDS_PER_DAY + since.seconds) * _US_PER_S + since.microseconds


def from_us(us: int) -> datetime:
    """Give the moment of microseconds since 1970 UTC."""
    return _EPOCH + timedelta(microseconds=us)


def _parts(annotation: Any) -> Iterator[Any]:  # noqa: ANN401 - a type annotation
    """Give every class and tuple inside unions and `Annotated`."""
    if (isinstance(annotation, type) and get_origin(annotation) is None) or get_origin(annotation) is tuple:
        yield annotation
    else:
        for part in get_args(annotation):
            yield from _parts(part)


def _nested(annotation: Any) -> type[Record] | None:  # noqa: ANN401 - a type annotation
    classes = (part for part in _parts(annotation) if isinstance(part, type))
    return next((part for part in classes if issubclass(part, Record)), None)


@dataclass(frozen=True, slots=True)
class _Leaf:
    """One flat column and the way to it through the record."""

    column: Column
    path: tuple[str, ...]
    annotation: Any


def _leaves(model: type[Record]) -> tuple[_Leaf, ...]:
    def walk(inner: type[Record], path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
        for name, field in inner.model_fields.items():
            nested = _nested(field.annotation)
            if nested is None:
                yield (*path, name), field.annotation
            else:
                yield from walk(nested, (*path, name))

    ways = zip(columns(model), walk(model, ()), strict=True)
    return tuple(_Leaf(column, path, annotation) for column, (path, annotation) in ways)


def _encode_list(items: tuple[Record, ...]) -> str:
    return "[" + ", ".join(item.model_dump_json() for item in items) + "]"


_ENCODERS: dict[Kind, Encode] = {
    Kind.TEXT: str,
    Kind.WORD: lambda word: word.value,
    Kind.WHOLE: int,
    Kind.DECIMAL: str,
    Kind.YES_NO: lambda answer: YES if answer else NO,
    Kind.INSTANT: to_us,
    Kind.DATE: date.isoformat,
    Kind.LIST: _encode_list,
}


def _word_decoder(leaf: _Leaf) -> Decode:
    sets = [part for part in _parts(leaf.annotation) if isinstance(part, type) and issubclass(part, StrEnum)]
    word_set = next(part for part in sets if part is not NotRecorded)
    known = {word.value: word for word in word_set}
    return lambda text: known.get(text, text)


def _list_decoder(leaf: _Leaf) -> Decode:
    of = next(part for part in _parts(leaf.annotation) if get_origin(part) is tuple)
    adapter: TypeAdapter[Any] = TypeAdapter(of)
    return lambda text: () if text == "[]" else adapter.validate_json(text)


_DECODERS: dict[Kind, Decode] = {
    Kind.TEXT: lambda text: text,
    Kind.WHOLE: int,
    Kind.DECIMAL: Decimal,
    Kind.YES_NO: {YES: True, NO: False}.get,
    Kind.INSTANT: from_us,
    Kind.DATE: date.fromisoformat,
}


def _decoder(leaf: _Leaf) -> Decode:
    kind = leaf.column.kind
    if kind == Kind.WORD:
        return _word_decoder(leaf)
    return _list_decoder(leaf) if kind == Kind.LIST else _DECODERS[kind]


def _maker(leaves: Sequence[_Leaf], depth: int, at: Mapping[str, int]) -> Make:
    """Give the function that makes the nested fields of one level from a row."""
    groups: dict[str, list[_Leaf]] = {}
    for leaf in leaves:
        groups.setdefault(leaf.path[depth], []).append(leaf)
    scalars, nested = [], []
    for name, inside in groups.items():
        if len(inside[0].path) == depth + 1:
            leaf = inside[0]
            scalars.append((name, at[leaf.column.name], _decoder(leaf), leaf.column.may_be_not_recorded))
        else:
            witnesses = tuple(at[leaf.column.name] for leaf in inside)
            nested.append((name, witnesses, _maker(inside, depth + 1, at)))

    def make(row: Sequence[Any]) -> dict[str, Any]:
        fields: dict[str, Any] = {}
        for name, index, decode, open_ in scalars:
            value = row[index]
            if value is not None:
                fields[name] = NOT_RECORDED if open_ and value == NOT_RECORDED.value else decode(value)
        for name, witnesses, inner in nested:
            if any(row[index] is not None for index in witnesses):
                fields[name] = inner(row)
        return fields

    return make


def _shadow_of(name: str, text: Value) -> float | int | None:
    if text is None or text == NOT_RECORDED.value:
        return None
    number = float(text)
    if not math.isfinite(number):
        raise Refused(f"{name} {text} is too large to be stored; check the number.")
    return number


class Plan(Generic[R]):
    """How one record type is written to and read from its table."""

    def __init__(self, kind: RecordKind, model: type[R]) -> None:
        leaves = _leaves(model)
        self.table = kind.table
        self.words = kind.words
        self.dated_by = kind.dated_by
        self.model = model
        self.names = tuple(leaf.column.name for leaf in leaves)
        self.kinds = {leaf.column.name: leaf.column.kind for leaf in leaves}
        self._writers = tuple((leaf.column.name, leaf.path, _ENCODERS[leaf.column.kind]) for leaf in leaves)
        self._whole_texts = tuple(
            leaf.column.name
            for leaf in leaves
            if leaf.column.may_be_not_recorded and leaf.column.kind == Kind.WHOLE
        )
        self._decimals = tuple(leaf.column.name for leaf in leaves if leaf.column.kind == Kind.DECIMAL)
        self._make = _maker(leaves, 0, {name: index for index, name in enumerate(self.names)})

    def row(self, record: Record) -> Row:
        """Give the stored columns of a record, without the shadow numbers: its content."""
        row: Row = {}
        for name, path, encode in self._writers:
            value: Any = record
            for step in path:
                value = getattr(value, step)
                if value is None:
                    break
            if value is None:
                row[name] = None
            else:
                row[name] = NOT_RECORDED.value if value is NOT_RECORDED else encode(value)
        for name in self._whole_texts:
            if row[name] is not None:
                row[name] = str(row[name])
        return row

    def shadows(self, row: Row) -> dict[str, float | int | None]:
        """Give the numbers that stand beside the digits as typed.

        Raises
        ------
        Refused
            A number is beyond what a float can hold.
        """
        whole = {name + SHADOW: _shadow_of(name, row[name]) for name in self._whole_texts}
        numbers = {name: None if number is None else int(number) for name, number in whole.items()}
        return {**numbers, **{name + SHADOW: _shadow_of(name, row[name]) for name in self._decimals}}

    def record(self, row: Sequence[Any]) -> R:
        """Read a record from its columns, in the order of `names`, through the door.

        Raises
        ------
        Damaged
            The stored values are no record; they are not shown.
        """
        try:
            return self.model.model_validate(self._make(row))
        except (ValidationError, ValueError, ArithmeticError, TypeError) as error:
            fields = _fields(error)
            raise Damaged(
                f"A stored {self.words} cannot be read back{fields}. Restore a backup, or correct the record."
            ) from None

    def changed(self, old: Row, new: Row) -> tuple[str, ...]:
        """Name the columns that differ in value; 6.8 and 6.80 are one value."""
        return tuple(name for name in self.names if not self._same(name, old[name], new[name]))

    def _same(self, name: str, old: Value, new: Value) -> bool:
        if old == new:
            return True
        numeric = self.kinds[name] == Kind.DECIMAL and NOT_RECORDED.value not in {old, new}
        return numeric and None not in {old, new} and Decimal(str(old)) == Decimal(str(new))


def _fields(error: Exception) -> str:
    if not isinstance(error, ValidationError):
        return ""
    places = sorted({str(detail["loc"][0]) for detail in error.errors(include_input=False) if detail["loc"]})
    return f" ({', '.join(places)})" if places else ""


@lru_cache(maxsize=64)
def plan_of(kind: RecordKind) -> Plan[Any]:
    """Give the plan of a record type."""
    return Plan(kind, kind.model)
