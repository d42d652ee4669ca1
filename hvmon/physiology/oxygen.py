"""The oxygen dissociation curve: functional saturation of adult haemoglobin, and its inverse.

Saturation is a fraction. Carboxy- and methaemoglobin make a fractional saturation 1.3 to 1.9 points
lower than a functional one. If an analyser derived sO2 from PO2 it carries no information here.
"""

# mypy: disable-error-code="no-any-return"
# (a power is Any to the checker; the annotation states the type)

from hvmon.physiology.elementary import Condition, cbrt, exp, ln, tanh, where
from hvmon.units import KPA_PER_MMHG, MMHG_PER_KPA, Number

P50_MMHG = 26.86
"""[mmHg] of the standard curve, from the exact inverse (Severinghaus1979)."""

KELMAN_NUMERATOR = (-8.5322289e3, 2.1214010e3, -6.7073989e1)
KELMAN_DENOMINATOR = (9.3596087e5, -3.1346258e4, 2.3961674e3, -67.104406)
"""Coefficients of Kelman1966, lowest power first, the highest power being 1."""

DISAGREEMENT_POINTS = 4.0
"""[points] own rule: measured against estimated saturation when PO2 is 7 kPa or more (Project)."""

DISAGREEMENT_POINTS_LOW_PO2 = 6.0
"""[points] own rule: the same below 7 kPa, where the curve is steep (Project)."""


def so2_severinghaus(po2_kpa: Number) -> Number:
    """Saturation [fraction] at PO2 [kPa], pH 7.40 and 37 C; stated error 0.0055.

    References
    ----------
    Severinghaus1979, Eq. 1.
    """
    po2_mmhg = po2_kpa * MMHG_PER_KPA
    return 1.0 / (23400.0 / (po2_mmhg**3 + 150.0 * po2_mmhg) + 1.0)


def po2_from_so2_kpa(so2: Number) -> Number:
    """PO2 [kPa] at which the standard curve gives a saturation [fraction, 0 to below 1].

    The exact inverse of Eq. 1; Severinghaus' own Eq. 2 is not (0.7 mmHg apart at 0.90, 4.4 at 0.99).

    References
    ----------
    Ellis1989.
    """
    i = 11700.0 * so2 / (1.0 - so2)
    root = (125000.0 + i**2) ** 0.5
    # the difference of cube roots is written as a quotient, which keeps its digits at low saturation
    high = cbrt(root + i)
    return KPA_PER_MMHG * (high - 50.0 / high)


def po2_severinghaus_eq2_kpa(so2: Number, sixth_power: float = 0.17) -> Number:
    """PO2 [kPa] from saturation [fraction] by Severinghaus' second equation.

    Not the inverse of the first. Kept for comparison; ``sixth_power`` is 0.17 as printed, one sixth in
    some code. Use `po2_from_so2_kpa`.

    References
    ----------
    Severinghaus1979, Eq. 2.
    """
    ln_po2 = 0.385 * ln(so2 / (1.0 - so2)) + 3.32 - 1.0 / (72.0 * so2) - sixth_power * so2**6
    return KPA_PER_MMHG * exp(ln_po2)


def po2_at_standard_ph_kpa(po2_kpa: Number, ph: Number | float) -> Number:
    """PO2 [kPa] moved to pH 7.40: what the standard curve takes for blood of another pH.

    A first-order step, good for pH 7.2 to 7.6.

    References
    ----------
    Severinghaus1979, Eq. 4.
    """
    slope = (po2_kpa * MMHG_PER_KPA / 26.6) ** 0.184 - 2.2
    return po2_kpa * exp((7.4 - ph) * slope)


def po2_at_standard_kpa(po2_kpa: Number, ph: Number | float, temperature_c: Number | float = 37.0) -> Number:
    """PO2 [kPa] moved to pH 7.40 and 37 C, both first-order steps from the PO2 as it is.

    Its temperature step, 7.1 percent a degree at 60 mmHg, is steeper than the 5.5 percent of
    `so2_siggaard_andersen`, which the tool uses: at 39 C and 8 kPa they lie 1.1 points apart.

    References
    ----------
    Severinghaus1979, Eq. 3 and 4.
    """
    warmth = (37.0 - temperature_c) * po2_temperature_coefficient(po2_kpa)
    return po2_at_standard_ph_kpa(po2_kpa, ph) * exp(warmth)


