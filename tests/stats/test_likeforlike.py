"""Like-for-like comparison: keys, reference change values, straight-line trends."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from hvmon.stats.likeforlike import (
    Comparison,
    NotComparable,
    PlainTrend,
    key_of,
    last_versus_previous,
    plain_trend,
    reference_change,
    series_of_frame,
)
from hvmon.stats.series import READINGS_SCHEMA

START = datetime(2025, 1, 6, 9, tzinfo=UTC)


def frame(*rows):
    """Rows of (day, source, kPa, ventilator, oxygen)."""
    full = [
        (f"r{i}", START + timedelta(days=day), source, kpa, ventilator, oxygen, "routine", "kPa", kpa)
        + (None,) * 5
        for i, (day, source, kpa, ventilator, oxygen) in enumerate(rows)
    ]
    return pl.DataFrame(full, schema=READINGS_SCHEMA, orient="row")


OFF = "off ventilator"
ON = "on ventilator"

# published components (RepeatGas2015, Murphy2006, Byrne2014, HardingFraser1987) combined by arithmetic:
# pair, SD of the log ratio, two-sided limits [%], one-sided rise at 6.5 kPa [kPa]
REFERENCE_CHANGE_TABLE = [
    ("arterial", "arterial", 0.071, 14.9, -12.9, 0.80),
    ("capillary earlobe", "capillary earlobe", 0.085, 18.2, -15.4, 0.98),
    ("tc earlobe", "tc earlobe", 0.096, 20.7, -17.2, 1.11),
    ("venous", "venous", 0.139, 31.4, -23.9, 1.67),
    ("arterial", "capillary earlobe", 0.081, 17.2, -14.6, 0.92),
    ("arterial", "venous", 0.128, 28.6, -22.2, 1.53),
]


@pytest.mark.parametrize(("last", "previous", "sd", "up", "down", "one_sided_kpa"), REFERENCE_CHANGE_TABLE)
def test_reference_change_values_follow_the_table_of_components(last, previous, sd, up, down, one_sided_kpa):
    limit = reference_change(last, previous)
    assert limit.sd_ln == pytest.approx(sd, abs=5e-4)
    assert limit.up_pct == pytest.approx(up, abs=0.06)
    assert limit.down_pct == pytest.approx(down, abs=0.06)
    assert 6.5 * limit.one_sided_up_pct / 100 == pytest.approx(one_sided_kpa, abs=0.006)


def test_two_arterial_readings_of_one_day_share_the_days_state():
    # sqrt(2) x 3 % -> 8.3 % (symmetric, 1.96 x sd); the log-normal limits stand about it
    assert 100 * 1.96 * reference_change("arterial", same_day=True).sd_ln == pytest.approx(8.3, abs=0.05)


def test_an_unknown_source_is_refused_with_the_accepted_ones():
    with pytest.raises(ValueError, match=r"end-tidal.*accepted are arterial"):
        reference_change("end-tidal")


def test_unlike_conditions_are_never_compared():
    readings = frame((0, "arterial", 6.0, OFF, 0.0), (90, "arterial", 7.5, ON, 0.0))
    answer = last_versus_previous(readings)
    assert isinstance(answer, NotComparable)
    assert "on ventilator" in answer.reason


def test_the_previous_reading_of_the_same_conditions_is_found_past_others():
    readings = frame(
        (0, "arterial", 6.0, OFF, 0.0),
        (60, "venous", 8.0, OFF, 0.0),
        (70, "arterial", 7.0, OFF, 2.0),
        (90, "arterial", 7.2, OFF, 0.0),
    )
    answer = last_versus_previous(readings)
    assert isinstance(answer, Comparison)
    assert (answer.previous_id, answer.last_id) == ("r0", "r3")
    assert answer.difference_kpa == pytest.approx(1.2)
    assert answer.beyond_noise
    assert "higher" in answer.in_words


def test_a_condition_not_recorded_gives_no_comparison_and_names_it():
    readings = frame((0, "arterial", 6.0, "not recorded", None), (90, "arterial", 7.5, "not recorded", None))
    answer = last_versus_previous(readings)
    assert isinstance(answer, NotComparable)
    assert "ventilator state and oxygen flow not recorded" in answer.reason


def test_small_differences_are_within_noise_and_never_called_stable():
    answer = last_versus_previous(frame((0, "arterial", 6.5, OFF, 0.0), (90, "arterial", 7.0, OFF, 0.0)))
    assert not answer.beyond_noise
    assert "no change is shown or excluded" in answer.in_words


def test_no_reading_at_all_is_an_answer():
    assert isinstance(last_versus_previous(frame()), NotComparable)
    assert isinstance(plain_trend({}, key_of("arterial", OFF, 0.0)), NotComparable)


def test_the_plain_trend_finds_the_slope_of_a_line():
    rows = [(90 * i, "arterial", 6.0 + 0.4 * 90 * i / 365.25, OFF, 0.0) for i in range(8)]
    parts = series_of_frame(frame(*rows))
    trend = plain_trend(parts, key_of("arterial", OFF, 0.0))
    assert isinstance(trend, PlainTrend)
    assert trend.slope_kpa_per_year == pytest.approx(0.4)
    assert trend.line_kpa(START) == pytest.approx(6.0)
    assert trend.mann_kendall_p < 0.01


@pytest.mark.parametrize("n", [4, 5, 12])
def test_constant_readings_give_a_flat_line_without_nan(n):
    parts = series_of_frame(frame(*[(30 * i, "arterial", 6.0, OFF, 0.0) for i in range(n)]))
    trend = plain_trend(parts, key_of("arterial", OFF, 0.0))
    numbers = (
        trend.slope_kpa_per_year,
        trend.low_kpa_per_year,
        trend.high_kpa_per_year,
        trend.mann_kendall_p,
    )
    assert np.isfinite(numbers).all()
    assert trend.slope_kpa_per_year == 0


def test_readings_at_one_instant_have_no_trend():
    parts = series_of_frame(frame(*[(0, "arterial", 6.0 + i, OFF, 0.0) for i in range(5)]))
    answer = plain_trend(parts, key_of("arterial", OFF, 0.0))
    assert "one instant" in answer.reason
