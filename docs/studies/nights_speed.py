"""Speed of the night scoring and of the archive, each figure beside a named alternative of the same run.

    python docs/studies/nights_speed.py                      # everything, a few minutes
    python docs/studies/nights_speed.py --archive-nights 500

Ratios can be trusted where the machine cannot. Times are the best of several repetitions of CPU time for
single nights, and wall time for archives, where starting processes is part of the bargain.
"""

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path

import numpy as np
import psutil

from hvmon.nights import compiled, counting
from hvmon.nights.score import score_night
from hvmon.nights.synthetic import later
from hvmon.records.night_signal import NightSignal
from hvmon.services import archive
from hvmon.store.nights import NightFiles, decode_night, encode_night

ROOT = Path(__file__).parents[2]


def beside(path: str, name: str) -> object:
    """Load a module of the tests: the plain scorer, the noisy night."""
    spec = spec_from_file_location(name, ROOT / path)
    module = module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


def best_ms(work: Callable[[], object], repeats: int) -> float:
    """Best CPU time of a call [ms]."""
    work()
    best = float("inf")
    for _ in range(repeats):
        start = time.process_time()
        work()
        best = min(best, time.process_time() - start)
    return 1e3 * best


def one_night(night: NightSignal) -> None:
    """Time one 9-hour night at 1 Hz."""
    plain = beside("tests/nights/plain_scorer.py", "plain_scorer")
    spo2, pulse = night.spo2_tenths, night.pulse_tenths
    as_lists = spo2.tolist(), pulse.tolist()
    excluded = np.zeros(night.n_seconds, dtype=np.bool_)
    levels, tc, data = (490, 500, 550), night.tcco2_tenths_mmhg, encode_night(night)

    def to_record() -> None:
        score_night(night, engine_name="compiled", with_dips=False)

    def compiled_counts(pulse_or_none: np.ndarray | None) -> None:
        compiled.count_oximetry(spo2, pulse_or_none, with_events=False)

    rows = {
        "plain Python, every window anew (saturation, pulse)": (lambda: plain.oximetry(*as_lists), 1),
        "numpy (saturation, pulse)": (lambda: counting.count_oximetry(spo2, pulse), 30),
        "compiled (saturation, pulse)": (lambda: compiled_counts(pulse), 100),
        "numpy (saturation alone)": (lambda: counting.count_oximetry(spo2, None), 30),
        "compiled (saturation alone)": (lambda: compiled_counts(None), 100),
        "numpy (transcutaneous CO2)": (lambda: counting.count_tc(tc, excluded, levels), 30),
        "compiled (transcutaneous CO2)": (lambda: compiled.count_tc(tc, excluded, levels), 100),
        "whole night to a record, numpy": (lambda: score_night(night), 30),
        "whole night to a record, compiled": (to_record, 60),
        "encode to Parquet": (lambda: encode_night(night), 20),
        "decode from Parquet": (lambda: decode_night(data), 60),
    }
    times = {name: best_ms(*row) for name, row in rows.items()}
    unit = times["compiled (saturation, pulse)"]
    print("\n| one 9 h night, 40 dips an hour | CPU ms | ratio |\n|---|---|---|")
    for name, ms in times.items():
        print(f"| {name} | {ms:.3g} | {ms / unit:.3g} |")
    print(f"\nParquet: {len(data)} bytes")


def filled(folder: Path, n: int) -> NightFiles:
    """Store so many different nights."""
    noisy = beside("tests/store/test_nights.py", "noisy_nights").noisy_night
    files = NightFiles(folder)
    base = [noisy(seed) for seed in range(20)]
    for i in range(n):
        files.save(later(base[i % len(base)], i))
    return files


def emptied(files: NightFiles) -> None:
    """Forget every result."""
    for path in files.root.glob("results/**/*.parquet"):
        path.unlink()


def archives(n: int) -> None:
    """Time an archive: this machine's ways to score it."""
    with tempfile.TemporaryDirectory() as folder:
        files = filled(Path(folder), n)

        def a_file_at_a_time() -> None:
            keys = files.keys()
            for key in keys:
                task = archive.Task(str(files.root), (key,), tuple(archive.ALL_CONVENTIONS), "compiled")
                archive._store(files, archive.score_task(task))

        ways = {
            "a file at a time, a row of results a file (compiled)": a_file_at_a_time,
            "one process, compiled": lambda: archive.rescore(files, engine_name="compiled"),
            "two processes, compiled": lambda: archive.rescore(files, workers=2, engine_name="compiled"),
            "nothing to do": lambda: archive.rescore(files, engine_name="compiled"),
            "one process, numpy": lambda: archive.rescore(files, engine_name="numpy"),
        }
        print(f"\n| archive of {n} nights | nights/s | CPU ms a night | memory, MB |\n|---|---|---|---|")
        for name, way in ways.items():
            if name != "nothing to do":
                emptied(files)
            start, spent = time.perf_counter(), cpu_s()
            way()
            seconds, spent = time.perf_counter() - start, cpu_s() - spent
            memory = psutil.Process(os.getpid()).memory_info().rss / 1e6
            print(f"| {name} | {n / seconds:.0f} | {1e3 * spent / n:.2f} | {memory:.0f} |", flush=True)


def cpu_s() -> float:
    """CPU seconds of this process and of its finished children."""
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


def main() -> None:
    """Print both tables."""
    raw = argparse.RawDescriptionHelpFormatter
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=raw)
    parser.add_argument("--archive-nights", type=int, default=4000)
    asked = parser.parse_args()
    one_night(beside("tests/store/test_nights.py", "noisy_nights").noisy_night())
    archives(asked.archive_nights)


if __name__ == "__main__":
    main()
