"""The sections of the titration page. It explains and estimates; no text of it recommends a setting."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import streamlit as st

from hvmon.app import cache, reviews
from hvmon.app.parts import plain
from hvmon.app.pictures import look, show
from hvmon.app.proposal_parts import proposals
from hvmon.app.review_parts import long_table, table
from hvmon.charts.acid_base import draw_map
from hvmon.rules.differential import Question
from hvmon.services import titration as service
from hvmon.services import titration_tables as tables
from hvmon.services.dead_space_form import FIELDS, MeasuredDeadSpace, read_measured
from hvmon.services.packs_in_use import digest
from hvmon.services.titration import TitrationView
from hvmon.units import PressureUnit

GASES = 4
"""Gases shown at once under the estimates."""

ORDER_WORDS = (
    "Order of the team: real, unwell, received, enough, changed. No score; every cause stands. Evidence is "
    "of the four weeks before each of the two readings, held against this person's own usual range. What is "
    "not recorded is evidence of nothing."
)
IMPLIED_WORDS = (
    "A displayed volume is not used when unintentional leak is above the team's limit, and a gas off the "
    "ventilator says nothing about ventilation at night. The CO2 output that gas and ventilation imply "
    "is the check whether both can be true."
)
MAP_WORDS = (
    "Bands: bicarbonate expected in an acute (dotted line) and in a chronic rise (dashed "
    "line), 2 mmol/L either way, the chronic one over slopes 0.35 to 0.51 mmol/L per mmHg "
    "(CompensationTables, Martinu2003). Thin lines: equal bicarbonate [mmol/L]. Long dashes: pH 7.35 and "
    "7.45 (RCEM). One gas near normal cannot tell acute from chronic. Venous and temperature-corrected gases "
    "are not on the map."
)
SIGNS_WORDS = (
    "Circle arterial, triangle earlobe, square fingertip; filled off, hollow on the ventilator, struck "
    "through when that was not recorded. Numbers are those of the table."
)


@st.cache_resource(show_spinner=False, max_entries=32)
def _view(
    path: Path,  # noqa: ARG001 - cache key
    revision: int,  # noqa: ARG001
    key: str,
    day: date,
    edited: str,  # noqa: ARG001
    measured: MeasuredDeadSpace | None,
    *,
    below_140_cm: bool,
) -> TitrationView:
    return service.titration_of(
        cache.dossier(key), today=day, trend=reviews.review(key).trend, edits=reviews.edits(),
        below_140_cm=below_140_cm, measured=measured,
    )  # fmt: skip


def view(person_key: str) -> TitrationView:
    """Give the titration view of a person as of today, the store's revision and the decisions on the page."""
    held = cache.store()
    texts = {name: str(st.session_state.get(_key(person_key, name)) or "") for name in FIELDS}
    return _view(
        cache.store_path(), held.revision(), person_key, cache.today(), digest(reviews.edits()),
        read_measured(texts).measured, below_140_cm=bool(st.session_state.get(_key(person_key, "below"))),
    )  # fmt: skip


def _key(person_key: str, name: str) -> str:
    return f"titration|{person_key}|{name}"


def choices() -> tuple[PressureUnit, bool]:
    """Ask how to show it: unit, grey for paper. Display only; values stay as entered."""
    units = [unit.value for unit in PressureUnit]
    unit = st.segmented_control(
        "CO2 in", units, default=units[0], required=True, key="titration_unit", label_visibility="collapsed",
        persist_state="session",
    )  # fmt: skip
    for_print = st.toggle("Grey, for paper", key="titration_print")
    return PressureUnit(str(unit or units[0])), for_print


# --- 1. why is CO2 rising ------------------------------------------------------------------------------


def why(view: TitrationView, *, for_print: bool) -> None:
    """Show the team's ordered differential with evidence for, against and not recorded."""
    st.header("1 · Why is CO2 rising?", anchor=False)
    st.markdown(plain(tables.differential_words(view)))
    rows = tables.overview_table(view)
    if not rows:
        return
    table(rows, empty="")
    st.caption(plain(ORDER_WORDS))
    for question in Question:
        _question(view, question, for_print=for_print)
    with st.expander("Records that the evidence rests on"):
        table(tables.basis_table(view), empty="No evidence rests on a record.")


