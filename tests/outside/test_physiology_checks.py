"""Published and computed values of every physiology topic, each with the tolerance of its own source.

`pytest tests/outside --check-values FILE` runs further rows of the same form. An adapter turns the names
of a row into those of a function; it never computes.
"""

import csv
import math
from pathlib import Path

import pytest

from hvmon import units
from hvmon.physiology import (
    acid_base,
    alveolar_gas,
    ambient,
    base_excess,
    body_size,
    compensation,
    dead_space,
    mechanics,
    metabolism,
    oxygen,
    reference_intervals,
    transcutaneous,
    ventilation,
)
from hvmon.records import limits

kpa = units.kpa_from_mmhg
mmhg = units.mmhg_from_kpa


def pressure(i, stem):
    """Give the pressure of a row in kPa, whichever unit the row holds."""
    return float(i[f"{stem}_kpa"]) if f"{stem}_kpa" in i else kpa(float(i[f"{stem}_mmhg"]))


def is_male(i):
    return {"m": True, "f": False, "male": True, "female": False}[i["sex"]]


def two(stem, value_kpa):
    return {f"{stem}_kpa": value_kpa, f"{stem}_mmhg": mmhg(value_kpa)}


# --- units and ambient air --------------------------------------------------------------------
def cmh2o(i):
    value = units.kpa_from_cmh2o(i["cmh2o"])
    return {"kpa": value, "mmhg": mmhg(value)}


UNITS = {
    "units.mmhg_to_kpa": lambda i: {"kpa": kpa(i["mmhg"])},
    "units.kpa_to_mmhg": lambda i: {"mmhg": mmhg(i["kpa"])},
    "units.cmh2o_to_kpa": cmh2o,
    "units.ph_to_h": lambda i: {"h_nmol_l": units.hydrogen_ion_nmol_l(i["ph"])},
    "units.h_to_ph": lambda i: {"ph": units.ph_from_hydrogen_ion(i["h_nmol_l"])},
    "units.hb_gdl_to_mmol_l": lambda i: {"hb_mmol_l": units.hb_mmol_l_from_g_dl(i["hb_g_dl"])},
    "units.isa_pressure": lambda i: two("pb", ambient.barometric_pressure_kpa(float(i["altitude_m"]))),
    "units.water_vapour": lambda i: two("ph2o", ambient.water_vapour_kpa(float(i["t_c"]))),
    "units.btps_factor": lambda i: {"factor": ambient.btps_from_atps(float(i["t_c"]), i["pb_mmhg"])},
    "units.btps_to_stpd": lambda i: {"factor": ambient.stpd_from_btps(i["pb_mmhg"])},
    "units.molar_volume_btps": lambda i: {
        "molar_volume_btps_l": i["molar_volume_stpd_l"] / ambient.stpd_from_btps(760.0)
    },
    "units.atps_to_stpd": lambda i: {
        "volume": i["volume"] * ambient.stpd_from_atps(float(i["t_c"]), i["pb_mmhg"])
    },
    "units.fio2_nasal_rule": lambda i: {"fio2": ambient.fio2_nasal_rule(i["o2_l_min"])},
    "units.fio2_bleed_in": lambda i: {
        "fio2": ambient.fio2_bled_in(
            i["o2_l_min"], i["total_flow_l_min"], i.get("fair", ambient.ROOM_AIR_FIO2)
        )
    },
}


# --- acid-base and base excess ------------------------------------------------------------------
def triple(i):
    return float(i["ph"]), pressure(i, "pco2"), float(i["hco3_mmol_l"])


def consistency(i):
    ph, pco2, hco3 = triple(i)
    return {
        "calc_hco3_mmol_l": acid_base.bicarbonate_mmol_l(ph, pco2),
        "delta_mmol_l": acid_base.bicarbonate_difference_mmol_l(ph, pco2, hco3),
        "status": acid_base.consistency(ph, pco2, hco3),
    }


def unit_slip(i):
    ph, pco2, hco3 = triple(i)
    return {
        "implied_pco2_kpa": acid_base.pco2_from_bicarbonate_kpa(ph, hco3),
        "ratio": acid_base.slip_ratio(ph, pco2, hco3),
        "suspect": acid_base.unit_slip(ph, pco2, hco3),
    }


