from datetime import UTC, datetime

import numpy as np
import pytest

from hvmon.nights.definitions import DEFINITIONS
from hvmon.nights.drift import PairedGas
from hvmon.nights.results import Adequacy
from hvmon.nights.score import Circumstances, score_night
from hvmon.nights.transcutaneous import excluded_seconds
from hvmon.records.night_signal import MISSING, Annotation, NightSignal
from hvmon.sources import BY_KEY
from hvmon.vocabulary import Answer, DriftCorrection, SampleKind

HOUR = 3600
WARM_UP = 900


def night(tc, *, marks=(), spo2=None, kpa=False):
    tc = np.asarray(tc, dtype=np.int16)
    channel = {"tcco2_hundredths_kpa" if kpa else "tcco2_tenths_mmhg": tc}
    return NightSignal(
        start_utc=datetime(2026, 1, 5, 22, tzinfo=UTC),
        zone="Europe/London",
        interval_s=1,
        spo2_tenths=np.full(len(tc), 950, dtype=np.int16) if spo2 is None else spo2,
        annotations=tuple(Annotation(*mark) for mark in marks),
        **channel,
    )


def level(hours, tenths):
    return np.full(int(hours * HOUR), tenths, dtype=np.int16)


def raised(start_s, length_s, tenths, *, base=450, hours=8):
    tc = level(hours, base)
    tc[start_s : start_s + length_s] = tenths
    return tc


def score(tc, awake=None, **given):
    return score_night(night(tc, **given), Circumstances(awake_supine_mmhg=awake)).tc_raw


def answers(tc, awake=None, **given):
    return {each.key: each.answer for each in score(tc, awake, **given).definitions}


def test_the_first_quarter_of_an_hour_is_trimmed():
    tc = level(8, 450)
    tc[:WARM_UP] = 540
    tc[WARM_UP] = 451
    found = score(tc)
    assert found.excluded_s == WARM_UP
    assert found.valid_s == 8 * HOUR - WARM_UP
    assert found.tc_s_gt_50 == 0
    assert found.tc_mean == pytest.approx(45.0, abs=0.001)


def test_each_recalibration_change_of_site_and_sensor_off_is_left_out():
    marks = (
        (2.0 * HOUR, None, "recalibration"),
        (4.0 * HOUR, 60.0, "site change: other ear"),
        (6.0 * HOUR, 120.0, "sensor off"),
    )
    excluded = excluded_seconds(night(level(8, 450), marks=marks))
    assert int(excluded.sum()) == WARM_UP + WARM_UP + (60 + WARM_UP) + 120
    assert excluded[4 * HOUR]
    assert not excluded[6 * HOUR + 120]


def test_a_sensor_applied_before_the_recording_needs_no_warm_up_twice():
    excluded = excluded_seconds(night(level(8, 450), marks=((-600.0, None, "sensor applied"),)))
    assert int(excluded.sum()) == 300
    late = excluded_seconds(night(level(8, 450), marks=((3600.0, None, "sensor applied"),)))
    assert not late[0]
    assert late[HOUR : HOUR + WARM_UP].all()


def test_awake_supine_is_stated_or_annotated_and_never_the_first_value():
    tc = level(8, 480)
    tc[: 30 * 60] = 420
    assert score(tc).tc_awake is None
    assert "awake supine" in score(tc).reason("tc_rise")
    assert score(tc, 43.0).tc_awake == 43.0
    assert score(tc, 43.0).tc_awake_source == "stated"
    found = score(tc, marks=((1000.0, 600.0, "awake supine"),))
    assert (found.tc_awake, found.tc_rise) == (42.0, 6.0)
    assert score(tc, marks=((1000.0, 600.0, "awake"),)).tc_awake is None


def test_an_awake_mark_without_an_end_reaches_to_sleep_and_a_short_one_is_no_baseline():
    tc = level(8, 480)
    tc[: 30 * 60] = 420
    until_sleep = ((1000.0, None, "awake supine"), (1500.0, None, "asleep"))
    assert score(tc, marks=until_sleep).tc_awake == 42.0
    assert "fewer than 60" in score(tc, marks=((1000.0, None, "awake supine"),)).reason("tc_awake")
    assert "fewer than 60" in score(tc, marks=((100.0, 500.0, "awake supine"),)).reason("tc_awake")


def test_a_spike_of_the_sensor_is_no_sustained_maximum():
    # 20 s at 54.9: within the step allowed, above the level, but never half of a minute
    tc = raised(HOUR, 20, 549)
    tc[2 * HOUR : 2 * HOUR + 31] = 500
    found = score(tc)
    assert found.tc_s_gt_50 == 20
    assert found.tc_max_sustained == 50.0


