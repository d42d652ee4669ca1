import pytest
from hypothesis import given
from hypothesis import strategies as st

from hvmon.physiology import acid_base as ab
from hvmon.physiology import base_excess as be
from hvmon.units import hydrogen_ion_nmol_l, kpa_from_mmhg, mmhg_from_kpa

PH = st.floats(6.8, 7.8)
PCO2_KPA = st.floats(2.0, 25.0)


@given(ph=PH, pco2_kpa=PCO2_KPA)
def test_henderson_hasselbalch_gives_back_any_of_its_three_numbers(ph, pco2_kpa):
    hco3 = ab.bicarbonate_mmol_l(ph, pco2_kpa)
    assert ab.ph_from_bicarbonate(hco3, pco2_kpa) == pytest.approx(ph, abs=1e-12)
    assert ab.pco2_from_bicarbonate_kpa(ph, hco3) == pytest.approx(pco2_kpa, rel=1e-12)
    assert ab.hydrogen_ion_from_pair_nmol_l(pco2_kpa, hco3) == pytest.approx(
        hydrogen_ion_nmol_l(ph), rel=1e-12
    )


@given(ph=PH, pco2_mmhg=st.floats(15.0, 190.0))
def test_the_kpa_and_the_printed_mmhg_form_agree(ph, pco2_mmhg):
    printed = 0.0307 * pco2_mmhg * 10.0 ** (ph - 6.1)  # CLSI C46
    assert ab.bicarbonate_mmol_l(ph, kpa_from_mmhg(pco2_mmhg)) == pytest.approx(printed, rel=1e-12)
    assert be.base_excess_one_line_mmol_l(ph, kpa_from_mmhg(pco2_mmhg)) == pytest.approx(
        0.02786 * pco2_mmhg * 10.0 ** (ph - 6.1) + 13.77 * ph - 124.58, rel=1e-9, abs=1e-9
    )


@given(ph=PH, pco2_kpa=PCO2_KPA)
def test_a_triple_that_belongs_together_is_consistent_and_has_no_slip(ph, pco2_kpa):
    hco3 = ab.bicarbonate_mmol_l(ph, pco2_kpa)
    assert ab.consistency(ph, pco2_kpa, hco3) is ab.Consistency.CONSISTENT
    assert ab.unit_slip(ph, pco2_kpa, hco3) is ab.UnitSlip.NONE


@given(ph=st.floats(7.1, 7.6), pco2_kpa=st.floats(3.5, 14.0))
def test_mmhg_typed_in_a_kpa_field_is_always_found_and_the_reverse(ph, pco2_kpa):
    hco3 = round(ab.bicarbonate_mmol_l(ph, pco2_kpa), 1)
    typed = float(round(mmhg_from_kpa(pco2_kpa)))
    assert ab.unit_slip(round(ph, 2), typed, hco3) is ab.UnitSlip.MMHG_IN_KPA_FIELD
    assert ab.consistency(round(ph, 2), typed, hco3) is ab.Consistency.INCONSISTENT
    reverse = kpa_from_mmhg(round(pco2_kpa, 1))
    assert ab.unit_slip(round(ph, 2), reverse, hco3) is ab.UnitSlip.KPA_IN_MMHG_FIELD


def test_analysers_constants_spread_bicarbonate_by_a_few_percent_only():
    # computed range of the six sets in circulation at 7.40 and 40 mmHg: 23.94 to 25.03
    pco2_kpa = kpa_from_mmhg(40.0)
    own = ab.bicarbonate_mmol_l(7.40, pco2_kpa)
    for other in (
        ab.bicarbonate_clsi_mmol_l(7.40, pco2_kpa),
        ab.bicarbonate_log_form_mmol_l(7.40, pco2_kpa),
        ab.bicarbonate_mmol_l(7.40, pco2_kpa, ab.pk_kelman(7.40)),
    ):
        assert abs(other / own - 1.0) < 0.035


@given(ph=st.floats(7.0, 7.6), pco2_kpa=st.floats(3.0, 15.0), hb_g_dl=st.floats(6.0, 20.0))
def test_standard_bicarbonate_has_the_base_excess_of_the_blood_it_came_from(ph, pco2_kpa, hb_g_dl):
    blood = be.base_excess_blood_mmol_l(ph, ab.bicarbonate_mmol_l(ph, pco2_kpa), hb_g_dl)
    standard = be.standard_bicarbonate_mmol_l(ph, pco2_kpa, hb_g_dl)
    at_40 = ab.ph_from_bicarbonate(standard, kpa_from_mmhg(40.0))
    assert be.base_excess_blood_mmol_l(at_40, standard, hb_g_dl) == pytest.approx(blood, abs=1e-6)


def test_the_two_base_excesses_part_by_two_mmol_in_hypercapnia():
    # 7.35, 32.76 mmol/L, Hb 15: 5.14 of blood, 7.15 extracellular (CLSI-C46)
    blood = be.base_excess_blood_mmol_l(7.35, 32.76, 15.0)
    assert be.base_excess_extracellular_mmol_l(7.35, 32.76) - blood == pytest.approx(2.01, abs=0.01)


def test_a_measured_total_co2_gives_the_bicarbonate_once_dissolved_gas_is_subtracted():
    # 60 mmHg dissolves 1.842 mmol/L (0.0307 a mmHg, CLSI-C46)
    found = ab.measured_total_co2_bicarbonate_mmol_l(34.0, kpa_from_mmhg(60.0))
    assert found == pytest.approx(34.0 - 1.842, abs=1e-9)


@pytest.mark.parametrize(
    ("ph", "acid", "alkaline"),
    [(7.34, True, False), (7.35, False, False), (7.45, False, False), (7.46, False, True)],
)
def test_the_limits_of_ph_belong_to_the_normal_range(ph, acid, alkaline):
    assert ab.is_acidaemic(ph) is acid
    assert ab.is_alkalaemic(ph) is alkaline
