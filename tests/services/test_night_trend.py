"""Nights over time: joined only with nights they may be compared with."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import altair as alt
import numpy as np
import pytest

from hvmon.charts.night_trend import TREND, draw_night_trend
from hvmon.charts.theme import Look
from hvmon.nights.synthetic import hypoventilation, measured
from hvmon.services import night_trend, night_view
from hvmon.services.nights import NightFacts
from hvmon.units import PressureUnit
from hvmon.vocabulary import NOT_RECORDED, SampleReason, VentilatorState
from tests.app import invented

KPA = PressureUnit.KPA
START = datetime(2026, 2, 3, 22, 10, tzinfo=UTC)
ON, OFF = VentilatorState.ON, VentilatorState.OFF
NIGHTS = ((0, 3.0, ON), (30, 3.0, ON), (60, 8.0, ON), (90, 3.0, OFF), (120, None, ON), (150, None, ON))
"""Days after the first night, averaging time [s], state."""


@pytest.fixture
def dossier(store, tmp_path):
    signal = measured(np.random.default_rng(1), hypoventilation, START, hours=5.0)
    for days, averaging, state in NIGHTS:
        moved = replace(signal, start_utc=START + timedelta(days=days), averaging_s=averaging)
        facts = NightFacts(state, NOT_RECORDED, SampleReason.ROUTINE, "N. Invented")
        night_view.keep_night(
            store, tmp_path / "kept.sqlite", invented.ANNA, moved, b"the file", facts,
            request_id=f"night-{days}", now=moved.end_utc,
        )  # fmt: skip
    return store.dossier(invented.ANNA)


def series(dossier, lane):
    rows = night_trend.trend_rows(dossier, KPA)
    ours = rows.filter((rows["lane"] == lane) & (rows["night_of"] >= START.date()))
    assert ours.height == len(NIGHTS)
    return ours["series"].to_list()


def test_shares_are_joined_within_one_averaging_time_and_state_and_unknown_ones_with_none(dossier):
    names = series(dossier, "below_90")
    assert names[0] == names[1]
    assert len(set(names)) == len(NIGHTS) - 1


def test_counts_of_falls_are_joined_with_nothing(dossier):
    assert len(set(series(dossier, "dips"))) == len(NIGHTS)


def test_carbon_dioxide_is_joined_within_one_state_and_one_correction(dossier):
    names = series(dossier, "co2")
    assert len(set(names)) == 2
    assert [name for name in names if name.startswith("off")] == [names[3]]


def test_the_convention_of_the_falls_is_named(dossier):
    assert any("C1: top-fifth reference" in words for words in night_trend.conventions(dossier))
    rows = night_trend.trend_rows(dossier, KPA)
    said = rows.filter((rows["lane"] == "dips") & (rows["night_of"] >= START.date()))["said"]
    assert said.str.contains("C1").all()


@pytest.mark.parametrize("unit", list(PressureUnit))
@pytest.mark.parametrize("look", list(Look))
def test_the_trend_is_valid_vega_lite_with_every_point_inside_its_lane(dossier, look, unit):
    rows = night_trend.trend_rows(dossier, unit)
    assert dict(rows.schema) == TREND
    picture = draw_night_trend(rows, look=look, unit=unit)
    alt.Chart.from_dict(picture.inline(), validate=True)
    points = picture.frames["points"]
    assert points.height == rows.height
    assert points["y"].is_between(0.0, picture.spec["height"]).all()
