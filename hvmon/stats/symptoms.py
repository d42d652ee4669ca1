"""Symptoms and CO2 in one person: is there a relation beyond both drifting? Never part of the estimate."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from itertools import permutations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from hvmon.records.held import Held
from hvmon.records.symptoms import SymptomReport
from hvmon.stats.answers import level_at
from hvmon.stats.cases import Case, make_case
from hvmon.stats.inference import Posterior, posteriors
from hvmon.stats.priors import Priors, default_priors
from hvmon.vocabulary import FlapTest, Rating, SampleReason

Floats = NDArray[np.float64]

WINDOW_DAYS = 14.0
"""[days] a symptom report is paired with the model's CO2 only when a reading lies this near."""

MIN_PAIRS = 6
MIN_DISTINCT = 3
EXACT_UP_TO = 8
DRAWS = 5000
ALPHA = 0.05
Z = 1.959963984540054
FLAP = "CO2 flap"
SYMPTOMS = (*(rating.value for rating in Rating), FLAP)
"""The family of seven."""


class Relation(StrEnum):
    """Plain words for what the pairs show."""

    NOT_ENOUGH = "not enough data"
    NO_CLEAR = "no clear relation"
    POSSIBLE = "possible"
    CONSISTENT = "consistent"


@dataclass(frozen=True, slots=True)
class SymptomRelation:
    """Relation of one symptom to CO2 in one person, both freed from their straight-line drift."""

    symptom: str
    n: int
    answer: Relation
    reason: str
    rho: float | None = None
    """Spearman correlation of the detrended series."""
    rho_low: float | None = None
    rho_high: float | None = None
    p: float | None = None
    """Permutation p of this symptom alone; never shown without the family's."""
    family_p: float | None = None
    """Westfall-Young max-T p over all symptoms analysed."""
    points_per_kpa: float | None = None
    points_low: float | None = None
    points_high: float | None = None

    @property
    def in_words(self) -> str:
        """One sentence with the number of pairs, the effect and the family's p."""
        if self.answer == Relation.NOT_ENOUGH:
            return f"{self.symptom}: {self.answer.value} ({self.reason})"
        return (
            f"{self.symptom}: {self.answer.value}; {self.n} pairs, {self.points_per_kpa:+.1f} points per kPa "
            f"({self.points_low:+.1f} to {self.points_high:+.1f}), p over all symptoms {self.family_p:.2f}"
        )


@dataclass(frozen=True)
class SymptomAnalysis:
    """All symptoms of one person, with what biases them."""

    relations: tuple[SymptomRelation, ...]
    pairs: pl.DataFrame
    note: str
    """Regression to the mean when CO2 was measured because of symptoms; else empty."""


PAIRS_SCHEMA: dict[str, pl.DataType] = {
    "record_id": pl.String(),
    "asked_at": pl.Datetime("us", "UTC"),
    "co2_kpa": pl.Float64(),
    "co2_sd_kpa": pl.Float64(),
    "reason": pl.String(),
    **{symptom: pl.Float64() for symptom in SYMPTOMS},
}


def pair_with_model(
    reports: Sequence[Held[SymptomReport]],
    readings: pl.DataFrame,
    changes: pl.DataFrame,
    *,
    today: datetime,
    priors: Priors | None = None,
) -> pl.DataFrame:
    """Pair each symptom report with the model's CO2 of that day.

    Reports without a CO2 reading within 14 days are left unpaired (the model would only be guessing).

    Returns
    -------
    polars.DataFrame
        Columns of `PAIRS_SCHEMA`; ratings 0 to 10, flap 0 or 1, null when not recorded or not tested;
        ``reason`` is that of the nearest CO2 reading.
    """
    case, _ = make_case(readings, changes, today=today)
    near, days = ([], np.empty(0)) if case is None else reports_near(case, reports, today)
    if case is None or not near:
        return pl.DataFrame(schema=PAIRS_SCHEMA)
    posterior = next(posteriors([case.of_the_day()], priors or default_priors(), asked=[days]))
    reasons = dict(zip(readings["record_id"], readings["reason"], strict=True))
    return paired(posterior, near, days, reasons)


def reports_near(
    case: Case, reports: Sequence[Held[SymptomReport]], today: datetime
) -> tuple[list[tuple[Held[SymptomReport], str]], Floats]:
    """Give the reports with a CO2 reading within 14 days, the nearest reading's id, and their days."""
    near, days = [], []
    for held in sorted(reports, key=lambda each: each.record.asked_at):
        day = (held.record.asked_at - case.origin).total_seconds() / 86400
        gap = np.abs(case.day - day)
        if gap.min() <= WINDOW_DAYS and held.record.asked_at <= today:
            near.append((held, case.ids[int(gap.argmin())]))
            days.append(max(day, 0.0))
    return near, np.array(days)


