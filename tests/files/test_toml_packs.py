"""Errors of a service's TOML name the table and the key."""

import contextlib
import datetime as dt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hvmon.files.toml_packs import (
    BadToml,
    date_at,
    flag_at,
    number_at,
    only_keys,
    parse_toml,
    read_toml,
    table_at,
    text_at,
    texts_at,
)

PACK = b"""\xef\xbb\xbf[rules.GAS-2]
limit = 6.5
in_use = true
reason = "agreed at the team's meeting"
from = 2026-03-01
groups = ["COPD"]
"""


def test_a_pack_is_read_with_its_types():
    rule = table_at(parse_toml(PACK, "pack.toml"), "rules", "GAS-2")
    assert number_at(rule, "limit", "rules.GAS-2") == 6.5
    assert flag_at(rule, "in_use", "rules.GAS-2") is True
    assert text_at(rule, "reason", "rules.GAS-2") == "agreed at the team's meeting"
    assert date_at(rule, "from", "rules.GAS-2") == dt.date(2026, 3, 1)
    assert texts_at(rule, "groups", "rules.GAS-2") == ("COPD",)
    assert number_at(rule, "absent", "rules.GAS-2") is None


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ('limit = "6.5"', number_at),
        ("limit = true", number_at),
        ("limit = nan", number_at),
        ("limit = inf", number_at),
        ("limit = 1", flag_at),
        ("limit = 1", text_at),
        ('limit = " "', text_at),
        ("limit = [1]", texts_at),
        ("limit = 2026-03-01T10:00:00", date_at),
    ],
)
def test_a_value_of_the_wrong_kind_is_refused_by_table_and_key(text, read):
    table = table_at(parse_toml(f"[rules.GAS-2]\n{text}".encode(), "pack.toml"), "rules", "GAS-2")
    with pytest.raises(BadToml, match=r"pack.toml, \[rules\.GAS-2\], key 'limit': .* accepted is"):
        read(table, "limit", "rules.GAS-2", name="pack.toml")


def test_an_unknown_key_and_a_word_outside_the_set_are_refused():
    with pytest.raises(BadToml, match=r"\[rules\.X\], key 'limt': is not known; accepted are limit"):
        only_keys({"limt": 1}, ("limit",), "rules.X")
    with pytest.raises(BadToml, match="'purple' was given, accepted is one of 'red', 'blue'"):
        text_at({"colour": "purple"}, "colour", "x", ("red", "blue"))


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"[rules\n", "line 1"),
        (b"a = 1\na = 2\n", "overwrite"),
        (b"a = 'caf\xe9'\n", "line 1: is no UTF-8"),
        (b"a = " + b"[" * 5000, "deeply nested"),
        (b"#" * 1_000_001, "larger than"),
    ],
)
def test_a_file_that_is_no_toml_is_refused_by_name(content, says):
    with pytest.raises(BadToml, match=r"pack\.toml") as caught:
        parse_toml(content, "pack.toml")
    assert says in str(caught.value)


def test_a_missing_file_and_a_value_in_place_of_a_table_are_named(tmp_path):
    with pytest.raises(BadToml, match=r"absent\.toml: cannot be opened"):
        read_toml(tmp_path / "absent.toml")
    with pytest.raises(BadToml, match=r"\[rules\]: 3 was given, accepted is a table"):
        table_at({"rules": 3}, "rules", "GAS-2")


@given(st.binary(max_size=200))
def test_any_bytes_give_a_mapping_or_a_named_error(content):
    with contextlib.suppress(BadToml):
        assert isinstance(parse_toml(content, "pack.toml"), dict)
