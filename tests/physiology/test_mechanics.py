import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from hvmon.physiology import mechanics as me

GRID = [
    (dp, c, r_in, r_out, ti, rr)
    for dp, c, (r_in, r_out), ti, rr in itertools.product(
        (6.0, 14.0, 24.0),
        (20.0, 50.0, 90.0),
        ((5.0, 5.0), (12.0, 20.0), (25.0, 35.0)),
        (0.7, 1.2, 1.8),
        (10.0, 18.0, 26.0),
    )
    if ti < 0.9 * 60.0 / rr
]

BREATH = {
    "dp": st.floats(4.0, 28.0),
    "c": st.floats(15.0, 100.0),
    "r_in": st.floats(3.0, 30.0),
    "r_out": st.floats(3.0, 40.0),
    "ti": st.floats(0.5, 1.8),
    "rr": st.floats(8.0, 30.0),
}


def integrate(volume_ml, pressure_cmh2o, compliance, resistance, seconds):
    """Equation of motion of a passive lung: R dV/dt + V/C = P."""
    solution = solve_ivp(
        lambda _, v: (pressure_cmh2o - v / compliance) / resistance * 1000.0,
        (0.0, seconds),
        [volume_ml],
        rtol=1e-9,
        atol=1e-9,
    )
    return solution.y[0, -1]


def breathe_until_steady(dp, c, r_in, r_out, ti, rr):
    end_expiration = 0.0
    while True:
        end_inspiration = integrate(end_expiration, dp, c, r_in, ti)
        next_expiration = integrate(end_inspiration, 0.0, c, r_out, 60.0 / rr - ti)
        if abs(next_expiration - end_expiration) < 1e-5 * end_inspiration:
            return end_inspiration - next_expiration, next_expiration / c
        end_expiration = next_expiration


@pytest.mark.parametrize("breath", GRID[::3])
def test_the_passive_breath_equals_the_integrated_equation_of_motion_to_a_thousandth(breath):
    volume_ml, trapped_cmh2o = breathe_until_steady(*breath)
    assert me.tidal_volume_pressure_ml(*breath) == pytest.approx(volume_ml, rel=1e-3)
    assert me.auto_peep_cmh2o(*breath) == pytest.approx(trapped_cmh2o, rel=1e-3, abs=1e-4)


@given(**BREATH, factor=st.floats(1.01, 2.0))
def test_more_pressure_support_gives_more_volume_and_in_proportion(dp, c, r_in, r_out, ti, rr, factor):
    volume = me.tidal_volume_pressure_ml(dp, c, r_in, r_out, ti, rr)
    assert me.tidal_volume_pressure_ml(dp * factor, c, r_in, r_out, ti, rr) == pytest.approx(volume * factor)


@given(**BREATH)
def test_what_goes_in_comes_out(dp, c, r_in, r_out, ti, rr):
    volume = me.tidal_volume_pressure_ml(dp, c, r_in, r_out, ti, rr)
    trapped = me.auto_peep_cmh2o(dp, c, r_in, r_out, ti, rr)
    emptied = (volume + trapped * c) * (1.0 - math.exp(-(60.0 / rr - ti) * 1000.0 / (r_out * c)))
    assert emptied == pytest.approx(volume, rel=1e-9)


@given(**BREATH)
def test_volume_with_trapping_never_exceeds_pressure_times_compliance(dp, c, r_in, r_out, ti, rr):
    assert 0.0 < me.tidal_volume_pressure_ml(dp, c, r_in, r_out, ti, rr) <= dp * c * (1.0 + 1e-12)
    assert 0.0 <= me.auto_peep_cmh2o(dp, c, r_in, r_out, ti, rr) < dp


def test_leaving_trapping_out_over_reads():
    # 14 cmH2O, 60 mL/cmH2O, 20 cmH2O s/L, 1 s at 20 a minute: 419.7 mL, not 474.9
    assert me.tidal_volume_pressure_ml(14.0, 60.0, 20.0, 20.0, 1.0, 20.0) == pytest.approx(419.7, abs=0.1)
    simple = me.tidal_volume_long_inspiration_ml(14.0, 60.0) * (1.0 - math.exp(-1.0 / 1.2))
    assert simple == pytest.approx(474.9, abs=0.1)


@given(q=st.floats(5.0, 60.0), p=st.floats(2.0, 30.0), p2=st.floats(2.0, 30.0))
def test_flow_through_an_opening_returns_along_the_same_square_root(q, p, p2):
    assert me.orifice_flow_l_min(me.orifice_flow_l_min(q, p, p2), p2, p) == pytest.approx(q)


def test_a_breath_must_fit_in_its_cycle():
    assert me.fits_in_cycle(1.5, 20.0) is True
    assert me.fits_in_cycle(3.0, 20.0) is False
    assert me.expiratory_time_s(20.0, 1.2) == pytest.approx(1.8)
