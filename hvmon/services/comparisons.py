"""Last against previous, like with like only, and both sides of the last settings change."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import polars as pl

from hvmon.records.dossier import Dossier
from hvmon.records.settings import SettingsChange
from hvmon.services.change_words import difference_words
from hvmon.stats.likeforlike import (
    Comparison,
    LikeForLike,
    NotComparable,
    last_versus_previous,
    reference_change,
)
from hvmon.stats.priors import Priors

SETTLING_DAYS = 1
"""[d] a reading on the day of a change belongs to neither side of it."""


@dataclass(frozen=True, slots=True)
class Compared:
    """One like-for-like series: its last reading against the one before, or why there is none."""

    key: LikeForLike
    n: int
    last_at: datetime
    last_entered: str
    previous_at: datetime | None
    previous_entered: str
    outcome: Comparison | NotComparable

    @property
    def difference_kpa(self) -> float | None:
        """Last less previous [kPa]; None when there is no previous."""
        return self.outcome.difference_kpa if isinstance(self.outcome, Comparison) else None

    @property
    def noise(self) -> str:
        """How the difference stands to noise, in two words."""
        if isinstance(self.outcome, NotComparable):
            return "not comparable"
        return "beyond noise" if self.outcome.beyond_noise else "within noise"

    @property
    def words(self) -> str:
        """What the comparison says, or why it says nothing."""
        return self.outcome.reason if isinstance(self.outcome, NotComparable) else self.outcome.in_words


def entered_words(dossier: Dossier) -> dict[str, str]:
    """Give the value of each reading as typed, with its unit."""
    gases = {held.record_id: str(held.record.pco2) for held in dossier.blood_gas}
    spots = {held.record_id: str(held.record.ptcco2) for held in dossier.spot_transcutaneous}
    nights = {
        held.record_id: f"median {held.record.tcco2_median}"
        for held in dossier.night_summary
        if held.record.tcco2_median is not None
    }
    return gases | spots | nights


def comparisons(
    dossier: Dossier, parts: Mapping[LikeForLike, pl.DataFrame], *, priors: Priors | None = None
) -> tuple[Compared, ...]:
    """Give last versus previous for every series, the one with the newest reading first.

    `priors` hold the noise a difference is held against; None takes the table hvmon ships with.
    """
    entered = entered_words(dossier)
    rows = [_compared(key, part, entered, priors) for key, part in parts.items()]
    return tuple(sorted(rows, key=lambda row: row.last_at, reverse=True))


def _compared(
    key: LikeForLike, part: pl.DataFrame, entered: Mapping[str, str], priors: Priors | None
) -> Compared:
    last = part.row(-1, named=True)
    before = part.row(-2, named=True) if part.height > 1 else None
    return Compared(
        key=key,
        n=part.height,
        last_at=last["taken_at"],
        last_entered=entered.get(last["record_id"], ""),
        previous_at=before["taken_at"] if before else None,
        previous_entered=entered.get(before["record_id"], "") if before else "",
        outcome=last_versus_previous(part, priors=priors),
    )


@dataclass(frozen=True, slots=True)
class AroundChange:
    """The last settings change and the like-for-like readings nearest to it on both sides."""

    change: SettingsChange
    words: str
    key: LikeForLike | None
    before_kpa: float | None
    after_kpa: float | None
    after_at: datetime | None
    beyond_noise: bool | None
    """None when there is no pair."""

    @property
    def difference_kpa(self) -> float | None:
        """Newest after less last before [kPa]."""
        if self.before_kpa is None or self.after_kpa is None:
            return None
        return self.after_kpa - self.before_kpa


def around_last_change(
    dossier: Dossier, parts: Mapping[LikeForLike, pl.DataFrame], *, priors: Priors | None = None
) -> AroundChange | None:
    """Give the last settings change with the newest like-for-like pair around it; None without a change."""
    if not dossier.settings_change:
        return None
    change = dossier.settings_change[-1].record
    earlier = dossier.settings_change[-2].record if len(dossier.settings_change) > 1 else None
    words = difference_words(earlier, change)
    pairs = [pair for key, part in parts.items() if (pair := _pair(key, part, change)) is not None]
    if not pairs:
        return AroundChange(change, words, None, None, None, None, None)
    key, before, after, after_at = max(pairs, key=lambda pair: pair[3])
    limit = reference_change(key.source, priors=priors)
    percent = 100 * (after - before) / before
    beyond = not limit.down_pct <= percent <= limit.up_pct
    return AroundChange(change, words, key, before, after, after_at, beyond)


def _pair(
    key: LikeForLike, part: pl.DataFrame, change: SettingsChange
) -> tuple[LikeForLike, float, float, datetime] | None:
    """Give the last reading before the day of the change and the newest after it, in one complete series."""
    if not key.complete:
        return None
    day = change.changed_at.date()
    days = part["taken_at"].dt.date()
    before, after = part.filter(days < day), part.filter(days >= day + timedelta(days=SETTLING_DAYS))
    if before.is_empty() or after.is_empty():
        return None
    return key, before["pco2_kpa"][-1], after["pco2_kpa"][-1], after["taken_at"][-1]
