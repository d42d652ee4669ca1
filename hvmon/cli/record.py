"""Commands of the record: start, load, import, export, findings, rules, sources."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated

import typer
from rich.markup import escape
from rich.progress import Progress
from rich.table import Table

from hvmon.cli.base import (
    CAUTION,
    REFUSED,
    Actor,
    AsOf,
    Service,
    StorePath,
    app,
    day_of,
    errors,
    fail,
    now,
    opened,
    say,
    screen,
)
from hvmon.rules.catalogue import where as rule_place
from hvmon.rules.page import rule_line
from hvmon.services import caseload, exchange
from hvmon.services import demo as demo_service
from hvmon.services.listing import FindingLine, NoSuchPerson, findings_of
from hvmon.services.nights import night_files
from hvmon.services.packs_in_use import service_edits
from hvmon.services.stores import Store, StoreError, default_path, make_folder
from hvmon.vocabulary import Answer


def _root() -> Path:
    """Give the checkout this package runs from."""
    found = find_spec("hvmon")
    if found is None or found.origin is None:
        raise fail("hvmon is not installed as a package; run the README's first command")
    return Path(found.origin).parents[1]


def _folder_of(path: Path) -> None:
    try:
        make_folder(path.parent)
    except StoreError as error:
        raise fail(str(error)) from None


def _make_demo(path: Path) -> None:
    """Make the demo store anew, in one go, so that a run that was stopped half-way is no trouble."""
    if path.exists():
        _only_invented(path)
        return
    half = path.with_suffix(".making")
    for old in (half, *half.parent.glob(f"{half.name}-*")):
        old.unlink(missing_ok=True)
    with opened(half, create=True) as record:
        _load(record, path)
    half.replace(path)


def _only_invented(path: Path) -> None:
    """Refuse to show a store of real people as a demo, which stands still on one day."""
    with opened(path) as record:
        if not all(line.invented for line in record.people(limit=100_000)):
            raise fail(f"{path} holds people who are not invented; start it without --demo")


def _load(record: Store, path: Path) -> None:
    with Progress(console=screen) as progress:
        task = progress.add_task("Loading the invented demo record", total=None)

        def tick(done: int, total: int) -> None:
            progress.update(task, completed=done, total=total)

        demo_service.load(record, night_files(path), progress=tick)


@app.command()
def start(
    *,
    store: StorePath = None,
    demo: Annotated[bool, typer.Option("--demo", help="Show the invented demo record.")] = False,
    service: Service = None,
    port: Annotated[int, typer.Option(help="Port on this machine.")] = 8501,
) -> None:
    """Start the dashboard on this machine."""
    path = store or (Path("hvmon-data/demo.sqlite") if demo else default_path())
    _folder_of(path)
    surroundings = os.environ | {"HVMON_STORE": str(path.resolve())}
    if service:
        surroundings["HVMON_SERVICE"] = str(service.resolve())
    if demo:
        _make_demo(path)
        surroundings.setdefault("HVMON_TODAY", demo_service.DEMO_DAY.isoformat())
    with opened(path, create=True):
        say(f"hvmon shows {path} on http://127.0.0.1:{port} (stop with Ctrl+C)")
    page = _root() / "streamlit_app.py"
    command = [sys.executable, "-m", "streamlit", "run", str(page), "--server.port", str(port)]
    os.chdir(_root())
    if sys.platform != "win32":
        os.execve(command[0], command, surroundings)  # noqa: S606 - our own command, in our own place
    raise typer.Exit(subprocess.call(command, env=surroundings))  # noqa: S603 - our own command


@app.command()
def upgrade(*, store: StorePath = None) -> None:
    """Create the store, or bring an older one to this version after a verified copy."""
    path = store or default_path()
    with opened(path, create=True) as record:
        say(f"{path}: revision {record.revision()}, ready")


@app.command("load-demo")
def load_demo(*, store: StorePath = None) -> None:
    """Load the invented demo record into a store."""
    with opened(store, create=True) as record:
        _load(record, store or default_path())
        say(f"revision {record.revision()}")


@app.command()
def refresh(*, store: StorePath = None, as_of: AsOf = None, service: Service = None) -> None:
    """Work out the caseload's summaries that are stale, so that nobody waits for them in the morning."""
    with opened(store) as record, Progress(console=screen) as progress:
        task = progress.add_task("Judging", total=None)

        def tick(done: int, total: int) -> None:
            progress.update(task, completed=done, total=total)

        try:
            edits = service_edits(service)
            done = caseload.refresh(record, today=day_of(as_of), progress=tick, edits=edits)
        except ValueError as error:
            raise fail(str(error)) from None
    say(f"{done} people judged")


