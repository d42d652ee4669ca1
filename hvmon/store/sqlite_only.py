"""The only SQLite-only SQL of the project: the version gate, pragmas, append-only triggers, the catalogue.

Another database needs its own form of this one module.
"""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import BigInteger, Connection, Double, Integer
from sqlalchemy.dialects.sqlite import REAL
from sqlalchemy.types import TypeEngine

WHOLE: TypeEngine[int] = BigInteger().with_variant(Integer(), "sqlite")
NUMBER: TypeEngine[float] = Double().with_variant(REAL(), "sqlite")
"""STRICT tables know INTEGER and REAL only; elsewhere these are BIGINT and DOUBLE."""

STRICT: dict[str, Any] = {"sqlite_strict": True}
CLUSTERED: dict[str, Any] = {"sqlite_strict": True, "sqlite_with_rowid": False}
"""Rows lie in the order of the primary key: one person's rows are read in one stretch."""

APPLICATION_ID = 0x48564D4E
"""Marks the file as an hvmon store; the ASCII letters HVMN."""

_FIXED = (3, 51, 3)
_BACK_PORTED = {(3, 50): 7, (3, 44): 6}


def wal_is_safe(version: tuple[int, int, int]) -> bool:
    """Tell whether a SQLite library has the WAL-reset fix: 3.51.3 on, back-ported to 3.50.7 and 3.44.6.

    Versions 3.7.0 to 3.51.2 can lose a commit when a write-ahead log is reset by two connections at once.
    """
    patch = _BACK_PORTED.get(version[:2])
    return version >= _FIXED or (patch is not None and version[2] >= patch)


def durability(version: tuple[int, int, int]) -> tuple[str, str]:
    """Give journal mode and synchronous level that lose no acknowledged save with a SQLite library.

    WAL needs FULL. A rollback journal needs EXTRA: with FULL a power cut can lose the last save, because
    the directory is not synced after the journal is unlinked.
    """
    return ("WAL", "FULL") if wal_is_safe(version) else ("DELETE", "EXTRA")


def pragmas(version: tuple[int, int, int], *, on_disk: bool) -> tuple[str, ...]:
    """Statements for each new connection, in order."""
    journal, synchronous = durability(version)
    disk = (f"PRAGMA journal_mode={journal}", f"PRAGMA synchronous={synchronous}") if on_disk else ()
    return (
        *disk,
        "PRAGMA foreign_keys=ON",
        "PRAGMA trusted_schema=OFF",
        "PRAGMA cell_size_check=ON",
        "PRAGMA mmap_size=0",
        "PRAGMA recursive_triggers=ON",
        "PRAGMA temp_store=MEMORY",
        "PRAGMA cache_size=-32000",
    )


READ_BEGIN = "BEGIN"
WRITE_BEGIN = "BEGIN IMMEDIATE"


def append_only(table: str, key: tuple[str, ...]) -> Iterator[str]:
    """Give the triggers that refuse UPDATE, DELETE and REPLACE on a table."""
    same = " AND ".join(f"{column} = NEW.{column}" for column in key)
    for verb in ("UPDATE", "DELETE"):
        yield (
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only: no {verb}'); END"
        )
    there = f"SELECT 1 FROM {table} WHERE {same}"  # noqa: S608 - names of our own tables
    yield (
        f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} WHEN EXISTS ({there}) "
        f"BEGIN SELECT RAISE(ABORT, '{table} is append-only: no REPLACE'); END"
    )


def undeletable(table: str) -> str:
    """Give the trigger that refuses DELETE on a table whose rows may change."""
    return (
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} "
        f"BEGIN SELECT RAISE(ABORT, '{table} keeps every row: no DELETE'); END"
    )


def mark_as_ours(connection: Connection) -> None:
    """Write the application id; part of the transaction that makes the tables."""
    connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")


def application_id(connection: Connection) -> int:
    """Read the application id; 0 for a database nobody marked."""
    return int(connection.exec_driver_sql("PRAGMA application_id").scalar_one())


def catalogue(connection: Connection) -> dict[tuple[str, str], str]:
    """Give every table, index and trigger with its text, white space levelled.

    STRICT, CHECKs, keys and triggers all stand in these texts, so comparing them compares everything.
    """
    rows = connection.exec_driver_sql(
        "SELECT type, name, coalesce(sql, '') FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'"
    )
    return {(kind, name): " ".join(text.split()) for kind, name, text in rows}


def broken_pages(connection: Connection) -> tuple[str, ...]:
    """Give what the database's own checks find: pages, indexes, foreign keys; empty when sound."""
    pages = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check")]
    orphans = [f"{row[0]} points to a missing {row[2]}" for row in _foreign_key_rows(connection)]
    return (*(page for page in pages if page != "ok"), *orphans)


def _foreign_key_rows(connection: Connection) -> list[tuple[str, int, str, int]]:
    return [tuple(row) for row in connection.exec_driver_sql("PRAGMA foreign_key_check")]