def at_temperature(i):
    return {
        "ph_t": acid_base.ph_at_temperature(i["ph"], i["t_c"]),
        "pco2_kpa_t": acid_base.pco2_at_temperature_kpa(i["pco2_kpa"], i["t_c"]),
    }


def be_clsi(i):
    return {
        "be_b_mmol_l": base_excess.base_excess_blood_mmol_l(i["ph"], i["hco3_mmol_l"], i["hb_g_dl"]),
        "be_ecf_mmol_l": base_excess.base_excess_extracellular_mmol_l(i["ph"], i["hco3_mmol_l"]),
    }


ACID_BASE = {
    "hh.hco3": lambda i: {"hco3_mmol_l": acid_base.bicarbonate_mmol_l(i["ph"], pressure(i, "pco2"))},
    "hh.hco3_clsi": lambda i: {
        "hco3_mmol_l": acid_base.bicarbonate_clsi_mmol_l(i["ph"], pressure(i, "pco2"))
    },
    "hh.hco3_log_form": lambda i: {
        "hco3_mmol_l": acid_base.bicarbonate_log_form_mmol_l(i["ph"], pressure(i, "pco2"))
    },
    "hh.ph": lambda i: {"ph": acid_base.ph_from_bicarbonate(i["hco3_mmol_l"], pressure(i, "pco2"))},
    "hh.pco2": lambda i: two("pco2", acid_base.pco2_from_bicarbonate_kpa(i["ph"], i["hco3_mmol_l"])),
    "hh.alpha_unit": lambda i: {"alpha_mmol_l_kpa": mmhg(i["alpha_mmol_l_mmhg"])},
    "hh.h_from_pco2_hco3": lambda i: {
        "h_nmol_l": acid_base.hydrogen_ion_from_pair_nmol_l(pressure(i, "pco2"), i["hco3_mmol_l"])
    },
    "hh.pk_kelman": lambda i: {"pk": acid_base.pk_kelman(i["ph"], i.get("t_c", 37.0))},
    "hh.alpha_t": lambda i: {"alpha_mmol_l_mmhg": acid_base.solubility_kelman_mmol_l_mmhg(i["t_c"])},
    "hh.temp_correct": at_temperature,
    "hh.consistency": consistency,
    "hh.unit_slip": unit_slip,
    "be.clsi": be_clsi,
    "be.siggaard_andersen": lambda i: {
        "be_b_mmol_l": base_excess.base_excess_siggaard_andersen_mmol_l(
            i["ph"], i["hco3_mmol_l"], i["hb_mmol_l"]
        )
    },
    "be.ecf_cornell": lambda i: {
        "be_ecf_mmol_l": base_excess.base_excess_one_line_mmol_l(i["ph"], pressure(i, "pco2"))
    },
    "be.zander": lambda i: {
        "be_mmol_l": base_excess.base_excess_zander_mmol_l(
            i["ph"], pressure(i, "pco2"), i["hb_g_dl"], i["so2"]
        )
    },
    "be.standard_bicarbonate": lambda i: {
        "sbc_mmol_l": base_excess.standard_bicarbonate_mmol_l(i["ph"], pressure(i, "pco2"), i["hb_g_dl"])
    },
    "be.standard_bicarbonate_linear": lambda i: {
        "sbc_mmol_l": base_excess.standard_bicarbonate_linear_mmol_l(
            i["be_b_mmol_l"], i["hb_g_dl"], i["so2_pct"]
        )
    },
}


# --- oxygen ---------------------------------------------------------------------------------------
def bohr(i):
    given = pressure(i, "po2"), i["ph"], float(i.get("t_c", 37.0))
    return {
        "po2_at_ph74_mmhg": mmhg(oxygen.po2_at_standard_kpa(*given)),
        "so2": oxygen.so2_severinghaus_at(*given),
    }


def tanh_curve(i):
    names = {
        "ph": "ph",
        "t_c": "temperature_c",
        "be_mmol_l": "base_excess_mmol_l",
        "dpg_mmol_l": "dpg_mmol_l",
    }
    given = {ours: float(i[theirs]) for theirs, ours in names.items() if theirs in i}
    return {"so2": oxygen.so2_siggaard_andersen(pressure(i, "po2"), **given)}


