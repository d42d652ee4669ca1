"""The body and the apparatus behind an estimate of ventilation: predicted weight and dead space."""

import math
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from hvmon.physiology.body_size import (
    PBW_LOWEST_HEIGHT_CM,
    height_from_ulna_child_cm,
    height_from_ulna_cm,
    predicted_body_weight_kg,
)
from hvmon.physiology.dead_space import (
    CHILD_TO_YEARS,
    INDIVIDUAL_SD_ML,
    airway_dead_space_child_ml_kg,
    airway_dead_space_ml,
    bohr_enghoff_ml,
    tracheostomy_dead_space_ml,
)
from hvmon.records.dossier import Dossier
from hvmon.stats.figure import Answered, Figure, Refused, Uncertain, carry, plain_figure
from hvmon.vocabulary import FilterKind, HeightMethod, Interface, Sex

ADULT_FROM_YEARS = 18
LOWEST_WEIGHT_KG = 20.0
ABSURD_HEIGHT_CM = (40.0, 230.0)
"""[cm] as the entry limits of the record."""

HEIGHT_SD_CM: dict[HeightMethod, float] = {
    HeightMethod.STANDING: 1.0,
    HeightMethod.RECUMBENT_LENGTH: 3.0,
    HeightMethod.ARM_SPAN: 4.0,
    HeightMethod.ULNA: 9.6,
    HeightMethod.DEMISPAN: 5.0,
    HeightMethod.KNEE_HEIGHT: 5.0,
    HeightMethod.REPORTED: 4.0,
    HeightMethod.NOT_RECORDED: 9.6,
}
"""[cm] SD of a height by how it was obtained. Ulna: limits of agreement of -19.8 to 5.7 cm (MUST2003 in
South African inpatients) are an SD of 6.5 about a mean of -7.05; as the mean differs between groups it is
not taken off but counted, root of 6.5 and 7.05 squared. Not recorded: as the widest. The others Project."""

FROM_ULNA_ADULT = "MUST2003 equations, from memory: to be checked"
FROM_ULNA_CHILD = "Gauld2004 equations"
"""Said wherever a height that hvmon worked out from the ulna is used."""

OF_ACTUAL = "a weight, for tidal volume per kg of actual weight"
"""What stands in where predicted weight is refused."""

INTERFACE_ML: dict[Interface, tuple[float, float]] = {
    Interface.NASAL_PILLOWS: (0.0, 60.0),
    Interface.NASAL_MASK: (0.0, 110.0),
    Interface.ORONASAL_MASK: (0.0, 165.0),
    Interface.TOTAL_FACE_MASK: (0.0, 370.0),
    Interface.MOUTHPIECE: (0.0, 20.0),
    Interface.TRACHEOSTOMY_CUFFED: (2.0, 15.0),
    Interface.TRACHEOSTOMY_UNCUFFED: (2.0, 15.0),
    Interface.NOT_RECORDED: (0.0, 370.0),
}
"""[mL] from wholly washed out by the port to the effective dead space of its kind: 110 to 370 over many
interfaces (Fodil2011), 165 one facial mask (Schettino2003); pillows, mouthpiece and tube Project."""

FILTER_ML: dict[FilterKind, tuple[float, float]] = {
    FilterKind.NONE: (0.0, 0.0),
    FilterKind.HEATED_HUMIDIFIER: (0.0, 0.0),
    FilterKind.BACTERIAL: (0.0, 60.0),
    FilterKind.FILTER_AND_HUMIDIFIER: (0.0, 60.0),
    FilterKind.HEAT_MOISTURE: (25.0, 90.0),
}
"""[mL] dead space of what sits between mask and port; zero when it sits at the machine (Project)."""


@dataclass(frozen=True, slots=True)
class DeadSpace:
    """Dead space and the parts it was made of."""

    total: Figure
    airway: Figure | None
    """None when it was measured whole."""
    apparatus_low_ml: float
    apparatus_high_ml: float
    method: str

    @property
    def measured(self) -> bool:
        """Whether it was measured rather than estimated from size."""
        return self.airway is None


@dataclass(frozen=True, slots=True)
class MeasuredDeadSpace:
    """A Bohr-Enghoff measurement, instrument and interface included."""

    paco2_kpa: float
    mixed_expired_pco2_kpa: float
    tidal_volume_ml: float
    relative_sd_pco2: float = 0.03
    relative_sd_volume: float = 0.05


@dataclass(frozen=True, slots=True)
class Body:
    """What an estimate of ventilation needs to know of the person and the apparatus."""

    predicted_weight: Answered
    height_method: HeightMethod
    weight_kg: float | None
    dead_space: DeadSpace | Refused


