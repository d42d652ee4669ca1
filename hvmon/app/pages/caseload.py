"""The caseload: who needs attention and why, what is owed, sorted by need."""

import polars as pl
import streamlit as st

from hvmon.app import cache, parts, reviews, words
from hvmon.app.parts import plain
from hvmon.services import caseload as service
from hvmon.services import people
from hvmon.vocabulary import DiagnosisGroup

# people on one page of the list
ROWS = 40

EVERYBODY = 100_000
WIDTHS = [2.5, 4.5, 2.6, 2.7]
COLOURS = {"same day": "red", "soon": "orange", "at review": "blue", "": "gray"}


def _filters() -> dict[str, object]:
    with st.container(horizontal=True, vertical_alignment="bottom"):
        text = st.text_input(
            "Find in the caseload", key="caseload_text", placeholder="name or number", width=230
        )
        grades = st.pills("Need", service.GRADE_WORDS, selection_mode="multi", key="caseload_grades")
        groups = st.multiselect(
            "Diagnosis group", [group.value for group in DiagnosisGroup], key="caseload_groups", width=280
        )
        overdue = st.toggle("Overdue only", key="caseload_overdue")
    found = people.find(cache.store(), text, limit=EVERYBODY) if text.strip() else None
    return {
        "people": None if found is None else [line.person_key for line in found],
        "grades": grades,
        "groups": groups,
        "overdue_only": overdue,
    }


def _invented(frame: pl.DataFrame) -> None:
    """Mark a list that holds invented people; beside real ones each invented row is marked too."""
    count = frame["invented"].sum()
    if count:
        all_of = (
            "all people in this list are invented" if count == frame.height else f"{count} of them invented"
        )
        st.badge(f"{words.INVENTED}: {all_of}", color="orange")


def _counts(frame: pl.DataFrame) -> None:
    grades = dict(frame["grade"].value_counts().rows())
    told = " · ".join(f"**{grades.get(grade, 0)}** {grade}" for grade in service.GRADE_WORDS)
    late = frame.filter(pl.col("overdue") > 0).height
    st.markdown(f"{frame.height} people · {told} · **{late}** with something overdue", width="content")


def _open(person_key: str) -> None:
    cache.choose(person_key)
    st.session_state["open_review"] = True


def _row(row: dict[str, object], names: dict[str, people.PersonLine]) -> None:
    line = names.get(str(row["person_key"]))
    name = parts.shown_name(line.name) if line else "name not held"
    number = "" if line is None or cache.names_hidden() else f" · {line.local_id}"
    who, why, owed, last = st.columns(WIDTHS, gap="small", border=False)
    who.button(
        plain(f"{name}{number}"),
        key=f"open-{row['person_key']}",
        on_click=_open,
        args=(row["person_key"],),
        width="stretch",
    )
    with why:
        _why(row)
    owed.markdown(f":small[{_two(row['owed'], 'nothing owed by the rules in force')}]")  # type: ignore[arg-type]
    newest = plain(row["last_co2"] or "no CO2 reading")
    invented = " · invented" if row["invented"] else ""
    last.markdown(f":small[{newest}]  \n:small[:gray[{plain(row['group'])}{invented}]]")


def _two(texts: list[str], nothing: str) -> str:
    more = f" and {len(texts) - 2} more" if len(texts) > 2 else ""  # noqa: PLR2004 - two
    return "; ".join(plain(text) for text in texts[:2]) + more or nothing


def _why(row: dict[str, object]) -> None:
    grade = str(row["grade"])
    shown = f":{COLOURS[grade]}-badge[{grade or 'no rule met'}]"
    first, *rest = [plain(reason) for reason in row["why"]] or [""]  # type: ignore[attr-defined]
    told = [*rest, f"{row['unknown']} rules could not be assessed"]
    st.markdown(f"{shown} {first}  \n:small[:gray[{'; '.join(told)}]]")


def _list(frame: pl.DataFrame) -> None:
    pages = max(1, -(-frame.height // ROWS))
    page = 1
    if pages > 1:
        page = st.selectbox(f"Page, of {pages}", range(1, pages + 1), key="caseload_page", width=150)
    names = {line.person_key: line for line in cache.store().people(limit=EVERYBODY)}
    for title, column in zip(
        ("Person", "Why, by rule", "Owed", "Newest CO2 reading"),
        st.columns(WIDTHS, gap="small"),
        strict=True,
    ):
        column.markdown(f"**{title}**")
    for row in frame.slice((page - 1) * ROWS, ROWS).iter_rows(named=True):
        _row(row, names)


def page() -> None:
    """Draw the caseload."""
    if st.session_state.pop("open_review", False):
        parts.go_to("review")
    st.title("Caseload")
    frame = reviews.caseload(left=reviews.bring_up_to_date(st.empty()))
    if frame.is_empty():
        st.info("Nobody is in this store yet. Add a person on the page “Person”, or load the demo record.")
        parts.caution()
        return
    filters = _filters()
    kept = service.chosen(frame, **filters)  # type: ignore[arg-type]
    with st.container(horizontal=True, vertical_alignment="center"):
        _counts(kept)
        _invented(kept)
    if kept.is_empty():
        st.info("Nobody fits these filters.")
    else:
        _list(kept)
    parts.caution()


page()
