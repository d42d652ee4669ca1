"""Matched windows before two readings, and a person's own usual range in place of norms."""

import math
import statistics
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal

from hvmon.records.course import ClinicalEvent, NightlyUse
from hvmon.records.dossier import Dossier
from hvmon.records.gas import BloodGas, SpotTranscutaneous
from hvmon.records.held import Held
from hvmon.records.settings import SettingsChange
from hvmon.records.study import NightSummary
from hvmon.rules.case import USE_WINDOW_DAYS, basis
from hvmon.rules.finding import Basis
from hvmon.vocabulary import EventKind

LEAST_NIGHTS = 5
"""Fewer nights in a window are "not recorded" (Project)."""
USUAL_DAYS = 365
"""[d] nights before the later window that make the own usual range (Project)."""
LEAST_USUAL_NIGHTS = 20
USUAL_LOW, USUAL_HIGH = 0.05, 0.95
"""Quantiles of the own usual range (Jeganathan2021: most variance lies between people)."""
CHANGED_SHARE = 0.05
"""Smallest relative change of a median worth naming (Project)."""
Z_95 = 1.96


@dataclass(frozen=True, slots=True)
class Reading:
    """One of the two readings that are compared."""

    record_id: str
    day: date
    kpa: float
    source: str
    gas: Held[BloodGas] | None
    """The gas itself; None for a transcutaneous reading."""
    spot: Held[SpotTranscutaneous] | None = None
    night: Held[NightSummary] | None = None

    @property
    def moment(self) -> datetime | None:
        """When it was taken; a night when it began."""
        if self.gas is not None:
            return self.gas.record.drawn_at
        if self.spot is not None:
            return self.spot.record.read_at
        return self.night.record.started_at if self.night is not None else None

    @property
    def start(self) -> date:
        """First day of the window before it."""
        return self.day - timedelta(days=USE_WINDOW_DAYS)


