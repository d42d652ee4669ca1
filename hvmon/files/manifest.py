"""The manifest of a folder of nights: one row a file, with what the file cannot say."""

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import TypeVar

from hvmon.records.base import Pressure
from hvmon.records.number_text import BadNumber, parse_decimal
from hvmon.units import PressureUnit
from hvmon.vocabulary import NOT_RECORDED, NotRecorded, SampleReason, VentilatorState

REQUIRED = ("file", "local_id", "ventilator", "oxygen_l_min", "reason")
OPTIONAL = ("awake_supine_tcco2", "awake_supine_unit")
ANSWER = "answer."
"""Columns that begin so answer an import question, such as `answer.zone` or `answer.date_format`."""

Word = TypeVar("Word", bound=StrEnum)


class BadManifest(ValueError):  # noqa: N818 - reads as a sentence where it is caught
    """A row of the manifest is not as it should be; the message names row, column and what is accepted."""


@dataclass(frozen=True, slots=True)
class ManifestRow:
    """One file of the manifest."""

    file: str
    local_id: str
    ventilator: VentilatorState
    oxygen_l_min: Decimal | NotRecorded
    reason: SampleReason
    awake_supine: Pressure | None
    answers: Mapping[str, str]


def read_manifest(path: Path) -> tuple[ManifestRow, ...]:
    """Read a manifest; every row is checked before anything is imported.

    Raises
    ------
    BadManifest
        The file, a column or a cell is not as it should be.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise BadManifest(f"{path}: cannot be read as UTF-8 text ({type(error).__name__})") from None
    rows = csv.DictReader(text.splitlines(), strict=True)
    names = tuple(rows.fieldnames or ())
    unknown = [name for name in names if name not in REQUIRED + OPTIONAL and not name.startswith(ANSWER)]
    missing = [name for name in REQUIRED if name not in names]
    if unknown or missing:
        accepted = ", ".join((*REQUIRED, *OPTIONAL, f"{ANSWER}KEY"))
        raise BadManifest(f"{path}: row 1: missing {missing}, unknown {unknown}; accepted: {accepted}")
    return tuple(_rows(path, rows))


def _rows(path: Path, rows: "csv.DictReader[str]") -> Iterator[ManifestRow]:
    for number, row in enumerate(rows, 2):
        where = f"{path}: row {number}"
        if not row["file"] or Path(row["file"]).name != row["file"]:
            raise BadManifest(f"{where}: file {row['file']!r}; accepted: a file name inside the folder")
        yield ManifestRow(
            row["file"],
            row["local_id"],
            _word(where, "ventilator", row["ventilator"], VentilatorState),
            _flow(where, row["oxygen_l_min"]),
            _word(where, "reason", row["reason"], SampleReason),
            _awake(where, row.get("awake_supine_tcco2"), row.get("awake_supine_unit")),
            {
                name.removeprefix(ANSWER): cell
                for name, cell in row.items()
                if name.startswith(ANSWER) and cell
            },
        )


def _answers(row: Mapping[str, str]) -> dict[str, str]:
    cells = ((name, cell) for name, cell in row.items() if name.startswith(ANSWER) and cell)
    return {name.removeprefix(ANSWER): cell for name, cell in cells}


def _word(where: str, column: str, text: str | None, words: type[Word]) -> Word:
    try:
        return words(text or "")
    except ValueError:
        accepted = ", ".join(word.value for word in words)
        raise BadManifest(f"{where}: {column} {text!r}; accepted: {accepted}") from None


def _flow(where: str, text: str | None) -> Decimal | NotRecorded:
    if text == NOT_RECORDED.value:
        return NOT_RECORDED
    try:
        return parse_decimal(text or "")
    except BadNumber as error:
        raise BadManifest(f"{where}: oxygen_l_min: {error}, or 'not recorded'") from None


def _awake(where: str, text: str | None, unit: str | None) -> Pressure | None:
    if not text:
        return None
    try:
        return Pressure(value=parse_decimal(text), unit=_word(where, "awake_supine_unit", unit, PressureUnit))
    except BadNumber as error:
        raise BadManifest(f"{where}: awake_supine_tcco2: {error}") from None
