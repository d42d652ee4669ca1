"""Opening a store: the right file, the right schema, or a refusal that touches nothing."""

import secrets
from pathlib import Path

from sqlalchemy import insert, select

from hvmon.store import engine, migrate
from hvmon.store.engine import Database
from hvmon.store.errors import NotAnHvmonStore, Unsaved
from hvmon.store.tables import INFO

_SALT_BYTES = 32


def in_memory() -> Database:
    """Give an empty store in memory."""
    database = Database()
    migrate.template().copy_into(database)
    _salt(database)
    return database


def open_file(
    path: Path, *, create: bool, busy_timeout_s: float, folder: Path = migrate.MIGRATIONS
) -> Database:
    """Open a store file, made first where asked for; see `Store.open`."""
    if not path.exists():
        if not create:
            raise NotAnHvmonStore(
                f"There is no store at {path}; check the name, or make one with "
                f"'hvmon upgrade --store {path}'."
            )
        _make(path)
    if not path.is_file():
        raise NotAnHvmonStore(f"{path} is no file; name the file of the store.")
    version = _look(path, create=create, busy_timeout_s=busy_timeout_s, folder=folder)
    database = Database(path, busy_timeout_s)
    try:
        migrate.prepare(database, path, version, folder)
        _salt(database)
    except BaseException:
        database.close()
        raise
    return database


def _make(path: Path) -> None:
    try:
        engine.make_empty_file(path)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise Unsaved(
            f"No store could be made at {path}: {reason}. Name a file in a folder you may write to."
        ) from None


def _look(path: Path, *, create: bool, busy_timeout_s: float, folder: Path) -> str | None:
    database = Database(path, busy_timeout_s, settled=False)
    try:
        return migrate.look(database, path, create=create, folder=folder)
    finally:
        database.close()


def _salt(database: Database) -> None:
    with database.read() as connection:
        known = connection.execute(select(INFO.c.value).where(INFO.c.name == "salt")).first()
    if known:
        return
    with database.write() as connection:
        known = connection.execute(select(INFO.c.value).where(INFO.c.name == "salt")).first()
        if not known:
            value = secrets.token_hex(_SALT_BYTES)
            connection.execute(insert(INFO), [{"name": "salt", "value": value}])
