"""Symptoms of a cohort in words: consistent when made so, never by a shared drift alone, refused with n."""

import numpy as np
import polars as pl
import pytest

from hvmon.stats.cohort_people import LONG_SCHEMA
from hvmon.stats.symptoms import FLAP, Relation
from hvmon.stats.symptoms_cohort import mixed_model, ordered_model, present_or_absent
from hvmon.stats.symptoms_pooled import ASKED, MIN_DRIFT_PAIRS, chance_words, pool

HEADACHE = "morning headache"


def cohort(n_people=30, each=8, *, link=0.0, drift=0.0, seed=0, symptom=HEADACHE, flap=False):
    """CO2 about a usual level; the symptom follows it by `link` points per kPa, both drift by `drift`."""
    rng = np.random.default_rng(seed)
    rows = []
    for person in range(n_people):
        usual = rng.normal(6.5, 0.7)
        for step in range(each):
            beside = 0.4 * rng.standard_normal()
            co2 = usual + beside + drift * step / each
            value = 4 + link * beside + 3 * drift * step / each + rng.standard_normal()
            sign = float(rng.random() < 1 / (1 + np.exp(-3 * beside)))
            value = sign if flap else float(np.clip(round(value), 0, 10))
            rows.append((f"p{person}", symptom, 40.0 * step, co2, value, "routine"))
    return pl.DataFrame(rows, schema=LONG_SCHEMA, orient="row")


def answer(pairs, symptom=HEADACHE):
    return {one.symptom: one for one in pool(pairs)}[symptom]


def test_a_symptom_that_follows_co2_is_consistent_with_its_slope_and_n():
    found = answer(cohort(link=1.5))
    assert found.answer == Relation.CONSISTENT
    assert found.main.low < 1.5 < found.main.high
    assert "240 pairs of 30 people" in found.in_words
    assert "more of it with higher CO2" in found.in_words


def test_a_sign_that_comes_with_lower_co2_says_so():
    assert "more of it with lower CO2" in answer(cohort(link=-1.5)).in_words


def test_two_series_that_merely_both_drift_are_not_called_consistent():
    pairs = cohort(drift=1.5, seed=3)
    found = answer(pairs)
    assert found.main.low > 0  # the mixed model alone would call it a relation
    assert found.within.p < 0.001
    assert found.drift_free.p > 0.05
    assert found.answer == Relation.POSSIBLE


def test_no_relation_is_called_consistent_in_fewer_than_one_of_twenty_cohorts():
    found = [answer(cohort(15, 6, seed=seed)).answer for seed in range(40)]
    assert found.count(Relation.CONSISTENT) <= 1
    assert found.count(Relation.NO_CLEAR) >= 32


def test_p_counts_every_symptom_asked_and_is_never_written_as_zero():
    found = answer(cohort(link=0.3, seed=1))
    assert found.family_p == pytest.approx(min(1.0, len(ASKED) * found.main.p))
    assert chance_words(1e-9) == "below 0.001"
    assert chance_words(0.0421) == "0.042"


def test_the_drift_free_correlation_spends_two_coefficients_a_person():
    found = answer(cohort(12, 5, link=1.0))
    assert found.within.degrees_of_freedom == 12 * 5 - 12 - 1
    assert found.drift_free.degrees_of_freedom == 12 * 5 - 24 - 1
    few = answer(cohort(12, MIN_DRIFT_PAIRS - 1, link=1.0))
    assert few.drift_free is None
    assert few.answer != Relation.CONSISTENT


def test_the_flap_is_pooled_as_present_or_absent():
    found = answer(cohort(60, symptom=FLAP, flap=True), FLAP)
    assert "conditional logit" in found.main.method
    assert found.main.low > 0
    assert not found.beside


def test_too_few_people_or_an_empty_cohort_is_not_enough_data():
    for pairs in (cohort(3), pl.DataFrame(schema=LONG_SCHEMA)):
        found = answer(pairs)
        assert found.answer == Relation.NOT_ENOUGH
        assert "at least 30 of 10 are needed" in found.in_words


@pytest.mark.parametrize("model", [mixed_model, ordered_model, present_or_absent])
def test_a_fit_that_runs_away_is_refused_and_gives_no_number(model):
    """The symptom is there exactly when CO2 is above the person's own mean: log odds without end."""
    pairs = cohort(30, 8).select("person_key", "co2_kpa", value=pl.col("co2_kpa"))
    above = pl.col("co2_kpa") > pl.col("co2_kpa").mean().over("person_key")
    found = model(pairs.with_columns(value=above.cast(pl.Float64)))
    numbers = [found.estimate, found.low, found.high]
    assert all(number is None for number in numbers) or np.isfinite(numbers).all()
    if model is not mixed_model:
        assert found.estimate is None
        assert "did not settle" in found.reason
