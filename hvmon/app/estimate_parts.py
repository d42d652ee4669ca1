"""How sure the estimate of one person is, and the panel for who wants to check it."""

import streamlit as st

from hvmon.app import reviews
from hvmon.app.parts import plain
from hvmon.app.review_parts import opened, table
from hvmon.services import estimate_panel
from hvmon.services.review import Review
from hvmon.units import PressureUnit

PANEL = "For who wants to check it: equations, every reading, what was fitted"


def sure(review: Review, unit: PressureUnit) -> None:
    """Show each chance in a word and in per cent, then the panel a statistician asks for."""
    made = review.trend.estimate
    if made is None:
        return
    st.subheader("How sure, in words and numbers", anchor=False)
    if made.newest.ask_for_repeat:
        st.warning(f"Ask for a repeat of the newest reading: {plain(made.newest.why)}.")
    table(estimate_panel.sure_table(review.trend, unit), empty="")
    st.caption(plain(estimate_panel.VERBAL_NOTE))
    if box := opened(PANEL, "open_check"):
        with box:
            _check(review, unit)


def _check(review: Review, unit: PressureUnit) -> None:
    made = review.trend.estimate
    if made is None:
        return
    st.code(estimate_panel.EQUATIONS, language=None)
    st.markdown(
        "Written down with transition, priors, sources, checks against published analyses, coverage and "
        "limits in `docs/trend.md`; every prior in force stands under “How this was estimated” and on the "
        "page Service."
    )
    st.markdown(plain(estimate_panel.provenance_line(made, reviews.edits())))
    table(estimate_panel.fitted_table(made, unit), empty="")
    st.markdown("**Every reading: used with its weight, or not used and why**")
    table(estimate_panel.readings_table(made, unit), empty="")
    st.caption(
        "Weight: how far the level now moves, on the log scale, when this reading moves by one. Readings "
        "that are more likely than not gross errors weigh little; the newest one is never put aside "
        "silently: both possibilities are kept, each with its chance."
    )
