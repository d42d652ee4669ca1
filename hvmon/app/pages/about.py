"""Rules and sources: what flags rest on, what entry asks, and who changed the open person's record."""

import polars as pl
import streamlit as st

from hvmon.app import cache, parts, words
from hvmon.services import reference


def _table(frame: pl.DataFrame, *, height: int = 520) -> None:
    st.dataframe(frame, hide_index=True, height=min(height, 38 * (frame.height + 1)))


st.title("Rules and sources", anchor=False)
st.markdown("\n".join(f"- {parts.plain(line)}" for line in words.CAUTIONS))
key = cache.person_key()
held = cache.dossier(key) if key else None
if held:
    parts.person_banner(held)
rules_tab, sources_tab, entry_tab, priors_tab, audit_tab = st.tabs(
    ["Rules", "Sources", "Entry limits", "Trend assumptions", "Changes to this record"]
)
with rules_tab:
    _table(reference.rules(held, today=cache.today()))
with sources_tab:
    _table(reference.sources())
with entry_tab:
    _table(reference.entry_limits())
with priors_tab:
    _table(reference.priors())
with audit_tab:
    if key:
        _table(reference.audit_trail(cache.store(), key))
    else:
        st.info(words.NO_PERSON)
parts.caution()
