"""A value is compared as typed; no conversion ever changes a verdict."""

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hvmon.records.base import Pressure
from hvmon.records.flat import flatten, unflatten
from hvmon.records.gas import BloodGas
from hvmon.rules.case import Case
from hvmon.rules.catalogue import RULES, rule
from hvmon.rules.compare import Amount, against, converted, difference, holds, percent_fall
from hvmon.rules.judge import judged
from hvmon.rules.rule import Comparator, Limit
from hvmon.units import PressureUnit

LIMITS = sorted(
    {limit for each in RULES for limit in each.limits if limit.unit in set(PressureUnit)},
    key=lambda limit: (limit.unit, limit.value, limit.comparator, limit.source, limit.name),
)
KPA = st.decimals("1", "20", places=2).map(lambda value: Amount(value, "kPa"))
MMHG = st.decimals("7", "150", places=1).map(lambda value: Amount(value, "mmHg"))
READINGS = st.one_of(KPA, MMHG)
TO = {"kPa": "mmHg", "mmHg": "kPa"}
FACTOR = Decimal(760) / Decimal("101.325")


@given(READINGS, st.sampled_from(LIMITS))
def test_in_its_own_unit_a_value_is_compared_exactly(amount, limit) -> None:
    if amount.unit == limit.unit:
        outcome = against(amount, limit)
        assert outcome.holds == holds(amount.value, limit.comparator, limit.value)
        assert not outcome.converted
        assert outcome.at_threshold == (amount.value == limit.value)


@given(READINGS, st.sampled_from(LIMITS))
def test_writing_a_value_finely_in_the_other_unit_never_changes_the_verdict(amount, limit) -> None:
    """Native value, and the same value written to six decimals in the other unit, get one verdict."""
    if amount.unit != limit.unit:
        return
    fine = Amount(converted(amount.value, amount.unit, TO[amount.unit], 6), TO[amount.unit])
    assert against(fine, limit).holds == against(amount, limit).holds
    assert against(fine, limit).at_threshold == against(amount, limit).at_threshold


@given(READINGS, st.sampled_from(LIMITS))
def test_across_units_only_a_value_within_its_own_rounding_of_the_limit_stands_at_the_threshold(
    amount, limit
) -> None:
    if amount.unit == limit.unit:
        return
    exact = limit.value * FACTOR if limit.unit == "kPa" else limit.value / FACTOR
    half = Decimal(5).scaleb(-amount.decimals - 1)
    outcome = against(amount, limit)
    if abs(amount.value - exact) > half:
        assert outcome.holds == holds(amount.value, limit.comparator, exact)
        assert not outcome.at_threshold
    else:
        assert outcome.at_threshold
        assert outcome.holds == (limit.comparator in {Comparator.AT_LEAST, Comparator.AT_MOST})


@given(st.decimals("1", "20", places=1), st.sampled_from(["kPa", "mmHg"]))
def test_storing_and_exporting_a_gas_never_changes_what_is_found(make, value, unit) -> None:
    shown = value if unit == "kPa" else (value * 7).quantize(Decimal("0.1"))
    gas = make.gas(str(shown), unit)
    again = unflatten(BloodGas, flatten(gas))
    for rule_id in ("GAS-1", "GAS-2", "GAS-3", "GAS-6", "TGT-1"):
        before, after = (
            judged(Case(make.dossier(one), date(2026, 3, 10)), rule(rule_id)).sentence for one in (gas, again)
        )
        assert before == after


def test_six_kpa_is_neither_above_six_kpa_nor_above_45_mmhg_and_is_marked() -> None:
    """45 mmHg is 5.9995 kPa: converting the reading (45.004 mmHg) would flip the verdict."""
    for rule_id in ("GAS-1", "GAS-3"):
        outcome = against(Amount(Decimal("6.0"), "kPa"), rule(rule_id).limit)
        assert (outcome.holds, outcome.at_threshold) == (False, True)


def test_45_mmhg_reaches_an_inclusive_45_mmhg_but_not_a_strict_one() -> None:
    reading = Amount(Decimal(45), "mmHg")
    assert against(reading, rule("GAS-2").limit).holds
    assert not against(reading, rule("GAS-1").limit).holds


