"""Parts shared by the pages: the person's banner, the caution, escaped text, going to another page."""

import string
from pathlib import Path

import streamlit as st

from hvmon.app import cache, words
from hvmon.records.dossier import Dossier
from hvmon.services import people

PAGES_FOLDER = Path(__file__).parent / "pages"
_ESCAPES = str.maketrans({mark: f"\\{mark}" for mark in string.punctuation})


def plain(text: object) -> str:
    """Escape every ASCII punctuation, so that a text is shown as typed by calls that read markdown.

    Without it a note that holds the address of a picture makes the browser ask another machine for it.
    """
    return " ".join(str(text).split()).translate(_ESCAPES)


def shown_name(name: str) -> str:
    """Give the name, or its initials while names are hidden. Not escaped."""
    return people.initials(name) if cache.names_hidden() else name


def caution() -> None:
    """Show the line that stands on every page."""
    st.caption(words.CAUTION)


def invented_mark(invented: bool) -> None:
    """Mark an invented person; nothing for others."""
    if invented:
        st.badge(words.INVENTED, color="orange")


def _pairs(who: people.Banner) -> tuple[tuple[str, str], ...]:
    hidden = cache.names_hidden()
    born = f"{who.date_of_birth:%d %b %Y}" if who.date_of_birth and not hidden else "hidden"
    return (
        ("Local id", "hidden" if hidden else who.local_id),
        ("Second id", "hidden" if hidden else who.second_identifier),
        ("Born", born),
        ("Age", "not known" if who.age is None else f"{who.age} y"),
        ("Group", who.diagnosis_group),
        ("SpO2 target", who.spo2_target),
    )


def person_banner(who: people.PersonLine | Dossier) -> None:
    """Show whose page this is: name, two identifiers, birth, age, group, oxygen target, goals of care."""
    held = who if isinstance(who, Dossier) else cache.dossier(who.person_key)
    facts = people.banner(held, today=cache.today())
    with st.container(border=True, key="person_banner"):
        with st.container(horizontal=True, vertical_alignment="center", gap="small"):
            st.markdown(f"**{plain(shown_name(facts.name))}**", width="content")
            invented_mark(facts.invented)
            for label, value in _pairs(facts):
                st.markdown(f":gray[{plain(label)}] {plain(value)}", width="content")
        if facts.goals_of_care:
            st.markdown(f":gray[Goals of care] {plain(facts.goals_of_care)}")


def open_person() -> Dossier:
    """Give the open person's record under its banner; without one say how to open one, and stop."""
    key = cache.person_key()
    if key is None:
        st.info(words.NO_PERSON)
        caution()
        st.stop()
    held = cache.dossier(key)
    person_banner(held)
    return held


def need_actor(*, pressed: bool = True) -> bool:
    """Whether a name and a role to sign with are there; says what to do when not.

    `pressed` tells that something was to be saved just now, and was not.
    """
    if cache.actor() and cache.role():
        return True
    if pressed:
        st.warning(words.NO_ACTOR)
    else:
        st.info(words.NAME_FIRST)
    return False


def page_path(name: str) -> Path:
    """Give the file of a page, by its name in `words.PAGE_TITLES`."""
    return PAGES_FOLDER / f"{name}.py"


def go_to(name: str) -> None:
    """Go to another page."""
    st.switch_page(page_path(name))
