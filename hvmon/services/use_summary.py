"""Use of the ventilator in the last four weeks against the person's own usual, not against norms."""

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

import numpy as np

from hvmon.records.course import NightlyUse
from hvmon.records.dossier import Dossier

WINDOW_DAYS = 28
"""[d] use and leak vary from night to night and are judged on weeks (Jeganathan2021; length Project)."""

USUAL_DAYS = 365
"""[d] the person's own usual is the year before the window (Project)."""

SHORT_NIGHT_H = 4
"""[h] a night shorter than this is counted as short."""

_MEASURES: tuple[tuple[str, str, str], ...] = (
    ("usage_h", "use", "h"),
    ("daytime_h", "of which by day", "h"),
    ("leak_l_min", "leak", "L/min"),
    ("tidal_volume_ml", "tidal volume", "mL"),
    ("rate_min", "rate", "/min"),
    ("minute_ventilation_l_min", "minute ventilation", "L/min"),
    ("triggered_pct", "triggered breaths", "%"),
    ("residual_events_per_h", "residual events", "/h"),
)


@dataclass(frozen=True, slots=True)
class UseLine:
    """One measure: median now, and median with 5th to 95th centile of the year before."""

    measure: str
    unit: str
    now: float | None
    nights_now: int
    usual: float | None
    usual_low: float | None
    usual_high: float | None
    nights_usual: int

    @property
    def words(self) -> str:
        """How now stands to the person's own usual."""
        if self.now is None:
            return "not recorded"
        if self.usual_low is None or self.usual_high is None:
            return "no usual to compare with"
        if self.now < self.usual_low:
            return "below own usual range"
        return "above own usual range" if self.now > self.usual_high else "within own usual range"


@dataclass(frozen=True, slots=True)
class UseSummary:
    """The last four weeks of use."""

    lines: tuple[UseLine, ...]
    nights: int
    nights_short: int
    longest_gap_d: int
    note: str


def use_summary(dossier: Dossier, *, today: date) -> UseSummary:
    """Give the use of the last four weeks against the year before."""
    nights = [held.record for held in dossier.nightly_use if held.record.night_of <= today]
    start = today - timedelta(days=WINDOW_DAYS)
    now = [night for night in nights if night.night_of > start]
    usual = [night for night in nights if start - timedelta(days=USUAL_DAYS) < night.night_of <= start]
    lines = tuple(_line(*measure, now, usual) for measure in _MEASURES)
    return UseSummary(
        lines=tuple(line for line in lines if line.nights_now or line.nights_usual),
        nights=len(now),
        nights_short=sum(night.usage_h < SHORT_NIGHT_H for night in now),
        longest_gap_d=_longest_gap([night.night_of for night in now], start, today),
        note=_note(now, usual),
    )


def _numbers(nights: Sequence[NightlyUse], field: str) -> list[float]:
    values: list[Decimal | None] = [getattr(night, field) for night in nights]
    return [float(value) for value in values if value is not None]


def _line(
    field: str, measure: str, unit: str, now: Sequence[NightlyUse], usual: Sequence[NightlyUse]
) -> UseLine:
    here, there = _numbers(now, field), _numbers(usual, field)
    give: Callable[[float], float | None] = lambda q: float(np.percentile(there, q)) if there else None  # noqa: E731
    median = float(np.median(here)) if here else None
    return UseLine(measure, unit, median, len(here), give(50), give(5), give(95), len(there))


def _longest_gap(days: Sequence[date], start: date, today: date) -> int:
    """Give the longest run of days without a recorded night [d]."""
    marks = [start, *days, today]
    return max((later - earlier).days - 1 for earlier, later in itertools.pairwise(marks))


def _note(now: Sequence[NightlyUse], usual: Sequence[NightlyUse]) -> str:
    kinds = {night.leak_kind.value for night in (*now, *usual) if night.leak_l_min is not None}
    if len(kinds) > 1:
        return (
            f"Leak was reported in {len(kinds)} kinds ({', '.join(sorted(kinds))}); they are not comparable."
        )
    leak = f"Leak is {kinds.pop()}. " if kinds else ""
    return f"{leak}A night without a record is not a night without use."
