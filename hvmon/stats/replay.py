"""A record replayed day by day: when each flag would have been raised from what was known on that day.

Corrections count from the day they were made; a record entered in error counts until it was withdrawn.
Pure stepping: the service brings the versions and writes the answer.
"""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from enum import StrEnum
from functools import cache
from itertools import islice
from typing import Any

import numpy as np
import polars as pl

from hvmon.records.dossier import Dossier, dated
from hvmon.records.gas import BloodGas, SpotTranscutaneous
from hvmon.records.held import Held
from hvmon.records.person import Person
from hvmon.records.settings import SettingsChange
from hvmon.records.study import NightSummary
from hvmon.stats.answers import rise_since, sufficiency
from hvmon.stats.cases import Case, make_case
from hvmon.stats.inference import Posterior, posteriors
from hvmon.stats.likeforlike import key_of, series_of_frame
from hvmon.stats.mixture import chance_above
from hvmon.stats.priors import MODEL_VERSION, Priors, default_priors
from hvmon.stats.second_opinions import THRESHOLD, Method, SecondOpinion, second_opinions
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.trend import PROGRESSIVE
from hvmon.vocabulary import RecordStatus

WATCH, LIKELY = 0.80, 0.95
REVIEW_DAYS = 365.25
EVERY_DAYS = 30
LAST_ABOVE = "last reading above the limit"

MOVING = (BloodGas, SpotTranscutaneous, NightSummary, SettingsChange)
"""Records that move the trend; all others reach only the watcher handed in."""


class Turn(StrEnum):
    """What happened to a flag."""

    RAISED = "raised"
    CLEARED = "cleared"
    RAISED_AGAIN = "raised again"


@dataclass(frozen=True, slots=True)
class Status:
    """A flag on one day: its score and the threshold it is held against; None when it cannot be told."""

    score: float | None
    threshold: float
    reading_ids: tuple[str, ...] = ()

    @property
    def raised(self) -> bool:
        """Whether the flag stands."""
        return self.score is not None and self.score >= self.threshold


@dataclass(frozen=True, slots=True)
class Event:
    """One flag raised, cleared or raised again."""

    person_key: str
    flag: str
    turn: Turn
    on: date
    score: float | None
    threshold: float
    reading_ids: tuple[str, ...]
    model_version: str
    priors_digest: str


Watcher = Callable[[Dossier, datetime], Mapping[str, Status]]
"""Further findings of one day, for example those of the rules."""


@dataclass(frozen=True)
class ReplayOptions:
    """What is replayed and at which thresholds."""

    limits_kpa: tuple[float, ...] = ()
    watch: float = WATCH
    likely: float = LIKELY
    review_days: float = REVIEW_DAYS
    every_days: int = EVERY_DAYS
    """[days] a day on which nothing was recorded is still looked at this often; 1 looks at every day."""
    thresholds: Mapping[Method, float] = field(default_factory=lambda: dict(THRESHOLD))

    def __post_init__(self) -> None:
        """Refuse thresholds that cannot be met or are always met."""
        for name, value in (("watch", self.watch), ("likely", self.likely)):
            if not 0 < value < 1:
                raise ValueError(f"replay: {name} {value} must lie between 0 and 1")
        if self.every_days < 1:
            raise ValueError(f"replay: every_days {self.every_days} must be 1 or more")


@dataclass(frozen=True)
class PersonReplay:
    """The replay of one person."""

    person_key: str
    first_day: date
    last_day: date
    days_looked_at: int
    events: tuple[Event, ...]

    @property
    def years(self) -> float:
        """Length of the replay [years]."""
        return (self.last_day - self.first_day).days / 365.25


def known_at(person: Person, versions: Sequence[Held[Any]], moment: datetime) -> Dossier:
    """Give the dossier as it was known at a moment: versions in force then, errors not yet withdrawn.

    Parameters
    ----------
    versions
        Every version of every record of the person, in any order.
    """
    current: dict[str, Held[Any]] = {}
    for held in sorted(versions, key=lambda each: each.seq):
        if held.recorded_at <= moment:
            current[held.record_id] = held
    parts: dict[str, list[Held[Any]]] = {}
    for held in current.values():
        name = _field_of(type(held.record).__name__)
        if held.status != RecordStatus.ENTERED_IN_ERROR and name:
            parts.setdefault(name, []).append(held)
    for part in parts.values():
        part.sort(key=lambda each: dated(each.record))
    filled: dict[str, Any] = {name: tuple(part) for name, part in parts.items()}
    return Dossier(person_key=person.person_key, person=person, **filled)


