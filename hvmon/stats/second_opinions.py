"""Second opinions on one like-for-like series: older methods, each with its known weakness beside it.

Every method gives one score, higher for more evidence of a rise, and raises at or above a threshold, so
that methods can be compared at the same rate of false flags.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import polars as pl
from numpy.typing import NDArray

from hvmon.stats.likeforlike import (
    DAYS_PER_YEAR,
    MIN_TREND_READINGS,
    SOURCE_KEYS,
    LikeForLike,
    NotComparable,
    median_slope,
    reference_change,
)
from hvmon.stats.priors import Priors, default_priors

Floats = NDArray[np.float64]

BASELINE_READINGS = 4
"""Readings that set the target of EWMA and CUSUM."""

EWMA_WEIGHT = 0.3
CUSUM_SLACK = 0.5
"""[spreads] half of the shift the CUSUM is tuned to."""


class Method(StrEnum):
    """The second opinions."""

    REFERENCE_CHANGE = "reference change value"
    THEIL_SEN = "Theil-Sen slope"
    MANN_KENDALL = "Mann-Kendall test"
    EWMA = "EWMA chart"
    CUSUM = "CUSUM chart"


WEAKNESS: dict[Method, str] = {
    Method.REFERENCE_CHANGE: (
        "looks at two readings only: almost blind to slow drift, and one odd reading raises it"
    ),
    Method.THEIL_SEN: "assumes exchangeable errors and a straight line; a short series rarely tells",
    Method.MANN_KENDALL: (
        "tells only whether values tend upward, not by how much; readings close in time count as independent"
    ),
    Method.EWMA: (
        "needs a clean baseline of the same kind; an odd baseline reading moves the target for ever, and "
        "day-to-week spells count as change"
    ),
    Method.CUSUM: (
        "needs a clean baseline of the same kind; every reading counts alike however far apart in time"
    ),
}

THRESHOLD: dict[Method, float] = {
    Method.REFERENCE_CHANGE: 1.6448536269514722,
    Method.THEIL_SEN: 1.959963984540054,
    Method.MANN_KENDALL: 1.959963984540054,
    Method.EWMA: 3.0,
    Method.CUSUM: 4.0,
}
"""Usual thresholds: one-sided 95 %, two-sided 95 %, three spreads (Montgomery2012), h = 4."""


@dataclass(frozen=True, slots=True)
class SecondOpinion:
    """What one older method says of one series, and what it cannot see."""

    method: Method
    key: LikeForLike
    score: float
    threshold: float
    low: float | None
    """[kPa/year] for Theil-Sen: interval of the slope."""
    estimate: float | None
    high: float | None
    p: float | None
    reading_ids: tuple[str, ...]

    @property
    def raised(self) -> bool:
        """Whether the method speaks of a rise at its threshold."""
        return self.score >= self.threshold

    @property
    def weakness(self) -> str:
        """The method's known weakness; shown beside every result."""
        return WEAKNESS[self.method]

    @property
    def verdict(self) -> str:
        """What it says, without its numbers."""
        said = "speaks of a rise" if self.raised else "does not speak of a rise"
        return f"{self.method.value} on {len(self.reading_ids)} {self.key.source} readings {said}"

    @property
    def in_words(self) -> str:
        """One sentence, pressures in kPa."""
        detail = ""
        if self.estimate is not None and self.low is not None and self.high is not None:
            detail = f"; {self.estimate:+.2f} kPa a year ({self.low:+.2f} to {self.high:+.2f})"
        if self.p is not None:
            detail = f"; p = {self.p:.3f}"
        return f"{self.verdict}{detail}"


def second_opinions(
    parts: Mapping[LikeForLike, pl.DataFrame],
    key: LikeForLike,
    *,
    priors: Priors | None = None,
    thresholds: Mapping[Method, float] | None = None,
) -> tuple[SecondOpinion | NotComparable, ...]:
    """Ask every older method about one like-for-like series, in the order of `Method`.

    Parameters
    ----------
    parts, key
        As given by `hvmon.stats.likeforlike.series_of_frame`, and which of them.
    thresholds
        Other thresholds than `THRESHOLD`, to compare methods at one rate of false flags.
    """
    part = parts.get(key)
    if part is None:
        return tuple(NotComparable(f"{method.value}: no readings of the kind {key}") for method in Method)
    if not key.complete:
        reason = f"{' and '.join(key.missing)} not recorded; like cannot be set beside like"
        return tuple(NotComparable(f"{method.value}: {reason}") for method in Method)
    table = priors or default_priors()
    wanted = THRESHOLD | dict(thresholds or {})
    return tuple(_opinion(method, key, part, table, wanted[method]) for method in Method)


