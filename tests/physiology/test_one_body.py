"""One body of operators serves floats, arrays and polars expressions: every public function, no exception."""

import importlib
import inspect
import pkgutil
import re

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import hvmon.physiology
from hvmon.sources import BY_KEY

NOT_EQUATIONS = {"elementary", "reference_intervals"}

SPANS = {
    "age_years": (20.0, 90.0),
    "alveolar_kpa": (5.0, 30.0),
    "alveolar_l_min": (1.0, 10.0),
    "altitude_m": (0.0, 4000.0),
    "barometric_kpa": (60.0, 104.0),
    "barometric_mmhg": (450.0, 780.0),
    "base_excess_mmol_l": (-15.0, 20.0),
    "chronic_slope": (0.3, 0.55),
    "compliance_ml_cmh2o": (15.0, 110.0),
    "dead_space_ml": (60.0, 190.0),
    "degrees_above_37": (0.0, 4.0),
    "demispan_cm": (60.0, 95.0),
    "distal_volume_ml": (100.0, 900.0),
    "dpg_mmol_l": (3.0, 8.0),
    "end_error_kpa": (-1.0, 1.0),
    "end_h": (6.0, 10.0),
    "end_kpa": (4.0, 12.0),
    "expenditure_kcal_day": (700.0, 3000.0),
    "expiratory_s": (1.0, 4.0),
    "fio2": (0.21, 1.0),
    "fio2_air": (0.2, 0.22),
    "h_nmol_l": (15.0, 150.0),
    "hb_g_dl": (5.0, 20.0),
    "hb_mmol_l": (3.0, 13.0),
    "hco3_mmol_l": (10.0, 55.0),
    "heated_kpa": (5.0, 20.0),
    "height_cm": (120.0, 200.0),
    "hours": (1.0, 12.0),
    "ideal_weight_kg": (30.0, 90.0),
    "inspiratory_s": (0.5, 1.5),
    "inspired_kpa": (14.0, 60.0),
    "knee_cm": (35.0, 60.0),
    "leaked_ml": (0.0, 200.0),
    "male": (0.0, 1.0),
    "mixed_expired_pco2_kpa": (1.0, 3.4),
    "ml_min_kg": (2.0, 4.0),
    "offset_kpa": (0.0, 1.0),
    "oxygen_l_min": (0.0, 6.0),
    "paco2_kpa": (3.5, 14.0),
    "pao2_kpa": (4.0, 30.0),
    "pco2_37_kpa": (3.0, 14.0),
    "pco2_kpa": (3.0, 14.0),
    "ph": (6.9, 7.7),
    "ph_37": (6.9, 7.7),
    "pk": (6.08, 6.12),
    "po2_kpa": (3.4, 30.0),
    "predicted_weight_kg": (30.0, 90.0),
    "pressure_cmh2o": (2.0, 30.0),
    "pressure_support_cmh2o": (4.0, 28.0),
    "r": (0.7, 1.0),
    "rate_after_min": (8.0, 30.0),
    "rate_before_min": (8.0, 30.0),
    "rate_min": (8.0, 30.0),
    "reading_kpa": (4.0, 12.0),
    "reference_cmh2o": (2.0, 30.0),
    "reference_l_min": (5.0, 60.0),
    "resistance_cmh2o_s_l": (3.0, 40.0),
    "resistance_exp_cmh2o_s_l": (3.0, 40.0),
    "resistance_insp_cmh2o_s_l": (3.0, 40.0),
    "rq": (0.7, 1.0),
    "sd_dead_space_ml": (0.0, 60.0),
    "sd_ln_vco2_ratio": (0.0, 0.3),
    "sd_paco2_kpa": (0.0, 0.6),
    "sd_tidal_volume_after_ml": (0.0, 60.0),
    "sd_tidal_volume_before_ml": (0.0, 60.0),
    "sensor_c": (37.0, 45.0),
    "shift_mmol_l": (-2.0, 2.0),
    "sixth_power": (0.16, 0.17),
    "slope_mmol_l_mmhg": (0.1, 0.5),
    "so2": (0.1, 0.99),
    "so2_estimated": (0.5, 1.0),
    "so2_measured": (0.5, 1.0),
    "so2_pct": (60.0, 100.0),
    "start_error_kpa": (-1.0, 1.0),
    "start_h": (0.0, 2.0),
    "start_kpa": (4.0, 12.0),
    "store_ml_mmhg": (35.0, 60.0),
    "temperature_c": (20.0, 41.0),
    "tidal_volume_after_ml": (220.0, 900.0),
    "tidal_volume_before_ml": (220.0, 900.0),
    "tidal_volume_ml": (220.0, 900.0),
    "time_constant_min": (4.0, 30.0),
    "time_h": (0.0, 10.0),
    "time_min": (0.0, 90.0),
    "time_s": (0.0, 180.0),
    "total_co2_mmol_l": (15.0, 50.0),
    "total_flow_l_min": (15.0, 80.0),
    "tube_ml": (0.0, 15.0),
    "ulna_cm": (18.0, 34.0),
    "vco2_ml_min": (80.0, 350.0),
    "vco2_ratio": (0.8, 1.3),
    "vo2_ml_min": (100.0, 400.0),
    "volume_ml": (200.0, 900.0),
    "water_vapour_kpa": (6.0, 6.5),
    "weight_kg": (35.0, 160.0),
}
NEVER_COLUMNS = {"fio2_air", "sixth_power", "pk", "dpg_mmol_l", "water_vapour_kpa", "below_140_cm"}


