"""Unfinished forms offered back, and what was stored last."""

import streamlit as st

from hvmon.app import cache, words
from hvmon.app.form import Form, begin, begun, told
from hvmon.app.parts import go_to, plain, shown_name
from hvmon.records.dossier import local
from hvmon.services import corrections, drafts
from hvmon.services.stores import StoreError


def _begun_words(one: drafts.Unfinished) -> str:
    try:
        dossier = cache.dossier(one.person_key)
    except StoreError as error:
        return str(error)
    name = shown_name(dossier.identity.name) if dossier.identity else one.person_key
    when = f"{local(one.kept_at, dossier.person.zone):%d %b %Y %H:%M}"
    count = sum(1 for text in one.answers.values() if text)
    return f"{name}: {count} answers, last kept {when}, by {one.begun_by or 'nobody named'}"


def _open(one: drafts.Unfinished, slot: str) -> None:
    cache.choose(one.person_key)
    st.session_state[slot.format(person_key=one.person_key)] = one.token


def _discard(token: str) -> None:
    drafts.discard(cache.store(), token)


def _offer(one: drafts.Unfinished, slot: str) -> None:
    with st.container(border=True):
        st.text(_begun_words(one))
        with st.container(horizontal=True):
            st.button(words.GO_ON, key=f"go-{one.token}", type="primary", on_click=_open, args=(one, slot))
            with st.popover(words.DISCARD_ASK):
                st.markdown(words.DISCARD_SURE)
                st.button(words.DISCARD, key=f"drop-{one.token}", on_click=_discard, args=(one.token,))


def offer_all(form_name: str) -> None:
    """Offer every unfinished form of a kind; used while no person is open."""
    waiting = drafts.unfinished(cache.store(), form_name)
    if waiting:
        st.markdown(f"**{words.ELSEWHERE}**")
    for one in waiting:
        _offer(one, f"token|{form_name}|{{person_key}}")


def offered(form: Form) -> bool:
    """Offer this person's unfinished forms before a new one is begun; whether any was offered."""
    if begun(form) is not None or form.done in st.session_state:
        return False
    waiting = [
        one for one in drafts.unfinished(cache.store(), form.name) if one.person_key == form.person_key
    ]
    if waiting:
        st.markdown(words.KEPT)
    for one in waiting:
        _offer(one, f"token|{form.name}|{{person_key}}")
    if waiting:
        st.button(words.NEW, on_click=begin, args=(form,))
    return bool(waiting)


def stored_panel(form: Form) -> bool:
    """Show what was stored last and offer to correct it; whether there was anything to show."""
    ids = st.session_state.get(form.done)
    if ids is None:
        return False
    count = f"{len(ids)} record" + ("s" if len(ids) > 1 else "")
    st.success(f"**{words.STORED}.** {plain(count)}.")
    for record_id in ids:
        stored(record_id)
    st.button(words.NEW, type="primary", on_click=begin, args=(form,))
    return True


def stored(record_id: str) -> None:
    """Show one stored record with a way to correct it."""
    held = corrections.current(cache.store(), record_id)
    with st.container(border=True):
        with st.container(horizontal=True, vertical_alignment="center"):
            heading = corrections.heading(held.record)
            st.markdown(f"**{plain(heading[:1].upper() + heading[1:])}**", width="content")
            if st.button("Correct", key=f"correct-{record_id}"):
                st.session_state["correct_record"] = record_id
                go_to("correct")
        st.markdown(told(held))
