"""The bytes of a record table as rows of text cells, with every way in which a file can be broken named."""

import csv
import io
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

MAX_TABLE_BYTES = 20_000_000
"""[bytes] largest table read."""

MAX_TABLE_ROWS = 200_000
"""Most rows of a table read."""

NOTE_SIGN = "#"
CELL_LIMIT = 131_072
"""[characters] longest cell."""

_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")


@dataclass(frozen=True, slots=True)
class CellProblem:
    """One thing wrong with a table: where, what was given, what is accepted, what to do.

    `row` counts as a spreadsheet does, the first line is 1; 0 is the file as a whole.
    """

    table: str
    row: int
    column: str
    given: str
    accepted: str
    advice: str
    is_sentence: bool = False
    """Whether `accepted` is a whole sentence, as the records' own checks give it."""

    def __str__(self) -> str:
        where = f"{self.table}, row {self.row}" if self.row else self.table
        column = f", column {self.column}" if self.column else ""
        given = f" {self.given!r} was given;" if self.given else ""
        accepted = self.accepted.rstrip(".") if self.is_sentence else f"accepted is {self.accepted}"
        return f"{where}{column}:{given} {accepted}; {self.advice}."


@dataclass(frozen=True, slots=True)
class TextTable:
    """A table as text: header, numbered rows, whether it carries the note of an export."""

    header: tuple[str, ...]
    header_row: int
    rows: tuple[tuple[int, list[str]], ...]
    has_note: bool


class BrokenTable(Exception):  # noqa: N818 - a fact about the file, told to its reader
    """The file as a whole cannot be read as a table."""

    def __init__(self, problem: CellProblem) -> None:
        super().__init__(str(problem))
        self.problem = problem


def _broken(table: str, row: int, given: str, accepted: str, advice: str, column: str = "") -> BrokenTable:
    shown = given if len(given) <= 120 else given[:117] + "..."  # noqa: PLR2004 - one line of a report
    return BrokenTable(CellProblem(table, row, column, shown, accepted, advice))


def no_rows(table: str) -> CellProblem:
    """Give the problem of a table without a single row."""
    accepted = "a header line and rows with at least one cell filled"
    return CellProblem(table, 0, "", "no rows", accepted, "leave the file out if there are none")


def read_bytes(path: Path, table: str) -> bytes:
    """Read a table's file, refusing one that is too large before opening it.

    Raises
    ------
    BrokenTable
        The file cannot be opened or is larger than `MAX_TABLE_BYTES`.
    """
    try:
        if path.stat().st_size > MAX_TABLE_BYTES:
            raise _too_large(table, path.stat().st_size)
        with path.open("rb") as file:
            return file.read(MAX_TABLE_BYTES + 1)
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise _broken(
            table, 0, reason, "a file that can be opened", "check the file and its permissions"
        ) from None


def _too_large(table: str, size: int) -> BrokenTable:
    return _broken(
        table, 0, f"{size} bytes", f"at most {MAX_TABLE_BYTES} bytes", "split the table into several files"
    )


def decode(content: bytes, table: str) -> str:
    """Give the text of a table: UTF-8, with or without a byte-order mark.

    Raises
    ------
    BrokenTable
        The file is empty, too large, UTF-16, or holds a byte that is no UTF-8; the line is named.
    """
    if len(content) > MAX_TABLE_BYTES:
        raise _too_large(table, len(content))
    if not content.strip(b"\xef\xbb\xbf \t\r\n"):
        raise _broken(table, 0, "no rows", "a header line and rows", "check that the right file was chosen")
    if content.startswith(_UTF16_MARKS) or content[:200].count(b"\x00") > len(content[:200]) // 4:
        raise _no_utf_8(content, table)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        column = error.start - content.rfind(b"\n", 0, error.start)
        given = f"byte 0x{content[error.start]:02X} at byte {column} of line {line}"
        raise _broken(
            table, line, given, "UTF-8 text", "save the file again as CSV UTF-8; it looks like Latin-1"
        ) from None


