"""The history of a record and its withdrawal, as shown on the correction page."""

from typing import Any
from uuid import uuid4

import streamlit as st

from hvmon.app import cache, words
from hvmon.app.labels import bare
from hvmon.app.parts import need_actor, plain
from hvmon.records.dossier import local
from hvmon.records.held import Held
from hvmon.services import corrections


def history(record_id: str, zone: str) -> None:
    """Show every version: who, when, why, and what it changed."""
    st.markdown("**History**")
    for version in corrections.history(cache.store(), record_id):
        why = f": {version.reason}" if version.reason else ""
        told = f"{version.status}, {local(version.at, zone):%d %b %Y %H:%M}, by {version.by}{why}"
        st.markdown(f"**Version {plain(version.number)}**, {plain(told)}")
        for column, before, after in version.changes:
            st.text(f"{bare(column)}: {before or 'blank'} → {after or 'blank'}")


def withdrawal(held: Held[Any]) -> None:
    """Offer to withdraw a record as entered in error, with a reason."""
    slot = f"withdraw|{held.record_id}"
    request_id = st.session_state.setdefault(slot, uuid4().hex)
    with st.popover(words.WITHDRAW):
        reason = st.text_input(words.WHY_WITHDRAWN, key=f"{request_id}|why", max_chars=400)
        if st.button(words.WITHDRAW, key=f"{request_id}|go") and need_actor():
            _withdraw(held, reason, request_id)


def _withdraw(held: Held[Any], reason: str, request_id: str) -> None:
    outcome = corrections.withdraw(
        cache.store(), held, reason, actor=cache.actor(), request_id=request_id, now=cache.now()
    )
    if outcome.stored:
        st.session_state["also_listed"] = held.record_id
        st.rerun()
    st.error(f"**{plain(outcome.fate.value)}.** {plain(outcome.words)}")
