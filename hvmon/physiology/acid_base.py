"""Henderson-Hasselbalch and what it says about a typed pH, PCO2 and bicarbonate.

Range: plasma at 37 C, pH 6.8 to 7.8. Analysers differ in constants (bicarbonate at pH 7.40 and
40 mmHg is 23.9 to 25.0 mmol/L between makes), so a trend recomputes bicarbonate with one set and keeps
the entered value beside it.
"""

# mypy: disable-error-code="no-any-return"
# (a power is Any to the checker; the annotation states the type)

from enum import StrEnum

from hvmon.physiology.elementary import Condition, Label, both, choose, log10
from hvmon.units import MMHG_PER_KPA, Number

PK = 6.1
"""Apparent dissociation exponent of carbonic acid in plasma at 37 C (CLSI-C46)."""

PK_CLSI = 6.105
"""The same as paired with 0.0307 in the text of the standard (CLSI-C46)."""

SOLUBILITY_MMOL_L_MMHG = 0.0307
"""[mmol/L/mmHg] CO2 in plasma at 37 C (CLSI-C46)."""

SOLUBILITY_MMOL_L_KPA = SOLUBILITY_MMOL_L_MMHG * MMHG_PER_KPA
"""[mmol/L/kPa] 0.23027."""

CONSISTENT_FLOOR_MMOL_L = 1.0
"""[mmol/L] own rule: rounding of the three printed numbers and constants never exceed it (Project)."""

CONSISTENT_FRACTION = 0.05
"""Own rule: rounding and constants together move bicarbonate by -4.4 to +3.6 percent (Project, computed)."""

CHECK_FRACTION = 0.10
"""Own rule: beyond it the three numbers cannot belong together (Project, computed)."""

SLIP_LOW, SLIP_HIGH = 6.5, 8.6
"""Own rule: entered over implied PCO2 within 7.5 times or divided by 1.15 (Project)."""


class Consistency(StrEnum):
    """Whether a typed pH, PCO2 and bicarbonate can belong to one gas."""

    CONSISTENT = "consistent"
    CHECK = "check"
    INCONSISTENT = "inconsistent"


class UnitSlip(StrEnum):
    """Which unit slip a PCO2 looks like beside its pH and bicarbonate."""

    NONE = "none"
    MMHG_IN_KPA_FIELD = "mmhg_in_kpa_field"
    KPA_IN_MMHG_FIELD = "kpa_in_mmhg_field"


def bicarbonate_mmol_l(ph: Number, pco2_kpa: Number | float, pk: float = PK) -> Number:
    """Actual bicarbonate [mmol/L] from pH and PCO2 [kPa].

    Valid pH 6.8 to 7.8, plasma, 37 C. The default constants are 6.1 and 0.0307 mmol/L/mmHg.

    Examples
    --------
    >>> round(bicarbonate_mmol_l(7.38, 7.3), 3)
    32.03

    References
    ----------
    CLSI-C46.
    """
    return SOLUBILITY_MMOL_L_KPA * pco2_kpa * 10.0 ** (ph - pk)


def bicarbonate_clsi_mmol_l(ph: Number, pco2_kpa: Number | float) -> Number:
    """Actual bicarbonate [mmol/L] from pH and PCO2 [kPa] with the exponent 6.105 of the standard.

    References
    ----------
    CLSI-C46, as quoted in one operator manual and in an open paper's Table 1.
    """
    return bicarbonate_mmol_l(ph, pco2_kpa, PK_CLSI)


def bicarbonate_log_form_mmol_l(ph: Number, pco2_kpa: Number | float) -> Number:
    """Actual bicarbonate [mmol/L] from pH and PCO2 [kPa] in the logarithmic form some analysers print.

    log HCO3 = pH - 7.608 + log PCO2 [mmHg]; equal to an exponent of 6.095.

    References
    ----------
    CLSI-C46, as quoted in a second operator manual.
    """
    return MMHG_PER_KPA * pco2_kpa * 10.0 ** (ph - 7.608)


def ph_from_bicarbonate(hco3_mmol_l: Number, pco2_kpa: Number | float) -> Number:
    """Give the pH from bicarbonate [mmol/L] and PCO2 [kPa].

    References
    ----------
    CLSI-C46.
    """
    return PK + log10(hco3_mmol_l / (SOLUBILITY_MMOL_L_KPA * pco2_kpa))


def pco2_from_bicarbonate_kpa(ph: Number, hco3_mmol_l: Number | float) -> Number:
    """Give the PCO2 [kPa] implied by pH and bicarbonate [mmol/L].

    References
    ----------
    CLSI-C46.
    """
    return hco3_mmol_l / (SOLUBILITY_MMOL_L_KPA * 10.0 ** (ph - PK))


def hydrogen_ion_from_pair_nmol_l(pco2_kpa: Number, hco3_mmol_l: Number | float) -> Number:
    """Hydrogen ion [nmol/L] from PCO2 [kPa] and bicarbonate [mmol/L]: 182.91 PCO2/HCO3.

    The bedside constant 180 (24 in mmHg) is 1.6 percent low.

    References
    ----------
    FirstPrinciples, with the constants of CLSI-C46.
    """
    return 10.0 ** (9.0 - PK) * SOLUBILITY_MMOL_L_KPA * pco2_kpa / hco3_mmol_l