def _no_utf_8(content: bytes, table: str) -> BrokenTable:
    """UTF-16 has its zero bytes at even or at odd places only; a program or a picture has them anywhere."""
    start = content[:200]
    one_sided = min(start[::2].count(0), start[1::2].count(0)) == 0
    if content.startswith(_UTF16_MARKS) or one_sided:
        return _broken(table, 1, "UTF-16 text", "UTF-8 text", "save the file again as CSV UTF-8")
    return _broken(table, 1, "no text", "UTF-8 text", "check that the right file was chosen")


def text_table(content: bytes, table: str) -> TextTable:
    """Give the cells of a table, every row as wide as its header.

    Raises
    ------
    BrokenTable
        The text is no table with one header, commas between cells and rows of equal width.
    """
    text = decode(content, table)
    rows = _rows(text, table)
    has_note = rows[0][1][0].startswith(NOTE_SIGN) and not any(rows[0][1][1:])
    if has_note:
        rows = rows[1:]
    if not rows:
        raise _broken(table, 1, "no header", "a header line", "export a table to see its header")
    header_row, header = rows[0]
    _check_separator(header, header_row, table)
    if len(rows) == 1:
        raise _broken(
            table, header_row, "no rows", "rows below the header", "leave the file out if there are none"
        )
    _check_ends(text, table, rows[-1], len(header), has_note=has_note)
    return TextTable(tuple(header), header_row, tuple(rows[1:]), has_note)


def _rows(text: str, table: str) -> list[tuple[int, list[str]]]:
    """Numbered rows without the blank ones; stops at the row limit."""
    lines = csv.reader(io.StringIO(text, newline=""), strict=True)
    rows: list[tuple[int, list[str]]] = []
    try:
        for row, cells in enumerate(islice(lines, MAX_TABLE_ROWS + 3), start=1):
            if cells:
                rows.append((row, cells))
    except csv.Error as error:
        row = rows[-1][0] + 1 if rows else 1
        raise _broken(table, row, str(error), *_csv_advice(str(error))) from None
    if len(rows) > MAX_TABLE_ROWS + 1 + rows[0][1][0].startswith(NOTE_SIGN):
        raise _broken(
            table,
            0,
            f"more than {MAX_TABLE_ROWS} rows",
            f"at most {MAX_TABLE_ROWS}",
            "split the table into several files",
        )
    if not rows:
        raise _broken(table, 0, "no rows", "a header line and rows", "check that the right file was chosen")
    return rows


def _csv_advice(message: str) -> tuple[str, str]:
    if "end of data" in message:
        return (
            "quotes that are closed",
            "a quote opened in this row is never closed; the file may have been cut",
        )
    if "field larger" in message:
        return f"cells of at most {CELL_LIMIT} characters", "look for a quote that is never closed"
    return (
        "cells quoted as a whole",
        'put quotes around the whole cell and double those inside, as in "a ""b"""',
    )


def _check_separator(header: list[str], row: int, table: str) -> None:
    for sign, name in ((";", "semicolons"), ("\t", "tabs"), ("|", "bars")):
        if len(header) == 1 and sign in header[0]:
            looks = f"{name} between cells" + (", perhaps with decimal commas" if sign == ";" else "")
            raise _broken(
                table, row, looks, "commas between cells and decimal points",
                "save the file as CSV with commas; a comma is never read as a decimal point",
            )  # fmt: skip


def _check_ends(text: str, table: str, last: tuple[int, list[str]], width: int, *, has_note: bool) -> None:
    """Refuse a last line that was torn off: too short, or without the line end every export writes."""
    row, cells = last
    if not text.endswith(("\n", "\r")) and (has_note or len(cells) < width):
        given = f"{len(cells)} of {width} cells and no line end"
        raise _broken(table, row, given, "a whole last line", "the file was cut; export or copy it again")
