"""What the pages share: the open store, today, who is working, and reads keyed by the store's revision."""

import gc
import os
from datetime import UTC, date, datetime
from pathlib import Path

import streamlit as st

from hvmon.records.dossier import Dossier
from hvmon.services import people, stores
from hvmon.vocabulary import Role

STORE_VARIABLE = "HVMON_STORE"
TODAY_VARIABLE = "HVMON_TODAY"


@st.cache_resource(show_spinner=False)
def _opened(path: Path, _create: bool) -> stores.Store:
    return stores.open_store(path, create=_create)


@st.cache_resource(show_spinner=False)
def settle(page: str) -> str:
    """Take what a page has loaded out of the collector's sight, once: every run ends with a collection."""
    gc.collect()
    gc.freeze()
    return page


def store_path() -> Path:
    """Give the path of the store: the one HVMON_STORE names, else the user's own."""
    named = os.environ.get(STORE_VARIABLE)
    return Path(named) if named else stores.default_path()


def store() -> stores.Store:
    """Give the open store. A named store is never made here: a mistyped name would show an empty caseload."""
    path = store_path()
    return _opened(path, STORE_VARIABLE not in os.environ and not path.exists())


def now() -> datetime:
    """Give the moment [aware, UTC]; noon of the pinned day when HVMON_TODAY pins one."""
    pinned = os.environ.get(TODAY_VARIABLE)
    if pinned:
        return datetime.fromisoformat(f"{pinned}T12:00:00+00:00")
    return datetime.now(UTC)


def today() -> date:
    """Give today, or the day HVMON_TODAY pins for demo and tests."""
    pinned = os.environ.get(TODAY_VARIABLE)
    return date.fromisoformat(pinned) if pinned else datetime.now().astimezone().date()


def actor() -> str:
    """Give the name of who is working, as typed in the sidebar; empty when not yet typed."""
    return str(st.session_state.get("actor_name") or "").strip()


def role() -> Role | None:
    """Give the trade of who is working; None when not yet chosen."""
    chosen = st.session_state.get("actor_role")
    return Role(chosen) if chosen else None


def names_hidden() -> bool:
    """Whether names are shown as initials, for screens that others can see."""
    return bool(st.session_state.get("hide_names"))


def choose(person_key: str) -> None:
    """Open a person; every person page shows this one from now on."""
    st.session_state["person_key"] = person_key


def person_key() -> str | None:
    """Give the key of the open person."""
    return st.session_state.get("person_key")


@st.cache_resource(show_spinner=False, max_entries=64)
def _dossier(_store: stores.Store, path: Path, revision: int, key: str) -> Dossier:  # noqa: ARG001 - cache key
    return people.open_dossier(_store, key)


def dossier(key: str) -> Dossier:
    """Give a person's record as of the store's present revision. Frozen, shared, never changed in place."""
    held = store()
    return _dossier(held, store_path(), held.revision(), key)
