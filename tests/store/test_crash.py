"""Nothing acknowledged is lost: killed writers, two writers at once, a locked store, a full disk.

A killed process proves that transactions are whole. It cannot prove durability against a power cut,
because the system keeps what the process wrote.
"""

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from hvmon.store import sqlite_only
from hvmon.store.errors import Busy, Unsaved
from hvmon.store.store import Store
from tests.store import samples
from tests.store.samples import ANNA, BY, weight

resource = pytest.importorskip("resource")
ROOT = Path(__file__).parents[2]
pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")


class Writers:
    """A process that forks one writer at a time."""

    def __init__(self):
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("writer_process.py"))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
            env=os.environ | {"PYTHONPATH": str(ROOT)},
        )

    def start(self, path, notes, name, saves):
        """Start a writer and give its process id."""
        self._process.stdin.write(f"{path}\t{notes}\t{name}\t{saves}\n")
        self._process.stdin.flush()
        return int(self._process.stdout.readline())

    def wait(self):
        """Wait for the writer to end."""
        assert self._process.stdout.readline() == "ended\n"

    def close(self):
        """End the process."""
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.wait(10)


@pytest.fixture(scope="module")
def two_writers():
    """Give two processes that start writers."""
    both = Writers(), Writers()
    yield both
    for writers in both:
        writers.close()


@pytest.fixture
def shared(path):
    """Give the path of a store that knows one person."""
    with Store.open(path) as store:
        samples.with_anna(store)
    return path


def _acknowledged(notes):
    lines = notes.read_text().splitlines(keepends=True) if notes.exists() else []
    for line in lines:
        if line.endswith("\n"):  # a note that was cut off was never read by anybody
            record_id, version, record = line.split(" ", 2)
            yield record_id, int(version), json.loads(record)


def _lost(path, notes):
    """Give the acknowledged saves that are not there with their values, and how many are."""
    with Store.open(path) as store:
        assert store.verify() == ()
        lost, kept = [], 0
        for record_id, version, record in _acknowledged(notes):
            held = store.history(record_id)[version - 1]
            same = held.record.model_dump(mode="json") == record
            lost += [] if same else [record_id]
            kept += same
    return lost, kept


def test_twenty_kills_lose_no_acknowledged_save(shared, tmp_path, two_writers):
    draw, kept = random.Random(20), 0  # noqa: S311 - when to kill is no secret
    writers = two_writers[0]
    for number in range(20):
        notes = tmp_path / f"notes {number}"
        pid = writers.start(shared, notes, f"w{number}", 100_000)
        _wait_for_the_first_save(notes)
        time.sleep(draw.uniform(0, 0.08))
        os.kill(pid, signal.SIGKILL)
        writers.wait()
        lost, here = _lost(shared, notes)
        assert lost == []
        kept += here
    assert kept >= 20


def _wait_for_the_first_save(notes):
    for _ in range(3000):
        if notes.exists() and notes.stat().st_size:
            return
        time.sleep(0.01)
    pytest.fail("the writer never saved")


def test_two_processes_that_write_at_once_lose_nothing(shared, tmp_path, two_writers):
    notes = tmp_path / "notes 1", tmp_path / "notes 2"
    for number, (writers, note) in enumerate(zip(two_writers, notes, strict=True)):
        writers.start(shared, note, f"w{number}", 60)
    for writers, note in zip(two_writers, notes, strict=True):
        writers.wait()
        assert _lost(shared, note) == ([], 140)
    with Store.open(shared) as store:
        assert store.revision() == 2 + 2 * 140
        assert len(store.dossier(ANNA).weight) == 120


@contextmanager
def _locked(path):
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        yield
        other.execute("ROLLBACK")


def test_a_store_that_another_program_holds_says_so_and_saves_later(shared):
    with Store.open(shared, busy_timeout_s=0.1) as store:
        with _locked(shared):
            with pytest.raises(Busy, match="NOT saved, press Save again"):
                store.save(weight(), request_id="r1", **BY)
            with pytest.raises(Busy, match="press Save again"):
                store.put_draft("visit", "Nurse N", "t", {}, now=samples.NOW)
            if sqlite_only.durability(sqlite3.sqlite_version_info)[0] == "DELETE":
                with pytest.raises(Busy, match="Not read, try again"):
                    store.dossier(ANNA)
        assert store.save(weight(), request_id="r1", **BY).added
        assert store.verify() == ()


def test_a_reader_that_holds_on_delays_a_save_but_loses_nothing(shared):
    with Store.open(shared, busy_timeout_s=0.1) as store, Store.open(shared) as other:
        with other._database.read() as connection:
            connection.exec_driver_sql("SELECT count(*) FROM audit_event").scalar_one()
            try:
                store.save(weight(), request_id="r1", **BY)
            except Busy:  # a rollback journal lets no writer past a reader; a write-ahead log does
                assert other.revision() == 2
        store.save(weight(), request_id="r1", **BY)
        assert len(store.dossier(ANNA).weight) == 1
        assert store.verify() == ()


@contextmanager
def _no_file_may_grow(size):
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    old = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, old)


def _fill(store, saved):
    for count in range(2000):
        day = samples.NOW.date().replace(year=1000 + count)
        saved.append(store.save(weight(day=day), request_id=str(count), **BY))


def test_a_disk_that_takes_no_more_says_so_and_keeps_what_was_saved(shared):
    saved = []
    with Store.open(shared) as store:
        with _no_file_may_grow(shared.stat().st_size + 20_000), pytest.raises(Unsaved, match="NOT saved"):
            _fill(store, saved)
        assert store.dossier(ANNA).weight == tuple(each.held for each in saved)
        assert saved
        assert store.save(weight(), request_id="later", **BY).added
        assert store.verify() == ()
