"""The CO2 trend of one person: one honest estimate from unlike samples, with what carries it."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
import polars as pl

from hvmon.stats.answers import (
    ChangeEffect,
    LevelAt,
    ReadingUse,
    RiseSince,
    SourceShare,
    Sufficiency,
    change_effects,
    level_at,
    newest_gross_chance,
    reading_uses,
    rise_since,
    slope_estimate,
    source_shares,
    sufficiency,
)
from hvmon.stats.cases import Case, RefusedReading, make_case
from hvmon.stats.crossing import Crossing, crossing, level_paths
from hvmon.stats.inference import Posterior, posteriors
from hvmon.stats.mixture import Estimate, chance_above, level_estimate, mixture_estimate, mixture_quantiles
from hvmon.stats.priors import MODEL_VERSION, Priors, default_priors
from hvmon.stats.statespace import Array
from hvmon.vocabulary import DiagnosisGroup

PROGRESSIVE = frozenset({DiagnosisGroup.MOTOR_NEURONE_DISEASE})
"""Groups in which fast slopes get more weight beforehand."""

BAND_POINTS = 40
FORECAST_DAYS = (90, 180, 365)
REPEAT_DIFFERENCE_KPA = 0.3
"""[kPa] the level with and without the newest reading may differ so far before a repeat is asked for."""

REPEAT_CHANCE = 0.5
BLOOD = frozenset({"arterial", "capillary earlobe", "capillary fingertip"})


@dataclass(frozen=True, slots=True)
class LimitChance:
    """Chance that the usual level is above a limit, now and ahead."""

    label: str
    limit_kpa: float
    now: float
    ahead: Crossing


@dataclass(frozen=True, slots=True)
class NewestReading:
    """What hangs on the newest reading, which is never silently down-weighted.

    The level of `TrendResult` keeps both possibilities, the reading right and the reading wrong, each
    with its chance; here the level stands with the reading taken as right and without it.
    """

    record_id: str
    with_it: Estimate
    """Level on the supposition that the reading is right."""
    without_it: Estimate | None
    difference_kpa: float | None
    p_gross: float | None
    ask_for_repeat: bool
    why: str


@dataclass(frozen=True)
class TrendResult:
    """Everything the model says of one person, in kPa, with its origin."""

    model_version: str
    priors_digest: str
    today: datetime
    review_at: datetime | None
    reading_ids: tuple[str, ...]
    refused: tuple[RefusedReading, ...]
    n: int
    span_days: float
    sufficiency: Sufficiency
    level: Estimate
    slope_ln_per_year: Estimate
    slope_kpa_per_year: Estimate
    limits: tuple[LimitChance, ...]
    rise: RiseSince | None
    forecast: tuple[LevelAt, ...]
    band: pl.DataFrame
    readings: tuple[ReadingUse, ...]
    newest: NewestReading
    sources: tuple[SourceShare, ...]
    blood_only: Estimate | None
    """Level from arterial and capillary readings alone; None without any."""
    changes: tuple[ChangeEffect, ...]
    on_ventilator_kpa: Estimate | None
    """Awake on the ventilator minus awake off; None when no reading tells."""
    reference_oxygen_l_min: float | None
    slope_spread: float
    """Posterior mean of the slope's spread over the grid [ln kPa/year]."""
    noise_multiplier: float
    """Posterior mean of the noise multiplier over the grid."""

    @property
    def enough(self) -> bool:
        """Whether slope and rise may be spoken of; the level stands with its interval either way."""
        return self.sufficiency.enough

    def chance(self, limit_kpa: float) -> LimitChance:
        """Give the chance of one of the limits asked for.

        Raises
        ------
        KeyError
            That limit was not among those asked for.
        """
        for limit in self.limits:
            if abs(limit.limit_kpa - limit_kpa) < 1e-9:  # noqa: PLR2004 - the same number
                return limit
        raise KeyError(
            f"limit {limit_kpa} kPa was not asked for; asked: {[x.limit_kpa for x in self.limits]}"
        )


@dataclass(frozen=True, slots=True)
class TrendRefused:
    """No estimate at all, and why."""

    reason: str
    refused: tuple[RefusedReading, ...]
    model_version: str = MODEL_VERSION


@dataclass(frozen=True, slots=True)
class PersonInput:
    """One person for a cohort run."""

    person_key: str
    readings: pl.DataFrame
    changes: pl.DataFrame
    today: datetime
    review: datetime | None = None
    birth_date: date | None = None
    progressive: bool = False


