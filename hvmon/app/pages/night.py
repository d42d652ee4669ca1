"""Nights of one person: drop a file, see the night drawn and scored, compare two."""

import streamlit as st

from hvmon.app import night_parts, parts
from hvmon.services import nights

st.title("Night", anchor=False)
dossier = parts.open_person()
with st.expander("Add the file of a night", expanded=not nights.nights_with_signal(dossier)):
    night_parts.upload(dossier)
held = nights.nights_with_signal(dossier)
if held:
    names = {one.record_id: one for one in held}
    chosen = st.selectbox(
        "Night",
        list(reversed(names)),
        format_func=lambda key: night_parts.name_of(names[key]),
        key=f"night-{dossier.person_key}",
    )
    night_parts.one_night(dossier, names[chosen])
else:
    st.markdown(":gray[No night with a signal is stored for this person.]")
night_parts.two_nights(dossier, held)
night_parts.strip(dossier, held)
parts.caution()