def so2_severinghaus_at(po2_kpa: Number, ph: Number | float, temperature_c: Number | float = 37.0) -> Number:
    """Saturation [fraction] at PO2 [kPa], pH and temperature [degree Celsius].

    References
    ----------
    Severinghaus1979, Eq. 1, 3 and 4.
    """
    return so2_severinghaus(po2_at_standard_kpa(po2_kpa, ph, temperature_c))


def po2_temperature_coefficient(po2_kpa: Number) -> Number:
    """Relative change of PO2 per degree Celsius at constant content, d ln PO2 / dT, at PO2 [kPa].

    References
    ----------
    Severinghaus1979, Eq. 3.
    """
    return 0.058 / ((0.243 * po2_kpa * MMHG_PER_KPA / 100.0) ** 3.88 + 1.0) + 0.013


def so2_slope_per_kpa(po2_kpa: Number) -> Number:
    """Steepness of the standard curve [fraction per kPa] at PO2 [kPa]; for error propagation.

    References
    ----------
    Severinghaus1979, derivative of Eq. 1.
    """
    po2_mmhg = po2_kpa * MMHG_PER_KPA
    cubic = po2_mmhg**3 + 150.0 * po2_mmhg
    return MMHG_PER_KPA * 23400.0 * (3.0 * po2_mmhg**2 + 150.0) / (cubic + 23400.0) ** 2


def so2_siggaard_andersen(
    po2_kpa: Number,
    ph: Number | float = 7.4,
    temperature_c: Number | float = 37.0,
    base_excess_mmol_l: Number | float = 0.0,
    dpg_mmol_l: float = 5.0,
) -> Number:
    """Saturation [fraction] from PO2 [kPa], pH, temperature, base excess and DPG; the one the tool uses.

    Parameters
    ----------
    po2_kpa
        PO2 [kPa], above 0.
    ph, temperature_c
        pH and body temperature [degree Celsius].
    base_excess_mmol_l
        Base excess of blood [mmol/L].
    dpg_mmol_l
        2,3-diphosphoglycerate [mmol/L].

    Notes
    -----
    At most 0.42 points from Severinghaus' table at standard conditions.

    References
    ----------
    SiggaardAndersen1984, abstract.
    """
    shift = 1.04 * (7.4 - ph) + 0.005 * base_excess_mmol_l + 0.07 * (dpg_mmol_l - 5.0)
    x = ln(po2_kpa) - (1.946 + shift + 0.055 * (temperature_c - 37.0))
    y = 1.875 + x + (3.5 + shift) * tanh(0.5343 * x)
    return 1.0 / (1.0 + exp(-y))


def virtual_po2_kelman_kpa(
    po2_kpa: Number, ph: Number | float, pco2_kpa: Number | float, temperature_c: Number | float = 37.0
) -> Number:
    """PO2 [kPa] moved to pH 7.40, PCO2 40 mmHg and 37 C.

    Takes PO2 [kPa], pH, PCO2 [kPa] and temperature [degree Celsius].

    References
    ----------
    Kelman1966.
    """
    # log10(40 / PCO2) x 0.06 as a power, so that operators suffice
    bohr = 10.0 ** (0.024 * (37.0 - temperature_c) + 0.40 * (ph - 7.4))
    return po2_kpa * bohr * (40.0 / (MMHG_PER_KPA * pco2_kpa)) ** 0.06


def so2_kelman(po2_kpa: Number) -> Number:
    """Saturation [fraction] by Kelman's polynomial at virtual PO2 [kPa].

    Not below 25 mmHg (3.3 kPa): off by more than two points at 16 to 18 mmHg, negative below 5. Kept for
    comparison.

    References
    ----------
    Kelman1966.
    """
    x = po2_kpa * MMHG_PER_KPA
    a1, a2, a3 = KELMAN_NUMERATOR
    a4, a5, a6, a7 = KELMAN_DENOMINATOR
    return x * (x * (x * (x + a3) + a2) + a1) / (x * (x * (x * (x + a7) + a6) + a5) + a4)


def saturation_disagrees(so2_measured: Number, so2_estimated: Number | float, po2_kpa: Number) -> Condition:
    """Say whether a measured and an estimated saturation [fractions] are too far apart at PO2 [kPa].

    More than 4 points at 7 kPa and above, more than 6 below. What it can mean: carboxy- or
    methaemoglobin, a venous sample, a unit slip, a shifted curve, a sample at another oxygen flow.

    References
    ----------
    Project.
    """
    allowed = where(po2_kpa >= 7.0, DISAGREEMENT_POINTS, DISAGREEMENT_POINTS_LOW_PO2)
    return abs(so2_measured - so2_estimated) * 100.0 > allowed
