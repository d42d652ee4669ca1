"""A night as its page shows it: scores by their convention, gaps shaded, a reason where none is given."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import polars as pl
import pytest

from hvmon.nights.drift import PairedGas
from hvmon.nights.score import Circumstances, score_night
from hvmon.nights.synthetic import hypoventilation, measured, quiet
from hvmon.records.night_signal import MISSING
from hvmon.rules.catalogue import rule
from hvmon.services import night_view
from hvmon.services.packs_in_use import pack_in_use
from hvmon.units import PressureUnit
from hvmon.vocabulary import SampleKind
from tests.app import invented

START = datetime(2026, 2, 3, 22, 10, tzinfo=UTC)
KPA = PressureUnit.KPA


@pytest.fixture(scope="module")
def signal():
    return measured(np.random.default_rng(1), hypoventilation, START, hours=5.0)


@pytest.fixture(scope="module")
def score(signal):
    return night_view.scored(signal)


def holed(signal, *spans):
    values = signal.spo2_tenths.copy()
    for start, end in spans:
        values[start:end] = MISSING
    return replace(signal, spo2_tenths=values)


def test_each_gap_of_ten_seconds_or_more_is_shaded_over_its_whole_length(signal):
    frame = night_view.spans(holed(signal, (100, 400), (900, 905), (1000, 1010)))
    missing = frame.filter(frame["what"].str.starts_with("no saturation"))
    assert missing.select("from_s", "to_s").rows() == [(100, 400), (1000, 1010)]


def test_a_gap_of_one_channel_is_shaded_in_the_lane_of_that_channel_alone(signal):
    co2 = signal.tcco2_tenths_mmhg.copy()
    co2[5000:5400], co2[9000:9020] = MISSING, 32000
    frame = night_view.spans(replace(holed(signal, (100, 400)), tcco2_tenths_mmhg=co2))
    found = {(lane, start, end) for lane, start, end, _ in frame.rows()}
    assert ("spo2", 100, 400) in found
    assert ("tc", 5000, 5400) in found
    assert ("tc", 9000, 9020) in found
    assert ("spo2", 5000, 5400) not in found
    assert (
        frame.filter((pl.col("lane") == "tc") & (pl.col("from_s") < 900))["what"]
        .str.contains("warm-up")
        .all()
    )


def test_step_downs_and_the_device_stand_beside_the_indices(signal):
    rows = {row["Score"]: row["Value"] for row in night_view.oximetry_table(night_view.scored(signal))}
    assert rows["Falls of 120 s without recovery, C1, not in the index"].isdigit()
    assert rows["Runs of 5 min or more at or below 88 %"].isdigit()
    assert "Averaging of the oximeter, its smallest step" in rows


def test_indices_stand_under_both_conventions_by_name(score):
    names = [row["Score"] for row in night_view.oximetry_table(score)]
    for fall in (3, 4):
        assert f"Falls of {fall} % per h of recording, C1" in names
        assert f"Falls of {fall} % per h of recording, M1" in names


def test_both_readings_of_five_minutes_at_88_percent_stand_side_by_side(score):
    names = [row["Score"] for row in night_view.oximetry_table(score)]
    assert "Longest run at or below 88 %" in names
    assert "All time at or below 88 %" in names


def test_a_night_too_short_for_indices_gives_a_reason_and_no_zero():
    short = measured(np.random.default_rng(2), quiet, START, hours=1.0)
    rows = {row["Score"]: row for row in night_view.oximetry_table(night_view.scored(short))}
    index = rows["Falls of 3 % per h of recording, C1"]
    assert index["Value"] == "not given"
    assert index["Note"]


def test_every_published_definition_stands_in_the_table_with_its_source(score):
    rows = night_view.definitions_table(score)
    assert len(rows) == len(score.tc_raw.definitions)
    assert all(row["Source"] for row in rows)


def test_without_a_carbon_dioxide_channel_the_tables_are_empty(signal):
    bare = night_view.scored(replace(signal, tcco2_tenths_mmhg=None, tcco2_unit=None))
    assert night_view.co2_table(bare, KPA) == []
    assert night_view.definitions_table(bare) == []


def test_uncorrected_and_corrected_stand_beside_each_other(score):
    assert all(row["Corrected for drift"] == "not corrected" for row in night_view.co2_table(score, KPA))


def test_a_correction_is_said_with_its_offset_and_what_was_not_used(signal):
    arterial, venous = (PairedGas(9000.0, 45.0, kind) for kind in (SampleKind.ARTERIAL, SampleKind.VENOUS))
    corrected = score_night(signal, Circumstances(gases=(arterial, venous)))
    how, *refused = night_view.drift_lines(corrected, KPA)
    assert how.startswith("Corrected by one gas: sensor minus blood")
    assert len(refused) == 1
    assert "venous" in refused[0]
    answers = [
        (row["Uncorrected"], row["Corrected for drift"]) for row in night_view.definitions_table(corrected)
    ]
    expected = zip(corrected.tc_raw.definitions, corrected.tc_corrected.definitions, strict=True)
    assert answers == [(raw.answer.value, after.answer.value) for raw, after in expected]


def test_without_a_gas_it_is_said_that_nothing_was_corrected(score):
    assert night_view.drift_lines(score, KPA) == ("Not corrected for drift: no paired gas was used.",)


def test_a_pattern_is_suggested_with_its_numbers(signal, score):
    lines = night_view.pattern_lines(signal, score)
    assert any(line.startswith("suggests hypoventilation") for line in lines)
    assert all("(" in line for line in lines)


def test_limits_drawn_on_a_night_are_those_of_the_persons_pack(store):
    pack = pack_in_use(store.dossier(invented.ANNA), today=invented.TODAY)
    frame = night_view.levels(pack)
    tc = frame.filter(frame["lane"] == "tc")
    assert tc["value"][0] == pytest.approx(float(rule("NGT-1").limit.value))
    assert "NGT-1" in tc["words"][0]


def test_nights_of_another_averaging_time_are_not_comparable(signal, score):
    other = night_view.scored(replace(signal, averaging_s=8.0))
    assert night_view.not_comparable(score, other)
    assert night_view.not_comparable(score, score) == ()
