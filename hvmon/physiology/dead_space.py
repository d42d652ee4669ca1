"""Dead space: airway by size, by age, with a tracheostomy, measured, and that of the interface.

Body weight explains almost nothing in the individual (r2 0.0002 in 58 people, BrewerOrr), so every
airway estimate carries an SD of 40 mL or more.
"""

# mypy: disable-error-code="no-any-return"
# (a logarithm is Any to the checker; the annotation states the type)

from hvmon.physiology.elementary import ln
from hvmon.units import Number

AIRWAY_ML_KG = 2.2
"""[mL/kg predicted weight] adults (NumaNewth1996)."""

TRACHEOSTOMY_ML_KG = 1.03
"""[mL/kg] the intrathoracic share, what a tracheostomy leaves, tube apart (NumaNewth1996)."""

INDIVIDUAL_SD_ML = 40.0
"""[mL] smallest honest SD of an adult's dead space estimated from size (BrewerOrr; Astrom2000)."""

INTERFACE_LOW_ML, INTERFACE_HIGH_ML = 110.0, 370.0
"""[mL] effective dead space of interfaces; not their internal volume (Fodil2011)."""

PHYSIOLOGICAL_MEN_ML, PHYSIOLOGICAL_WOMEN_ML = 201.0, 150.0
"""[mL] physiological dead space of healthy men (SD 41) and women (SD 34) (Astrom2000)."""

CHILD_TO_YEARS = 14.0
"""[years] age to which the children's equation was made (NumaNewth1996)."""


def airway_dead_space_ml(predicted_weight_kg: Number) -> Number:
    """Airway dead space of an adult [mL] from predicted weight [kg].

    References
    ----------
    NumaNewth1996.
    """
    return AIRWAY_ML_KG * predicted_weight_kg


def airway_dead_space_child_ml_kg(age_years: Number) -> Number:
    """Airway dead space of a child [mL/kg] from age [years], birth to 14 years.

    References
    ----------
    NumaNewth1996, abstract.
    """
    return 3.28 - 0.56 * ln(1.0 + age_years)


def tracheostomy_dead_space_ml(predicted_weight_kg: Number, tube_ml: Number | float = 0.0) -> Number:
    """Airway dead space with a tracheostomy [mL] from predicted weight [kg] and the tube's volume [mL].

    References
    ----------
    NumaNewth1996, intrathoracic share.
    """
    return TRACHEOSTOMY_ML_KG * predicted_weight_kg + tube_ml


def bohr_enghoff_fraction(paco2_kpa: Number, mixed_expired_pco2_kpa: Number | float) -> Number:
    """Physiological dead space as a fraction of tidal volume, from arterial and mixed expired PCO2.

    Both in one unit. Enghoff's form counts shunt as dead space.

    References
    ----------
    Enghoff1938.
    """
    return (paco2_kpa - mixed_expired_pco2_kpa) / paco2_kpa


def bohr_enghoff_ml(
    paco2_kpa: Number, mixed_expired_pco2_kpa: Number | float, tidal_volume_ml: Number | float
) -> Number:
    """Physiological dead space [mL], instrument included, from two PCO2 [kPa] and tidal volume [mL].

    References
    ----------
    Enghoff1938.
    """
    return bohr_enghoff_fraction(paco2_kpa, mixed_expired_pco2_kpa) * tidal_volume_ml
