"""Correct a stored record or withdraw it; the versions before stay, with who, when and why."""

from typing import Any

import streamlit as st

from hvmon.app import cache, form, parts, versions, words
from hvmon.app.fields import widget_key
from hvmon.records.dossier import Dossier
from hvmon.records.held import Held
from hvmon.services import corrections
from hvmon.services.asked import Answers, Section
from hvmon.services.form_read import FormRead
from hvmon.services.outcome import Outcome


def _form(held: Held[Any], dossier: Dossier) -> form.Form:
    def sections(answers: Answers) -> tuple[Section, ...]:
        return corrections.sections(held, answers)

    def understand(answers: Answers, _token: str) -> FormRead:
        return corrections.understand(answers, held, dossier=dossier, now=cache.now())

    def save(read: FormRead, token: str) -> Outcome:
        why = str(st.session_state.get(widget_key(token, "why_changed")) or "")
        return corrections.correct(
            cache.store(), held, read, why, actor=cache.actor(), request_id=token, now=cache.now()
        )

    name = f"correct-{held.record_id}"
    return form.Form(
        name,
        dossier.person_key,
        sections,
        understand,
        save,
        "Save the correction",
        "",
        drafted=False,
    )


def _choose(dossier: Dossier) -> str | None:
    named = {choice.record_id: choice.words for choice in corrections.choices(dossier)}
    asked_for = st.session_state.pop("correct_record", None)
    if asked_for is not None:
        st.session_state["also_listed"] = st.session_state["which_record"] = asked_for
    named |= _also_listed(dossier, named)
    return st.selectbox(
        words.WHICH_RECORD,
        list(named),
        index=None,
        key="which_record",
        format_func=lambda key: named.get(key, "withdrawn record"),
    )


def _also_listed(dossier: Dossier, named: dict[str, str]) -> dict[str, str]:
    """Give the record another page asked for or that was just withdrawn, where the list lacks it."""
    record_id = st.session_state.get("also_listed")
    if record_id is None or record_id in named:
        return {}
    held = corrections.current(cache.store(), record_id)
    if held.record.person_key != dossier.person_key:
        return {}
    return {record_id: corrections.heading(held.record)}


def _seen(record_id: str) -> Held[Any]:
    """Give the version the form was begun on, so that a change by someone else is told and not taken over."""
    store = cache.store()
    now = corrections.current(store, record_id)
    slot = f"token|correct-{record_id}|{now.record.person_key}"
    number = st.session_state.get(f"seen|{record_id}") if slot in st.session_state else None
    st.session_state[f"seen|{record_id}"] = number or now.version
    return corrections.seen(store, record_id, number or now.version)


def _draw(record_id: str, dossier: Dossier) -> None:
    if corrections.withdrawn(corrections.current(cache.store(), record_id)):
        st.warning(words.IN_ERROR)
    else:
        held = _seen(record_id)
        page_form = _form(held, dossier)
        if page_form.done in st.session_state:
            st.success(words.CORRECTED)
        form.draw(page_form)
        versions.withdrawal(held)
    versions.history(record_id, dossier.person.zone)


st.title("Correct a record", anchor=False)
person = parts.open_person()
chosen = _choose(person)
if chosen:
    _draw(chosen, person)
parts.caution()
