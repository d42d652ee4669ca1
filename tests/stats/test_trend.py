"""The CO2 trend: bad input, invariances, guards, golden example."""

import math
from dataclasses import asdict
from datetime import UTC, date, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from trend_people import OFF, ON, SOURCES, START, after, changes, random_person, readings

from hvmon.stats.cases import po2_use
from hvmon.stats.priors import default_priors
from hvmon.stats.trend import PersonInput, TrendRefused, TrendResult, fit, fit_many
from hvmon.units import KPA_PER_MMHG, MMHG_PER_KPA
from hvmon.vocabulary import DiagnosisGroup

LIMITS = (("usual", 6.5), ("high", 7.5))


def fitted(frame, moves=None, *, today=None, **more):
    moment = today or (frame["taken_at"].max() + timedelta(days=1))
    return fit(frame, changes() if moves is None else moves, today=moment, limits_kpa=LIMITS, **more)


def numbers(value):
    """Every float inside a result."""
    if isinstance(value, dict):
        for part in value.values():
            yield from numbers(part)
    elif isinstance(value, (list, tuple)):
        for part in value:
            yield from numbers(part)
    elif isinstance(value, float):
        yield value


def assert_clean(result):
    assert isinstance(result, TrendResult)
    assert all(math.isfinite(number) for number in numbers(asdict(result)))
    assert result.band.select(pl.selectors.float().is_finite().all()).row(0) == (True,) * 5
    level = result.level
    assert level.low95 <= level.low80 <= level.median <= level.high80 <= level.high95


BAD_INPUT = {
    "one reading only": (readings((0, "arterial", 6.5)), changes()),
    "two at the same instant": (readings((0, "arterial", 6.5), (0, "venous", 7.2)), changes()),
    "all venous": (readings(*[(60 * i, "venous", 7.0 + 0.1 * i) for i in range(8)]), changes()),
    "a change with no reading after it": (
        readings((0, "arterial", 6.5), (90, "arterial", 6.6)), changes((90.5, "escalation")),
    ),
    "a change before any reading": (
        readings((0, "arterial", 6.5), (90, "arterial", 6.6)), changes((-30, "initiation")),
    ),
    "ten years' gap": (readings((0, "arterial", 6.5), (3653, "arterial", 7.4)), changes()),
    "constant values": (readings(*[(30 * i, "arterial", 6.5) for i in range(12)]), changes()),
    "many changes": (
        readings(*[(30 * i, "arterial", 6.5) for i in range(30)]),
        changes(*[(25 * i + 3, "escalation") for i in range(30)]),
    ),
    "nothing recorded of the circumstances": (
        readings(*[(40 * i, "arterial", 6.5, "not recorded", None) for i in range(6)]), changes(),
    ),
    "a gross error": (
        readings(*[(30 * i, "arterial", 6.5 if i != 5 else 20.0) for i in range(10)]), changes(),
    ),
    "nights on and off": (
        readings(
            (0, "tc night", 7.5, OFF, 0.0), (40, "tc night", 6.0, ON, 1.0), (80, "tc other", 6.2, ON, None),
        ),
        changes((20, "initiation")),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD_INPUT)
def test_awkward_records_give_an_answer_without_nan(name):
    frame, moves = BAD_INPUT[name]
    assert_clean(fitted(frame, moves, today=after(4000) if "gap" in name else after(900)))


def test_two_thousand_readings_are_estimated():
    rng = np.random.default_rng(3)
    rows = [(i, "arterial", float(np.exp(1.87 + 0.05 * rng.standard_normal()))) for i in range(2000)]
    result = fitted(readings(*rows))
    assert_clean(result)
    assert result.level.width95 < 1.0


def test_no_reading_is_a_named_refusal():
    assert fit(readings(), changes(), today=after(0)) == TrendRefused("no CO2 reading", ())


def test_readings_before_birth_and_after_today_are_refused_by_name():
    frame = readings((0, "arterial", 6.5), (100, "arterial", 6.6), (400, "arterial", 6.7))
    result = fitted(frame, today=after(300), birth_date=date(2024, 2, 1))
    assert {one.record_id: one.reason.split(";")[0] for one in result.refused} == {
        "r0": "dated before the date of birth 2024-02-01",
        "r2": f"taken after {after(300):%Y-%m-%d %H:%M} UTC, the moment of the estimate",
    }
    assert result.reading_ids == ("r1",)
    refused = fit(frame, changes(), today=after(-5))
    assert isinstance(refused, TrendRefused)
    assert len(refused.refused) == 3


def test_end_tidal_is_refused_with_its_figures_and_never_fused():
    frame = pl.concat([readings((0, "arterial", 6.5)), readings((1, "end-tidal", 4.5))])
    result = fitted(frame)
    assert result.n == 1
    assert "14.7 mmHg" in result.refused[0].reason
    assert (
        result.level
        == fitted(readings((0, "arterial", 6.5)), today=frame["taken_at"].max() + timedelta(1)).level
    )


@pytest.mark.parametrize("kpa", [0.0, -1.0, 49.0, float("nan"), None])
def test_impossible_values_are_refused_naming_the_range(kpa):
    frame = readings((0, "arterial", 6.5), (10, "arterial", 6.5)).with_columns(
        pco2_kpa=pl.when(pl.col("record_id") == "r1").then(kpa).otherwise("pco2_kpa")
    )
    result = fitted(frame)
    assert result.n == 1
    assert "outside 1.5 to 25 kPa" in result.refused[0].reason


def test_a_missing_column_is_an_error_that_names_it():
    with pytest.raises(ValueError, match="lacks ventilator"):
        fit(readings().drop("ventilator"), changes(), today=after(0))


def test_a_limit_must_be_above_zero():
    with pytest.raises(ValueError, match="must be above 0"):
        fit(readings((0, "arterial", 6.5)), changes(), today=after(1), limits_kpa=(("x", 0.0),))


@pytest.mark.parametrize(
    ("source", "said"), [("capillary fingertip", "11.5"), ("capillary earlobe", "5.99"), ("venous", "36.9")]
)
def test_po2_that_is_not_arterial_is_refused_with_its_figure(source, said):
    use = po2_use(source)
    assert not use.accepted
    assert said in use.reason
    assert po2_use("arterial").accepted


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 10_000), n=st.integers(1, 12))
def test_the_order_of_the_rows_does_not_matter(seed, n):
    frame = random_person(seed, n)
    shuffled = frame.sample(fraction=1, shuffle=True, seed=seed)
    one, other = fitted(frame), fitted(shuffled)
    assert one.reading_ids == other.reading_ids
    assert list(numbers(asdict(one))) == list(numbers(asdict(other)))


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10_000), days=st.integers(-3000, 3000))
def test_moving_every_date_moves_nothing_else(seed, days):
    frame = random_person(seed, 7)
    moved = frame.with_columns(pl.col("taken_at") + timedelta(days=days))
    one, other = fitted(frame), fitted(moved)
    assert list(numbers(asdict(one))) == pytest.approx(list(numbers(asdict(other))), rel=1e-9, abs=1e-12)


