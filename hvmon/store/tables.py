"""The tables: one version table a record type, and the few that hold them together.

`<table>_version` and `audit_event` are append-only. Columns about a version start with `held_`, so
that they never meet a record's own `reason` or `recorded_by`. Times are UTC microseconds.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from sqlalchemy import (
    CheckConstraint,
    Column,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    MetaData,
    Table,
    Text,
    UniqueConstraint,
)

from hvmon.records.flat import Kind
from hvmon.records.kinds import RECORD_KINDS
from hvmon.store import sqlite_only
from hvmon.store.specs import SHADOW, Spec, specs_of
from hvmon.store.sqlite_only import CLUSTERED, NUMBER, STRICT, WHOLE
from hvmon.vocabulary import NOT_RECORDED, RecordStatus

YES, NO = "yes", "no"

VERSION_KEY = ("person_key", "record_id", "version")

Specs = Mapping[str, tuple[Spec, ...]]
"""Table name to stored columns."""


def current_specs() -> dict[str, tuple[Spec, ...]]:
    """Give the stored columns of every record type as the program has them now."""
    return {kind.table: specs_of(kind.model) for kind in RECORD_KINDS}


def _quoted(words: tuple[str, ...]) -> str:
    return ", ".join("'" + word.replace("'", "''") + "'" for word in words)


def _one_of(name: str, words: tuple[str, ...]) -> CheckConstraint:
    return CheckConstraint(f"{name} IN ({_quoted(words)})", name=f"{name}_words")


def _range_check(spec: Spec) -> Iterator[CheckConstraint]:
    if not spec.ranges:
        return
    number = spec.name + SHADOW
    parts = [f"{number} IS NULL"]
    for unit, low, high in spec.ranges:
        span = f"{number} BETWEEN {low} AND {high}"
        parts.append(f"({spec.name}_unit = '{unit}' AND {span})" if unit else span)
    yield CheckConstraint(" OR ".join(parts), name=f"{spec.name}_possible")


def _shadow(spec: Spec) -> Iterator[Column[Any] | CheckConstraint]:
    number = spec.name + SHADOW
    empty = f"{spec.name} IS NULL"
    if spec.may_be_not_recorded:
        empty += f" OR {spec.name} = '{NOT_RECORDED.value}'"
    yield Column(number, NUMBER if spec.kind == Kind.DECIMAL else WHOLE)
    yield CheckConstraint(f"({number} IS NULL) = ({empty})", name=f"{number}_fits")
    yield from _range_check(spec)


def _stored(spec: Spec) -> Iterator[Column[Any] | CheckConstraint]:
    as_whole = spec.kind == Kind.INSTANT or (spec.kind == Kind.WHOLE and not spec.may_be_not_recorded)
    yield Column(spec.name, WHOLE if as_whole else Text(), nullable=not spec.required)
    if spec.kind == Kind.WORD:
        yield _one_of(spec.name, spec.words)
    if spec.kind == Kind.YES_NO:
        unknown = (NOT_RECORDED.value,) if spec.may_be_not_recorded else ()
        yield _one_of(spec.name, (YES, NO, *unknown))
    if spec.has_shadow:
        yield from _shadow(spec)


def version_table(metadata: MetaData, table: str, specs: tuple[Spec, ...]) -> Table:
    """Build the append-only version table of a record type, clustered by person."""
    own = (part for spec in specs if spec.name != "person_key" for part in _stored(spec))
    return Table(
        f"{table}_version",
        metadata,
        Column("person_key", Text, ForeignKey("person_head.person_key"), primary_key=True),
        Column("record_id", Text, primary_key=True),
        Column("version", WHOLE, CheckConstraint("version >= 1", name="version_counts"), primary_key=True),
        Column("seq", WHOLE, nullable=False),
        Column("held_status", Text, _one_of("held_status", tuple(RecordStatus)), nullable=False),
        Column("held_reason", Text, nullable=False),
        Column("held_us", WHOLE, nullable=False),
        Column("held_by", Text, nullable=False),
        Column("request_id", Text, nullable=False),
        CheckConstraint("version = 1 OR held_reason <> ''", name="change_has_a_reason"),
        *own,
        ForeignKeyConstraint(["record_id", "person_key"], ["record.record_id", "record.person_key"]),
        **CLUSTERED,
    )


def _head_tables(metadata: MetaData) -> None:
    Table(
        "person_head",
        metadata,
        Column("person_key", Text, primary_key=True),
        Column("last_seq", WHOLE, nullable=False),
        **CLUSTERED,
    )
    Table(
        "record",
        metadata,
        Column("record_id", Text, primary_key=True),
        Column("table_name", Text, nullable=False),
        Column("person_key", Text, ForeignKey("person_head.person_key"), nullable=False),
        Column("natural_key", Text),
        Column("version", WHOLE, nullable=False),
        Column("withdrawn", Text, _one_of("withdrawn", (YES, NO)), nullable=False),
        Column("content", Text, nullable=False),
        UniqueConstraint("table_name", "natural_key"),
        UniqueConstraint("record_id", "person_key"),
        **CLUSTERED,
    )


def _audit_tables(metadata: MetaData) -> None:
    audit = Table(
        "audit_event",
        metadata,
        Column("seq", WHOLE, primary_key=True, autoincrement=False),
        Column("at_us", WHOLE, nullable=False),
        Column("actor", Text, nullable=False),
        Column("action", Text, nullable=False),
        Column("table_name", Text, nullable=False),
        Column("record_id", Text, nullable=False),
        Column("version", WHOLE, nullable=False),
        Column("person_key", Text, nullable=False),
        Column("reason", Text, nullable=False),
        Column("before", Text),
        Column("after", Text, nullable=False),
        Column("request_id", Text, nullable=False),
        Column("prev_hash", Text, nullable=False),
        Column("hash", Text, nullable=False),
        Column("mac", Text),
        **STRICT,
    )
    Index("audit_event_by_person", audit.c.person_key, audit.c.seq)
    Table(
        "request",
        metadata,
        Column("request_id", Text, primary_key=True),
        Column("digest", Text, nullable=False),
        Column("answer", Text, nullable=False),
        **CLUSTERED,
    )


def _side_tables(metadata: MetaData) -> None:
    Table(
        "store_info",
        metadata,
        Column("name", Text, primary_key=True),
        Column("value", Text, nullable=False),
        **CLUSTERED,
    )
    draft = Table(
        "draft",
        metadata,
        Column("draft_id", WHOLE, primary_key=True),
        Column("token", Text, nullable=False, unique=True),
        Column("form", Text, nullable=False),
        Column("owner", Text, nullable=False),
        Column("payload", Text, nullable=False),
        Column("saved_us", WHOLE, nullable=False),
        **STRICT,
    )
    Index("draft_by_form", draft.c.form, draft.c.owner)
    Table(
        "person_summary",
        metadata,
        Column("summary_id", WHOLE, primary_key=True),
        Column("as_of", Text, nullable=False),
        Column("person_key", Text, nullable=False),
        Column("person_seq", WHOLE, nullable=False),
        Column("payload", Text, nullable=False),
        UniqueConstraint("as_of", "person_key"),
        **STRICT,
    )


def build(specs: Specs) -> MetaData:
    """Build every table for a set of stored columns."""
    metadata = MetaData()
    _head_tables(metadata)
    _audit_tables(metadata)
    _side_tables(metadata)
    for table, columns in specs.items():
        version_table(metadata, table, columns)
    return metadata


def protections(specs: Specs) -> Iterator[str]:
    """Give the triggers that keep versions and audit append-only."""
    for table in specs:
        yield from sqlite_only.append_only(f"{table}_version", VERSION_KEY)
    yield from sqlite_only.append_only("audit_event", ("seq",))
    yield from sqlite_only.append_only("request", ("request_id",))
    yield sqlite_only.undeletable("record")
    yield sqlite_only.undeletable("person_head")


METADATA = build(current_specs())
PERSON_HEAD = METADATA.tables["person_head"]
RECORD = METADATA.tables["record"]
AUDIT = METADATA.tables["audit_event"]
REQUEST = METADATA.tables["request"]
INFO = METADATA.tables["store_info"]
DRAFT = METADATA.tables["draft"]
SUMMARY = METADATA.tables["person_summary"]
VERSIONS: dict[str, Table] = {kind.table: METADATA.tables[f"{kind.table}_version"] for kind in RECORD_KINDS}
