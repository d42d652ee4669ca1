"""What an importer of a night answers: the night and how it was understood, questions, or one plain error."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from hvmon.records.night_signal import NightSignal

MAX_NIGHT_BYTES = 20_000_000
"""[bytes] larger files are refused before they are opened."""

LONG_NIGHT_S = 24 * 3600
"""[s] a recording longer than this is read only after a person said that it is one night."""

LONGEST_INTERVAL_S = 4
"""[s] samples up to this far apart are held; slower data hide events of ten seconds."""

NONE_OF_THESE = "none of these"
"""The answer to a channel question that says the file holds no such channel."""


class UnreadableNight(Exception):  # noqa: N818 - a fact about the file, told to its reader
    """The file is no night that can be read; the message says where, what was given and what is accepted."""


@dataclass(frozen=True, slots=True)
class Question:
    """Something only a person can say about a file."""

    key: str
    """The name under which the answer is given back."""

    text: str
    """The question as a sentence."""

    options: tuple[str, ...] = ()
    """The accepted answers; empty where the answer is free text of the form the question names."""


@dataclass(frozen=True, slots=True)
class Questions:
    """The file is readable once these are answered."""

    questions: tuple[Question, ...]


@dataclass(frozen=True, slots=True)
class Understood:
    """A night, and in words what was understood of its file, for a dry run before anything is stored."""

    signal: NightSignal
    summary: tuple[str, ...]
    warnings: tuple[str, ...]


ONE_RECORDING = "yes, it is one recording"

Outcome = Understood | Questions


def too_large(size: int) -> UnreadableNight:
    """Give the refusal of a file over the size limit."""
    return UnreadableNight(
        f"The file has {size} bytes; accepted are at most {MAX_NIGHT_BYTES}. Export one night at one value "
        "a second."
    )


def read_file(path: Path) -> bytes:
    """Read a file of at most `MAX_NIGHT_BYTES`.

    Raises
    ------
    UnreadableNight
        It cannot be opened, is empty, or is larger.
    """
    try:
        size = path.stat().st_size
        if size > MAX_NIGHT_BYTES:
            raise too_large(size)
        with path.open("rb") as file:
            content = file.read(MAX_NIGHT_BYTES + 1)
    except OSError as error:
        raise UnreadableNight(f"The file cannot be opened ({error.strerror}); check the path.") from None
    if not content:
        raise UnreadableNight("The file is empty; choose the file of a night.")
    if len(content) > MAX_NIGHT_BYTES:
        raise too_large(len(content))
    return content


class Asking:
    """Collects the open questions of one file and hands out the answers already given."""

    def __init__(self, answers: Mapping[str, str]) -> None:
        self.answers = answers
        self.open: list[Question] = []
        self.used: set[str] = set()

    def answer(self, key: str, text: str, options: tuple[str, ...] = ()) -> str | None:
        """Give the answer to a question, or None after noting that it must be asked.

        Raises
        ------
        UnreadableNight
            An answer was given that is none of the options.
        """
        self.used.add(key)
        given = self.answers.get(key)
        if given is None:
            self.open.append(Question(key, text, options))
            return None
        if options and given not in options:
            accepted = ", ".join(repr(option) for option in options)
            raise UnreadableNight(f"The answer {given!r} to {key!r} is not accepted; accepted: {accepted}.")
        return given

    def not_needed(self) -> list[str]:
        """Give a warning for each answer the file made needless; the zone of a site is always given."""
        needless = sorted(set(self.answers) - self.used - {"zone"})
        return [f"The answer to {key!r} was not used; the file says it itself." for key in needless]


def ask_long(seconds: int, asking: Asking) -> None:
    """Ask whether a recording of more than a day is one night."""
    if seconds > LONG_NIGHT_S:
        text = (
            f"The recording lasts {seconds / 3600:.1f} h. Is it one recording? If not, check date "
            "and clock of the file."
        )
        asking.answer("long_recording", text, (ONE_RECORDING,))
