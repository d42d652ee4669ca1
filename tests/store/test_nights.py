import os
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

import duckdb
import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hvmon.records.night_signal import MISSING, Annotation, NightSignal
from hvmon.store.errors import Refused
from hvmon.store.nights import (
    DamagedNight,
    NightFiles,
    NightState,
    UnknownNight,
    decode_night,
    encode_night,
)
from hvmon.units import PressureUnit
from hvmon.vocabulary import SensorSite

START = datetime(2026, 10, 25, 0, 30, tzinfo=UTC)


def averaged(values, seconds):
    return np.convolve(values, np.ones(seconds) / seconds, "same")


def noisy_night(seed=0, n=32_400):
    """As noisy as 3 s of averaging, tenths of a percent and a slow sensor leave it, with 40 dips an hour."""
    rng = np.random.default_rng(seed)
    spo2 = 940 + 5 * averaged(rng.normal(0, 15, n), 600) + averaged(rng.normal(0, 10, n), 3)
    for start in range(100, n - 40, 90):
        spo2[start : start + 40] -= 50 * np.sin(np.linspace(0, np.pi, 40))
    spo2[200:500] = MISSING
    pulse = 700 + averaged(rng.normal(0, 100, n), 60) + averaged(rng.normal(0, 20, n), 5)
    tc = 450 + averaged(np.cumsum(rng.normal(0, 0.5, n)), 60) + averaged(rng.normal(0, 3, n), 10)
    return NightSignal(
        start_utc=START,
        zone="Europe/London",
        interval_s=1,
        spo2_tenths=np.rint(spo2).astype(np.int16),
        pulse_tenths=(10 * np.rint(pulse / 10)).astype(np.int16),
        tcco2_tenths_mmhg=np.rint(tc).astype(np.int16),
        annotations=(Annotation(60.5, None, "ventilator on"), Annotation(0.1, 3.3, "unruhig, Ü, 夜")),
        averaging_s=3.0,
        spo2_resolution_tenths=1,
        device_kind="ear-lobe tcCO2 sensor with oximetry",
        sensor_site=SensorSite.EARLOBE,
        source_sha256="ab" * 32,
    )


INT16 = st.integers(-32768, 32767)


@st.composite
def nights(draw):
    n = draw(st.integers(1, 40))
    channel = st.lists(INT16, min_size=n, max_size=n).map(lambda values: np.array(values, dtype=np.int16))
    in_kpa = draw(st.booleans())
    return NightSignal(
        start_utc=draw(st.datetimes(timezones=st.just(UTC))),
        zone=draw(st.sampled_from(["Europe/London", "UTC", "Australia/Lord_Howe"])),
        interval_s=draw(st.integers(1, 60)),
        spo2_tenths=draw(channel),
        pulse_tenths=draw(st.none() | channel),
        tcco2_tenths_mmhg=None if in_kpa else draw(st.none() | channel),
        tcco2_hundredths_kpa=draw(channel) if in_kpa else None,
        annotations=tuple(
            Annotation(onset, duration, text)
            for onset, duration, text in draw(
                st.lists(
                    st.tuples(
                        st.floats(-1e6, 1e6),
                        st.none() | st.floats(0, 1e6),
                        st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
                    ),
                    max_size=4,
                )
            )
        ),
        averaging_s=draw(st.none() | st.floats(0.5, 60)),
        spo2_resolution_tenths=draw(st.none() | st.integers(1, 50)),
        device_kind=draw(st.text(st.characters(exclude_categories=["Cs"]), max_size=20)),
        sensor_site=draw(st.sampled_from(SensorSite)),
        source_sha256=draw(st.none() | st.just("0" * 64)),
    )


@settings(max_examples=80, deadline=None)
@given(nights())
def test_a_night_comes_back_exactly_as_it_was(night):
    assert decode_night(encode_night(night)) == night


def test_a_saved_night_is_named_by_the_hash_of_its_file_and_comes_back(tmp_path):
    files, night = NightFiles(tmp_path), noisy_night()
    key = files.save(night)
    assert files.keys() == [key]
    assert files.load(key) == night
    (path,) = tmp_path.rglob("*.parquet")
    assert path.parent.name == key[:2]
    assert sha256(path.read_bytes()).hexdigest() == key


