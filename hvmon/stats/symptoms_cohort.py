"""Symptoms and CO2 over people: what goes with CO2 within a person, pooled."""

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

MIN_PEOPLE = 10
MIN_PAIRS = 30
MIN_TIMES = 2

Z = 1.959963984540054
WIDEST = 20.0
"""A standard error above this [points or log odds per kPa] is that of a fit that ran away."""

UNSETTLED = {"HessianInversionWarning", "PerfectSeparationWarning"}
AT_EDGE = "ConvergenceWarning"

POOLED_SCHEMA: dict[str, pl.DataType] = {
    "person_key": pl.String(),
    "co2_kpa": pl.Float64(),
    "value": pl.Float64(),
}
"""One row a pair of one symptom."""


@dataclass(frozen=True, slots=True)
class WithinCorrelation:
    """Correlation within people (repeated measures), people's own levels removed."""

    r: float
    degrees_of_freedom: int
    p: float
    n_people: int


@dataclass(frozen=True, slots=True)
class PooledRelation:
    """One pooled figure, with the number of people and pairs behind it."""

    method: str
    unit: str
    estimate: float | None
    low: float | None
    high: float | None
    p: float | None
    n_people: int
    n_pairs: int
    reason: str
    """Why there is no figure, or a note to it."""

    @property
    def in_words(self) -> str:
        """One sentence."""
        if self.estimate is None or self.low is None or self.high is None:
            return f"{self.method}: not enough data ({self.reason})"
        clear = "no clear relation" if self.low <= 0 <= self.high else "a relation within people"
        figure = f"{self.estimate:+.2f} {self.unit} ({self.low:+.2f} to {self.high:+.2f})"
        return f"{self.method}: {clear}; {figure}, {self.n_pairs} pairs of {self.n_people} people"


