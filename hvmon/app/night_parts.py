"""The parts of the night page: drop a file, answer what it cannot say, see the night, compare two."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4
from zoneinfo import ZoneInfo

import polars as pl
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from hvmon.app import cache, parts, review_parts, reviews
from hvmon.app.parts import plain
from hvmon.app.pictures import look, show
from hvmon.charts.lanes import NamedNight, draw_shares, draw_strip, draw_two
from hvmon.charts.night import NightMarks, draw_night
from hvmon.records.base import Pressure
from hvmon.records.dossier import Dossier
from hvmon.records.held import Held
from hvmon.records.night_signal import NightSignal
from hvmon.records.number_text import parse_decimal
from hvmon.records.study import NightSummary
from hvmon.services import night_import, night_view, nights
from hvmon.services.night_import import Question, Questions, UnreadableNight
from hvmon.services.nights import NightFacts, OpenedNight
from hvmon.units import PressureUnit
from hvmon.vocabulary import NOT_RECORDED, SampleReason, VentilatorState

QUARTER_S = 900
STRIP_NIGHTS = 12
WHOLE = "whole night"
STRETCHES_S = {WHOLE: 0, "4 h": 14_400, "2 h": 7_200, "1 h": 3_600, "30 min": 1_800, "15 min": 900}
FROM = "night_from"
ANSWERS = "night_answers"


@st.cache_resource(show_spinner=False, max_entries=16)
def _opened(_held: Held[NightSummary], _dossier: Dossier, revision: int, record_id: str) -> OpenedNight:  # noqa: ARG001
    return night_view.opened_night(cache.store_path(), _dossier, _held)


def opened(dossier: Dossier, held: Held[NightSummary]) -> OpenedNight:
    """Give a stored night with its signal and scores, kept by the store's revision."""
    return _opened(held, dossier, cache.store().revision(), held.record_id)


def unit() -> PressureUnit:
    """Give the unit in which CO2 is shown."""
    return PressureUnit(st.session_state.get("show_unit") or PressureUnit.KPA)


def name_of(held: Held[NightSummary]) -> str:
    """Name a night by its evening, its state and its oxygen."""
    night = held.record
    return f"{night.night_of:%d %b %Y}, {night.ventilator.value}"


# --- a file --------------------------------------------------------------------------------------


def upload(dossier: Dossier) -> None:
    """Take a file, ask what it cannot say, show what was understood, save."""
    given = st.file_uploader("File of a night (EDF, EDF+ or CSV)", key="night_file", max_upload_size=20)
    if given is None:
        st.session_state.pop(ANSWERS, None)
        return
    content = given.getvalue()
    answers: dict[str, str] = {"zone": dossier.person.zone, **_answers(given.file_id)}
    try:
        with st.spinner("Reading the file"):
            outcome = _read(given.name, given.file_id, tuple(sorted(answers.items())), content)
    except UnreadableNight as error:
        st.error(f"NOT read. {plain(error)}")
        if answers.keys() - {"zone"} and st.button("Answer anew"):
            st.session_state.pop(ANSWERS, None)
            st.rerun()
        return
    if isinstance(outcome, Questions):
        _ask(outcome.questions, given.file_id)
        return
    for line in outcome.summary:
        st.markdown(f"- {plain(line)}")
    for warning in outcome.warnings:
        st.warning(plain(warning))
    _save(dossier, outcome.signal, content, given.file_id)


@st.cache_resource(show_spinner=False, max_entries=4)
def _read(
    name: str,
    file_id: str,  # noqa: ARG001 - cache key in the place of the content
    answers: tuple[tuple[str, str], ...],
    _content: bytes,
) -> night_view.FileOutcome:
    return night_import.read_upload(name, _content, dict(answers))


def _answers(file_id: str) -> dict[str, str]:
    kept = st.session_state.get(ANSWERS)
    return dict(kept[1]) if kept and kept[0] == file_id else {}


def _ask(questions: tuple[Question, ...], file_id: str) -> None:
    """Ask what only a person can say about a file."""
    st.markdown("**The file cannot say this itself:**")
    with st.form("night_questions"):
        typed = {question.key: _field(question) for question in questions}
        if st.form_submit_button("Answer", type="primary"):
            told = {key: value for key, value in typed.items() if value}
            st.session_state[ANSWERS] = (file_id, {**_answers(file_id), **told})
            st.rerun()


def _field(question: Question) -> str | None:
    label = plain(question.text)
    if question.options:
        return st.radio(label, question.options, index=None, key=f"ask-{question.key}", format_func=plain)
    return st.text_input(label, key=f"ask-{question.key}", max_chars=200)