@cache
def _field_of(kind: str) -> str | None:
    """Give the dossier's field that holds records of a type by its name; None for person and identity."""
    text = re.sub(r"(?<!^)(?=[A-Z])", "_", kind).lower()
    text = {"person_rule_edit": "rule_edit"}.get(text, text)
    return text if text in Dossier.__dataclass_fields__ and text not in {"person", "identity"} else None


def days_to_look(versions: Sequence[Held[Any]], until: datetime, every_days: int) -> list[datetime]:
    """Give the moments looked at: the end of each day something was recorded, and regular days between."""
    recorded: dict[date, datetime] = {}
    for held in versions:
        if held.recorded_at <= until:
            day = held.recorded_at.date()
            recorded[day] = max(recorded.get(day, held.recorded_at), held.recorded_at)
    moments = sorted(recorded.values())
    if not moments:
        return []
    every = [*moments]
    for start, end in zip(moments, [*moments[1:], until], strict=True):
        step = start + timedelta(days=every_days)
        while step < end:
            every.append(step)
            step += timedelta(days=every_days)
    return sorted({*every, until})


def replay_person(
    person: Person,
    versions: Sequence[Held[Any]],
    *,
    until: datetime,
    options: ReplayOptions | None = None,
    priors: Priors | None = None,
    watcher: Watcher | None = None,
) -> PersonReplay | None:
    """Step through one person's record and give every turn of every flag.

    Parameters
    ----------
    versions
        Every version of every record, with the moment each was recorded.
    until
        Aware moment of the last step.
    watcher
        Gives further findings of a day, from the dossier known on it.

    Returns
    -------
    PersonReplay or None
        None when nothing was recorded by `until`.
    """
    wanted, table = options or ReplayOptions(), priors or default_priors()
    moments = days_to_look(versions, until, wanted.every_days)
    if not moments:
        return None
    due = trend_moments(versions, moments, wanted.every_days)
    chosen = [moment for moment in moments if watcher is not None or moment in due]
    looks = (_look(person, versions, moment, wanted, moment in due) for moment in chosen)
    standing, trend = _Standing(person.person_key, table.digest()), dict[str, Status]()
    for look, posterior in _with_posteriors(looks, table):
        if look.due:
            trend = opinion_status(look.readings, wanted, table)
        if posterior is not None:
            trend |= trend_status(posterior, wanted, table)
        found = {} if watcher is None else dict(watcher(look.dossier, look.moment))
        standing.take(trend | found, look.moment)
    return PersonReplay(
        person.person_key, moments[0].date(), moments[-1].date(), len(moments), tuple(standing.events)
    )


def trend_moments(
    versions: Sequence[Held[Any]], moments: Sequence[datetime], every_days: int
) -> frozenset[datetime]:
    """Give the moments at which the estimate is made anew; on other days it stands as it was.

    A CO2 reading or settings change was recorded, corrected or withdrawn on that day, or `every_days` have
    passed, or it is the last moment.
    """
    moving = {held.recorded_at.date() for held in versions if isinstance(held.record, MOVING)}
    due: list[datetime] = []
    for moment in moments:
        waited = not due or moment - due[-1] >= timedelta(days=every_days)
        if waited or moment.date() in moving or moment == moments[-1]:
            due.append(moment)
    return frozenset(due)


@dataclass(frozen=True)
class _Look:
    moment: datetime
    dossier: Dossier
    readings: pl.DataFrame
    case: Case | None
    due: bool


def _look(
    person: Person, versions: Sequence[Held[Any]], moment: datetime, options: ReplayOptions, due: bool
) -> _Look:
    dossier = known_at(person, versions, moment).until(moment)
    if not due:
        return _Look(moment, dossier, pl.DataFrame(), None, due)
    readings = readings_frame(dossier)
    case, _ = make_case(
        readings,
        changes_frame(dossier),
        today=moment,
        review=moment - timedelta(days=options.review_days),
        progressive=person.diagnosis_group in PROGRESSIVE,
    )
    return _Look(moment, dossier, readings, case, due)


LOOKS_AT_ONCE = 256


def _with_posteriors(looks: Iterator[_Look], priors: Priors) -> Iterator[tuple[_Look, Posterior | None]]:
    """Pair each look with its posterior, a bounded number of looks at a time."""
    while block := list(islice(looks, LOOKS_AT_ONCE)):
        runs = posteriors([look.case for look in block if look.case is not None], priors)
        for look in block:
            yield look, None if look.case is None else next(runs)


