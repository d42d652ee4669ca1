"""Proposals side by side: typing them, their answers, and saving one as a planned change."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from uuid import uuid4

import streamlit as st

from hvmon.app import cache, words
from hvmon.app.fields import draw_rows, widget_key
from hvmon.app.labels import label
from hvmon.app.parts import need_actor, plain
from hvmon.app.pictures import look, show
from hvmon.app.review_parts import table
from hvmon.charts.titration import draw_fan, draw_hyperbola, draw_intervals
from hvmon.records.dossier import local
from hvmon.services import plan_form, whatif_tables
from hvmon.services import proposals as service
from hvmon.services import titration as titration_service
from hvmon.services.plan_form import PlanRead
from hvmon.services.titration import TitrationView, Tried
from hvmon.units import PressureUnit

LETTERS = ("A", "B", "C")[: titration_service.MOST_PROPOSALS]

ASK_WORDS = (
    "Type what would be set differently; a blank stays as it is. A proposal is a question to the estimate, "
    "not advice and not an order: settings are decided by licensed judgement under local protocol."
)
HOURS_WORDS = "Hours of use are asked alone. A mean over the day is not drawn beside readings."
GUARD_WORDS = (
    "Facts beside each proposal. They neither forbid nor recommend; within a range does not mean safe."
)


def _key(person_key: str, letter: str, name: str) -> str:
    return f"whatif|{person_key}|{letter}|{name}"


@st.cache_resource(show_spinner=False, max_entries=96)
def _answer(
    _view: TitrationView,
    path: Path,  # noqa: ARG001 - cache key
    revision: int,  # noqa: ARG001
    basis: str,  # noqa: ARG001
    proposal: service.Proposal,
) -> Tried:
    return titration_service.try_proposals(_view, (proposal,))[0]


@st.fragment
def proposals(view: TitrationView, unit: PressureUnit, for_print: bool) -> None:
    """Show the form of up to three proposals and what became of each."""
    st.caption(plain(ASK_WORDS))
    tried = []
    for letter, place in zip(LETTERS, st.columns(len(LETTERS), gap="small"), strict=True):
        with place, st.container(border=True, gap="small"):
            found = _proposal(view, letter)
            if found is not None:
                tried.append(found)
    if not tried:
        st.markdown(":gray[No proposal yet.]")
        return
    _answers(view, tried, unit)
    answers = whatif_tables.answered(tried)
    if answers:
        _charts(view, answers, unit, for_print=for_print)
        _facts(tried)
        _save(view, tried)


def _proposal(view: TitrationView, letter: str) -> Tried | None:
    """Draw the fields of one proposal and answer it; None while it is blank or refused."""
    st.markdown(f"**Proposal {letter}**")
    settings, space = titration_service.starting_settings(view), titration_service.dead_space_ml(view)
    names = service.fields_of(settings.mode)
    texts = {}
    for pair in (names[place : place + 2] for place in range(0, len(names), 2)):
        for name, place in zip(pair, st.columns(2, gap="small"), strict=False):
            with place:
                texts[name] = _field(view, letter, name, service.now_words(settings, name))
    read = service.read_proposal(letter, texts, dead_space_ml=space)
    for name, text in read.refused.items():
        st.markdown(f":red[**Refused.** {plain(service.SHORT[name][0])}: {plain(text)}]")
    for name, text in read.unlikely.items():
        st.markdown(f":orange[**{plain(service.SHORT[name][0])} {plain(text)}** is unlikely, please check]")
    if read.proposal is None:
        return None
    found = _answer(
        view, cache.store_path(), cache.store().revision(), titration_service.basis_words(view), read.proposal
    )  # fmt: skip
    if found.answer is None:
        st.markdown(f":red[**No estimate.** {plain(_in_words(found.refused))}]")
    return found


def _field(view: TitrationView, letter: str, name: str, placeholder: str) -> str:
    short, unit = service.SHORT[name]
    typed = st.text_input(
        f"{letter} · {short} [{unit}]",
        key=_key(view.dossier.person_key, letter, name),
        placeholder=placeholder,
        max_chars=20,
        autocomplete="off",
        persist_state="session",
    )
    return typed or ""


def _in_words(text: str) -> str:
    """Put the names of settings in place of field names."""
    for name in sorted(service.SHORT, key=len, reverse=True):
        text = text.replace(name, service.SHORT[name][0])
    return text


# --- answers --------------------------------------------------------------------------------------------


def _answers(view: TitrationView, tried: Sequence[Tried], unit: PressureUnit) -> None:
    st.markdown("**Estimates, side by side** :orange-badge[not a recommendation]")
    rows = whatif_tables.compared_table(tried, unit, view.today)
    table([{key: _in_words(text) for key, text in row.items()} for row in rows], empty="")
    st.caption(plain(HOURS_WORDS))


def _charts(
    view: TitrationView, answers: Sequence[titration_service.WhatIf], unit: PressureUnit, *, for_print: bool
) -> None:
    shown, person = look(for_print=for_print), view.dossier.person_key
    readings = whatif_tables.same_kind(answers)
    tail = f"{person}-{unit}-{for_print}"
    left, right = st.columns(2, gap="medium")
    with left:
        st.markdown("**Before and after**")
        rows = whatif_tables.interval_rows(readings or answers)
        title = f"Next {readings[0].anchor.source} reading" if readings else "Mean PaCO2 over 24 h"
        show(draw_intervals(rows, title=title, look=shown, unit=unit), key=f"intervals-{tail}")
        st.caption(
            "Thick: 80 of 100 such readings; thin: 95. Filled: the reading now, with the spread of a repeat."
        )
    found = whatif_tables.hyperbola_rows(answers)
    if found is not None:
        with right:
            st.markdown("**Metabolic hyperbola of this person**")
            curve, points = found
            show(draw_hyperbola(curve, points, look=shown, unit=unit), key=f"hyperbola-{tail}")
            st.caption("Bands: CO2 output implied by reading and ventilation, 80 and 95 %. Lines: 95 %.")
    _fans([one for one in answers if one.fan.height and one.steady], unit, for_print=for_print, tail=tail)


def _fans(
    answers: Sequence[titration_service.WhatIf], unit: PressureUnit, *, for_print: bool, tail: str
) -> None:
    if not answers:
        return
    st.markdown("**The way to the new level, on the ventilator**")
    ends = whatif_tables.fan_ends(answers)
    for one, place in zip(answers, st.columns(len(LETTERS), gap="small"), strict=False):
        drawn = draw_fan(
            one.fan,
            label=one.proposal.label,
            earliest_min=one.steady.earliest_on_ventilator_min if one.steady else 0.0,
            ends_kpa=ends,
            look=look(for_print=for_print),
            unit=unit,
        )
        with place:
            show(drawn, key=f"fan-{one.proposal.label}-{tail}")


def _facts(tried: Sequence[Tried]) -> None:
    st.markdown("**Facts beside each**")
    table(whatif_tables.guards_table(tried), empty="")
    st.caption(plain(GUARD_WORDS))
    with st.expander("What would make these estimates wrong", expanded=True):
        st.markdown("\n".join(f"- {plain(line)}" for line in whatif_tables.wrong_lines(tried)))


# --- save one as a plan ---------------------------------------------------------------------------------


def _slot(person_key: str) -> str:
    return f"plan|{person_key}"


def _begun(view: TitrationView) -> tuple[str, datetime]:
    """Give token and moment of the plan on the screen; a saved one never comes back."""
    slot = _slot(view.dossier.person_key)
    if slot not in st.session_state:
        st.session_state[slot] = (uuid4().hex, titration_service.free_moment(view.dossier, cache.now()))
    token, moment = st.session_state[slot]
    return token, moment


def _save(view: TitrationView, tried: Sequence[Tried]) -> None:
    """Ask why, which test is owed and by when, and store the chosen proposal as a planned change."""
    offered = {one.label: one.answer for one in tried if one.answer is not None}
    token, moment = _begun(view)
    with st.container(border=True):
        st.markdown("**Save one as a planned change, with the recheck it owes**")
        chosen = st.radio(
            "Which proposal", list(offered), index=None, horizontal=True, key=widget_key(token, "proposal")
        )
        answer = offered.get(str(chosen))
        earliest = titration_service.earliest_recheck(answer, view.today) if answer else None
        if answer is None:
            return
        asks = plan_form.asks(earliest)
        zone = view.dossier.person.zone
        initial = {ask.key: ask.default for ask in asks}
        answers = {key: _typed(token, key, start) for key, start in initial.items()}
        day = local(moment, zone).date()
        found = plan_form.read_plan(answers, day=day, zone=zone)
        draw_rows(asks, token, found.read, initial)
        if earliest is not None:
            st.caption(
                f"Earliest honest awake gas: {earliest:%d %b %Y}; sooner where acidosis or drowsiness is the "
                "reason. Local protocol goes first."
            )
        needed = _needed(found)
        if needed:
            st.caption(f"{words.STILL_NEEDED} {plain(needed)}")
        if st.button("Save as a planned change", type="primary", key=widget_key(token, "save")):
            _pressed(view, answer, found, token, moment, needed)


def _typed(token: str, key: str, start: str) -> str:
    """Give what a widget holds now; before it is drawn, what it will start with."""
    return str(st.session_state.get(widget_key(token, key), start) or "")


def _needed(found: PlanRead) -> str:
    refused = [f"{label(name)} (refused)" for name in found.read.refused]
    return ", ".join([*refused, *(label(name) for name in found.read.missing)])


def _pressed(
    view: TitrationView,
    answer: titration_service.WhatIf,
    found: PlanRead,
    token: str,
    moment: datetime,
    needed: str,
) -> None:
    if not need_actor():
        return
    if not found.whole or found.owed_test is None or found.owed_by is None:
        st.error(f"**{words.NOT_SAVED}.** {words.STILL_NEEDED} {plain(needed)}")
        return
    outcome = titration_service.save_plan(
        cache.store(), view.dossier.person_key, answer,
        why=found.why, owed_test=found.owed_test, owed_by=found.owed_by,
        actor=cache.actor(), now=moment, request_id=token,
    )  # fmt: skip
    if not outcome.stored:
        st.error(f"**{plain(outcome.fate.value)}.** {plain(outcome.words)} {words.FORM_KEPT}")
        return
    st.session_state.pop(_slot(view.dossier.person_key), None)
    st.toast("Planned. The recheck is owed in the caseload.")
    st.rerun()