def _facts() -> NightFacts | None:
    """Ask what belongs to the night and is in no file; None until it is whole."""
    state, oxygen, why = st.columns(3)
    ventilator = state.radio("Ventilator that night", [each.value for each in VentilatorState], index=None)
    flow = oxygen.text_input("Oxygen, L/min (0 for none, empty if not recorded)", max_chars=10)
    reason = why.radio("Reason", [each.value for each in SampleReason], index=None)
    number, pressure, correct = st.columns(3, vertical_alignment="bottom")
    awake = number.text_input("Awake supine tcCO2, if stated", max_chars=10)
    awake_unit = pressure.radio(
        "Its unit", [each.value for each in PressureUnit], index=None, horizontal=True
    )
    from_gases = correct.checkbox("Correct drift from gases drawn in the night")
    if ventilator is None or reason is None or (awake.strip() and awake_unit is None):
        st.caption("Say ventilator and reason, and the unit of a stated value, before the night is saved.")
        return None
    try:
        litres = parse_decimal(flow) if flow.strip() else None
        value = parse_decimal(awake) if awake.strip() else None
    except ValueError as error:
        st.error(plain(error))
        return None
    return _made_facts(ventilator, litres, reason, value, awake_unit, correct=bool(from_gases))


def _made_facts(
    ventilator: str,
    litres: Decimal | None,
    reason: str,
    awake: Decimal | None,
    awake_unit: str | None,
    *,
    correct: bool,
) -> NightFacts:
    return NightFacts(
        ventilator=VentilatorState(ventilator),
        oxygen_l_min=NOT_RECORDED if litres is None else litres,
        reason=SampleReason(reason),
        recorded_by=cache.actor(),
        awake_supine=Pressure(value=awake, unit=PressureUnit(awake_unit)) if awake and awake_unit else None,
        correct_from_gases=correct,
    )


def _save(dossier: Dossier, signal: NightSignal, content: bytes, file_id: str) -> None:
    """Show the night of the file, ask for its circumstances, store it."""
    score = night_view.scored(signal)
    marks = NightMarks(night_view.dips(score), night_view.spans(signal), _levels(dossier))
    show(draw_night(signal, marks, look=look(), unit=unit()), key="night-preview")
    if not parts.need_actor(pressed=False):
        return
    facts = _facts()
    if facts is None or not st.button("Save the night", type="primary"):
        return
    token = st.session_state.setdefault(f"night-token-{file_id}", uuid4().hex)
    outcome = night_view.keep_night(
        cache.store(),
        cache.store_path(),
        dossier.person_key,
        signal,
        content,
        facts,
        request_id=token,
        now=cache.now(),
    )
    if not outcome.stored:
        st.error(f"{outcome.fate}: {plain(outcome.words)}")
        return
    st.success(f"Night of {nights.evening_of(signal):%d %b %Y}: {plain(outcome.words)}")


def _levels(dossier: Dossier) -> pl.DataFrame:
    return night_view.levels(reviews.review(dossier.person_key).pack)


# --- a night -------------------------------------------------------------------------------------


def chosen(
    head: DeltaGenerator, dossier: Dossier, held: tuple[Held[NightSummary], ...]
) -> Held[NightSummary]:
    """Ask which night to show, the newest first, in the line of the page's title."""
    names = {one.record_id: one for one in reversed(held)}
    key = head.selectbox(
        "Night",
        list(names),
        format_func=lambda record_id: name_of(names[record_id]),
        key=f"night-{dossier.person_key}",
        label_visibility="collapsed",
        width=360,
    )
    return names[key]


def one_night(dossier: Dossier, held: Held[NightSummary]) -> None:
    """Show a stored night: drawn, scored, with what could not be judged."""
    night = opened(dossier, held)
    if night.signal is None or night.score is None:
        st.warning(f"{night.state.value}: {plain(night.why_not)}")
        return
    _drawn(dossier, held)
    _scores(night)


@st.fragment
def _drawn(dossier: Dossier, held: Held[NightSummary]) -> None:
    """Draw a night or a stretch of it; another stretch draws this part of the page alone."""
    night = opened(dossier, held)
    if night.signal is None or night.score is None:
        return
    first_s, last_s = _stretch(night.signal)
    marks = NightMarks(night_view.dips(night.score), night_view.spans(night.signal), _levels(dossier))
    drawn = draw_night(night.signal, marks, look=look(), unit=unit(), first_s=first_s, last_s=last_s)
    show(drawn, key=f"night-{held.record_id}-{unit()}")
    st.caption(
        "Shaded: no signal, or left out of the scoring as artefact, warm-up or sensor off; the pointer tells "
        "which. Hollow events are not in the index."
    )


