"""The meeting's screen: sizes for a wall, moving through the list, the form of a decision."""

from datetime import datetime
from uuid import uuid4

import streamlit as st

from hvmon.app import cache, parts, review_parts, reviews
from hvmon.app.parts import plain
from hvmon.app.pictures import show
from hvmon.charts.layout import MEETING
from hvmon.services import meeting, meeting_lines
from hvmon.services.outcome import Outcome
from hvmon.services.review import Review
from hvmon.units import PressureUnit
from hvmon.vocabulary import TestKind

# Headline 44 px and more, other text 28 px: read at three metres on a 55-inch screen of 1080 lines. A screen
# of fewer lines shows the same smaller in pixels and as large on the wall.
_STYLE = """
.st-key-meeting_head h1 { font-size: min(46px, 2.4vw); line-height: 1.2; padding: 0; }
.st-key-meeting_head p { font-size: min(30px, 1.57vw); line-height: 1.25; }
.st-key-meeting_facts p { font-size: min(28px, 1.46vw); line-height: 1.2; }
.st-key-meeting_form label p, .st-key-meeting_form input, .st-key-meeting_form button p {
  font-size: clamp(15px, 1.05vw, 20px);
}
@media (max-width: 1600px) {
  .st-key-meeting_chart { zoom: 0.6; overflow: clip; }
  .st-key-meeting_chart > div { width: 166.7%; max-width: none; }
}
.st-key-meeting_style { display: none; }
"""
_style = st.components.v2.component("hvmon_meeting", html="<span></span>", css=_STYLE, isolate_styles=False)

LIST, PLACE, FORM = "meeting_list", "meeting_place", "meeting_form_token"
JUMP, MOVES = "meeting_jump", "meeting_moves"
EVERYBODY = 100_000


def style() -> None:
    """Set the sizes of the meeting's texts."""
    _style(key="meeting_style")


def people() -> tuple[str, ...]:
    """Give the list of this meeting; made once, so that nobody moves while it is gone through."""
    return tuple(st.session_state.get(LIST, ()))


def make_list() -> None:
    """Make the list of this meeting unless it is made."""
    place = st.empty()  # there on every run, so that nothing below it moves
    if LIST not in st.session_state:
        left = reviews.bring_up_to_date(place)
        st.session_state[LIST] = list(meeting.agenda(reviews.caseload(left=left)))
        st.session_state[PLACE] = 0


def again() -> None:
    """Make the list anew, in today's order of need."""
    for key in (LIST, PLACE, FORM):
        st.session_state.pop(key, None)


def place(count: int) -> int:
    """Give where in the list the meeting is."""
    return max(0, min(int(st.session_state.get(PLACE, 0)), count - 1))


def move(step: int) -> None:
    """Go on or back."""
    go(place(len(people())) + step)


def go(there: int) -> None:
    """Go to a place of the list; an unsaved form is left behind with its person."""
    st.session_state[PLACE] = there
    st.session_state[MOVES] = st.session_state.get(MOVES, 0) + 1
    st.session_state.pop(FORM, None)


def listed(at: int) -> None:
    """Show the list of this meeting in its order; choosing one goes there."""
    names = {line.person_key: line.name for line in cache.store().people(limit=EVERYBODY)}
    told = [parts.shown_name(names.get(key, "name not held")) for key in people()]
    # A list of its own after every move, and no callback: a key pressed while a person is still drawn would
    # bring the choice of an older list along, and move by two.
    chosen = st.selectbox(
        "List of this meeting",
        range(len(told)),
        at,
        format_func=lambda place: f"{place + 1}. {told[place]}",
        key=f"{JUMP}-{st.session_state.get(MOVES, 0)}",
        label_visibility="collapsed",
        width=260,
    )
    if chosen != at:
        go(chosen)
        st.rerun()


def bar(at: int, count: int, *, invented: bool) -> None:
    """Show where the meeting is and the buttons to move; Alt with an arrow does the same."""
    with st.container(horizontal=True, vertical_alignment="center"):
        st.button("Previous", on_click=move, args=(-1,), disabled=at == 0, shortcut="Alt+Left")
        st.button("Next", on_click=move, args=(1,), disabled=at >= count - 1, shortcut="Alt+Right")
        st.markdown(f"**{at + 1}** of {count}, in order of need")
        listed(at)
        st.button("Make the list anew", on_click=again)
        parts.invented_mark(invented)


