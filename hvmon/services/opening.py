"""Open the store the dashboard and the commands work on."""

from pathlib import Path

import platformdirs

from hvmon.store.errors import StoreError
from hvmon.store.store import Store

__all__ = ["Store", "StoreError", "default_path", "open_store"]


def default_path() -> Path:
    """Give the place of the store when none is named: the user's own data folder."""
    return Path(platformdirs.user_data_dir("hvmon", appauthor=False)) / "hvmon.sqlite"


def open_store(path: Path | None = None) -> Store:
    """Open the store at `path`; without a path open the user's own, made at first use.

    A named store is never made here: a mistyped name would show an empty caseload.

    Raises
    ------
    StoreError
        The file is missing, of another program, or newer than this version.
    """
    if path is not None:
        return Store.open(path)
    own = default_path()
    own.parent.mkdir(parents=True, exist_ok=True)
    return Store.open(own, create=not own.exists())
