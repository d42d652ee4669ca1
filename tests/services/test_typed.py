"""Typed texts are read strictly, by the door of the record."""

from decimal import Decimal

import pytest
from hypothesis import given

from hvmon.records.flat import Kind, columns, flatten, unflatten
from hvmon.records.gas import BloodGas
from hvmon.records.kinds import RECORD_KINDS
from hvmon.records.symptoms import SymptomReport
from hvmon.services import typed
from hvmon.services.clock_text import NotUnderstood, read_clock, read_day, read_moment
from hvmon.vocabulary import NOT_RECORDED
from tests import strategies


@pytest.mark.parametrize("text", ["05032026", "2026-03-05", "05/03/2026", "5.3.2026"])
def test_a_day_may_be_typed_in_digits_alone_or_as_it_is_written(text: str):
    assert read_day(text).isoformat() == "2026-03-05"


@pytest.mark.parametrize("text", ["5032026", "31022026", "today", "20260305x", "", "٠٥٠٣٢٠٢٦"])
def test_other_texts_are_no_day(text: str):
    with pytest.raises(NotUnderstood, match="is no day"):
        read_day(text)


@pytest.mark.parametrize("text", ["930", "2400", "0960", "9:30", "noon"])
def test_other_texts_are_no_clock_time(text: str):
    with pytest.raises(NotUnderstood, match="is no clock time"):
        read_clock(text)


def test_a_time_the_clock_showed_twice_is_asked_with_its_offset():
    with pytest.raises(NotUnderstood, match="happened twice"):
        read_moment("25102026 0130", "Europe/London")
    first = read_moment("2026-10-25T01:30+01:00", "Europe/London")
    second = read_moment("2026-10-25T01:30+00:00", "Europe/London")
    assert (second - first).total_seconds() == 3600


@pytest.mark.parametrize("text", ["1,234.5", "7e1", "+6.4", "6.4 kPa", "６.４", "nan", "64x"])
def test_a_text_that_is_no_plain_number_is_refused(text: str):
    with pytest.raises(NotUnderstood):
        typed.read(BloodGas, "ph", text, zone="UTC")


def test_a_comma_is_a_decimal_mark():
    assert typed.read(BloodGas, "ph", "7,36", zone="UTC").value == Decimal("7.36")


def test_n_says_not_recorded_only_where_that_is_a_value():
    assert typed.read(BloodGas, "state_minutes_in_state", "n", zone="UTC").value == NOT_RECORDED
    with pytest.raises(NotUnderstood):
        typed.read(BloodGas, "ph", "n", zone="UTC")


def test_a_rating_beyond_ten_names_what_is_accepted():
    with pytest.raises(NotUnderstood, match="accepted is 0 to 10, or n for not recorded"):
        typed.read(SymptomReport, "breathlessness", "11", zone="UTC")


@given(strategies.any_records())
def test_every_stored_record_typed_again_as_shown_is_the_same_record(record):
    flat = flatten(record)
    zone = str(flat.get("zone") or "UTC")
    kept = {c.name for c in columns(type(record)) if c.kind in {Kind.LIST, Kind.TEXT}}
    texts = {name: typed.as_typed(value, zone) for name, value in flat.items() if name not in kept}
    fixed = {name: value for name, value in flat.items() if name in kept and value is not None}
    read = typed.read_record(type(record), texts, zone=zone, fixed=fixed)
    assert (read.refused, read.missing) == ({}, ())
    assert read.record == unflatten(type(record), flat)


UNBOUNDED = {"expected_paco2_kpa", "expected_low_kpa", "expected_high_kpa", "limit_value"}
"""Numbers the records themselves leave open."""


def test_every_typed_column_of_every_record_says_what_it_accepts():
    for kind in RECORD_KINDS:
        for column in (
            each for each in columns(kind.model) if each.kind in {Kind.DECIMAL, Kind.DATE, Kind.INSTANT}
        ):
            assert typed.hint(kind.model, column.name, "kPa") or column.name in UNBOUNDED, column.name
