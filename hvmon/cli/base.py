"""What every command shares: the application, the screen, the store, refusals."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from hvmon.services.stores import Store, StoreError, default_path, open_store

app = typer.Typer(
    help="hvmon keeps a home-ventilation team's record; it never replaces licensed judgement.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
screen = Console()
errors = Console(stderr=True)

CAUTION = "Supports and does not replace licensed judgement and local protocol. No finding never means safe."
IN_PART = 1
"""Exit code when something was left out, named, and the rest was done."""
REFUSED = 2
"""Exit code when input was refused and nothing was stored."""

StorePath = Annotated[
    Path | None,
    typer.Option("--store", envvar="HVMON_STORE", help="File of the store; default: your data folder."),
]
Service = Annotated[
    Path | None, typer.Option("--service", help="TOML of the service's own limits, packs and priors.")
]
AsOf = Annotated[str | None, typer.Option("--as-of", help="Date such as 2026-06-15; default: today.")]
Actor = Annotated[str, typer.Option("--by", help="Who does this; stands in the audit trail.")]


def fail(message: str, code: int = REFUSED) -> typer.Exit:
    """Print a refusal and give the exit to raise."""
    errors.print(message, markup=False, highlight=False, soft_wrap=True)
    return typer.Exit(code)


def say(text: str) -> None:
    """Print a plain line."""
    screen.print(text, markup=False, highlight=False, soft_wrap=True)


def now() -> datetime:
    """Give the moment, UTC."""
    return datetime.now(UTC)


def day_of(text: str | None) -> date:
    """Read --as-of; today without it."""
    if text is None:
        return now().astimezone().date()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise fail(f"--as-of: {text!r} is no date; accepted is YYYY-MM-DD, such as 2026-06-15") from None


@contextmanager
def opened(path: Path | None, *, create: bool = False) -> Iterator[Store]:
    """Open the store for one command and close it after; what the store refuses ends the command."""
    try:
        store = open_store(path or default_path(), create=create)
    except StoreError as error:
        raise fail(str(error)) from None
    try:
        yield store
    except StoreError as error:
        raise fail(str(error)) from None
    finally:
        store.close()
