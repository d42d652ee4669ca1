"""The legend of a timeline: only the signs this chart holds, each with its words."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

import polars as pl

from hvmon.charts.layout import Lane, Layout
from hvmon.charts.texts import width_px
from hvmon.charts.theme import KINDS, Palette, filled, glyph
from hvmon.vocabulary import VentilatorState

STATE_WORDS = {
    VentilatorState.OFF.value: "off",
    VentilatorState.ON.value: "on",
    VentilatorState.NOT_RECORDED.value: "state not recorded",
}
FULL_WORDS = {
    VentilatorState.OFF.value: "off ventilator",
    VentilatorState.ON.value: "on ventilator",
    VentilatorState.NOT_RECORDED.value: "ventilator state not recorded",
}
"""Written out where a state is met first."""
MODELLED = "modelled usual level, 80 and 95 %"
_ORDER = (VentilatorState.OFF.value, VentilatorState.ON.value, VentilatorState.NOT_RECORDED.value)
SIGNS = {"px": pl.Float64, "py": pl.Float64, "glyph": pl.String, "fill": pl.String, "stroke": pl.String}
TEXTS = {"px": pl.Float64, "py": pl.Float64, "words": pl.String}
BOXES = {
    "px": pl.Float64,
    "px2": pl.Float64,
    "py": pl.Float64,
    "py2": pl.Float64,
    "fill": pl.String,
    "stroke": pl.String,
}


@dataclass
class _Pen:
    """Writes from left to right and takes a new row when one is full."""

    layout: Layout
    palette: Palette
    px: float = 0.0
    row: int = 0
    signs: list[dict[str, Any]] = field(default_factory=list)
    texts: list[dict[str, Any]] = field(default_factory=list)
    boxes: list[dict[str, Any]] = field(default_factory=list)

    @property
    def py(self) -> float:
        return self.layout.place(Lane.LEGEND).top + (self.row + 0.5) * self.layout.row_px * 1.1

    def room(self, width: float) -> None:
        if self.px and self.px + width > self.layout.plot_px:
            self.px, self.row = 0.0, self.row + 1

    def text(self, words: str, after: float = 1.0) -> None:
        self.texts.append({"px": self.px, "py": self.py, "words": words})
        self.px += width_px(words, self.layout.font_px) + after * self.layout.font_px

    def sign(self, kind: str, state: str) -> None:
        colour = self.palette.kinds[kind]
        fill = colour if filled(kind, state) else self.palette.paper
        self.signs.append(
            {"px": self.px + self.layout.font_px * 0.5, "py": self.py, "glyph": glyph(kind, state)}
            | {"fill": fill, "stroke": colour}
        )
        self.px += self.layout.font_px * 1.3

    def box(self, fill: str, stroke: str) -> None:
        half = self.layout.font_px * 0.45
        self.boxes.append(
            {"px": self.px, "px2": self.px + 2.2 * self.layout.font_px, "py": self.py - half}
            | {"py2": self.py + half, "fill": fill, "stroke": stroke}
        )
        self.px += 2.7 * self.layout.font_px


def _kind_width(kind: str, words: list[str], font_px: float) -> float:
    return width_px(kind + "".join(words), font_px) + (1.0 + 2.3 * len(words)) * font_px


def legend(
    present: Iterable[tuple[str, str]], *, with_trend: bool, layout: Layout, palette: Palette
) -> dict[str, pl.DataFrame]:
    """Give the frames of the legend for the (kind, ventilator state) pairs present."""
    pairs = set(present)
    pen = _Pen(layout, palette)
    told: set[str] = set()
    for kind in KINDS:
        states = [state for state in _ORDER if (kind, state) in pairs]
        if not states:
            continue
        words = [STATE_WORDS[state] if state in told else FULL_WORDS[state] for state in states]
        told.update(states)
        pen.room(_kind_width(kind, words, layout.font_px))
        pen.text(f"{kind}:", 0.4)
        for state, word in zip(states, words, strict=True):
            pen.sign(kind, state)
            pen.text(word, 0.7)
        pen.px += layout.font_px
    if with_trend:
        pen.room(width_px(MODELLED, layout.font_px) + 6 * layout.font_px)
        pen.box(palette.band_narrow, palette.band_narrow)
        pen.box(palette.band_wide, palette.band_wide)
        pen.text(MODELLED)
    return {
        "legend_signs": pl.DataFrame(pen.signs, schema=SIGNS),
        "legend_texts": pl.DataFrame(pen.texts, schema=TEXTS),
        "legend_boxes": pl.DataFrame(pen.boxes, schema=BOXES),
    }