OXYGEN = {
    "odc.so2_table": lambda i: {"so2": oxygen.so2_severinghaus(pressure(i, "po2"))},
    "odc.so2_severinghaus": lambda i: {"so2": oxygen.so2_severinghaus(pressure(i, "po2"))},
    "odc.po2_severinghaus_eq2": lambda i: {
        "po2_kpa": oxygen.po2_severinghaus_eq2_kpa(i["so2"], i.get("c6", 0.17))
    },
    "odc.po2_from_so2": lambda i: two("po2", oxygen.po2_from_so2_kpa(i["so2"])),
    "odc.sev_bohr_temp": bohr,
    "odc.sev_temp_coef": lambda i: {"dlnpo2_dt": oxygen.po2_temperature_coefficient(pressure(i, "po2"))},
    "odc.so2_tanh": tanh_curve,
    "odc.so2_kelman": lambda i: {"so2": oxygen.so2_kelman(pressure(i, "po2"))},
    "odc.kelman_virtual_po2": lambda i: {
        "po2_virtual_mmhg": mmhg(
            oxygen.virtual_po2_kelman_kpa(
                pressure(i, "po2"), i["ph"], pressure(i, "pco2"), i.get("t_c", 37.0)
            )
        )
    },
    "odc.slope": lambda i: {"dso2_dpo2_per_mmhg": kpa(oxygen.so2_slope_per_kpa(pressure(i, "po2")))},
}


# --- alveolar gas ---------------------------------------------------------------------------------
def alveolar(i):
    vapour = pressure(i, "ph2o") if {"ph2o_kpa", "ph2o_mmhg"} & i.keys() else units.BODY_WATER_VAPOUR_KPA
    inspired = alveolar_gas.inspired_po2_kpa(i["fio2"], pressure(i, "pb"), vapour)
    paco2, r = pressure(i, "paco2"), i.get("r", alveolar_gas.USUAL_R)
    short = alveolar_gas.alveolar_po2_abbreviated_kpa(inspired, paco2, r)
    return inspired, short, alveolar_gas.alveolar_po2_kpa(inspired, paco2, i["fio2"], r)


def aa_short(i):
    _, short, _ = alveolar(i)
    difference = alveolar_gas.alveolar_arterial_difference_kpa(short, pressure(i, "pao2"))
    return {"PAO2_mmhg": mmhg(short), "aa_mmhg": mmhg(difference)}


def alveolar_kpa(i):
    inspired, short, full = alveolar(i)
    found = {"PIO2_kpa": inspired, "PAO2_abbrev_kpa": short, "PAO2_full_kpa": full}
    if "pao2_kpa" in i:
        found["aa_full_kpa"] = alveolar_gas.alveolar_arterial_difference_kpa(full, i["pao2_kpa"])
    return found


def plausible(i):
    inspired = alveolar_gas.inspired_po2_kpa(i["fio2"], pressure(i, "pb"))
    return {"plausible": alveolar_gas.pao2_is_possible(inspired, pressure(i, "paco2"), pressure(i, "pao2"))}


ALVEOLAR = {
    "alv.aa_gradient_abbrev": aa_short,
    "alv.pao2_abbrev": lambda i: {"PAO2_mmhg": mmhg(alveolar(i)[1])},
    "alv.pao2_full": lambda i: {"PAO2_mmhg": mmhg(alveolar(i)[2])},
    "alv.kpa": alveolar_kpa,
    "alv.aa_expected_quarter": lambda i: two("aa", alveolar_gas.expected_difference_quarter_kpa(i["age_y"])),
    "alv.aa_expected_linear": lambda i: two("aa", alveolar_gas.expected_difference_linear_kpa(i["age_y"])),
    "alv.pf_ratio": lambda i: two("pf", alveolar_gas.pf_ratio_kpa(pressure(i, "pao2"), i["fio2"])),
    "alv.pao2_plausible": plausible,
}


# --- ventilation, body size, metabolism -------------------------------------------------------------
def from_vt(i):
    vt, rr, vd = float(i["vt_ml"]), float(i["rr_min"]), float(i["vd_ml"])
    return {
        "ve_l_min": ventilation.minute_ventilation_l_min(vt, rr),
        "vd_l_min": ventilation.minute_ventilation_l_min(vd, rr),
        "va_l_min": ventilation.alveolar_ventilation_l_min(vt, rr, vd),
    }


