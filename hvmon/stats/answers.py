"""Answers read off one posterior: levels, slope, rise, what each reading, source and change carries."""

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from hvmon.stats.design import Grid, split_changes
from hvmon.stats.inference import SUPPOSITIONS, Posterior
from hvmon.stats.mixture import (
    Estimate,
    Pair,
    level_estimate,
    mixture_cdf,
    mixture_estimate,
    mixture_quantiles,
)
from hvmon.stats.priors import Priors, change_key
from hvmon.stats.statespace import SLOPE, Array

MIN_READINGS = 4
MIN_SPAN_DAYS = 60.0
SLOPE_WIDTH_SHARE = 0.75
"""The 80 % interval of the slope must shrink to this share of its width before any reading."""

TELLING_CHANCE = 0.8
RISE_KPA = 0.3
TOLD_CHANCE = 0.95
TOLD_SHRINKAGE = 0.9
"""A settings effect is told only when its spread shrank to this share of the spread beforehand."""


@dataclass(frozen=True, slots=True)
class LevelAt:
    """Usual level on a date."""

    at: datetime
    level: Estimate


@dataclass(frozen=True, slots=True)
class RiseSince:
    """Change of the usual level between a review and now."""

    since: datetime
    change_kpa: Estimate | None
    p_rise: float
    p_rise_more: float
    """Chance of a rise of more than 0.3 kPa."""


@dataclass(frozen=True, slots=True)
class Sufficiency:
    """Whether slope and rise can be told, with every reason why not."""

    enough: bool
    reasons: tuple[str, ...]

    @property
    def in_words(self) -> str:
        """The state in words."""
        return "enough to tell" if self.enough else f"not enough to tell: {'; '.join(self.reasons)}"


@dataclass(frozen=True, slots=True)
class ReadingUse:
    """What the estimate made of one reading."""

    record_id: str
    taken_at: datetime
    source: str
    pco2_kpa: float
    expected_kpa: float
    weight: float
    """Change of the level now [ln] by this reading [ln]."""
    p_gross: float | None
    """Chance of a gross error; None when it is the only reading."""
    newest: bool

    @property
    def doubtful(self) -> bool:
        """More likely than not a gross error."""
        return self.p_gross is not None and self.p_gross > 0.5  # noqa: PLR2004 - more likely than not


@dataclass(frozen=True, slots=True)
class SourceShare:
    """How much a kind of reading carries of the level now."""

    source: str
    n: int
    share: float
    """Of all readings' weight, 0 to 1."""
    offset_pct: Estimate | None
    """[%] this person's source minus arterial; None for arterial."""


@dataclass(frozen=True, slots=True)
class ChangeEffect:
    """Full effect of one settings change on the usual level, shrunken toward what is usual for its kind."""

    record_id: str
    changed_at: datetime
    kind: str
    label: str
    effect_kpa: Estimate | None
    p_lower: float | None
    n_before: int
    n_after: int
    told: bool
    """False is the usual answer: "not enough to tell"."""
    note: str


def level_at(posterior: Posterior, day: float) -> LevelAt:
    """Give the usual level on a day that was asked for (first row at or after it)."""
    row = min(int(np.searchsorted(posterior.rows.day, day)), posterior.rows.day.size - 1)
    estimate = level_estimate(posterior.weight, posterior.level_mean[row], posterior.level_variance[row])
    return LevelAt(posterior.case.moment(day), estimate)


def slope_estimate(posterior: Posterior) -> Estimate:
    """Give the slope of the usual level now [ln kPa/year]."""
    return mixture_estimate(
        posterior.weight, posterior.now_mean[SLOPE], posterior.now_covariance[SLOPE, SLOPE]
    )


def level_pair(posterior: Posterior, row: int) -> Pair:
    """Give the joint distribution of the level on a row and the level now."""
    now = posterior.rows.now
    return Pair(
        posterior.weight,
        posterior.level_mean[row],
        posterior.level_variance[row],
        posterior.level_mean[now],
        posterior.level_variance[now],
        posterior.covariance_with_now[row],
    )


def rise_since(posterior: Posterior, *, interval: bool = True) -> RiseSince | None:
    """Give the change since the review; None when the review is not before now."""
    case = posterior.case
    if case.review is None or posterior.rows.review < 0:
        return None
    pair = level_pair(posterior, posterior.rows.review)
    more = 1 - float(pair.below(np.array([RISE_KPA]))[0])
    estimate = pair.change_estimate() if interval else None
    return RiseSince(case.moment(case.review), estimate, pair.rise_chance(), more)


def sufficiency(posterior: Posterior, priors: Priors) -> Sufficiency:
    """Say whether slope and rise can be told, with every reason why not.

    Not with fewer than 4 readings or less than 60 days between them; nor when the slope stays as open as
    beforehand and the chance of a rise since the review lies between 0.2 and 0.8.
    """
    case = posterior.case
    n, span = int(case.used.sum()), float(np.ptp(case.day[case.used]))
    reasons = []
    if n < MIN_READINGS:
        reasons.append(f"{n} reading{'s' * (n != 1)}, at least {MIN_READINGS} are needed")
    if span < MIN_SPAN_DAYS:
        reasons.append(f"readings span {span:.0f} days, at least {MIN_SPAN_DAYS:.0f} are needed")
    share, rise = slope_width_share(posterior, priors), rise_since(posterior, interval=False)
    decided = rise is not None and not 1 - TELLING_CHANCE < rise.p_rise < TELLING_CHANCE
    if share > SLOPE_WIDTH_SHARE and not decided:
        reasons.append(
            f"the readings narrow the slope only to {100 * share:.0f} % of what was open beforehand and do "
            "not decide whether the level rose since the review"
        )
    return Sufficiency(not reasons, tuple(reasons))


