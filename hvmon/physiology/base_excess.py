"""Base excess in its forms, and standard bicarbonate. The field must say which form it holds.

Blood and extracellular base excess differ by about 2 mmol/L in hypercapnia; forms differ among
themselves by 0.9 to 1.5 mmol/L (LangZander2002), so a reported value is questioned only when it lies more
than 3 mmol/L from the tool's own.
"""

# mypy: disable-error-code="no-any-return"
# (a power is Any to the checker; the annotation states the type)

from typing import Any

from hvmon.physiology.acid_base import PK, SOLUBILITY_MMOL_L_MMHG
from hvmon.physiology.elementary import AnyNumber, exp, ln, log10
from hvmon.units import MMHG_PER_KPA, Number

QUESTION_BEYOND_MMOL_L = 3.0
"""[mmol/L] own rule (Project), twice the largest mean error between forms."""

STANDARD_PCO2_MMHG = 40.0
"""[mmHg] at which standard bicarbonate is defined."""

LN_10 = 2.302585092994046


def base_excess_blood_mmol_l(ph: Number, hco3_mmol_l: Number | float, hb_g_dl: Number | float) -> Number:
    """Give the base excess of blood [mmol/L] from pH, bicarbonate [mmol/L] and haemoglobin [g/dL].

    References
    ----------
    CLSI-C46. The standard pairs it with an exponent that gives a perfect gas -0.46: do not colour that.
    """
    return (1.0 - 0.014 * hb_g_dl) * (hco3_mmol_l - 24.8 + (1.43 * hb_g_dl + 7.7) * (ph - 7.40))


def base_excess_extracellular_mmol_l(ph: Number, hco3_mmol_l: Number | float) -> Number:
    """Give the base excess of extracellular fluid [mmol/L] from pH and bicarbonate [mmol/L].

    References
    ----------
    CLSI-C46.
    """
    return hco3_mmol_l - 24.8 + 16.2 * (ph - 7.40)


def base_excess_siggaard_andersen_mmol_l(
    ph: Number, hco3_mmol_l: Number | float, hb_mmol_l: Number | float
) -> Number:
    """Give the base excess of blood [mmol/L] from pH, bicarbonate [mmol/L] and haemoglobin [mmol/L].

    References
    ----------
    SiggaardAndersen1977, the Van Slyke equation.
    """
    return (1.0 - 0.023 * hb_mmol_l) * (hco3_mmol_l - 24.4 + (2.3 * hb_mmol_l + 7.7) * (ph - 7.40))


def base_excess_one_line_mmol_l(ph: Number, pco2_kpa: Number | float) -> Number:
    """Give the base excess of extracellular fluid [mmol/L] from pH and PCO2 [kPa], in one line.

    Uses a solubility of 0.03, so a perfect gas gives -0.45.

    References
    ----------
    Cornell.
    """
    return 0.02786 * MMHG_PER_KPA * pco2_kpa * 10.0 ** (ph - 6.1) + 13.77 * ph - 124.58


def base_excess_zander_mmol_l(
    ph: Number, pco2_kpa: Number | float, hb_g_dl: Number | float, so2: Number | float
) -> Number:
    """Give the base excess of blood [mmol/L], corrected for oxygen saturation.

    Parameters
    ----------
    ph
        pH at 37 C.
    pco2_kpa
        PCO2 [kPa].
    hb_g_dl
        Haemoglobin [g/dL].
    so2
        Saturation as a fraction.

    References
    ----------
    LangZander2002, abstract.
    """
    hco3 = 0.0304 * MMHG_PER_KPA * pco2_kpa * 10.0 ** (ph - 6.1)
    bracket = hco3 - 24.26 + (9.5 + 1.63 * hb_g_dl) * (ph - 7.4)
    return (1.0 - 0.0143 * hb_g_dl) * bracket - 0.2 * hb_g_dl * (1.0 - so2)


def standard_bicarbonate_mmol_l(ph: Number, pco2_kpa: Number | float, hb_g_dl: Number | float) -> Number:
    """Bicarbonate [mmol/L] this blood would have at PCO2 40 mmHg, 37 C and the same blood base excess.

    Takes pH, PCO2 [kPa] and haemoglobin [g/dL]. Solved in closed form
    (the equation is that of the Wright omega function) to better than 1e-6 mmol/L over pH 6.8 to 7.8.

    References
    ----------
    CLSI-C46 base excess; the definition of standard bicarbonate.
    """
    hco3 = SOLUBILITY_MMOL_L_MMHG * MMHG_PER_KPA * pco2_kpa * 10.0 ** (ph - PK)
    slope = 1.43 * hb_g_dl + 7.7
    # standard + slope x (pH at 40 mmHg - 7.40) = goal, and that pH is PK + log10(standard / at_40)
    goal = hco3 + slope * (ph - 7.40) - slope * (PK - 7.40)
    at_40 = SOLUBILITY_MMOL_L_MMHG * STANDARD_PCO2_MMHG
    scale = slope / LN_10
    return scale * _omega(goal / scale + log10(at_40 / scale) * LN_10)


def _omega(x: AnyNumber) -> Any:  # noqa: ANN401 - the form of x
    """Solve w + ln w = x: a global guess and one step of fourth order (Fritsch, Shafer and Crowley 1973)."""
    y = ln(1.0 + exp(x))
    w = y * (1.0 - ln(1.0 + y) / (2.0 + y))
    z = x - w - ln(w)
    q = 2.0 * (1.0 + w) * (1.0 + w + 2.0 * z / 3.0)
    return w * (1.0 + z / (1.0 + w) * (q - z) / (q - 2.0 * z))


def standard_bicarbonate_linear_mmol_l(
    base_excess_mmol_l: Number, hb_g_dl: Number | float, so2_pct: Number | float
) -> Number:
    """Linear form of standard bicarbonate [mmol/L] that an analyser manual prints.

    Takes blood base excess [mmol/L], haemoglobin [g/dL] and saturation [percent]; within 0.25 mmol/L of
    the definition.

    References
    ----------
    AnalyserManual.
    """
    return 25.0 + 0.78 * base_excess_mmol_l + 0.002 * hb_g_dl * (so2_pct - 100.0)