def change_of(i):
    return tuple(float(i[name]) for name in ("paco2_kpa", "vt1_ml", "rr1", "vt2_ml", "rr2", "vd_ml"))


def change_error(i):
    sds = tuple(
        float(i.get(name, 0.0))
        for name in ("sd_paco2_kpa", "sd_vt1_ml", "sd_vt2_ml", "sd_vd_ml", "sd_ln_vco2_ratio")
    )
    return {
        "paco2_kpa": ventilation.paco2_after_change_kpa(*change_of(i)),
        "sd_kpa": ventilation.paco2_after_change_sd_kpa(*change_of(i), *sds),
    }


def tau_co2(i):
    tau = ventilation.co2_time_constant_min(float(i["va_l_min"]), float(i["store_ml_per_mmhg"]))
    return {"tau_min": tau, "t95_min": ventilation.time_to_95_percent_min(tau)}


def mifflin(i):
    value = metabolism.expenditure_mifflin_kcal_day(
        i["weight_kg"], i["height_cm"], i["age_y"], male=is_male(i)
    )
    return {"ree_kcal_day": value}


def harris_benedict(i):
    value = metabolism.expenditure_harris_benedict_kcal_day(
        i["weight_kg"], i["height_cm"], i["age_y"], male=is_male(i)
    )
    return {"ree_kcal_day": value}


def bohr_enghoff(i):
    return {
        "vd_vt": dead_space.bohr_enghoff_fraction(i["paco2"], i["peco2"]),
        "vd_ml": dead_space.bohr_enghoff_ml(i["paco2"], i["peco2"], i["vt_ml"]),
    }


VENTILATION = {
    "va.constant": lambda _: {
        "k_mmhg_l_per_ml": ventilation.MMHG_L_PER_ML,
        "k_kpa_l_per_ml": ventilation.KPA_L_PER_ML,
    },
    "va.paco2": lambda i: two(
        "paco2", ventilation.paco2_from_ventilation_kpa(i["vco2_ml_min"], i["va_l_min"])
    ),
    "va.va_from_paco2": lambda i: {
        "va_l_min": ventilation.alveolar_ventilation_from_paco2_l_min(i["vco2_ml_min"], pressure(i, "paco2"))
    },
    "va.weir": lambda i: {"ee_kcal_day": metabolism.weir_kcal_day(i["vo2_ml_min"], i["vco2_ml_min"])},
    "va.vco2_from_ee": lambda i: {
        "vco2_ml_min": metabolism.vco2_from_expenditure_ml_min(
            i["ee_kcal_day"], i.get("rq", metabolism.USUAL_RQ)
        )
    },
    "va.vco2_from_weight": lambda i: {
        "vco2_ml_min": metabolism.vco2_from_weight_ml_min(
            i["weight_kg"], i.get("ml_per_kg", metabolism.VCO2_ML_KG)
        )
    },
    "va.ree_mifflin": mifflin,
    "va.ree_harris_benedict": harris_benedict,
    "va.va_from_vt": from_vt,
    "va.bohr_enghoff": bohr_enghoff,
    "va.airway_deadspace_child": lambda i: {
        "vd_ml_kg": dead_space.airway_dead_space_child_ml_kg(float(i["age_y"]))
    },
    "va.airway_deadspace_adult": lambda i: {"vd_ml": dead_space.airway_dead_space_ml(i["pbw_kg"])},
    "va.pbw": lambda i: {
        "pbw_kg": body_size.predicted_body_weight_kg(i["height_cm"], male=is_male(i), below_140_cm=True)
    },
    "va.height_ulna_must": lambda i: {
        "height_cm": body_size.height_from_ulna_cm(i["ulna_cm"], i["age_y"], male=is_male(i))
    },
    "va.height_ulna_gauld": lambda i: {
        "height_cm": body_size.height_from_ulna_child_cm(i["ulna_cm"], i["age_y"], male=is_male(i))
    },
    "va.height_demispan": lambda i: {
        "height_cm": body_size.height_from_demispan_cm(i["demispan_cm"], male=is_male(i))
    },
    "va.height_knee": lambda i: {
        "height_cm": body_size.height_from_knee_cm(i["knee_cm"], i["age_y"], male=is_male(i))
    },
    "va.paco2_new": lambda i: {
        "paco2_kpa": ventilation.paco2_after_change_kpa(*change_of(i), i.get("vco2_ratio", 1.0))
    },
    "va.paco2_new_error": change_error,
    "va.sensitivity": lambda i: {
        "dpaco2_dva_kpa_per_l": ventilation.paco2_slope_kpa_per_l_min(pressure(i, "paco2"), i["vco2_ml_min"])
    },
    "va.co2_tau": tau_co2,
    "va.co2_transient": lambda i: {
        "paco2_kpa": ventilation.paco2_at_time_kpa(i["p0_kpa"], i["pinf_kpa"], i["t_min"], i["tau_min"])
    },
    "va.apnoea_rise_awake": lambda i: two("delta", ventilation.apnoea_rise_awake_kpa(i["t_s"])),
    "va.apnoea_rise_anaesthetised": lambda i: two(
        "delta", ventilation.apnoea_rise_anaesthetised_kpa(i["t_s"])
    ),
}


