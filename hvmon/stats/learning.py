"""Offsets and spreads learned from a service's own cohort. An explicit act, never automatic."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import NDArray

from hvmon.stats.cases import Case, make_case
from hvmon.stats.inference import log_evidence
from hvmon.stats.priors import Priors, default_priors
from hvmon.stats.trend import PersonInput

MIN_PEOPLE = 50
MIN_PAIRS = 30
PAIR_DAYS = 2.0
"""[days] an arterial and another reading this near make a pair."""

HYPER_SD = 0.35
"""Log-normal spread of each learned value about its default."""

Progress = Callable[[int, int], object]
"""Told how many of how many evaluations of the likelihood are done; fewer than the most may be needed."""

LEARNED_SPREADS = ("day.sd",)
SLOPE_KEY = "slope.sd"


@dataclass(frozen=True, slots=True)
class LearnedRow:
    """One learned value beside the one it replaces."""

    key: str
    before: float | tuple[float, ...]
    after: float | tuple[float, ...]
    n_pairs: int | None
    """Arterial pairs of the source; None where pairs are not what carries the value."""


@dataclass(frozen=True)
class Learned:
    """What a cohort taught, for a priors file with before, after and n."""

    rows: tuple[LearnedRow, ...]
    n_people: int
    n_readings: int
    log_likelihood_before: float
    log_likelihood_after: float
    not_learned: tuple[str, ...]
    """Sources with too few arterial pairs, with their number."""

    def mapping(self) -> dict[str, dict[str, object]]:
        """Give the rows as `Priors.override` takes them and a priors file holds them."""
        basis = f"learned from {self.n_people} people, {self.n_readings} readings"
        return {
            row.key: {
                "value": list(row.after) if isinstance(row.after, tuple) else row.after,
                "before": list(row.before) if isinstance(row.before, tuple) else row.before,
                "n": self.n_people if row.n_pairs is None else row.n_pairs,
                "basis": basis,
            }
            for row in self.rows
        }


@dataclass(frozen=True, slots=True)
class TooFew:
    """Why nothing was learned."""

    reason: str


def count_pairs(cases: Iterable[Case]) -> dict[str, int]:
    """Count readings of each other source with an arterial reading within two days, over a cohort."""
    counts: dict[str, int] = {}
    for case in cases:
        kinds = np.array(case.offset)
        arterial = case.day[kinds == "arterial"]
        for day, kind in zip(case.day, kinds, strict=True):
            if kind != "arterial" and arterial.size and np.abs(arterial - day).min() <= PAIR_DAYS:
                counts[str(kind)] = counts.get(str(kind), 0) + 1
    return counts


def learn(
    people: Iterable[PersonInput],
    *,
    priors: Priors | None = None,
    max_evaluations: int = 250,
    progress: Progress | None = None,
) -> Learned | TooFew:
    """Maximise the cohort's likelihood over offset means, reading spreads, day spread and slope spread.

    Parameters
    ----------
    people
        The whole cohort; one pass is kept in memory.
    priors
        Table to start from and to shrink toward.
    max_evaluations
        Of the cohort's likelihood.
    progress
        Called after each evaluation.

    Returns
    -------
    Learned or TooFew
        Refused below 50 people; a source's offset is learned only with 30 arterial pairs or more, its
        spread with it; the rest keeps its default and is listed.

    Notes
    -----
    Penalised likelihood: sum over people of the log evidence plus log-normal priors with SD 0.35 on every
    spread and normal priors with the table's SD on every offset mean (empirical Bayes).
    """
    table = priors or default_priors()
    made = (
        make_case(
            one.readings,
            one.changes,
            today=one.today,
            birth_date=one.birth_date,
            progressive=one.progressive,
        )
        for one in people
    )
    cases = [case for case, _ in made if case is not None]
    cases.sort(key=lambda case: case.day.size)  # so that a batch holds people of like length
    if len(cases) < MIN_PEOPLE:
        return TooFew(f"{len(cases)} people with usable readings; at least {MIN_PEOPLE} are needed")
    pairs = count_pairs(cases)
    problem = _problem(cases, pairs, table)
    start = _penalised(np.zeros(len(problem.keys)), cases, problem, table)
    best = _maximise(cases, problem, table, max_evaluations, progress or (lambda _done, _most: None))
    after = _values(best, problem, table)
    rows = tuple(
        LearnedRow(key, _before(table, key), after[key], pairs.get(key.split(".")[1]) if "." in key else None)
        for key in problem.keys
    )
    return Learned(
        rows,
        len(cases),
        int(sum(case.day.size for case in cases)),
        start[1],
        _penalised(best, cases, problem, table)[1],
        problem.not_learned,
    )


@dataclass(frozen=True)
class _Problem:
    keys: tuple[str, ...]
    not_learned: tuple[str, ...]


def _problem(cases: Sequence[Case], pairs: dict[str, int], table: Priors) -> _Problem:
    sources = sorted({name for case in cases for name in case.offset} - {"arterial"})
    enough = [name for name in sources if pairs.get(name, 0) >= MIN_PAIRS]
    noises = {
        name for case in cases for name, kind in zip(case.noise, case.offset, strict=True) if kind in enough
    }
    arterial = any("arterial" in case.offset for case in cases)
    keys = [f"offset.{name}.mean" for name in enough]
    keys += [f"noise.{name}" for name in sorted(noises | ({"arterial"} if arterial else set()))]
    keys += [*LEARNED_SPREADS, SLOPE_KEY]
    short = tuple(
        f"{name}: {pairs.get(name, 0)} arterial pairs, at least {MIN_PAIRS} are needed"
        for name in sources
        if name not in enough
    )
    return _Problem(tuple(key for key in keys if key in table.rows), short)


def _before(table: Priors, key: str) -> float | tuple[float, ...]:
    return table.grid(key) if key == SLOPE_KEY else table.value(key)


def _values(
    point: NDArray[np.float64], problem: _Problem, table: Priors
) -> dict[str, float | tuple[float, ...]]:
    """Turn steps (in prior spreads for offsets, in logs for spreads) into values."""
    values: dict[str, float | tuple[float, ...]] = {}
    for key, step in zip(problem.keys, point, strict=True):
        if key.endswith(".mean"):
            values[key] = table.value(key) + step * table.value(key.replace(".mean", ".sd"))
        elif key == SLOPE_KEY:
            values[key] = tuple(float(value * np.exp(step)) for value in table.grid(key))
        else:
            values[key] = float(table.value(key) * np.exp(step))
    return values


def _penalised(
    point: NDArray[np.float64], cases: Sequence[Case], problem: _Problem, table: Priors
) -> tuple[float, float]:
    """Penalised and plain log-likelihood of the cohort at a point."""
    overridden = table.override(_values(point, problem, table))
    likelihood = log_evidence(cases, overridden)
    scale = np.array([1.0 if key.endswith(".mean") else HYPER_SD for key in problem.keys])
    return float(likelihood - 0.5 * ((point / scale) ** 2).sum()), float(likelihood)


def _maximise(
    cases: Sequence[Case], problem: _Problem, table: Priors, max_evaluations: int, progress: Progress
) -> NDArray[np.float64]:
    from scipy.optimize import minimize  # noqa: PLC0415 - scipy costs its import only where it is used

    counted = count(1)

    def cost(point: NDArray[np.float64]) -> float:
        penalised = _penalised(point, cases, problem, table)[0]
        progress(min(next(counted), max_evaluations), max_evaluations)
        return -penalised

    found = minimize(
        cost,
        np.zeros(len(problem.keys)),
        method="Powell",
        bounds=[(-3.0, 3.0)] * len(problem.keys),
        options={"maxfev": max_evaluations, "xtol": 0.01, "ftol": 1e-5},
    )
    progress(max_evaluations, max_evaluations)
    return np.asarray(found.x, dtype=float)
