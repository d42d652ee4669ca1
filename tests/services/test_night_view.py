"""A night as its page shows it: scores by their convention, gaps shaded, a reason where none is given."""

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from hvmon.nights.synthetic import hypoventilation, measured, quiet
from hvmon.records.night_signal import MISSING
from hvmon.rules.catalogue import rule
from hvmon.services import night_view
from hvmon.services.packs_in_use import pack_in_use
from hvmon.units import PressureUnit
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