def body_of(
    dossier: Dossier,
    day: date,
    *,
    interface: Interface = Interface.NOT_RECORDED,
    filter_kind: FilterKind = FilterKind.NONE,
    below_140_cm: bool = False,
    measured: MeasuredDeadSpace | None = None,
) -> Body:
    """Give predicted weight and dead space of a person on a day.

    Parameters
    ----------
    dossier
        The person's record.
    interface, filter_kind
        What is worn and what sits in the circuit.
    below_140_cm
        Somebody has decided to use the adult equation below 140 cm.
    measured
        A Bohr-Enghoff measurement; it replaces every estimate.
    """
    person, age = dossier.person, dossier.age_on(day)
    method, height, worked_out = _height(dossier, age)
    weight = last_weight_kg(dossier, day)
    predicted = predicted_weight(
        height, method, person.sex, age, below_140_cm=below_140_cm, worked_out=worked_out
    )
    apparatus = _apparatus(interface, filter_kind)
    if measured is not None:
        space: DeadSpace | Refused = measured_dead_space(measured)
    else:
        airway = _airway(predicted, age, weight, tracheostomy=person.tracheostomy)
        space = airway if isinstance(airway, Refused) else whole_dead_space(airway, *apparatus)
    return Body(predicted, method, weight, space)


def last_weight_kg(dossier: Dossier, day: date) -> float | None:
    """Give the last weight up to a day [kg]; None when there is none."""
    weights = [held.record for held in dossier.weight if held.record.weighed_on <= day]
    return float(weights[-1].weight_kg) if weights else None


def predicted_weight(
    height_cm: float | None,
    method: HeightMethod,
    sex: Sex,
    age_years: int | None,
    *,
    below_140_cm: bool = False,
    worked_out: str = "",
) -> Answered:
    """Predicted weight [kg] with the uncertainty of the height's method, or why not.

    `worked_out` names the equations where the height was not recorded but worked out.

    References
    ----------
    ARDSNet2000; validity Martin2017.
    """
    refusal = _predicted_weight_refusal(height_cm, sex, age_years, below_140_cm=below_140_cm)
    if refusal is not None or height_cm is None:
        return refusal or Refused("height not recorded", "a height")
    male = sex == Sex.MALE
    value = predicted_body_weight_kg(height_cm, male=male, below_140_cm=below_140_cm)
    return plain_figure(
        value,
        0.91 * HEIGHT_SD_CM[method],
        "kg",
        assumes=(f"height {height_cm:.0f} cm by {method.value}{f' ({worked_out})' if worked_out else ''}",),
        sources=("ARDSNet2000", "Martin2017"),
    )


def _predicted_weight_refusal(
    height_cm: float | None, sex: Sex, age_years: int | None, *, below_140_cm: bool
) -> Refused | None:
    low, high = ABSURD_HEIGHT_CM
    if height_cm is None:
        return Refused("height not recorded", "a height, and how it was obtained")
    if not low <= height_cm <= high:
        return Refused(f"height_cm {height_cm:g} is outside {low:g} to {high:g}", "a height in centimetres")
    if sex == Sex.NOT_RECORDED:
        return Refused("sex not recorded", "the sex for reference equations")
    if age_years is not None and age_years < ADULT_FROM_YEARS:
        return Refused("predicted weight was made for adults", OF_ACTUAL)
    return _too_short(height_cm, sex, below_140_cm=below_140_cm)


def _too_short(height_cm: float, sex: Sex, *, below_140_cm: bool) -> Refused | None:
    if height_cm < PBW_LOWEST_HEIGHT_CM and not below_140_cm:
        return Refused(
            f"height {height_cm:g} cm is below 140 cm, where predicted weight has not been checked",
            f"a decision to use it there, or {OF_ACTUAL}",
        )
    if predicted_body_weight_kg(height_cm, male=sex == Sex.MALE, below_140_cm=True) < LOWEST_WEIGHT_KG:
        return Refused(
            f"height {height_cm:g} cm gives a predicted weight under {LOWEST_WEIGHT_KG:g} kg: the equation "
            "has no meaning there",
            OF_ACTUAL,
        )
    return None