def _opinion(
    method: Method, key: LikeForLike, part: pl.DataFrame, priors: Priors, threshold: float
) -> SecondOpinion | NotComparable:
    needed = NEEDED[method]
    if part.height < needed:
        return NotComparable(f"{method.value}: {part.height} readings, at least {needed} are needed")
    seconds = (part["taken_at"] - part["taken_at"][0]).dt.total_seconds(fractional=True).to_numpy()
    years = np.asarray(seconds, dtype=float) / 86400 / DAYS_PER_YEAR
    if years[-1] <= 0:
        return NotComparable(f"{method.value}: all readings were taken at one instant")
    kpa = part["pco2_kpa"].to_numpy()
    score, low, estimate, high, p = _SCORES[method](_Series(years, kpa, key.source, priors))
    return SecondOpinion(method, key, score, threshold, low, estimate, high, p, tuple(part["record_id"]))


Scored = tuple[float, float | None, float | None, float | None, float | None]


@dataclass(frozen=True, slots=True)
class _Series:
    """One like-for-like series as arrays, with what is assumed of its kind."""

    years: Floats
    kpa: Floats
    source: str
    priors: Priors

    @property
    def spread(self) -> float:
        """Spread of one reading about the usual level [ln kPa]."""
        noise = self.priors.value(f"noise.{SOURCE_KEYS[self.source]}")
        return float(np.hypot(noise, self.priors.value("day.sd")))

    def standardised(self) -> Floats:
        """Give the readings after the baseline in spreads from its mean."""
        logs = np.log(self.kpa)
        return np.asarray((logs[BASELINE_READINGS:] - logs[:BASELINE_READINGS].mean()) / self.spread)


def _score_reference_change(given: _Series) -> Scored:
    same_day = bool((given.years[-1] - given.years[-2]) * DAYS_PER_YEAR < 1)
    limit = reference_change(given.source, priors=given.priors, same_day=same_day)
    return float(np.log(given.kpa[-1] / given.kpa[-2]) / limit.sd_ln), None, None, None, None


def _score_theil_sen(given: _Series) -> Scored:
    """Give the slope over its half-width as a normal deviate: 1.96 when the interval touches zero."""
    line = median_slope(given.years, given.kpa)
    slope, low, high = line.slope, line.low, line.high
    reach = slope - low if slope >= 0 else high - slope
    score = 0.0 if slope == 0 else THRESHOLD[Method.THEIL_SEN] * slope / max(reach, 1e-9)
    return score, low, slope, high, None


def _score_mann_kendall(given: _Series) -> Scored:
    from pymannkendall import original_test  # noqa: PLC0415 - imports scipy.stats

    test = original_test(given.kpa)
    return float(test.z), None, None, None, float(test.p)


def _score_ewma(given: _Series) -> Scored:
    """Give the distance of the exponentially weighted mean from the baseline, in its own spreads."""
    from scipy.signal import lfilter  # noqa: PLC0415 - imports much of scipy

    steps = given.standardised()
    smooth = lfilter([EWMA_WEIGHT], [1, -(1 - EWMA_WEIGHT)], steps)
    n = steps.size
    spread = np.sqrt(EWMA_WEIGHT / (2 - EWMA_WEIGHT) * (1 - (1 - EWMA_WEIGHT) ** (2 * n)))
    return float(smooth[-1] / spread), None, None, None, None


def _score_cusum(given: _Series) -> Scored:
    """Give the upward cumulative sum beyond the slack, in spreads: last partial sum over the lowest."""
    steps = given.standardised()
    sums = np.concatenate([[0.0], np.cumsum(steps - CUSUM_SLACK)])
    return float(sums[-1] - sums.min()), None, None, None, None


_SCORES: dict[Method, Callable[[_Series], Scored]] = {
    Method.REFERENCE_CHANGE: _score_reference_change,
    Method.THEIL_SEN: _score_theil_sen,
    Method.MANN_KENDALL: _score_mann_kendall,
    Method.EWMA: _score_ewma,
    Method.CUSUM: _score_cusum,
}

NEEDED: dict[Method, int] = {
    Method.REFERENCE_CHANGE: 2,
    Method.THEIL_SEN: MIN_TREND_READINGS,
    Method.MANN_KENDALL: MIN_TREND_READINGS,
    Method.EWMA: BASELINE_READINGS + 1,
    Method.CUSUM: BASELINE_READINGS + 1,
}
"""Fewest readings each method speaks on."""


def score_raw(method: Method, years: Floats, kpa: Floats, source: str, priors: Priors) -> float | None:
    """Give a method's score on plain arrays, None when it has too few readings; for studies and replay."""
    if kpa.size < NEEDED[method] or years[-1] <= years[0]:
        return None
    return _SCORES[method](_Series(years, kpa, source, priors))[0]