def test_a_reading_entered_in_mmhg_gives_the_same_answer_as_in_kpa():
    mmhg = [49.0, 52.0, 50.5, 55.0, 51.0]
    kpa = readings(*[(60 * i, "arterial", value * KPA_PER_MMHG) for i, value in enumerate(mmhg)])
    other = readings(*[(60 * i, "arterial", value / MMHG_PER_KPA) for i, value in enumerate(mmhg)])
    assert fitted(kpa).level.median == pytest.approx(fitted(other).level.median, rel=1e-12)
    assert fitted(kpa).level.scaled(MMHG_PER_KPA).median == pytest.approx(
        fitted(kpa).level.median * MMHG_PER_KPA
    )


def test_scaling_every_reading_and_the_prior_mean_scales_the_level():
    frame = random_person(1, 9)
    scaled = frame.with_columns(pl.col("pco2_kpa") * 1.1)
    table = default_priors()
    moved = table.override({"level.mean": table.value("level.mean") + math.log(1.1)})
    assert fitted(scaled, priors=moved).level.median == pytest.approx(
        1.1 * fitted(frame).level.median, rel=1e-9
    )


def test_a_person_alone_and_in_a_cohort_gets_the_same_answer():
    frames = [random_person(seed, 3 + seed % 9) for seed in range(40)]
    people = [
        PersonInput(str(i), frame, changes((300, "escalation")), after(720)) for i, frame in enumerate(frames)
    ]
    for frame, short in zip(frames, fit_many(people, limits_kpa=(6.5,)), strict=True):
        alone = fit(frame, changes((300, "escalation")), today=after(720), limits_kpa=(("usual", 6.5),))
        assert short.level.median == pytest.approx(alone.level.median, rel=1e-9)
        assert short.level.low95 == pytest.approx(alone.level.low95, rel=1e-9)
        assert short.p_above[0] == pytest.approx(alone.limits[0].now, abs=1e-9)
        assert short.p_rise == pytest.approx(alone.rise.p_rise, abs=1e-9)
        assert short.enough == alone.enough


def test_a_cohort_keeps_its_order_and_names_people_without_readings():
    people = [
        PersonInput("a", random_person(1), changes(), after(720)),
        PersonInput("b", readings(), changes(), after(1)),
    ]
    first, second = fit_many(people)
    assert first.person_key == "a"
    assert isinstance(second, TrendRefused)