@dataclass(frozen=True, slots=True)
class TrendSummary:
    """The short answer of a cohort run."""

    person_key: str
    n: int
    level: Estimate
    slope_ln_per_year: Estimate
    p_above: tuple[float, ...]
    p_rise: float | None
    p_rise_more: float | None
    enough: bool
    priors_digest: str
    model_version: str = MODEL_VERSION


def fit(
    readings: pl.DataFrame,
    changes: pl.DataFrame,
    *,
    today: datetime,
    review: datetime | None = None,
    limits_kpa: Sequence[tuple[str, float]] = (),
    priors: Priors | None = None,
    birth_date: date | None = None,
    group: DiagnosisGroup | None = None,
    seed: int = 0,
) -> TrendResult | TrendRefused:
    """Estimate the usual awake, off-ventilator PaCO2 of one person.

    Parameters
    ----------
    readings, changes
        Frames of `hvmon.stats.series`.
    today
        Aware moment of "now".
    review
        Aware moment since which a rise is asked for; None takes one year before `today`.
    limits_kpa
        Pairs of a label and a limit [kPa].
    group
        Diagnosis group; a progressive one gives fast slopes more weight beforehand.
    seed
        Of the paths behind the chances ahead.

    Returns
    -------
    TrendResult or TrendRefused
        Never a NaN: what cannot be told is None with a reason.

    Raises
    ------
    ValueError
        A required column is missing, or a limit is not above zero.
    """
    for label, limit in limits_kpa:
        if not limit > 0:
            raise ValueError(f"limit {label!r}: {limit} kPa must be above 0")
    table = priors or default_priors()
    case, refused = make_case(
        readings, changes, today=today, review=review, birth_date=birth_date, progressive=group in PROGRESSIVE
    )
    if case is None:
        return TrendRefused("no usable CO2 reading" if refused else "no CO2 reading", refused)
    return _fit_case(case, refused, table, limits_kpa, seed, today)


def _fit_case(
    case: Case,
    refused: tuple[RefusedReading, ...],
    priors: Priors,
    limits_kpa: Sequence[tuple[str, float]],
    seed: int,
    today: datetime,
) -> TrendResult:
    full, without, blood = _variants(case, priors)
    level = level_at(full, case.today).level
    slope = slope_estimate(full)
    paths = level_paths(full, priors, seed=seed) if limits_kpa else np.empty((0, 0))
    return TrendResult(
        model_version=MODEL_VERSION,
        priors_digest=priors.digest(),
        today=today,
        review_at=None if case.review is None else case.moment(case.review),
        reading_ids=case.ids,
        refused=refused,
        n=len(case.ids),
        span_days=float(case.day[-1] - case.day[0]),
        sufficiency=sufficiency(full, priors),
        level=level,
        slope_ln_per_year=slope,
        slope_kpa_per_year=slope.scaled(level.median),
        limits=tuple(_limit(full, paths, label, limit) for label, limit in limits_kpa),
        rise=rise_since(full),
        forecast=tuple(level_at(full, case.today + days) for days in FORECAST_DAYS),
        band=_band(full),
        readings=reading_uses(full),
        newest=_newest(full, without),
        sources=source_shares(full),
        blood_only=None if blood is None else level_at(blood, case.today).level,
        changes=change_effects(full, priors),
        on_ventilator_kpa=_on_ventilator(full, level),
        reference_oxygen_l_min=case.reference_oxygen_l_min,
        slope_spread=_grid_mean(full, priors, "slope.sd"),
        noise_multiplier=_grid_mean(full, priors, "multiplier"),
    )


def _variants(case: Case, priors: Priors) -> tuple[Posterior, Posterior | None, Posterior | None]:
    """Give the posterior with all readings, without the newest, and with blood (not venous) alone."""
    band = np.linspace(0.0, case.today, BAND_POINTS) if case.today > 0 else np.zeros(1)
    ahead = case.today + np.arange(30.0, 361.0, 30.0)
    asked = np.concatenate(
        [band, ahead, case.today + np.array(FORECAST_DAYS), np.maximum(case.change_day, 0.0)]
    )
    masks = [case.used]
    older = case.used & ~case.newest
    bled = np.array([source in BLOOD for source in case.source])
    masks += [mask for mask in (older, bled) if mask.any()]
    runs = iter(posteriors([case.using(mask) for mask in masks], priors, asked=[asked] * len(masks)))
    full = next(runs)
    return full, next(runs) if older.any() else None, next(runs) if bled.any() else None


def _limit(posterior: Posterior, paths: Array, label: str, limit_kpa: float) -> LimitChance:
    row = posterior.rows.now
    now = chance_above(
        float(np.log(limit_kpa)),
        posterior.weight,
        posterior.level_mean[row],
        posterior.level_variance[row],
    )
    return LimitChance(label, limit_kpa, now, crossing(posterior, paths, limit_kpa))


