from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hvmon.records.night_signal import (
    MISSING,
    Annotation,
    AnnotationKind,
    NightSignal,
    tenths_mmhg_from_hundredths_kpa,
)
from hvmon.units import PressureUnit

START = datetime(2026, 3, 1, 22, 0, tzinfo=UTC)


def night(**fields):
    given = {"start_utc": START, "zone": "Europe/London", "interval_s": 1}
    given["spo2_tenths"] = np.full(60, 950, dtype=np.int16)
    return NightSignal(**(given | fields))


def test_channels_are_copies_that_nobody_can_write_to():
    values = np.full(60, 950, dtype=np.int16)
    signal = night(spo2_tenths=values)
    values[0] = 0
    assert signal.spo2_tenths[0] == 950
    with pytest.raises(ValueError, match="read-only"):
        signal.spo2_tenths[0] = 0


def test_a_night_in_kpa_keeps_its_values_and_derives_tenths_of_mmhg():
    signal = night(tcco2_hundredths_kpa=np.full(60, 733, dtype=np.int16))
    assert signal.tcco2_unit == PressureUnit.KPA
    assert signal.tcco2_hundredths_kpa[0] == 733
    assert signal.tcco2_tenths_mmhg[0] == 550  # 7.33 kPa x 7.5006 = 54.98 mmHg


def test_two_co2_channels_that_disagree_are_refused():
    kpa, mmhg = np.full(60, 733, dtype=np.int16), np.full(60, 500, dtype=np.int16)
    with pytest.raises(ValueError, match="does not follow"):
        night(tcco2_hundredths_kpa=kpa, tcco2_tenths_mmhg=mmhg)


def test_a_unit_that_contradicts_the_channels_is_refused():
    with pytest.raises(ValueError, match="tcco2_unit"):
        night(tcco2_tenths_mmhg=np.full(60, 450, dtype=np.int16), tcco2_unit=PressureUnit.KPA)


@given(st.lists(st.integers(0, 2600) | st.just(MISSING), min_size=1, max_size=50))
def test_derived_tenths_of_mmhg_are_the_nearest_and_missing_stays_missing(values):
    derived = tenths_mmhg_from_hundredths_kpa(np.array(values, dtype=np.int16))
    for value, tenths in zip(values, derived.tolist(), strict=True):
        if value == MISSING:
            assert tenths == MISSING
        else:
            assert abs(tenths - value * 760.0 / 1013.25) <= 0.5 + 1e-9


@pytest.mark.parametrize(
    ("fields", "word"),
    [
        ({"start_utc": datetime(2026, 3, 1, 22, 0)}, "start_utc"),  # noqa: DTZ001
        ({"start_utc": datetime(2026, 3, 1, 22, 0, tzinfo=timezone(timedelta(hours=1)))}, "start_utc"),
        ({"zone": "Middle/Earth"}, "zone"),
        ({"zone": "../etc/passwd"}, "zone"),
        ({"interval_s": 0}, "interval_s"),
        ({"averaging_s": 0.0}, "averaging_s"),
        ({"spo2_resolution_tenths": 0}, "spo2_resolution_tenths"),
        ({"spo2_tenths": np.full(60, 950, dtype=np.int32)}, "spo2_tenths"),
        ({"spo2_tenths": np.full(0, 950, dtype=np.int16)}, "spo2_tenths"),
        ({"annotations": (Annotation(float("nan"), None, "x"),)}, "annotations"),
        ({"annotations": (Annotation(0.0, -1.0, "x"),)}, "annotations"),
        ({"annotations": (Annotation(0.0, float("inf"), "x"),)}, "annotations"),
        ({"pulse_tenths": np.full(59, 700, dtype=np.int16)}, "pulse_tenths"),
    ],
)
def test_an_unusable_field_is_refused_by_name(fields, word):
    with pytest.raises(ValueError, match=word):
        night(**fields)


def test_nights_are_equal_when_every_second_is_equal():
    other = np.full(60, 950, dtype=np.int16)
    assert night() == night()
    other[59] = 949
    assert night() != night(spo2_tenths=other)
    assert night() != night(pulse_tenths=other)
    assert night() != "a night"


def test_annotations_stand_in_order_and_their_known_kinds_are_read_from_the_text():
    marks = (
        Annotation(50.0, None, "Oxygen  Change: 1 L/min"),
        Annotation(5.0, 30.0, "patient coughs: twice"),
    )
    signal = night(annotations=marks)
    assert [mark.onset_s for mark in signal.annotations] == [5.0, 50.0]
    assert signal.annotations[0].kind == AnnotationKind.NOTE
    assert signal.annotations[0].detail == "patient coughs: twice"
    assert signal.of_kind(AnnotationKind.OXYGEN_CHANGE)[0].detail == "1 L/min"


def test_the_clock_on_the_wall_follows_the_zone():
    signal = night(start_utc=datetime(2026, 7, 1, 22, 0, tzinfo=UTC))
    assert signal.start_local.hour == 23
    assert signal.end_utc - signal.start_utc == timedelta(seconds=60)


def test_a_recording_without_oximetry_says_so():
    assert not night(spo2_tenths=np.full(60, MISSING, dtype=np.int16)).has_spo2
    assert night().has_spo2