def within_person_correlation(
    person: NDArray[Any], x: NDArray[np.float64], y: NDArray[np.float64], *, taken_off: int = 0
) -> WithinCorrelation:
    """Correlate x and y within people, as in BlandAltman1995 (parallel slopes, own intercepts).

    ``taken_off`` counts further coefficients a person that both series have lost already, a drift say.

    Raises
    ------
    ValueError
        Fewer pairs than people plus two, or no variation within people.
    """
    from scipy.stats import f as f_distribution  # noqa: PLC0415 - scipy.stats costs its import at first use

    keys, index = np.unique(person, return_inverse=True)
    counts = np.bincount(index)

    def centred(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(values - (np.bincount(index, values) / counts)[index])

    a, b = centred(x), centred(y)
    freedom = x.size - keys.size * (1 + taken_off) - 1
    if freedom < 1 or a @ a <= 0 or b @ b <= 0:
        raise ValueError(f"{x.size} pairs of {keys.size} people hold no contrast within people")
    r = float(a @ b / np.sqrt((a @ a) * (b @ b)))
    score = freedom * r**2 / max(1 - r**2, 1e-15)
    return WithinCorrelation(r, freedom, float(f_distribution.sf(score, 1, freedom)), keys.size)


def _split(pairs: pl.DataFrame) -> pl.DataFrame:
    return pairs.drop_nulls().with_columns(
        between=pl.col("co2_kpa").mean().over("person_key"),
        within=pl.col("co2_kpa") - pl.col("co2_kpa").mean().over("person_key"),
    )


def _short(split: pl.DataFrame) -> str:
    people = split["person_key"].n_unique()
    if people < MIN_PEOPLE or split.height < MIN_PAIRS:
        return f"{split.height} pairs of {people} people; at least {MIN_PAIRS} of {MIN_PEOPLE} are needed"
    if float(np.ptp(split["within"].to_numpy())) <= 0:
        return "CO2 does not vary within people"
    if float(np.ptp(split["value"].to_numpy())) <= 0:
        return "the symptom does not vary"
    return ""


def _refused(method: str, unit: str, split: pl.DataFrame, reason: str) -> PooledRelation:
    return PooledRelation(
        method, unit, None, None, None, None, split["person_key"].n_unique(), split.height, reason
    )


def _figure(
    method: str, unit: str, numbers: tuple[float, float, float], split: pl.DataFrame, reason: str = ""
) -> PooledRelation:
    estimate, sd, p = numbers
    people = split["person_key"].n_unique()
    return PooledRelation(
        method, unit, estimate, estimate - Z * sd, estimate + Z * sd, p, people, split.height, reason
    )


def _guarded(
    method: str,
    unit: str,
    split: pl.DataFrame,
    note: str,
    fit: Callable[[], tuple[float, float, float]],
    edge: str = "",
) -> PooledRelation:
    """Give the figure of a fit, or say that it did not settle; never a number that is none.

    ``edge`` is the note when the fit ended at the edge of what is possible; without it that is no figure.
    """
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        try:
            numbers = fit()
        except (np.linalg.LinAlgError, ValueError, OverflowError) as error:
            return _refused(method, unit, split, f"the fit did not settle: {error}")
    names = {warning.category.__name__ for warning in caught}
    at_edge = AT_EDGE in names
    unsettled = bool(names & UNSETTLED) or (at_edge and not edge)
    if unsettled or not np.isfinite(numbers).all() or not 0 < numbers[1] <= WIDEST:
        return _refused(method, unit, split, "the fit did not settle on these data")
    return _figure(method, unit, numbers, split, edge if at_edge else note)


def mixed_model(pairs: pl.DataFrame) -> PooledRelation:
    """Pool a 0 to 10 rating: symptom on CO2 within and between people, people as random intercepts.

    Parameters
    ----------
    pairs
        Columns of `POOLED_SCHEMA`. Only the within-person slope is given; differences between people
        carry everything else about them.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM  # noqa: PLC0415 - costs 1.7 s at import

    method, unit = "mixed model, within people", "points per kPa"
    split = _split(pairs)
    reason = _short(split)
    if reason:
        return _refused(method, unit, split, reason)

    def fit() -> tuple[float, float, float]:
        design = np.column_stack([np.ones(split.height), split["within"], split["between"]])
        made = MixedLM(split["value"].to_numpy(), design, split["person_key"].to_list()).fit(reml=True)
        return float(made.fe_params[1]), float(made.bse_fe[1]), float(made.pvalues[1])

    return _guarded(method, unit, split, "", fit, edge="spread between people estimated at zero")


def present_or_absent(pairs: pl.DataFrame) -> PooledRelation:
    """Pool a present/absent sign by conditional logit: within-person contrast only.

    People who always or never had it tell nothing and are dropped; n counts the rest.
    """
    from statsmodels.discrete.conditional_models import ConditionalLogit  # noqa: PLC0415 - costs 1.7 s

    method, unit = "conditional logit, within people", "log odds per kPa"
    split = _split(pairs)
    telling = split.filter(
        (pl.col("value").min().over("person_key") < pl.col("value").max().over("person_key"))
        & (pl.col("within").abs().max().over("person_key") > 0)
    )
    reason = _short(telling)
    if reason:
        return _refused(method, unit, telling, reason)

    def fit() -> tuple[float, float, float]:
        within, people = telling[["within"]].to_numpy(), telling["person_key"].to_numpy()
        made = ConditionalLogit(telling["value"].to_numpy(), within, groups=people).fit(disp=False)
        return float(made.params[0]), float(made.bse[0]), float(made.pvalues[0])

    return _guarded(method, unit, telling, "", fit)


def ordered_model(pairs: pl.DataFrame) -> PooledRelation:
    """Pool an ordered scale by ordered logit on CO2 within and between people.

    The model holds no person effect; its interval is too narrow when people differ, and the note says so.
    """
    from statsmodels.miscmodels.ordinal_model import OrderedModel  # noqa: PLC0415 - costs 1.7 s

    method, unit = "ordered logit", "log odds per kPa"
    split = _split(pairs)
    reason = _short(split)
    if reason:
        return _refused(method, unit, split, reason)

    def fit() -> tuple[float, float, float]:
        codes = np.unique(split["value"].to_numpy(), return_inverse=True)[1]
        design = split[["within", "between"]].to_numpy()
        centred = design - design.mean(axis=0)
        made = OrderedModel(codes, centred, distr="logit").fit(method="bfgs", disp=False, maxiter=200)
        return float(made.params[0]), float(made.bse[0]), float(made.pvalues[0])

    note = "no person effect in this model; the interval is too narrow"
    return _guarded(method, unit, split, note, fit)