def _public_functions():
    for info in pkgutil.iter_modules(hvmon.physiology.__path__):
        if info.name in NOT_EQUATIONS:
            continue
        module = importlib.import_module(f"hvmon.physiology.{info.name}")
        for name, function in inspect.getmembers(module, inspect.isfunction):
            if not name.startswith("_") and function.__module__ == module.__name__:
                yield pytest.param(function, id=f"{info.name}.{name}")


PUBLIC_FUNCTIONS = list(_public_functions())


def arguments_of(function):
    return [name for name in inspect.signature(function).parameters if name not in NEVER_COLUMNS]


def sample(function, seed, size=7):
    draw = np.random.default_rng(seed)
    columns = {}
    for name in arguments_of(function):
        low, high = SPANS[name]
        columns[name] = draw.uniform(low, high, size)
    if "male" in columns:
        columns["male"] = columns["male"] > 0.5
    return columns


def same(one, other):
    if isinstance(one, (str, bool)):
        return one == other
    return one == pytest.approx(other, rel=1e-10, abs=1e-12, nan_ok=True)


@pytest.mark.parametrize("function", PUBLIC_FUNCTIONS)
def test_every_argument_of_a_public_function_has_a_span_to_be_tested_over(function):
    assert set(arguments_of(function)) <= SPANS.keys()


@pytest.mark.parametrize("function", PUBLIC_FUNCTIONS)
@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_a_public_function_gives_the_same_for_floats_arrays_and_expressions(function, seed):
    columns = sample(function, seed)
    if not columns:
        assert isinstance(function(), float)
        return
    rows = [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]
    alone = [function(**{name: value.item() for name, value in row.items()}) for row in rows]
    arrays = function(**columns)
    expression = function(**{name: pl.col(name) for name in columns})
    column = pl.DataFrame(columns).select(out=expression).to_series().to_list()
    assert all(same(one, array) for one, array in zip(alone, arrays.tolist(), strict=True))
    assert all(same(one, cell) for one, cell in zip(alone, column, strict=True))


@pytest.mark.parametrize("function", PUBLIC_FUNCTIONS)
def test_a_float_in_gives_a_plain_float_a_label_or_a_yes_or_no(function):
    row = {name: float(column[0]) for name, column in sample(function, 1, size=1).items()}
    if "male" in row:
        row["male"] = bool(row["male"])
    assert type(function(**row)) in {float, bool} or isinstance(function(**row), str)


def keys_named(text):
    _, _, references = text.partition("References\n----------\n")
    return re.findall(r"\b(?:[A-Z][A-Za-z-]+\d{2,4}|FirstPrinciples|Project|Practice)\b", references)


@pytest.mark.parametrize("function", PUBLIC_FUNCTIONS)
def test_every_source_a_public_function_names_stands_in_the_bibliography(function):
    missing = [key for key in keys_named(inspect.getdoc(function)) if key not in BY_KEY]
    assert not missing


def test_public_functions_do_name_sources():
    naming = [param for param in PUBLIC_FUNCTIONS if keys_named(inspect.getdoc(param.values[0]))]
    assert len(naming) > 0.65 * len(PUBLIC_FUNCTIONS)
