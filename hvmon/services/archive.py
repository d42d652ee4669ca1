"""Score an archive of stored nights again: only what is missing, on one machine or on an existing cluster.

A night has a result when there is a row of its hash, the convention and the version of the scoring. What is
missing is a set difference, so a run that was stopped goes on where it stopped, and a run with nothing to do
does nothing. Rows are stored chunk by chunk; memory does not grow with the archive.
"""

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, fields
from functools import cache
from importlib import import_module
from itertools import islice
from multiprocessing import get_context
from pathlib import Path
from types import UnionType
from typing import Any, Final, cast, get_args, get_type_hints

import polars as pl

from hvmon.nights.conventions import CODE_VERSION, ConventionKey
from hvmon.nights.definitions import DEFINITIONS
from hvmon.nights.results import NightScore, ScoreC1, ScoreM1, TcScore
from hvmon.nights.score import NOTHING_KNOWN, EngineName, fastest_engine, score_night
from hvmon.store.nights import DamagedNight, NightFiles, UnknownNight

CHUNK_NIGHTS: Final = 200
"""Nights a task; small tasks cost more in handing over than in scoring."""

LEAST_CHUNK_NIGHTS: Final = 25
"""The last tasks of several workers shrink to this, so that none of them waits long for the others."""

CLUSTER_CHUNK_NIGHTS: Final = 50
ALL_CONVENTIONS: Final = tuple(ConventionKey)
RECORDS: Final[dict[ConventionKey, type]] = {
    ConventionKey.C1: ScoreC1,
    ConventionKey.M1: ScoreM1,
    ConventionKey.T1: TcScore,
}
Progress = Callable[[int, int], None]
Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Rescored:
    """What a run did."""

    scored: int
    already: int
    damaged: tuple[str, ...]
    """Hashes of nights whose file does not match its hash: excluded, no row."""


@dataclass(frozen=True, slots=True)
class Chunk:
    """Rows of one task by convention, and the damaged nights it met."""

    rows: dict[ConventionKey, list[Row]]
    damaged: list[str]
    nights: int


@dataclass(frozen=True, slots=True)
class Task:
    """A task for a worker: plain values only."""

    root: str
    keys: tuple[str, ...]
    conventions: tuple[ConventionKey, ...]
    engine_name: EngineName


def rescore(
    files: NightFiles,
    *,
    conventions: Sequence[ConventionKey] = ALL_CONVENTIONS,
    workers: int = 1,
    scheduler: str | None = None,
    engine_name: EngineName | None = None,
    progress: Progress | None = None,
) -> Rescored:
    """Score every stored night that has no result yet of these conventions and the present version.

    Only what the file of a night says is used; results that need a stated awake value or a paired gas are
    "not assessable" here and belong to the person's page.

    Parameters
    ----------
    workers : int
        Processes on this machine, this one included.
    scheduler : str or None
        Address of a running dask scheduler whose workers see the same folder; needs the extra ``cluster``.
    engine_name : "numpy", "compiled" or None
        None takes the compiled loops when they are installed. The results are equal to the bit.
    progress : callable or None
        Called with the nights done and the nights to do, after each task.

    Raises
    ------
    ValueError
        Fewer than one worker.
    ModuleNotFoundError
        An extra that was asked for is not installed.
    """
    if workers < 1:
        raise ValueError(f"workers: {workers} was given; 1 or more are accepted")
    stored = files.keys()
    missing = missing_keys(files, stored, conventions)
    engine = engine_name or fastest_engine()
    shares = _shares(missing, workers, scheduler)
    tasks = [Task(str(files.root), share, tuple(conventions), engine) for share in shares]
    done, damaged = 0, []
    for chunk in _run(tasks, workers, scheduler):
        _store(files, chunk)
        done += chunk.nights
        damaged += chunk.damaged
        if progress is not None:
            progress(done, len(missing))
    return Rescored(done - len(damaged), len(stored) - len(missing), tuple(sorted(damaged)))


def missing_keys(files: NightFiles, stored: Iterable[str], conventions: Sequence[ConventionKey]) -> list[str]:
    """Hashes of the stored nights that lack a result of any of the conventions, sorted."""
    scored = [files.scored(convention, CODE_VERSION) for convention in conventions]
    complete = set.intersection(*scored) if scored else set()
    return sorted(set(stored) - complete)


def results(files: NightFiles, convention: ConventionKey) -> pl.DataFrame:
    """Give the stored results of a convention in the present version, one row a night, by hash."""
    return files.results(convention, CODE_VERSION).sort("signal_sha256")


def score_task(task: Task) -> Chunk:
    """Score the nights of one task; runs in a worker."""
    files = NightFiles(Path(task.root))
    rows: dict[ConventionKey, list[Row]] = {convention: [] for convention in task.conventions}
    damaged: list[str] = []
    for key in task.keys:
        try:
            night = files.load(key)
        except (DamagedNight, UnknownNight):
            damaged.append(key)
            continue
        score = score_night(night, NOTHING_KNOWN, engine_name=task.engine_name, with_dips=False)
        for convention in task.conventions:
            rows[convention].append(_row(key, convention, score))
    return Chunk(rows, damaged, len(task.keys))


