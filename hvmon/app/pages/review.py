"""Review of one person: what changed, how sure that is, what it rests on and what is owed."""

import streamlit as st

from hvmon.app import estimate_parts, parts, review_parts, reviews

with st.container(horizontal=True, vertical_alignment="center", gap="medium"):
    st.title("Review", anchor=False, width="content")
    unit, days, for_print = review_parts.choices()
dossier = parts.open_person()
review = reviews.review(dossier.person_key)
review_parts.tiles(review, unit)
review_parts.flags(review)
review_parts.chart(review, unit, days, for_print=for_print)
estimate_parts.estimate(review, unit)
review_parts.comparisons(review, unit)
review_parts.findings(review)
review_parts.owed(review)
review_parts.use(review)
if box := review_parts.opened(
    "What goes with CO2: settings changes, bicarbonate, symptoms", "open_relations"
):
    with box:
        review_parts.relations(review, reviews.relations(review), unit)
review_parts.record(review)
parts.caution()
