"""Days until the usual level is above a limit: simulated paths from the posterior, month by month."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from hvmon.stats.cases import DAYS_PER_YEAR
from hvmon.stats.design import response, split_changes
from hvmon.stats.inference import Posterior
from hvmon.stats.priors import Priors
from hvmon.stats.statespace import LEVEL, SLOPE, Array, integrated_slope_variance

STEP_DAYS = 30
STEPS = 24
DRAWS = 4000
HORIZONS_DAYS = (90, 180, 365)
LIKELY = 0.5


@dataclass(frozen=True, slots=True)
class Crossing:
    """Chance that the usual level is above a limit at some month-end within a horizon."""

    limit_kpa: float
    within_90_days: float
    within_180_days: float
    within_365_days: float
    within_2_years: float
    median_date: date | None
    """Only when more likely than not within two years; a date is never given otherwise."""

    @property
    def in_words(self) -> str:
        """One sentence, never a bare date."""
        if self.median_date is None:
            return (
                f"not expected above {self.limit_kpa:.1f} kPa within 2 years (p = {self.within_2_years:.2f})"
            )
        return (
            f"above {self.limit_kpa:.1f} kPa within 2 years with p = {self.within_2_years:.2f}, "
            f"half of the paths by {self.median_date:%B %Y}"
        )


def level_paths(posterior: Posterior, priors: Priors, *, seed: int, draws: int = DRAWS) -> Array:
    """Draw usual levels [ln kPa], (draws, 25): now and the ends of 24 steps of 30 days.

    Draws are shared out over the grid by its posterior weights; the response to recent settings
    changes goes on as in the model.
    """
    rng = np.random.default_rng(seed)
    counts = rng.multinomial(draws, posterior.weight)
    state = np.concatenate(
        [_states_of_point(posterior, point, int(count), rng) for point, count in enumerate(counts) if count]
    )
    slope_sd = np.repeat(posterior.grid_values(np.array(priors.grid("slope.sd")), inner=False), counts)
    into, kept, noise = _month(priors, slope_sd)
    level, slope, out = state[:, 0], state[:, 1], np.empty((draws, STEPS + 1))
    shares = _change_shares(posterior, priors)
    for step in range(STEPS + 1):
        out[:, step] = level + state[:, 2:] @ shares[step]
        first, second = rng.standard_normal((2, draws))
        level = level + into * slope + noise[0] * first
        slope = kept * slope + noise[1] * first + noise[2] * second
    return out


def _states_of_point(posterior: Posterior, point: int, count: int, rng: np.random.Generator) -> Array:
    """Draw level, slope and responses now at one grid point."""
    first = posterior.layout.first_change
    index = np.array([LEVEL, SLOPE, *range(first, first + posterior.layout.changes)])
    cov = posterior.now_covariance[:, :, point][index[:, None], index]
    root = np.linalg.cholesky(cov + 1e-12 * np.eye(index.size))
    return np.asarray(posterior.now_mean[index, point] + rng.standard_normal((count, index.size)) @ root.T)


def _month(priors: Priors, slope_sd: Array) -> tuple[float, float, tuple[Array, Array, Array]]:
    """Give the transition of one step and, for each draw, the lower triangle of its noise."""
    theta, delta = DAYS_PER_YEAR / priors.value("slope.days"), STEP_DAYS / DAYS_PER_YEAR
    into, kept = float(-np.expm1(-theta * delta) / theta), float(np.exp(-theta * delta))
    q11 = slope_sd**2 * integrated_slope_variance(delta, theta) + priors.value("level.walk") ** 2 * delta
    q12, q22 = slope_sd**2 * theta * into**2, -(slope_sd**2) * np.expm1(-2 * theta * delta)
    root = np.sqrt(q11)
    return into, kept, (root, q12 / root, np.sqrt(np.maximum(q22 - q12**2 / q11, 0.0)))


def _change_shares(posterior: Posterior, priors: Priors) -> Array:
    case = posterior.case
    days = case.today + STEP_DAYS * np.arange(STEPS + 1, dtype=np.float64)
    shares = np.zeros((STEPS + 1, posterior.layout.changes))
    for slot, change in enumerate(split_changes(case).own):
        shares[:, slot] = response(days, case.change_day[change], priors.value("change.days"))
    return shares


def crossing(posterior: Posterior, paths: Array, limit_kpa: float) -> Crossing:
    """Give when the paths first stand above a limit [kPa]."""
    above = paths > np.log(limit_kpa)
    ever = above.any(axis=1)
    first = np.where(ever, above.argmax(axis=1), STEPS + 1)
    within = [float((first * STEP_DAYS <= days).mean()) for days in HORIZONS_DAYS]
    share = float(ever.mean())
    when = None
    if share > LIKELY:
        case = posterior.case
        when = case.moment(case.today + STEP_DAYS * float(np.quantile(first, 0.5, method="higher"))).date()
    return Crossing(limit_kpa, within[0], within[1], within[2], share, when)
