"""The sidebar: find a person, say who you are, hide names."""

import json

import streamlit as st

from hvmon.app import browser, cache, words
from hvmon.app.parts import plain, shown_name
from hvmon.services import people
from hvmon.vocabulary import Role

NAME_LENGTH = 200


def _pick(person_key: str) -> None:
    cache.choose(person_key)
    if st.session_state.get("person_part") == words.NEW_PART:  # else the one opened would stay out of sight
        st.session_state["person_part"] = words.WHO_PART
    st.session_state["find_turn"] = st.session_state.get("find_turn", 0) + 1


def _label(line: people.PersonLine) -> str:
    born = "" if cache.names_hidden() else f" · born {line.date_of_birth:%d %b %Y}"
    number = "" if cache.names_hidden() else f" · {plain(line.local_id)}"
    return f"{plain(shown_name(line.name))}{number}{born}"


def _find() -> None:
    turn = st.session_state.get("find_turn", 0)  # a new box after each pick, so that it starts empty
    text = st.text_input("Find a person", key=f"find-{turn}", placeholder="name or number", live=True)
    if not text:
        return
    lines = people.find(cache.store(), text)
    if not lines:
        st.caption(words.NOBODY_FOUND)
    for line in lines:
        st.button(
            _label(line),
            key=f"pick-{line.person_key}",
            on_click=_pick,
            args=(line.person_key,),
            width="stretch",
        )


def _you() -> None:
    st.text_input("You", key="actor_name", placeholder="your name", max_chars=NAME_LENGTH)
    st.selectbox(
        "Your role", [role.value for role in Role], index=None, key="actor_role", placeholder="choose"
    )


def _restore(kept: str) -> None:
    """Take back who was working before a refresh; anything else the browser sends is let be."""
    try:
        told = json.loads(kept)
    except ValueError:
        return
    if not isinstance(told, dict):
        return
    name, role = told.get("name"), told.get("role")
    if isinstance(name, str):
        st.session_state["actor_name"] = name[:NAME_LENGTH]
    if role in set(Role):
        st.session_state["actor_role"] = role
    st.session_state["hide_names"] = told.get("hidden") is True


def draw() -> None:
    """Draw the sidebar; its widgets stand on every page, so their values last the session."""
    with st.sidebar:
        _find()
        _you()
        st.toggle("Hide names", key="hide_names")
        role = cache.role()
        browser.keep_who(
            cache.actor(), role.value if role else "", hidden=cache.names_hidden(), restore=_restore
        )
