"""Nights written as EDF+ come back exactly, and a strict reader of another make accepts every one."""

import dataclasses
import datetime as dt

import numpy as np
import pyedflib
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from hvmon.files.night_edf import understand_bytes
from hvmon.files.night_write import to_edf, write_edf
from hvmon.files.understood import Understood
from hvmon.records.night_signal import MISSING, Annotation, NightSignal
from hvmon.vocabulary import SensorSite

ZONES = (
    "Europe/London",
    "Europe/Berlin",
    "America/St_Johns",
    "Asia/Kathmandu",
    "America/Argentina/ComodRivadavia",
    "UTC",
)
tenths = st.one_of(st.just(MISSING), st.integers(0, 32767))
LIMITED = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
texts = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=40)
annotations = st.builds(
    Annotation,
    onset_s=st.integers(0, 4_000_000).map(lambda k: k / 1000),
    duration_s=st.none() | st.integers(0, 100_000).map(lambda k: k / 1000),
    text=texts.filter(lambda text: not text.startswith("no data: ")),
)


@st.composite
def nights(draw):
    """Nights of any length, gap and value EDF can hold."""
    seconds = draw(st.integers(1, 200))
    channel = arrays(np.int16, seconds, elements=tenths)
    tcco2 = draw(st.sampled_from(["none", "mmHg", "kPa"]))
    small = channel.map(lambda values: np.where(values == MISSING, MISSING, values // 10).astype(np.int16))
    moment = draw(st.datetimes(dt.datetime(1990, 1, 1), dt.datetime(2080, 1, 1)))  # noqa: DTZ001 - made UTC below
    return NightSignal(
        start_utc=moment.replace(tzinfo=dt.UTC),
        zone=draw(st.sampled_from(ZONES)),
        interval_s=draw(st.integers(1, 4)),
        spo2_tenths=draw(channel),
        pulse_tenths=draw(st.none() | channel),
        tcco2_tenths_mmhg=draw(small) if tcco2 == "mmHg" else None,
        tcco2_hundredths_kpa=draw(small) if tcco2 == "kPa" else None,
        annotations=tuple(draw(st.lists(annotations, max_size=4))),
        averaging_s=draw(st.none() | st.sampled_from([1.0, 2.0, 3.0, 12.5])),
        device_kind=draw(
            st.sampled_from(["finger oximeter", "ear-lobe tcCO2 sensor with oximetry", "not recorded"])
        ),
        sensor_site=draw(st.sampled_from(SensorSite)),
    )


def same(signal, other):
    """Equal but for what the written file itself adds: its hash and the resolution seen in it."""
    blank = {"source_sha256": None, "spo2_resolution_tenths": None}
    one, two = (dataclasses.replace(night, **blank, annotations=in_order(night)) for night in (signal, other))
    return one == two


def in_order(night):
    """Marks at one onset have no order of their own."""
    return tuple(sorted(night.annotations, key=lambda one: (one.onset_s, one.duration_s or -1.0, one.text)))


def has_reading(signal):
    channels = (signal.spo2_tenths, signal.pulse_tenths, signal.tcco2_tenths_mmhg)
    return any(values is not None and (values != MISSING).any() for values in channels)


@LIMITED
@given(nights().filter(has_reading))
def test_a_night_written_as_edf_comes_back_equal_without_a_question(signal):
    outcome = understand_bytes(to_edf(signal), {})
    assert isinstance(outcome, Understood), outcome
    assert same(outcome.signal, signal)


def test_the_clock_in_a_file_of_ours_wins_over_the_zone_of_the_site():
    spo2 = np.full(60, 940, dtype=np.int16)
    signal = NightSignal(dt.datetime(2026, 10, 25, 0, 30, tzinfo=dt.UTC), "Europe/Berlin", 1, spo2)
    assert same(understand_bytes(to_edf(signal), {"zone": "Australia/Perth"}).signal, signal)


@LIMITED
@given(signal=nights())
def test_a_strict_reader_accepts_every_file_and_sees_the_same_tenths(signal, tmp_path_factory):
    path = tmp_path_factory.mktemp("edf") / "night.edf"
    write_edf(path, signal)
    with pyedflib.EdfReader(str(path)) as reader:
        labels = reader.getSignalLabels()
        assert labels[0] == "SaO2 finger"
        assert reader.getPhysicalDimension(0) == "%"
        stated = reader.getPrefilter(0).rpartition(" ")[2]
        spo2 = np.rint(reader.readSignal(0) * 10).astype(int)
        sentinel = int(stated)
        gap_texts = [text for text in reader.readAnnotations()[2] if text.startswith("no data: SaO2")]
    assert spo2.tolist() == [sentinel if value == MISSING else value for value in signal.spo2_tenths.tolist()]
    missing = np.concatenate(([0], signal.spo2_tenths == MISSING)).astype(int)
    assert len(gap_texts) == (np.diff(missing) == 1).sum()


def test_whole_nights_keep_every_tenth_from_0_to_the_last():
    spo2 = np.arange(32767, dtype=np.int16)
    spo2[5] = MISSING
    signal = NightSignal(
        dt.datetime(2026, 10, 25, 0, 30, tzinfo=dt.UTC), "Europe/London", 1, spo2, None, spo2
    )
    outcome = understand_bytes(to_edf(signal), {})
    assert np.array_equal(outcome.signal.spo2_tenths[1:], spo2[1:])


def test_a_channel_that_leaves_no_value_for_no_data_and_a_negative_reading_are_refused():
    every = np.arange(32768, dtype=np.int32).astype(np.int16)
    start = dt.datetime(2026, 3, 1, tzinfo=dt.UTC)
    with pytest.raises(ValueError, match="none is left"):
        to_edf(NightSignal(start, "UTC", 1, every))
    with pytest.raises(ValueError, match=r"SaO2 finger: -5"):
        to_edf(NightSignal(start, "UTC", 1, np.array([-5, 900], dtype=np.int16)))


def test_no_identity_and_no_control_character_is_written():
    spo2 = np.full(60, 940, dtype=np.int16)
    marks = (Annotation(1.0, None, "a\x14b\x00c\x15"), Annotation(2.0, None, ""))
    content = to_edf(NightSignal(dt.datetime(2026, 3, 1, tzinfo=dt.UTC), "UTC", 1, spo2, annotations=marks))
    assert content[8:88].decode().split() == ["X", "X", "X", "X"]
    read = understand_bytes(content, {}).signal.annotations
    assert [one.text for one in read] == ["a b c ", "(no text)"]


def test_thousands_of_gaps_are_counted_and_the_file_is_read_again():
    spo2 = np.full(20_000, 940, dtype=np.int16)
    spo2[::2] = MISSING
    signal = NightSignal(dt.datetime(2026, 3, 1, tzinfo=dt.UTC), "UTC", 1, spo2)
    assert same(understand_bytes(to_edf(signal), {}).signal, signal)