def slope_width_share(posterior: Posterior, priors: Priors) -> float:
    """Give the width of the slope's 80 % interval over its width before any reading.

    "Before" is the wider of the table's and of the one that the readings leave open by choosing among slope
    spreads: a steep slope moves weight to wide spreads, and must not count as told worse for that.
    """
    grid = Grid.of(priors)
    weight = grid.weight_progressive if posterior.case.progressive else grid.weight
    ends = np.array([0.1, 0.9])
    spread = posterior.grid_values(np.array(priors.grid("slope.sd")), inner=False)
    before = mixture_quantiles(weight, np.zeros(grid.size), grid.slope_sd, ends)
    chosen = mixture_quantiles(posterior.weight, np.zeros(spread.size), spread, ends)
    sd = np.sqrt(posterior.now_covariance[SLOPE, SLOPE])
    after = mixture_quantiles(posterior.weight, posterior.now_mean[SLOPE], sd, ends)
    return float(np.ptp(after) / max(np.ptp(before), np.ptp(chosen)))


def newest_gross_chance(posterior: Posterior) -> float:
    """Give the chance that the newest reading is a gross error, from what all others predict for it."""
    half = posterior.weight.size // SUPPOSITIONS
    return float(posterior.weight[half:].sum())


def reading_uses(full: Posterior) -> tuple[ReadingUse, ...]:
    """Give what the estimate made of each reading, in order of time."""
    case = full.case
    rows = np.flatnonzero(full.rows.reading >= 0)
    expected = mixture_quantiles(
        full.weight, full.signal_mean[rows], np.sqrt(full.signal_variance[rows]), np.array([0.5])
    )
    weights = full.weight_in_now[rows] @ full.weight
    gross = full.gross @ full.weight
    uses = []
    for place, row in enumerate(rows):
        index = int(full.rows.reading[row])
        uses.append(
            ReadingUse(
                case.ids[index],
                case.moment(float(case.day[index])),
                case.source[index],
                float(case.kpa[index]),
                float(np.exp(expected[place, 0])),
                float(weights[place]),
                float(gross[index]) if len(case.ids) > 1 else None,
                bool(case.newest[index]),
            )
        )
    return tuple(uses)


def source_shares(posterior: Posterior) -> tuple[SourceShare, ...]:
    """Give how much each kind of reading carries of the level now, largest first."""
    case = posterior.case
    rows = np.flatnonzero(posterior.rows.reading >= 0)
    pulls = np.abs(posterior.weight_in_now[rows] @ posterior.weight)
    total = float(pulls.sum()) or 1.0
    sources = np.array(case.source)[posterior.rows.reading[rows]]
    names = dict(zip(case.source, case.offset, strict=True))
    shares = [
        SourceShare(
            str(source),
            int((sources == source).sum()),
            float(pulls[sources == source].sum()) / total,
            _offset_pct(posterior, names[str(source)]),
        )
        for source in np.unique(sources)
    ]
    return tuple(sorted(shares, key=lambda each: -each.share))


def _offset_pct(posterior: Posterior, name: str) -> Estimate | None:
    if name == "arterial":
        return None
    estimate = mixture_estimate(posterior.weight, *posterior.state(f"offset.{name}"))
    numbers = (estimate.median, estimate.low95, estimate.high95, estimate.low80, estimate.high80)
    return Estimate(*(100 * float(np.expm1(number)) for number in numbers))


def change_effects(posterior: Posterior, priors: Priors) -> tuple[ChangeEffect, ...]:
    """Give the effect of each settings change; old ones are part of the level and have none of their own."""
    case = posterior.case
    slots = {int(change): slot for slot, change in enumerate(split_changes(case).own)}
    return tuple(
        _effect(posterior, priors, change, slots.get(change)) for change in range(len(case.change_ids))
    )


def _effect(posterior: Posterior, priors: Priors, change: int, slot: int | None) -> ChangeEffect:
    case = posterior.case
    day = float(case.change_day[change])
    before = int((case.used & (case.day <= day)).sum())
    after = int((case.used & (case.day > day)).sum())
    facts = (case.change_ids[change], case.moment(day), case.change_kind[change], case.change_label[change])
    if slot is None:
        note = "older than 18 months or before the six latest changes; part of the level by now"
        return ChangeEffect(*facts, None, None, before, after, False, note)
    mean, variance = posterior.state(f"change {slot}")
    estimate = mixture_estimate(posterior.weight, mean, variance)
    level = level_at(posterior, max(day, 0.0)).level.median
    numbers = (estimate.median, estimate.low95, estimate.high95, estimate.low80, estimate.high80)
    effect = Estimate(*(level * float(np.expm1(number)) for number in numbers))
    lower = float(mixture_below_zero(posterior.weight, mean, variance))
    shrunk = estimate.width95 / (2 * 1.96 * priors.value(f"{change_key(case.change_kind[change])}.sd"))
    told = bool(before and after and shrunk < TOLD_SHRINKAGE and max(lower, 1 - lower) >= TOLD_CHANCE)
    return ChangeEffect(*facts, effect, lower, before, after, told, _effect_note(before, after, told))


def mixture_below_zero(weight: Array, mean: Array, variance: Array) -> float:
    """Give the probability that a mixture is below zero."""
    return float(mixture_cdf(np.array(0.0), weight, mean, np.sqrt(variance)))


def _effect_note(before: int, after: int, told: bool) -> str:
    if not after:
        return "no reading after it: what is usual for its kind, not this person's response"
    if not before:
        return "no reading before it: what is usual for its kind, not this person's response"
    if told:
        return "told apart from no effect"
    return "not enough to tell; below about 0.7 kPa (5 mmHg) that is the usual answer in one person"