class _Standing:
    """Flags as they stand, turning into events when they change."""

    def __init__(self, person_key: str, digest: str) -> None:
        self.person_key, self.digest = person_key, digest
        self.raised: dict[str, bool] = {}
        self.events: list[Event] = []

    def take(self, found: Mapping[str, Status], moment: datetime) -> None:
        """Compare the flags of a day with those standing; a flag no longer spoken of is cleared."""
        gone = {name: Status(None, 0.0) for name, up in self.raised.items() if up and name not in found}
        for name, status in {**found, **gone}.items():
            if status.raised and not self.raised.get(name, False):
                self._event(name, Turn.RAISED_AGAIN if name in self.raised else Turn.RAISED, status, moment)
                self.raised[name] = True
            elif not status.raised and self.raised.get(name, False):
                self._event(name, Turn.CLEARED, status, moment)
                self.raised[name] = False

    def _event(self, name: str, turn: Turn, status: Status, moment: datetime) -> None:
        facts = (status.score, status.threshold, status.reading_ids, MODEL_VERSION, self.digest)
        self.events.append(Event(self.person_key, name, turn, moment.date(), *facts))


def trend_status(posterior: Posterior, options: ReplayOptions, priors: Priors) -> dict[str, Status]:
    """Give the trend flags of one day in two tiers: rise, rise of more than 0.3 kPa, above a limit."""
    ids, row = posterior.case.ids, posterior.rows.now
    rise = rise_since(posterior, interval=False)
    told = sufficiency(posterior, priors).enough
    known = rise if told else None
    chances = {
        "trend: rise": None if known is None else known.p_rise,
        "trend: rise of more than 0.3 kPa": None if known is None else known.p_rise_more,
    }
    for limit in options.limits_kpa:
        chances[f"trend: above {limit:g} kPa"] = chance_above(
            float(np.log(limit)),
            posterior.weight,
            posterior.level_mean[row],
            posterior.level_variance[row],
        )
    tiers = (("watch", options.watch), ("likely", options.likely))
    return {
        f"{name}, {tier}": Status(chance, threshold, ids)
        for name, chance in chances.items()
        for tier, threshold in tiers
    }


def opinion_status(readings: pl.DataFrame, options: ReplayOptions, priors: Priors) -> dict[str, Status]:
    """Give the second opinions of one day on the newest reading's like-for-like series, and fixed limits."""
    parts = series_of_frame(readings)
    if not parts:
        return {}
    newest = max(parts.values(), key=lambda part: part["taken_at"][-1]).row(-1, named=True)
    key = key_of(newest["source"], newest["ventilator"], newest["oxygen_l_min"])
    found = {
        f"second opinion: {each.method.value}": Status(each.score, each.threshold, each.reading_ids)
        for each in second_opinions(parts, key, priors=priors, thresholds=options.thresholds)
        if isinstance(each, SecondOpinion)
    }
    for limit in options.limits_kpa:
        found[f"{LAST_ABOVE} ({limit:g} kPa)"] = Status(
            float(newest["pco2_kpa"]), float(np.nextafter(limit, np.inf)), (newest["record_id"],)
        )
    return found


def replay_many(
    people: Iterator[tuple[Person, Sequence[Held[Any]]]],
    *,
    until: datetime,
    options: ReplayOptions | None = None,
    priors: Priors | None = None,
    watcher: Watcher | None = None,
) -> Iterator[PersonReplay]:
    """Replay people one after the other; who has no record by `until` is left out."""
    for person, versions in people:
        done = replay_person(person, versions, until=until, options=options, priors=priors, watcher=watcher)
        if done is not None:
            yield done


EVENTS_SCHEMA: dict[str, pl.DataType] = {
    "person_key": pl.String(),
    "flag": pl.String(),
    "turn": pl.String(),
    "on": pl.Date(),
    "score": pl.Float64(),
    "threshold": pl.Float64(),
    "readings": pl.String(),
    "model_version": pl.String(),
    "priors_digest": pl.String(),
}


def events_frame(replays: Sequence[PersonReplay]) -> pl.DataFrame:
    """Give all events as a frame, one row a turn, for writing to a file."""
    rows = [
        (
            event.person_key, event.flag, event.turn.value, event.on, event.score, event.threshold,
            "; ".join(event.reading_ids), event.model_version, event.priors_digest,
        )
        for replay in replays
        for event in replay.events
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=EVENTS_SCHEMA, orient="row")
