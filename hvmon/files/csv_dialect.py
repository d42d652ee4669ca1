"""The dialect of a night's CSV: encoding, separator, where the header stands, cells as columns of text."""

import csv
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import islice

import numpy as np
import polars as pl
from numpy.typing import NDArray

from hvmon.files.night_channels import UNITS
from hvmon.files.understood import UnreadableNight

SEPARATORS = (";", "\t", ",", "|")
NAMES = {";": "semicolon", "\t": "tab", ",": "comma", "|": "bar"}
MAX_ROWS = 400_000
MAX_COLUMNS = 100
MAX_CELLS = 4_000_000
LINES_BEFORE_HEADER = 60
CHUNK_ROWS = 20_000
_MARKS = ((b"\xef\xbb\xbf", "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16"))
_VALUE = re.compile(r"[0-9]", re.ASCII)
_DATA_CELL = re.compile(r"\s*[+-]?\d[\d.,:/\- T]*\s*")


@dataclass(frozen=True, slots=True)
class Sheet:
    """The cells of a file as columns of text, and how the file was written."""

    names: tuple[str, ...]
    columns: tuple[pl.Series, ...]
    rows: NDArray[np.int64]
    """Line number in the file of each row of data; blank lines are no rows."""
    has_header: bool
    separator: str
    encoding: str
    preamble: tuple[str, ...]
    units: tuple[str, ...] = ()
    """Units of the columns where a line of them stands below the header, else nothing."""


def decode(content: bytes) -> tuple[str, str]:
    """Give text and encoding: UTF-8, UTF-16, or Windows-1252 where neither fits.

    Raises
    ------
    UnreadableNight
        The bytes are no text in any of these.
    """
    encoding = next((name for mark, name in _MARKS if content.startswith(mark)), None)
    encoding = encoding or _without_mark(content)
    try:
        return content.decode(encoding), encoding
    except UnicodeDecodeError as error:
        if encoding != "utf-8":
            raise UnreadableNight(
                f"The file is no {encoding} text: byte {error.start + 1} does not fit. Save it again as "
                "CSV UTF-8."
            ) from None
    if b"\x00" in content:
        raise UnreadableNight("The file holds binary data and is no CSV text; choose an EDF or CSV file.")
    return content.decode("cp1252", "replace"), "Windows-1252"


def _without_mark(content: bytes) -> str:
    head = content[:2000]
    if head[1::2].count(0) > len(head) // 4:
        return "utf-16-le"
    return "utf-16-be" if head[::2].count(0) > len(head) // 4 else "utf-8"


def read_sheet(content: bytes, is_header: Callable[[list[str]], bool]) -> Sheet:
    """Read the cells of a CSV file.

    `is_header` says whether cells look like the header of a night.

    Raises
    ------
    UnreadableNight
        The file has no table, too many rows or columns, or rows of unequal width; the row is named.
    """
    text, encoding = decode(content)
    lines = _lines(text)
    separator, at, has_header = _find_table(lines, is_header)
    header = _cells(lines[at], separator)
    if not 2 <= len(header) <= MAX_COLUMNS:  # noqa: PLR2004 - a time and a value
        raise UnreadableNight(f"Row {at + 1} has {len(header)} columns; accepted are 2 to {MAX_COLUMNS}.")
    if len(header) * len(lines) > MAX_CELLS:
        raise UnreadableNight(
            f"The file has {len(lines)} rows of {len(header)} columns; accepted are {MAX_CELLS} cells. "
            "Export the columns of the night alone."
        )
    first = at + 1 if has_header else at
    columns = _columns(lines[first:], separator, len(header), first + 1)
    names = tuple(cell.strip() for cell in header) if has_header else ()
    names = tuple(name or f"column {k}" for k, name in enumerate(names or [""] * len(header), start=1))
    blank = pl.Series("blank", [True]).new_from_index(0, len(columns[0]))
    for column in columns:
        blank &= column.is_null() | (column.str.strip_chars().str.len_bytes() == 0)
    rows = first + 1 + np.flatnonzero(~blank.to_numpy())
    columns = tuple(column.filter(~blank) for column in columns)
    sheet = Sheet(names, columns, rows, has_header, separator, encoding, tuple(lines[:at]))
    return _units_below(sheet) if has_header else sheet


def _units_below(sheet: Sheet) -> Sheet:
    """Take a line of units below the header out of the data."""
    if not len(sheet.rows):
        return sheet
    cells = tuple((column[0] or "").strip().strip("[]()") for column in sheet.columns)
    known = [cell.lower().replace(" ", "") in UNITS for cell in cells]
    if not any(known) or any(
        not is_known and _VALUE.search(cell) for is_known, cell in zip(known, cells, strict=True)
    ):
        return sheet
    units = tuple(cell if is_known else "" for is_known, cell in zip(known, cells, strict=True))
    columns = tuple(column[1:] for column in sheet.columns)
    return replace(sheet, units=units, columns=columns, rows=sheet.rows[1:])


