"""Exact Gaussian filter and smoother for the CO2 trend, many members at once.

A member is one person at one grid point of the hyperparameters. Arrays end in the member axis, so
every step is one numpy operation over all members. The first three states move in continuous time,
mu (usual level), nu (its fading slope) and u (day-to-week state); all others stand still.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LEVEL, SLOPE, DAY = 0, 1, 2
MOVING = 3
"""How many states move; those after them are constants with a prior (offsets, conditions, responses)."""

SERIES_BELOW = 0.01
"""Below this theta * delta the closed form of Q11 loses digits and its series is used."""

LOG_2PI = float(np.log(2 * np.pi))


@dataclass(frozen=True)
class Steps:
    """Transition of the three moving states from the row before to this row, each array (rows, members)."""

    slope_into_level: Array
    slope_kept: Array
    day_kept: Array
    level_variance: Array
    level_slope_covariance: Array
    slope_variance: Array
    day_variance: Array
    level_shift: Array


@dataclass(frozen=True)
class System:
    """Everything the filter needs. Rows run in time; `rows` x `states` x `members`."""

    steps: Steps
    design: Array
    """(rows, states, members): what a reading of this row is made of."""
    probe: Array | None
    """(rows, states, members): what makes the usual level on this row's date; None skips it."""
    reading: Array
    """(rows, members): log reading; any finite number where not observed."""
    noise_variance: Array
    """(rows, members)."""
    observed: Array
    """(rows, members): 1.0 where a reading counts, 0.0 where the row only asks for the level."""
    mean: Array
    """(states, members): before the first row."""
    variance: Array
    """(states, members): before the first row; states start independent."""
    now_row: NDArray[np.intp]
    """(members,): the row whose date is "now"; no reading may count after it."""


@dataclass(frozen=True)
class Filtered:
    """Forward results; `at` means at the row before its own reading is used."""

    log_likelihood: Array
    innovation: Array
    precision: Array
    design_covariance: Array
    signal_mean: Array
    signal_variance: Array
    probe_covariance: Array | None
    probe_mean: Array | None
    probe_variance: Array | None
    now_mean: Array
    now_covariance: Array


@dataclass(frozen=True)
class Smoothed:
    """Results given all readings, each (rows, members)."""

    signal_mean: Array
    signal_variance: Array
    level_mean: Array | None
    level_variance: Array | None
    covariance_with_now: Array | None
    weight_in_now: Array | None
    """Derivative of the level now by this row's log reading."""


def integrated_slope_variance(delta_years: Array | float, theta: float) -> Array:
    """Give the variance that a fading slope of unit stationary variance adds to the level [years^2].

    Parameters
    ----------
    delta_years
        Time step [years], zero or more.
    theta
        Fading rate of the slope [1/year].

    Notes
    -----
    Q11 = sigma^2/theta^2 (Delta - 2 f + (1 - E^2) / (2 theta)) with sigma^2 = 2 theta, E = exp(-theta Delta),
    f = (1 - E)/theta. For theta Delta < 0.01 the bracket cancels; its series in x = theta Delta is
    sigma^2 Delta^3/3 (1 - 3x/4 + 7x^2/20 - x^3/8 + 31x^4/840).
    """
    delta = np.asarray(delta_years, dtype=float)
    x = theta * delta
    series = delta**3 / 3 * (1 - 0.75 * x + 7 / 20 * x**2 - x**3 / 8 + 31 / 840 * x**4)
    closed = (x + 2 * np.expm1(-x) - 0.5 * np.expm1(-2 * x)) / theta**3
    return np.asarray(2 * theta * np.where(x < SERIES_BELOW, series, closed), dtype=float)


