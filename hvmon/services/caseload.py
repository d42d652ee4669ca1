"""The caseload: who needs attention and why, from summaries worked out beforehand.

A summary holds no name. A write makes only that person's summary stale; `refresh` works stale ones out
again, a batch at a time, so that a caseload of thousands opens from one table.
"""

from collections.abc import Callable, Iterator, Sequence
from datetime import date
from typing import Any

import polars as pl

from hvmon.records.dossier import Dossier
from hvmon.rules import judge, need, owed
from hvmon.rules.finding import GRADES, Finding
from hvmon.rules.packs import Pack
from hvmon.services import course_rows
from hvmon.services.as_of import known_on
from hvmon.services.change_words import difference_words
from hvmon.services.owed_lines import owed_lines
from hvmon.services.packs_in_use import Edits, digest, pack_in_use, priors_in_use
from hvmon.services.rule_trends import rule_trends
from hvmon.services.trends import RuleTrend
from hvmon.store.side import Summary
from hvmon.store.store import Store
from hvmon.vocabulary import Answer, Grade

BATCH = 100
"""People worked out between two reports of progress."""

SHOWN_REASONS = 2
NOBODY: dict[str, Any] = {
    "person_key": pl.String,
    "rank": pl.List(pl.Int64),
    "need": pl.String,
    "grade": pl.String,
    "why": pl.List(pl.String),
    "met": pl.Int64,
    "unknown": pl.Int64,
    "owed": pl.List(pl.String),
    "overdue": pl.Int64,
    "overdue_days": pl.Int64,
    "group": pl.String,
    "last_co2": pl.String,
    "last_change": pl.String,
    "invented": pl.Boolean,
    "edits": pl.String,
}
"""Columns of a caseload without people."""

Progress = Callable[[int, int], object]
"""Told how many of how many are done."""


def stale(store: Store, *, today: date, edits: Edits | None = None) -> tuple[str, ...]:
    """Give the people without a summary for the day, changed since, or judged by other edits of the rules."""
    frame = store.summaries(today)
    waiting = store.stale_people(today)
    if "edits" not in frame.columns:
        return waiting
    others = frame.filter(pl.col("edits") != digest(edits))["person_key"]
    return tuple(dict.fromkeys([*waiting, *others]))


def refresh(
    store: Store,
    *,
    today: date,
    progress: Progress | None = None,
    at_most: int | None = None,
    edits: Edits | None = None,
) -> int:
    """Work out the summaries that are stale for a day; give how many were.

    Parameters
    ----------
    store : Store
        The open store.
    today : date
        The day of judgement.
    progress : callable, optional
        Called with the number done and the number asked for.
    at_most : int, optional
        No more than so many people in this call.
    edits : mapping, optional
        The service's edits of the rules.
    """
    waiting = stale(store, today=today, edits=edits)[:at_most]
    done = 0
    for keys in (waiting[start : start + BATCH] for start in range(0, len(waiting), BATCH)):
        seq = store.revision()
        known = [known_on(dossier, today) for dossier in store.dossiers(keys)]
        rows = [Summary(key, today, seq, payload) for key, payload in _payloads(known, today, edits)]
        store.put_summaries(rows)
        done += len(keys)
        if progress is not None:
            progress(done, len(waiting))
    return done


def caseload(store: Store, *, today: date) -> pl.DataFrame:
    """Give the people with a summary for the day, most need first; columns of `NOBODY` and `stale`."""
    frame = store.summaries(today)
    if "rank" not in frame.columns:
        return pl.DataFrame(schema={**NOBODY, "stale": pl.Boolean})
    places = max((len(rank) for rank in frame["rank"]), default=0)
    keys = [f"_{place}" for place in range(places)]
    ranks = [pl.col("rank").list.get(place, null_on_oob=True).alias(key) for place, key in enumerate(keys)]
    ordered = frame.with_columns(ranks).sort([*keys, "person_key"], descending=[*[True] * len(keys), False])
    return ordered.drop(keys)


def chosen(
    frame: pl.DataFrame,
    *,
    people: Sequence[str] | None = None,
    grades: Sequence[str] = (),
    groups: Sequence[str] = (),
    overdue_only: bool = False,
) -> pl.DataFrame:
    """Give the rows that fit every filter given; the order stays."""
    kept = frame
    if people is not None:
        kept = kept.filter(pl.col("person_key").is_in(list(people)))
    if grades:
        kept = kept.filter(pl.col("grade").is_in(list(grades)))
    if groups:
        kept = kept.filter(pl.col("group").is_in(list(groups)))
    return kept.filter(pl.col("overdue") > 0) if overdue_only else kept


def _payloads(
    known: Sequence[Dossier], today: date, edits: Edits | None
) -> Iterator[tuple[str, dict[str, object]]]:
    packs = [pack_in_use(dossier, today=today, edits=edits) for dossier in known]
    mark = {"edits": digest(edits)}
    trends = rule_trends(known, packs, today=today, priors=priors_in_use(edits))
    for dossier, pack, trend in zip(known, packs, trends, strict=True):
        yield dossier.person_key, payload(dossier, pack, trend, today) | mark


def payload(dossier: Dossier, pack: Pack, trend: RuleTrend | None, today: date) -> dict[str, object]:
    """Give the summary of one person; no name, no identifier."""
    findings = judge.findings(dossier, today=today, pack=pack, trend=trend)
    due = owed.owed(dossier, today=today, pack=pack)
    asked = need.need(findings, due)
    lines = owed_lines(due)
    late = [line for line in lines if line.overdue_days > 0]
    return {
        "rank": list(asked.rank),
        "need": asked.words,
        "grade": _top_grade(findings),
        "why": _reasons(findings),
        "met": sum(finding.raised for finding in findings),
        "unknown": sum(finding.answer == Answer.NOT_ASSESSABLE for finding in findings),
        "owed": [line.short for line in lines],
        "overdue": len(late),
        "overdue_days": max((one.overdue_days for one in late), default=0),
        "group": dossier.person.diagnosis_group.value,
        "last_co2": _last_co2(dossier),
        "last_change": _last_change(dossier),
        "invented": dossier.person.invented,
    }


def _top_grade(findings: Sequence[Finding]) -> str:
    raised = {finding.grade for finding in findings if finding.raised}
    return next((grade.value for grade in GRADES if grade in raised), "")


def _reasons(findings: Sequence[Finding]) -> list[str]:
    raised = [finding for finding in findings if finding.raised]
    shown = [f"{finding.rule_id} {finding.title}" for finding in raised[:SHOWN_REASONS]]
    more = len(raised) - SHOWN_REASONS
    return [*shown, f"and {more} more"] if more > 0 else shown


def _last_co2(dossier: Dossier) -> str:
    last = course_rows.last_reading(dossier)
    return "" if last is None else last


def _last_change(dossier: Dossier) -> str:
    if not dossier.settings_change:
        return ""
    change = dossier.settings_change[-1].record
    earlier = dossier.settings_change[-2].record if len(dossier.settings_change) > 1 else None
    return f"{change.changed_at:%d %b %Y}: {difference_words(earlier, change)}"


GRADE_WORDS: tuple[str, ...] = tuple(grade.value for grade in GRADES if grade != Grade.CONTEXT)