def head(review: Review) -> None:
    """Show who it is and why the person is listed."""
    name = review.dossier.identity.name if review.dossier.identity else "name not held"
    with st.container(key="meeting_head", gap=None):
        st.title(plain(parts.shown_name(name)), anchor=False)
        st.markdown(
            f"{plain(meeting_lines.who_words(review))}  \n**{plain(meeting_lines.why_listed(review))}**"
        )


def facts(review: Review, unit: PressureUnit) -> None:
    """Show four facts in large text."""
    with st.container(key="meeting_facts"):
        for tile, column in zip(meeting_lines.lines(review, unit), st.columns(4), strict=True):
            column.markdown(f":gray[{plain(tile.label)}]  \n**{plain(tile.words)}**  \n{plain(tile.detail)}")


def chart(review: Review, unit: PressureUnit) -> None:
    """Show the CO2 course with the settings changes."""
    drawn = review_parts.picture(review, layout=MEETING, unit=unit, days=0, for_print=False)
    with st.container(key="meeting_chart"):
        show(drawn, key=f"meeting-{review.dossier.person_key}-{unit}")


# --- the decision --------------------------------------------------------------------------------


def _token() -> tuple[str, datetime]:
    """Give the form's token and the moment it was drawn: the same form saved twice is one decision."""
    if FORM not in st.session_state:
        st.session_state[FORM] = (uuid4().hex, cache.now())
    token, drawn_at = st.session_state[FORM]
    return str(token), drawn_at


def _typed(token: str) -> tuple[meeting.Decided, bool]:
    """Draw the fields; give what was typed and whether Save was pressed."""
    left, right = st.columns(2)
    question = left.text_input("Question to the meeting", key=f"question-{token}", max_chars=4000)
    decision = right.text_input("Decision", key=f"decision-{token}", max_chars=200)
    who, when, what, press = st.columns([3, 2, 3, 2], vertical_alignment="bottom")
    owner = who.text_input("Owner", key=f"owner-{token}", max_chars=200)
    due = when.date_input("By", value=None, key=f"due-{token}", format="DD/MM/YYYY")
    kinds = [TestKind.NONE.value, *(kind.value for kind in TestKind if kind != TestKind.NONE)]
    test = what.selectbox("Test it asks for", kinds, key=f"test-{token}")
    pressed = press.button("Save decision", key=f"save-{token}", type="primary", width="stretch")
    return meeting.Decided(question, decision, owner, due, TestKind(test)), pressed


def form(review: Review) -> None:
    """Ask for question, decision, owner and date, and store them together."""
    earlier(review)
    if not parts.need_actor(pressed=False):
        return
    token, drawn_at = _token()
    with st.container(key="meeting_form"):
        decided, pressed = _typed(token)
        if pressed:
            _save(review, decided, token, drawn_at)


def _save(review: Review, decided: meeting.Decided, token: str, drawn_at: datetime) -> None:
    found = meeting.problems(decided, today=cache.today())
    for _, sentence in found:
        st.error(plain(sentence))
    if found:
        return
    outcome = meeting.save_decision(
        cache.store(),
        review.dossier,
        decided,
        met_at=drawn_at,
        actor=cache.actor(),
        request_id=token,
        now=cache.now(),
    )
    _told(outcome)


def _told(outcome: Outcome) -> None:
    if not outcome.stored:
        st.error(f"{outcome.fate}: {plain(outcome.words)}")
        return
    st.session_state.pop(FORM, None)
    st.session_state["meeting_said"] = outcome.words
    st.rerun()


def earlier(review: Review) -> None:
    """Show what was decided before and what is still open."""
    said = st.session_state.pop("meeting_said", None)
    if said:
        st.success(plain(f"Decision: {said}"))
    for one in meeting.last_decisions(review.dossier, at_most=2):
        st.markdown(f":gray[{one.met_at:%d %b %Y}] {plain(one.decision)} :gray[({plain(one.decided_by)})]")
    for action in meeting.open_actions(review.dossier)[:3]:
        late = " · **overdue**" if action.due < cache.today() else ""
        st.markdown(f":gray[open] {plain(action.what)}: {plain(action.owner)} by {action.due:%d %b %Y}{late}")