def _shares(missing: list[str], workers: int, scheduler: str | None) -> Iterator[tuple[str, ...]]:
    """Cut the nights into tasks: of one size, or smaller towards the end when processes share them."""
    start = 0
    while start < len(missing):
        size = CLUSTER_CHUNK_NIGHTS if scheduler else CHUNK_NIGHTS
        if workers > 1 and not scheduler:
            size = min(size, max((len(missing) - start) // (4 * workers), LEAST_CHUNK_NIGHTS))
        yield tuple(missing[start : start + size])
        start += size


def _run(tasks: list[Task], workers: int, scheduler: str | None) -> Iterator[Chunk]:
    """Run the tasks where they were asked for; chunks come in any order."""
    if scheduler is not None:
        return _on_cluster(tasks, scheduler)
    if workers == 1 or len(tasks) <= 1:
        return map(score_task, tasks)
    return _in_processes(tasks, workers)


def _in_processes(tasks: list[Task], workers: int) -> Iterator[Chunk]:
    """Run in fresh processes, two tasks each under way, and between handing out in this one as well.

    A fresh process needs a second to load what it scores with; this one is ready and does not idle meanwhile.
    """
    waiting = iter(tasks)
    with ProcessPoolExecutor(workers - 1, mp_context=get_context("spawn")) as pool:
        running: set[Future[Chunk]] = set()
        while True:
            free = 2 * (workers - 1) - len(running)
            running |= {pool.submit(score_task, task) for task in islice(waiting, free)}
            own = next(waiting, None)
            if own is not None:
                yield score_task(own)
            elif not running:
                return
            done, running = wait(running, 0.0 if own is not None else None, FIRST_COMPLETED)
            for future in done:
                yield future.result()


def _on_cluster(tasks: list[Task], scheduler: str) -> Iterator[Chunk]:
    """Run on a dask scheduler that is there already."""
    try:
        distributed: Any = import_module("distributed")
    except ModuleNotFoundError as error:
        raise ModuleNotFoundError("a cluster needs dask: pip install 'hvmon[cluster]'") from error
    with distributed.Client(scheduler) as client:
        for future in distributed.as_completed(client.map(score_task, tasks, pure=False)):
            yield cast("Chunk", future.result())
            future.release()


def _store(files: NightFiles, chunk: Chunk) -> None:
    """Store the rows of a chunk, one part a convention."""
    for convention, rows in chunk.rows.items():
        if rows:
            files.save_results(convention, pl.DataFrame(rows, schema=schema(convention), orient="row"))


def _row(key: str, convention: ConventionKey, score: NightScore) -> Row:
    """Give the row of one night; a night without CO2 has a T1 row that says so."""
    record = {ConventionKey.C1: score.c1, ConventionKey.M1: score.m1, ConventionKey.T1: score.tc_raw}[
        convention
    ]
    head = (key, str(convention), CODE_VERSION)
    if record is None:
        reasons = json.dumps({"tc_median": "the recording has no transcutaneous CO2"})
        return (*head, *(None for _ in _names(convention)), *(None for _ in _answers(convention)), reasons)
    values = (_plain(getattr(record, name)) for name in _names(convention))
    answers: tuple[str, ...] = ()
    if isinstance(record, TcScore):
        answers = tuple(str(each.answer) for each in record.definitions)
    return (*head, *values, *answers, json.dumps(dict(record.reasons)))


def _plain(value: object) -> object:
    """Words as text, everything else as it is."""
    return str(value) if isinstance(value, str) else value


_LEFT_OUT = {"convention", "code_version", "reasons", "definitions"}


@cache
def _names(convention: ConventionKey) -> tuple[str, ...]:
    """Field names of a record that become columns."""
    return tuple(field.name for field in fields(RECORDS[convention]) if field.name not in _LEFT_OUT)


def _answers(convention: ConventionKey) -> tuple[str, ...]:
    """Columns of the definitions, one a definition."""
    return tuple(f"answer_{each.key}" for each in DEFINITIONS) if convention == ConventionKey.T1 else ()


def schema(convention: ConventionKey) -> dict[str, Any]:
    """Give the columns of the results of a convention with their types."""
    hints = get_type_hints(RECORDS[convention])
    return (
        dict.fromkeys(("signal_sha256", "convention", "code_version"), pl.String)
        | {name: _type(hints[name]) for name in _names(convention)}
        | dict.fromkeys((*_answers(convention), "reasons"), pl.String)
    )


def _type(hint: Any) -> Any:  # noqa: ANN401 - a type hint has no narrower type
    """Give the polars type of a field; None is a null of it."""
    plain = (
        next(each for each in get_args(hint) if each is not type(None))
        if isinstance(hint, UnionType)
        else hint
    )
    if issubclass(plain, str):
        return pl.String
    return {int: pl.Int64, float: pl.Float64}[plain]
