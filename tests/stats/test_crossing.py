"""Simulated paths against the model's own forecast, and chances ahead."""

import numpy as np
import pytest
from trend_people import after, changes, random_person, readings

from hvmon.stats.cases import make_case
from hvmon.stats.crossing import STEP_DAYS, STEPS, crossing, level_paths
from hvmon.stats.inference import posteriors
from hvmon.stats.mixture import level_estimate
from hvmon.stats.priors import default_priors

PRIORS = default_priors()


def posterior_of(frame, moves, ahead):
    case, _ = make_case(frame, moves, today=after(720))
    return next(posteriors([case], PRIORS, asked=[case.today + np.array(ahead)]))


@pytest.mark.parametrize("moves", [(), ((690, "initiation"),)])
def test_paths_spread_as_the_exact_forecast_does(moves):
    # two ways to one answer: simulation month by month, and one exact transition of the filter
    found = posterior_of(random_person(3, 9), changes(*moves), [180.0, 720.0])
    paths = level_paths(found, PRIORS, seed=1, draws=20_000)
    for step in (6, STEPS):
        row = int(np.searchsorted(found.rows.day, found.case.today + step * STEP_DAYS))
        exact = level_estimate(found.weight, found.level_mean[row], found.level_variance[row])
        drawn = np.quantile(np.exp(paths[:, step]), [0.5, 0.025, 0.975])
        assert drawn == pytest.approx([exact.median, exact.low95, exact.high95], rel=0.02)


def test_the_same_seed_draws_the_same_paths():
    found = posterior_of(random_person(3, 6), changes(), [30.0])
    assert (level_paths(found, PRIORS, seed=5) == level_paths(found, PRIORS, seed=5)).all()


def test_chances_ahead_grow_with_the_horizon_and_fall_with_the_limit():
    found = posterior_of(
        readings(*[(60 * i, "arterial", 6.0 + 0.08 * i) for i in range(12)]), changes(), [30.0]
    )
    paths = level_paths(found, PRIORS, seed=2)
    chances = [crossing(found, paths, limit) for limit in (6.0, 7.0, 8.0, 12.0)]
    for one in chances:
        assert one.within_90_days <= one.within_180_days <= one.within_365_days <= one.within_2_years
    assert [one.within_365_days for one in chances] == sorted(
        (one.within_365_days for one in chances), reverse=True
    )
    assert chances[0].within_90_days > 0.95
    assert chances[-1].median_date is None
