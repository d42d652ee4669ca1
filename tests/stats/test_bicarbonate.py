"""Bicarbonate beside the estimate: agrees, disagrees, not usable; never fused."""

import pytest
from trend_people import after
from trend_records import dossier, gas

from hvmon.stats.bicarbonate import Corroborates, corroborate
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.trend import fit


def both(values, hco3, *, ph="7.38"):
    records = [
        gas(60 * i, value, hco3=h, ph=ph) for i, (value, h) in enumerate(zip(values, hco3, strict=True))
    ]
    frame = readings_frame(dossier(*records))
    return frame, fit(frame, changes_frame(dossier()), today=after(60 * len(values)))


RISING = [5.6 + 0.2 * i for i in range(12)]


def test_bicarbonate_rising_with_the_level_agrees():
    frame, result = both(RISING, [28 + 0.6 * i for i in range(12)])
    found = corroborate(frame, result)
    assert found.answer == Corroborates.AGREES
    assert found.expected_mmol_l == pytest.approx(3 * 2.2, abs=1.5)


def test_bicarbonate_falling_while_the_level_rises_disagrees():
    frame, result = both(RISING, [34 - 0.6 * i for i in range(12)])
    assert corroborate(frame, result).answer == Corroborates.DISAGREES


@pytest.mark.parametrize(
    ("hco3", "ph", "causes", "said"),
    [
        ([28.0] * 12, "7.47", (), "7.47 is above"),
        ([28.0] * 12, "7.38", ("diuretic started 2024-03-01",), "diuretic"),
        ([28.0] + [None] * 11, "7.38", (), "1 bicarbonate value; two are needed"),
    ],
)
def test_it_is_not_usable_with_a_metabolic_cause_or_too_few_values(hco3, ph, causes, said):
    frame, result = both(RISING, hco3, ph=ph)
    found = corroborate(frame, result, metabolic_causes=causes)
    assert found.answer == Corroborates.NOT_USABLE
    assert said in found.reason


def test_bicarbonate_never_moves_the_estimate():
    _, with_it = both(RISING, [28 + 0.6 * i for i in range(12)])
    _, without = both(RISING, [None] * 12)
    assert with_it.level == without.level
