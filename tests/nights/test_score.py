from dataclasses import fields, replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hvmon.nights import score as score_module
from hvmon.nights.comparable import comparable, comparable_tc, why_not_in_trend
from hvmon.nights.conventions import CODE_VERSION, CONVENTIONS, convention
from hvmon.nights.drift import PairedGas
from hvmon.nights.patterns import read_patterns
from hvmon.nights.results import Adequacy, ScoreC1, ScoreM1
from hvmon.nights.score import Circumstances, score_night
from hvmon.nights.synthetic import demo_nights
from hvmon.records.night_signal import MISSING, Annotation, AnnotationKind, NightSignal
from hvmon.sources import BY_KEY
from hvmon.vocabulary import Answer, SampleKind

HOUR = 3600


def night(spo2, **given):
    base = {
        "start_utc": datetime(2026, 1, 5, 22, tzinfo=UTC),
        "zone": "Europe/London",
        "interval_s": 1,
        "spo2_tenths": np.asarray(spo2, dtype=np.int16),
        "averaging_s": 3.0,
        "spo2_resolution_tenths": 1,
    }
    return NightSignal(**(base | given))


def flat(hours, level=960):
    return np.full(int(hours * HOUR), level, dtype=np.int16)


INDICES = {
    ScoreC1: ("odi3_c1", "odi4_c1", "n_dips3_c1", "n_dips4_c1", "n_stepdown", "dip_area_c1_pct_min_per_h"),
    ScoreM1: ("odi3_m1", "odi4_m1", "n_dips3_m1", "n_dips4_m1"),
}
SHARES = ("pct_below_90", "pct_le_88", "area_below_90_pct_min_per_h", "delta_index_12s")
FACTS = (
    "mean",
    "nadir",
    "s_below_90",
    "s_below_88",
    "s_le_88",
    "longest_le_88_s",
    "n_runs_le_88_ge_300s",
    "cumulative_s_le_88",
)


def both(score):
    return score.c1, score.m1


def test_figures_are_per_hour_of_valid_recording():
    # 4 h valid of 5 h by the clock: 40 dips of 4.0 for 20 s, one hour missing, one hour at exactly 88.0
    spo2 = flat(5)
    for start in range(300, 300 + 40 * 90, 90):
        spo2[start : start + 20] = 920
    spo2[2 * HOUR : 3 * HOUR] = MISSING
    spo2[3 * HOUR + 600 - 1 : 3 * HOUR + 4201] = 920
    spo2[3 * HOUR + 600 : 3 * HOUR + 4200] = 880
    c1 = score_night(night(spo2)).c1
    assert c1.valid_s == 4 * HOUR
    assert c1.clock_s == 5 * HOUR
    assert c1.odi3_c1 == 40 / 4
    assert c1.odi4_c1 == 40 / 4
    assert c1.dip_area_c1_pct_min_per_h == pytest.approx(40 * 4.0 * 20 / 60 / 4, rel=1e-12)
    assert c1.pct_below_90 == 25.0
    assert c1.pct_le_88 == 25.0
    assert c1.area_below_90_pct_min_per_h == pytest.approx(2.0 * 60 / 4, rel=1e-12)
    assert c1.cumulative_s_le_88 == c1.longest_le_88_s == c1.s_le_88 == 3600
    assert c1.n_stepdown == 1
    assert c1.nadir == 88.0


@pytest.mark.parametrize("kind", ["C1", "M1"])
def test_a_night_without_a_valid_second_has_none_and_a_reason_everywhere(kind):
    score = score_night(night(flat(5, MISSING)))
    record = score.c1 if kind == "C1" else score.m1
    assert record.adequacy == Adequacy.NO_SIGNAL
    for name in (*FACTS, *SHARES, *INDICES[type(record)]):
        assert getattr(record, name) is None, name
        assert "no valid second" in record.reason(name)


@pytest.mark.parametrize("kind", ["C1", "M1"])
def test_a_night_of_less_than_two_hours_has_facts_but_no_index(kind):
    score = score_night(night(flat(1.9)))
    record = score.c1 if kind == "C1" else score.m1
    assert record.adequacy == Adequacy.TOO_SHORT
    for name in (*SHARES, *INDICES[type(record)]):
        assert getattr(record, name) is None, name
        assert "least for an index" in record.reason(name)
    assert record.mean == 96.0
    assert record.s_below_90 == 0


