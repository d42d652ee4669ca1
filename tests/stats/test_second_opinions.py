"""Older methods beside the model: what they say, when they are silent, and their weakness."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import theilslopes
from trend_people import OFF, readings

from hvmon.stats.likeforlike import NotComparable, PlainTrend, key_of, plain_trend, series_of_frame
from hvmon.stats.priors import default_priors
from hvmon.stats.second_opinions import (
    THRESHOLD,
    WEAKNESS,
    Method,
    SecondOpinion,
    score_raw,
    second_opinions,
)

KEY = key_of("arterial", OFF, 0.0)


def asked(values, **more):
    parts = series_of_frame(readings(*[(40 * i, "arterial", value) for i, value in enumerate(values)]))
    return dict(zip(Method, second_opinions(parts, KEY, **more), strict=True))


def test_every_method_has_a_threshold_and_a_weakness():
    assert set(THRESHOLD) == set(WEAKNESS) == set(Method)
    for each in asked([6.0] * 8).values():
        assert each.weakness


def test_a_clear_rise_raises_all_but_the_two_point_comparison():
    opinions = asked(np.linspace(5.5, 7.5, 12))
    raised = {method for method, each in opinions.items() if each.raised}
    assert raised == {Method.THEIL_SEN, Method.MANN_KENDALL, Method.EWMA, Method.CUSUM}


def test_one_odd_last_reading_raises_the_two_point_comparison():
    opinions = asked([6.0, 6.1, 6.0, 5.9, 6.0, 6.1, 7.6])
    assert opinions[Method.REFERENCE_CHANGE].raised
    assert not opinions[Method.MANN_KENDALL].raised


@pytest.mark.parametrize("n", [5, 8, 20])
def test_constant_values_raise_nothing_and_hold_no_nan(n):
    for each in asked([6.5] * n).values():
        assert isinstance(each, SecondOpinion)
        assert np.isfinite(each.score)
        assert not each.raised
        assert "does not speak of a rise" in each.in_words


@settings(max_examples=80, deadline=None)
@given(
    rows=st.lists(
        st.tuples(st.sampled_from([0.0, 1.0, 30.0, 60.0]), st.sampled_from([5.5, 6.0, 6.5])),
        min_size=1,
        max_size=8,
    )
)
def test_ties_in_time_and_value_never_give_nan_or_an_error(rows):
    parts = series_of_frame(readings(*[(day, "arterial", value) for day, value in rows]))
    for each in second_opinions(parts, KEY):
        assert isinstance(each, NotComparable) or np.isfinite(each.score)
    trend = plain_trend(parts, KEY)
    if isinstance(trend, PlainTrend):
        assert trend.low_kpa_per_year <= trend.slope_kpa_per_year <= trend.high_kpa_per_year


def test_too_few_readings_or_unknown_conditions_are_silent_with_a_reason():
    few = asked([6.0, 6.5])
    assert isinstance(few[Method.EWMA], NotComparable)
    assert "at least 5 are needed" in few[Method.EWMA].reason
    parts = series_of_frame(readings((0, "arterial", 6.0, "not recorded", 0.0)))
    opinions = second_opinions(parts, key_of("arterial", "not recorded", 0.0))
    assert all("not recorded" in each.reason for each in opinions)
    assert all(isinstance(each, NotComparable) for each in second_opinions({}, KEY))


def test_the_theil_sen_score_reaches_its_threshold_exactly_when_the_interval_leaves_zero():
    rng = np.random.default_rng(0)
    for _ in range(50):
        years, kpa = np.sort(rng.uniform(0, 2, 9)), 6 + 0.4 * rng.standard_normal(9)
        line = theilslopes(kpa, years, alpha=0.95)
        score = score_raw(Method.THEIL_SEN, years, kpa, "arterial", default_priors())
        assert (score >= THRESHOLD[Method.THEIL_SEN]) == (line.low_slope >= 0)


def test_the_ewma_score_follows_the_textbook_recursion():
    kpa = np.array([6.0, 6.2, 6.1, 5.9, 6.6, 6.8, 7.0])
    spread = np.hypot(0.03, 0.04)
    steps = (np.log(kpa[4:]) - np.log(kpa[:4]).mean()) / spread
    z = 0.0
    for step in steps:
        z = 0.3 * step + 0.7 * z
    limit = np.sqrt(0.3 / 1.7 * (1 - 0.7**6))
    score = score_raw(Method.EWMA, np.arange(7.0), kpa, "arterial", default_priors())
    assert score == pytest.approx(z / limit)


def test_the_cusum_score_follows_the_textbook_recursion():
    kpa = np.array([6.0, 6.2, 6.1, 5.9, 5.8, 6.8, 7.0])
    steps = (np.log(kpa[4:]) - np.log(kpa[:4]).mean()) / np.hypot(0.03, 0.04)
    total = 0.0
    for step in steps:
        total = max(0.0, total + step - 0.5)
    score = score_raw(Method.CUSUM, np.arange(7.0), kpa, "arterial", default_priors())
    assert score == pytest.approx(total)


def test_thresholds_can_be_moved_to_compare_methods_at_one_rate_of_false_flags():
    values = np.linspace(5.5, 7.5, 12)
    assert not asked(values, thresholds={Method.EWMA: 1e6})[Method.EWMA].raised