def _band(posterior: Posterior) -> pl.DataFrame:
    """Give the level per date with its intervals, readings' dates included, for charts."""
    case, rows = posterior.case, posterior.rows
    days, first = np.unique(rows.day, return_index=True)
    spread = np.sqrt(posterior.level_variance[first])
    levels = np.exp(mixture_quantiles(posterior.weight, posterior.level_mean[first], spread))
    names = ("median_kpa", "low95_kpa", "high95_kpa", "low80_kpa", "high80_kpa")
    return pl.DataFrame(
        {"at": [case.moment(float(day)) for day in days]}
        | {name: levels[:, column] for column, name in enumerate(names)}
        | {"part": ["forecast" if day > case.today else "estimate" for day in days]},
        schema_overrides={"at": pl.Datetime("us", "UTC")},
    )


def _newest(full: Posterior, without: Posterior | None) -> NewestReading:
    case, row = full.case, full.rows.now
    last = case.ids[-1]
    taken = level_estimate(full.newest_right, full.level_mean[row], full.level_variance[row])
    if without is None:
        return NewestReading(
            last, taken, None, None, None, False, "the only reading; nothing to hold it against"
        )
    alone = level_at(without, case.today).level
    difference = taken.median - alone.median
    chance = newest_gross_chance(full)
    reasons = []
    if chance > REPEAT_CHANCE:
        reasons.append(f"it is more likely than not far off what the others say (p = {chance:.2f})")
    if abs(difference) > REPEAT_DIFFERENCE_KPA:
        reasons.append(f"it alone moves the level by {difference:+.1f} kPa")
    return NewestReading(last, taken, alone, difference, chance, bool(reasons), "; ".join(reasons))


def _on_ventilator(posterior: Posterior, level: Estimate) -> Estimate | None:
    if "condition.day_on" not in posterior.layout.names:
        return None
    estimate = mixture_estimate(posterior.weight, *posterior.state("condition.day_on"))
    numbers = (estimate.median, estimate.low95, estimate.high95, estimate.low80, estimate.high80)
    return Estimate(*(level.median * float(np.expm1(number)) for number in numbers))


def _grid_mean(posterior: Posterior, priors: Priors, key: str) -> float:
    values = posterior.grid_values(np.array(priors.grid(key)), inner=key == "multiplier")
    return float(posterior.weight @ values)


def fit_many(
    people: Iterable[PersonInput], *, limits_kpa: Sequence[float] = (), priors: Priors | None = None
) -> Iterator[TrendSummary | TrendRefused]:
    """Estimate a cohort, a bounded batch at a time; people without a usable reading give `TrendRefused`.

    Memory does not grow with the number of people: give and take an iterator.
    """
    table = priors or default_priors()
    digest = table.digest()
    waiting: list[tuple[PersonInput, Case | None, tuple[RefusedReading, ...]]] = []

    def flush() -> Iterator[TrendSummary | TrendRefused]:
        runs = posteriors((case for _, case, _ in waiting if case is not None), table)
        for person, case, refused in waiting:
            if case is None:
                yield TrendRefused("no usable CO2 reading", refused)
            else:
                yield _summary(person, next(runs), table, limits_kpa, digest)
        waiting.clear()

    for person in people:
        case, refused = make_case(
            person.readings,
            person.changes,
            today=person.today,
            review=person.review,
            birth_date=person.birth_date,
            progressive=person.progressive,
        )
        waiting.append((person, case, refused))
        if len(waiting) >= COHORT_BLOCK:
            yield from flush()
    yield from flush()


COHORT_BLOCK = 512
"""People encoded at once in a cohort run."""


def _summary(
    person: PersonInput, posterior: Posterior, priors: Priors, limits_kpa: Sequence[float], digest: str
) -> TrendSummary:
    row = posterior.rows.now
    mean, variance = posterior.level_mean[row], posterior.level_variance[row]
    rise = rise_since(posterior, interval=False)
    return TrendSummary(
        person_key=person.person_key,
        n=len(posterior.case.ids),
        level=level_at(posterior, posterior.case.today).level,
        slope_ln_per_year=slope_estimate(posterior),
        p_above=tuple(
            chance_above(float(np.log(limit)), posterior.weight, mean, variance) for limit in limits_kpa
        ),
        p_rise=None if rise is None else rise.p_rise,
        p_rise_more=None if rise is None else rise.p_rise_more,
        enough=sufficiency(posterior, priors).enough,
        priors_digest=digest,
    )