def test_too_few_or_too_close_readings_are_not_enough_to_tell_and_the_reasons_are_given():
    few = fitted(readings((0, "arterial", 6.0), (200, "arterial", 7.0)))
    assert not few.enough
    assert "2 readings, at least 4 are needed" in few.sufficiency.in_words
    close = fitted(readings(*[(5 * i, "arterial", 6.0 + 0.2 * i) for i in range(6)]))
    assert "span 25 days" in close.sufficiency.in_words
    many = fitted(readings(*[(60 * i, "arterial", 6.5) for i in range(13)]))
    assert many.enough


def test_the_newest_reading_is_never_silently_down_weighted():
    steady = [(60 * i, "arterial", 6.2) for i in range(8)]
    result = fitted(readings(*steady, (480, "arterial", 9.5)))
    newest = result.newest
    assert newest.ask_for_repeat
    assert newest.without_it.median == pytest.approx(6.2, abs=0.15)
    assert newest.with_it.median > newest.without_it.median + 0.3
    assert "moves the level" in newest.why
    assert newest.p_gross > 0.5
    # both possibilities stay in the interval of the level
    assert result.level.low95 < newest.without_it.median
    assert result.level.high95 > newest.without_it.high95


def test_a_repeat_that_confirms_a_jump_is_believed_and_one_that_does_not_is_not():
    steady = [(60 * i, "arterial", 6.2) for i in range(8)]
    for gap in (0, 1, 30, 80):
        confirmed = fitted(readings(*steady, (480, "arterial", 9.5), (480 + gap, "arterial", 9.4)))
        assert confirmed.level.median > 8.0
        assert not any(one.doubtful for one in confirmed.readings)
    denied = fitted(readings(*steady, (480, "arterial", 9.5), (481, "arterial", 6.2)))
    assert denied.level.median == pytest.approx(6.2, abs=0.2)
    assert next(one for one in denied.readings if one.record_id == "r8").doubtful


def test_the_worked_example_keeps_its_answer():
    # twelve readings, a venous spike of 9.4 kPa, a settings change on day 330
    days = [0, 45, 100, 160, 215, 270, 325, 380, 440, 500, 560, 620]
    kinds = ["arterial", "capillary earlobe", "arterial", "venous", "capillary earlobe", "arterial", "venous"]
    kinds += ["capillary earlobe", "tc earlobe", "venous", "arterial", "capillary earlobe"]
    values = [6.3, 6.5, 6.4, 7.1, 6.7, 6.8, 9.4, 6.7, 6.9, 7.6, 7.0, 7.2]
    frame = readings(*zip(days, kinds, values, strict=True))
    result = fitted(frame, changes((330, "escalation")), today=after(625))
    assert result.level.median == pytest.approx(7.07, abs=0.1)
    assert result.level.low95 == pytest.approx(6.55, abs=0.15)
    assert result.level.high95 == pytest.approx(7.65, abs=0.15)
    assert result.chance(6.5).now > 0.95
    spike = next(one for one in result.readings if one.pco2_kpa == 9.4)
    assert spike.p_gross < 0.2  # a venous reading is allowed to be that far off
    assert not result.changes[0].told
    assert result.changes[0].n_before == 7
    assert result.chance(7.5).ahead.median_date is None or result.chance(7.5).ahead.within_2_years > 0.5


def test_a_date_is_given_only_when_crossing_is_likely():
    rising = fitted(readings(*[(40 * i, "arterial", 5.6 + 0.16 * i) for i in range(12)]))
    ahead = rising.chance(7.5).ahead
    assert ahead.within_90_days <= ahead.within_180_days <= ahead.within_365_days <= ahead.within_2_years
    assert ahead.within_2_years > 0.5
    assert ahead.median_date > rising.today.date()
    flat = fitted(readings(*[(40 * i, "arterial", 5.6) for i in range(12)]))
    assert flat.chance(7.5).ahead.median_date is None
    assert "not expected" in flat.chance(7.5).ahead.in_words


def test_a_rise_is_seen_and_a_fall_is_not_called_a_rise():
    up = fitted(readings(*[(40 * i, "arterial", 5.8 + 0.12 * i) for i in range(12)]))
    down = fitted(readings(*[(40 * i, "arterial", 7.2 - 0.12 * i) for i in range(12)]))
    assert up.rise.p_rise > 0.95
    assert up.rise.p_rise_more > 0.9
    assert down.rise.p_rise < 0.05
    assert up.rise.change_kpa.low95 < 1.08 < up.rise.change_kpa.high95
    assert up.slope_kpa_per_year.median > 0.3


def test_unlike_sources_with_their_usual_bias_are_no_rise():
    # year one arterial, year two venous half a kPa higher: what a venous sample always does
    rows = [(50 * i, "arterial", 6.3) for i in range(8)] + [
        (400 + 50 * i, "venous", 6.3 * math.exp(0.085)) for i in range(8)
    ]
    result = fitted(readings(*rows))
    assert result.rise.p_rise < 0.8
    assert result.level.median == pytest.approx(6.3, abs=0.3)
    assert {share.source for share in result.sources} == {"arterial", "venous"}
    assert sum(share.share for share in result.sources) == pytest.approx(1.0)
    assert result.blood_only.median == pytest.approx(6.3, abs=0.3)


