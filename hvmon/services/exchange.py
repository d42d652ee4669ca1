"""Import and export of the whole record as a folder of CSV tables."""

import uuid
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from hvmon.files.table_text import CellProblem
from hvmon.files.tables import LISTED_PROBLEMS, FolderReport, TableReport, read_folder, write_folder
from hvmon.records.base import PersonRecord
from hvmon.records.dossier import Dossier
from hvmon.records.held import Held
from hvmon.records.kinds import KIND_OF_MODEL, RECORD_KINDS
from hvmon.records.person import Identity, Person
from hvmon.rules.entry import EntryQuestion, questions
from hvmon.sources import source
from hvmon.store.comparing import Compared, Known
from hvmon.store.store import Counts, Store

Progress = Callable[[int], None]
SHOWN_QUESTIONS = 200
"""Unlikely values listed in a report; all are counted."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Unlikely values of one kind in the records of one person: the first of them, and how many."""

    table: str
    person_key: str
    when: str
    """What tells the first such record from the person's others, such as its moment."""
    question: EntryQuestion
    count: int

    def __str__(self) -> str:
        more = f" (and {self.count - 1} more like it)" if self.count > 1 else ""
        return f"{self.table}, person {self.person_key}, {self.when}: {self.question.words}{more}"


@dataclass(frozen=True, slots=True)
class ImportResult:
    """What an import found and did."""

    report: FolderReport
    differing: tuple[Compared, ...]
    """Records that are there already with other values: corrections, which want a reason."""
    asked: tuple[Asked, ...]
    counts: Counts | None
    dry_run: bool
    some_good: bool = False
    """Whether there are rows that could be stored without the rest."""

    @property
    def is_clean(self) -> bool:
        """Whether every row can be stored."""
        return self.report.is_clean and not self.differing

    @property
    def stored(self) -> bool:
        """Whether anything was handed to the store."""
        return self.counts is not None

    def lines(self) -> Iterator[str]:
        """Give the report row by row: refusals first, then what is asked about."""
        yield from (str(problem) for problem in self.report.all_problems)
        yield from (_differs(compared) for compared in self.differing)
        yield from (f"asked: {asked}" for asked in self.asked[:SHOWN_QUESTIONS])
        if len(self.asked) > SHOWN_QUESTIONS:
            yield f"asked: and {len(self.asked) - SHOWN_QUESTIONS} more kinds of unlikely values"

    def summary(self) -> str:
        """Give one sentence: what was read and what was stored."""
        if self.counts is not None:
            done = f"{self.counts.added} records added, {self.counts.already} were already there."
        elif self.dry_run:
            done = "Dry run: nothing was stored."
        else:
            others = ", or accept the good rows (--accept-good)" if self.some_good else ""
            done = f"Nothing was stored: correct what is named above{others}."
        unlikely = sum(asked.count for asked in self.asked)
        asked = f" {unlikely} unlikely values are asked about." if unlikely else ""
        differing = len(self.differing)
        others = f" Of the accepted, {differing} are there already with other values." if differing else ""
        return f"{self.report.summary}{others} {done}{asked}"


def import_tables(
    store: Store,
    folder: Path,
    *,
    actor: str,
    now: datetime,
    dry_run: bool = False,
    accept_good: bool = False,
    progress: Progress | None = None,
) -> ImportResult:
    """Import a folder of CSV tables in one transaction: everything, or nothing.

    With `accept_good` the good rows are stored although others were refused. Unlikely values are stored
    and asked about in the report.

    Raises
    ------
    StoreError
        Nothing was stored; a row that is there already with other values is named with its fields.
    """
    report = _without_strangers(read_folder(folder), store)
    records = report.records
    differing = _differing(store, records)
    found = ImportResult(report, differing, tuple(_asked(records, now)), None, dry_run)
    others = {id(compared.record) for compared in differing}
    doubles = _doubles(differing, store)
    good = [record for record in records if id(record) not in others and record.person_key not in doubles]
    found = replace(found, some_good=bool(good))
    if dry_run or not good or not (found.is_clean or accept_good):
        return found
    counts = store.save_many(good, actor=actor, request_id=uuid.uuid4().hex, now=now, progress=progress)
    return replace(found, counts=counts)


def _without_strangers(report: FolderReport, store: Store) -> FolderReport:
    """Refuse the rows of people who are neither in the folder nor in the store."""
    keys = {record.person_key for record in report.records}
    here = {record.person_key for record in report.records if isinstance(record, Person)}
    strangers = keys - here - store.known_people(keys - here)
    if not strangers:
        return report
    return replace(report, tables=tuple(_without(table, strangers) for table in report.tables))


