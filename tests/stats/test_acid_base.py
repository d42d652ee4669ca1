from datetime import timedelta
from decimal import Decimal

import numpy as np
import pytest
from breathers import TODAY, change, dossier, gas

from hvmon.physiology.acid_base import bicarbonate_mmol_l
from hvmon.physiology.compensation import Chronicity
from hvmon.records.base import Pressure
from hvmon.stats.acid_base import (
    AcidBaseState,
    GasReading,
    bicarbonate_curves,
    compensation_curves,
    path_frame,
    read_gas,
    read_gases,
)
from hvmon.stats.figure import Refused
from hvmon.units import PressureUnit, kpa_from_mmhg
from hvmon.vocabulary import ChangeKind, SampleKind, TemperatureCorrection


def days_ago(days):
    return TODAY - timedelta(days=days)


def read(*records, which=-1, **options):
    who = dossier(*records)
    return read_gas(who, who.blood_gas[which], **options)


@pytest.mark.parametrize(
    ("kpa", "ph", "label"),
    [
        ("8.0", "7.25", Chronicity.ACUTE),
        ("8.0", "7.30", Chronicity.ACUTE_ON_CHRONIC),
        ("8.0", "7.34", Chronicity.COMPENSATED),
        ("8.0", "7.17", Chronicity.PLUS_METABOLIC_ACIDOSIS),
        ("8.0", "7.44", Chronicity.PLUS_METABOLIC_ALKALOSIS),
        ("6.4", "7.33", Chronicity.INDETERMINATE),
    ],
)
def test_hypercapnia_is_read_by_its_bicarbonate_where_one_gas_can_tell(kpa, ph, label):
    found = read(gas(kpa, TODAY, ph=ph))
    assert found.state == AcidBaseState.HYPERCAPNIA
    assert found.chronicity == label
    assert (found.index is None) is (label == Chronicity.INDETERMINATE)


def test_bicarbonate_is_recomputed_with_one_set_of_constants_and_the_entered_one_kept_beside():
    found = read(gas("7.3", TODAY, ph="7.38"))
    assert found.hco3_mmol_l == pytest.approx(32.030, abs=0.001)
    assert found.hco3_entered_mmol_l is None


def test_alkalaemia_with_high_bicarbonate_is_metabolic_first_even_in_hypercapnia():
    found = read(gas("7.0", TODAY, ph="7.47"))
    assert found.state == AcidBaseState.METABOLIC_ALKALOSIS_FIRST


def test_alkalaemia_with_low_pco2_is_over_ventilation():
    assert read(gas("4.2", TODAY, ph="7.48")).state == AcidBaseState.RESPIRATORY_ALKALOSIS


def test_a_low_pco2_with_a_normal_ph_is_not_near_normal_and_both_ways_to_it_are_named():
    low = read(gas("3.9", TODAY, ph="7.45"))
    assert low.state == AcidBaseState.HYPOCAPNIA
    assert "over-ventilation" in low.words
    assert "metabolic acidosis" in low.words  # bicarbonate 20 may as well be the first of the two
    assert read(gas("4.67", TODAY, ph="7.42")).state == AcidBaseState.NEAR_NORMAL


@pytest.mark.parametrize(
    ("value", "unit", "state"),
    [
        ("6.0", PressureUnit.KPA, AcidBaseState.NEAR_NORMAL),  # 45.004 mmHg, but not above 6.00 kPa
        ("6.1", PressureUnit.KPA, AcidBaseState.HYPERCAPNIA),
        ("45", PressureUnit.MMHG, AcidBaseState.NEAR_NORMAL),
        ("46", PressureUnit.MMHG, AcidBaseState.HYPERCAPNIA),
        ("35", PressureUnit.MMHG, AcidBaseState.NEAR_NORMAL),  # 4.666 kPa, but not below 35 mmHg
        ("34", PressureUnit.MMHG, AcidBaseState.HYPOCAPNIA),
    ],
)
def test_a_pco2_is_held_against_the_limit_of_its_own_unit(value, unit, state):
    one = gas("6.0", TODAY, ph="7.40", pco2=Pressure(value=Decimal(value), unit=unit))
    assert read(one).state == state


def test_ph_7_45_itself_is_not_alkalaemia():
    assert read(gas("7.0", TODAY, ph="7.45")).state == AcidBaseState.HYPERCAPNIA


BEFORE = gas("8.5", days_ago(20), ph="7.36")
AFTER = gas("6.2", days_ago(3), ph="7.47")


def test_a_high_bicarbonate_after_an_effective_change_is_post_hypercapnic_not_a_new_alkalosis():
    found = read(BEFORE, change(days_ago(12)), AFTER)
    assert found.state == AcidBaseState.POST_HYPERCAPNIC
    assert str(days_ago(12)) in found.words


