import numpy as np
import pytest

from hvmon.stats.figure import FIRST_ORDER_TO, Carried, Uncertain, carry, sample


def quotient(top, bottom):
    return top / bottom


@pytest.mark.parametrize("relative_sd", [0.02, 0.08, 0.15, 0.2])
def test_where_the_first_order_form_is_used_samples_agree_within_five_percent(relative_sd):
    inputs = {"top": Uncertain(300.0, 30.0), "bottom": Uncertain(100.0, 100.0 * relative_sd)}
    found = carry(quotient, inputs, "1", divisors=(inputs["bottom"],))
    draws = quotient(**sample(inputs, 3, 400_000))
    low, high = np.quantile(draws, [0.158655, 0.841345])
    assert found.carried == Carried.FIRST_ORDER
    assert (high - low) / 2 == pytest.approx(found.sd, rel=0.05)


def test_beyond_a_fifth_the_answer_is_sampled_and_its_interval_lopsided():
    bottom = Uncertain(100.0, 100.0 * (FIRST_ORDER_TO + 0.1))
    found = carry(quotient, {"top": Uncertain(300.0, 30.0), "bottom": bottom}, "1", divisors=(bottom,))
    assert found.carried == Carried.SAMPLED
    assert found.high_95 - found.value > 1.5 * (found.value - found.low_95)


def test_the_same_seed_gives_the_same_samples_and_another_seed_does_not():
    inputs = {"a": Uncertain(1.0, 0.1)}
    assert np.array_equal(sample(inputs, 1)["a"], sample(inputs, 1)["a"])
    assert not np.array_equal(sample(inputs, 1)["a"], sample(inputs, 2)["a"])
