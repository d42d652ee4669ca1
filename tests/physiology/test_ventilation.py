import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from hvmon.physiology import ambient, body_size, dead_space, metabolism
from hvmon.physiology import ventilation as ve

VCO2 = st.floats(80.0, 350.0)
VA = st.floats(0.8, 10.0)


def test_the_gas_constant_joins_stpd_output_to_btps_ventilation():
    # 760 mmHg x 310.15/273.15 = 862.95 mmHg; 0.713 would be right only for an output already at BTPS
    assert pytest.approx(0.863, abs=1e-4) == ve.MMHG_L_PER_ML
    assert pytest.approx(0.115, abs=1e-4) == ve.KPA_L_PER_ML
    btps_output = 200.0 / ambient.stpd_from_btps(760.0)
    wet_fraction_form = (760.0 - 47.0) * btps_output / 1000.0
    assert wet_fraction_form == pytest.approx(ve.MMHG_L_PER_ML * 200.0, rel=1e-3)


@given(pb_mmhg=st.floats(500.0, 780.0))
def test_the_constant_does_not_depend_on_barometric_pressure(pb_mmhg):
    btps_output = 1.0 / ambient.stpd_from_btps(pb_mmhg)
    assert (pb_mmhg - 47.0) * btps_output / 1000.0 == pytest.approx(ve.MMHG_L_PER_ML, rel=1e-3)


@given(vco2=VCO2, va=VA)
def test_the_hyperbola_and_its_inverses_return_their_inputs(vco2, va):
    paco2 = ve.paco2_from_ventilation_kpa(vco2, va)
    assert ve.alveolar_ventilation_from_paco2_l_min(vco2, paco2) == pytest.approx(va, rel=1e-12)
    assert ve.implied_vco2_ml_min(paco2, va) == pytest.approx(vco2, rel=1e-12)


@given(vco2=VCO2, va=VA)
def test_the_slope_is_the_derivative_of_the_hyperbola(vco2, va):
    step = 1e-5
    rise = ve.paco2_from_ventilation_kpa(vco2, va + step) - ve.paco2_from_ventilation_kpa(vco2, va - step)
    paco2 = ve.paco2_from_ventilation_kpa(vco2, va)
    assert ve.paco2_slope_kpa_per_l_min(paco2, vco2) == pytest.approx(rise / (2 * step), rel=1e-4)


@given(
    paco2=st.floats(4.0, 12.0),
    vt=st.floats(250.0, 900.0),
    rates=st.tuples(st.floats(8.0, 30.0), st.floats(8.0, 30.0)),
    vds=st.tuples(st.floats(50.0, 200.0), st.floats(50.0, 200.0)),
)
def test_a_change_of_rate_only_does_not_depend_on_dead_space(paco2, vt, rates, vds):
    one, other = (ve.paco2_after_change_kpa(paco2, vt, rates[0], vt, rates[1], vd) for vd in vds)
    assert one == pytest.approx(other, rel=1e-9)
    assert one == pytest.approx(paco2 * rates[0] / rates[1], rel=1e-9)


def test_minute_volume_scaling_is_not_what_a_change_of_tidal_volume_does():
    # 8.0 kPa, 400 to 500 mL over 150 mL of dead space: 5.71, not the 6.40 of minute volumes
    found = ve.paco2_after_change_kpa(8.0, 400.0, 14.0, 500.0, 14.0, 150.0)
    assert found == pytest.approx(5.714, abs=0.001)
    assert found != pytest.approx(8.0 * 400.0 / 500.0, abs=0.5)


def sampled_sd(draws, paco2, vt1, vt2, vd, sds):
    draw = np.random.default_rng(11)
    sd_p, sd_v1, sd_v2, sd_vd, sd_k = sds
    shared = draw.normal(vd, sd_vd, draws)
    values = (
        draw.normal(paco2, sd_p, draws)
        * np.exp(draw.normal(0.0, sd_k, draws))
        * (draw.normal(vt1, sd_v1, draws) - shared)
        / (draw.normal(vt2, sd_v2, draws) - shared)
    )
    low, high = np.quantile(values, [0.158655, 0.841345])
    return (high - low) / 2.0  # the worked case was checked by this robust SD


