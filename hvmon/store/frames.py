"""Tables as polars frames, with types taken from the record's columns and never guessed."""

from collections.abc import Sequence
from typing import Any

import polars as pl
from sqlalchemy import Connection, Select, select

from hvmon.records.flat import Kind
from hvmon.records.kinds import KIND_OF_TABLE
from hvmon.store.errors import Refused
from hvmon.store.specs import SHADOW, Spec, specs_of
from hvmon.store.tables import AUDIT, VERSIONS
from hvmon.vocabulary import RecordStatus

_HELD: dict[str, Any] = {
    "person_key": pl.String,
    "record_id": pl.String,
    "version": pl.Int64,
    "seq": pl.Int64,
    "held_status": pl.String,
}
_INSTANT = pl.Datetime("us", "UTC")


def _source(spec: Spec) -> str:
    return spec.name + SHADOW if spec.has_shadow else spec.name


def _stored_type(spec: Spec) -> Any:  # noqa: ANN401 - a polars type
    if spec.kind == Kind.DECIMAL:
        return pl.Float64
    return pl.Int64 if spec.kind in {Kind.WHOLE, Kind.INSTANT} else pl.String


def _as_shown(spec: Spec) -> pl.Expr:
    column = pl.col(spec.name)
    if spec.kind == Kind.INSTANT:
        return column.cast(_INSTANT)
    if spec.kind == Kind.DATE:
        return column.str.to_date("%Y-%m-%d", strict=not spec.may_be_not_recorded)
    if spec.kind == Kind.YES_NO:
        return pl.when(column == "yes").then(True).when(column == "no").then(False).alias(spec.name)
    return column


def _wanted(table: str, specs: Sequence[Spec], person_key: str | None) -> Select[Any]:
    columns = VERSIONS[table].c
    wanted = select(*(columns[name] for name in (*_HELD, *(_source(spec) for spec in specs))))
    return wanted if person_key is None else wanted.where(columns.person_key == person_key)


def frame(connection: Connection, table: str, person_key: str | None) -> pl.DataFrame:
    """Give the rows of a table that are in force.

    Numbers are Float64 or Int64, moments Datetime(us, UTC), days Date, yes/no Boolean, words and lists
    text. A number, day or yes/no that was "not recorded" is null here; the records keep the difference.

    Raises
    ------
    Refused
        There is no such table.
    """
    if table not in KIND_OF_TABLE:
        raise Refused(f"There is no table {table!r}; accepted: {', '.join(KIND_OF_TABLE)}.")
    kind = KIND_OF_TABLE[table]
    specs = [spec for spec in specs_of(kind.model) if spec.name != "person_key"]
    rows = connection.execute(_wanted(table, specs, person_key)).all()
    schema = _HELD | {spec.name: _stored_type(spec) for spec in specs}
    data = pl.DataFrame([tuple(row) for row in rows], schema=schema, orient="row")
    newest = pl.col("version") == pl.col("version").max().over("record_id")
    in_force = data.filter(newest).filter(pl.col("held_status") != RecordStatus.ENTERED_IN_ERROR.value)
    shown = in_force.drop("held_status").with_columns(_as_shown(spec) for spec in specs)
    return shown.sort("person_key", *((kind.dated_by,) if kind.dated_by else ()), "seq")


def audit_trail(connection: Connection, person_key: str | None, limit: int) -> pl.DataFrame:
    """Give the last events, the newest first: who did what to which record, when and why."""
    names = (
        "seq", "at_us", "actor", "action", "table_name", "record_id", "version", "person_key", "reason",
        "before", "after", "request_id", "hash",
    )  # fmt: skip
    wanted = select(*(AUDIT.c[name] for name in names)).order_by(AUDIT.c.seq.desc()).limit(limit)
    if person_key is not None:
        wanted = wanted.where(AUDIT.c.person_key == person_key)
    whole = {"seq", "at_us", "version"}
    schema: dict[str, Any] = {name: pl.Int64 if name in whole else pl.String for name in names}
    rows = [tuple(row) for row in connection.execute(wanted)]
    events = pl.DataFrame(rows, schema=schema, orient="row")
    return events.with_columns(pl.col("at_us").cast(_INSTANT)).rename({"at_us": "at", "table_name": "table"})
