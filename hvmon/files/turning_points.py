"""A file of known turning points: who began to rise, and when. For judging flags on an old record."""

import csv
from datetime import date
from pathlib import Path

COLUMNS = ("person_key", "turned_on")


class BadTurningPoints(ValueError):  # noqa: N818 - reads as a sentence where it is caught
    """The file cannot be read; the message names the row, what was given and what is accepted."""


def read_turning_points(path: Path) -> dict[str, date | None]:
    """Read person keys with the day the CO2 began to rise; an empty day means it never did.

    Raises
    ------
    BadTurningPoints
        The file, a column or a day is not as it should be.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise BadTurningPoints(f"{path}: cannot be read as UTF-8 text ({type(error).__name__})") from None
    rows = csv.DictReader(text.splitlines(), strict=True)
    if tuple(rows.fieldnames or ()) != COLUMNS:
        raise BadTurningPoints(f"{path}: row 1: given {rows.fieldnames}; accepted: {','.join(COLUMNS)}")
    return {row["person_key"]: _day(path, number, row["turned_on"]) for number, row in enumerate(rows, 2)}


def _day(path: Path, number: int, text: str | None) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadTurningPoints(
            f"{path}: row {number}: turned_on {text!r}; accepted: YYYY-MM-DD, or empty for never"
        ) from None
