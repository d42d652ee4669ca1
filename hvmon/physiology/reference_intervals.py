"""Reference intervals of blood gases, by set, analyte and specimen."""

from dataclasses import dataclass
from enum import StrEnum

PAO2_KPA_PER_DECADE = -0.29
"""[kPa per 10 years] change of arterial PO2 with age (Klaestrup2011)."""


class Analyte(StrEnum):
    """What the interval is of, with its unit."""

    PH = "ph"
    PCO2_KPA = "pco2_kpa"
    PO2_KPA = "po2_kpa"
    HCO3_MMOL_L = "hco3_mmol_l"
    BASE_EXCESS_MMOL_L = "be_mmol_l"
    SO2_PCT = "so2_pct"


class Specimen(StrEnum):
    """Which blood."""

    ARTERIAL = "arterial"
    VENOUS = "venous"
    CAPILLARY = "capillary"


class IntervalSet(StrEnum):
    """Which published set."""

    CONVENTIONAL = "conventional_rcem"
    KLAESTRUP_2011 = "klaestrup_2011"
    DAVIS = "davis"


@dataclass(frozen=True, slots=True)
class Interval:
    """A reference interval with its source."""

    low: float
    high: float
    source: str
    doubt: str = ""
    """Why it is not to be shown; empty when it may be."""


_DOUBT = "lower PCO2 and bicarbonate than arterial blood: looks wrong, kept for the record only"

INTERVALS: dict[tuple[IntervalSet, Specimen, Analyte], Interval] = {
    (IntervalSet.CONVENTIONAL, Specimen.ARTERIAL, Analyte.PH): Interval(7.35, 7.45, "RCEM"),
    (IntervalSet.CONVENTIONAL, Specimen.ARTERIAL, Analyte.PCO2_KPA): Interval(4.67, 6.00, "RCEM"),
    (IntervalSet.CONVENTIONAL, Specimen.ARTERIAL, Analyte.PO2_KPA): Interval(10.67, 13.33, "RCEM"),
    (IntervalSet.CONVENTIONAL, Specimen.ARTERIAL, Analyte.HCO3_MMOL_L): Interval(23.0, 28.0, "RCEM"),
    (IntervalSet.CONVENTIONAL, Specimen.ARTERIAL, Analyte.BASE_EXCESS_MMOL_L): Interval(-2.0, 2.0, "RCEM"),
    (IntervalSet.CONVENTIONAL, Specimen.ARTERIAL, Analyte.SO2_PCT): Interval(95.0, 98.0, "TimeOfCare"),
    (IntervalSet.KLAESTRUP_2011, Specimen.ARTERIAL, Analyte.PH): Interval(7.38, 7.46, "Klaestrup2011"),
    (IntervalSet.KLAESTRUP_2011, Specimen.ARTERIAL, Analyte.PCO2_KPA): Interval(4.3, 6.0, "Klaestrup2011"),
    (IntervalSet.KLAESTRUP_2011, Specimen.ARTERIAL, Analyte.HCO3_MMOL_L): Interval(
        21.0, 27.0, "Klaestrup2011"
    ),
    (IntervalSet.KLAESTRUP_2011, Specimen.ARTERIAL, Analyte.BASE_EXCESS_MMOL_L): Interval(
        -3.0, 2.8, "Klaestrup2011"
    ),
    (IntervalSet.KLAESTRUP_2011, Specimen.ARTERIAL, Analyte.SO2_PCT): Interval(97.0, 99.0, "Klaestrup2011"),
    (IntervalSet.DAVIS, Specimen.VENOUS, Analyte.PCO2_KPA): Interval(5.4, 6.8, "DavisLab"),
    (IntervalSet.DAVIS, Specimen.VENOUS, Analyte.PO2_KPA): Interval(2.7, 6.5, "DavisLab"),
    (IntervalSet.DAVIS, Specimen.VENOUS, Analyte.HCO3_MMOL_L): Interval(24.0, 28.0, "DavisLab"),
    (IntervalSet.DAVIS, Specimen.CAPILLARY, Analyte.PCO2_KPA): Interval(3.5, 5.4, "DavisLab", _DOUBT),
    (IntervalSet.DAVIS, Specimen.CAPILLARY, Analyte.PO2_KPA): Interval(10.6, 12.6, "DavisLab", _DOUBT),
    (IntervalSet.DAVIS, Specimen.CAPILLARY, Analyte.HCO3_MMOL_L): Interval(18.0, 23.0, "DavisLab", _DOUBT),
}

KLAESTRUP_PO2_BY_AGE: tuple[tuple[float, Interval], ...] = (
    (20.0, Interval(11.1, 15.1, "Klaestrup2011")),
    (40.0, Interval(9.3, 14.7, "Klaestrup2011", doubt="37 people")),
)
"""From-age [years] and arterial PO2 [kPa], to 76 years."""


def interval(analyte: Analyte, specimen: Specimen, interval_set: IntervalSet) -> Interval:
    """Give the reference interval of an analyte in a specimen from a set.

    Raises
    ------
    LookupError
        The set has no such interval; PO2 of Klaestrup2011 depends on age, see `arterial_po2_interval`.
    """
    found = INTERVALS.get((interval_set, specimen, analyte))
    if found is None:
        have = sorted(f"{a} in {s} blood" for i, s, a in INTERVALS if i is interval_set)
        raise LookupError(f"{interval_set} has no interval of {analyte} in {specimen} blood; it has {have}")
    return found


def arterial_po2_interval(age_years: float) -> Interval:
    """Arterial PO2 interval [kPa] at an age [years], 20 to 76.

    Raises
    ------
    ValueError
        The age lies outside the people studied.

    References
    ----------
    Klaestrup2011.
    """
    if not 20.0 <= age_years <= 76.0:
        raise ValueError(f"age_years {age_years}: the set holds people of 20 to 76 years")
    return max((pair for pair in KLAESTRUP_PO2_BY_AGE if pair[0] <= age_years), key=lambda pair: pair[0])[1]