def _stretch(signal: NightSignal) -> tuple[int, int]:
    """Ask for the stretch to draw [s from the start]; a shorter one is drawn second by second."""
    how_long, start, earlier, later = st.columns([4, 4, 1, 1], vertical_alignment="bottom")
    with how_long:
        name = st.segmented_control(
            "Stretch shown", list(STRETCHES_S), default=WHOLE, required=True, key="night_stretch"
        )
    length = STRETCHES_S[name or WHOLE] or signal.n_seconds
    whole = length >= signal.n_seconds
    starts = list(range(0, max(signal.n_seconds - (0 if whole else length), 1) + QUARTER_S - 1, QUARTER_S))
    kept = st.session_state.get(FROM, 0)
    st.session_state[FROM] = min(starts[-1], max(kept, 0))
    begun = {second: signal.start_utc + timedelta(seconds=second) for second in starts}
    zone = ZoneInfo(signal.zone)
    names = {second: f"{moment.astimezone(zone):%H:%M}" for second, moment in begun.items()}
    with start:
        first = st.select_slider("From", starts, format_func=names.__getitem__, key=FROM, disabled=whole)
    step = max(length // 2 // QUARTER_S, 1) * QUARTER_S
    for place, word, by in ((earlier, "Earlier", -step), (later, "Later", step)):
        at_end = whole or first == (starts[0] if by < 0 else starts[-1])
        place.button(word, on_click=_move, args=(by, starts[-1]), disabled=at_end, key=f"night_{word}")
    return (0, signal.n_seconds) if whole else (first, min(first + length, signal.n_seconds))


def _move(by: int, most: int) -> None:
    """Move the stretch shown along the night [s]."""
    st.session_state[FROM] = min(max(st.session_state[FROM] + by, 0), most)


def _scores(night: OpenedNight) -> None:
    if night.signal is None or night.score is None:
        return
    for line in night_view.pattern_lines(night.signal, night.score):
        st.markdown(f":gray-badge[shape] {plain(line)}")
    left, right = st.columns(2)
    with left:
        st.header("Saturation, under each convention by name")
        review_parts.table(night_view.oximetry_table(night.score), empty="")
    with right:
        st.header("Transcutaneous CO2")
        review_parts.table(night_view.co2_table(night.score, unit()), empty="No such channel.")
        for line in night_view.drift_lines(night.score, unit()):
            st.caption(plain(line))
    st.header("Published definitions of night hypoventilation, side by side")
    st.caption(
        "They disagree by design: eight of them gave 10 to 61 % in the same people (Ogna2016). "
        "None decides alone."
    )
    review_parts.table(night_view.definitions_table(night.score), empty="No transcutaneous channel.")


# --- two nights, many nights -----------------------------------------------------------------------


def _named(dossier: Dossier, held: Held[NightSummary]) -> NamedNight | None:
    signal = opened(dossier, held).signal
    return None if signal is None else NamedNight(name_of(held), signal)


def two_nights(dossier: Dossier, held: tuple[Held[NightSummary], ...]) -> None:
    """Compare two nights: on one clock, and as shares of time."""
    st.header("Two nights")
    if len(held) < 2:  # noqa: PLR2004 - two
        st.markdown(":gray[Two stored nights are needed.]")
        return
    names = {one.record_id: one for one in held}
    left, right = st.columns(2)
    keys = list(names)
    first = left.selectbox("One", keys, index=len(keys) - 2, format_func=lambda key: name_of(names[key]))
    second = right.selectbox(
        "The other", keys, index=len(keys) - 1, format_func=lambda key: name_of(names[key])
    )
    one, other = (_named(dossier, names[key]) for key in (first, second))
    if one is None or other is None or first == second:
        st.markdown(":gray[Choose two different nights whose signal is sound.]")
        return
    scores = [opened(dossier, names[key]).score for key in (first, second)]
    if scores[0] is not None and scores[1] is not None:
        for reason in night_view.not_comparable(scores[0], scores[1]):
            st.warning(f"Not comparable: {plain(reason)}")
    show(draw_two(one, other, look=look(), unit=unit()), key=f"two-{first}-{second}-{unit()}")
    spo2, co2 = st.columns(2)
    with spo2:
        show(draw_shares(one, other, co2=False, look=look(), unit=unit()), key=f"spo2-{first}-{second}")
    with co2:
        show(
            draw_shares(one, other, co2=True, look=look(), unit=unit()), key=f"co2-{first}-{second}-{unit()}"
        )


def strip(dossier: Dossier, held: tuple[Held[NightSummary], ...]) -> None:
    """Show the last nights small, under one another."""
    st.header("Nights over time")
    drawn = [named for one in held[-STRIP_NIGHTS:] if (named := _named(dossier, one)) is not None]
    if not drawn:
        st.markdown(":gray[No night with a signal is stored.]")
        return
    show(draw_strip(drawn, look=look(), unit=unit()), key=f"strip-{dossier.person_key}-{unit()}")
    st.caption(
        "Dark: saturation from 70 to 100 %. Green: transcutaneous CO2 from 30 to 70 mmHg (4.0 to 9.3 kPa)."
    )
