"""One question on the screen: its widget, and under it at once what was understood."""

from collections.abc import Callable, Sequence

import streamlit as st

from hvmon.app import words
from hvmon.app.labels import asked, in_words
from hvmon.app.parts import plain
from hvmon.services.asked import Answers, Ask, How
from hvmon.services.form_read import FormRead
from hvmon.services.visit_form import NO_MORE

ROW = 12
"""Units of width of one row."""

_TEXT, _HALF, _NOTE = 3, 6, 6
_LONG_WORD = 30
"""[letters] a list with longer words takes half a row, so that none is cut off."""
_WIDTHS = ((24, _TEXT), (68, _HALF), (96, 9))
"""[letters, units of width] choices up to these lengths take a quarter, half, three quarters of a row."""


def widget_key(token: str, key: str) -> str:
    """Give the widget key of a question; the token makes a saved form's widgets unusable for the next."""
    return f"{token}|{key}"


def width(ask: Ask) -> int:
    """Give the width of a question in units of the row."""
    if ask.how == How.TEXT:
        return _TEXT
    if ask.how == How.LIST:
        return _HALF if max(map(len, ask.options), default=0) > _LONG_WORD else _TEXT
    if ask.how in {How.NOTE, How.LINE}:
        return _NOTE
    letters = sum(len(option) + 5 for option in _choices(ask))
    return next((wide for most, wide in _WIDTHS if letters <= most), ROW)


def rows(asks: Sequence[Ask]) -> list[list[Ask]]:
    """Pack questions into rows, in their order, so that Tab goes from left to right and down."""
    packed: list[list[Ask]] = [[]]
    for ask in asks:
        if sum(width(one) for one in packed[-1]) + width(ask) > ROW:
            packed.append([])
        packed[-1].append(ask)
    return packed


def draw_rows(asks: Sequence[Ask], token: str, read: FormRead, initial: Answers) -> None:
    """Draw questions row by row; `initial` is what a widget starts with."""
    for row in rows(asks):
        widths = [width(ask) for ask in row]
        spare = ROW - sum(widths)
        places = st.columns([*widths, spare] if spare else widths)
        for place, ask in zip(places, row, strict=False):
            with place:
                _WIDGETS[ask.how](ask, widget_key(token, ask.key), initial.get(ask.key, ""))
                _feedback(ask, read)


def _asked(ask: Ask) -> str:
    return asked(ask.key, ask.column) + ("" if ask.required else " (optional)")


def _text(ask: Ask, key: str, start: str) -> None:
    st.text_input(_asked(ask), start, key=key, max_chars=400, autocomplete="off")


def _place(ask: Ask, start: str) -> int | None:
    return ask.options.index(start) if start in ask.options else None


def _choices(ask: Ask) -> tuple[str, ...]:
    """Give the words to choose from; where a blank is an answer, one that takes a choice back."""
    steers = ask.model is None and NO_MORE in ask.options
    return ask.options if ask.required or steers else (*ask.options, "")


def _choice(ask: Ask, key: str, start: str) -> None:
    st.radio(
        _asked(ask),
        _choices(ask),
        _place(ask, start),
        horizontal=True,
        key=key,
        format_func=lambda word: plain(word) or words.NO_CHOICE,
    )


def _list(ask: Ask, key: str, start: str) -> None:
    st.selectbox(_asked(ask), ask.options, _place(ask, start), key=key, placeholder="choose")


def _note(ask: Ask, key: str, start: str) -> None:
    st.text_area(_asked(ask), start, key=key, max_chars=4000, height=68)


_WIDGETS: dict[How, Callable[[Ask, str, str], None]] = {
    How.TEXT: _text,
    How.LINE: _text,
    How.CHOICE: _choice,
    How.LIST: _list,
    How.NOTE: _note,
}


def _feedback(ask: Ask, read: FormRead) -> None:
    if ask.key in read.refused:
        st.markdown(f":red[**Refused.** {plain(in_words(read.refused[ask.key]))}]")
    elif ask.key in read.unlikely:
        st.markdown(f":orange[**{plain(read.words[ask.key])}** {plain(read.unlikely[ask.key])}]")
    elif ask.how == How.TEXT:
        st.caption(
            f"understood: {plain(read.words[ask.key])}" if ask.key in read.words else plain(ask.hint) or " "
        )
