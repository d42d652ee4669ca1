"""Any bytes give a night, questions, or one named error; inputs that once broke this are kept as files.

docs/studies/fuzz_importers.py drives the same contract by coverage.
"""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from hvmon.files import nights
from hvmon.files.night_write import to_edf
from hvmon.files.tables import read_table_bytes
from hvmon.files.understood import Questions, Understood, UnreadableNight
from hvmon.records.flat import columns
from hvmon.records.kinds import RECORD_KINDS
from hvmon.records.night_signal import MISSING, Annotation, NightSignal

REGRESSIONS = Path(__file__).parent / "regressions"
ANSWERS = (
    {},
    {"zone": "Europe/London"},
    {"zone": "Europe/London", "date_format": "day first", "start_date": "2026-10-24", "unit.tcco2": "mmHg"},
    {"zone": "Australia/Lord_Howe", "start_date": "2026-04-04", "column.time": "column 1"},
)
THOROUGH = settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def small_night():
    spo2 = np.full(60, 940, dtype=np.int16)
    spo2[5:9] = MISSING
    start = dt.datetime(2026, 10, 25, 0, 30, tzinfo=dt.UTC)
    marks = (Annotation(3.5, None, "ventilator on"), Annotation(20.0, 5.0, "note: coughs"))
    return NightSignal(start, "Europe/London", 1, spo2, spo2 - 300, spo2 - 500, annotations=marks)


EDF = to_edf(small_night())
HEADER_BYTES = 256 * 5


def outcome(content, answers):
    """Give what the importer answers; any error but its own fails the test."""
    try:
        found = nights.understand_bytes(content, answers)
    except UnreadableNight as error:
        return str(error)
    assert isinstance(found, Understood | Questions)
    return found


def hold(content):
    for answers in ANSWERS:
        first = outcome(content, answers)
        assert first == outcome(content, answers)
        assert not isinstance(first, str) or len(first) > 20


patches = st.lists(
    st.tuples(
        st.integers(0, HEADER_BYTES - 1),
        st.binary(min_size=1, max_size=8)
        | st.text("0123456789.,-+eE nX", min_size=1, max_size=8).map(str.encode),
    ),
    min_size=1,
    max_size=6,
)


def patched(content, changes):
    content = bytearray(content)
    for place, new in changes:
        content[place : place + len(new)] = new
    return bytes(content)


@THOROUGH
@given(patches)
def test_any_damage_to_an_edf_header_is_a_night_questions_or_a_named_error(changes):
    hold(patched(EDF, changes))


@THOROUGH
@given(
    st.lists(
        st.tuples(st.integers(HEADER_BYTES, len(EDF) - 1), st.binary(min_size=1, max_size=20)), max_size=6
    )
)
def test_any_damage_to_an_edf_body_is_a_night_questions_or_a_named_error(changes):
    hold(patched(EDF, changes))


@THOROUGH
@given(st.integers(0, len(EDF)), st.binary(max_size=60))
def test_an_edf_file_cut_anywhere_or_followed_by_anything_holds_the_contract(cut, tail):
    hold(EDF[:cut] + tail)


CELLS = (
    '2026-10-25 01:59:59,2026-10-25 01:00:00,03/04/2026 22:00:00,22:00:01,00:00:00,94,6.1,0,127,255,-,,",'
    "NA,1e9,11:59 PM,2026-03-29 01:30:00,9999-12-31 23:59:59,2026-10-25T00:30:00+00:00,31.12.99 23:59,"
    "25.10.2061 1:00"
)
cells = st.sampled_from([*CELLS.split(","), "97,5"]) | st.text(max_size=8)
headers = st.sampled_from(
    ["Time", "Date", "SpO2", "SpO2 (%)", "Pulse", "tcCO2 (kPa)", "tcCO2", "CO2", "Event", "x"]
)


@THOROUGH
@given(
    st.lists(headers, min_size=1, max_size=5),
    st.lists(st.lists(cells, min_size=1, max_size=5), max_size=6),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["utf-8", "utf-16", "utf-8-sig"]),
)
def test_any_cells_as_a_night_csv_hold_the_contract(header, rows, separator, encoding):
    lines = [separator.join(line) for line in [header, *rows]]
    hold("\n".join(lines).encode(encoding, "replace"))


@THOROUGH
@given(st.binary(max_size=300))
@example(b"0       ")
@example(b"0       " + b" " * 248)
@example(b"\xff\xfe")
@example(b"\xff\xfeT")
def test_any_bytes_hold_the_contract(content):
    hold(content)


@pytest.mark.parametrize("path", sorted(REGRESSIONS.glob("*.night")), ids=lambda path: path.stem)
def test_a_night_that_once_broke_an_importer_holds_the_contract(path):
    hold(path.read_bytes())


@pytest.mark.parametrize("path", sorted(REGRESSIONS.glob("*.table")), ids=lambda path: path.stem)
@pytest.mark.parametrize("kind", RECORD_KINDS, ids=lambda kind: kind.table)
def test_a_table_that_once_broke_the_reader_holds_the_contract(path, kind):
    header = ",".join(column.name for column in columns(kind.model)).encode()
    for content in (path.read_bytes(), header + b"\n" + path.read_bytes()):
        report = read_table_bytes(content, kind)
        assert report.good or report.problems
        assert all(problem.accepted and problem.advice for problem in report.problems)
