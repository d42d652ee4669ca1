import numpy as np
import pytest

from hvmon.nights.drift import PairedGas, correct_drift
from hvmon.records.night_signal import MISSING, tenths_mmhg_from_hundredths_kpa
from hvmon.vocabulary import DriftCorrection, SampleKind

HOUR = 3600
LAG = 120.0


def gas(hours, mmhg, kind=SampleKind.ARTERIAL):
    return PairedGas(hours * HOUR, mmhg, kind)


def drifting(hours=8, blood=45.0, offset=2.0, per_hour=0.5):
    """Blood at a constant level, a sensor that reads high and drifts; tenths of mmHg."""
    t = np.arange(hours * HOUR) / HOUR
    return np.rint(10 * (blood + offset + per_hour * t)).astype(np.int16)


def test_two_paired_gases_remove_offset_and_drift_exactly():
    done = correct_drift(drifting(), (gas(1, 45.0), gas(7, 45.0)))
    between = done.tcco2_tenths_mmhg[HOUR + 120 : 7 * HOUR + 120].astype(int)
    assert done.report.method == DriftCorrection.TWO_POINT
    assert np.abs(between - 450).max() <= 1
    assert done.report.residual_slope_mmhg_per_h == pytest.approx(0.5, abs=0.02)
    # 0.5 mmHg/h for 8 h, in kPa: 4 x 0.1333
    assert done.report.drift_kpa_per_8h == pytest.approx(4 * 0.13332, abs=0.02)


def test_before_the_first_and_after_the_last_pair_the_offset_is_held():
    raw = drifting()
    done = correct_drift(raw, (gas(2, 45.0), gas(6, 45.0)))
    first, last = (offset for _, offset in done.report.offsets_mmhg)
    assert done.tcco2_tenths_mmhg[0] == round(raw[0] - 10 * first)
    assert done.tcco2_tenths_mmhg[-1] == round(raw[-1] - 10 * last)


def test_one_gas_shifts_the_whole_channel_and_the_slope_stays_unknown():
    raw = drifting()
    done = correct_drift(raw, (gas(4, 45.0),))
    assert done.report.method == DriftCorrection.ONE_POINT
    assert done.report.residual_slope_mmhg_per_h is None
    assert done.report.drift_kpa_per_8h is None
    shift = raw.astype(int) - done.tcco2_tenths_mmhg
    assert len(set(shift.tolist())) == 1
    assert abs(shift[0] - 40) <= 1  # 2.0 + 0.5 x 4 h


def test_no_gas_corrects_nothing():
    done = correct_drift(drifting(), ())
    assert done.tcco2_tenths_mmhg is None
    assert done.report.method == DriftCorrection.NONE


def test_the_channel_is_read_one_lag_after_the_gas_was_drawn():
    # blood steps up by 1.5 at 4 h, the sensor shows it 120 s later: a gas drawn 30 s after the step pairs
    # with the sensor's new level, which it shows 150 s after the step
    raw = np.full(8 * HOUR, 450, dtype=np.int16)
    raw[4 * HOUR + 120 :] = 465
    done = correct_drift(raw, (PairedGas(4 * HOUR + 160.0, 46.5, SampleKind.ARTERIAL),), lag_s=120.0)
    assert done.report.offsets_mmhg == ((4 * HOUR + 280.0, 0.0),)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        (SampleKind.VENOUS, "venous"),
        (SampleKind.CAPILLARY_FINGERTIP, "fingertip"),
        (SampleKind.CAPILLARY_EARLOBE, "earlobe"),
    ],
)
def test_gases_that_cannot_stand_for_arterial_are_refused_with_a_reason(kind, words):
    done = correct_drift(drifting(), (gas(4, 45.0, kind),))
    assert done.tcco2_tenths_mmhg is None
    assert words in done.report.refused[0]


def test_an_earlobe_gas_counts_where_it_is_accepted():
    done = correct_drift(drifting(), (gas(4, 45.0, SampleKind.CAPILLARY_EARLOBE),), earlobe_allowed=True)
    assert done.report.method == DriftCorrection.ONE_POINT


@pytest.mark.parametrize(("move", "accepted"), [(20, True), (21, False)])
def test_a_pair_is_refused_when_the_channel_moved_by_more_than_two_mmhg_in_three_minutes(move, accepted):
    raw = np.full(8 * HOUR, 450, dtype=np.int16)
    raw[4 * HOUR + 60 :] += move
    done = correct_drift(raw, (gas(4, 45.0),))
    assert (done.tcco2_tenths_mmhg is not None) == accepted
    assert accepted or "moved" in done.report.refused[0]


def test_a_pair_without_values_beside_it_is_refused():
    raw = drifting()
    raw[4 * HOUR : 4 * HOUR + 300] = MISSING
    assert "too few" in correct_drift(raw, (gas(4, 45.0),)).report.refused[0]
    outside = correct_drift(raw, (gas(20, 45.0),))
    assert "too few" in outside.report.refused[0]
    warm_up = np.arange(len(raw)) >= 900
    early = correct_drift(raw, (gas(0.1, 45.0),), usable=warm_up)
    assert "too few" in early.report.refused[0]


def test_pairs_less_than_an_hour_apart_give_no_slope():
    done = correct_drift(drifting(), (gas(4, 45.0), gas(4.9, 45.0)))
    assert done.report.method == DriftCorrection.ONE_POINT
    assert "hour apart" in done.report.refused[-1]


def test_missing_seconds_stay_missing_and_the_recorded_kpa_are_corrected_too():
    kpa = np.full(8 * HOUR, 640, dtype=np.int16)
    kpa[100:200] = MISSING
    mmhg = tenths_mmhg_from_hundredths_kpa(kpa)
    done = correct_drift(mmhg, (gas(4, 45.0),), tcco2_hundredths_kpa=kpa)
    assert (done.tcco2_tenths_mmhg[100:200] == MISSING).all()
    assert (done.tcco2_hundredths_kpa[100:200] == MISSING).all()
    assert done.tcco2_tenths_mmhg[300] == 450
    assert done.tcco2_hundredths_kpa[300] == 600
