"""Nights of one person: drop a file, see the night drawn and scored, compare two."""

import streamlit as st

from hvmon.app import night_parts, parts
from hvmon.services import nights

head = st.container(horizontal=True, vertical_alignment="center", gap="medium")
head.title("Night", anchor=False, width="content")
dossier = parts.open_person()
held = nights.nights_with_signal(dossier)
with st.expander("Add the file of a night", expanded=not held):
    night_parts.upload(dossier)
if held:
    night_parts.one_night(dossier, night_parts.chosen(head, dossier, held))
else:
    st.markdown(":gray[No night with a signal is stored for this person.]")
night_parts.two_nights(dossier, held)
night_parts.strip(dossier, held)
parts.caution()
