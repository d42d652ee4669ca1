"""Commands that look back: replay a record, learn offsets and spreads from a service's own data."""

from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import Progress, TaskID

from hvmon.cli.base import CAUTION, Service, StorePath, app, day_of, fail, now, opened, say, screen
from hvmon.services import learning, replay
from hvmon.services.packs_in_use import checked_edits
from hvmon.services.stores import Store

Limits = Annotated[
    list[float] | None, typer.Option("--limit-kpa", help="Level to watch, in kPa; repeatable.")
]
Priors = Annotated[Path | None, typer.Option("--priors", help="TOML of a service's own priors.")]


@app.command("replay")
def replay_command(
    folder: Annotated[Path, typer.Argument(help="Folder of CSV tables, as export writes it.")],
    *,
    out: Annotated[Path, typer.Option("--out", help="CSV of every turn of every flag.")],
    turning_points: Annotated[
        Path | None,
        typer.Option("--turning-points", help="CSV person_key,turned_on (CO2 began to rise)."),
    ] = None,
    limit_kpa: Limits = None,
    watch: Annotated[float, typer.Option("--watch", help="Chance at which a trend is watched.")] = 0.80,
    likely: Annotated[float, typer.Option("--likely", help="Chance at which a trend is likely.")] = 0.95,
    threshold: Annotated[
        list[str] | None,
        typer.Option("--threshold", help="Threshold of a second opinion, as NAME=VALUE; may be repeated."),
    ] = None,
    every_days: Annotated[int, typer.Option("--every-days", min=1, help="Look this often between.")] = 30,
    priors: Priors = None,
    service: Service = None,
    as_of: Annotated[str | None, typer.Option("--as-of", help="Last day; default: newest record.")] = None,
) -> None:
    """Step through a record day by day, knowing only what was known, and write when each flag was raised."""
    until = datetime.combine(day_of(as_of) + timedelta(days=1), time(), UTC) if as_of else None
    edits, wrong = checked_edits(service)
    if wrong:
        raise fail(wrong)
    try:
        options = replay.options_of(
            limits_kpa=tuple(limit_kpa or ()), watch=watch, likely=likely, every_days=every_days,
            thresholds=threshold or [],
        )  # fmt: skip
        table = learning.read_priors(priors) if priors else None
        replays = replay.replay_folder(folder, until=until, options=options, priors=table, edits=edits)
        made = _with_progress(replays)
        scores = replay.write_replays(made, out, turning_points)
    except (ValueError, OSError) as error:
        raise fail(str(error)) from None
    events = sum(len(each.events) for each in made)
    say(f"{len(made)} people replayed, {events} turns of flags written to {out}")
    for score in scores:
        say(_score_words(score))
    say(CAUTION)


def _score_words(score: replay.FlagScore) -> str:
    rate = "not known" if score.per_person_year is None else f"{score.per_person_year:.3f}"
    delay = "none" if score.median_delay_days is None else f"{score.median_delay_days:.0f} days"
    caught = f"caught {score.caught} of {score.turned}"
    return f"{score.flag}: false flags per person-year {rate}, {caught}, median delay {delay}"


def _with_progress(
    replays: Iterator[tuple[int, int, replay.PersonReplay | None]],
) -> list[replay.PersonReplay]:
    made = []
    with Progress(console=screen) as progress:
        task = progress.add_task("Replaying", total=None)
        for done, total, one in replays:
            progress.update(task, completed=done, total=total)
            if one is not None:
                made.append(one)
    return made


@app.command()
def learn(
    *,
    out: Annotated[Path, typer.Option("--out", help="Priors file (TOML) to write.")],
    store: StorePath = None,
    priors: Priors = None,
) -> None:
    """Learn offsets and spreads of the trend model from a service's own record. Never runs by itself."""
    if not out.parent.is_dir():
        raise fail(f"--out {out}: the folder {out.parent} is not there; make it or name another")
    with opened(store) as record:
        try:
            result = _learned(record, learning.read_priors(priors))
            if isinstance(result, learning.TooFew):
                raise fail(f"{result.reason} Nothing was written.")
            out.write_text(learning.priors_text(result), encoding="utf-8")
        except (ValueError, OSError) as error:
            raise fail(str(error)) from None
    for row in result.rows:
        pairs = "" if row.n_pairs is None else f" ({row.n_pairs} arterial pairs)"
        say(f"{row.key}: {row.before} -> {row.after}{pairs}")
    say(f"{result.n_people} people, {result.n_readings} readings; written to {out}. Read it before using it.")


def _learned(record: Store, table: learning.Priors) -> learning.Learned | learning.TooFew:
    with Progress(console=screen) as bar:
        tasks: dict[str, TaskID] = {}

        def tick(what: str, done: int, total: int) -> None:
            if what not in tasks:
                tasks[what] = bar.add_task(what, total=total)
            bar.update(tasks[what], completed=done, total=total)

        return learning.learn_from(record, today=now(), priors=table, progress=tick)
