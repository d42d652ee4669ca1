"""Sums of normal curves: quantiles and probabilities of the trend model's answers."""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from hvmon.stats.statespace import Array

NEWTON_STEPS = 40
NEWTON_TOLERANCE = 1e-10
NODES = 24
"""Nodes of the quadrature over the earlier level in the change in kPa."""

_X, _W = np.polynomial.hermite_e.hermegauss(NODES)
_W = _W / _W.sum()


@dataclass(frozen=True, slots=True)
class Estimate:
    """A median with its 80 % and 95 % intervals."""

    median: float
    low95: float
    high95: float
    low80: float
    high80: float

    @property
    def width95(self) -> float:
        """Width of the 95 % interval."""
        return self.high95 - self.low95

    def scaled(self, factor: float) -> "Estimate":
        """Give the same estimate in another unit."""
        numbers = (self.median, self.low95, self.high95, self.low80, self.high80)
        return Estimate(*(number * factor for number in numbers))


QUANTILES = np.array([0.5, 0.025, 0.975, 0.1, 0.9])


def normal_cdf(z: Array) -> Array:
    """Cumulative normal distribution."""
    return np.asarray(ndtr(z))


def mixture_cdf(x: Array, weight: Array, mean: Array, sd: Array) -> Array:
    """Probability below x of a normal mixture; components on the last axis, x without it."""
    return np.asarray((weight * normal_cdf((np.asarray(x)[..., None] - mean) / sd)).sum(axis=-1))


def mixture_quantiles(weight: Array, mean: Array, sd: Array, shares: Array = QUANTILES) -> Array:
    """Quantiles of normal mixtures, the shares on the last axis: Newton's steps kept inside a bracket."""
    mean, sd = np.asarray(mean)[..., None, :], np.asarray(sd)[..., None, :]
    shape = (*mean.shape[:-2], shares.size)
    low = np.broadcast_to((mean - 9 * sd).min(axis=-1), shape).copy()
    high = np.broadcast_to((mean + 9 * sd).max(axis=-1), shape).copy()
    centre = (weight * mean).sum(axis=-1)
    spread = np.sqrt((weight * (sd**2 + (mean - centre[..., None]) ** 2)).sum(axis=-1))
    x = centre + spread * ndtri(shares)
    for _ in range(NEWTON_STEPS):
        z = (x[..., None] - mean) / sd
        miss = (weight * ndtr(z)).sum(axis=-1) - shares
        slope = (weight / sd * np.exp(-0.5 * z * z)).sum(axis=-1) / np.sqrt(2 * np.pi)
        low, high = np.where(miss < 0, x, low), np.where(miss < 0, high, x)
        step = x - miss / np.maximum(slope, 1e-12)
        inside = (step > low) & (step < high)
        new = np.where(inside, step, 0.5 * (low + high))
        if np.abs(new - x).max() < NEWTON_TOLERANCE:
            return np.asarray(new)
        x = new
    return np.asarray(x)


def mixture_estimate(weight: Array, mean: Array, variance: Array) -> Estimate:
    """Estimate of one normal mixture on its own scale."""
    return Estimate(*map(float, mixture_quantiles(weight, mean, np.sqrt(variance))))


def level_estimate(weight: Array, mean: Array, variance: Array) -> Estimate:
    """Estimate in kPa of a level given on the log scale."""
    return Estimate(*map(float, np.exp(mixture_quantiles(weight, mean, np.sqrt(variance)))))


def chance_above(log_limit: float, weight: Array, mean: Array, variance: Array) -> float:
    """Probability that a log-scale level lies above a limit."""
    return float((weight * normal_cdf((mean - log_limit) / np.sqrt(variance))).sum())


@dataclass(frozen=True)
class Pair:
    """Level then and level now on the log scale: means, variances and covariance over the grid."""

    weight: Array
    then_mean: Array
    then_variance: Array
    now_mean: Array
    now_variance: Array
    covariance: Array

    def rise_chance(self) -> float:
        """Probability that the level now is above the level then."""
        spread = self.then_variance + self.now_variance - 2 * self.covariance
        difference = self.now_mean - self.then_mean
        return float((self.weight * normal_cdf(difference / np.sqrt(np.maximum(spread, 1e-14)))).sum())

    def _conditional(self) -> tuple[Array, Array, Array]:
        then = self.then_mean[:, None] + np.sqrt(self.then_variance)[:, None] * _X
        gain = self.covariance / self.then_variance
        mean = self.now_mean[:, None] + gain[:, None] * (then - self.then_mean[:, None])
        variance = self.now_variance - gain * self.covariance
        return then, mean, np.sqrt(np.maximum(variance, 1e-14))[:, None]

    def below(self, change_kpa: Array) -> Array:
        """Probability that the change in kPa is below each of some values."""
        then, mean, sd = self._conditional()
        bound = np.exp(then)[None] + np.asarray(change_kpa)[:, None, None]
        z = (np.log(np.maximum(bound, 1e-9)) - mean) / sd
        return np.asarray((self.weight[:, None] * _W * normal_cdf(z)).sum(axis=(1, 2)))

    def change_estimate(self) -> Estimate:
        """Change in kPa, median and intervals."""
        low, high = np.full(QUANTILES.size, -15.0), np.full(QUANTILES.size, 15.0)
        for _ in range(45):
            middle = 0.5 * (low + high)
            less = self.below(middle) < QUANTILES
            low, high = np.where(less, middle, low), np.where(less, high, middle)
        return Estimate(*map(float, 0.5 * (low + high)))
