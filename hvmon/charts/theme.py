"""How charts look: one palette in three looks, one shape a sample kind, one configuration.

Meaning never rests on colour: the sample kind is a shape, the ventilator state is the fill, and words
stand beside both. The colours differ in lightness too, so that the grey look and a grey print keep them
apart.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Any

from hvmon.vocabulary import SampleKind, VentilatorState

TRANSCUTANEOUS = "transcutaneous"
"""The word for a spot transcutaneous reading, beside the kinds of blood sample."""

KINDS: tuple[str, ...] = (
    SampleKind.ARTERIAL.value,
    SampleKind.CAPILLARY_EARLOBE.value,
    SampleKind.CAPILLARY_FINGERTIP.value,
    SampleKind.VENOUS.value,
    TRANSCUTANEOUS,
)
"""Kinds of CO2 reading, in the order of the legend."""

STATES: tuple[str, ...] = tuple(state.value for state in VentilatorState)

FONT = "Source Sans, sans-serif"
"""Local fonts only: the first is served by the app itself, the other by the machine."""

FILE_FONT = "DejaVu Sans"
"""Font of charts rendered to files: the converter drops every text whose font it does not find."""


class Look(StrEnum):
    """Which surroundings a chart is drawn for."""

    LIGHT = "light"
    DARK = "dark"
    PRINT = "print"


@dataclass(frozen=True, slots=True)
class Palette:
    """The colours of one look, as hexadecimal texts."""

    paper: str
    ink: str
    muted: str
    grid: str
    band_wide: str
    band_narrow: str
    modelled: str
    limit: str
    warm: str
    cool: str
    bar: str
    kinds: Mapping[str, str]


def _kinds(*colours: str) -> Mapping[str, str]:
    return MappingProxyType(dict(zip(KINDS, colours, strict=True)))


PALETTES: Mapping[Look, Palette] = MappingProxyType(
    {
        Look.LIGHT: Palette(
            paper="#fcfcfa",
            ink="#1c2427",
            muted="#56606b",
            grid="#e4e7eb",
            band_wide="#e6e3f1",
            band_narrow="#cbc5e4",
            modelled="#5a4f8c",
            limit="#a3200d",
            warm="#a3480d",
            cool="#12637a",
            bar="#8fa3b5",
            kinds=_kinds("#0d2f4f", "#b0561a", "#7d6a00", "#8a2f74", "#12796b"),
        ),
        Look.DARK: Palette(
            paper="#13181a",
            ink="#e8ecec",
            muted="#aab4bf",
            grid="#2b323a",
            band_wide="#2a2840",
            band_narrow="#433e66",
            modelled="#b9afe8",
            limit="#ff8a73",
            warm="#f0a060",
            cool="#6cc5dd",
            bar="#6f8296",
            kinds=_kinds("#d3e4f7", "#f2a56b", "#d8c14a", "#e69ad0", "#57c9b6"),
        ),
        Look.PRINT: Palette(
            paper="#ffffff",
            ink="#000000",
            muted="#4a4a4a",
            grid="#dddddd",
            band_wide="#ececec",
            band_narrow="#d2d2d2",
            modelled="#5c5c5c",
            limit="#000000",
            warm="#333333",
            cool="#555555",
            bar="#9a9a9a",
            kinds=_kinds("#000000", "#3a3a3a", "#3a3a3a", "#000000", "#4a4a4a"),
        ),
    }
)

_OUTLINES: Mapping[str, str] = MappingProxyType(
    {
        SampleKind.ARTERIAL.value: "M0,-1A1,1,0,1,1,0,1A1,1,0,1,1,0,-1",
        SampleKind.CAPILLARY_EARLOBE.value: "M0,-1.15L1.1,0.8L-1.1,0.8L0,-1.15",
        SampleKind.CAPILLARY_FINGERTIP.value: "M-0.88,-0.88L0.88,-0.88L0.88,0.88L-0.88,0.88L-0.88,-0.88",
        SampleKind.VENOUS.value: "M-1,-1L1,1M1,-1L-1,1",
        TRANSCUTANEOUS: "M0,-1.4L0.85,0L0,1.4L-0.85,0L0,-1.4",
    }
)
_RING = "M0,-1.45A1.45,1.45,0,1,1,0,1.45A1.45,1.45,0,1,1,0,-1.45"
_STROKE_THROUGH = "M-1.5,0L1.5,0"


def glyph(kind: str, ventilator: str) -> str:
    """Give the name of the sign of a reading; `GLYPHS` holds its outline."""
    return f"{kind}, {ventilator}"


def _outline(kind: str, ventilator: str) -> str:
    outline = _OUTLINES[kind]
    if ventilator == VentilatorState.NOT_RECORDED.value:
        return outline + _STROKE_THROUGH
    if kind == SampleKind.VENOUS.value and ventilator == VentilatorState.ON.value:
        return outline + _RING  # a thin cross has no inside: on the ventilator it stands in a ring
    return outline


GLYPHS: Mapping[str, str] = MappingProxyType(
    {glyph(kind, state): _outline(kind, state) for kind in KINDS for state in STATES}
)
"""Outline of every sign, as an SVG path in the square from -1 to 1.

Filled off the ventilator (the condition to which others are referred), hollow on it, struck through
when the state was not recorded.
"""


def filled(kind: str, ventilator: str) -> bool:
    """Whether the sign of a reading is filled: off the ventilator, and not a thin cross."""
    return kind != SampleKind.VENOUS.value and ventilator == VentilatorState.OFF.value


def configuration(look: Look, font_px: float) -> dict[str, Any]:
    """Give the Vega-Lite configuration of a look at a text size [px]."""
    palette = PALETTES[look]
    return {
        "background": palette.paper,
        "font": FONT,
        "view": {"stroke": None},
        "axis": {
            "labelColor": palette.ink,
            "titleColor": palette.ink,
            "labelFontSize": font_px,
            "titleFontSize": font_px,
            "titleFontWeight": 600,
            "gridColor": palette.grid,
            "domainColor": palette.muted,
            "tickColor": palette.muted,
            "labelFont": FONT,
            "titleFont": FONT,
        },
        "text": {"font": FONT, "fontSize": font_px, "color": palette.ink},
        "title": {"color": palette.ink, "font": FONT, "fontSize": font_px, "anchor": "start"},
        "legend": {"labelColor": palette.ink, "titleColor": palette.ink, "labelFontSize": font_px},
    }