def make_steps(
    delta_years: Array,
    *,
    slope_years: float,
    slope_sd: Array,
    walk_sd: float,
    day_years: float,
    day_sd: float,
    shift: Array,
    shift_variance: Array,
) -> Steps:
    """Give the transition over each time step.

    Parameters
    ----------
    delta_years
        (rows, members) time since the row before [years]; zero on the first row.
    slope_years, day_years
        How long a slope and a day-to-week state last [years].
    slope_sd
        (members,) spread of the slope [ln kPa/year].
    walk_sd
        Wandering of the level [ln kPa per root year].
    day_sd
        Spread of the day-to-week state [ln kPa].
    shift, shift_variance
        (rows, members) mean and variance of level steps inside the time step.
    """
    theta = 1 / slope_years
    slope_variance = slope_sd**2
    into_level = -np.expm1(-theta * delta_years) / theta
    return Steps(
        slope_into_level=into_level,
        slope_kept=np.exp(-theta * delta_years),
        day_kept=np.exp(-delta_years / day_years),
        level_variance=slope_variance * integrated_slope_variance(delta_years, theta)
        + walk_sd**2 * delta_years
        + shift_variance,
        level_slope_covariance=slope_variance * theta * into_level**2,
        slope_variance=-slope_variance * np.expm1(-2 * theta * delta_years),
        day_variance=-(day_sd**2) * np.expm1(-2 * delta_years / day_years),
        level_shift=shift,
    )


def _step_forward(mean: Array, cov: Array, steps: Steps, row: int) -> None:
    """Move mean and covariance from the row before to this row, in place."""
    into, kept, day = steps.slope_into_level[row], steps.slope_kept[row], steps.day_kept[row]
    mean[LEVEL] += into * mean[SLOPE] + steps.level_shift[row]
    mean[SLOPE] *= kept
    mean[DAY] *= day
    for block in (cov, cov.swapaxes(0, 1)):
        block[LEVEL] += into * block[SLOPE]
        block[SLOPE] *= kept
        block[DAY] *= day
    cov[LEVEL, LEVEL] += steps.level_variance[row]
    cov[LEVEL, SLOPE] += steps.level_slope_covariance[row]
    cov[SLOPE, LEVEL] += steps.level_slope_covariance[row]
    cov[SLOPE, SLOPE] += steps.slope_variance[row]
    cov[DAY, DAY] += steps.day_variance[row]


def _dot(left: Array, right: Array) -> Array:
    return np.asarray(np.einsum("ib,ib->b", left, right))


def _apply(matrix: Array, vector: Array) -> Array:
    return np.asarray(np.einsum("ijb,jb->ib", matrix, vector))


def _start(system: System) -> tuple[Array, Array]:
    states, members = system.mean.shape
    cov = np.zeros((states, states, members))
    cov[np.arange(states), np.arange(states)] = system.variance
    return system.mean.copy(), cov


def filter_forward(system: System) -> Filtered:
    """Run the Kalman filter over all members.

    Returns
    -------
    Filtered
        Log-likelihood (members,), innovations and covariances the smoother needs, and the state "now".
    """
    rows, states, members = system.design.shape
    mean, cov = _start(system)
    scratch = np.empty_like(cov)
    vectors = np.empty((rows, states, members))
    probes = np.empty_like(vectors) if system.probe is not None else None
    flat = {name: np.empty((rows, members)) for name in ("innovation", "precision", "mean", "variance")}
    asked = {name: np.empty((rows, members)) for name in ("mean", "variance")} if probes is not None else None
    now_mean, now_cov = np.empty_like(mean), np.empty_like(cov)
    log_likelihood = np.zeros(members)
    for row in range(rows):
        if row:
            _step_forward(mean, cov, system.steps, row)
        if probes is not None and asked is not None and system.probe is not None:
            probe = system.probe[row]
            probes[row] = _apply(cov, probe)
            asked["mean"][row], asked["variance"][row] = _dot(probe, mean), _dot(probe, probes[row])
        design, seen = system.design[row], system.observed[row]
        vector = vectors[row] = _apply(cov, design)
        flat["mean"][row], flat["variance"][row] = _dot(design, mean), _dot(design, vector)
        total = flat["variance"][row] + system.noise_variance[row]
        innovation = flat["innovation"][row] = (system.reading[row] - flat["mean"][row]) * seen
        precision = flat["precision"][row] = seen / total
        log_likelihood -= 0.5 * (seen * (LOG_2PI + np.log(total)) + innovation**2 * precision)
        gain = vector * precision
        mean += gain * innovation
        cov -= np.multiply(gain[:, None], vector[None], out=scratch)
        _keep_now(system.now_row == row, (mean, cov), (now_mean, now_cov))
    return Filtered(
        log_likelihood,
        flat["innovation"],
        flat["precision"],
        vectors,
        flat["mean"],
        flat["variance"],
        probes,
        asked["mean"] if asked else None,
        asked["variance"] if asked else None,
        now_mean,
        now_cov,
    )


