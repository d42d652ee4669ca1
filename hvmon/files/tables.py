"""Record tables as CSV: one file a record type, our own column names, written and read back row by row.

Reading stores nothing. It gives the good records and, for every row that is not accepted, the row,
the column, what was given, what is accepted and what to do; whether all or nothing is stored is
decided elsewhere. The format is described in docs/files.md.
"""

import csv
import io
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import ValidationError

from hvmon.files.cells import RefusedCell, cell_text, reader
from hvmon.files.table_text import (
    NOTE_SIGN,
    BrokenTable,
    CellProblem,
    TextTable,
    no_rows,
    read_bytes,
    text_table,
)
from hvmon.records.base import PersonRecord
from hvmon.records.door import problems
from hvmon.records.flat import columns, flatten, unflatten
from hvmon.records.kinds import KIND_OF_TABLE, RECORD_KINDS, RecordKind

LONGEST_GIVEN = 120
LISTED_PROBLEMS = 1_000
"""Most problems listed one by one for a table; the rest are counted."""

NOTE = (
    "hvmon table {table} version 1: texts that begin with = + - @ ' or a control character carry a leading "
    "apostrophe against formulas; it is taken off on import"
)


@dataclass(frozen=True, slots=True)
class ReadRow:
    """A record that was read, and the row it stood in."""

    row: int
    record: PersonRecord


@dataclass(frozen=True, slots=True)
class TableReport:
    """What one table held: records and problems, row by row."""

    table: str
    rows_in_file: int
    good: tuple[ReadRow, ...]
    problems: tuple[CellProblem, ...]
    bad_rows: int
    """Rows that hold at least one problem; 0 with problems means the file as a whole is broken."""
    repeated_rows: tuple[int, ...] = ()
    """Rows equal to an earlier row in every cell; they add nothing."""

    @property
    def is_broken(self) -> bool:
        """Whether the file was refused as a whole, so that none of its rows was read."""
        return bool(self.problems) and not (self.good or self.bad_rows)

    @property
    def problems_not_listed(self) -> bool:
        """Whether there are more problems than the list holds."""
        return len(self.problems) >= LISTED_PROBLEMS


@dataclass(frozen=True, slots=True)
class FolderReport:
    """What a folder of tables held."""

    tables: tuple[TableReport, ...]
    problems: tuple[CellProblem, ...]
    """Problems of the folder itself: no table in it, a file that is no table."""

    @property
    def is_clean(self) -> bool:
        """Whether nothing at all was refused."""
        return not self.all_problems

    @property
    def all_problems(self) -> tuple[CellProblem, ...]:
        """Problems of the folder, then of each table in order of rows."""
        return self.problems + tuple(problem for table in self.tables for problem in table.problems)

    @property
    def records(self) -> tuple[PersonRecord, ...]:
        """All good records, people first, in the order of the record types."""
        return tuple(row.record for table in self.tables for row in table.good)

    @property
    def summary(self) -> str:
        """One sentence: rows read, rows good, rows refused."""
        read = sum(table.rows_in_file for table in self.tables)
        good = sum(len(table.good) for table in self.tables)
        bad = sum(table.bad_rows for table in self.tables)
        repeated = sum(len(table.repeated_rows) for table in self.tables)
        twice = f", {repeated} repeated" if repeated else ""
        broken = [table.table for table in self.tables if table.is_broken]
        whole = f" Refused as a whole: {', '.join(broken)}." if broken else ""
        return f"{len(self.tables)} tables, {read} rows: {good} accepted, {bad} refused{twice}.{whole}"


def table_text(kind: RecordKind, records: Iterable[PersonRecord], *, note: bool = True) -> str:
    """Give the CSV text of records of one type."""
    described = columns(kind.model)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    if note:
        writer.writerow([f"{NOTE_SIGN} {NOTE.format(table=kind.table)}"])
    writer.writerow([column.name for column in described])
    for record in records:
        flat = flatten(record)
        zone = flat.get("zone")
        writer.writerow([cell_text(column, flat.get(column.name), zone) for column in described])
    return out.getvalue()