@pytest.mark.parametrize(
    ("hours", "expected"),
    [(2.0, Adequacy.SHORT), (3.99, Adequacy.SHORT), (4.0, Adequacy.FULL)],
)
def test_two_to_four_hours_are_short_and_four_are_enough(hours, expected):
    c1 = score_night(night(flat(hours))).c1
    assert c1.adequacy == expected
    assert c1.odi3_c1 == 0.0


def test_a_recording_that_seldom_has_a_reference_has_no_event_index():
    # 20 s of values and 40 s of nothing in turn: never 30 valid seconds in a minute
    spo2 = flat(9)
    spo2.reshape(-1, 60)[:, 20:] = MISSING
    c1 = score_night(night(spo2)).c1
    assert c1.adequacy == Adequacy.SHORT
    assert c1.odi3_c1 is None
    assert "reference" in c1.reason("odi3_c1")
    assert c1.pct_below_90 == 0.0


def test_every_none_has_a_reason_and_every_reason_a_none():
    for _, signal in demo_nights(3):
        score = score_night(signal)
        for record in (*both(score), score.tc_raw):
            empty = {field.name for field in fields(record) if getattr(record, field.name) is None}
            named = {name for name, _ in record.reasons} - {"aasm_sleep_hypoventilation_type"}
            assert empty == named


def test_a_night_without_pulse_says_so():
    c1 = score_night(night(flat(5))).c1
    assert c1.pulse_rise_6_per_h is None
    assert "no pulse" in c1.reason("pulse_rise_6_per_h")


def test_pulse_rises_are_counted_per_hour_of_valid_pulse():
    # 70/min with 48 rises of 6/min for 10 s, 5 min apart, in 4 h; and as many of 5.9/min that do not count
    pulse = flat(4, 700)
    for start in range(150, 4 * HOUR, 300):
        pulse[start : start + 10] = 760
    for start in range(30, 4 * HOUR, 300):
        pulse[start : start + 10] = 759
    c1 = score_night(night(flat(4), pulse_tenths=pulse)).c1
    assert c1.pulse_rise_6_per_h == 48 / 4


