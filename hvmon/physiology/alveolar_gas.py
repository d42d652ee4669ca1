"""Alveolar oxygen: inspired pressure, the alveolar gas equation, the alveolar-arterial difference.

Steady state only. On a ventilator alveolar pressure adds about 0.1 kPa per cmH2O times the inspired
fraction. Never computed from a nasal-cannula rule of thumb without saying so.
"""

from hvmon.physiology.elementary import Condition
from hvmon.units import BODY_WATER_VAPOUR_KPA, KPA_PER_MMHG, Number

USUAL_R = 0.8
"""Respiratory exchange ratio usually taken; 0.7 to 1.0 occur (common physiological constant)."""

PLAUSIBLE_MARGIN_KPA = 1.0
"""[kPa] own rule: analytical error allowed above the largest possible PO2 (Project)."""


def inspired_po2_kpa(
    fio2: Number, barometric_kpa: Number | float, water_vapour_kpa: float = BODY_WATER_VAPOUR_KPA
) -> Number:
    """Inspired PO2 [kPa], humidified, from the inspired fraction and barometric pressure [kPa].

    References
    ----------
    FirstPrinciples.
    """
    return fio2 * (barometric_kpa - water_vapour_kpa)


def alveolar_po2_kpa(
    inspired_kpa: Number, paco2_kpa: Number | float, fio2: Number | float, r: Number | float = USUAL_R
) -> Number:
    """Alveolar PO2 [kPa] by the full equation.

    Parameters
    ----------
    inspired_kpa
        Inspired PO2 [kPa], see `inspired_po2_kpa`.
    paco2_kpa
        Arterial PCO2 [kPa].
    fio2
        Inspired oxygen fraction.
    r
        Respiratory exchange ratio.

    Notes
    -----
    On air it lies 0.0525 PaCO2 above the abbreviated form (0.42 kPa at 8 kPa), so the full form is the
    one to use in hypercapnia.

    References
    ----------
    FennRahnOtis1946.
    """
    return inspired_kpa - paco2_kpa * (fio2 + (1.0 - fio2) / r)


def alveolar_po2_abbreviated_kpa(
    inspired_kpa: Number, paco2_kpa: Number | float, r: Number | float = USUAL_R
) -> Number:
    """Alveolar PO2 [kPa] by the abbreviated equation, from inspired PO2 and PaCO2 [kPa].

    References
    ----------
    FennRahnOtis1946, without the nitrogen term.
    """
    return inspired_kpa - paco2_kpa / r


def alveolar_arterial_difference_kpa(alveolar_kpa: Number, pao2_kpa: Number | float) -> Number:
    """Alveolar less arterial PO2 [kPa], both [kPa]."""
    return alveolar_kpa - pao2_kpa


def expected_difference_quarter_kpa(age_years: Number) -> Number:
    """Upper bound [kPa] of the alveolar-arterial difference on air at an age [years]: age/4 + 4 mmHg.

    Not to be mixed with `expected_difference_linear_kpa`, which is a mean.

    References
    ----------
    AaQuarter.
    """
    return KPA_PER_MMHG * (age_years / 4.0 + 4.0)


def expected_difference_linear_kpa(age_years: Number) -> Number:
    """Mean alveolar-arterial difference [kPa] on air at an age [years]: 2.5 + 0.21 age mmHg.

    References
    ----------
    Mellemgaard1966.
    """
    return KPA_PER_MMHG * (2.5 + 0.21 * age_years)


def pf_ratio_kpa(pao2_kpa: Number, fio2: Number | float) -> Number:
    """Ratio of arterial PO2 [kPa] to a *known* inspired fraction [kPa]; 40 kPa is 300 mmHg."""
    return pao2_kpa / fio2


def pao2_is_possible(inspired_kpa: Number, paco2_kpa: Number | float, pao2_kpa: Number | float) -> Condition:
    """Say whether an arterial PO2 is physically possible at this inspired PO2 and PaCO2, all [kPa].

    Above inspired PO2 less PaCO2 plus 1 kPa it is not: the fraction is wrong, oxygen was on, or there
    was an air bubble.

    References
    ----------
    Project; the bound is the alveolar gas equation at an exchange ratio of 1.
    """
    return pao2_kpa <= inspired_kpa - paco2_kpa + PLAUSIBLE_MARGIN_KPA
