"""The meeting: one person a screen, readable from the table, the decision saved there."""

import streamlit as st

from hvmon.app import cache, meeting_parts, parts, reviews
from hvmon.units import PressureUnit

meeting_parts.style()
meeting_parts.make_list()
people = meeting_parts.people()
if not people:
    st.title("Meeting", anchor=False)
    st.info("Nobody asks for eyes and nothing is overdue by the rules in force; that is not reassurance.")
    st.button("Make the list anew", on_click=meeting_parts.again)
    parts.caution()
    st.stop()
at = meeting_parts.place(len(people))
cache.choose(people[at])
review = reviews.review(people[at])
unit = PressureUnit(st.session_state.get("show_unit") or PressureUnit.KPA)
meeting_parts.bar(at, len(people), invented=review.dossier.person.invented)
meeting_parts.head(review)
meeting_parts.facts(review, unit)
meeting_parts.chart(review, unit)
meeting_parts.form(review)
parts.caution()
