"""Showing a chart: its frames go to the browser as Arrow, its words to the reader who does not see it."""

import io

import polars as pl
import streamlit as st

from hvmon.charts.picture import Picture
from hvmon.charts.theme import Look


def look(*, for_print: bool = False) -> Look:
    """Give the look that fits the browser's theme, or the grey one for paper."""
    if for_print:
        return Look.PRINT
    return Look.DARK if st.context.theme.type == "dark" else Look.LIGHT


def _arrow(frame: pl.DataFrame) -> bytes:
    """Give a frame as an Arrow stream that the browser's reader understands."""
    kept = [name for name, kind in frame.schema.items() if not isinstance(kind, pl.Datetime)]
    stream = io.BytesIO()
    frame.select(kept).write_ipc_stream(stream, compat_level=pl.CompatLevel.oldest())
    return stream.getvalue()


def show(picture: Picture, *, key: str) -> None:
    """Show a chart over the width of its container."""
    spec = {**picture.spec, "datasets": {name: _arrow(frame) for name, frame in picture.frames.items()}}
    st.vega_lite_chart(spec, width="stretch", theme=None, key=key, alt=picture.words)