def test_saving_the_same_night_again_changes_nothing(tmp_path):
    files = NightFiles(tmp_path)
    key = files.save(noisy_night())
    (path,) = tmp_path.rglob("*.parquet")
    before = path.stat()
    assert files.save(noisy_night()) == key
    assert path.stat().st_mtime_ns == before.st_mtime_ns
    assert path.stat().st_ino == before.st_ino


def test_a_noisy_nine_hour_night_with_three_channels_takes_less_than_45_kb():
    assert len(encode_night(noisy_night())) < 45_000


def test_the_recorded_kpa_are_stored_and_the_derived_mmhg_are_not(tmp_path):
    night = NightSignal(
        start_utc=START,
        zone="UTC",
        interval_s=1,
        spo2_tenths=np.full(10, 950, dtype=np.int16),
        tcco2_hundredths_kpa=np.arange(600, 610, dtype=np.int16),
    )
    path = tmp_path / "night.parquet"
    path.write_bytes(encode_night(night))
    assert pl.read_parquet(path).columns == ["spo2_tenths", "tcco2_hundredths_kpa"]
    assert decode_night(path.read_bytes()).tcco2_unit == PressureUnit.KPA


def test_an_outside_engine_reads_the_same_tenths_with_missing_seconds_as_nulls(tmp_path):
    night = noisy_night()
    path = tmp_path / "night.parquet"
    path.write_bytes(encode_night(night))
    read = duckdb.read_parquet(str(path)).fetchnumpy()
    assert np.ma.getmaskarray(read["spo2_tenths"]).sum() == (night.spo2_tenths == MISSING).sum()
    assert np.array_equal(np.ma.filled(read["spo2_tenths"], MISSING), night.spo2_tenths)
    assert np.array_equal(read["tcco2_tenths_mmhg"], night.tcco2_tenths_mmhg)