def measured_dead_space(measured: MeasuredDeadSpace) -> DeadSpace | Refused:
    """Give the dead space of a Bohr-Enghoff measurement [mL].

    References
    ----------
    Enghoff1938.
    """
    if not 0.0 < measured.mixed_expired_pco2_kpa < measured.paco2_kpa:
        return Refused(
            f"mixed_expired_pco2_kpa {measured.mixed_expired_pco2_kpa:g} is not between 0 and paco2_kpa "
            f"{measured.paco2_kpa:g}",
            "both pressures of one measurement, in kPa",
        )
    if measured.tidal_volume_ml <= 0.0:
        return Refused(f"tidal_volume_ml {measured.tidal_volume_ml:g} is not above 0", "the volume measured")
    inputs = {
        "paco2_kpa": Uncertain(measured.paco2_kpa, measured.relative_sd_pco2 * measured.paco2_kpa),
        "mixed_expired_pco2_kpa": Uncertain(
            measured.mixed_expired_pco2_kpa, measured.relative_sd_pco2 * measured.mixed_expired_pco2_kpa
        ),
        "tidal_volume_ml": Uncertain(
            measured.tidal_volume_ml, measured.relative_sd_volume * measured.tidal_volume_ml
        ),
    }
    total = carry(bohr_enghoff_ml, inputs, "mL", sources=("Enghoff1938",))
    return DeadSpace(total, None, 0.0, 0.0, "measured, Bohr-Enghoff, apparatus included")


def whole_dead_space(airway: Figure, apparatus_low_ml: float, apparatus_high_ml: float) -> DeadSpace:
    """Add the apparatus, as a range with every value as likely, to the airway [mL]."""
    middle = (apparatus_low_ml + apparatus_high_ml) / 2.0
    spread = (apparatus_high_ml - apparatus_low_ml) / math.sqrt(12.0)
    total = plain_figure(
        airway.value + middle,
        math.hypot(airway.sd, spread),
        "mL",
        assumes=(
            *airway.assumes,
            f"interface and filter {apparatus_low_ml:.0f} to {apparatus_high_ml:.0f} mL",
        ),
        sources=(*airway.sources, "Fodil2011", "Schettino2003"),
    )
    # no dead space is negative
    total = replace(total, low_95=max(0.0, total.low_95))
    return DeadSpace(total, airway, apparatus_low_ml, apparatus_high_ml, "; ".join(airway.assumes))


def _height(dossier: Dossier, age_years: int | None) -> tuple[HeightMethod, float | None, str]:
    """Height as recorded; from the ulna only where no height was recorded, with the equations named."""
    person = dossier.person
    if isinstance(person.height_cm, Decimal):
        return person.height_method, float(person.height_cm), ""
    if person.ulna_cm is None or age_years is None or person.sex == Sex.NOT_RECORDED:
        return HeightMethod.NOT_RECORDED, None, ""
    adult = age_years >= ADULT_FROM_YEARS
    from_ulna = height_from_ulna_cm if adult else height_from_ulna_child_cm
    height = from_ulna(float(person.ulna_cm), float(age_years), male=person.sex == Sex.MALE)
    return HeightMethod.ULNA, height, FROM_ULNA_ADULT if adult else FROM_ULNA_CHILD


def _apparatus(interface: Interface, filter_kind: FilterKind) -> tuple[float, float]:
    mask_low, mask_high = INTERFACE_ML[interface]
    filter_low, filter_high = FILTER_ML[filter_kind]
    return mask_low + filter_low, mask_high + filter_high


def _airway(
    predicted: Answered, age_years: int | None, weight_kg: float | None, *, tracheostomy: bool
) -> Figure | Refused:
    """Airway dead space [mL] of an adult by predicted weight, of a child by age and weight."""
    if age_years is not None and age_years < ADULT_FROM_YEARS:
        return _child_airway(age_years, weight_kg, tracheostomy=tracheostomy)
    if isinstance(predicted, Refused):
        needs = predicted.needs.replace(OF_ACTUAL, "a measured dead space")
        return Refused(f"dead space from size: {predicted.reason}", needs)
    if tracheostomy:
        value, way = tracheostomy_dead_space_ml(predicted.value), "airway below a tracheostomy, 1.03 mL/kg"
    else:
        value, way = airway_dead_space_ml(predicted.value), "airway 2.2 mL per kg of predicted weight"
    return plain_figure(value, INDIVIDUAL_SD_ML, "mL", assumes=(way,), sources=("NumaNewth1996", "BrewerOrr"))


def _child_airway(age_years: int, weight_kg: float | None, *, tracheostomy: bool) -> Figure | Refused:
    if weight_kg is None:
        return Refused("dead space of a child: weight not recorded", "a weight")
    per_kg = airway_dead_space_child_ml_kg(min(float(age_years), CHILD_TO_YEARS))
    value = tracheostomy_dead_space_ml(weight_kg) if tracheostomy else per_kg * weight_kg
    way = "airway of a child by age and weight" + (", below a tracheostomy" if tracheostomy else "")
    # a third of the estimate: the adult's 40 mL would exceed a small child's whole dead space
    sd = min(INDIVIDUAL_SD_ML, value / 3.0)
    return plain_figure(value, sd, "mL", assumes=(way,), sources=("NumaNewth1996",))
