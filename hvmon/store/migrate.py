"""The schema: made and upgraded by Alembic, compared with what it should be at every open."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, inspect

from hvmon.store import sqlite_only
from hvmon.store.engine import Database
from hvmon.store.errors import NewerStore, NotAnHvmonStore, StoreError
from hvmon.store.tables import METADATA

MIGRATIONS = Path(__file__).with_name("migrations")
_alembic = threading.Lock()
"""Alembic keeps its context in module globals: one migration at a time."""


def _config(folder: Path) -> Config:
    config = Config()
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    return config


def newest(folder: Path = MIGRATIONS) -> str:
    """Give the newest schema version the program knows."""
    head = ScriptDirectory.from_config(_config(folder)).get_current_head()
    return str(head)


def known(folder: Path = MIGRATIONS) -> frozenset[str]:
    """Give every schema version the program knows."""
    script = ScriptDirectory.from_config(_config(folder))
    return frozenset(revision.revision for revision in script.walk_revisions())


def version_of(connection: Connection) -> str | None:
    """Give the schema version of a store; None when there is none."""
    return MigrationContext.configure(connection).get_current_revision()


def upgrade(connection: Connection, folder: Path = MIGRATIONS) -> None:
    """Bring the schema up to date inside the caller's transaction."""
    config = _config(folder)
    config.attributes["connection"] = connection
    with _alembic:
        command.upgrade(config, "head")


@lru_cache(maxsize=4)
def template(folder: Path = MIGRATIONS) -> Database:
    """Give an empty up-to-date store in memory: the pattern that every store is compared with.

    Raises
    ------
    StoreError
        A record type has gained or lost a column and no migration says so.
    """
    database = Database()
    with database.write() as connection:
        upgrade(connection, folder)
        _refuse_missing_columns(connection)
    return database


def _refuse_missing_columns(connection: Connection) -> None:
    for table in METADATA.tables.values():
        found = {column["name"] for column in inspect(connection).get_columns(table.name)}
        gone = sorted({column.name for column in table.columns} - found)
        if gone:
            raise StoreError(
                f"The record types have columns the schema lacks: {table.name}: {', '.join(gone)}. "
                "Add a migration (docs/store.md, 'Add or change a column')."
            )


@lru_cache(maxsize=4)
def expected(folder: Path = MIGRATIONS) -> dict[tuple[str, str], str]:
    """Every table, index and trigger of an up-to-date store, with its text."""
    with template(folder).read() as connection:
        return sqlite_only.catalogue(connection)


def differences(connection: Connection, folder: Path = MIGRATIONS) -> tuple[str, ...]:
    """Give what of the schema is missing, changed or added; empty when all protections are in place."""
    wanted, found = expected(folder), sqlite_only.catalogue(connection)
    missing = [f"{kind} {name} is missing" for kind, name in wanted.keys() - found.keys()]
    added = [f"{kind} {name} was added" for kind, name in found.keys() - wanted.keys()]
    changed = [
        f"{kind} {name} was changed"
        for (kind, name) in wanted.keys() & found.keys()
        if wanted[kind, name] != found[kind, name]
    ]
    return tuple(sorted(missing + added + changed))


def check(connection: Connection, path: Path, folder: Path = MIGRATIONS) -> None:
    """Refuse a store whose protections are not what this program made.

    Raises
    ------
    NotAnHvmonStore
        Names the first differences. The file is left untouched.
    """
    found = differences(connection, folder)
    if found:
        shown = "; ".join(found[:5])
        raise NotAnHvmonStore(
            f"The protections of {path} were changed ({shown}). It was left untouched; "
            "restore a backup, or have the change undone."
        )


def check_version(connection: Connection, path: Path, folder: Path = MIGRATIONS) -> str:
    """Give the schema version of an hvmon store.

    Raises
    ------
    NotAnHvmonStore, NewerStore
        The file is something else, or from a newer program; it is left untouched.
    """
    version = version_of(connection) if sqlite_only.application_id(connection) else None
    ours = sqlite_only.application_id(connection) == sqlite_only.APPLICATION_ID
    if version is None or not ours:
        raise NotAnHvmonStore(f"{path} is no hvmon store; it was left untouched. Name another file.")
    if version not in known(folder):
        raise NewerStore(
            f"{path} was written by a newer hvmon (schema {version}; this one knows {newest(folder)}). "
            "It was left untouched; install the newer hvmon."
        )
    return version


def is_empty(connection: Connection) -> bool:
    """Tell whether a database holds nothing at all."""
    return not sqlite_only.catalogue(connection) and sqlite_only.application_id(connection) == 0


def look(database: Database, path: Path, *, create: bool, folder: Path = MIGRATIONS) -> str | None:
    """Give the schema version of a store file; None for an empty one that may be filled.

    Raises
    ------
    NotAnHvmonStore, NewerStore
        The file is something else, or from a newer program; it is left untouched.
    """
    try:
        with database.read() as connection:
            empty = is_empty(connection)
            version = None if empty else check_version(connection, path, folder)
    except NotAnHvmonStore as refusal:
        if str(path) in str(refusal):
            raise
        raise NotAnHvmonStore(
            f"{path} is no hvmon store; it was left untouched. Name another file."
        ) from None
    if empty and not create:
        raise NotAnHvmonStore(f"{path} is an empty file, no hvmon store; it was left untouched.")
    return version


def prepare(database: Database, path: Path, version: str | None, folder: Path = MIGRATIONS) -> None:
    """Make, upgrade or accept the schema of a store file whose version was looked up.

    An older schema is upgraded after a verified copy `<name>.before-<version>` was put beside it.
    """
    if version is not None and version != newest(folder):
        _copy_first(database, path, f"before-{newest(folder)}")
    if version != newest(folder):
        with database.write() as connection:
            upgrade(connection, folder)
            check(connection, path, folder)
    with database.read() as connection:
        check(connection, path, folder)


def _copy_first(database: Database, path: Path, suffix: str) -> None:
    with _copy(path.with_name(f"{path.name}.{suffix}")) as copy:
        database.copy_into(copy)
        with copy.read() as connection:
            broken = sqlite_only.broken_pages(connection)
    if broken:
        raise StoreError(f"{path} was not upgraded: its copy is damaged ({broken[0]}).")


@contextmanager
def _copy(path: Path) -> Iterator[Database]:
    if path.exists():
        raise StoreError(f"{path} is in the way: move it, then open the store again.")
    path.touch(mode=0o600)
    copy = Database(path)
    try:
        yield copy
    finally:
        copy.close()