def _question(view: TitrationView, question: Question, *, for_print: bool) -> None:
    rows = tables.causes_table(view, question)
    speaks = sum(1 for row in rows if row["For"])
    told = f"{speaks} of {len(rows)} causes with something for" if speaks else "nothing speaks for a cause"
    title = f"**{plain(tables.letter(question))} · {plain(question.value)}** {told}"
    with st.expander(title, expanded=for_print or speaks > 0):
        table(rows, empty="")


# --- 2. what machine and gases imply -------------------------------------------------------------------


def implied(view: TitrationView, unit: PressureUnit, *, for_print: bool) -> None:
    """Show the estimates with their SD, or the refusal with its reason."""
    st.header("2 · What do the machine and the gases imply?", anchor=False)
    table(tables.figures_table(view), empty="")
    st.caption(plain(IMPLIED_WORDS))
    rows = tables.gases_table(view, unit)
    shown = len(rows) if for_print else GASES
    table(rows[:shown], empty="No blood gas is recorded.")
    if rows[shown:]:
        with st.expander(f"{len(rows) - shown} older gases"):
            table(rows[shown:], empty="")
    with st.expander("Measured dead space, and decisions"):
        _decisions(view.dossier.person_key, short=tables.height_is_short(view))


def _decisions(person_key: str, *, short: bool) -> None:
    """Ask for a measured dead space, and whether predicted weight is used below 140 cm."""
    st.markdown(
        "A measured dead space (Bohr-Enghoff, interface included) replaces the estimate on this page. It is "
        "not stored."
    )
    texts = {}
    for (name, (said, unit)), place in zip(FIELDS.items(), st.columns(len(FIELDS)), strict=True):
        with place:
            texts[name] = st.text_input(
                f"{said} [{unit}]", key=_key(person_key, name), max_chars=20,
                autocomplete="off", persist_state="session",
            ) or ""  # fmt: skip
    for name, text in read_measured(texts).refused.items():
        said = FIELDS[name][0] if name in FIELDS else "measurement"
        st.markdown(f":red[**Refused.** {plain(said)}: {plain(text)}]")
    if short:
        st.toggle(
            "Use predicted weight below 140 cm, where it has not been checked",
            key=_key(person_key, "below"), persist_state="session",
        )  # fmt: skip


# --- 3. what could a change do -------------------------------------------------------------------------


def what_if(view: TitrationView, unit: PressureUnit, *, for_print: bool) -> None:
    """Show what a change could do, proposals side by side."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.header("3 · What could a change do?", anchor=False, width="content")
        st.badge("not a recommendation", color="orange")
    refused = tables.refusal_words(view.baseline)
    if refused:
        st.markdown(f"**No what-if.** {plain(refused)}")
        _plans(view, unit)
        return
    with st.expander("What every what-if of this person starts from", expanded=for_print):
        table(tables.start_table(view), empty="")
    _cautions(service.starting_cautions(view))
    proposals(view, unit, for_print)
    _plans(view, unit)


def _cautions(found: Sequence[str]) -> None:
    for text in found:
        st.markdown(f":orange-badge[note] {plain(text)}")


def _plans(view: TitrationView, unit: PressureUnit) -> None:
    if not view.plans:
        return
    st.markdown("**Planned and not yet carried out**")
    table(tables.plans_table(view, unit), empty="")
    st.caption("Each plan is owed in the caseload until the settings change itself is recorded.")


# --- 4. acid-base --------------------------------------------------------------------------------------


def acid_base(view: TitrationView, unit: PressureUnit, *, for_print: bool) -> None:
    """Show the pH/PCO2 map with this person's path, and the reading of each gas."""
    st.header("4 · Acid-base, gas by gas", anchor=False)
    rows = tables.acid_base_table(view)
    if not rows:
        st.markdown(":gray[No blood gas is recorded.]")
        return
    curves, isolines = tables.acid_base_curves()
    drawn = draw_map(curves, isolines, tables.acid_base_path(view), look=look(for_print=for_print), unit=unit)
    left, right = st.columns([3, 2], gap="medium")
    with left:
        show(drawn, key=f"map-{view.dossier.person_key}-{unit}-{for_print}")
    with right:
        newest = rows[0]
        st.markdown(
            f"**Newest gas, {plain(newest['Drawn'])}:** pH {plain(newest['pH'])}, "
            f"PCO2 {plain(newest['PCO2'])}, {plain(newest['Sample'])}"
        )
        st.markdown(plain(newest["Reads as"]))
        st.caption(plain(MAP_WORDS))
        st.caption(plain(SIGNS_WORDS))
    if for_print:
        table(rows, empty="")
    else:
        long_table(rows, empty="", what="gases")