PRINTED_PAIRS = [("6.5", "49"), ("6.7", "50"), ("7.3", "55")]


@pytest.mark.parametrize(("kpa", "mmhg"), PRINTED_PAIRS)
@pytest.mark.parametrize("comparator", list(Comparator))
def test_a_printed_pair_is_one_limit_in_both_units(kpa, mmhg, comparator) -> None:
    """Readings at the published pairs flip when converted; here both stand at the threshold."""
    for value, unit, other in ((kpa, "kPa", mmhg), (mmhg, "mmHg", kpa)):
        limit = Limit(Decimal(value), unit, comparator, "Project", "pair")
        for given_value, given_unit in ((value, unit), (other, TO[unit])):
            outcome = against(Amount(Decimal(given_value), given_unit), limit)
            assert outcome.at_threshold
            assert outcome.holds == (comparator in {Comparator.AT_LEAST, Comparator.AT_MOST})


def test_a_printed_pair_that_does_not_convert_back_is_one_limit_only_in_its_native_unit() -> None:
    """7.0 kPa is 52.5 mmHg, printed as 53 (Murphy2017); 53 mmHg is 7.07 kPa."""
    limit = rule("STA-2").limit
    assert (limit.value, limit.unit) == (Decimal("7.0"), "kPa")
    outcomes = [against(Amount(Decimal(value), "mmHg"), limit) for value in ("52", "53", "54")]
    assert [outcome.holds for outcome in outcomes] == [False, False, True]
    assert outcomes[1].at_threshold


def test_a_kpa_value_typed_without_decimals_is_read_as_one_with_one() -> None:
    """7 kPa is 52.5 mmHg; rounding the limit of 50 mmHg to whole kPa would hide it."""
    assert against(Amount(Decimal(7), "kPa"), Limit(Decimal(50), "mmHg", Comparator.ABOVE, "x", "y")).holds


def test_units_that_cannot_be_compared_are_refused() -> None:
    with pytest.raises(ValueError, match="cannot be held against"):
        against(Amount(Decimal(7), "kPa"), Limit(Decimal(27), "mmol/L", Comparator.ABOVE, "x", "y"))


def pressure(value: str, unit: str) -> Pressure:
    return Pressure(value=Decimal(value), unit=PressureUnit(unit))


def test_a_fall_of_exactly_20_percent_is_20_percent() -> None:
    """6.5 to 5.2 kPa falls short of 20 percent in floating point."""
    assert (6.5 - 5.2) / 6.5 < 0.2
    assert percent_fall(pressure("6.5", "kPa"), pressure("5.2", "kPa")) == 20
    assert percent_fall(pressure("6.5", "kPa"), pressure("5.21", "kPa")) < 20


def test_there_is_no_percent_fall_across_units() -> None:
    with pytest.raises(ValueError, match="two units"):
        percent_fall(pressure("6.5", "kPa"), pressure("40", "mmHg"))


@given(st.integers(10, 2000), st.integers(1, 99))
def test_a_percent_fall_is_exact_for_every_typed_pair(tenths, percent) -> None:
    first = Decimal(tenths) / 10
    then = first * (100 - percent) / 100
    baseline = Pressure(value=first, unit=PressureUnit.MMHG)
    assert percent_fall(baseline, Pressure(value=then, unit=PressureUnit.MMHG)) == percent
    above = Pressure(value=then + Decimal("0.0001"), unit=PressureUnit.MMHG)
    assert percent_fall(baseline, above) < percent


def test_a_difference_is_exact_in_one_unit_and_converts_once_across_two() -> None:
    assert difference(pressure("6.7", "kPa"), pressure("6.0", "kPa")) == Amount(Decimal("0.7"), "kPa")
    assert difference(pressure("50", "mmHg"), pressure("6.0", "kPa")) == Amount(Decimal(5), "mmHg")


def test_the_reading_itself_is_never_converted(make) -> None:
    sentence = judged(
        Case(make.dossier(make.gas("6.8", "kPa")), datetime(2026, 3, 10, tzinfo=UTC).date()), rule("GAS-1")
    ).sentence
    assert "6.8 kPa is > 45 mmHg (limit converted once to 6.0 kPa)" in sentence