def test_levels_are_strict_and_means_follow_in_closed_form():
    tc = level(8, 450)
    tc[HOUR : 2 * HOUR] = 490
    tc[2 * HOUR : 3 * HOUR] = 500
    tc[3 * HOUR : 4 * HOUR] = 550
    tc[4 * HOUR : 5 * HOUR] = 551
    tc[5 * HOUR :] = 460
    found = score(tc)
    assert (found.tc_s_gt_49, found.tc_s_gt_50, found.tc_s_gt_55) == (3 * HOUR, 2 * HOUR, HOUR)
    assert found.tc_longest_gt_55_s == HOUR
    assert found.tc_pct_gt_50 == pytest.approx(100 * 2 / 7.75, rel=1e-12)
    assert found.tc_mean == pytest.approx((45 * 0.75 + 49 + 50 + 55 + 55.1 + 46 * 3) / 7.75, rel=1e-12)
    assert found.tc_median == 49.0


def test_steps_steeper_than_ten_mmhg_a_minute_are_artefact_until_the_allowance_has_grown():
    # 15 above: allowed 90 s after the last valid value; 10 above: at once
    found = score(raised(HOUR, 300, 600))
    assert found.artefact_slew_s == 89 + 89
    assert score(raised(HOUR, 300, 550)).artefact_slew_s == 0


@pytest.mark.parametrize(("seconds", "expected"), [(599, Answer.NOT_MET), (600, Answer.MET)])
def test_the_adult_rule_needs_ten_minutes_above_55(seconds, expected):
    assert answers(raised(HOUR, seconds, 551, base=460), 50.0)["adult-rule"] == expected
    assert answers(raised(HOUR, seconds, 551, base=460), 50.0)["adult-limb-a"] == expected


def test_exactly_55_is_not_above_55():
    assert answers(raised(HOUR, HOUR, 550), 50.0)["adult-limb-a"] == Answer.NOT_MET


@pytest.mark.parametrize(
    ("tenths", "awake", "expected"),
    [
        (510, 41.0, Answer.MET),  # a rise of exactly 10
        (510, 41.1, Answer.NOT_MET),  # a rise of 9.9
        (500, 38.0, Answer.NOT_MET),  # 50 is not above 50
        (501, 38.0, Answer.MET),
    ],
)
def test_the_rising_limb_needs_ten_over_awake_supine_and_more_than_50(tenths, awake, expected):
    found = answers(raised(HOUR, 600, tenths), awake)
    assert found["adult-limb-b"] == found["adult-rule"] == expected


def test_without_an_awake_supine_value_the_adult_rule_is_met_by_limb_a_or_not_assessable():
    low, high = score(raised(HOUR, HOUR, 520)), score(raised(HOUR, HOUR, 552))
    assert low.aasm_sleep_hypoventilation_type == Answer.NOT_ASSESSABLE
    assert "awake supine" in low.reason("aasm_sleep_hypoventilation_type")
    assert high.aasm_sleep_hypoventilation_type == Answer.MET


@pytest.mark.parametrize(("share", "expected"), [(0.25, Answer.NOT_MET), (0.251, Answer.MET)])
def test_the_child_rule_needs_more_than_a_quarter_of_the_valid_recording(share, expected):
    seconds = round(share * (8 * HOUR - WARM_UP))
    assert answers(raised(HOUR, seconds, 501))["child-rule"] == expected


def test_definitions_disagree_side_by_side_on_one_night():
    found = answers(raised(HOUR, HOUR, 505), 43.0)
    assert found["child-peak-50"] == found["peak-49"] == found["child-50-2pct"] == Answer.MET
    assert found["adult-rule"] == found["child-rule"] == found["rise-8"] == Answer.NOT_MET
    assert found["morning-rise-8"] == Answer.NOT_ASSESSABLE


@pytest.mark.parametrize(
    ("key", "tenths", "expected"),
    [
        ("peak-49", 490, Answer.MET),
        ("peak-49", 489, Answer.NOT_MET),
        ("child-peak-50", 500, Answer.NOT_MET),
        ("rise-8", 530, Answer.MET),
        ("rise-8", 529, Answer.NOT_MET),
        ("rise-10", 550, Answer.MET),
        ("child-rise-10", 550, Answer.NOT_MET),
        ("child-rise-10", 551, Answer.MET),
        ("copd-55-or-rise-10", 550, Answer.MET),
        ("copd-55-or-rise-10", 549, Answer.NOT_MET),
        ("peak-6.5-kpa", 487, Answer.NOT_MET),  # 6.493 kPa
        ("peak-6.5-kpa", 488, Answer.MET),  # 6.506 kPa
        ("peak-7-kpa", 525, Answer.NOT_MET),
        ("peak-7-kpa", 526, Answer.MET),
        ("peak-7.3-kpa", 547, Answer.NOT_MET),
        ("peak-7.3-kpa", 548, Answer.MET),
        ("6.7-kpa-or-rise-0.9", 502, Answer.NOT_MET),  # 6.693 kPa, rise of 5.2 mmHg = 0.69 kPa
        ("6.7-kpa-or-rise-0.9", 503, Answer.MET),
    ],
)
def test_the_limit_of_a_definition_stands_where_its_source_puts_it(key, tenths, expected):
    assert answers(raised(HOUR, HOUR, tenths, base=460), 45.0)[key] == expected