def pk_kelman(ph: Number, temperature_c: Number | float = 37.0) -> Number:
    """Apparent dissociation exponent as it varies with pH and temperature [degree Celsius].

    References
    ----------
    Kelman1967.
    """
    return 6.086 + 0.042 * (7.4 - ph) + (38.0 - temperature_c) * (0.00472 + 0.00139 * (7.4 - ph))


def solubility_kelman_mmol_l_mmhg(temperature_c: Number) -> Number:
    """Give the CO2 solubility in plasma [mmol/L/mmHg] at a temperature [degree Celsius].

    References
    ----------
    Kelman1967.
    """
    below_body = 37.0 - temperature_c
    return 0.0307 + 0.00057 * below_body + 0.00002 * below_body**2


def ph_at_temperature(ph_37: Number, temperature_c: Number | float) -> Number:
    """Give the pH at body temperature [degree Celsius] from the pH measured at 37 C.

    Trends use 37 C values only; this explains a slip that was printed temperature-corrected.

    References
    ----------
    CLSI-C46, from memory.
    """
    return ph_37 + (-0.0147 + 0.0065 * (7.4 - ph_37)) * (temperature_c - 37.0)


def pco2_at_temperature_kpa(pco2_37_kpa: Number, temperature_c: Number | float) -> Number:
    """Give the PCO2 [kPa] at body temperature [degree Celsius] from the PCO2 measured at 37 C.

    References
    ----------
    CLSI-C46, from memory.
    """
    return pco2_37_kpa * 10.0 ** (0.019 * (temperature_c - 37.0))


def bicarbonate_difference_mmol_l(
    ph: Number, pco2_kpa: Number | float, hco3_mmol_l: Number | float
) -> Number:
    """Entered bicarbonate less the one pH and PCO2 [kPa] imply [mmol/L]."""
    return hco3_mmol_l - bicarbonate_mmol_l(ph, pco2_kpa)


def consistency(ph: Number, pco2_kpa: Number | float, hco3_mmol_l: Number | float) -> Label:
    """Say whether the three typed numbers can belong to one gas.

    Within the larger of 1.0 mmol/L and 5 percent: consistent. Up to 10 percent: check. Beyond:
    inconsistent. Percent of the implied bicarbonate.

    Notes
    -----
    It tests transcription only: the analyser computed bicarbonate from the other two. It cannot find a
    slip of 0.01 to 0.02 in pH, nor say which of the three is wrong. A *standard* bicarbonate typed as
    actual fails it in hypercapnia, and so does a laboratory total CO2.

    References
    ----------
    Project; false alarms 0.00 percent in 200 000 simulated clean triples.
    """
    implied = bicarbonate_mmol_l(ph, pco2_kpa)
    difference = abs(hco3_mmol_l - implied)
    return choose(
        (
            (difference <= CONSISTENT_FLOOR_MMOL_L, Consistency.CONSISTENT),
            (difference / implied <= CONSISTENT_FRACTION, Consistency.CONSISTENT),
            (difference / implied <= CHECK_FRACTION, Consistency.CHECK),
        ),
        Consistency.INCONSISTENT,
    )


def slip_ratio(ph: Number, pco2_kpa: Number | float, hco3_mmol_l: Number | float) -> Number:
    """Entered PCO2 [kPa] over the one pH and bicarbonate [mmol/L] imply."""
    return pco2_kpa / pco2_from_bicarbonate_kpa(ph, hco3_mmol_l)


def unit_slip(ph: Number, pco2_kpa: Number | float, hco3_mmol_l: Number | float) -> Label:
    """Say whether the PCO2 [kPa] looks like a number of the other pressure unit.

    A ratio of 6.5 to 8.6 means millimetres of mercury typed in a kPa field, its inverse the reverse.
    No hard limit can do this: 47 percent of such slips lie below a survived 50 kPa.

    References
    ----------
    Project.
    """
    ratio = slip_ratio(ph, pco2_kpa, hco3_mmol_l)
    return choose(
        (
            (both(ratio >= SLIP_LOW, ratio <= SLIP_HIGH), UnitSlip.MMHG_IN_KPA_FIELD),
            (both(ratio >= 1.0 / SLIP_HIGH, ratio <= 1.0 / SLIP_LOW), UnitSlip.KPA_IN_MMHG_FIELD),
        ),
        UnitSlip.NONE,
    )


def measured_total_co2_bicarbonate_mmol_l(total_co2_mmol_l: Number, pco2_kpa: Number | float) -> Number:
    """Bicarbonate [mmol/L] from a measured venous total CO2 [mmol/L] and PCO2 [kPa].

    Dissolved gas is subtracted. The apparent exponent of an acutely ill person scatters 6.06 to 6.15, so
    a comparison with the computed one is wide: 9 percent either way.

    References
    ----------
    PkInIllness.
    """
    return total_co2_mmol_l - SOLUBILITY_MMOL_L_KPA * pco2_kpa


def is_acidaemic(ph: Number) -> Condition:
    """Say whether the pH is below 7.35, the conventional limit.

    References
    ----------
    RCEM.
    """
    return ph < 7.35


def is_alkalaemic(ph: Number) -> Condition:
    """Say whether the pH is above 7.45, the conventional limit.

    References
    ----------
    RCEM.
    """
    return ph > 7.45