def test_venous_alone_never_pins_the_level_down():
    venous = fitted(readings(*[(36 * i, "venous", 7.0) for i in range(20)]))
    arterial = fitted(readings(*[(36 * i, "arterial", 6.4) for i in range(20)]))
    assert venous.level.width95 > 1.5
    assert arterial.level.width95 < 1.2


def test_a_pair_on_one_day_teaches_the_persons_offset():
    alone = [(40 * i, "venous", 7.4) for i in range(8)]
    paired = fitted(readings(*alone, (280, "arterial", 6.4)))
    offset = next(share.offset_pct for share in paired.sources if share.source == "venous")
    without = next(share.offset_pct for share in fitted(readings(*alone)).sources)
    assert offset.median > without.median
    assert offset.width95 < without.width95


def test_on_the_ventilator_readings_are_their_own_condition():
    rows = [(50 * i, "arterial", 6.5, OFF, 0.0) for i in range(6)] + [
        (50 * i + 1, "arterial", 5.8, ON, 0.0) for i in range(6)
    ]
    result = fitted(readings(*rows))
    assert result.level.median == pytest.approx(6.5, abs=0.25)
    assert result.on_ventilator_kpa.median == pytest.approx(-0.7, abs=0.25)


def test_a_progressive_diagnosis_opens_the_forecast():
    frame = random_person(4, 8)
    usual = fitted(frame)
    open_ended = fitted(frame, group=DiagnosisGroup.MOTOR_NEURONE_DISEASE)
    assert open_ended.forecast[-1].level.width95 > usual.forecast[-1].level.width95
    assert open_ended.slope_spread > usual.slope_spread


def test_every_answer_carries_model_version_priors_and_readings():
    result = fitted(random_person(2, 6))
    assert result.model_version == "trend-1"
    assert result.priors_digest == default_priors().digest()
    assert len(result.reading_ids) == result.n == 6
    other = fitted(random_person(2, 6), priors=default_priors().override({"noise.arterial": 0.05}))
    assert other.priors_digest != result.priors_digest


def test_a_settings_effect_at_once_followed_by_many_readings_is_told():
    rows = [(25 * i, "arterial", 8.6) for i in range(8)] + [(240 + 25 * i, "arterial", 6.4) for i in range(8)]
    result = fitted(readings(*rows), changes((190, "initiation")))
    effect = result.changes[0]
    assert effect.told
    assert effect.effect_kpa.high95 < 0
    assert (effect.n_before, effect.n_after) == (8, 8)


def test_an_old_change_is_part_of_the_level():
    rows = [(30 * i, "arterial", 7.5 if i < 5 else 6.2) for i in range(40)]
    result = fitted(readings(*rows), changes((140, "initiation")))
    assert result.changes[0].effect_kpa is None
    assert "older than 18 months" in result.changes[0].note
    assert result.level.median == pytest.approx(6.2, abs=0.2)


@settings(max_examples=20, deadline=None)
@given(data=st.data())
def test_any_record_gives_finite_numbers_or_a_named_refusal(data):
    n = data.draw(st.integers(0, 10))
    rows = [
        (
            data.draw(st.floats(0, 4000)),
            data.draw(
                st.sampled_from([*SOURCES, "capillary fingertip", "tc other", "tc night", "end-tidal"])
            ),
            data.draw(st.floats(2.0, 20.0)),
            data.draw(st.sampled_from([ON, OFF, "not recorded"])),
            data.draw(st.sampled_from([None, 0.0, 1.0, 15.0])),
        )
        for _ in range(n)
    ]
    kinds = st.sampled_from(["initiation", "escalation", "neutral", "de-escalation"])
    moves = changes(*data.draw(st.lists(st.tuples(st.floats(-100, 4000), kinds), max_size=8)))
    result = fit(readings(*rows), moves, today=after(4001), limits_kpa=LIMITS)
    if isinstance(result, TrendRefused):
        assert result.reason
    else:
        assert_clean(result)
        assert len(result.refused) + result.n == n


def test_the_same_input_gives_the_same_answer_twice():
    frame = random_person(9, 10)
    assert list(numbers(asdict(fitted(frame)))) == list(numbers(asdict(fitted(frame))))


def test_dates_without_offset_cannot_enter():
    with pytest.raises((TypeError, pl.exceptions.PolarsError)):
        fit(readings((0, "arterial", 6.5)), changes(), today=datetime(2025, 1, 1))  # noqa: DTZ001
    assert START.tzinfo is UTC
