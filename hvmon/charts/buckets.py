"""Thinning a long signal without losing an extreme: least and greatest of each bucket at their own times."""

from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from hvmon.records.night_signal import MISSING

DRAWN = {"t": pl.Float64, "v": pl.Float64}
"""Columns of a drawn signal: minutes from the start [min], value."""


def min_max(
    values: NDArray[np.int16],
    *,
    scale: float,
    first_s: int = 0,
    last_s: int | None = None,
    buckets: int = 1000,
) -> pl.DataFrame:
    """Give the least and greatest value of each bucket in order of time; a null where all are missing.

    Drawn as one line of steps, so that a flat night is a line and a gap is a gap.

    Parameters
    ----------
    values : int16 array
        One value a second; `MISSING` where there is none.
    scale : float
        What a drawn unit is of a stored one: 0.1 for tenths.
    first_s, last_s : int
        The window [s].
    buckets : int
        At most so many buckets; a window with no more seconds is drawn second by second.
    """
    window = values[first_s:last_s]
    if len(window) == 0:
        return pl.DataFrame(schema=DRAWN)
    size = max(1, -(-len(window) // buckets))
    padded = np.full(-(-len(window) // size) * size, MISSING, dtype=np.int16)
    padded[: len(window)] = window
    blocks = padded.reshape(-1, size)
    seconds, kept = _ends(blocks, size)
    drawn = np.where(kept == MISSING, np.nan, kept * scale)
    frame = pl.DataFrame({"t": (first_s + seconds) / 60.0, "v": drawn}, schema=DRAWN)
    return frame.with_columns(pl.col("v").fill_nan(None))


def without_repeats(drawn: pl.DataFrame) -> pl.DataFrame:
    """Leave out the rows that a line of steps holds anyway; what is drawn stays the same.

    Kept are every change, the last value before a gap, and the last row.
    """
    value = pl.col("v")
    changes = value.ne_missing(value.shift(1)) | (pl.int_range(pl.len()) == 0)
    ends = value.is_not_null() & value.shift(-1).is_null()
    return drawn.filter(changes | ends | (pl.int_range(pl.len()) == pl.len() - 1))


def _ends(blocks: NDArray[np.int16], size: int) -> tuple[NDArray[Any], NDArray[Any]]:
    """Give time [s] and value of least and greatest of each block, in order of time."""
    starts = np.arange(len(blocks)) * size
    if size == 1:
        return starts, blocks[:, 0]
    missing = blocks == MISSING
    low = np.where(missing, np.iinfo(np.int16).max, blocks).argmin(axis=1)
    high = blocks.argmax(axis=1)  # MISSING is the least int16
    rows = np.arange(len(blocks))
    first, second = np.minimum(low, high), np.maximum(low, high)
    seconds = np.stack([starts + first, starts + second], axis=1).ravel()
    values = np.stack([blocks[rows, first], blocks[rows, second]], axis=1).ravel()
    return seconds, values


def histogram(values: NDArray[np.int16], *, scale: float, step: float) -> pl.DataFrame:
    """Give the share of valid time [%] at each value, in bins of `step` drawn units."""
    valid = values[values != MISSING] * scale
    if len(valid) == 0:
        return pl.DataFrame(schema={"v": pl.Float64, "share": pl.Float64})
    bins = np.floor(valid / step + 1e-9).astype(int)
    low, high = int(bins.min()), int(bins.max())
    counts = np.bincount(bins - low, minlength=high - low + 1)
    centres = (np.arange(low, high + 1) + 0.5) * step
    return pl.DataFrame({"v": centres, "share": 100.0 * counts / len(valid)})