@contextmanager
def _importing(path: Path | None, *, dry_run: bool) -> Iterator[Store]:
    """Open the store; a dry run into one that is not there yet makes none."""
    if dry_run and not (path or default_path()).exists():
        with Store.in_memory() as record:
            yield record
        return
    with opened(path, create=True) as record:
        yield record


@app.command("import")
def import_folder(
    folder: Annotated[Path, typer.Argument(help="Folder of CSV tables, one a record type (docs/files.md).")],
    *,
    store: StorePath = None,
    by: Actor = "command line",
    dry_run: Annotated[bool, typer.Option("--dry-run", help="Report row by row, store nothing.")] = False,
    accept_good: Annotated[
        bool, typer.Option("--accept-good", help="Store the good rows, leave the rest.")
    ] = False,
) -> None:
    """Import a folder of CSV tables: all or nothing, unless --accept-good."""
    with _importing(store, dry_run=dry_run) as record:
        result = exchange.import_tables(
            record, folder, actor=by, now=now(), dry_run=dry_run, accept_good=accept_good
        )
    for line in result.lines():
        errors.print(line, markup=False, highlight=False, soft_wrap=True)
    say(result.summary())
    if not result.is_clean and not result.stored:
        raise typer.Exit(REFUSED)


@app.command()
def export(
    folder: Annotated[Path, typer.Argument(help="Folder to write; made when it is not there.")],
    *,
    store: StorePath = None,
    history: Annotated[bool, typer.Option("--history", help="Also corrections, for a replay.")] = False,
) -> None:
    """Export the record as CSV tables, one a record type. The folder holds names: keep it safe."""
    with opened(store) as record:
        try:
            rows = exchange.export_tables(record, folder, history=history)
        except OSError as error:
            raise fail(f"NOT exported: {folder}: {error.strerror or type(error).__name__}") from None
    say(f"{rows} rows written to {folder}")


@app.command()
def people(
    text: Annotated[str, typer.Argument(help="Part of a local id or name.")] = "", *, store: StorePath = None
) -> None:
    """List people."""
    with opened(store) as record:
        for line in record.people(text, limit=100_000):
            print(f"{line.local_id}\t{line.diagnosis_group}\t{line.name}")  # noqa: T201 - rows for a script


@app.command()
def findings(
    *,
    store: StorePath = None,
    person: Annotated[str | None, typer.Option("--person", help="Local id; default: everybody.")] = None,
    as_of: AsOf = None,
    service: Service = None,
    every_answer: Annotated[
        bool, typer.Option("--every-answer", help="Also rules not met and not assessable.")
    ] = False,
    plain: Annotated[bool, typer.Option("--plain", help="Tab-separated rows for a script.")] = False,
) -> None:
    """List findings and what is owed, for a person or all. No finding never means safe."""
    answers = frozenset(Answer) if every_answer else frozenset({Answer.MET})
    with opened(store) as record:
        try:
            edits = service_edits(service)
            lines = list(
                findings_of(record, today=day_of(as_of), local_id=person, answers=answers, edits=edits)
            )
        except (NoSuchPerson, ValueError) as error:
            raise fail(str(error.args[0])) from None
    _print_lines(lines, plain=plain)


def _print_lines(lines: list[FindingLine], *, plain: bool) -> None:
    columns = ("local_id", "rule_id", "answer", "grade", "title", "sentence")
    if plain:
        for line in lines:
            print("\t".join(getattr(line, column) for column in columns))  # noqa: T201 - rows for a script
        return
    table = Table(*(column.replace("_", " ") for column in columns), caption=CAUTION)
    for line in lines:
        table.add_row(*(escape(getattr(line, column)) for column in columns))
    screen.print(table)


@app.command()
def rule(
    rule_id: Annotated[str, typer.Argument(help="Rule id as shown beside a finding, such as GAS-1.")],
) -> None:
    """Show where a rule lives, its limit and its source."""
    try:
        print(rule_place(rule_id))  # noqa: T201 - lines for a script
        print(rule_line(rule_id))  # noqa: T201
    except KeyError as error:
        raise fail(str(error.args[0])) from None


@app.command()
def source(key: Annotated[str, typer.Argument(help="Source key, such as Mokhlesi2019.")]) -> None:
    """Show a work of the bibliography and how far it was verified."""
    try:
        print(exchange.source_words(key))  # noqa: T201 - a line for a script
    except KeyError as error:
        raise fail(str(error.args[0])) from None