def write_folder(folder: Path, records: Mapping[str, Iterable[PersonRecord]]) -> tuple[Path, ...]:
    """Write one CSV for each table name with records; gives the files written.

    Raises
    ------
    KeyError
        A table name that is no record type.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for table, rows in records.items():
        path = folder / f"{table}.csv"
        path.write_bytes(table_text(KIND_OF_TABLE[table], rows).encode())
        written.append(path)
    return tuple(written)


def read_folder(folder: Path) -> FolderReport:
    """Read every table of a folder; people first, then in the order of the record types.

    A file that is no known table is a problem, never passed over. Nothing is stored.
    """
    if not folder.is_dir():
        return FolderReport((), (_folder_problem(str(folder), "a folder", "check the path"),))
    found = {path.stem: path for path in sorted(folder.iterdir()) if path.suffix.lower() == ".csv"}
    accepted = ", ".join(f"{kind.table}.csv" for kind in RECORD_KINDS)
    wrong = [
        _folder_problem(path.name, f"tables named {accepted}", "rename the file or take it out of the folder")
        for stem, path in found.items()
        if stem not in KIND_OF_TABLE
    ]
    if not found:
        wrong.append(_folder_problem("no CSV file", f"tables named {accepted}", "check the folder"))
    tables = tuple(read_table(found[kind.table], kind) for kind in RECORD_KINDS if kind.table in found)
    return FolderReport(tables, tuple(wrong))


def _folder_problem(given: str, accepted: str, advice: str) -> CellProblem:
    return CellProblem("folder", 0, "", given, accepted, advice)


def read_table(path: Path, kind: RecordKind) -> TableReport:
    """Read the table of one record type from a file."""
    try:
        content = read_bytes(path, kind.table)
    except BrokenTable as broken:
        return TableReport(kind.table, 0, (), (broken.problem,), 0)
    return read_table_bytes(content, kind)


def read_table_bytes(content: bytes, kind: RecordKind) -> TableReport:
    """Read the table of one record type from bytes, as a browser hands them over."""
    try:
        table = text_table(content, kind.table)
    except BrokenTable as broken:
        return TableReport(kind.table, 0, (), (broken.problem,), 0)
    header_problems = _header_problems(table, kind)
    if header_problems:
        return TableReport(kind.table, len(table.rows), (), header_problems, 0)
    return _RowReader(table, kind).report()


def _header_problems(table: TextTable, kind: RecordKind) -> tuple[CellProblem, ...]:
    """Unknown, repeated, nameless and missing columns."""
    described = {column.name: column for column in columns(kind.model)}
    accepted = ", ".join(described)
    names = [name.strip() for name in table.header]
    found = []
    for position, name in enumerate(names, start=1):
        if not name:
            found.append(
                (
                    "(no name)",
                    f"column {position} without a name",
                    "a name for every column",
                    "name it or delete it",
                )
            )
        elif name not in described:
            found.append(
                (name, name, f"columns of this table: {accepted}", "correct the name or delete the column")
            )
        elif name in names[: position - 1]:
            found.append((name, f"{name} twice", "each column once", "delete one of the two"))
    found += [
        (
            name,
            "no such column",
            "this column, which is required",
            "add it; 'not recorded' is a value where it is allowed",
        )
        for name, column in described.items()
        if column.required and name not in names
    ]
    return tuple(CellProblem(kind.table, table.header_row, *parts) for parts in found)


class _RowReader:
    """Reads the rows of one table with a known header."""

    def __init__(self, table: TextTable, kind: RecordKind) -> None:
        self.table, self.kind = table, kind
        described = {column.name: column for column in columns(kind.model)}
        self.columns = [described[name.strip()] for name in table.header]
        self.readers = [_remembering(reader(column, guarded=table.has_note)) for column in self.columns]
        self.good: list[ReadRow] = []
        self.problems: list[CellProblem] = []
        self.bad: set[int] = set()
        self.repeated: list[int] = []
        self.seen: dict[tuple[Any, ...], tuple[int, PersonRecord]] = {}

    def report(self) -> TableReport:
        rows_read = 0
        for row, cells in self.table.rows:
            if any(cells):
                rows_read += 1
                self._read(row, cells)
        if not rows_read:
            self.problems.append(no_rows(self.kind.table))
        listed = tuple(self.problems)
        return TableReport(
            self.kind.table, rows_read, tuple(self.good), listed, len(self.bad), tuple(self.repeated)
        )

    def _note(
        self, row: int, column: str, given: str, accepted: str, advice: str, *, is_sentence: bool = False
    ) -> None:
        self.bad.add(row)
        if len(self.problems) < LISTED_PROBLEMS:
            shown = given if len(given) <= LONGEST_GIVEN else given[: LONGEST_GIVEN - 3] + "..."
            problem = CellProblem(self.kind.table, row, column, shown, accepted, advice, is_sentence)
            self.problems.append(problem)

    def _read(self, row: int, cells: list[str]) -> None:
        if len(cells) != len(self.columns):
            given, accepted = f"{len(cells)} cells", f"{len(self.columns)} cells, as in the header"
            self._note(row, "", given, accepted, "look for a comma inside a cell that has no quotes")
            return
        flat = self._flat(row, cells)
        self._compare_clocks(row, flat)
        record = self._record(row, flat) if row not in self.bad else None
        if record is not None:
            self._keep(row, record)

    def _flat(self, row: int, cells: list[str]) -> dict[str, Any]:
        flat: dict[str, Any] = {}
        for column, read, text in zip(self.columns, self.readers, cells, strict=True):
            if not text:
                continue
            try:
                flat[column.name] = read(text)
            except RefusedCell as refused:
                self._note(row, column.name, text, refused.accepted, refused.advice)
        return flat

    def _compare_clocks(self, row: int, flat: dict[str, Any]) -> None:
        """Refuse an offset that the clock of the row's own zone never showed at that moment; UTC is free."""
        zone = _zone_of(flat.get("zone"))
        moments = {name: value for name, value in flat.items() if zone and isinstance(value, datetime)}
        for name, moment in moments.items():
            there = moment.astimezone(zone)
            if moment.utcoffset() not in {timedelta(0), there.utcoffset()}:
                accepted = f"the offset of {zone} then, {there.isoformat()[-6:]}, or Z for UTC"
                advice = "check the offset, the time and the zone"
                self._note(row, name, moment.isoformat(), accepted, advice)

    def _record(self, row: int, flat: dict[str, Any]) -> PersonRecord | None:
        try:
            return unflatten(self.kind.model, flat)
        except ValidationError as error:
            for problem in problems(error, self.kind.model):
                given = problem.given.removeprefix("'").removesuffix("'")
                advice = "correct the cell against the original"
                self._note(row, problem.field, given, problem.accepted, advice, is_sentence=True)
        return None

    def _keep(self, row: int, record: PersonRecord) -> None:
        """Keep a record unless an earlier row holds the same reading."""
        key = tuple(getattr(record, name) for name in self.kind.model.natural_key)
        earlier_row, earlier = self.seen.setdefault(key, (row, record))
        if earlier is record:
            self.good.append(ReadRow(row, record))
        elif earlier == record:
            self.repeated.append(row)
        else:
            names = ", ".join(self.kind.model.natural_key)
            self._note(
                row, names, f"the same as row {earlier_row}", "each reading once",
                "the two rows give the same reading unlike values; keep the right one",
            )  # fmt: skip


def _zone_of(name: Any) -> ZoneInfo | None:  # noqa: ANN401 - any flat value
    """Give the zone a row names; None where there is none, which the record's own check tells."""
    try:
        return ZoneInfo(name) if isinstance(name, str) else None
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None


def _remembering(read: Callable[[str], Any]) -> Callable[[str], Any]:
    """Remember the values of texts seen before; tables repeat words, zones and names row after row."""
    known: dict[str, Any] = {}

    def remembered(text: str) -> Any:  # noqa: ANN401 - any flat value
        if text in known:
            return known[text]
        value = read(text)
        if len(known) < 5_000:  # noqa: PLR2004 - bounds the memory
            known[text] = value
        return value

    return remembered
