"""The engine of every entry form: draw, understand at once, keep a draft, ask, save once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

import streamlit as st

from hvmon.app import cache, words
from hvmon.app.browser import focus
from hvmon.app.fields import draw_rows, widget_key
from hvmon.app.labels import asked, bare, in_words, label
from hvmon.app.parts import need_actor, plain
from hvmon.records.held import Held
from hvmon.services import corrections, drafts
from hvmon.services.asked import Answers, Section
from hvmon.services.form_read import EntryQuestion, FormRead, reason_key
from hvmon.services.outcome import Outcome
from hvmon.services.stores import StoreError


@dataclass(frozen=True)
class Form:
    """One form: what it asks, how it reads answers, how it saves."""

    name: str
    person_key: str
    sections: Callable[[Answers], Sequence[Section]]
    understand: Callable[[Answers, str], FormRead]
    save: Callable[[FormRead, str], Outcome]
    button: str
    first_field: str
    """Key of the question the cursor is put into; empty to leave the cursor where it is."""
    drafted: bool = True

    @property
    def slot(self) -> str:
        """Where the session keeps the token of this form for this person."""
        return f"token|{self.name}|{self.person_key}"

    @property
    def done(self) -> str:
        """Where the session keeps the ids of what was stored last."""
        return f"done|{self.name}|{self.person_key}"


def begin(form: Form, token: str | None = None) -> None:
    """Begin the form anew, or go on with the draft of a token."""
    st.session_state[form.slot] = token or uuid4().hex
    st.session_state.pop(form.done, None)


def leave(form: Form) -> None:
    """Close the form; the next one gets another token."""
    st.session_state.pop(form.slot, None)


def begun(form: Form) -> str | None:
    """Give the token of the form on the screen."""
    return st.session_state.get(form.slot)


def _discard(form: Form, token: str) -> None:
    drafts.discard(cache.store(), token)
    leave(form)


def draw(form: Form) -> None:
    """Draw the form; what was typed before the page was left comes back."""
    if begun(form) is None:
        begin(form)
    token = str(begun(form))
    if not _typed(token):
        kept = drafts.answers_of(cache.store(), form.name, token) if form.drafted else {}
        st.session_state[_initial(token)] = dict(kept)
    _live(form, token)
    if form.first_field:
        focus(token, widget_key(token, form.first_field))


def _typed(token: str) -> dict[str, str]:
    """Give what the widgets of a form hold now."""
    start = f"{token}|"
    return {
        key.removeprefix(start): value or ""
        for key, value in st.session_state.items()
        if isinstance(key, str) and key.startswith(start) and isinstance(value, str | None)
    }


def _initial(token: str) -> str:
    """Where the session keeps what the widgets of a form start with: its kept draft."""
    return f"initial|{token}"


def _asked(form: Form, token: str) -> tuple[dict[str, str], Sequence[Section]]:
    """Give answers and questions; a question not drawn before starts at its draft or its default."""
    initial: dict[str, str] = st.session_state.setdefault(_initial(token), {})
    answers = initial | _typed(token)
    while True:
        sections = form.sections(answers)
        fresh = [ask for part in sections for ask in part.asks if ask.key not in answers and ask.default]
        if not fresh:
            return answers, sections
        initial |= {ask.key: ask.default for ask in fresh}
        answers = initial | answers


@st.fragment
def _live(form: Form, token: str) -> None:
    answers, sections = _asked(form, token)
    initial = st.session_state[_initial(token)]
    read = form.understand(answers, token)
    with st.container():  # what may come and go stands in a place of its own, or the cursor is lost below it
        _keep(form, token, answers)
    asked = list(read.questions)
    for part in sections:
        with st.container(border=True):
            st.markdown(f"**{plain(part.title)}**")
            draw_rows(part.asks, token, read, initial)
            columns = {ask.column for ask in part.asks}
            for question in [one for one in asked if one.field in columns]:
                asked.remove(question)
                _question(question, token, initial)
    with st.container():
        for question in asked:
            _question(question, token, initial)
        _refused_elsewhere(read, sections, answers)
    _foot(form, token, read, sections)


def _keep(form: Form, token: str, answers: Answers) -> None:
    """Keep a draft whenever an answer changed; the untouched form is not worth keeping."""
    seen = f"kept|{token}"
    now = hash(tuple(sorted((key, text) for key, text in answers.items() if text)))
    before = st.session_state.setdefault(seen, now)
    if not form.drafted or before == now:
        return
    try:
        drafts.keep(
            cache.store(), form.name, token, answers,
            person_key=form.person_key, actor=cache.actor(), now=cache.now(),
        )  # fmt: skip
    except StoreError as error:
        st.warning(f"{words.DRAFT_NOT_KEPT} {plain(error)}")
        return
    st.session_state[seen] = now


def _question(question: EntryQuestion, token: str, initial: Answers) -> None:
    key = reason_key(question)
    with st.container(border=True):
        st.markdown(f":orange[**{words.ASKED}**] {plain(question.words)}")
        st.text_input(
            words.REASON, initial.get(key, ""), key=widget_key(token, key), max_chars=200, autocomplete="off"
        )


def _still_needed(read: FormRead, sections: Sequence[Section]) -> str:
    labels = {ask.key: asked(ask.key, ask.column) for part in sections for ask in part.asks}
    needed = [labels[key] for key in read.missing]
    refused = [f"{labels[key]} (refused)" for key in read.refused if key in labels]
    reasons = [f"a reason for {label(question.field)}" for question in read.unanswered]
    return ", ".join([*refused, *needed, *reasons])


def _refused_elsewhere(read: FormRead, sections: Sequence[Section], answers: Answers) -> None:
    """Say what is refused of the whole record; of an untouched form it is no more than what is needed."""
    asks = {ask.key: ask for part in sections for ask in part.asks}
    touched = any(text != asks[key].default for key, text in answers.items() if text and key in asks)
    for text in (in_words(text) for key, text in read.refused.items() if key not in asks):
        st.markdown(f":red[**Refused.** {plain(text)}]" if touched else plain(text))


def _foot(form: Form, token: str, read: FormRead, sections: Sequence[Section]) -> None:
    needed = _still_needed(read, sections)
    if needed:
        st.caption(f"{words.STILL_NEEDED} {plain(needed)}")
    else:
        st.caption(words.WHOLE if read.records else " ")
    with st.container(horizontal=True, vertical_alignment="center"):
        pressed = st.button(form.button, type="primary", key=widget_key(token, "save"))
        if form.drafted:
            with st.popover(words.DISCARD_ASK):
                st.markdown(words.DISCARD_SURE)
                st.button(
                    words.DISCARD, key=widget_key(token, "discard"), on_click=_discard, args=(form, token)
                )
    if pressed:
        _pressed(form, token, read, needed)


def _pressed(form: Form, token: str, read: FormRead, needed: str) -> None:
    if not need_actor():
        return
    if not read.records:
        st.error(f"**{words.NOT_SAVED}.** {words.STILL_NEEDED} {plain(needed or words.SEE_REFUSED)}")
        return
    outcome = form.save(read, token)
    if not outcome.stored:
        _refusal(outcome)
        return
    if form.drafted:
        drafts.discard(cache.store(), token)
    leave(form)
    st.session_state[form.done] = tuple(held.record_id for held in outcome.held)
    st.toast(words.STORED)
    st.rerun()


def _refusal(outcome: Outcome) -> None:
    """Say that nothing was saved and, where something else is stored, what that is."""
    st.error(f"**{plain(outcome.fate.value)}.** {plain(outcome.words)} {words.FORM_KEPT}")
    for held in outcome.held:
        st.markdown(
            f"**{words.STORED_NOW}** {plain(corrections.heading(held.record))}, by {plain(held.recorded_by)}"
        )
        st.markdown(told(held))


def told(held: Held[Any]) -> str:
    """Give the values of a stored record in one paragraph; who it is only while names are shown."""
    if cache.names_hidden() and corrections.tells_who(held.record):
        return words.HIDDEN
    return " · ".join(
        f"{plain(bare(name))}: **{plain(text)}**" for name, text in corrections.lines(held.record)
    )