def paired(
    posterior: Posterior,
    near: Sequence[tuple[Held[SymptomReport], str]],
    days: Floats,
    reasons: Mapping[str, str],
) -> pl.DataFrame:
    """Set each report beside the model's CO2 of its day; columns of `PAIRS_SCHEMA`."""
    rows = []
    for (held, reading_id), day in zip(near, days, strict=True):
        level = level_at(posterior, float(day)).level
        spread = (level.high80 - level.low80) / (2 * 1.2815515655446004)
        reason = reasons[reading_id]
        rows.append(
            (held.record_id, held.record.asked_at, level.median, spread, reason, *_values(held.record))
        )
    return pl.DataFrame(rows, schema=PAIRS_SCHEMA, orient="row")


def _values(report: SymptomReport) -> tuple[float | None, ...]:
    ratings = [report.rating(rating) for rating in Rating]
    flap = None if report.flap == FlapTest.NOT_TESTED else float(report.flap == FlapTest.PRESENT)
    return (*(None if value is None else float(value) for value in ratings), flap)


def analyse(pairs: pl.DataFrame, *, seed: int, routine_only: bool = False) -> SymptomAnalysis:
    """Ask of every symptom whether it goes with CO2 within this person.

    Parameters
    ----------
    pairs
        Columns of `PAIRS_SCHEMA`.
    seed
        Of the permutations; exact below nine pairs.
    routine_only
        Use only pairs whose CO2 reading was routine: the check on informative sampling.

    Notes
    -----
    Both series lose their straight-line trend first: when CO2 and a symptom merely both drift, plain rank
    correlation finds a relation in a fifth to half of people. Lag zero only. Family-wise p by permuting the
    CO2 series jointly and taking the largest |rho| over symptoms (WestfallYoung1993).
    """
    used = pairs.filter(pl.col("reason") == SampleReason.ROUTINE.value) if routine_only else pairs
    kept: dict[str, Prepared] = {}
    short: dict[str, SymptomRelation] = {}
    for symptom in SYMPTOMS:
        prepared = _prepare(used, symptom)
        if isinstance(prepared, Prepared):
            kept[symptom] = prepared
        else:
            short[symptom] = prepared
    solved = _family(kept, used.height, np.random.default_rng(seed))
    relations = tuple(solved[name] if name in solved else short[name] for name in SYMPTOMS)
    led = int((pairs["reason"] == SampleReason.SYMPTOM_LED.value).sum())
    note = (
        f"{led} of {pairs.height} CO2 readings were taken because of symptoms; the relation may be an echo "
        "of that (regression to the mean). Routine readings alone are the check."
        if led and not routine_only
        else ""
    )
    return SymptomAnalysis(relations, used, note)


@dataclass(frozen=True, slots=True)
class Prepared:
    """One symptom's detrended series beside CO2, and which pairs it uses."""

    index: NDArray[np.intp]
    co2: Floats
    symptom: Floats
    days: Floats
    raw_co2: Floats
    raw_symptom: Floats


def _prepare(pairs: pl.DataFrame, symptom: str) -> Prepared | SymptomRelation:
    known = pairs.with_row_index().filter(pl.col(symptom).is_not_null())
    values = known[symptom].to_numpy()
    if known.height < MIN_PAIRS:
        reason = f"{known.height} pairs, at least {MIN_PAIRS} are needed"
        return SymptomRelation(symptom, known.height, Relation.NOT_ENOUGH, reason)
    distinct = 2 if symptom == FLAP else MIN_DISTINCT
    if np.unique(values).size < distinct:
        reason = f"{np.unique(values).size} distinct values, at least {distinct} are needed"
        return SymptomRelation(symptom, known.height, Relation.NOT_ENOUGH, reason)
    seconds = (known["asked_at"] - known["asked_at"][0]).dt.total_seconds().to_numpy()
    days, co2 = seconds / 86400.0, known["co2_kpa"].to_numpy()
    rest = _detrended(days, co2), _detrended(days, values)
    if min(np.ptp(part) for part in rest) <= 1e-9:  # noqa: PLR2004 - rounding of a straight line
        return SymptomRelation(
            symptom, known.height, Relation.NOT_ENOUGH, "nothing is left beside a straight drift"
        )
    index = known["index"].to_numpy().astype(np.intp)
    return Prepared(index, rest[0], rest[1], days, co2, values)


def _detrended(days: Floats, values: Floats) -> Floats:
    """Take the straight-line trend off; days all alike take the mean off."""
    centred = days - days.mean()
    size = float(centred @ centred)
    slope = float(centred @ values) / size if size > 0 else 0.0
    return np.asarray(np.round(values - values.mean() - slope * centred, 12))


