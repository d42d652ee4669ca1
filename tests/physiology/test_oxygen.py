import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hvmon.physiology import alveolar_gas as ag
from hvmon.physiology import oxygen as ox
from hvmon.units import kpa_from_mmhg

# Severinghaus 1979, Table 1: PO2 [mmHg], saturation [percent]; the paper states an error of 0.0055
TABLE_1 = (
    (10, 9.58), (20, 32.12), (26, 48.27), (30, 57.54), (40, 74.69), (50, 85.08),
    (60, 90.85), (65, 92.73), (80, 95.84), (100, 97.49), (150, 98.77), (300, 99.53),
)  # fmt: skip


@pytest.mark.parametrize(("po2_mmhg", "percent"), TABLE_1)
def test_the_standard_curve_follows_the_published_table_within_its_stated_error(po2_mmhg, percent):
    assert ox.so2_severinghaus(kpa_from_mmhg(po2_mmhg)) == pytest.approx(percent / 100, abs=0.0055)


@pytest.mark.parametrize(("po2_mmhg", "percent"), TABLE_1)
def test_the_curve_the_tool_uses_is_as_near_to_that_table(po2_mmhg, percent):
    assert ox.so2_siggaard_andersen(kpa_from_mmhg(po2_mmhg)) == pytest.approx(percent / 100, abs=0.0055)


@given(po2_kpa=st.floats(0.05, 60.0))
def test_ellis_inverse_inverts_the_standard_curve_exactly(po2_kpa):
    so2 = ox.so2_severinghaus(po2_kpa)
    assert ox.po2_from_so2_kpa(so2) == pytest.approx(po2_kpa, rel=1e-9)


def test_the_second_equation_is_not_the_inverse_of_the_first():
    apart = ox.po2_severinghaus_eq2_kpa(0.99) - ox.po2_from_so2_kpa(0.99)
    assert abs(apart) == pytest.approx(kpa_from_mmhg(4.4), abs=0.05)


@given(po2_kpa=st.floats(2.0, 30.0))
def test_the_slope_is_the_derivative_of_the_curve(po2_kpa):
    step = 1e-4
    rise = ox.so2_severinghaus(po2_kpa + step) - ox.so2_severinghaus(po2_kpa - step)
    assert ox.so2_slope_per_kpa(po2_kpa) == pytest.approx(rise / (2 * step), rel=1e-5, abs=1e-9)


@given(po2_kpa=st.floats(3.0, 30.0), ph=st.floats(7.1, 7.39))
def test_acidosis_lowers_the_saturation_at_the_same_po2_in_every_model(po2_kpa, ph):
    assert ox.so2_severinghaus_at(po2_kpa, ph) < ox.so2_severinghaus(po2_kpa)
    assert ox.so2_siggaard_andersen(po2_kpa, ph) < ox.so2_siggaard_andersen(po2_kpa)
    assert ox.virtual_po2_kelman_kpa(po2_kpa, ph, kpa_from_mmhg(40.0)) < po2_kpa


def test_fever_lowers_saturation_and_the_two_models_differ_by_the_stated_point():
    # 39 C costs 3.1 points at 8 kPa (Siggaard-Andersen 1984 against 37 C)
    one = ox.so2_siggaard_andersen(8.0) - ox.so2_siggaard_andersen(8.0, temperature_c=39.0)
    other = ox.so2_severinghaus(8.0) - ox.so2_severinghaus_at(8.0, 7.40, 39.0)
    assert one == pytest.approx(0.031, abs=0.001)
    assert other - one == pytest.approx(0.011, abs=0.001)


def test_hypercapnic_acidosis_alone_costs_nearly_three_points_at_8_kpa():
    cost = ox.so2_siggaard_andersen(8.0) - ox.so2_siggaard_andersen(8.0, 7.30)
    assert cost == pytest.approx(0.029, abs=0.001)


def test_the_curve_rises_with_po2_in_every_model_used():
    po2_kpa = np.linspace(3.4, 40.0, 400)
    assert (np.diff(ox.so2_severinghaus(po2_kpa)) > 0).all()
    assert (np.diff(ox.so2_siggaard_andersen(po2_kpa)) > 0).all()


@pytest.mark.parametrize(
    ("measured", "po2_kpa", "verdict"),
    [(0.86, 8.0, True), (0.87, 8.0, False), (0.70, 6.0, True), (0.77, 6.0, False)],
)
def test_a_measured_saturation_far_from_the_estimated_one_is_questioned(measured, po2_kpa, verdict):
    estimated = ox.so2_siggaard_andersen(po2_kpa)
    assert ox.saturation_disagrees(measured, estimated, po2_kpa) is verdict


@given(paco2_kpa=st.floats(3.0, 14.0))
def test_on_air_the_full_equation_lies_0_0525_paco2_above_the_abbreviated(paco2_kpa):
    inspired = ag.inspired_po2_kpa(0.21, 101.325)
    full = ag.alveolar_po2_kpa(inspired, paco2_kpa, 0.21)
    assert full - ag.alveolar_po2_abbreviated_kpa(inspired, paco2_kpa) == pytest.approx(0.0525 * paco2_kpa)


def test_a_po2_that_its_fraction_cannot_give_is_impossible():
    inspired = ag.inspired_po2_kpa(0.21, 101.325)
    assert ag.pao2_is_possible(inspired, 7.5, 13.4) is True
    assert ag.pao2_is_possible(inspired, 7.5, 16.0) is False