def _without(table: TableReport, strangers: set[str]) -> TableReport:
    refused = [row for row in table.good if row.record.person_key in strangers]
    problems = [
        CellProblem(
            table.table, row.row, "person_key", row.record.person_key,
            "the key of a person in person.csv or in the store", "add the person's row, or correct the key",
        )
        for row in refused
    ]  # fmt: skip
    told = sorted([*table.problems, *problems], key=lambda problem: problem.row)[:LISTED_PROBLEMS]
    good = tuple(row for row in table.good if row.record.person_key not in strangers)
    return replace(table, good=good, problems=tuple(told), bad_rows=table.bad_rows + len(refused))


def _differing(store: Store, records: Sequence[PersonRecord]) -> tuple[Compared, ...]:
    if store.revision() == 0:
        return ()
    return tuple(each for each in store.compare(records) if each.known == Known.DIFFERENT)


def _doubles(differing: Sequence[Compared], store: Store) -> frozenset[str]:
    """Give new people whose identifier is another person's: nothing of theirs is stored."""
    keys = {compared.record.person_key for compared in differing if isinstance(compared.record, Identity)}
    return frozenset(keys - store.known_people(keys))


def _differs(compared: Compared) -> str:
    record = compared.record
    key = ", ".join(f"{name} {getattr(record, name)}" for name in record.natural_key)
    fields = ", ".join(compared.fields)
    return (
        f"{KIND_OF_MODEL[type(record)].table}: {key}: is there already with another {fields}; "
        "accepted: the same values, or a correction with its reason on the page Correct"
    )


def _asked(records: Sequence[PersonRecord], now: datetime) -> Iterator[Asked]:
    found: dict[tuple[str, str, str, str], list[tuple[str, EntryQuestion]]] = {}
    for record in records:
        table = KIND_OF_MODEL[type(record)].table
        for question in questions(record, None, now=now):
            kind = (table, record.person_key, question.check_id, question.field)
            found.setdefault(kind, []).append((_told_apart(record), question))
    for (table, person_key, _, _), asked in found.items():
        yield Asked(table, person_key, *asked[0], len(asked))


def _told_apart(record: PersonRecord) -> str:
    names = [name for name in record.natural_key if name != "person_key"]
    return ", ".join(f"{name} {getattr(record, name)}" for name in names)


def export_tables(store: Store, folder: Path, *, history: bool = False) -> int:
    """Write every record in force as CSV tables into a folder; give the number of rows.

    With `history` the tables hold the first version of each record, and a folder `corrected-YYYY-MM-DD`
    for each day holds the versions that replaced them, as a replay reads them.

    The folder holds names and dates of birth; whoever exports keeps it safe.
    """
    places: dict[Path, dict[str, list[PersonRecord]]] = {folder: {}}
    for dossier in store.dossiers():
        for held in _held_of(dossier):
            for version, place in _versions(store, held, folder, history=history):
                tables = places.setdefault(place, {})
                tables.setdefault(KIND_OF_MODEL[type(version)].table, []).append(version)
        for record in (dossier.identity, dossier.person):
            if record is not None:
                places[folder].setdefault(KIND_OF_MODEL[type(record)].table, []).append(record)
    for place, tables in places.items():
        write_folder(place, tables)
    return sum(len(records) for tables in places.values() for records in tables.values())


def _versions(
    store: Store, held: Held[Any], folder: Path, *, history: bool
) -> Iterator[tuple[PersonRecord, Path]]:
    if not history or held.version == 1:
        yield held.record, folder
        return
    first, *later = store.history(held.record_id)
    yield first.record, folder
    for each in later:
        yield each.record, folder / f"corrected-{each.recorded_at.date().isoformat()}"


def _held_of(dossier: Dossier) -> Iterator[Held[Any]]:
    for kind in RECORD_KINDS:
        part = getattr(dossier, kind.table)
        if isinstance(part, tuple):
            yield from part


def source_words(key: str) -> str:
    """Give a work of the bibliography in one line.

    Raises
    ------
    KeyError
        No such key.
    """
    work = source(key)
    head = f"{work.key}: {work.authors} ({work.year or 'no year'}). {work.title}. {work.place}."
    return f"{head} Read: {work.seen}. {work.mark.value}."
