"""Commands of nights: score a file, import a folder, score an archive again."""

import json
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import Progress

from hvmon.cli.base import IN_PART, REFUSED, Actor, StorePath, app, errors, fail, now, opened, say, screen
from hvmon.services import archive, night_import
from hvmon.services.night_import import UnreadableNight
from hvmon.services.nights import night_files
from hvmon.services.stores import default_path

MMHG_PER_KPA_HINT = "Transcutaneous CO2 awake and supine, such as 45mmHg or 6.0kPa."


@app.command("score")
def score_command(
    file: Annotated[Path, typer.Argument(help="EDF, EDF+ or CSV file of one night.")],
    *,
    zone: Annotated[str | None, typer.Option("--zone", help="IANA zone of the device's clock.")] = None,
    date_format: Annotated[str | None, typer.Option("--date-format", help="Order of dates.")] = None,
    start_date: Annotated[str | None, typer.Option("--start-date", help="Date of the first value.")] = None,
    column: Annotated[
        list[str] | None, typer.Option("--column", help="CHANNEL=COLUMN; repeatable. Also time=COLUMN.")
    ] = None,
    tcco2_unit: Annotated[str | None, typer.Option("--tcco2-unit", help="kPa or mmHg.")] = None,
    awake_supine: Annotated[str | None, typer.Option("--awake-supine", help=MMHG_PER_KPA_HINT)] = None,
    answer: Annotated[
        list[str] | None, typer.Option("--answer", help="KEY=ANSWER to any other question; repeatable.")
    ] = None,
    convention: Annotated[
        str | None, typer.Option("--convention", help="C1 or M1; default: both side by side.")
    ] = None,
) -> None:
    """Score one file and print JSON whose keys are the field names of the score."""
    given = {"zone": zone, "date_format": date_format, "start_date": start_date, "unit.tcco2": tcco2_unit}
    answers = {key: text for key, text in given.items() if text is not None}
    try:
        answers |= {f"column.{key}": text for key, text in _pairs("--column", column)}
        answers |= dict(_pairs("--answer", answer))
        result = night_import.score_file(file, answers, night_import.stated(awake_supine))
        result = night_import.only_convention(result, convention)
    except (UnreadableNight, ValueError) as error:
        raise fail(str(error)) from None
    print(json.dumps(result, indent=2, ensure_ascii=False))  # noqa: T201 - the result of the command


def _pairs(option: str, texts: list[str] | None) -> list[tuple[str, str]]:
    pairs = [text.partition("=") for text in texts or []]
    wrong = [key for key, equals, _ in pairs if not equals]
    if wrong:
        raise ValueError(f"{option} {wrong[0]!r}: accepted is NAME=TEXT")
    return [(key, text) for key, _, text in pairs]


@app.command("import-nights")
def import_nights(
    folder: Annotated[Path, typer.Argument(help="Folder with the files.")],
    *,
    manifest: Annotated[Path, typer.Option("--manifest", help="CSV, one row a file (docs/files.md).")],
    store: StorePath = None,
    by: Actor = "command line",
) -> None:
    """Import the nights a manifest lists; each is stored whole or not at all."""
    path = store or default_path()
    stored = refused = 0
    with opened(path) as record:
        try:
            made = night_import.import_folder(
                record, night_files(path), folder, manifest, actor=by, now=now()
            )
            for each in made:
                stored += each.stored
                refused += not each.stored
                (say if each.stored else _complain)(f"{each.file}: {each.words}")
        except ValueError as error:
            raise fail(str(error)) from None
    if refused:
        raise typer.Exit(IN_PART if stored else REFUSED)


def _complain(text: str) -> None:
    errors.print(text, markup=False, highlight=False, soft_wrap=True)


@app.command()
def rescore(
    *,
    store: StorePath = None,
    workers: Annotated[int, typer.Option(min=1, help="Processes on this machine.")] = 1,
    scheduler: Annotated[
        str | None, typer.Option(help="Address of a running dask scheduler (extra 'cluster').")
    ] = None,
) -> None:
    """Score every stored night that has no result of the present conventions; may be stopped and resumed."""
    path = store or default_path()
    with opened(path):
        files = night_files(path)
    with Progress(console=screen) as progress:
        task = progress.add_task("Scoring", total=None)
        try:
            done = archive.rescore(
                files,
                workers=workers,
                scheduler=scheduler,
                progress=lambda n, total: progress.update(task, completed=n, total=total),
            )
        except ModuleNotFoundError as error:
            raise fail(str(error)) from None
    say(f"{done.scored} nights scored, {done.already} had a result")
    for key in done.damaged:
        _complain(f"damaged and left out: {key}")
    if done.damaged:
        raise typer.Exit(IN_PART)
