"""An importer in a process of its own, so that no file can take the dashboard down with it.

The child gets limits of memory, processor time and written bytes before it looks at the file, and the
parent ends it when its time is over. Memory and processor limits need `resource`, which Windows has
not: there only the size of the file and the time are limited.
"""

import contextlib
import pickle
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from hvmon.files.understood import MAX_NIGHT_BYTES, Outcome, Questions, Understood, UnreadableNight, too_large

if sys.platform != "win32":
    import resource

MEGABYTE = 1_000_000


@dataclass(frozen=True, slots=True)
class Limits:
    """What a child may use."""

    address_space_bytes: int = 4_000 * MEGABYTE
    """Virtual memory; libraries reserve far more of it than they use."""
    data_bytes: int = 1_000 * MEGABYTE
    """Private writable memory."""
    cpu_s: int = 20
    written_bytes: int = 100 * MEGABYTE
    clock_s: float = 25.0


DEFAULT_LIMITS = Limits()


def understand_in_child(path: Path, answers: Mapping[str, str], limits: Limits = DEFAULT_LIMITS) -> Outcome:
    """Read the file of a night in a child process; the same answer as `hvmon.files.nights.understand`.

    Raises
    ------
    UnreadableNight
        The importer's own refusal, or the child was ended: too much memory, time, or a crash.
    """
    with contextlib.suppress(OSError):
        if path.stat().st_size > MAX_NIGHT_BYTES:
            raise too_large(path.stat().st_size)
    with tempfile.TemporaryDirectory(prefix="hvmon-import-") as folder:
        given, answer = Path(folder, "given"), Path(folder, "answer")
        given.write_bytes(pickle.dumps((str(path.resolve()), dict(answers), limits)))
        command = [sys.executable, "-P", "-m", "hvmon.files.child", str(given), str(answer)]
        code = _run(command, limits.clock_s)
        if code != 0 or not answer.is_file():
            raise UnreadableNight(_ended(code))
        return _outcome(answer)


def _run(command: list[str], clock_s: float) -> int:
    """Give the child's exit code."""
    try:
        done = subprocess.run(  # noqa: S603 - our own interpreter and module, no text of a user
            command, timeout=clock_s, check=False, stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        raise UnreadableNight(
            f"The file was not read within {clock_s:g} s and reading was stopped; nothing was stored. "
            "Export one night "
            "at one value a second."
        ) from None
    except OSError as error:
        raise UnreadableNight(
            f"The reader could not be started ({error.strerror}); nothing was stored."
        ) from None
    return done.returncode


def _ended(code: int) -> str:
    how = f"signal {-code}" if code < 0 else f"code {code}"
    return (
        f"Reading the file ended the reader ({how}), by too much memory, too much time or a damage it "
        "could not name; "
        "nothing was stored. Export the night again."
    )


def _outcome(answer: Path) -> Outcome:
    try:
        outcome = pickle.loads(answer.read_bytes())  # noqa: S301 - written by our own child
    except (pickle.UnpicklingError, EOFError, AttributeError, ValueError):
        raise UnreadableNight(_ended(0)) from None
    if isinstance(outcome, UnreadableNight):
        raise outcome
    if not isinstance(outcome, Understood | Questions):
        raise UnreadableNight(_ended(0))
    return outcome


def set_limits(limits: Limits) -> None:
    """Limit this process; on Windows nothing is limited here."""
    if sys.platform == "win32":
        return
    for name, amount in (
        ("RLIMIT_AS", limits.address_space_bytes),
        ("RLIMIT_DATA", limits.data_bytes),
        ("RLIMIT_CPU", limits.cpu_s),
        ("RLIMIT_FSIZE", limits.written_bytes),
        ("RLIMIT_CORE", 0),
    ):
        which = getattr(resource, name, None)
        if which is None:
            continue
        _, hard = resource.getrlimit(which)
        wanted = amount if hard == resource.RLIM_INFINITY else min(amount, hard)
        with contextlib.suppress(ValueError, OSError):
            resource.setrlimit(which, (wanted, wanted))


def main(given: Path, answer: Path) -> None:
    """Read one file under limits and write the outcome; run in the child."""
    path, answers, limits = pickle.loads(given.read_bytes())  # noqa: S301 - written by our own parent
    set_limits(limits)
    from hvmon.files import nights  # noqa: PLC0415 - only after the limits are set

    outcome: Outcome | UnreadableNight
    try:
        outcome = nights.understand(Path(path), answers)
    except UnreadableNight as error:
        outcome = error
    except MemoryError:
        outcome = UnreadableNight(
            "The file needs more memory than a night can; nothing was stored. Export one night at one "
            "value a second."
        )
    answer.write_bytes(pickle.dumps(outcome))


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
