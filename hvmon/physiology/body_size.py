"""Predicted body weight, and height from a bone when a person cannot stand.

The method by which height was obtained is stored with it; tidal volume per kilogram is never recomputed
over a history in which the method changed.
"""

# mypy: disable-error-code="no-any-return"
# (the choice by sex is Any to the checker; the annotation states the type)

import math

from hvmon.physiology.elementary import Condition, where
from hvmon.units import Number

PBW_LOWEST_HEIGHT_CM = 140.0
"""[cm] own rule: the equation was made for adults; at 140 cm a woman gets 34 kg, at 100 cm minus 2
(Project; the equation holds for adults only, Martin2017)."""

OLDER_FROM_YEARS = 65.0
"""[years] age from which the ulna equations of MUST change."""


def predicted_body_weight_kg(height_cm: Number, *, male: Condition, below_140_cm: bool = False) -> Number:
    """Predicted body weight [kg] from height [cm] and sex.

    Adults. Below 140 cm it gives not-a-number unless ``below_140_cm`` says that somebody has decided to
    use it there.

    References
    ----------
    ARDSNet2000; validity Martin2017.
    """
    weight = where(male, 50.0, 45.5) + 0.91 * (height_cm - 152.4)
    return weight if below_140_cm else where(height_cm >= PBW_LOWEST_HEIGHT_CM, weight, math.nan)


def height_from_ulna_cm(ulna_cm: Number, age_years: Number | float, *, male: Condition) -> Number:
    """Height [cm] of an adult from ulna length [cm], age [years] and sex.

    From memory; another page gives women under 65 eleven centimetres more at 25 cm, so it is shown as an
    estimate to be checked. In South African inpatients limits of agreement were -19.8 to +5.7 cm; it
    over-estimates Asian and Black adults.

    References
    ----------
    MUST2003.
    """
    younger = where(male, 79.2, 95.6) + where(male, 3.60, 2.77) * ulna_cm
    older = where(male, 86.3, 80.4) + where(male, 3.15, 3.25) * ulna_cm
    return where(age_years < OLDER_FROM_YEARS, younger, older)


def height_from_ulna_child_cm(ulna_cm: Number, age_years: Number | float, *, male: Condition) -> Number:
    """Height [cm] of a child from ulna length [cm], age [years] and sex.

    In steroid-treated Duchenne dystrophy it over-estimates by 3.4, SD 2.9 cm.

    References
    ----------
    Gauld2004; the girls' coefficients from memory.
    """
    boy = 4.605 * ulna_cm + 1.308 * age_years + 28.003
    girl = 4.459 * ulna_cm + 1.315 * age_years + 31.485
    return where(male, boy, girl)


def height_from_demispan_cm(demispan_cm: Number, *, male: Condition) -> Number:
    """Height [cm] from demispan [cm] and sex.

    References
    ----------
    Bassey1986.
    """
    return where(male, 57.8, 60.1) + where(male, 1.40, 1.35) * demispan_cm


def height_from_knee_cm(knee_cm: Number, age_years: Number | float, *, male: Condition) -> Number:
    """Height [cm] from knee height [cm], age [years] and sex; made in people aged 60 and over.

    References
    ----------
    Chumlea1985.
    """
    man = 64.19 - 0.04 * age_years + 2.02 * knee_cm
    woman = 84.88 - 0.24 * age_years + 1.83 * knee_cm
    return where(male, man, woman)


def volume_per_weight_ml_kg(volume_ml: Number, weight_kg: Number | float) -> Number:
    """Volume [mL] per kilogram of predicted weight [mL/kg]."""
    return volume_ml / weight_kg
