import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hvmon.physiology import compensation as co
from hvmon.physiology import reference_intervals as ri
from hvmon.physiology import transcutaneous as tc
from hvmon.sources import BY_KEY
from hvmon.units import kpa_from_mmhg


@given(pco2_mmhg=st.floats(20.0, 49.99), hco3=st.floats(15.0, 45.0))
def test_near_normal_one_gas_never_tells_acute_from_chronic(pco2_mmhg, hco3):
    assert co.chronicity(kpa_from_mmhg(pco2_mmhg), hco3) is co.Chronicity.INDETERMINATE
    assert math.isnan(co.chronicity_index(kpa_from_mmhg(pco2_mmhg), hco3))


def test_from_50_mmhg_on_it_is_told():
    assert co.indeterminate_below_kpa() == pytest.approx(6.666, abs=0.001)
    assert co.chronicity(kpa_from_mmhg(50.0), 28.0) is co.Chronicity.COMPENSATED


@given(pco2_mmhg=st.floats(51.0, 110.0), slope=st.floats(0.3, 0.55))
def test_the_acute_line_has_index_0_and_the_chronic_line_1(pco2_mmhg, slope):
    pco2_kpa = kpa_from_mmhg(pco2_mmhg)
    acute = co.expected_bicarbonate_mmol_l(pco2_kpa, co.ACUTE_SLOPE)
    chronic = co.expected_bicarbonate_mmol_l(pco2_kpa, slope)
    assert co.chronicity_index(pco2_kpa, acute, slope) == pytest.approx(0.0, abs=1e-9)
    assert co.chronicity_index(pco2_kpa, chronic, slope) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("hco3", "label"),
    [
        (22.0, co.Chronicity.PLUS_METABOLIC_ACIDOSIS),
        (26.0, co.Chronicity.ACUTE),
        (29.0, co.Chronicity.ACUTE_ON_CHRONIC),
        (32.0, co.Chronicity.COMPENSATED),
        (36.0, co.Chronicity.PLUS_METABOLIC_ALKALOSIS),
    ],
)
def test_at_60_mmhg_every_label_can_be_reached(hco3, label):
    assert co.chronicity(kpa_from_mmhg(60.0), hco3) is label


def test_a_stable_person_at_ph_7_37_and_60_mmhg_is_not_called_alkalotic_at_the_default_slope():
    # slope 0.35 expects 7.326 there; 0.51 expects 7.369
    hco3 = co.expected_bicarbonate_mmol_l(kpa_from_mmhg(60.0), 0.51)
    assert co.chronicity(kpa_from_mmhg(60.0), hco3) is co.Chronicity.COMPENSATED


def test_usual_slopes_cover_every_disorder():
    assert set(co.USUAL_SLOPE) == set(co.Disorder)


@pytest.mark.parametrize(("form", "factor"), [
    (tc.heating_factor, 1.3583), (tc.heating_factor_exponential, 1.370), (tc.heating_factor_linear, 1.315),
])  # fmt: skip
def test_heated_skin_reads_high_by_the_published_factor_at_44_degrees(form, factor):
    assert form(44.0) == pytest.approx(factor, abs=0.0005)


@given(reading=st.floats(4.0, 12.0), d0=st.floats(-1.0, 1.0), d1=st.floats(-1.0, 1.0))
def test_drift_correction_removes_the_whole_error_at_both_calibrations(reading, d0, d1):
    assert tc.drift_corrected_kpa(reading, 0.0, 0.0, d0, 8.0, d1) == pytest.approx(reading - d0)
    assert tc.drift_corrected_kpa(reading, 8.0, 0.0, d0, 8.0, d1) == pytest.approx(reading - d1)


def test_the_doubtful_capillary_set_carries_its_doubt():
    doubtful = ri.interval(ri.Analyte.PCO2_KPA, ri.Specimen.CAPILLARY, ri.IntervalSet.DAVIS)
    assert doubtful.doubt
    assert not ri.interval(ri.Analyte.PH, ri.Specimen.ARTERIAL, ri.IntervalSet.CONVENTIONAL).doubt


def test_a_set_without_the_interval_says_what_it_has():
    with pytest.raises(LookupError, match="klaestrup_2011 has no interval of po2_kpa"):
        ri.interval(ri.Analyte.PO2_KPA, ri.Specimen.ARTERIAL, ri.IntervalSet.KLAESTRUP_2011)


@pytest.mark.parametrize(("age", "low"), [(25, 11.1), (39.9, 11.1), (40, 9.3), (76, 9.3)])
def test_arterial_po2_has_an_interval_for_its_age(age, low):
    assert ri.arterial_po2_interval(age).low == low


def test_an_age_outside_the_people_studied_is_refused():
    with pytest.raises(ValueError, match="20 to 76"):
        ri.arterial_po2_interval(80)


def test_every_interval_names_a_known_source():
    assert all(found.source in BY_KEY for found in ri.INTERVALS.values())