@dataclass(frozen=True, slots=True)
class Pair:
    """The last reading, the one before, and the record they belong to."""

    dossier: Dossier
    last: Reading
    previous: Reading
    like_for_like: bool
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One piece of evidence, in words, with the records it rests on."""

    words: str
    basis: tuple[Basis, ...] = ()


@dataclass(frozen=True, slots=True)
class Weighed:
    """What speaks for a cause, what against, and what was not recorded."""

    support: tuple[Evidence, ...] = ()
    against: tuple[Evidence, ...] = ()
    not_recorded: tuple[str, ...] = ()

    def __add__(self, other: "Weighed") -> "Weighed":
        return Weighed(
            self.support + other.support,
            self.against + other.against,
            self.not_recorded + other.not_recorded,
        )


NOTHING = Weighed()


def joined(parts: Iterable[Weighed]) -> Weighed:
    """Put the evidence of several looks together."""
    return sum(parts, NOTHING)


def supports(words: str, *on: Basis) -> Weighed:
    """Give one piece of evidence for a cause."""
    return Weighed(support=(Evidence(words, on),))


def speaks_against(words: str, *on: Basis) -> Weighed:
    """Give one piece of evidence against a cause."""
    return Weighed(against=(Evidence(words, on),))


def missing(words: str) -> Weighed:
    """Say what was not recorded."""
    return Weighed(not_recorded=(words,))


@dataclass(frozen=True, slots=True)
class Shift:
    """A nightly figure in both windows and its own usual range."""

    last: float
    previous: float
    last_nights: int
    previous_nights: int
    beyond_scatter: bool
    """The medians lie further apart than the nights scatter, and by more than a twentieth."""
    usual_low: float | None
    usual_high: float | None
    last_basis: Basis

    @property
    def up(self) -> bool:
        """Whether it is higher than before or than usual."""
        return (self.beyond_scatter and self.last > self.previous) or (
            self.usual_high is not None and self.last > self.usual_high
        )

    @property
    def down(self) -> bool:
        """Whether it is lower than before or than usual."""
        return (self.beyond_scatter and self.last < self.previous) or (
            self.usual_low is not None and self.last < self.usual_low
        )


Pick = Callable[[NightlyUse], Decimal | None]


def nightly_shift(pair: Pair, pick: Pick) -> Shift | None:
    """Give the shift of a nightly figure between the windows; None when a window has too few nights."""
    last = _values(pair.dossier, pick, pair.last.start, pair.last.day)
    previous = _values(pair.dossier, pick, pair.previous.start, pair.previous.day)
    if len(last) < LEAST_NIGHTS or len(previous) < LEAST_NIGHTS:
        return None
    usual = _values(pair.dossier, pick, pair.last.start - timedelta(days=USUAL_DAYS), pair.last.start)
    numbers, earlier = [v for _, v in last], [v for _, v in previous]
    low, high = _usual_range([v for _, v in usual])
    newest = last[-1][0]
    middle = statistics.median(numbers)
    return Shift(
        middle,
        statistics.median(earlier),
        len(last),
        len(previous),
        _beyond_scatter(numbers, earlier),
        low,
        high,
        basis(newest, f"median {middle:.3g} over {len(last)} nights before {pair.last.day}"),
    )


def shift_words(name: str, unit: str, shift: Shift) -> str:
    """Give a shift in words: both medians, the own usual range."""
    words = (
        f"{name} {shift.last:.3g} {unit} (median of {shift.last_nights} nights), before {shift.previous:.3g} "
        f"({shift.previous_nights})"
    )
    if shift.usual_low is None or shift.usual_high is None:
        return f"{words}; own usual range not known"
    return f"{words}; own usual {shift.usual_low:.3g} to {shift.usual_high:.3g}"


def look_at_nights(pair: Pair, name: str, unit: str, pick: Pick, *, bad: str) -> Weighed:
    """Weigh a nightly figure whose move `up`, `down` or `either` way would support a cause."""
    shift = nightly_shift(pair, pick)
    if shift is None:
        return missing(f"{name}: fewer than {LEAST_NIGHTS} nights in a window")
    words = shift_words(name, unit, shift)
    moved = {"up": shift.up, "down": shift.down, "either": shift.up or shift.down}[bad]
    return supports(words, shift.last_basis) if moved else speaks_against(words, shift.last_basis)


def events_in(
    pair: Pair, kinds: Iterable[EventKind], *, since_previous: bool = False
) -> list[Held[ClinicalEvent]]:
    """Give events in the window before the last reading, or from the previous reading on."""
    start = min(pair.previous.day, pair.last.start) if since_previous else pair.last.start
    wanted = set(kinds)
    return [
        held
        for held in pair.dossier.clinical_event
        if held.record.kind in wanted
        and start <= (held.record.until or held.record.happened_on)
        and held.record.happened_on <= pair.last.day
    ]


def event_words(held: Held[ClinicalEvent]) -> str:
    """Give an event in words."""
    event = held.record
    medicine = f", {event.medicine_class.value}" if event.medicine_class is not None else ""
    detail = f" ({event.detail})" if event.detail else ""
    return f"{event.kind.value}{medicine} on {event.happened_on}{detail}"


def settings_for(pair: Pair, reading: Reading) -> SettingsChange | None:
    """Give the settings in force at the moment of a reading; a change later that day is not yet."""
    moment = reading.moment
    found = [
        held.record for held in pair.dossier.settings_change if moment and held.record.changed_at <= moment
    ]
    return found[-1] if found else None


def _values(dossier: Dossier, pick: Pick, start: date, end: date) -> list[tuple[Held[NightlyUse], float]]:
    found = []
    for held in dossier.nightly_use:
        if start <= held.record.night_of < end:
            value = pick(held.record)
            if value is not None:
                found.append((held, float(value)))
    return found


def _usual_range(values: list[float]) -> tuple[float | None, float | None]:
    if len(values) < LEAST_USUAL_NIGHTS:
        return None, None
    ordered = sorted(values)
    last = len(ordered) - 1
    return ordered[round(USUAL_LOW * last)], ordered[round(USUAL_HIGH * last)]


def _beyond_scatter(now: list[float], before: list[float]) -> bool:
    """Two medians further apart than the nights scatter, and by more than a twentieth."""
    error = math.hypot(_median_error(now), _median_error(before))
    apart = abs(statistics.median(now) - statistics.median(before))
    return apart > Z_95 * error and apart > CHANGED_SHARE * abs(statistics.median(before))


def _median_error(values: list[float]) -> float:
    return 1.2533 * statistics.stdev(values) / math.sqrt(len(values))
