"""The sections of the page on the whole cohort. Nobody is named here."""

from typing import Any

import streamlit as st

from hvmon.app import cache, reviews
from hvmon.app.parts import plain
from hvmon.app.pictures import look, show
from hvmon.app.review_parts import table
from hvmon.charts.forest import draw_forest
from hvmon.services import cohort as cohort_service
from hvmon.services import cohort_tables
from hvmon.services.cohort import CohortView
from hvmon.services.packs_in_use import digest
from hvmon.units import PressureUnit

VIEW = "view"
START = "Work out the figures of the whole cohort"
ANEW = "Nothing is worked out before it is asked for: every person of the store is estimated anew."
BEHIND = (
    "**These figures are behind: changes of the record since they were worked out: {}.** They stand as they "
    "were until they are worked out again."
)
PURPOSE = (
    "What the whole cohort shows: what settings changes went with, which symptoms go with CO2, and what the "
    "CO2 model assumes here. Nobody is named; counts below five people are not told. For discussion in the "
    "team, never a ground to choose one person's settings."
)
PER = {"kPa per cmH2O": "cmH2O", "kPa per breath a minute": "breath a minute"}


@st.cache_resource(show_spinner=False, max_entries=4)
def _shelf(path: str, day: str, edited: str) -> dict[str, Any]:  # noqa: ARG001 - cache key
    """Give the place of the figures of one day and set of edits; empty until they are asked for."""
    return {}


def choices() -> tuple[PressureUnit, bool]:
    """Ask how to show it: unit, grey for paper."""
    units = [unit.value for unit in PressureUnit]
    chosen = st.segmented_control(
        "CO2 in", units, default=units[0], required=True, key="show_unit", label_visibility="collapsed"
    )
    return PressureUnit(chosen or units[0]), st.toggle("Grey, for paper", key="show_print")


def view() -> CohortView | None:
    """Give the figures last worked out today; offer to work them out where there are none or some changed."""
    shelf = _shelf(str(cache.store_path()), cache.today().isoformat(), digest(reviews.edits()))
    found: CohortView | None = shelf.get(VIEW)
    changes = 0 if found is None else cache.store().revision() - found.revision
    if found is not None and changes == 0:
        return found
    place = st.empty()
    with place.container():
        st.markdown(ANEW if found is None else BEHIND.format(changes))
        pressed = st.button(START, type="primary")
    if not pressed:
        return found
    with place.container():
        shelf[VIEW] = _worked_out()
    place.empty()
    return shelf[VIEW]  # type: ignore[no-any-return]


def _worked_out() -> CohortView:
    bar = st.progress(0.0, text="Reading the record")
    return cohort_service.cohort(
        cache.store(),
        today=cache.today(),
        edits=reviews.edits(),
        progress=lambda done, total: bar.progress(done / total, text=f"{done} of {total} steps"),
    )


def people(found: CohortView, unit: PressureUnit) -> None:
    """Show the denominators: who is in the figures, and who is no longer seen."""
    st.header("Who stands behind the figures")
    st.markdown(plain(cohort_tables.gone_line(found)))
    table(cohort_tables.counts_table(found, unit), empty="Nobody is in the store.")
    st.caption(
        "The last two columns stand side by side on purpose: when people with high CO2 die or are lost, the "
        "first of them improves though nobody does."
    )


def effects(found: CohortView, unit: PressureUnit, *, for_print: bool) -> None:
    """Show the forest plots, one a kind of change."""
    st.header("What settings changes went with, pooled")
    st.markdown(plain(cohort_tables.changes_line(found)))
    frame = cohort_tables.forest_frame(found)
    if found.effects.refused:
        st.markdown("**No figure: not enough to tell.** What there is:")
        table(cohort_tables.behind_table(frame), empty="No settings change.")
        return
    for (what, unit_words), rows in frame.group_by("what", "unit", maintain_order=True):
        st.subheader(f"CO2 after minus before a change of {what}", anchor=False)
        drawn = draw_forest(
            rows, what=str(what), per=PER[str(unit_words)], look=look(for_print=for_print), unit=unit
        )
        show(drawn, key=f"forest-{what}-{unit}-{for_print}")
    for note in found.effects.notes:
        st.markdown(f":gray[{plain(note)}]")
    st.caption(
        "Medians of readings of one condition within 90 days before and from four to seventeen weeks after. "
        "Filled diamond: everybody, mixed model with people as groups. Hollow squares: diagnosis groups, "
        "drawn toward each other. Lines: 95 % intervals. An association, no proof that the change did it."
    )


def symptoms(found: CohortView) -> None:
    """Show what goes with CO2 within people, pooled, in words and then in every model's numbers."""
    st.header("Symptoms and CO2 within people, pooled")
    st.markdown("\n".join(f"- {plain(line)}" for line in cohort_tables.symptom_lines(found)))
    with st.expander("Every model's figure, with n"):
        table(cohort_tables.symptoms_table(found), empty="No pair of a report and a reading.")
        st.caption(
            "CO2 of the day is the model's, only within 14 days of a reading. Symptoms never enter the "
            "estimate of CO2. “Consistent” needs p over all symptoms below 0.05, and the same sign on "
            "routine readings and after each person's drift is taken off both."
        )
    st.markdown("**Where CO2 and symptoms tell different stories**")
    st.markdown("\n".join(f"- {plain(line)}" for line in cohort_tables.disagreement_lines(found)))


def cannot_say() -> None:
    """Show what these figures cannot say."""
    st.header("What these figures cannot say")
    st.markdown("\n".join(f"- {plain(line)}" for line in cohort_tables.CANNOT_SAY))


def priors() -> None:
    """Show the priors in force, whether the service edited them, and where the model is written down."""
    st.header("What the CO2 model assumes, in force here")
    rows = cohort_tables.priors_table(reviews.edits())
    edited = sum(bool(row["Edited here"]) for row in rows)
    st.markdown(
        f"{len(rows)} rows, {edited or 'none'} edited by this service. Equations, checks and coverage are "
        "written down in `docs/trend.md`; a table `[priors]` in the service's own file edits rows."
    )
    st.dataframe(rows, hide_index=True, height=420)