@pytest.mark.parametrize(
    ("vt1", "vt2", "sds"),
    [
        (
            400.0,
            500.0,
            (0.3, 40.0, 50.0, 40.0, 0.10),
        ),  # the published worked case: 1.43 sampled, 1.39 first order
        (450.0, 520.0, (0.25, 20.0, 20.0, 30.0, 0.05)),
        (600.0, 500.0, (0.25, 30.0, 30.0, 40.0, 0.10)),
    ],
)
def test_monte_carlo_agrees_with_the_propagated_sd_within_five_percent(vt1, vt2, sds):
    first_order = ve.paco2_after_change_sd_kpa(8.0, vt1, 14.0, vt2, 14.0, 150.0, *sds)
    assert sampled_sd(400_000, 8.0, vt1, vt2, 150.0, sds) == pytest.approx(first_order, rel=0.05)


def test_one_shared_dead_space_makes_a_smaller_error_than_two():
    shared = ve.paco2_after_change_sd_kpa(8.0, 400.0, 14.0, 500.0, 14.0, 150.0, 0.3, 40.0, 50.0, 40.0, 0.1)
    both = math.hypot
    two = ve.paco2_after_change_sd_kpa(
        8.0, 400.0, 14.0, 500.0, 14.0, 150.0, 0.3, both(40.0, 40.0), both(50.0, 40.0), 0.0, 0.1
    )
    assert shared == pytest.approx(1.39, abs=0.01)
    assert two == pytest.approx(1.77, abs=0.01)  # 1.82 when sampled


def test_a_fall_is_faster_than_a_rise_because_the_time_constant_goes_with_one_over_ventilation():
    # store 50 mL/mmHg: 5, 4, 3, 2.5 L/min give 8.6, 10.8, 14.4, 17.3 min
    found = ve.co2_time_constant_min(np.array([5.0, 4.0, 3.0, 2.5]))
    assert found == pytest.approx([8.6, 10.8, 14.4, 17.3], abs=0.05)


@given(start=st.floats(4.0, 12.0), end=st.floats(4.0, 12.0), tau=st.floats(3.0, 30.0))
def test_a_transient_starts_at_the_start_ends_at_the_end_and_is_95_percent_done_when_it_says(start, end, tau):
    assert ve.paco2_at_time_kpa(start, end, 0.0, tau) == pytest.approx(start)
    assert ve.paco2_at_time_kpa(start, end, 40.0 * tau, tau) == pytest.approx(end)
    late = ve.paco2_at_time_kpa(start, end, ve.time_to_95_percent_min(tau), tau)
    assert late - end == pytest.approx(0.05 * (start - end), abs=1e-9)


def test_the_first_minute_of_apnoea_raises_co2_more_than_the_later_ones():
    first = ve.apnoea_rise_awake_kpa(60.0)
    assert first == pytest.approx(1.73, abs=0.14)
    assert ve.apnoea_rise_awake_kpa(120.0) - first == pytest.approx(0.8, abs=0.01)
    assert ve.apnoea_rise_anaesthetised_kpa(120.0) - ve.apnoea_rise_anaesthetised_kpa(60.0) < 0.6


def test_predicted_weight_is_refused_below_140_cm_without_an_override():
    assert math.isnan(body_size.predicted_body_weight_kg(139.9, male=False))
    assert body_size.predicted_body_weight_kg(140.0, male=False) == pytest.approx(34.216, abs=1e-3)
    assert body_size.predicted_body_weight_kg(100.0, male=False, below_140_cm=True) < 0.0


def test_a_tracheostomy_halves_the_airway_dead_space():
    ratio = dead_space.tracheostomy_dead_space_ml(60.0) / dead_space.airway_dead_space_ml(60.0)
    assert 0.4 < ratio < 0.5


@given(ee=st.floats(600.0, 3000.0), rq=st.floats(0.7, 1.0))
def test_weir_and_its_inverse_return_the_co2_output(ee, rq):
    vco2 = metabolism.vco2_from_expenditure_ml_min(ee, rq)
    assert metabolism.weir_kcal_day(vco2 / rq, vco2) == pytest.approx(ee, rel=1e-12)


def test_fever_raises_the_co2_output_by_14_percent_a_degree():
    assert metabolism.vco2_with_fever_ml_min(200.0, 2.0) == pytest.approx(256.0)
