"""Rows of a night's CSV on the grid of whole seconds: repeats taken out, absent rows left as gaps."""

import numpy as np
import polars as pl
from numpy.typing import NDArray

from hvmon.files.local_clock import Millis, check_span
from hvmon.files.night_values import Floats
from hvmon.files.understood import LONGEST_INTERVAL_S, UnreadableNight

NOT_READ = (
    "", "-", "--", "---", "----", "na", "n/a", "nan", "null", "none", "?", "??", "???", "*", "**", "***",
    "off", "invalid", "x",
)  # fmt: skip
"""Cells that mean "no reading", in any case (common practice, no source)."""

_NUMBER = r"^[+-]?[0-9]{1,6}(?:[.,][0-9]{1,6})?$"


def numbers(cells: pl.Series, rows: NDArray[np.int64], shown: str) -> Floats:
    """Give a column of numbers, NaN for no reading; decimal points or commas, never both.

    Raises
    ------
    UnreadableNight
        A cell is neither a number nor a word for "no reading"; the row is named.
    """
    text = cells.str.strip_chars().str.strip_chars("%").fill_null("")
    absent = text.str.to_lowercase().is_in(NOT_READ)
    wrong = ~(text.str.contains(_NUMBER) | absent)
    if wrong.any():
        k = int(wrong.arg_true()[0])
        raise UnreadableNight(
            f"Row {rows[k]}, {shown}: {cells[k]!r} was given, accepted are plain numbers such as 94 or "
            "6.8, or an "
            "empty cell, '-' or 'NA' for no reading."
        )
    if text.str.contains(",", literal=True).any() and text.str.contains(".", literal=True).any():
        raise UnreadableNight(f"{shown}: decimal points and decimal commas are mixed; export the file again.")
    values = text.str.replace(",", ".", literal=True).cast(pl.Float64, strict=False).to_numpy()
    return np.where(absent.to_numpy(), np.nan, values)


def without_repeats(
    utc: Millis, values: list[Floats], rows: NDArray[np.int64]
) -> tuple[NDArray[np.int64], int]:
    """Give the rows to keep, in order of time, and how many repeats were taken out.

    Raises
    ------
    UnreadableNight
        Two rows give the same time and unlike readings, or the clock steps back between rows that do
        not repeat earlier ones; the rows are named.
    """
    if (np.diff(utc) > 0).all():
        return np.arange(len(utc)), 0
    _, first = np.unique(utc, return_index=True)
    kept = np.sort(first)
    earlier = first[np.searchsorted(utc[first], utc)]
    _check_same(values, earlier, rows)
    back = np.flatnonzero(np.diff(utc[kept]) < 0)
    if len(back):
        a, b = int(kept[back[0]]), int(kept[back[0] + 1])
        raise UnreadableNight(
            f"Row {rows[b]}: its time lies before that of row {rows[a]}, accepted are rows in order of time. "
            "Check date, zone and whether two recordings were joined."
        )
    return kept, len(utc) - len(kept)


def _check_same(values: list[Floats], earlier: NDArray[np.int64], rows: NDArray[np.int64]) -> None:
    for column in values:
        differ = ~((column == column[earlier]) | (np.isnan(column) & np.isnan(column[earlier])))
        if differ.any():
            k = int(np.flatnonzero(differ)[0])
            raise UnreadableNight(
                f"Rows {rows[int(earlier[k])]} and {rows[k]} give the same time but unlike readings; "
                "accepted is one "
                "row for each time. If the times have no seconds, export them with seconds."
            )


def interval_of(utc: Millis) -> float:
    """Give the interval of the rows [s], the middle of all steps.

    Raises
    ------
    UnreadableNight
        It is longer than `LONGEST_INTERVAL_S`, or the file has a single row.
    """
    if len(utc) < 2:  # noqa: PLR2004 - an interval has two ends
        raise UnreadableNight("The file has a single row of data; a recording has more.")
    check_span(utc)
    interval = float(np.median(np.diff(utc))) / 1000.0
    if interval > LONGEST_INTERVAL_S:
        raise UnreadableNight(
            f"The rows are {interval:g} s apart, accepted are {LONGEST_INTERVAL_S} s or less; slower data "
            "hide short events."
        )
    return interval


def seconds_of_rows(utc: Millis, interval_s: float) -> NDArray[np.int64]:
    """Give the second of the grid on which each row lies; faster rows fall into the second they begin in."""
    offset = (utc - utc[0]) / 1000.0
    whole: NDArray[np.int64] = (np.floor(offset) if interval_s < 1.0 else np.floor(offset + 0.5)).astype(
        np.int64
    )
    return whole


def held(seconds: NDArray[np.int64], values: Floats, interval_s: int) -> Floats:
    """Give the values on the grid: each held over its interval, the first of a second used, gaps open."""
    length = int(seconds[-1]) + interval_s
    grid = np.full(length, np.nan)
    owner = np.full(length, -1, dtype=np.int64)
    rows = np.arange(len(seconds))
    for k in reversed(range(interval_s)):
        owner[(seconds + k)[::-1]] = rows[::-1]
    covered = owner >= 0
    grid[covered] = values[owner[covered]]
    return grid