@pytest.mark.parametrize(("hundredths", "expected"), [(650, Answer.NOT_MET), (651, Answer.MET)])
def test_a_limit_in_kpa_is_held_against_the_kpa_that_were_recorded(hundredths, expected):
    # 6.50 kPa is 48.754 mmHg; 48.8 in tenths would be above 6.5 kPa
    tc = level(8, 600)
    tc[HOUR : 2 * HOUR] = hundredths
    assert answers(tc, kpa=True)["peak-6.5-kpa"] == expected


@pytest.mark.parametrize(("hundredths", "share"), [(670, 0.0), (671, 50.0)])
def test_seconds_above_6_7_kpa_follow_the_recorded_kpa(hundredths, share):
    tc = level(8.25, 600)
    tc[WARM_UP : WARM_UP + 4 * HOUR] = hundredths
    (_, found) = score(tc, kpa=True).definition("6.7-kpa-quarter").numbers[0]
    assert found == share


def test_an_evening_and_a_morning_gas_decide_the_morning_rise():
    known = Circumstances(evening_pco2_mmhg=44.0, morning_pco2_mmhg=52.0)
    found = score_night(night(level(8, 450)), known).tc_raw.definition("morning-rise-8")
    assert found.answer == Answer.MET
    assert found.numbers == (("morning minus evening PCO2 [mmHg]", 8.0),)


@pytest.mark.parametrize(
    ("spo2_tenths", "seconds", "expected"),
    [
        (879, 3600, Answer.MET),
        (879, 3599, Answer.NOT_MET),
        (880, 3600, Answer.NOT_MET),
        (899, 9000, Answer.MET),
    ],
)
def test_the_combined_definition_asks_for_low_saturation_beside_it(spo2_tenths, seconds, expected):
    spo2 = level(8, 950)
    spo2[HOUR - 2 : HOUR] = 915
    spo2[HOUR : HOUR + seconds] = spo2_tenths
    spo2[HOUR + seconds : HOUR + seconds + 2] = 915
    assert answers(raised(HOUR, HOUR, 500), spo2=spo2)["50-with-low-spo2"] == expected


def test_a_short_recording_can_meet_a_definition_but_never_fail_it():
    short = score(raised(WARM_UP, 1200, 560, hours=2))
    assert short.adequacy == Adequacy.TOO_SHORT
    assert short.definition("adult-limb-a").answer == Answer.MET
    quiet = score(level(2, 450), 43.0)
    for each in quiet.definitions:
        assert each.answer == Answer.NOT_ASSESSABLE, each.key
        assert each.reason, each.key
    assert quiet.tc_pct_gt_50 is None


def test_a_channel_without_a_valid_second_is_none_with_a_reason():
    found = score(level(8, MISSING), 43.0)
    assert found.adequacy == Adequacy.NO_SIGNAL
    for name in (
        "tc_mean",
        "tc_median",
        "tc_max_sustained",
        "tc_s_gt_50",
        "tc_rise",
        "tc_s_gt_50_and_rise_10",
    ):
        assert getattr(found, name) is None
        assert found.reason(name)
    assert {each.answer for each in found.definitions} == {Answer.NOT_ASSESSABLE}


def test_raw_and_corrected_are_both_kept_and_may_answer_differently():
    tc = raised(HOUR, HOUR, 530, base=470)
    known = Circumstances(awake_supine_mmhg=44.0, gases=(PairedGas(6.0 * HOUR, 42.0, SampleKind.ARTERIAL),))
    found = score_night(night(tc), known)
    assert found.drift.method == found.tc_corrected.correction == DriftCorrection.ONE_POINT
    assert found.tc_raw.correction == DriftCorrection.NONE
    assert (found.tc_raw.tc_max_sustained, found.tc_corrected.tc_max_sustained) == (53.0, 48.0)
    assert found.tc_raw.definition("child-peak-50").answer == Answer.MET
    assert found.tc_corrected.definition("child-peak-50").answer == Answer.NOT_MET


def test_every_definition_has_its_own_key_and_a_known_source():
    assert len({each.key for each in DEFINITIONS}) == len(DEFINITIONS)
    assert {each.source for each in DEFINITIONS} <= set(BY_KEY)


def test_definitions_are_found_by_their_key():
    with pytest.raises(KeyError):
        score(level(8, 450)).definition("none such")
