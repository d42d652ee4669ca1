"""What the store refuses or cannot do; every message is a sentence for the person at the screen.

Messages name fields and say what to do. They never carry SQL, a traceback or a driver's text.
"""

# ruff: noqa: N818 - the names read as sentences where they are caught

from typing import Any

from hvmon.records.held import Held


class StoreError(Exception):
    """Base of everything the store raises on purpose."""


class Refused(StoreError):
    """The request itself is wrong; the message says what is accepted."""


class UnknownRecord(StoreError):
    """No such record in this store."""


class UnknownPerson(StoreError):
    """No such person in this store, or not at the moment asked for."""


class AlreadyDifferent(StoreError):
    """A record with the same natural key but other values is there already.

    Attributes
    ----------
    held
        The version in force.
    fields
        Names of the differing flat columns.
    """

    def __init__(self, message: str, held: Held[Any], fields: tuple[str, ...]) -> None:
        super().__init__(message)
        self.held = held
        self.fields = fields


class StaleVersion(StoreError):
    """Someone else changed the record in between.

    Attributes
    ----------
    current
        The version in force, so that the other person's values can be shown.
    """

    def __init__(self, message: str, current: Held[Any]) -> None:
        super().__init__(message)
        self.current = current


class NotAnHvmonStore(StoreError):
    """The file is missing, is something else, or its protections were changed. It is left untouched."""


class NewerStore(StoreError):
    """The store was written by a newer hvmon. It is left untouched."""


class Unsaved(StoreError):
    """Nothing was stored; the form keeps its content."""


class Busy(Unsaved):
    """Another program or person holds the store; nothing was stored."""


class Damaged(StoreError):
    """A stored row cannot be read back as a record."""
