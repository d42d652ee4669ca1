"""Symptoms and CO2 in one person: honest null, power where it should be, plain words."""

from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from scipy.stats import spearmanr
from trend_people import START, after
from trend_records import dossier, gas, held, symptoms

from hvmon.stats.discordance import discordances
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.symptoms import (
    FLAP,
    PAIRS_SCHEMA,
    SYMPTOMS,
    Relation,
    analyse,
    pair_with_model,
    spearman_interval,
)
from hvmon.stats.trend import fit
from hvmon.vocabulary import FlapTest, Rating, SampleReason

HEADACHE = Rating.MORNING_HEADACHE.value


def pairs(co2, reason="routine", **values):
    n = len(co2)
    rows = {
        "record_id": [f"s{i}" for i in range(n)],
        "asked_at": [START + timedelta(days=40 * i) for i in range(n)],
        "co2_kpa": list(map(float, co2)),
        "co2_sd_kpa": [0.3] * n,
        "reason": [reason] * n,
    } | {name: [None] * n for name in SYMPTOMS}
    names = {"headache": HEADACHE, "sleepiness": Rating.DAYTIME_SLEEPINESS.value, "flap": FLAP}
    for name, series in values.items():
        rows[names[name]] = [None if value is None else float(value) for value in series]
    return pl.DataFrame(rows, schema=PAIRS_SCHEMA)


def drifting(rng, n, link):
    """CO2 and a symptom that both drift; `link` points per kPa beside the drift."""
    t = np.linspace(0, 1, n)
    state = 0.35 * rng.standard_normal(n)
    symptom = 3 + 3 * t + link * state + 1.5 * rng.standard_normal(n)
    return 6 + t + state, np.clip(np.round(symptom), 0, 10)


def test_two_series_that_merely_both_drift_are_called_related_about_as_often_as_stated():
    # plain rank correlation is wrong in a third to half of such people; 5 % nominal, 6 to 7 % measured
    rng = np.random.default_rng(1)
    plain, ours, runs = 0, 0, 200
    for _ in range(runs):
        co2, symptom = drifting(rng, 20, 0.0)
        plain += spearmanr(co2, symptom).pvalue < 0.05
        relation = analyse(pairs(co2, headache=symptom), seed=0).relations[0]
        ours += relation.p < 0.05
    assert plain / runs > 0.2
    assert ours / runs < 0.11


def test_a_strong_link_is_found_and_its_size_is_right():
    co2, symptom = drifting(np.random.default_rng(5), 24, 6.0)
    relation = analyse(pairs(co2, headache=symptom), seed=1).relations[0]
    assert relation.answer == Relation.CONSISTENT
    assert relation.points_low < 6.0 < relation.points_high + 1.5
    assert relation.rho_low > 0
    assert "points per kPa" in relation.in_words


@pytest.mark.parametrize(
    ("co2", "headache", "said"),
    [
        ([6, 6.5, 7, 6.2, 6.1], [1, 2, 3, 1, 2], "5 pairs"),
        ([6, 6.5, 7, 6.2, 6.1, 6.6], [2, 2, 2, 3, 2, 2], "2 distinct values"),
        ([6, 6.5, 7, 7.5, 8, 8.5], [1, 3, 2, 4, 1, 5], "straight drift"),
    ],
)
def test_too_little_to_tell_is_said_with_the_reason(co2, headache, said):
    relation = analyse(pairs(co2, headache=headache), seed=1).relations[0]
    assert relation.answer == Relation.NOT_ENOUGH
    assert said in relation.in_words


def test_symptoms_not_recorded_are_not_enough_data_and_never_zero():
    relations = analyse(pairs([6, 6.5, 7, 6.2, 6.1, 6.6], headache=[1, 3, 5, 2, 1, 4]), seed=1).relations
    assert [one.answer for one in relations[1:]] == [Relation.NOT_ENOUGH] * 6
    assert {one.n for one in relations[1:]} == {0}


def test_the_family_p_is_never_below_the_single_p_and_grows_with_the_family():
    rng = np.random.default_rng(2)
    co2, headache = drifting(rng, 12, 4.0)
    sleepy = np.round(rng.uniform(0, 10, 12))
    alone = analyse(pairs(co2, headache=headache), seed=3).relations[0]
    both = analyse(pairs(co2, headache=headache, sleepiness=sleepy), seed=3).relations
    assert alone.family_p == alone.p
    for one in both[:2]:
        assert one.family_p >= one.p
    assert both[0].family_p >= alone.family_p


def test_small_series_use_every_order_so_the_p_is_exact():
    values = pairs([6, 6.9, 6.1, 7.2, 6.3, 7.0], headache=[1, 6, 2, 8, 3, 7])
    one, other = (analyse(values, seed=seed).relations[0] for seed in (1, 99))
    assert one.p == other.p
    assert (one.p * 720) == pytest.approx(round(one.p * 720))


def test_the_same_seed_gives_the_same_p():
    co2, headache = drifting(np.random.default_rng(2), 15, 2.0)
    values = pairs(co2, headache=headache)
    assert analyse(values, seed=4).relations == analyse(values, seed=4).relations


