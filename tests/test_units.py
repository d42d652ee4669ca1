import numpy as np
import polars as pl
import pytest
import scipy.constants
from hypothesis import given
from hypothesis import strategies as st

from hvmon import units

PAIRS = [
    (units.kpa_from_mmhg, units.mmhg_from_kpa, (0.1, 800.0)),
    (units.kpa_from_cmh2o, units.cmh2o_from_kpa, (0.1, 100.0)),
    (units.hydrogen_ion_nmol_l, units.ph_from_hydrogen_ion, (6.0, 8.5)),
    (units.hb_mmol_l_from_g_dl, units.hb_g_dl_from_mmol_l, (1.0, 26.0)),
]


@pytest.mark.parametrize(("there", "back", "span"), PAIRS)
@given(share=st.floats(0, 1))
def test_a_conversion_and_its_inverse_return_the_value(there, back, span, share):
    value = span[0] + share * (span[1] - span[0])
    assert back(there(value)) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize("convert", [f for pair in PAIRS for f in pair[:2]])
def test_a_conversion_gives_the_same_for_a_float_an_array_and_an_expression(convert):
    values = [6.5, 7.0, 7.4, 8.0]
    alone = [convert(value) for value in values]
    column = pl.DataFrame({"x": values}).select(convert(pl.col("x"))).to_series().to_list()
    assert alone == pytest.approx(list(convert(np.array(values))), rel=1e-14)
    assert alone == pytest.approx(column, rel=1e-14)


def test_the_mmhg_is_the_torr_of_the_constants_table():
    assert pytest.approx(scipy.constants.mmHg, rel=1e-12) == units.KPA_PER_MMHG * 1000


def test_45_mmhg_is_not_6_kpa_nor_the_reverse():
    # the conversion is never rounded: 45 mmHg lies below 6.0 kPa and 6.0 kPa above 45 mmHg
    assert units.kpa_from_mmhg(45.0) < 6.0
    assert units.mmhg_from_kpa(6.0) > 45.0