def test_a_pulse_that_climbs_slowly_does_not_rise():
    pulse = (700 + np.arange(4 * HOUR) // 60 % 600).astype(np.int16)
    assert score_night(night(flat(4), pulse_tenths=pulse)).c1.pulse_rise_6_per_h == 0.0


def test_events_are_given_for_the_chart_with_reference_and_nadir():
    spo2 = flat(4)
    spo2[1000:1020] = 920
    (dip,) = score_night(night(spo2)).dips
    assert (dip.onset_s, dip.end_s, dip.reference, dip.nadir) == (1000, 1020, 96.0, 92.0)
    assert (dip.close, dip.counted) == ("recovery", True)
    assert score_night(night(spo2), with_dips=False).dips == ()


def test_both_engines_give_the_same_record():
    for _, signal in demo_nights(5):
        known = Circumstances(awake_supine_mmhg=44.0)
        assert score_night(signal, known, engine_name="compiled") == score_night(signal, known)


def test_the_compiled_engine_without_numba_says_what_to_install(monkeypatch):
    def absent(_):
        raise ModuleNotFoundError("No module named 'numba'")

    monkeypatch.setattr(score_module, "import_module", absent)
    with pytest.raises(ModuleNotFoundError, match="hvmon"):
        score_night(night(flat(4)), engine_name="compiled")


def test_the_fastest_engine_is_the_compiled_one_where_numba_is_installed(monkeypatch):
    assert score_module.fastest_engine() == "compiled"
    monkeypatch.setattr(score_module, "find_spec", lambda _: None)
    assert score_module.fastest_engine() == "numpy"


def test_indices_are_comparable_only_under_one_convention_averaging_time_and_resolution():
    a = score_night(night(flat(4)))
    assert comparable(a.c1, a.c1) is None
    assert "convention" in comparable(a.c1, a.m1)
    assert "version" in comparable(a.c1, replace(a.c1, code_version="0"))
    assert "averaging time: 3 s and 8 s" in comparable(a.c1, replace(a.c1, averaging_s=8.0))
    assert "not recorded" in comparable(a.c1, replace(a.c1, averaging_s=None))
    assert "resolution: 0.1 % and 1 %" in comparable(a.c1, replace(a.c1, spo2_resolution_tenths=10))
    assert "not recorded" in comparable(replace(a.c1, spo2_resolution_tenths=None), a.c1)


def test_transcutaneous_summaries_with_unlike_corrections_are_not_compared():
    score = dict(demo_nights(1))["hypoventilation before"]
    tc = score_night(score).tc_raw
    assert comparable_tc(tc, tc) is None
    assert "drift correction" in comparable_tc(tc, replace(tc, correction="two-point"))
    assert "version" in comparable_tc(tc, replace(tc, code_version="0"))


def test_what_keeps_a_night_out_of_the_trend_is_named():
    tc = score_night(dict(demo_nights(1))["hypoventilation before"]).tc_raw
    assert why_not_in_trend(tc, 0.2) == ()
    assert any("drifted" in reason for reason in why_not_in_trend(tc, -1.1))
    assert any("4 h" in reason for reason in why_not_in_trend(replace(tc, valid_s=3 * HOUR)))
    assert any("lost" in reason for reason in why_not_in_trend(replace(tc, valid_s=5 * HOUR)))


def test_every_convention_has_a_known_source_and_is_found_by_its_key():
    for each in CONVENTIONS:
        assert each.source in BY_KEY
        assert convention(each.key) is each
    with pytest.raises(KeyError, match="C1, M1, T1"):
        convention("X9")
    assert score_night(night(flat(4))).c1.code_version == CODE_VERSION


def test_a_night_without_transcutaneous_co2_has_no_summary_of_it():
    score = score_night(night(flat(4)))
    assert score.tc_raw is score.tc_corrected is score.drift is None


def test_oximetry_and_co2_are_judged_apart():
    tc = flat(5, 480)
    score = score_night(
        night(flat(5, MISSING), tcco2_tenths_mmhg=tc, annotations=(Annotation(0.0, None, "note"),))
    )
    assert score.c1.adequacy == Adequacy.NO_SIGNAL
    assert score.tc_raw.adequacy == Adequacy.FULL
    assert score.tc_raw.definition("50-with-low-spo2").answer == Answer.NOT_MET


KINDS = [str(kind) for kind in AnnotationKind] + ["oxygen change: 2 L/min", "anything"]
CHANNEL_VALUES = st.sampled_from(
    [MISSING, -1, 0, 149, 150, 450, 499, 500, 551, 700, 880, 960, 1000, 1500, 32767]
)


@st.composite
def any_signal(draw):
    """A signal of any values in steps, short or hours long, with marks anywhere, in either unit."""
    scale = draw(st.sampled_from([1, 60, 1200]))
    steps = draw(st.lists(st.tuples(*[CHANNEL_VALUES] * 3), min_size=1, max_size=10))
    spo2, pulse, co2 = (
        np.repeat(np.array(values, dtype=np.int16), scale) for values in zip(*steps, strict=True)
    )
    times = st.floats(-1e4, 1e5)
    marks = st.builds(Annotation, times, st.none() | st.floats(0, 1e5), st.sampled_from(KINDS))
    unit = draw(st.sampled_from(["tcco2_tenths_mmhg", "tcco2_hundredths_kpa"]))
    return night(
        spo2,
        pulse_tenths=draw(st.sampled_from([None, pulse])),
        annotations=tuple(draw(st.lists(marks, max_size=4))),
        **{unit: co2},
    )


GASES = st.lists(
    st.builds(PairedGas, st.floats(-1e4, 1e5), st.floats(15, 150), st.sampled_from(SampleKind)), max_size=3
).map(tuple)


@settings(max_examples=150, deadline=None)
@given(any_signal(), GASES, st.none() | st.floats(20, 90))
def test_any_signal_is_scored_and_read_without_an_error(signal, gases, awake):
    known = Circumstances(awake_supine_mmhg=awake, gases=gases, earlobe_allowed=True)
    score = score_night(signal, known)
    assert score == score_night(signal, known, engine_name="compiled")
    assert isinstance(read_patterns(signal, score), tuple)
    for record in (score.c1, score.m1, score.tc_raw):
        empty = {field.name for field in fields(record) if getattr(record, field.name) is None}
        assert empty == {name for name, _ in record.reasons} - {"aasm_sleep_hypoventilation_type"}
