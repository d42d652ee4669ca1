"""The only place that opens the database file: connections, transactions, the online copy.

A second SQLite library, or plain ``open()`` on the file, inside the process that writes would drop
the write lock: POSIX locks go when any descriptor of the file closes.
"""

import sqlite3
import threading
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeoutError
from sqlalchemy.pool import QueuePool, StaticPool

from hvmon.store import sqlite_only
from hvmon.store.errors import Busy, Damaged, NotAnHvmonStore, StoreError, Unsaved

BUSY_TIMEOUT_S = 5.0
"""[s] how long a save waits for another writer before it says so."""

_WRITES = "hvmon_writes"


def _connect(path: Path | None, busy_timeout_s: float) -> sqlite3.Connection:
    where = ":memory:" if path is None else f"{path.absolute().as_uri()}?mode=rw"
    return sqlite3.connect(
        where,
        uri=path is not None,
        timeout=busy_timeout_s,
        isolation_level=None,
        check_same_thread=False,
        cached_statements=512,
    )


def _new_engine(path: Path | None, busy_timeout_s: float, *, settled: bool) -> Engine:
    def connect() -> sqlite3.Connection:
        return _connect(path, busy_timeout_s)

    pool: dict[str, Any] = (
        {"poolclass": StaticPool}
        if path is None
        else {"poolclass": QueuePool, "pool_size": 8, "max_overflow": 24, "pool_timeout": busy_timeout_s * 4}
    )
    engine = create_engine("sqlite://", creator=connect, hide_parameters=True, **pool)
    event.listen(engine, "connect", _prepare(on_disk=path is not None and settled))
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(*, on_disk: bool) -> Any:  # noqa: ANN401 - a listener
    statements = sqlite_only.pragmas(sqlite3.sqlite_version_info, on_disk=on_disk)

    def prepare(connection: sqlite3.Connection, _record: object) -> None:
        for statement in statements:
            connection.execute(statement).close()

    return prepare


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get(_WRITES, False)
    connection.exec_driver_sql(sqlite_only.WRITE_BEGIN if writes else sqlite_only.READ_BEGIN)


_UNSAVED, _UNREAD = "NOT saved", "Not read"
_SENTENCES: tuple[tuple[str, type[StoreError], str], ...] = (
    ("SQLITE_BUSY", Busy, "{0}, {1}: another program or person is using the store."),
    ("SQLITE_LOCKED", Busy, "{0}, {1}: the store is in use."),
    ("SQLITE_FULL", Unsaved, "{0}: the disk is full. Free some space, then {1}."),
    ("SQLITE_READONLY", Unsaved, "{0}: the store's file or folder is read-only. Ask for write access."),
    ("SQLITE_IOERR", Unsaved, "{0}: the disk refused. Check the disk, then {1}."),
    ("SQLITE_CANTOPEN", Unsaved, "{0}: the store's file could not be opened. Check that it is there."),
    ("SQLITE_CONSTRAINT", Unsaved, "{0}: the store's own checks refused a value."),
    ("SQLITE_NOTADB", NotAnHvmonStore, "The file is no hvmon store; it was left untouched."),
    ("SQLITE_CORRUPT", Damaged, "The store's file is damaged. Stop entering data and restore a backup."),
)


def in_words(error: DBAPIError, outcome: str = _UNSAVED) -> StoreError:
    """Give the sentence for a database error, without the driver's text or any value."""
    advice = "press Save again" if outcome == _UNSAVED else "try again"
    name = str(getattr(error.orig, "sqlite_errorname", ""))
    for start, kind, sentence in _SENTENCES:
        if name.startswith(start):
            return kind(sentence.format(outcome, advice))
    return Unsaved(f"{outcome}: the database refused ({name or type(error.orig).__name__}).")


class Database:
    """Connections to one database, safe to share between threads.

    Writers of one process take turns by a lock, because SQLite's own lock is unfair under load; writers
    of different processes meet at BEGIN IMMEDIATE.

    A file that may not be ours is opened with `settled` off: its journal mode is left as it is.
    """

    def __init__(
        self, path: Path | None = None, busy_timeout_s: float = BUSY_TIMEOUT_S, *, settled: bool = True
    ) -> None:
        self.path = path
        self._engine = _new_engine(path, busy_timeout_s, settled=settled)
        self._turn = threading.RLock()
        self._reads: AbstractContextManager[Any] = nullcontext() if path is not None else self._turn

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """One consistent view of the store; keep it short."""
        with self._reads, _translated(_UNREAD), self._engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """One write transaction, all or nothing; committed to disk when the block ends.

        Raises
        ------
        Busy, Unsaved
            Nothing was stored.
        """
        with self._turn, _translated(_UNSAVED), self._engine.connect() as connection:
            writing = connection.execution_options(**{_WRITES: True})
            with writing.begin():
                yield writing

    def copy_into(self, target: "Database") -> None:
        """Copy the whole database into another by SQLite's online backup, while others read and write."""
        with self._turn, self._raw() as source, target._raw() as copy:  # noqa: SLF001 - the same class
            source.backup(copy)

    @contextmanager
    def _raw(self) -> Iterator[sqlite3.Connection]:
        proxied = self._engine.raw_connection()
        try:
            driver: Any = proxied.driver_connection
            yield driver
        finally:
            proxied.close()

    def close(self) -> None:
        """Close every connection."""
        self._engine.dispose()


@contextmanager
def _translated(outcome: str) -> Iterator[None]:
    try:
        yield
    except DBAPIError as error:
        raise in_words(error, outcome) from None
    except PoolTimeoutError:
        raise Busy(f"{outcome}: too many people use the store at this moment. Try again.") from None


def make_empty_file(path: Path) -> None:
    """Make a new empty file that only its owner can read; an existing file is left alone."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch(mode=0o600, exist_ok=True)