@pytest.mark.parametrize(
    "records",
    [
        (BEFORE, AFTER),  # no change of settings
        (BEFORE, change(days_ago(12), kind=ChangeKind.DE_ESCALATION), AFTER),
        (gas("6.4", days_ago(20), ph="7.44"), change(days_ago(12)), AFTER),  # PCO2 did not fall beyond noise
        (gas("8.5", days_ago(120), ph="7.36"), change(days_ago(90)), AFTER),  # too long ago
        (gas("8.5", days_ago(20), ph="7.36", on=False), change(days_ago(12)), AFTER),  # unlike state
    ],
)
def test_without_an_effective_change_shortly_before_it_is_metabolic_first(records):
    assert read(*records).state == AcidBaseState.METABOLIC_ALKALOSIS_FIRST


@pytest.mark.parametrize(
    ("days", "state"),
    [(30, AcidBaseState.POST_HYPERCAPNIC), (32, AcidBaseState.METABOLIC_ALKALOSIS_FIRST)],
)
def test_a_bicarbonate_is_left_over_for_four_weeks_after_the_change(days, state):
    # the gas is of 3 days ago: 27 and 29 days after the change, which is two hours later in its day
    early = gas("8.5", days_ago(days + 5), ph="7.36")
    assert read(early, change(days_ago(days)), AFTER).state == state


@pytest.mark.parametrize(
    ("kpa", "ph", "state"),
    [
        ("5.3", "7.46", AcidBaseState.METABOLIC_ALKALOSIS_FIRST),  # bicarbonate 28
        ("4.9", "7.46", AcidBaseState.ALKALAEMIA),  # bicarbonate 25.9, PCO2 not low
        ("5.0", "7.35", AcidBaseState.NEAR_NORMAL),
        ("5.0", "7.34", AcidBaseState.ACIDAEMIA),
    ],
)
def test_each_limit_of_ph_and_bicarbonate_is_where_it_is_written(kpa, ph, state):
    assert read(gas(kpa, TODAY, ph=ph)).state == state


def test_a_venous_or_temperature_corrected_gas_is_not_read():
    assert isinstance(read(gas("7.0", TODAY, kind=SampleKind.VENOUS)), Refused)
    corrected = gas("7.0", TODAY, temperature_correction=TemperatureCorrection.CORRECTED)
    assert isinstance(read(corrected), Refused)


def test_the_band_of_a_chronic_rise_spans_the_published_slopes():
    # 60 mmHg, 20 above 40: 24 + 20 x 0.35 and 24 + 20 x 0.51 (CompensationTables, Martinu2003)
    band = read(gas(f"{kpa_from_mmhg(60.0):.6f}", TODAY, ph="7.35")).band
    assert (band.acute, band.chronic) == pytest.approx((26.0, 32.0), abs=1e-3)
    assert (band.chronic_low, band.chronic_high) == pytest.approx((31.0, 34.2), abs=1e-3)


def test_the_chronic_slope_is_a_setting_of_the_team():
    mild, steep = (read(gas("8.0", TODAY, ph="7.34"), chronic_slope=slope) for slope in (0.35, 0.51))
    assert mild.index > steep.index


def test_the_map_has_both_lines_inside_their_bands_and_passes_the_tabulated_ph_at_60_mmhg():
    curves = compensation_curves(points=400)
    assert (curves["ph_low"] < curves["ph"]).all()
    assert (curves["ph"] < curves["ph_high"]).all()
    for line, slope_ph in (("acute", 7.2497), ("chronic", 7.3398)):
        part = curves.filter(curves["line"] == line)
        found = np.interp(kpa_from_mmhg(60.0), part["pco2_kpa"], part["ph"])
        assert found == pytest.approx(slope_ph, abs=0.0005)  # 0.10 and 0.40 mmol/L per mmHg


def test_lines_of_equal_bicarbonate_hold_their_bicarbonate():
    curves = bicarbonate_curves()
    again = bicarbonate_mmol_l(curves["ph"].to_numpy(), curves["pco2_kpa"].to_numpy())
    assert again == pytest.approx(curves["hco3_mmol_l"].to_numpy(), rel=1e-9)


def test_the_path_is_in_order_of_time_and_leaves_refused_gases_out():
    who = dossier(
        gas("7.0", days_ago(30)), gas("7.5", days_ago(20), kind=SampleKind.VENOUS), gas("8.0", TODAY)
    )
    readings = read_gases(who)
    path = path_frame(readings)
    assert sum(isinstance(one, GasReading) for one in readings) == path.height == 2
    assert path["order"].to_list() == [1, 2]
    assert path["at"].is_sorted()


def test_a_person_without_gases_has_an_empty_path():
    assert path_frame(read_gases(dossier())).is_empty()
