"""No file takes the dashboard down: the importer runs in a child with limits; its end is one plain error."""

import sys
from pathlib import Path

import pytest

from hvmon.files import child, nights
from hvmon.files.child import Limits, understand_in_child
from hvmon.files.understood import Questions, UnreadableNight

LONDON = {"zone": "Europe/London"}
TEXT = "Time,SpO2\n" + "".join(f"2026-03-14 22:00:{k:02d},9{k % 8}\n" for k in range(60))


@pytest.fixture
def night_file(tmp_path):
    path = tmp_path / "night.csv"
    path.write_text(TEXT)
    return path


def test_a_child_gives_the_same_night_the_same_questions_and_the_same_refusal(night_file):
    assert understand_in_child(night_file, LONDON) == nights.understand(night_file, LONDON)
    assert understand_in_child(night_file, {}) == nights.understand(night_file, {})
    assert isinstance(understand_in_child(night_file, {}), Questions)
    night_file.write_text("hello")
    with pytest.raises(UnreadableNight) as direct:
        nights.understand(night_file, LONDON)
    with pytest.raises(UnreadableNight) as through_child:
        understand_in_child(night_file, LONDON)
    assert str(direct.value) == str(through_child.value)


@pytest.mark.skipif(sys.platform != "linux", reason="memory and processor limits need Linux")
@pytest.mark.parametrize("limits", [Limits(data_bytes=40_000_000), Limits(address_space_bytes=60_000_000)])
def test_a_child_that_needs_too_much_memory_is_one_plain_error(night_file, limits):
    with pytest.raises(UnreadableNight, match="nothing was stored"):
        understand_in_child(night_file, LONDON, limits)


def test_a_child_that_takes_too_long_is_stopped(night_file):
    with pytest.raises(UnreadableNight, match=r"not read within 0\.01 s"):
        understand_in_child(night_file, LONDON, Limits(clock_s=0.01))


def test_a_child_that_crashes_is_one_plain_error(night_file, monkeypatch):
    crash = [sys.executable, "-c", "import os; os.abort()"]
    run = child._run
    monkeypatch.setattr(child, "_run", lambda _, clock_s: run(crash, clock_s))
    with pytest.raises(UnreadableNight, match=r"ended the reader"):
        understand_in_child(night_file, LONDON)


def test_a_child_that_writes_something_else_is_one_plain_error(night_file, monkeypatch):
    def write_other(command, _):
        Path(command[-1]).write_bytes(b"no pickle")
        return 0

    monkeypatch.setattr(child, "_run", write_other)
    with pytest.raises(UnreadableNight, match="nothing was stored"):
        understand_in_child(night_file, LONDON)


def test_a_file_over_the_limit_never_reaches_a_child(tmp_path, monkeypatch):
    monkeypatch.setattr(child, "_run", lambda *_: pytest.fail("a child was started"))
    path = tmp_path / "large.csv"
    with path.open("wb") as file:
        file.truncate(20_000_001)
    with pytest.raises(UnreadableNight, match="at most 20000000"):
        understand_in_child(path, LONDON)


@pytest.mark.parametrize("start", [b"PK\x03\x04", b"PAR1", b"%PDF-1.7", b"\xd0\xcf\x11\xe0", b"\x1f\x8b\x08"])
def test_archives_spreadsheets_and_parquet_are_refused_by_name(start):
    with pytest.raises(UnreadableNight, match=r"The file is an? "):
        nights.understand_bytes(start + b"\x00" * 100, LONDON)
