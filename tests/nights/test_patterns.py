from dataclasses import replace

import numpy as np
import pytest

from hvmon.nights.patterns import read_patterns, shape_of
from hvmon.nights.score import score_night
from hvmon.nights.synthetic import ZONE, demo_nights, later, measured, quiet
from hvmon.records.night_signal import AnnotationKind

SEEDS = (1, 2, 3)


def patterns(signal):
    return {each.key: dict(each.numbers) for each in read_patterns(signal, score_night(signal))}


def story(key, seed):
    return dict(demo_nights(seed))[key]


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(
    ("key", "expected"),
    [
        ("hypoventilation before", {"plateau with CO2", "REM-like spacing"}),
        ("hypoventilation after", set()),
        ("obstruction", {"saw-tooth"}),
        ("periodic breathing", {"periodic with low CO2"}),
        ("oxygen retention", {"plateau", "CO2 up on oxygen"}),
        ("probe off", set()),
        ("clock change", set()),
    ],
)
def test_each_invented_story_suggests_what_it_was_made_to_tell(key, expected, seed):
    assert set(patterns(story(key, seed))) == expected


def test_the_numbers_behind_a_suggestion_are_given():
    found = patterns(story("periodic breathing", 1))["periodic with low CO2"]
    assert found["period [s]"] == pytest.approx(60, abs=2)  # made with a period of 60 s
    assert found["median CO2 [mmHg]"] == pytest.approx(33, abs=2)


def test_falls_without_a_co2_channel_leave_the_cause_open():
    signal = replace(story("hypoventilation before", 1), tcco2_tenths_mmhg=None, tcco2_unit=None)
    found = read_patterns(signal, score_night(signal))
    assert [each.key for each in found] == ["plateau"]
    assert "open" in found[0].suggests


def test_falls_with_flat_co2_do_not_suggest_hypoventilation():
    signal = story("hypoventilation before", 1)
    flat = np.full(signal.n_seconds, 430, dtype=np.int16)
    assert set(patterns(replace(signal, tcco2_tenths_mmhg=flat))) == {"plateau without CO2"}


def test_better_saturation_on_oxygen_with_steady_co2_suggests_nothing_about_it():
    signal = story("oxygen retention", 1)
    flat = np.full(signal.n_seconds, 480, dtype=np.int16)
    assert "CO2 up on oxygen" not in patterns(replace(signal, tcco2_tenths_mmhg=flat))


def test_no_suggestion_ever_gives_an_order():
    for _, signal in demo_nights(1):
        for each in read_patterns(signal, score_night(signal)):
            assert not {"increase", "decrease", "raise", "lower", "start", "stop"} & set(
                each.suggests.split()
            )


def test_a_regular_period_is_found_in_closed_form():
    signal = measured(np.random.default_rng(0), quiet, story("clock change", 1).start_utc)
    wave = 930 + 40 * np.sin(2 * np.pi * np.arange(signal.n_seconds) / 45.0)
    signal = replace(signal, spo2_tenths=np.rint(wave).astype(np.int16))
    shape = shape_of(signal, score_night(signal))
    assert shape.period_s == 45.0
    assert shape.regularity > 0.95


def test_the_demo_is_the_same_for_the_same_seed_and_another_for_another():
    assert demo_nights(4) == demo_nights(4)
    assert demo_nights(4)[0][1] != demo_nights(5)[0][1]


def test_the_clock_change_night_holds_the_repeated_hour():
    signal = story("clock change", 1)
    assert signal.zone == ZONE
    assert signal.start_local.utcoffset() != signal.end_utc.astimezone(signal.start_local.tzinfo).utcoffset()


def test_a_night_can_be_moved_to_a_later_day():
    signal = story("leak", 1)
    moved = later(signal, 7)
    assert (moved.start_utc - signal.start_utc).days == 7
    assert moved.of_kind(AnnotationKind.HIGH_LEAK) == signal.of_kind(AnnotationKind.HIGH_LEAK)
