"""CO2 output and energy expenditure.

Predicted resting expenditure is too high in this population: in tracheostomy-ventilated ALS measured
expenditure was 1130 kcal/day, a third below five equations (Siirala2010); on non-invasive ventilation the
median was 1149 (Georges2014). A CO2 output estimated from weight or equations carries an SD of 25 percent
or more.
"""

# mypy: disable-error-code="no-any-return"
# (the choice by sex is Any to the checker; the annotation states the type)

from hvmon.physiology.elementary import Condition, where
from hvmon.units import Number

USUAL_RQ = 0.85
"""Respiratory quotient of a mixed diet (common physiological constant)."""

VCO2_ML_KG = 3.0
"""[mL/min/kg ideal weight] 2.8 to 3, from memory."""

VCO2_RELATIVE_SD = 0.25
"""Own rule: relative SD of any CO2 output that was not measured (Project, from Siirala2010, Georges2014)."""

FEVER_PER_DEGREE = 0.14
"""Rise of CO2 output per degree Celsius of fever (FeverReview)."""

KCAL_DAY_PER_ML_MIN = 1.44
"""[min L/day/mL] minutes in a day over mL in a litre."""


def weir_kcal_day(vo2_ml_min: Number, vco2_ml_min: Number | float) -> Number:
    """Energy expenditure [kcal/day] from oxygen uptake and CO2 output [mL/min STPD].

    References
    ----------
    Weir1949, without urinary nitrogen.
    """
    return KCAL_DAY_PER_ML_MIN * (3.941 * vo2_ml_min + 1.106 * vco2_ml_min)


def vco2_from_expenditure_ml_min(expenditure_kcal_day: Number, rq: Number | float = USUAL_RQ) -> Number:
    """CO2 output [mL/min STPD] from energy expenditure [kcal/day] and respiratory quotient.

    References
    ----------
    Weir1949, solved for CO2.
    """
    return expenditure_kcal_day / (KCAL_DAY_PER_ML_MIN * (3.941 / rq + 1.106))


def vco2_from_weight_ml_min(ideal_weight_kg: Number, ml_min_kg: Number | float = VCO2_ML_KG) -> Number:
    """CO2 output [mL/min STPD] from ideal weight [kg]; a crude guide with an SD of 25 percent.

    References
    ----------
    VCO2PerKg.
    """
    return ideal_weight_kg * ml_min_kg


def expenditure_mifflin_kcal_day(
    weight_kg: Number, height_cm: Number | float, age_years: Number | float, *, male: Condition
) -> Number:
    """Resting expenditure [kcal/day] from weight [kg], height [cm], age [years] and sex.

    Adults; too high in ventilated neuromuscular disease.

    References
    ----------
    Mifflin1990, from memory.
    """
    return 10.0 * weight_kg + 6.25 * height_cm - 5.0 * age_years + where(male, 5.0, -161.0)


def expenditure_harris_benedict_kcal_day(
    weight_kg: Number, height_cm: Number | float, age_years: Number | float, *, male: Condition
) -> Number:
    """Resting expenditure [kcal/day] from weight [kg], height [cm], age [years] and sex.

    Adults; too high in ventilated neuromuscular disease.

    References
    ----------
    HarrisBenedict1919, from memory.
    """
    man = 66.473 + 13.7516 * weight_kg + 5.0033 * height_cm - 6.755 * age_years
    woman = 655.0955 + 9.5634 * weight_kg + 1.8496 * height_cm - 4.6756 * age_years
    return where(male, man, woman)


def vco2_with_fever_ml_min(vco2_ml_min: Number, degrees_above_37: Number | float) -> Number:
    """CO2 output [mL/min STPD] raised for fever [degrees Celsius above 37], 14 percent a degree.

    References
    ----------
    FeverReview.
    """
    return vco2_ml_min * (1.0 + FEVER_PER_DEGREE * degrees_above_37)
