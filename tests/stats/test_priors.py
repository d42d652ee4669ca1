"""The table of assumptions: complete, sourced, overridable by name."""

from pathlib import Path

import pytest

from hvmon.sources import BY_KEY
from hvmon.stats.priors import Priors, change_key, default_priors
from hvmon.vocabulary import ChangeKind


def test_every_row_names_a_known_source_a_basis_and_a_mark():
    for row in default_priors():
        assert row.source in BY_KEY
        assert row.basis
        assert row.meaning
        assert row.mark


@pytest.mark.parametrize("kind", list(ChangeKind))
def test_every_kind_of_settings_change_has_a_prior(kind):
    table = default_priors()
    assert table.value(f"{change_key(kind)}.sd") > 0


def test_overriding_flat_and_nested_names_gives_the_same_table_and_leaves_the_default_alone():
    table = default_priors()
    flat, nested = table.override({"noise.arterial": 0.04}), table.override({"noise": {"arterial": 0.04}})
    assert flat.digest() == nested.digest() != table.digest()
    assert table.value("noise.arterial") == 0.03
    assert flat.rows["noise.arterial"].basis == "set by this service"


def test_an_override_may_carry_its_own_basis():
    table = default_priors().override(
        {"noise.venous": {"value": 0.1, "basis": "own pairs", "before": 0.09, "n": 61}}
    )
    assert table.rows["noise.venous"].basis == "own pairs"


@pytest.mark.parametrize(
    ("mapping", "said"),
    [
        ({"noise.arterail": 0.04}, "no row 'noise.arterail'"),
        ({"noise.arterial": "small"}, "not a number"),
        ({"noise.arterial": float("nan")}, "not a number"),
        ({"noise.arterial": -0.1}, "must be above 0"),
        ({"noise.arterial": True}, "not a number"),
        ({"noise.arterial": [0.1, 0.2]}, "takes one number"),
        ({"gross.share": 1.5}, "must be below 1"),
        ({"multiplier": [1.0, 2.0]}, "as many weights as values"),
        ({"noise.arterial": {"value": 0.1, "sauce": "x"}}, "unknown field sauce"),
    ],
)
def test_a_bad_override_is_refused_naming_the_row(mapping, said):
    with pytest.raises(ValueError, match=said):
        default_priors().override(mapping)


def test_the_page_shows_every_row_as_it_is_in_the_table():
    page = (Path(__file__).parents[2] / "docs" / "trend.md").read_text(encoding="utf-8")
    for row in default_priors():
        value = " / ".join(f"{number:.6g}" for number in row.numbers())
        assert (
            f"| `{row.key}` | {value} | {row.unit} | {row.shown_kpa()} | {row.meaning} | {row.basis} |"
            in page
        )


def test_a_grid_is_not_one_number():
    with pytest.raises(TypeError, match="grid of 4"):
        default_priors().value("slope.sd")
    assert isinstance(default_priors(), Priors)


def test_log_rows_are_shown_in_kpa_at_the_reference_level():
    assert default_priors().rows["offset.venous.mean"].shown_kpa() == "+0.55"
    assert not default_priors().rows["day.days"].shown_kpa()