def test_every_flipped_bit_is_found_and_the_night_is_never_used(tmp_path):
    files = NightFiles(tmp_path)
    key = files.save(noisy_night(n=600))
    (path,) = tmp_path.rglob("*.parquet")
    sound = path.read_bytes()
    rng = np.random.default_rng(5)
    for bit in rng.choice(8 * len(sound), size=300, replace=False).tolist():
        data = bytearray(sound)
        data[bit // 8] ^= 1 << (bit % 8)
        path.write_bytes(data)
        assert files.state(key) == NightState.DAMAGED
        with pytest.raises(DamagedNight, match="restore it"):
            files.load(key)
    path.write_bytes(sound)
    assert files.state(key) == NightState.SOUND


@pytest.mark.parametrize("length", [0, 1, 4, 100, -1])
def test_a_torn_file_is_a_damaged_night(tmp_path, length):
    files = NightFiles(tmp_path)
    key = files.save(noisy_night(n=600))
    (path,) = tmp_path.rglob("*.parquet")
    path.write_bytes(path.read_bytes()[:length])
    assert files.state(key) == NightState.DAMAGED
    with pytest.raises(DamagedNight):
        files.load(key)


def test_saving_a_night_whose_file_is_damaged_makes_it_whole(tmp_path):
    files = NightFiles(tmp_path)
    key = files.save(noisy_night(n=600))
    (path,) = tmp_path.rglob("*.parquet")
    path.write_bytes(b"torn")
    assert files.save(noisy_night(n=600)) == key
    assert files.load(key) == noisy_night(n=600)


def test_a_night_that_is_not_stored_is_named_as_absent(tmp_path):
    files = NightFiles(tmp_path)
    assert files.state("0" * 64) == NightState.ABSENT
    with pytest.raises(UnknownNight, match="no such file"):
        files.load("0" * 64)


@pytest.mark.parametrize("key", ["", "../../etc/passwd", "0" * 63, "G" * 64, "0" * 64 + "\n"])
def test_only_a_hash_can_name_a_night(tmp_path, key):
    with pytest.raises(Refused, match="hash of a stored night"):
        NightFiles(tmp_path).load(key)


@pytest.mark.parametrize("data", [b"", b"PAR1", b"not parquet at all" * 10])
def test_foreign_bytes_are_no_night(data):
    with pytest.raises(DamagedNight):
        decode_night(data)


def test_a_parquet_file_of_something_else_is_no_night(tmp_path):
    path = tmp_path / "other.parquet"
    pl.DataFrame({"spo2_tenths": [950]}).write_parquet(path)
    with pytest.raises(DamagedNight):
        decode_night(path.read_bytes())


def test_an_original_is_kept_untouched_and_recognised(tmp_path):
    files = NightFiles(tmp_path)
    data = os.urandom(1000)
    assert not files.has_original(sha256(data).hexdigest())
    key = files.save_original(data)
    assert files.has_original(key)
    assert files.load_original(key) == data
    (path,) = (tmp_path / "raw").rglob("*" * 1 + key[2:])
    path.write_bytes(data[:-1])
    with pytest.raises(DamagedNight):
        files.load_original(key)


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_failed_write_leaves_nothing_behind(tmp_path, monkeypatch, call):
    def fail(*_):
        raise OSError(28, "No space left on device")

    files = NightFiles(tmp_path)
    files.save(noisy_night(1, n=600))
    with monkeypatch.context() as patch:
        if call == "fsync":
            patch.setattr(
                os,
                "fsync",
                fail,
            )
        else:
            patch.setattr(Path, "replace", fail)
        with pytest.raises(OSError, match="No space"):
            files.save(noisy_night(2, n=600))
    assert len(files.keys()) == 1
    assert [path for path in tmp_path.rglob("*") if path.name.startswith(".")] == []


def test_a_night_is_synced_before_it_gets_its_name_and_its_folder_after(tmp_path, monkeypatch):
    steps = []
    real_sync, real_replace = os.fsync, Path.replace
    monkeypatch.setattr(os, "fsync", lambda handle: steps.append("sync") or real_sync(handle))
    monkeypatch.setattr(Path, "replace", lambda a, b: steps.append("rename") or real_replace(a, b))
    NightFiles(tmp_path).save(noisy_night(n=600))
    at = steps.index("rename")
    assert steps[at - 1] == "sync"
    assert steps[at + 1 :] == ["sync"]


def test_temporary_files_of_a_killed_process_are_swept_by_age(tmp_path):
    files = NightFiles(tmp_path)
    key = files.save(noisy_night(n=600))
    left = tmp_path / "signals" / key[:2] / ".abc.part"
    left.write_bytes(b"half")
    now = datetime.now(UTC)
    assert files.sweep_temporary(now - timedelta(days=1)) == 0
    assert files.sweep_temporary(now + timedelta(days=1)) == 1
    assert files.keys() == [key]


def results(*keys, version="1", convention="C1"):
    return pl.DataFrame(
        {
            "signal_sha256": list(keys),
            "convention": [convention] * len(keys),
            "code_version": [version] * len(keys),
            "odi3_c1": [12.5] * len(keys),
        }
    )


def test_results_are_one_row_a_key_and_what_is_scored_is_a_set(tmp_path):
    files = NightFiles(tmp_path)
    assert files.scored("C1", "1") == set()
    files.save_results("C1", results("a" * 64, "b" * 64))
    files.save_results("C1", results("b" * 64, "c" * 64))
    files.save_results("C1", results("d" * 64, version="2"))
    assert files.results("C1").height == 4
    assert files.scored("C1", "1") == {"a" * 64, "b" * 64, "c" * 64}
    assert files.scored("C1", "2") == {"d" * 64}
    assert files.scored("M1", "1") == set()


def test_a_damaged_part_is_left_out_so_that_its_nights_are_scored_again(tmp_path):
    files = NightFiles(tmp_path)
    files.save_results("C1", results("a" * 64))
    (path,) = tmp_path.rglob("part-*")
    files.save_results("C1", results("b" * 64))
    path.write_bytes(path.read_bytes()[:-3])
    assert files.scored("C1", "1") == {"b" * 64}
    assert files.damaged_parts("C1") == [path]


def test_results_without_their_key_or_of_another_convention_are_refused(tmp_path):
    files = NightFiles(tmp_path)
    with pytest.raises(Refused, match="code_version"):
        files.save_results("C1", results("a" * 64).drop("code_version"))
    with pytest.raises(Refused, match="convention M1"):
        files.save_results("M1", results("a" * 64))
    with pytest.raises(Refused, match="short key"):
        files.save_results("../x", results("a" * 64))