def test_pairs_a_symptom_lacks_drop_out_of_it_alone():
    co2, headache = drifting(np.random.default_rng(3), 14, 5.0)
    gaps = [None if i in {2, 7} else value for i, value in enumerate(headache)]
    relations = analyse(pairs(co2, headache=gaps, sleepiness=headache), seed=1).relations
    assert (relations[0].n, relations[1].n) == (12, 14)
    assert np.isfinite([relations[0].p, relations[0].family_p]).all()


def test_symptom_led_sampling_is_noted_and_routine_pairs_can_be_taken_alone():
    co2, headache = drifting(np.random.default_rng(3), 14, 5.0)
    values = pairs(co2, headache=headache).with_columns(
        reason=pl.when(pl.int_range(pl.len()) < 4).then(pl.lit("symptom-led")).otherwise("reason")
    )
    assert "4 of 14 CO2 readings were taken because of symptoms" in analyse(values, seed=1).note
    routine = analyse(values, seed=1, routine_only=True)
    assert routine.relations[0].n == 10
    assert not routine.note


@pytest.mark.parametrize(("n", "low", "high"), [(6, -0.47, 0.96), (10, -0.09, 0.90), (20, 0.19, 0.83)])
def test_the_interval_of_a_correlation_is_at_least_as_wide_as_fishers(n, low, high):
    # Fisher intervals of rho .6; ours gives up one more pair for the trend taken off
    ours = spearman_interval(0.6, n)
    assert ours[0] <= low + 0.01
    assert ours[1] >= high - 0.01


def test_reports_are_paired_with_the_models_co2_and_only_near_a_reading():
    gases = [gas(40 * i, 6.0 + 0.3 * (i % 3)) for i in range(8)]
    asked = [symptoms(40 * i + 3, headache=i) for i in range(8)] + [symptoms(340, headache=9)]
    whole = dossier(*gases)
    reports = [held(one, record_id=f"s{i}") for i, one in enumerate(asked)]
    frame = pair_with_model(reports, readings_frame(whole), changes_frame(whole), today=after(400))
    assert frame.height == 8
    assert frame["co2_kpa"].is_between(5.8, 6.8).all()
    assert (frame["co2_sd_kpa"] > 0.05).all()
    assert set(frame["reason"]) == {SampleReason.ROUTINE.value}
    assert frame[FLAP].null_count() == 8
    # high and low days differ: the CO2 of the day, not the smooth usual level
    assert frame["co2_kpa"][2] > frame["co2_kpa"][3] + 0.1


def test_flap_not_tested_is_null_and_absent_is_zero():
    whole = dossier(gas(0, 6.0))
    reports = [
        held(symptoms(0, flap=FlapTest.ABSENT), record_id="a"),
        held(symptoms(1, flap=FlapTest.NOT_TESTED), record_id="b"),
        held(symptoms(2, flap=FlapTest.PRESENT), record_id="c"),
    ]
    frame = pair_with_model(reports, readings_frame(whole), changes_frame(whole), today=after(10))
    assert list(frame[FLAP]) == [0.0, None, 1.0]


def test_no_reading_gives_no_pairs():
    reports = [held(symptoms(0, headache=1), record_id="a")]
    frame = pair_with_model(reports, readings_frame(dossier()), changes_frame(dossier()), today=after(10))
    assert frame.height == 0
    assert all(one.answer == Relation.NOT_ENOUGH for one in analyse(frame, seed=0).relations)


def trend_of(values):
    whole = dossier(*[gas(45 * i, value) for i, value in enumerate(values)])
    return fit(readings_frame(whole), changes_frame(whole), today=after(45 * len(values)))


def test_co2_up_without_symptoms_is_flagged_and_still_real():
    result = trend_of(np.linspace(5.6, 7.4, 14))
    reports = [held(symptoms(10, headache=1), record_id="a"), held(symptoms(600, headache=1), record_id="b")]
    (found,) = discordances(result, reports)
    assert found.kind == "CO2 up, symptoms not"
    assert found.record_ids == ("a", "b")


def test_symptoms_up_with_co2_not_up_points_elsewhere():
    result = trend_of(np.linspace(7.0, 6.0, 14))
    reports = [held(symptoms(10, headache=1), record_id="a"), held(symptoms(600, headache=6), record_id="b")]
    (found,) = discordances(result, reports)
    assert found.kind == "symptoms up, CO2 not"
    assert "morning headache" in found.text


def test_nothing_is_said_when_they_agree_or_when_a_side_is_missing():
    up = trend_of(np.linspace(5.6, 7.4, 14))
    early, late = (
        held(symptoms(10, headache=1), record_id="a"),
        held(symptoms(600, headache=6), record_id="b"),
    )
    assert discordances(up, [early, late]) == ()
    assert discordances(up, [late]) == ()
    assert discordances(up, [held(symptoms(10), record_id="c"), held(symptoms(600), record_id="d")]) == ()
