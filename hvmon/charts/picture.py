"""A chart as it leaves this room: a specification without data, its named frames, and its words.

The specification of a layout is built once and kept as JSON text with marked holes; a person's chart
fills the holes and names the frames. Building it from objects each time costs a hundred times more.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from hvmon.charts.theme import FILE_FONT, FONT, Look, configuration

Spec = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart ready to show.

    Attributes
    ----------
    spec : dict
        Vega-Lite specification whose data are names.
    frames : mapping of str to polars.DataFrame
        The rows behind each name.
    words : str
        What the chart shows, for a reader who does not see it.
    """

    spec: Spec
    frames: Mapping[str, pl.DataFrame]
    words: str

    def inline(self, width_px: float = 1000.0) -> Spec:
        """Give the specification with its rows inside and a font that files have, for files and checks."""
        rows = {name: frame.to_dicts() for name, frame in self.frames.items()}
        spec: Spec = json.loads(json.dumps(self.spec).replace(json.dumps(FONT), json.dumps(FILE_FONT)))
        return {**spec, "width": width_px, "datasets": rows}


def hole(name: str) -> str:
    """Give the mark of a hole in a template."""
    return f"@{name}@"


def template(chart: Mapping[str, Any], look: Look, font_px: float) -> str:
    """Give the text of a template: the chart without data, in one look."""
    spec = {key: value for key, value in chart.items() if key not in {"config", "datasets"}}
    spec["config"] = configuration(look, font_px)
    spec["autosize"] = {"type": "fit-x", "contains": "padding"}
    spec["padding"] = {"left": 4, "right": 14, "top": 4, "bottom": 4}
    spec["usermeta"] = {"embedOptions": {"actions": False}}
    return json.dumps(spec)


def fill(text: str, values: Mapping[str, Any]) -> Spec:
    """Give the specification of a template with every hole filled; a list fills a list of one hole.

    Raises
    ------
    KeyError
        A value was given for a hole that the template does not have.
    """
    for name, value in values.items():
        marked = json.dumps([hole(name)] if isinstance(value, list) else hole(name))
        if marked not in text:
            raise KeyError(f"the template has no hole named {name!r}")
        text = text.replace(marked, json.dumps(value))
    spec: Spec = json.loads(text)
    return spec


def hush_empty(spec: Spec, frames: Mapping[str, pl.DataFrame], named: str = "") -> Spec:
    """Take marks without any row out of what a screen reader is told; they would be pictures without words.

    Parameters
    ----------
    spec : dict
        A specification, or one of its layers.
    frames : mapping of str to polars.DataFrame
        The rows behind each name.
    named : str
        Name of the data of the view around, which layers without data of their own share.
    """
    own = str(spec.get("data", {}).get("name", named))
    if "layer" in spec:
        return {**spec, "layer": [hush_empty(layer, frames, own) for layer in spec["layer"]]}
    if own not in frames or not frames[own].is_empty():
        return spec
    mark = spec["mark"]
    return {**spec, "mark": {**(mark if isinstance(mark, dict) else {"type": mark}), "aria": False}}