def _lines(text: str) -> list[str]:
    """Give the lines without blank ones at the end; counted before they are split."""
    text = text.replace("\r\n", "\n").replace("\r", "\n").rstrip("\n\x00\x1a \t")
    count = text.count("\n") + 1
    if count > MAX_ROWS:
        raise UnreadableNight(
            f"The file has {count} rows; accepted are at most {MAX_ROWS}, one night a file."
        )
    lines = text.split("\n")
    while lines and not lines[-1].strip(" \t;,|"):
        lines.pop()
    if not lines:
        raise UnreadableNight("The file is empty; choose the file of a night.")
    return lines


def _find_table(lines: list[str], is_header: Callable[[list[str]], bool]) -> tuple[str, int, bool]:
    """Give separator, line of the header (or of the first row of data), and whether it is a header."""
    head = lines[:LINES_BEFORE_HEADER]
    for at, line in enumerate(head):
        fitting = [sign for sign in SEPARATORS if is_header(_cells(line, sign))]
        if fitting:
            return max(fitting, key=line.count), at, True
    for at, line in enumerate(head):
        best = max(SEPARATORS, key=line.count)
        cells = _cells(line, best)
        if len(cells) > 1 and sum(bool(_DATA_CELL.fullmatch(cell)) for cell in cells) > 1:
            named = at > 0 and len(_cells(lines[at - 1], best)) == len(cells)
            return (best, at - 1, True) if named else (best, at, False)
    raise UnreadableNight(
        f"No table was found in the first {len(head)} lines; accepted is a header with a time and at least "
        "one of "
        "oxygen saturation, pulse and transcutaneous CO2, separated by commas, semicolons, tabs or bars."
    )


def _cells(line: str, separator: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=separator), [])
    except csv.Error:
        return line.split(separator)


def _columns(lines: list[str], separator: str, width: int, first_row: int) -> tuple[pl.Series, ...]:
    """Split rows into columns of text; every row has as many cells as the header."""
    if not lines:
        raise UnreadableNight("The file has a header but no rows; nothing was recorded in it.")
    body = pl.Series("line", lines, dtype=pl.String)
    if body.str.contains('"', literal=True).any():
        return _quoted(lines, separator, width, first_row)
    found = body.str.count_matches(separator, literal=True) + 1
    blank = body.str.strip_chars().str.len_bytes() == 0
    wrong = ((found != width) & ~blank).arg_true()
    if len(wrong):
        k = int(wrong[0])
        raise _ragged(first_row + k, int(found[k]), width, last=k == len(lines) - 1)
    parts = body.str.split_exact(separator, width - 1).struct.unnest()
    return tuple(parts.get_columns())


def _ragged(row: int, found: int, width: int, *, last: bool) -> UnreadableNight:
    advice = (
        "The file was cut there."
        if last and found < width
        else "A decimal comma in a file separated by commas does this: "
        "export with semicolons or decimal points."
    )
    return UnreadableNight(f"Row {row} has {found} cells, accepted are {width} as in the header. {advice}")


def _quoted(lines: list[str], separator: str, width: int, first_row: int) -> tuple[pl.Series, ...]:
    """Split rows that use quotes, a chunk at a time to keep memory small."""
    rows = csv.reader((f"{line}\n" for line in lines), delimiter=separator, strict=True)
    chunks: list[list[pl.Series]] = [[] for _ in range(width)]
    row = first_row
    try:
        for chunk in iter(lambda: list(islice(rows, CHUNK_ROWS)), []):
            for k, cells in enumerate(chunk):
                if cells and len(cells) != width:
                    raise _ragged(
                        row + k, len(cells), width, last=len(chunk) < CHUNK_ROWS and k == len(chunk) - 1
                    )
            row += len(chunk)
            for position, column in enumerate(_transposed(chunk, width)):
                chunks[position].append(column)
    except csv.Error as error:
        raise UnreadableNight(
            f"Row {row} or later: a quote is not closed or stands inside a cell ({error})."
        ) from None
    return tuple(pl.concat(parts) for parts in chunks)


def _transposed(rows: list[list[str]], width: int) -> Iterator[pl.Series]:
    for position in range(width):
        cells = [cells[position] if cells else None for cells in rows]
        yield pl.Series(f"field_{position}", cells, dtype=pl.String)
