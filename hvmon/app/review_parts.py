"""The sections of the review page. Every text of the record is escaped before it is shown."""

from collections.abc import Sequence
from contextlib import AbstractContextManager
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import streamlit as st

from hvmon.app import night_trend
from hvmon.app.parts import plain
from hvmon.app.pictures import look, show
from hvmon.charts.draw import draw_timeline
from hvmon.charts.layout import REVIEW, Layout
from hvmon.charts.picture import Picture
from hvmon.charts.rows import TimelineRows
from hvmon.rules.finding import Finding
from hvmon.services import estimate_words, review_tables
from hvmon.services import relations as relation_words
from hvmon.services.headline import headline, pressure_words
from hvmon.services.relations import Relations
from hvmon.services.review import AHEAD_DAYS, Review
from hvmon.services.use_summary import use_summary
from hvmon.units import PressureUnit

PERIODS = {"whole record": 0, "2 years": 730, "1 year": 365, "6 months": 183}
GRADE_COLOURS = {"same day": "red", "soon": "orange", "at review": "blue", "context": "gray"}
FLAGS = 5
"""Findings named above the chart; all stand below it with their basis."""

FIRST_ROWS = 12
"""Rows of a long table shown at once; the rest is one click away."""


def table(rows: Sequence[dict[str, str]], *, empty: str) -> None:
    """Show rows as a plain table, or say that there are none."""
    if not rows:
        st.markdown(f":gray[{plain(empty)}]")
        return
    st.table([{plain(key) or " ": plain(value) for key, value in row.items()} for row in rows])


def long_table(rows: Sequence[dict[str, str]], *, empty: str, what: str) -> None:
    """Show the newest rows, and the older ones behind an expander."""
    table(rows[:FIRST_ROWS], empty=empty)
    if len(rows) > FIRST_ROWS:
        with st.expander(f"{len(rows) - FIRST_ROWS} older {what}"):
            table(rows[FIRST_ROWS:], empty=empty)


def opened(label: str, key: str) -> AbstractContextManager[object] | None:
    """Give an expander when it is open, else None: what is in it is worked out only then."""
    box = st.expander(label, key=key, on_change="rerun")
    return box if box.open else None


def tiles(review: Review, unit: PressureUnit) -> None:
    """Show the four lines read first."""
    for tile, column in zip(headline(review, unit), st.columns(4, gap="small"), strict=True):
        with column, st.container(border=True, height="stretch", gap=None):
            st.markdown(f":gray[{plain(tile.label)}]  \n**{plain(tile.words)}**")
            st.caption(plain(tile.detail))


def flags(review: Review) -> None:
    """Show what is met, most pressing first, in one line; never says that all is well."""
    raised = [finding for finding in review.met if finding.raised]
    if not raised:
        st.markdown(
            f"**No rule of the pack “{plain(review.pack.name)}” is met; {len(review.not_assessable)} could "
            "not be assessed.** That is not reassurance: see below what is not known."
        )
        return
    told = [f"{_badge(one)} **{plain(one.rule_id)}** {plain(one.title)}" for one in raised[:FLAGS]]
    more = f" · :gray[and {len(raised) - FLAGS} more]" if len(raised) > FLAGS else ""
    st.markdown(" · ".join(told) + more)


def _badge(finding: Finding) -> str:
    return f":{GRADE_COLOURS[finding.grade]}-badge[{plain(finding.grade)}]"


# --- the chart -----------------------------------------------------------------------------------


