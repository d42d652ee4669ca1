"""Quantiles and probabilities of normal mixtures, and the change between two levels."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hvmon.stats.mixture import (
    QUANTILES,
    Pair,
    chance_above,
    level_estimate,
    mixture_cdf,
    mixture_estimate,
    mixture_quantiles,
)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 100_000), n=st.integers(1, 24), tightness=st.floats(0.05, 3.0))
def test_quantiles_invert_the_cumulative_distribution(seed, n, tightness):
    rng = np.random.default_rng(seed)
    weight, mean = rng.dirichlet(np.full(n, tightness)), rng.normal(0, 0.4, n)
    sd = np.exp(rng.normal(-2.5, 0.8, n))
    found = mixture_quantiles(weight, mean, sd)
    assert mixture_cdf(found, weight, mean, sd) == pytest.approx(QUANTILES, abs=1e-6)


def test_one_component_is_the_normal_distribution():
    estimate = mixture_estimate(np.ones(1), np.zeros(1), np.ones(1))
    assert estimate.median == pytest.approx(0, abs=1e-9)
    assert estimate.high95 == pytest.approx(1.959963984540054, abs=1e-8)
    assert estimate.high80 == pytest.approx(1.2815515655446004, abs=1e-8)
    assert estimate.width95 == pytest.approx(2 * 1.959963984540054)


def test_far_apart_components_keep_both_their_tails():
    estimate = level_estimate(np.array([0.9, 0.1]), np.log([6.0, 9.0]), np.array([1e-4, 1e-4]))
    assert estimate.median == pytest.approx(6.0, rel=0.01)
    assert estimate.high95 == pytest.approx(9.0, rel=0.03)


@settings(max_examples=30, deadline=None)
@given(
    then=st.floats(1.5, 2.1),
    step=st.floats(-0.3, 0.3),
    correlation=st.floats(-0.9, 0.99),
    seed=st.integers(0, 99),
)
def test_chances_of_a_rise_equal_simulation(then, step, correlation, seed):
    a, b = 0.08, 0.1
    covariance = correlation * a * b
    pair = Pair(
        np.ones(1), np.array([then]), np.array([a**2]), np.array([then + step]), np.array([b**2]),
        np.array([covariance]),
    )  # fmt: skip
    draws = np.random.default_rng(seed).multivariate_normal(
        [then, then + step], [[a**2, covariance], [covariance, b**2]], 40_000
    )
    change = np.exp(draws[:, 1]) - np.exp(draws[:, 0])
    assert pair.rise_chance() == pytest.approx((change > 0).mean(), abs=0.012)
    assert 1 - pair.below(np.array([0.3]))[0] == pytest.approx((change > 0.3).mean(), abs=0.012)
    estimate = pair.change_estimate()
    assert estimate.median == pytest.approx(np.median(change), abs=0.03)
    assert estimate.low95 == pytest.approx(np.quantile(change, 0.025), abs=0.12)


def test_the_chance_above_a_limit_falls_with_the_limit():
    parts = np.array([0.3, 0.7]), np.log([6.0, 7.0]), np.array([0.01, 0.02])
    chances = [chance_above(np.log(limit), *parts) for limit in (5.0, 6.0, 6.5, 7.0, 9.0)]
    assert chances == sorted(chances, reverse=True)
    assert chances[0] > 0.95
    assert chances[-1] < 0.05
