"""Numbers as people type them: nothing is guessed."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hvmon.records.number_text import BadNumber, parse_decimal, parse_whole


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("6.8", "6.8"),
        ("6,8", "6.8"),
        (" 6.80\u00a0", "6.80"),
        ("-3", "-3"),
        ("\u22122.5", "-2.5"),
        ("00", "00"),
    ],
)
def test_plain_numbers_are_read_as_typed(text: str, value: str) -> None:
    assert str(parse_decimal(text)) == str(Decimal(value))


@pytest.mark.parametrize(
    "text",
    [
        "",
        "6.8.1",
        "1,234.5",
        "7e1",
        "0x10",
        "1_0",
        "+6.8",
        "\uff16.8",
        "64,x",
        "NaN",
        "Infinity",
        "6 8",
        ".5",
        "6.",
        "--2",
    ],
)
def test_anything_else_is_refused_with_what_was_given(text: str) -> None:
    with pytest.raises(BadNumber, match="is no plain number"):
        parse_decimal(text)


def test_a_comma_is_refused_where_it_separates_cells() -> None:
    with pytest.raises(BadNumber, match="with a point"):
        parse_decimal("6,8", comma=False)


def test_a_whole_number_has_no_decimals() -> None:
    assert parse_whole("12") == 12
    with pytest.raises(BadNumber, match="no whole number"):
        parse_whole("3.0")


@given(
    st.decimals(allow_nan=False, allow_infinity=False, min_value=-9_999_999, max_value=9_999_999, places=3)
)
def test_what_is_printed_is_read_back_digit_for_digit(value: Decimal) -> None:
    assert str(parse_decimal(str(value))) == str(value)