# --- compensation -----------------------------------------------------------------------------------
def expected_hco3(i):
    slope = i.get("slope")
    if slope is None:
        slope = compensation.USUAL_SLOPE[compensation.Disorder(i["disorder"])]
    return {"hco3_mmol_l": compensation.expected_bicarbonate_mmol_l(pressure(i, "pco2"), slope)}


def chronicity(i):
    given = pressure(i, "pco2"), i["hco3_mmol_l"], i.get("chronic_slope", compensation.CHRONIC_SLOPE)
    return {"index": compensation.chronicity_index(*given), "label": compensation.chronicity(*given)}


def bedside_ph(i):
    rules = {"acute": compensation.expected_ph_acute_rule, "chronic": compensation.expected_ph_chronic_rule}
    return {"ph": rules[i["kind"]](pressure(i, "pco2"))}


COMPENSATION = {
    "comp.expected_hco3": expected_hco3,
    "comp.expected_ph": lambda i: {"ph": compensation.expected_ph(pressure(i, "pco2"), i["slope"])},
    "comp.delta_ph": bedside_ph,
    "comp.chronicity": chronicity,
    "comp.sbe_chronic": lambda i: {
        "expected_sbe_mmol_l": compensation.expected_base_excess_chronic_mmol_l(pressure(i, "pco2"))
    },
}


# --- ventilator, reference intervals, entry limits, transcutaneous ---------------------------------------
def pressure_breath(i):
    given = tuple(float(i[name]) for name in ("dp_cmh2o", "c_ml_cmh2o", "r_insp", "r_exp", "ti_s", "rr_min"))
    volume = mechanics.tidal_volume_pressure_ml(*given)
    return {
        "vt_ml": volume,
        "autopeep_cmh2o": mechanics.auto_peep_cmh2o(*given),
        "ve_l_min": ventilation.minute_ventilation_l_min(volume, given[-1]),
    }


def reference(i):
    analyte = {"paco2_kpa": "pco2_kpa", "pao2_kpa": "po2_kpa"}.get(i["analyte"], i["analyte"])
    found = reference_intervals.interval(
        reference_intervals.Analyte(analyte),
        reference_intervals.Specimen(i["specimen"]),
        reference_intervals.IntervalSet(i["set"]),
    )
    return {"low": found.low, "high": found.high}


HEATING_FORMS = {
    "10^(0.019dT)": transcutaneous.heating_factor,
    "exp": transcutaneous.heating_factor_exponential,
    "linear": transcutaneous.heating_factor_linear,
}