def _keep_now(here: NDArray[np.bool_], state: tuple[Array, Array], kept: tuple[Array, Array]) -> None:
    if here.any():
        for source, target in zip(state, kept, strict=True):
            target[..., here] = source[..., here]


def _step_back(vector: Array, steps: Steps, row: int) -> None:
    """Pull a vector (or the first axis of a matrix) on this row's state back to the row before, in place."""
    vector[SLOPE] *= steps.slope_kept[row]
    vector[SLOPE] += steps.slope_into_level[row] * vector[LEVEL]
    vector[DAY] *= steps.day_kept[row]


def smooth_backward(system: System, filtered: Filtered) -> Smoothed:
    """Run the backward recursions and give smoothed signal and level on every row.

    Notes
    -----
    The fixed-interval smoother in its r, N form (DurbinKoopman2012, chapter 4): smoothed = predicted plus
    P r, variance P - P N P. Only products with the signal and level vectors are formed. The covariance of
    each level with the level now, and each reading's weight in it, come from one more vector recursion.
    """
    rows, states, members = system.design.shape
    r, n = np.zeros((states, members)), np.zeros((states, states, members))
    toward, scratch = np.zeros((states, members)), np.empty_like(n)
    out = {
        name: np.empty((rows, members)) for name in ("mean", "variance", "level", "spread", "with", "weight")
    }
    for row in range(rows - 1, -1, -1):
        design, precision, vector = (
            system.design[row],
            filtered.precision[row],
            filtered.design_covariance[row],
        )
        gain = vector * precision
        out["weight"][row] = _dot(gain, toward)
        toward -= design * out["weight"][row]
        if system.probe is not None:
            toward += system.probe[row] * (system.now_row == row)
        r += design * (filtered.innovation[row] * precision - _dot(gain, r))
        _condition(n, design, gain, precision, scratch)
        out["mean"][row] = filtered.signal_mean[row] + _dot(vector, r)
        out["variance"][row] = filtered.signal_variance[row] - _dot(vector, _apply(n, vector))
        if filtered.probe_covariance is not None and filtered.probe_mean is not None:
            asked = filtered.probe_covariance[row]
            out["level"][row] = filtered.probe_mean[row] + _dot(asked, r)
            out["spread"][row] = filtered.probe_variance[row] - _dot(asked, _apply(n, asked))  # type: ignore[index]
            out["with"][row] = _dot(asked, toward)
        if row:
            for block in (r, toward, n, n.swapaxes(0, 1)):
                _step_back(block, system.steps, row)
    known = filtered.probe_covariance is not None
    return Smoothed(
        out["mean"],
        out["variance"],
        out["level"] if known else None,
        out["spread"] if known else None,
        out["with"] if known else None,
        out["weight"] if known else None,
    )


def _condition(n: Array, design: Array, gain: Array, precision: Array, scratch: Array) -> None:
    """Bring the information matrix from after a row's reading to before it, in place."""
    pulled = _apply(n, gain)
    half = 0.5 * (_dot(gain, pulled) + precision) * design - pulled
    np.multiply(design[:, None], half[None], out=scratch)
    n += scratch
    n += scratch.swapaxes(0, 1)
