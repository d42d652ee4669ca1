"""What the trend estimate says of one person, each answer once, and the panel for who wants to check it."""

from datetime import date, timedelta

import streamlit as st

from hvmon.app import reviews
from hvmon.app.parts import plain
from hvmon.app.review_parts import opened, table
from hvmon.services import estimate_answers, estimate_panel, estimate_words
from hvmon.services.review import Review
from hvmon.services.trends import TrendView
from hvmon.units import PressureUnit

PANEL = "How this was estimated: equations, every reading, what was fitted, every assumption"
OPINIONS = "Second opinions: older methods on one like-for-like series, with their weakness"


def estimate(review: Review, unit: PressureUnit) -> None:
    """Show the answers of the estimate, then the second opinions and how it was estimated, folded."""
    st.header("CO2 trend, modelled")
    made = review.trend.estimate
    if made is None:
        st.markdown(f"No estimate: {plain(review.trend.reason)}.")
    else:
        if why := estimate_answers.repeat_words(made.newest, unit):
            st.warning(f"Ask for a repeat of the newest reading: {plain(why)}.")
        risen = _risen(review)
        table(estimate_answers.answers_table(review, unit, risen=risen), empty="")
        st.caption(plain(estimate_answers.VERBAL_NOTE))
    with st.expander(OPINIONS):
        table(estimate_panel.opinions_table(review, unit), empty="No series with recorded conditions.")
    if made is not None and (box := opened(PANEL, "open_how")):
        with box:
            _how(review, unit)


def _risen(review: Review) -> TrendView | None:
    """Ask since when a rise is asked for; None where it is the year that the flags use."""
    made = review.trend.estimate
    if made is None or made.rise is None:
        return None
    first, usual = made.readings[0].taken_at.date(), made.rise.since.date()
    last = review.today - timedelta(days=1)
    if not first <= usual <= last:
        return None
    with st.columns([1, 3])[0]:
        since = st.date_input(
            "Rise since the review of",
            value=usual,
            min_value=first,
            max_value=last,
            format="DD/MM/YYYY",
            key=f"rise_since_{review.dossier.person_key}_{review.today}",
            help="Display only: the trend flags ask for the year before today, whatever is chosen here.",
        )
    if since == usual or not isinstance(since, date):
        return None
    return reviews.risen_since(review, since)


def _how(review: Review, unit: PressureUnit) -> None:
    made = review.trend.estimate
    if made is None:
        return
    st.markdown(plain(estimate_words.MODEL_WORDS))
    st.code(estimate_panel.EQUATIONS, language=None)
    st.markdown(
        "Written down with transition, priors, sources, checks against published analyses, coverage and "
        "limits in `docs/trend.md`."
    )
    st.markdown(plain(estimate_panel.COVERAGE))
    st.markdown(plain(estimate_panel.provenance_line(made, reviews.edits())))
    table(estimate_panel.fitted_table(made, unit), empty="")
    st.markdown("**What each kind of reading carries**")
    table(estimate_words.sources_table(made), empty="")
    st.markdown("**Every reading: used with its weight, or not used and why**")
    table(estimate_panel.readings_table(made, unit), empty="")
    st.caption(
        "Weight: how far the level now moves, on the log scale, when this reading moves by one. Readings "
        "that are more likely than not gross errors weigh little; the newest one is never put aside "
        "silently: both possibilities are kept, each with its chance."
    )
    st.markdown("**Every assumption in force**")
    table(estimate_words.priors_table(reviews.priors()), empty="")