OTHERS = {
    "vent.tau": lambda i: {"tau_s": mechanics.time_constant_s(i["r_cmh2o_s_l"], i["c_ml_cmh2o"])},
    "vent.end_insp_pressure_volume_mode": lambda i: {
        "palv_cmh2o": mechanics.end_inspiratory_pressure_volume_mode_cmh2o(
            i["vt_ml"], i["c_ml_cmh2o"], i["r_cmh2o_s_l"], i["te_s"]
        )
    },
    "vent.vt_pressure": pressure_breath,
    "vent.vt_long_ti_limit": lambda i: {
        "vt_ml": mechanics.tidal_volume_long_inspiration_ml(i["dp_cmh2o"], i["c_ml_cmh2o"])
    },
    "vent.min_exhaled_washout": lambda i: {
        "q_min_l_min": mechanics.least_washout_l_min(i["vt_ml"], i["rr_min"], i["ti_s"])
    },
    "vent.leak_orifice": lambda i: {
        "q_l_min": mechanics.orifice_flow_l_min(i["q_ref_l_min"], i["p_ref_cmh2o"], i["p_cmh2o"])
    },
    "vent.leak_fraction": lambda i: {"leak_pct": mechanics.leak_share_pct(i["vt_distal_ml"], i["leak_ml"])},
    "ref.interval": reference,
    "ref.pao2_age_slope": lambda _: {"kpa_per_decade": reference_intervals.PAO2_KPA_PER_DECADE},
    "limits.verdict": lambda i: {"verdict": limits.verdict(i["field"], float(i["value"]))},
    "tc.infant_factor": lambda i: two(
        "paco2_est", transcutaneous.paco2_from_infant_raw_kpa(pressure(i, "ptcco2_heated"))
    ),
    "tc.temp_factor": lambda i: {"factor": HEATING_FORMS[i["form"]](i["t_c"])},
    "tc.to_37": lambda i: {
        "paco2_est_kpa": transcutaneous.paco2_from_heated_kpa(
            i["ptcco2_heated_kpa"], i["t_c"], i.get("offset_kpa", transcutaneous.METABOLIC_OFFSET_KPA)
        )
    },
    "tc.drift_linear": lambda i: {
        "p_corr_kpa": transcutaneous.drift_corrected_kpa(
            i["p_kpa"], i["t_h"], i["t0_h"], i["d0_kpa"], i["t1_h"], i["d1_kpa"]
        )
    },
    "tc.drift_rate_gate": lambda i: {
        "drift_kpa_per_h": transcutaneous.drift_rate_kpa_h(i["d0_kpa"], i["d1_kpa"], i["hours"]),
        "drift_total_kpa": transcutaneous.drift_kpa(i["d0_kpa"], i["d1_kpa"]),
    },
}

ADAPTERS = {**UNITS, **ACID_BASE, **OXYGEN, **ALVEOLAR, **VENTILATION, **COMPENSATION, **OTHERS}


def agrees(found, expected, tolerance):
    """Compare one value: within its absolute tolerance, or exactly where the row gives none."""
    if expected is None:
        return found is None or (isinstance(found, float) and math.isnan(found))
    if tolerance is None:
        return found == expected
    return abs(found - expected) <= tolerance


def test_a_published_value_comes_out_within_the_tolerance_of_its_source(check_row):
    assert check_row.topic in ADAPTERS, f"{check_row.place}: no adapter for the topic {check_row.topic!r}"
    found = ADAPTERS[check_row.topic](check_row.inputs)
    absent = check_row.expected.keys() - found.keys()
    assert not absent, f"{check_row.place}: {check_row.topic} gives {sorted(found)}, not {sorted(absent)}"
    for key, expected in check_row.expected.items():
        tolerance = check_row.tolerance.get(key)
        assert agrees(found[key], expected, tolerance), (
            f"{check_row.place}: {check_row.topic} {check_row.inputs} gives {key} {found[key]!r}, "
            f"expected {expected!r} within {tolerance}; {check_row.source}"
        )


def test_every_topic_of_the_check_values_has_rows_and_every_row_its_source_and_mark():
    with Path(__file__).with_name("physiology_checks.csv").open(newline="", encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    assert {row["topic"] for row in rows} == ADAPTERS.keys()
    assert all(row["source"] and row["mark"] for row in rows)


@pytest.mark.parametrize(
    ("found", "expected", "tolerance", "verdict"),
    [
        (1.0, 1.1, 0.05, False),
        (1.0, 1.0 + 1e-9, None, False),
        (math.nan, 1.0, 0.1, False),
        (math.nan, None, None, True),
        ("acute", "acute", None, True),
    ],
)
def test_the_comparison_itself_can_fail(found, expected, tolerance, verdict):
    assert agrees(found, expected, tolerance) is verdict