def span(review: Review, days: int) -> tuple[date, date]:
    """Give first and last day of the axis for a period of days back; 0 is the whole record."""
    last = review.today + timedelta(days=AHEAD_DAYS)
    first = review.first_day if days == 0 else review.today - timedelta(days=days)
    spare = max(5, (last - first).days // 30)
    return first - timedelta(days=spare), last


def picture(review: Review, *, layout: Layout, unit: PressureUnit, days: int, for_print: bool) -> Picture:
    """Draw the course of a review."""
    course, (first, last) = review.course, span(review, days)
    rows = TimelineRows(
        readings=course.readings,
        limits=course.limits,
        trend=review.trend.band,
        changes=course.changes,
        nights=course.nights,
        symptoms=course.symptoms,
        use=course.use,
        events=course.events,
    )
    return draw_timeline(
        rows,
        layout=layout,
        look=look(for_print=for_print),
        unit=unit,
        zone=review.dossier.person.zone,
        first=first,
        last=last,
        today=review.today,
    )


def choices() -> tuple[PressureUnit, int, bool]:
    """Ask how to show it: unit, period, grey for paper. Display only; values stay as entered."""
    unit = _one_of("CO2 in", [unit.value for unit in PressureUnit], key="show_unit")
    period = _one_of("Period", list(PERIODS), key="show_period")
    for_print = st.toggle("Grey, for paper", key="show_print")
    return PressureUnit(unit), PERIODS[period], for_print


def _one_of(label: str, options: list[str], *, key: str) -> str:
    chosen = st.segmented_control(
        label, options, default=options[0], required=True, key=key, label_visibility="collapsed"
    )
    return str(chosen or options[0])


def chart(review: Review, unit: PressureUnit, days: int, *, for_print: bool) -> None:
    """Show the course."""
    drawn = picture(review, layout=REVIEW, unit=unit, days=days, for_print=for_print)
    show(drawn, key=f"course-{review.dossier.person_key}-{days}-{unit}-{for_print}")


# --- findings ------------------------------------------------------------------------------------


def findings(review: Review) -> None:
    """Show every rule's answer: met with its basis, not assessable with the reason, not met."""
    st.header("Findings, by named rule")
    if review.pack.notes or review.pack.switched_off:
        _edits(review)
    for finding in review.met:
        with st.expander(f"{_badge(finding)} {plain(finding.rule_id)} · {plain(finding.title)}"):
            _finding(finding)
    if not review.met:
        st.markdown("No rule is met. What was not assessable stands below.")
    unknown = [
        {"Rule": one.rule_id, "Title": one.title, "Why it could not be assessed": "; ".join(one.unknown)}
        for one in review.not_assessable
    ]
    with st.expander(f"{len(unknown)} rules could not be assessed"):
        table(unknown, empty="Every rule of this pack could be assessed.")
    calm = [
        {"Rule": one.rule_id, "Title": one.title, "What was compared": one.sentence} for one in review.not_met
    ]
    with st.expander(f"{len(calm)} rules were assessed and are not met"):
        st.markdown(":gray[Not met means that the stated limit was not reached, and nothing more.]")
        table(calm, empty="None.")


def _edits(review: Review) -> None:
    off = [f"{rule_id} is switched off: {reason}" for rule_id, reason in review.pack.switched_off]
    for words in (*review.pack.notes, *off):
        st.markdown(f":orange-badge[edited] {plain(words)}")


def _finding(finding: Finding) -> None:
    st.markdown(plain(finding.sentence))
    facts = (
        ("Limit", finding.limit_words),
        ("Edited here", finding.edited),
        ("Population", finding.population),
        ("Asked of the measurement", finding.condition),
        ("Source", f"{finding.source_key}, {finding.place}"),
        ("Verified", finding.mark.value),
    )
    st.markdown("  \n".join(f":gray[{label}] {plain(text)}" for label, text in facts if text))
    if finding.basis:
        st.markdown("**Rests on**\n" + "\n".join(f"- {plain(one.words)}" for one in finding.basis))
    if finding.unknown:
        st.markdown("**Not known**\n" + "\n".join(f"- {plain(text)}" for text in finding.unknown))


# --- comparison, owed, use -----------------------------------------------------------------------


def comparisons(review: Review, unit: PressureUnit) -> None:
    """Show last versus previous in each like-for-like series."""
    st.header("Last against previous, like for like")
    zone = review.dossier.person.zone
    rows = [
        {
            "Series": str(one.key),
            "Readings": str(one.n),
            "Last": f"{one.last_entered}, {_day(one.last_at, zone)}",
            "Previous": f"{one.previous_entered}, {_day(one.previous_at, zone)}"
            if one.previous_at
            else "none",
            "Difference": (
                "" if one.difference_kpa is None else pressure_words(one.difference_kpa, unit, signed=True)
            ),
            "Against noise": one.noise,
            "In words": one.words,
        }
        for one in review.compared
    ]
    table(rows, empty="No reading that can be compared.")
    st.caption(
        "Noise is the reference change value of the sample kind: what repeat measurement and day-to-day "
        "variation explain in 95 of 100 pairs. Unlike samples are never compared."
    )


def _day(moment: datetime, zone: str) -> str:
    return f"{moment.astimezone(ZoneInfo(zone)):%d %b %Y}"


def owed(review: Review) -> None:
    """Show what is owed and overdue, and what closes it."""
    st.header("Missing and overdue")
    rows = [
        {
            "Owed": line.test,
            "By": f"{line.due:%d %b %Y}",
            "State": f"{line.overdue_days} d OVERDUE" if line.overdue_days > 0 else line.state,
            "Rules": line.rules,
            "Why": line.words,
            "Closes with": line.closes_with,
            "Last done": f"{line.last_done:%d %b %Y}" if line.last_done else "not in the record",
        }
        for line in review.owed_lines
    ]
    table(rows, empty="Nothing is owed by the rules in force.")


def use(review: Review) -> None:
    """Show four weeks of use against the person's own usual."""
    st.header("Use, against the person's own usual")
    summary = use_summary(review.dossier, today=review.today)
    if not summary.lines:
        st.markdown(":gray[No night of use is recorded.]")
        return
    rows = [
        {
            "Measure": f"{line.measure}, {line.unit}",
            "Last 28 nights, median": _number(line.now),
            "Year before, median": _number(line.usual),
            "Year before, 5 to 95 %": f"{_number(line.usual_low)} to {_number(line.usual_high)}",
            "In words": line.words,
        }
        for line in summary.lines
    ]
    table(rows, empty="")
    st.markdown(
        f"{summary.nights} of 28 nights recorded, {summary.nights_short} shorter than 4 h, longest gap "
        f"without a record {summary.longest_gap_d} d. {plain(summary.note)}"
    )


def _number(value: float | None) -> str:
    return "not recorded" if value is None else f"{value:.1f}"


# --- what goes with CO2 --------------------------------------------------------------------------


def relations(review: Review, found: Relations, unit: PressureUnit) -> None:
    """Show what goes with CO2: settings changes with what else moved, bicarbonate, symptoms."""
    st.markdown("**Settings changes**")
    table(relation_words.changes_table(found, unit), empty="No settings change is recorded.")
    if review.trend.estimate is not None:
        st.markdown("**Modelled effect of each settings change**")
        table(estimate_words.effects_table(review.trend.estimate, unit), empty="None.")
    st.markdown(plain(relation_words.bicarbonate_line(found)))
    st.markdown("**Symptoms within this person**")
    lines = relation_words.symptoms_lines(found)
    st.markdown("\n".join(f"- {plain(line)}" for line in lines) or ":gray[No symptom report.]")


# --- the record ----------------------------------------------------------------------------------


def record(review: Review) -> None:
    """Show the record itself: settings, readings, symptoms, events, weight and lung function."""
    dossier = review.dossier
    st.header("Settings now")
    table(review_tables.settings_now(dossier), empty="No settings are recorded.")
    st.caption(plain(review_tables.read_on(dossier)))
    with st.expander("Settings history: who, why, what it owes"):
        table(review_tables.settings_history(dossier), empty="No settings change is recorded.")
    st.header("Readings as entered")
    long_table(review_tables.readings_table(dossier), empty="No reading is recorded.", what="readings")
    if notes := review_tables.po2_notes(dossier):
        st.caption(plain(f"PO2: {'; '.join(notes)}."))
    st.header("Overnight studies")
    night_trend.summaries_over_time(dossier)
    long_table(review_tables.nights_table(dossier), empty="No overnight study is recorded.", what="studies")
    st.caption("Nights are comparable only within one convention, averaging time and state.")
    st.header("Symptoms")
    long_table(review_tables.symptoms_table(dossier), empty="No symptom report.", what="reports")
    left, right = st.columns(2)
    with left:
        st.header("Weight and lung function")
        long_table(review_tables.body_table(dossier), empty="Neither is recorded.", what="values")
    with right:
        st.header("Events")
        long_table(review_tables.events_table(dossier), empty="No event is recorded.", what="events")
