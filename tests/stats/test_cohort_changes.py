"""Settings changes over a cohort: known effects come back, n stands behind each, too few are refused."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest
from trend_records import change, dossier, gas

from hvmon.stats.cohort_changes import (
    COHORT_SCHEMA,
    GROUP_INTERVALS,
    NO_SPREAD,
    cohort_effects,
    cohort_frame,
)
from hvmon.vocabulary import ChangeKind

GROUPS = ("COPD", "obesity hypoventilation", "motor neurone disease", "chest wall disease")


def invented(n_people=150, *, seed=0, spread=0.03, noise=0.3):
    """Differences made of -0.10 kPa per cmH2O (by group more or less) and -0.03 per breath."""
    rng = np.random.default_rng(seed)
    own = dict(zip(GROUPS, spread * np.array([-1.3, -0.4, 0.4, 1.3]), strict=True))
    rows = []
    for person in range(n_people):
        group = GROUPS[person % 4]
        level = 0.15 * rng.standard_normal()
        for _ in range(int(rng.integers(1, 4))):
            support, rate = float(rng.choice([-2, 0, 2, 4])), float(rng.choice([-2, 0, 0, 2, 4]))
            effect = (-0.10 + own[group]) * support - 0.03 * rate
            rows.append((f"p{person}", group, support, rate, level + effect + noise * rng.standard_normal()))
    return pl.DataFrame(rows, schema=COHORT_SCHEMA, orient="row")


def test_known_effects_are_inside_their_intervals_with_their_numbers():
    found = cohort_effects(invented())
    overall = {effect.what: effect for effect in found.effects if effect.group == "all"}
    support, rate = overall["pressure support"], overall["backup rate"]
    assert support.low_kpa < -0.10 < support.high_kpa < 0
    assert rate.low_kpa < -0.03 < rate.high_kpa
    assert 0 < support.n_people <= 150
    assert support.n_changes >= support.n_people


def test_groups_are_drawn_toward_each_other_but_keep_their_order():
    found = cohort_effects(invented(400, spread=0.06))
    groups = {one.group: one for one in found.effects if one.pooled and one.what == "pressure support"}
    assert set(groups) == set(GROUPS)
    assert groups["COPD"].estimate_kpa < groups["chest wall disease"].estimate_kpa
    truth = {group: -0.10 + 0.06 * k for group, k in zip(GROUPS, (-1.3, -0.4, 0.4, 1.3), strict=True)}
    spread_found = np.ptp([one.estimate_kpa for one in groups.values()])
    assert spread_found < np.ptp(list(truth.values())) * 1.15
    assert all(one.low_kpa < truth[group] < one.high_kpa for group, one in groups.items())


def test_alike_groups_are_pooled_without_an_error_and_the_edge_is_noted():
    found = cohort_effects(invented(120, seed=3, spread=0.0))
    assert found.effects
    assert all(np.isfinite([one.estimate_kpa, one.low_kpa, one.high_kpa]).all() for one in found.effects)


@pytest.mark.parametrize("n", [0, 3])
def test_too_few_changes_are_refused_with_their_number(n):
    found = cohort_effects(invented(n) if n else pl.DataFrame(schema=COHORT_SCHEMA))
    assert not found.effects
    assert "at least 20 in 10 are needed" in found.refused
    assert found.forest().height == 0


def test_changes_without_a_like_for_like_difference_are_counted_in_a_note():
    frame = invented().with_columns(
        difference_kpa=pl.when(pl.int_range(pl.len()) < 7).then(None).otherwise("difference_kpa")
    )
    assert "7 changes lacked" in cohort_effects(frame).notes[0]


def test_figures_of_groups_say_that_their_intervals_are_too_narrow_and_figures_of_all_do_not():
    assert GROUP_INTERVALS in cohort_effects(invented()).notes
    alone = cohort_effects(invented().with_columns(group=pl.lit("COPD")))
    assert alone.effects
    assert GROUP_INTERVALS not in alone.notes


def test_changes_of_one_size_tell_no_effect_per_unit():
    frame = invented().with_columns(pressure_support_cmh2o=pl.lit(2.0), backup_rate=pl.lit(0.0))
    assert "same size" in cohort_effects(frame).refused


def test_the_forest_frame_has_a_row_a_figure():
    found = cohort_effects(invented())
    forest = found.forest()
    assert forest.height == len(found.effects)
    assert forest["low_kpa"].is_null().sum() == 0


def test_the_cohort_frame_takes_size_and_difference_from_the_records():
    whole = dossier(
        gas(60, 7.0), gas(150, 6.2), change(0, ChangeKind.INITIATION, ipap="14"), change(100, ipap="18")
    )
    frame = cohort_frame([whole, replace(whole)])
    assert frame.schema == COHORT_SCHEMA
    assert frame.height == 4
    second = frame.row(1, named=True)
    assert second["pressure_support_cmh2o"] == 4
    assert second["difference_kpa"] == pytest.approx(-0.8)


@pytest.mark.parametrize("copies", [13, 40])
def test_records_copied_to_other_people_give_figures_or_the_reason_and_no_error(copies):
    few = [
        ("motor neurone disease", 4.0, 2.0, 0.75),
        ("obesity hypoventilation", 4.0, 2.0, -0.67),
        ("obesity hypoventilation", -4.0, 0.0, 0.13),
        ("chest wall disease", 9.0, 6.0, -1.85),
    ]
    rows = [(f"p{n}-{k}", *row) for n in range(copies) for k, row in enumerate(few)]
    found = cohort_effects(pl.DataFrame(rows, schema=COHORT_SCHEMA, orient="row"))
    assert found.refused == NO_SPREAD or np.isfinite([one.estimate_kpa for one in found.effects]).all()
