"""Every conversion factor, once.

A value is kept in the unit it was entered in. These factors serve display, physiology and the
trend model; a clinical rule never compares across a conversion (see `hvmon.rules`).
"""

from enum import StrEnum
from typing import TypeVar

import numpy as np
import polars as pl

Number = TypeVar("Number", float, np.ndarray, pl.Expr)
"""A float, a numpy array or a polars expression: one body of operators serves all three."""

STANDARD_ATMOSPHERE_KPA = 101.325
"""[kPa] exact by definition (BIPM, SI brochure)."""

STANDARD_ATMOSPHERE_MMHG = 760.0
"""[mmHg] exact by definition of the torr; the conventional mmHg differs by 1.4e-7."""

KPA_PER_MMHG = STANDARD_ATMOSPHERE_KPA / STANDARD_ATMOSPHERE_MMHG
"""[kPa/mmHg] 0.13332237; first principles."""

MMHG_PER_KPA = STANDARD_ATMOSPHERE_MMHG / STANDARD_ATMOSPHERE_KPA
"""[mmHg/kPa] 7.5006168; first principles."""

KPA_PER_CMH2O = 0.0980665
"""[kPa/cmH2O] conventional centimetre of water; exact by definition."""

HB_G_DL_PER_MMOL_L = 1.6114
"""[(g/dL)/(mmol/L)] haemoglobin monomer 16114 g/mol; from memory, agrees with the ECF base-excess form."""

ZERO_CELSIUS_K = 273.15
"""[K] exact by definition."""

BODY_TEMPERATURE_K = 310.15
"""[K] 37 degrees Celsius."""

BODY_WATER_VAPOUR_MMHG = 47.0
"""[mmHg] saturated at 37 degrees Celsius; the value every alveolar-gas text uses (IAPWS-95 gives 47.12)."""

BODY_WATER_VAPOUR_KPA = 6.27
"""[kPa] the same in kPa texts."""


class PressureUnit(StrEnum):
    """Units in which a gas pressure is printed by an analyser."""

    KPA = "kPa"
    MMHG = "mmHg"


def kpa_from_mmhg(mmhg: Number) -> Number:
    """Pressure in kilopascal [kPa] from millimetres of mercury [mmHg]."""
    return mmhg * KPA_PER_MMHG


def mmhg_from_kpa(kpa: Number) -> Number:
    """Pressure in millimetres of mercury [mmHg] from kilopascal [kPa]."""
    return kpa * MMHG_PER_KPA


def kpa_from_cmh2o(cmh2o: Number) -> Number:
    """Pressure in kilopascal [kPa] from centimetres of water [cmH2O]."""
    return cmh2o * KPA_PER_CMH2O


def cmh2o_from_kpa(kpa: Number) -> Number:
    """Pressure in centimetres of water [cmH2O] from kilopascal [kPa]."""
    return kpa / KPA_PER_CMH2O


def hydrogen_ion_nmol_l(ph: Number) -> Number:
    """Hydrogen ion concentration [nmol/L] from pH: 10 ** (9 - pH), by definition."""
    h_nmol_l: Number = 10.0 ** (9.0 - ph)
    return h_nmol_l


def ph_from_hydrogen_ion(h_nmol_l: Number) -> Number:
    """Give the pH of a hydrogen ion concentration [nmol/L], by definition."""
    ph: Number = 9.0 - (h_nmol_l.log10() if isinstance(h_nmol_l, pl.Expr) else np.log10(h_nmol_l))
    return ph


def hb_mmol_l_from_g_dl(hb_g_dl: Number) -> Number:
    """Haemoglobin [mmol/L] from haemoglobin [g/dL]."""
    return hb_g_dl / HB_G_DL_PER_MMOL_L


def hb_g_dl_from_mmol_l(hb_mmol_l: Number) -> Number:
    """Haemoglobin [g/dL] from haemoglobin [mmol/L]."""
    return hb_mmol_l * HB_G_DL_PER_MMOL_L
