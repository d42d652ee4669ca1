"""Entry limits: impossible is refused, unlikely is asked, everything else passes; slips are named."""

from decimal import Decimal
from typing import Annotated

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from hvmon.records.base import Pressure
from hvmon.records.limits import ENTRY_LIMITS, Verdict, entry_limit, pressure_within, refusal, verdict, within
from hvmon.units import PressureUnit

PUBLISHED = [
    ("ph", "6.5", "8.0", "7.20", "7.55"),
    ("paco2_kpa", "0.9", "50", "3.5", "14"),
    ("paco2_mmhg", "7", "375", "26", "105"),
    ("pao2_kpa", "1.5", "90", "6", "20"),
    ("hco3_mmol_l", "2", "70", "18", "45"),
    ("be_mmol_l", "-40", "50", "-5", "18"),
    ("spo2_pct", "20", "100", "80", "100"),
    ("so2_pct", "20", "100", "80", "100"),
    ("fio2", "0.209", "1.0", "0.209", "0.6"),
    ("oxygen_l_min", "0", "15", "0", "6"),
    ("rate_min", "4", "60", "8", "35"),
    ("tidal_volume_ml", "50", "2500", "200", "1000"),
    ("ipap_cmh2o", "4", "50", "8", "35"),
    ("epap_cmh2o", "0", "25", "3", "14"),
    ("inspiratory_time_s", "0.3", "3", "0.6", "1.8"),
    ("leak_l_min", "0", "200", "0", "60"),
    ("usage_h", "0", "24", "0", "20"),
    ("height_cm", "40", "230", "130", "205"),
    ("ulna_cm", "10", "40", "18", "34"),
    ("weight_kg", "2", "350", "25", "200"),
    ("ptcco2_kpa", "1", "30", "3.5", "14"),
]
"""Hard and ask limits of each field; survived extremes: pH 6.60 and 375 mmHg (Chest 1992;102:1742)."""

STEP = Decimal("0.0001")


@pytest.mark.parametrize(("field", "low", "high", "ask_low", "ask_high"), PUBLISHED)
def test_each_field_has_its_limits(field, low, high, ask_low, ask_high) -> None:
    limit = entry_limit(field)
    assert [limit.low, limit.high, limit.ask_low, limit.ask_high] == [
        Decimal(text) for text in (low, high, ask_low, ask_high)
    ]


@pytest.mark.parametrize("limit", ENTRY_LIMITS, ids=lambda limit: limit.field)
def test_the_limits_themselves_are_accepted_and_the_next_value_is_not(limit) -> None:
    assert limit.low <= limit.ask_low <= limit.ask_high <= limit.high
    assert limit.verdict(limit.low - STEP) == Verdict.REJECT
    assert limit.verdict(limit.high + STEP) == Verdict.REJECT
    assert limit.verdict(limit.ask_low) == limit.verdict(limit.ask_high) == Verdict.OK
    for edge, inside, step in ((limit.low, limit.ask_low, -STEP), (limit.high, limit.ask_high, STEP)):
        assert limit.verdict(edge) == (Verdict.OK if edge == inside else Verdict.CONFIRM)
        if edge != inside:
            assert limit.verdict(inside + step) == Verdict.CONFIRM


@pytest.mark.parametrize("limit", ENTRY_LIMITS, ids=lambda limit: limit.field)
def test_every_row_has_words_a_unit_or_none_and_a_reason(limit) -> None:
    assert limit.words
    assert limit.why
    assert limit.unit or limit.field == "ph"


@pytest.mark.parametrize("value", ["NaN", "Infinity", "-Infinity"])
@pytest.mark.parametrize("limit", ENTRY_LIMITS, ids=lambda limit: limit.field)
def test_nothing_that_is_no_number_passes(limit, value) -> None:
    assert limit.verdict(Decimal(value)) == Verdict.REJECT


def test_field_names_are_unique() -> None:
    names = [limit.field for limit in ENTRY_LIMITS]
    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("field", "slipped"),
    [
        ("ph", "73.6"),
        ("ph", "42"),  # hydrogen ion in nmol/L
        ("spo2_pct", "0.92"),
        ("so2_pct", "0.95"),
        ("fio2", "21"),
        ("hb_g_dl", "135"),
        ("height_cm", "1.72"),
        ("paco2_kpa", "55"),
        ("paco2_mmhg", "6.5"),
        ("fvc_l", "2100"),
    ],
)
def test_a_common_slip_is_refused_with_its_name(field, slipped) -> None:
    limit = entry_limit(field)
    assert limit.verdict(Decimal(slipped)) == Verdict.REJECT
    words = refusal(limit, Decimal(slipped))
    for part in (slipped, limit.accepted, limit.slip):
        assert part in words


def test_no_hard_limit_catches_every_mmhg_in_a_kpa_field_but_the_ask_range_does() -> None:
    """47 % of such slips lie below the survived 50 kPa; all lie above the ask limit of 14 kPa."""
    slips = [Decimal(value) for value in range(26, 106)]
    judged = [entry_limit("paco2_kpa").verdict(value) for value in slips]
    assert Verdict.OK not in judged
    assert Verdict.CONFIRM in judged
    assert Verdict.REJECT in judged


@given(st.sampled_from(ENTRY_LIMITS), st.decimals(-1000, 3000, places=2))
def test_the_validator_refuses_exactly_what_the_table_refuses(limit, value) -> None:
    check = within(limit.field).func
    if limit.verdict(value) == Verdict.REJECT:
        with pytest.raises(ValueError, match="is not possible"):
            check(value)
    else:
        assert check(value) is value


@pytest.mark.parametrize(
    ("value", "unit", "refused"),
    [
        ("50", "kPa", False),
        ("50.1", "kPa", True),
        ("375", "mmHg", False),
        ("376", "mmHg", True),
        ("6.9", "mmHg", True),
    ],
)
def test_a_pressure_is_judged_by_the_row_of_its_own_unit(value, unit, refused) -> None:
    check = pressure_within("paco2").func
    pressure = Pressure(value=Decimal(value), unit=PressureUnit(unit))
    if refused:
        with pytest.raises(ValueError, match=unit):
            check(pressure)
    else:
        assert check(pressure) is pressure


def test_a_float_is_judged_as_it_is_written() -> None:
    assert verdict("ph", 7.2) == Verdict.OK
    assert verdict("ph", 7.19) == Verdict.CONFIRM


def test_an_unknown_field_is_an_error_of_the_programmer() -> None:
    with pytest.raises(KeyError):
        entry_limit("shoe_size")


def test_a_refusal_reaches_the_reader_through_the_record() -> None:
    adapter = TypeAdapter(Annotated[Decimal, within("fio2")])
    with pytest.raises(ValidationError, match="percent \\(21\\) typed as a fraction"):
        adapter.validate_python(Decimal(21))
