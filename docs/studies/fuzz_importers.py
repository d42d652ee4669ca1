"""Coverage-guided fuzzing of every reader of foreign files, with atheris (Linux, extra ``fuzz``).

    python docs/studies/fuzz_importers.py TARGET [SECONDS] [CORPUS_FOLDER]

TARGET is one of: edf-header, edf-body, night-csv, table-csv, toml, cells.
The contract: a value, questions, or the reader's own named error, the same for the same bytes, within
2 s. Anything else stops the run and leaves a crash file; it becomes a named file under
tests/files/regressions/ and stays in the test suite.
"""

import contextlib
import datetime as dt
import sys
import tempfile
import time
import warnings
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["hvmon.files", "hvmon.records", "edfio", "csv"]):
    import numpy as np

    from hvmon.files import cells, nights
    from hvmon.files.night_write import to_edf
    from hvmon.files.tables import read_table_bytes
    from hvmon.files.toml_packs import BadToml, parse_toml
    from hvmon.files.understood import Questions, Understood, UnreadableNight
    from hvmon.records.flat import columns
    from hvmon.records.kinds import RECORD_KINDS
    from hvmon.records.night_signal import MISSING, Annotation, NightSignal

warnings.simplefilter("error", RuntimeWarning)  # a silent overflow of numpy is a break of the contract
LONGEST_S = 2.0
ANSWERS = (
    {},
    {"zone": "Europe/London"},
    {"zone": "Europe/London", "date_format": "day first", "start_date": "2026-10-24", "unit.tcco2": "mmHg"},
    {"zone": "Australia/Lord_Howe", "start_date": "2026-03-28", "long_recording": "yes, it is one recording"},
)


def small_night() -> NightSignal:
    """Give a night of two minutes with every channel and some marks."""
    spo2 = np.full(120, 940, dtype=np.int16)
    spo2[10:20] = MISSING
    start = dt.datetime(2026, 10, 25, 0, 30, tzinfo=dt.UTC)
    marks = (Annotation(3.5, None, "ventilator on"), Annotation(60.0, 5.0, "note: coughs"))
    return NightSignal(start, "Europe/London", 1, spo2, spo2 - 300, spo2 - 500, annotations=marks)


EDF = to_edf(small_night())
HEADER_BYTES = 256 * 5


def night_contract(content: bytes) -> None:
    """Hold the contract of `hvmon.files.nights` for one input."""
    answers = ANSWERS[len(content) % len(ANSWERS)]
    begun = time.perf_counter()
    outcomes = []
    for _ in range(2):
        try:
            outcome = nights.understand_bytes(content, answers)
            assert isinstance(outcome, Understood | Questions)
            outcomes.append(outcome)
        except UnreadableNight as error:
            assert len(str(error)) > 20
            outcomes.append(str(error))
    assert outcomes[0] == outcomes[1], "the same bytes gave two answers"
    assert time.perf_counter() - begun < 2 * LONGEST_S, "too slow"


def edf_header(data: bytes) -> None:
    """Overwrite parts of a good header: pairs of place and eight bytes."""
    content = bytearray(EDF)
    for k in range(0, len(data) - 9, 10):
        place = int.from_bytes(data[k : k + 2], "big") % HEADER_BYTES
        content[place : place + 8] = data[k + 2 : k + 10]
    night_contract(bytes(content[: len(EDF)]))


def edf_body(data: bytes) -> None:
    """Put any bytes behind a good header."""
    night_contract(EDF[:HEADER_BYTES] + data)


def night_csv(data: bytes) -> None:
    """Read any bytes, and the same below a good header."""
    night_contract(data)
    night_contract(b"Time,SpO2,Pulse,tcCO2,Event\n2026-10-25 00:30:00,94,60,45,\n" + data)


def table_csv(data: bytes) -> None:
    """Read any bytes as a table, bare and below a good header."""
    kind = RECORD_KINDS[len(data) % len(RECORD_KINDS)]
    header = ",".join(column.name for column in columns(kind.model)).encode()
    for content in (data, header + b"\n" + data, b"# note\n" + header + b"\n" + data):
        begun = time.perf_counter()
        report = read_table_bytes(content, kind)
        assert report.good or report.problems
        assert all(problem.accepted and problem.advice for problem in report.problems)
        assert read_table_bytes(content, kind) == report
        assert time.perf_counter() - begun < 2 * LONGEST_S, "too slow"


def toml(data: bytes) -> None:
    """Read any bytes as TOML."""
    with contextlib.suppress(BadToml):
        parse_toml(data, "pack.toml")


READERS = tuple(
    cells.reader(column, guarded=guarded)
    for kind in RECORD_KINDS
    for column in columns(kind.model)
    for guarded in (True, False)
)


def one_cell(data: bytes) -> None:
    """Read any text as a cell of each kind of column."""
    text = data.decode("utf-8", "replace")
    reader = READERS[len(data) % len(READERS)]
    with contextlib.suppress(cells.RefusedCell):
        reader(text)
    assert cells.unguard(cells.guard(text)) == text or not text.startswith("'")


TARGETS = {
    "edf-header": edf_header,
    "edf-body": edf_body,
    "night-csv": night_csv,
    "table-csv": table_csv,
    "toml": toml,
    "cells": one_cell,
}
SEEDS = {
    "edf-header": [b"\x00\xecX       9"],
    "edf-body": [EDF[HEADER_BYTES:]],
    "night-csv": [
        b"Time;SpO2;Pulse\n25.10.2026 01:59:59;97,5;60\n25.10.2026 01:00:00;97,5;61\n",
        b'"Date","Time","SpO2 (%)","tcCO2 (kPa)"\n"25/10/2026","11:59:59 PM","94","6.1"\n',
        "Zeit;SpO2;Puls\n22:00:00;94;60\n22:00:01;127;0\n".encode("utf-16"),
    ],
    "table-csv": [b"person-0001,2026-03-01,80.5,no,\n", b'"person-0001","2026-03-01T10:00Z","[]"\n'],
    "toml": [b"[rules.GAS-2]\nlimit = 6.5\n"],
    "cells": [b"6.8", b"2026-03-01T10:00+01:00", b"not recorded", b"[]"],
}


def main() -> None:
    """Run one target for some seconds over its seeds."""
    name = sys.argv[1]
    seconds = sys.argv[2] if len(sys.argv) > 2 else "120"
    corpus = Path(sys.argv[3]) if len(sys.argv) > 3 else Path(tempfile.mkdtemp(prefix=f"fuzz-{name}-"))
    corpus.mkdir(parents=True, exist_ok=True)
    for k, seed in enumerate(SEEDS[name]):
        (corpus / f"seed-{k}").write_bytes(seed)
    arguments = [sys.argv[0], f"-max_total_time={seconds}", "-timeout=5", "-rss_limit_mb=1500"]
    arguments.append("-max_len=4096")
    atheris.Setup([*arguments, f"-artifact_prefix={corpus}/crash-", str(corpus)], TARGETS[name])
    atheris.Fuzz()


if __name__ == "__main__":
    main()
