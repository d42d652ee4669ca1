"""Pooled symptom relations: the within-person slope comes back, between-person differences do not leak."""

import numpy as np
import polars as pl
import pytest

from hvmon.stats.symptoms_cohort import (
    POOLED_SCHEMA,
    mixed_model,
    ordered_model,
    present_or_absent,
    within_person_correlation,
)


def invented(n_people=40, each=8, *, within=1.5, between=-2.0, seed=0, binary=False):
    rng = np.random.default_rng(seed)
    rows = []
    for person in range(n_people):
        usual = rng.normal(6.5, 0.7)
        for _ in range(each):
            co2 = usual + 0.4 * rng.standard_normal()
            value = 4 + between * (usual - 6.5) + within * (co2 - usual) + rng.standard_normal()
            if binary:
                value = float(
                    rng.random() < 1 / (1 + np.exp(-(between * (usual - 6.5) + within * (co2 - usual))))
                )
            rows.append((f"p{person}", co2, value))
    return pl.DataFrame(rows, schema=POOLED_SCHEMA, orient="row")


def test_the_mixed_model_gives_the_slope_within_people():
    found = mixed_model(invented())
    assert found.low < 1.5 < found.high
    assert found.low > 0
    assert (found.n_people, found.n_pairs) == (40, 320)
    assert "a relation within people" in found.in_words


def test_no_relation_within_people_is_called_no_clear_relation_whatever_people_differ_in():
    found = mixed_model(invented(within=0.0, between=4.0, seed=2))
    assert found.low < 0 < found.high
    assert "no clear relation" in found.in_words


def test_a_present_or_absent_sign_uses_only_people_in_whom_it_varies():
    frame = invented(60, within=3.0, binary=True, seed=4)
    constant = frame.filter(pl.col("person_key") == "p0").with_columns(
        value=pl.lit(1.0), person_key=pl.lit("always")
    )
    found = present_or_absent(pl.concat([frame, constant]))
    assert found.low < 3.0 < found.high
    assert found.low > 0
    assert found.n_people == present_or_absent(frame).n_people


def test_the_ordered_model_finds_the_sign_and_confesses_its_interval():
    frame = invented(within=1.5, between=0.0).with_columns(pl.col("value").round().clip(0, 10))
    found = ordered_model(frame)
    assert found.low > 0
    assert "too narrow" in found.reason


@pytest.mark.parametrize("model", [mixed_model, present_or_absent, ordered_model])
def test_too_few_people_are_refused_with_their_number(model):
    found = model(invented(4, binary=True))
    assert found.estimate is None
    assert "at least 30 of 10 are needed" in found.in_words
    assert model(pl.DataFrame(schema=POOLED_SCHEMA)).n_pairs == 0


def test_pairs_without_contrast_within_people_are_an_error_that_says_so():
    with pytest.raises(ValueError, match="no contrast within people"):
        within_person_correlation(np.array(["a", "b"]), np.array([1.0, 2.0]), np.array([3.0, 4.0]))
