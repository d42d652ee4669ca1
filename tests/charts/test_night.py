"""A night drawn: no extreme lost, gaps seen, the clock honest on the nights it changes."""

import json
from datetime import UTC, datetime, timedelta

import altair as alt
import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from polars.testing import assert_series_equal

from hvmon.charts.buckets import histogram, min_max, without_repeats
from hvmon.charts.lanes import NamedNight, draw_shares, draw_strip, draw_two, minutes_after_noon
from hvmon.charts.night import DIPS, LEVELS, SPANS, NightMarks, clock_ticks, draw_night
from hvmon.charts.theme import Look
from hvmon.records.night_signal import MISSING, Annotation, NightSignal
from hvmon.units import PressureUnit

START = datetime(2026, 1, 10, 22, 15, tzinfo=UTC)
values = hnp.arrays(np.int16, st.integers(1, 400), elements=st.sampled_from([MISSING, 700, 880, 950, 990]))


def night(n=8 * 3600, start=START, *, tc=True, spo2=None):
    wave = np.full(n, 950, dtype=np.int16)
    wave[n // 2 : n // 2 + 40] = 670
    wave[100:400] = MISSING
    return NightSignal(
        start_utc=start,
        zone="Europe/London",
        interval_s=1,
        spo2_tenths=wave if spo2 is None else spo2,
        pulse_tenths=np.full(n, 680, dtype=np.int16),
        tcco2_tenths_mmhg=np.full(n, 450, dtype=np.int16) if tc else None,
        annotations=(Annotation(60.0, None, "ventilator on"), Annotation(7200.0, None, "oxygen change: 2")),
    )


def marks():
    return NightMarks(
        pl.DataFrame([{"onset_s": 10, "end_s": 40, "nadir": 67.0, "counted": True}], schema=DIPS),
        pl.DataFrame(
            [{"lane": "spo2", "from_s": 100, "to_s": 400, "what": "no saturation signal, 300 s"}],
            schema=SPANS,
        ),
        pl.DataFrame([{"lane": "tc", "value": 55.0, "words": "NGT-1 > 55 mmHg"}], schema=LEVELS),
    )


def draw(signal=None, **more):
    return draw_night(signal or night(), marks(), look=Look.LIGHT, unit=PressureUnit.KPA, **more)


@given(values, st.integers(2, 90))
def test_thinning_keeps_every_extreme(x, buckets):
    drawn = min_max(x, scale=0.1, buckets=buckets)["v"].drop_nulls()
    valid = x[x != MISSING]
    if len(valid) == 0:
        assert drawn.is_empty()
    else:
        assert drawn.min() == pytest.approx(valid.min() * 0.1)
        assert drawn.max() == pytest.approx(valid.max() * 0.1)


@given(values, st.integers(2, 90))
def test_thinned_times_rise_and_no_more_than_two_points_a_bucket_are_drawn(x, buckets):
    drawn = min_max(x, scale=0.1, buckets=buckets)
    assert drawn["t"].is_sorted()
    assert drawn.height <= 2 * buckets + 2


@given(values)
def test_a_bucket_without_a_value_is_a_gap_and_one_with_a_value_is_not(x):
    drawn = min_max(x, scale=1.0, buckets=50)
    size = -(-len(x) // 50)
    whole = [bool((x[start : start + size] != MISSING).any()) for start in range(0, len(x), size)]
    per_bucket = drawn["v"].is_not_null().to_list()
    told = (
        per_bucket if size == 1 else [a or b for a, b in zip(per_bucket[::2], per_bucket[1::2], strict=True)]
    )
    assert told[: len(whole)] == whole


def test_a_flat_night_is_a_line_and_not_empty():
    drawn = min_max(np.full(32400, 950, dtype=np.int16), scale=0.1)
    assert drawn["v"].null_count() == 0
    assert drawn.height == 2 * -(-32400 // 33)


def stepped(drawn, seconds):
    """Give what a line of steps shows at each second: the last row at or before it."""
    times = np.rint(drawn["t"].to_numpy() * 60).astype(int)
    return drawn["v"].gather(np.searchsorted(times, seconds, side="right") - 1)


def test_a_window_is_drawn_second_by_second():
    drawn = draw(first_s=3600, last_s=3900).frames["spo2"]
    x = night().spo2_tenths[3600:3900]
    expected = pl.Series([None if each == MISSING else each * 0.1 for each in x.tolist()])
    assert_series_equal(stepped(drawn, np.arange(3600, 3900)), expected, check_names=False)


@given(values)
def test_leaving_out_repeats_changes_nothing_of_what_is_drawn(x):
    whole = min_max(x, scale=1.0, buckets=len(x))
    thin = without_repeats(whole)
    assert_series_equal(stepped(thin, np.arange(len(x))), whole["v"])
    assert thin["t"][-1] == whole["t"][-1]
    before_gap = whole.filter(pl.col("v").is_not_null() & pl.col("v").shift(-1).is_null())
    assert set(before_gap["t"]) <= set(thin["t"])


def test_the_nadir_of_40_s_is_on_the_chart_of_the_whole_night():
    assert draw().frames["spo2"]["v"].min() == pytest.approx(67.0)


@pytest.mark.parametrize("look", list(Look))
def test_a_night_is_valid_vega_lite_in_every_look(look):
    picture = draw_night(night(), marks(), look=look, unit=PressureUnit.MMHG)
    alt.Chart.from_dict(picture.spec, validate=True)
    assert "@" not in json.dumps(picture.spec)


def test_a_night_without_carbon_dioxide_is_drawn_without_it():
    picture = draw(night(tc=False))
    alt.Chart.from_dict(picture.spec, validate=True)
    assert picture.frames["tc"].is_empty()


@pytest.mark.parametrize(
    ("start", "labels"),
    [
        (datetime(2026, 3, 28, 23, 0, tzinfo=UTC), ["23:00", "00:00", "02:00", "03:00"]),  # spring: no 01:00
        (
            datetime(2026, 10, 24, 22, 0, tzinfo=UTC),
            ["23:00", "00:00", "01:00", "01:00"],
        ),  # autumn: 01:00 twice
    ],
)
def test_hours_keep_their_length_on_the_nights_the_clock_changes(start, labels):
    minutes, expression = clock_ticks(start, "Europe/London", 0, 9 * 3600)
    assert minutes[:4] == [0.0, 60.0, 120.0, 180.0]
    assert [part.strip("'") for part in expression[1 : expression.index("]")].split(",")][:4] == labels


def test_ticks_stand_at_round_clock_times_after_an_odd_start():
    minutes, expression = clock_ticks(START + timedelta(minutes=7, seconds=30), "Europe/London", 0, 7200)
    assert "'22:30'" in expression
    assert minutes[0] == pytest.approx(7.5)


def test_marks_and_limits_reach_the_chart_in_words():
    frames = draw().frames
    assert frames["mark_words"]["full"].to_list() == ["ventilator on", "oxygen change: 2"]
    assert frames["tc_levels"]["words"].to_list() == ["NGT-1 > 55 mmHg"]
    assert frames["tc_levels"]["v"][0] == pytest.approx(55 * 101.325 / 760)


def test_what_is_left_out_is_shaded_in_its_own_lane():
    rows = [
        {"lane": "spo2", "from_s": 100, "to_s": 400, "what": "no saturation signal, 300 s"},
        {"lane": "tc", "from_s": 0, "to_s": 900, "what": "CO2 left out: warm-up or sensor off, 900 s"},
    ]
    shaded = NightMarks(marks().dips, pl.DataFrame(rows, schema=SPANS), marks().levels)
    frame = draw_night(night(), shaded, look=Look.LIGHT, unit=PressureUnit.KPA).frames["spans"]
    spo2, tc = frame.rows(named=True)
    assert spo2["bottom"] < tc["top"]
    assert all(row["top"] < row["bottom"] for row in (spo2, tc))


def test_two_nights_are_aligned_by_the_clock_of_their_evenings():
    later = night(start=START + timedelta(days=40, hours=1))
    assert minutes_after_noon(night()) == 615.0
    assert minutes_after_noon(later) == 675.0
    picture = draw_two(
        NamedNight("a", night()), NamedNight("b", later), look=Look.LIGHT, unit=PressureUnit.KPA
    )
    alt.Chart.from_dict(picture.spec, validate=True)
    starts = picture.frames["lines"].group_by("line").agg(pl.col("t").min())["t"]
    assert starts.min() == 615.0


def test_a_gap_ends_the_line_of_a_small_night():
    picture = draw_strip([NamedNight("a", night())], look=Look.LIGHT, unit=PressureUnit.KPA)
    spo2 = picture.frames["lines"].filter(pl.col("line").str.contains("SpO2"))
    assert spo2["line"].n_unique() >= 2
    assert picture.frames["lines"]["y"].null_count() == 0


def test_a_strip_and_shares_are_valid_vega_lite():
    pair = NamedNight("a", night()), NamedNight("b", night())
    for picture in (
        draw_strip([*pair], look=Look.PRINT, unit=PressureUnit.KPA),
        draw_shares(*pair, co2=True, look=Look.DARK, unit=PressureUnit.KPA),
        draw_shares(*pair, co2=False, look=Look.LIGHT, unit=PressureUnit.KPA),
    ):
        alt.Chart.from_dict(picture.spec, validate=True)


@settings(max_examples=50)
@given(values)
def test_shares_add_up_to_the_whole_of_the_valid_time(x):
    shares = histogram(x, scale=0.1, step=1.0)["share"]
    if (x != MISSING).any():
        assert shares.sum() == pytest.approx(100.0)
    else:
        assert shares.is_empty()