def _ranks(values: Floats) -> Floats:
    """Ranks along the last axis, centred and scaled so that a dot product is Spearman's rho."""
    from scipy.stats import rankdata  # noqa: PLC0415 - scipy.stats costs its import at first use only

    ranks = np.asarray(rankdata(values, axis=-1), dtype=float)
    ranks -= ranks.mean(axis=-1, keepdims=True)
    return np.asarray(ranks / np.sqrt((ranks**2).sum(axis=-1, keepdims=True)))


def _orders(n: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """All orders of n up to eight, else 5000 random ones."""
    if n <= EXACT_UP_TO:
        return np.array(list(permutations(range(n))), dtype=np.intp)
    return np.argsort(rng.random((DRAWS, n)), axis=1)


def _family(kept: Mapping[str, Prepared], n: int, rng: np.random.Generator) -> dict[str, SymptomRelation]:
    """Permute CO2 jointly over all pairs and hold each |rho| against the largest of the family."""
    if not kept:
        return {}
    orders = _orders(n, rng)
    observed = {name: float(_ranks(one.co2) @ _ranks(one.symptom)) for name, one in kept.items()}
    drawn = {name: np.abs(_permuted(one, n, orders)) for name, one in kept.items()}
    largest = np.max(np.stack(list(drawn.values())), axis=0)
    exact = n <= EXACT_UP_TO

    def share(values: Floats, rho: float) -> float:
        hits = int((values >= abs(rho) - 1e-12).sum())
        return hits / values.size if exact else (hits + 1) / (values.size + 1)

    return {
        name: _relation(
            name, one, observed[name], share(drawn[name], observed[name]), share(largest, observed[name])
        )
        for name, one in kept.items()
    }


def _permuted(one: Prepared, n: int, orders: NDArray[np.intp]) -> Floats:
    """Rho of a symptom with the CO2 residuals in each order; pairs the symptom lacks drop out after it."""
    whole = np.full(n, np.nan)
    whole[one.index] = one.co2
    if one.index.size < n:
        own = np.arange(one.index.size)
        place = np.full(n, -1)
        place[one.index] = own
        shuffled = np.stack([place[order][place[order] >= 0] for order in orders])
        return np.asarray(_ranks(one.co2[shuffled]) @ _ranks(one.symptom))
    return np.asarray(_ranks(whole[orders]) @ _ranks(one.symptom))


def _relation(name: str, one: Prepared, rho: float, p: float, family_p: float) -> SymptomRelation:
    low, high = spearman_interval(rho, one.days.size)
    points, points_low, points_high = _points_per_kpa(one)
    answer = Relation.NO_CLEAR
    if low > 0 or high < 0:
        answer = Relation.POSSIBLE
        if family_p < ALPHA and _same_sign_in_halves(one, rho):
            answer = Relation.CONSISTENT
    return SymptomRelation(
        name, one.days.size, answer, "", rho, low, high, p, family_p, points, points_low, points_high
    )


def spearman_interval(rho: float, n: int) -> tuple[float, float]:
    """Give the 95 % interval of a detrended Spearman correlation of n pairs.

    Fisher's transform with variance (1 + rho^2/2)/(n - 4): the rank correction of Bonett and Wright and one
    degree of freedom for the trend taken off.
    """
    bounded = min(max(rho, -0.999999), 0.999999)
    spread = math.sqrt((1 + bounded**2 / 2) / max(n - 4, 1))
    middle = math.atanh(bounded)
    return math.tanh(middle - Z * spread), math.tanh(middle + Z * spread)


def _points_per_kpa(one: Prepared) -> tuple[float, float, float]:
    """Slope of the symptom on CO2 beside a straight drift, with its 95 % interval."""
    from statsmodels.regression.linear_model import OLS  # noqa: PLC0415 - costs 1.7 s at import

    columns = [np.ones(one.days.size), one.raw_co2 - one.raw_co2.mean()]
    if np.ptp(one.days) > 0:
        columns.append((one.days - one.days.mean()) / np.ptp(one.days))
    fit = OLS(one.raw_symptom, np.column_stack(columns)).fit()
    low, high = fit.conf_int()[1]
    return float(fit.params[1]), float(low), float(high)


def _same_sign_in_halves(one: Prepared, rho: float) -> bool:
    half = one.days.size // 2
    parts = (slice(0, half), slice(half, None))
    signs = []
    for part in parts:
        x, y = one.co2[part], one.symptom[part]
        if np.ptp(x) == 0 or np.ptp(y) == 0:
            return False
        signs.append(float(_ranks(x) @ _ranks(y)))
    return all(np.sign(sign) == np.sign(rho) for sign in signs)
