"""Open, create and check a store; where it stands when nothing else is said."""

from pathlib import Path

from platformdirs import user_data_path

from hvmon.store.errors import StoreError
from hvmon.store.store import Store

__all__ = ["Store", "StoreError", "default_path", "open_store"]


def default_path() -> Path:
    """Give the path of the store in this user's data folder."""
    return user_data_path("hvmon") / "record.sqlite"


def open_store(path: Path, *, create: bool = False) -> Store:
    """Open the store at a path; with `create`, make it when it is not there.

    Raises
    ------
    StoreError
        Not there, not an hvmon store, or written by a newer hvmon; the message says which.
    """
    if create:
        make_folder(path.parent)
    return Store.open(path, create=create)


def make_folder(folder: Path) -> None:
    """Make a folder with those above it, unless it is there.

    Raises
    ------
    StoreError
        It cannot be made; the message says why.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise StoreError(f"The folder {folder} cannot be made: {reason}. Name another place.") from None
