"""Titration: why CO2 rises, what machine and gases imply, what a change could do, acid-base."""

import streamlit as st

from hvmon.app import parts, titration_parts

with st.container(horizontal=True, vertical_alignment="center", gap="medium"):
    st.title("Titration", anchor=False, width="content")
    unit, for_print = titration_parts.choices()
dossier = parts.open_person()
view = titration_parts.view(dossier.person_key)
titration_parts.why(view, for_print=for_print)
titration_parts.implied(view, unit, for_print=for_print)
titration_parts.what_if(view, unit, for_print=for_print)
titration_parts.acid_base(view, unit, for_print=for_print)
parts.caution()
