"""Setting out short texts so that they do not lie on one another."""

from collections.abc import Sequence
from dataclasses import dataclass

GLYPH_WIDTH = 0.54
"""Mean width of a letter as a share of the text size; the widest font named in the theme lies near it."""

GAP_PX = 10.0
"""[px] between two texts of one row."""


@dataclass(frozen=True, slots=True)
class Placed:
    """Where a text goes: its row, on which side of its moment, and what is written."""

    row: int
    side: str
    dx: float
    words: str


def width_px(words: str, font_px: float) -> float:
    """Estimate the width of a text [px] at a text size [px]."""
    return len(words) * font_px * GLYPH_WIDTH


def set_out(
    places_px: Sequence[float], words: Sequence[str], *, plot_px: float, font_px: float, rows: int
) -> tuple[Placed, ...]:
    """Give each text a row in which it collides with nothing; what has no room is counted at its neighbour.

    Parameters
    ----------
    places_px : sequence of float
        Where each text belongs [px from the left], in rising order.
    words : sequence of str
        The texts.
    plot_px, font_px : float
        Width of the plot and size of the text [px].
    rows : int
        How many rows there are.

    Returns
    -------
    tuple of Placed
        One for each text. A text without room has empty words, and the last text that has room before
        it says "+n" for the n texts it stands for: nothing is left out without a sign.
    """
    ends = [-1e9] * rows
    placed: list[Placed] = []
    for at, text in zip(places_px, words, strict=True):
        placed.append(_place(at, text, ends, plot_px, font_px))
    return _counted(placed, words)


def _place(at: float, text: str, ends: list[float], plot_px: float, font_px: float) -> Placed:
    width = width_px(text, font_px)
    left_side = at + width + GAP_PX > plot_px and at - width > 0
    start = at - width - GAP_PX if left_side else at
    for row, end in enumerate(ends):
        if start >= end:
            ends[row] = (at if left_side else at + width) + GAP_PX + font_px * GLYPH_WIDTH * 3
            return Placed(row, "right" if left_side else "left", -5.0 if left_side else 5.0, text)
    return Placed(0, "left", 5.0, "")


def _counted(placed: list[Placed], words: Sequence[str]) -> tuple[Placed, ...]:
    """Add "+n" to the last shown text before the n that found no room."""
    hidden, out = 0, list(placed)
    for index in range(len(out) - 1, -1, -1):
        if words[index] and not out[index].words:
            hidden += 1
        elif hidden and out[index].words:
            old = out[index]
            out[index] = Placed(old.row, old.side, old.dx, f"{old.words} +{hidden}")
            hidden = 0
    return tuple(out)
