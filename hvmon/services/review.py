"""Everything the review of one person shows, computed once for a person, a revision and a day."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import polars as pl

from hvmon.records.dossier import Dossier
from hvmon.rules import judge, need, owed
from hvmon.rules.finding import Finding, Owed
from hvmon.rules.need import Need
from hvmon.rules.packs import Pack
from hvmon.services import course_rows
from hvmon.services.as_of import known_on
from hvmon.services.comparisons import AroundChange, Compared, around_last_change, comparisons
from hvmon.services.drawn_limits import drawn_limits, own_limit
from hvmon.services.owed_lines import OwedLine, owed_lines
from hvmon.services.packs_in_use import Edits, Priors, pack_in_use, priors_in_use
from hvmon.services.trends import TrendView, no_trend, trend_view
from hvmon.stats.likeforlike import LikeForLike, NotComparable, series
from hvmon.stats.second_opinions import SecondOpinion, second_opinions
from hvmon.store.store import Store
from hvmon.vocabulary import Answer

AHEAD_DAYS = 30
"""[d] the axis goes this far past today, so that what is not known yet is seen to be empty."""

SHORTEST_COURSE_DAYS = 120
"""[d] the axis never shows less."""


@dataclass(frozen=True)
class Course:
    """The frames of the timeline; their columns are those of `hvmon.charts.rows`."""

    readings: pl.DataFrame
    limits: pl.DataFrame
    changes: pl.DataFrame
    nights: pl.DataFrame
    symptoms: pl.DataFrame
    use: pl.DataFrame
    events: pl.DataFrame


@dataclass(frozen=True)
class Review:
    """What is known of one person as of a day, for a screen that asks once."""

    dossier: Dossier
    today: date
    findings: tuple[Finding, ...]
    owed: tuple[Owed, ...]
    need: Need
    pack: Pack
    """The rules in force for this person."""
    compared: tuple[Compared, ...]
    """Last versus previous in every like-for-like series, newest first."""
    around_change: AroundChange | None
    """The last settings change; None when none is recorded."""
    opinions: tuple[SecondOpinion | NotComparable, ...]
    """Older methods on the like-for-like series with most readings; empty without a complete series."""
    trend: TrendView
    course: Course

    @property
    def owed_lines(self) -> tuple[OwedLine, ...]:
        """What is owed as lines to read, the longest overdue first."""
        return owed_lines(self.owed)

    @property
    def met(self) -> tuple[Finding, ...]:
        """Rules that are met, most pressing first."""
        return tuple(finding for finding in self.findings if finding.answer == Answer.MET)

    @property
    def not_assessable(self) -> tuple[Finding, ...]:
        """Rules that could not be answered, with the reason in each."""
        return tuple(finding for finding in self.findings if finding.answer == Answer.NOT_ASSESSABLE)

    @property
    def not_met(self) -> tuple[Finding, ...]:
        """Rules that were answered and are not met; never a statement that all is well."""
        return tuple(finding for finding in self.findings if finding.answer == Answer.NOT_MET)

    @property
    def first_day(self) -> date:
        """First day of the record, at least `SHORTEST_COURSE_DAYS` ago."""
        frames = (self.course.readings, self.course.changes, self.course.nights, self.course.symptoms)
        starts: list[datetime] = [frame["at"][0] for frame in frames if frame.height]
        starts += [self.course.use["week"][0]] if self.course.use.height else []
        latest = self.today - timedelta(days=SHORTEST_COURSE_DAYS)
        return min([*(start.date() for start in starts), latest])


def review(
    store: Store, person_key: str, *, today: date, trend: bool = True, edits: Edits | None = None
) -> Review:
    """Give everything a review shows of one person.

    Parameters
    ----------
    store : Store
        The open store.
    person_key : str
        Whose.
    today : date
        Only what was measured up to the end of this day is used.
    trend : bool
        Whether to estimate the CO2 trend; without it the page says that none was estimated.
    edits : mapping, optional
        The service's edits of rules and priors; noise of last against previous and the second opinions
        stand on the same priors as the estimate.
    """
    return review_of(store.dossier(person_key), today=today, trend=trend, edits=edits)


def review_of(dossier: Dossier, *, today: date, trend: bool = True, edits: Edits | None = None) -> Review:
    """Give the review of a dossier; see `review`."""
    known = known_on(dossier, today)
    pack = pack_in_use(known, today=today, edits=edits)
    priors = priors_in_use(edits)
    view = (
        trend_view(known, today=today, limit=own_limit(pack), priors=priors)
        if trend
        else no_trend("no estimate was asked for")
    )
    findings = judge.findings(known, today=today, pack=pack, trend=view.result)
    due = owed.owed(known, today=today, pack=pack)
    parts = series(known)
    return Review(
        dossier=known,
        today=today,
        findings=findings,
        owed=due,
        need=need.need(findings, due),
        pack=pack,
        compared=comparisons(known, parts, priors=priors),
        around_change=around_last_change(known, parts, priors=priors),
        opinions=_opinions(parts, priors),
        trend=view,
        course=_course(known, pack),
    )


def risen_since(review: Review, since: date, *, priors: Priors | None = None) -> TrendView:
    """Estimate the trend of a review anew, with the rise asked for since another day than the flags use."""
    return trend_view(review.dossier, today=review.today, limit=None, priors=priors, since=since)


def _opinions(
    parts: Mapping[LikeForLike, pl.DataFrame], priors: Priors
) -> tuple[SecondOpinion | NotComparable, ...]:
    """Ask the older methods about the complete series with most readings, the newest where two tie."""
    known = [(part.height, part["taken_at"][-1], key) for key, part in parts.items() if key.complete]
    return second_opinions(parts, max(known)[2], priors=priors) if known else ()


def _course(dossier: Dossier, pack: Pack) -> Course:
    rows: dict[str, Any] = {
        "readings": course_rows.readings(dossier),
        "changes": course_rows.changes(dossier),
        "nights": course_rows.nights(dossier),
        "symptoms": course_rows.symptoms(dossier),
        "use": course_rows.use(dossier),
        "events": course_rows.events(dossier),
    }
    return Course(limits=drawn_limits(pack), **rows)
