"""Replay a record day by day: when each finding and trend flag was raised, cleared and raised again."""

import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime, time
from functools import partial
from pathlib import Path
from typing import Any

import polars as pl

from hvmon.files.tables import FolderReport, read_folder
from hvmon.files.turning_points import read_turning_points
from hvmon.records.base import PersonRecord
from hvmon.records.dossier import DATED_BY, Dossier, dated
from hvmon.records.held import Held
from hvmon.records.kinds import KIND_OF_MODEL
from hvmon.records.person import Identity, Person
from hvmon.rules.judge import findings
from hvmon.services.packs_in_use import Edits, pack_in_use, priors_in_use
from hvmon.stats.priors import Priors
from hvmon.stats.replay import PersonReplay, ReplayOptions, Status, events_frame, replay_person
from hvmon.stats.replay_scores import FlagScore, score_flags
from hvmon.stats.second_opinions import THRESHOLD, Method
from hvmon.vocabulary import Answer, RecordStatus

__all__ = ["FlagScore", "PersonReplay", "ReplayOptions", "replay_folder", "write_replays"]

CORRECTED = re.compile(r"corrected-(\d{4}-\d{2}-\d{2})")
"""Name of a folder whose tables were corrected on that day."""


class BadFolder(ValueError):  # noqa: N818 - reads as a sentence where it is caught
    """The folder's tables cannot be replayed; the message lists why, row by row."""


def versions_of_folder(folder: Path) -> dict[str, tuple[Person, list[Held[Any]]]]:
    """Read a folder of tables as versions: each record is known from the moment it was measured on.

    Folders named `corrected-YYYY-MM-DD` inside hold the rows corrected on that day; a row with the same
    natural key as an earlier one replaces it from then on.

    Raises
    ------
    BadFolder
        A row was refused, or a person is missing.
    """
    records = [(record, _known(record)) for record in _clean(read_folder(folder)).records]
    for inner in sorted(folder.iterdir()):
        named = CORRECTED.fullmatch(inner.name) if inner.is_dir() else None
        if named:
            noon = datetime.combine(date.fromisoformat(named.group(1)), time(12), UTC)
            records += [(record, noon) for record in _clean(read_folder(inner)).records]
    return _by_person(records)


def _clean(report: FolderReport) -> FolderReport:
    if report.is_clean:
        return report
    listed = "\n".join(str(problem) for problem in report.all_problems[:20])
    raise BadFolder(f"{listed}\n{report.summary} Nothing was replayed: correct the rows above.")


def _known(record: PersonRecord) -> datetime:
    has_date = type(record).__name__ in DATED_BY
    return dated(record) if has_date else datetime(1900, 1, 1, tzinfo=UTC)


def _key_of(record: PersonRecord) -> str:
    values = [str(getattr(record, field)) for field in record.natural_key if field != "person_key"]
    return "|".join((KIND_OF_MODEL[type(record)].table, *values))


def _by_person(records: Sequence[tuple[PersonRecord, datetime]]) -> dict[str, tuple[Person, list[Held[Any]]]]:
    people = {record.person_key: record for record, _ in records if isinstance(record, Person)}
    versions: dict[str, list[Held[Any]]] = {key: [] for key in people}
    seen: dict[tuple[str, str], int] = {}
    for seq, (record, known) in enumerate(records, 1):
        if isinstance(record, Person | Identity):
            continue
        if record.person_key not in versions:
            raise BadFolder(
                f"person_key {record.person_key!r} has records but stands not in person.csv; add the row"
            )
        key = _key_of(record)
        version = seen[record.person_key, key] = seen.get((record.person_key, key), 0) + 1
        status = RecordStatus.FINAL if version == 1 else RecordStatus.CORRECTED
        versions[record.person_key].append(Held(key, version, status, seq, known, "", "", record))
    return {key: (person, versions[key]) for key, person in people.items()}


def options_of(
    *,
    limits_kpa: tuple[float, ...],
    watch: float,
    likely: float,
    every_days: int,
    thresholds: Sequence[str],
) -> ReplayOptions:
    """Give the options of a replay from what a command line was given.

    Raises
    ------
    ValueError
        A threshold is not NAME=VALUE, names no method, or a chance is not between 0 and 1.
    """
    chosen = dict(THRESHOLD)
    for text in thresholds:
        name, _, number = text.partition("=")
        try:
            chosen[Method(name.strip())] = float(number)
        except ValueError:
            accepted = ", ".join(method.value for method in Method)
            raise ValueError(
                f"--threshold {text!r}: accepted is NAME=VALUE with NAME one of {accepted}"
            ) from None
    return ReplayOptions(limits_kpa, watch, likely, every_days=every_days, thresholds=chosen)


def rule_watcher(dossier: Dossier, moment: datetime, edits: Edits | None = None) -> Mapping[str, Status]:
    """Give the standing of every rule finding of one day; the chance of a trend flag is watched apart."""
    day = moment.date()
    pack = pack_in_use(dossier, today=day, edits=edits)
    return {
        f"finding: {finding.rule_id}": Status(1.0, 1.0, tuple(basis.record_id for basis in finding.basis))
        for finding in findings(dossier, today=day, pack=pack)
        if finding.answer == Answer.MET and finding.raised
    }


def replay_folder(
    folder: Path,
    *,
    until: datetime | None,
    options: ReplayOptions,
    priors: Priors | None = None,
    edits: Edits | None = None,
) -> Iterator[tuple[int, int, PersonReplay | None]]:
    """Replay every person of a folder of tables; gives (done, of how many, replay).

    Parameters
    ----------
    folder : Path
        Tables as export writes them.
    until : datetime, optional
        Last moment looked at; None takes the newest record.
    options : ReplayOptions
        Thresholds and how often to look.
    priors : Priors, optional
        The model's priors; None takes those of `edits`, else the table hvmon ships with.
    edits : mapping, optional
        The service's edits of the rules, as they are today: which limits would have been met.

    Raises
    ------
    BadFolder
        The tables cannot be read.
    """
    table, watcher = priors or priors_in_use(edits), partial(rule_watcher, edits=edits)
    people = versions_of_folder(folder)
    newest = max((held.recorded_at for _, versions in people.values() for held in versions), default=None)
    end = until or newest
    for done, (person, versions) in enumerate(people.values(), 1):
        made = None
        if end is not None and versions:
            made = replay_person(person, versions, until=end, options=options, priors=table, watcher=watcher)
        yield done, len(people), made


def write_replays(
    replays: Sequence[PersonReplay], out: Path, turning_points: Path | None
) -> tuple[FlagScore, ...]:
    """Write the events, and beside them the score of every flag when turning points are known.

    Raises
    ------
    BadTurningPoints
        The file cannot be read; the message names the row.
    """
    scores: tuple[FlagScore, ...] = ()
    if turning_points is not None:
        scores = score_flags(replays, read_turning_points(turning_points))
        rows = [
            {name: getattr(score, name) for name in FlagScore.__dataclass_fields__ if name != "delays_days"}
            for score in scores
        ]
        pl.DataFrame(rows).write_csv(out.with_name(f"{out.stem}_scores.csv"))
    events_frame(replays).write_csv(out)
    return scores
