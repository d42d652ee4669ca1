"""What became of a save, in words for the person who pressed the button."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from hvmon.records.held import Held
from hvmon.store.errors import AlreadyDifferent, StaleVersion, StoreError


class Fate(StrEnum):
    """The five ends of a save."""

    SAVED = "saved"
    ALREADY = "already stored"
    DIFFERENT = "NOT saved: stored before with other values"
    CONFLICT = "NOT saved: someone else changed it"
    NOT_SAVED = "NOT saved"


@dataclass(frozen=True, slots=True)
class Outcome:
    """The end of one save and what the store now holds."""

    fate: Fate
    words: str
    held: tuple[Held[Any], ...] = ()

    @property
    def stored(self) -> bool:
        """Whether what was typed is in the store now."""
        return self.fate in {Fate.SAVED, Fate.ALREADY}


def attempt(save: Callable[[], tuple[bool, tuple[Held[Any], ...]]]) -> Outcome:
    """Run one save and tell what became of it; `save` gives whether anything was added, and what is held."""
    try:
        added, held = save()
    except StaleVersion as error:
        return Outcome(Fate.CONFLICT, str(error), (error.current,))
    except AlreadyDifferent as error:
        return Outcome(Fate.DIFFERENT, str(error), (error.held,))
    except StoreError as error:
        return Outcome(Fate.NOT_SAVED, str(error))
    fate = Fate.SAVED if added else Fate.ALREADY
    return Outcome(fate, "Stored." if added else "Stored before; nothing was added.", held)
