"""Expected bicarbonate in respiratory disorders, and how chronic a hypercapnia looks.

With the slope 0.35 a person stable at 60 mmHg is expected at pH 7.33, and one stable at 7.36 to 7.38
would be called "metabolic alkalosis"; the default slope is 0.40 and the band 0.35 to 0.51 is shown.
Bicarbonate lags PCO2 by days.
"""

import math
from enum import StrEnum

from hvmon.physiology.acid_base import ph_from_bicarbonate
from hvmon.physiology.elementary import Condition, Label, choose, where
from hvmon.units import KPA_PER_MMHG, MMHG_PER_KPA, Number

NORMAL_HCO3_MMOL_L = 24.0
NORMAL_PCO2_MMHG = 40.0

ACUTE_SLOPE = 0.10
"""[mmol/L per mmHg] acute respiratory acidosis (CompensationTables)."""

CHRONIC_SLOPE = 0.40
"""[mmol/L per mmHg] chronic respiratory acidosis, the default (CompensationTables: 0.35 to 0.40)."""

CHRONIC_SLOPE_LOW, CHRONIC_SLOPE_HIGH = 0.35, 0.51
"""[mmol/L per mmHg] the band that is shown (CompensationTables; Martinu2003 from memory)."""

ACUTE_ALKALOSIS_SLOPE, CHRONIC_ALKALOSIS_SLOPE = 0.20, 0.45
"""[mmol/L per mmHg] respiratory alkalosis, chronic 0.40 to 0.50 (CompensationTables)."""

INDETERMINATE_BELOW_MMHG = 10.0
"""[mmHg above 40] own rule: below it one gas cannot tell acute from chronic (Project: with an SD of 1.5
mmol/L, 32 percent are misplaced at 45 mmHg, 18 at 50, 9 at 55, 3 at 60)."""

BAND_MMOL_L = 2.0
"""[mmol/L] half-width of the zone drawn about a compensation line (Project)."""


class Disorder(StrEnum):
    """Simple respiratory disorders with a tabulated bicarbonate slope."""

    ACUTE_ACIDOSIS = "acute_respiratory_acidosis"
    CHRONIC_ACIDOSIS = "chronic_respiratory_acidosis"
    ACUTE_ALKALOSIS = "acute_respiratory_alkalosis"
    CHRONIC_ALKALOSIS = "chronic_respiratory_alkalosis"


USUAL_SLOPE: dict[Disorder, float] = {
    Disorder.ACUTE_ACIDOSIS: ACUTE_SLOPE,
    Disorder.CHRONIC_ACIDOSIS: CHRONIC_SLOPE,
    Disorder.ACUTE_ALKALOSIS: ACUTE_ALKALOSIS_SLOPE,
    Disorder.CHRONIC_ALKALOSIS: CHRONIC_ALKALOSIS_SLOPE,
}
"""[mmol/L per mmHg] (CompensationTables)."""


class Chronicity(StrEnum):
    """What one gas says about the age of a hypercapnia."""

    INDETERMINATE = "indeterminate"
    PLUS_METABOLIC_ACIDOSIS = "plus_metabolic_acidosis"
    ACUTE = "acute"
    ACUTE_ON_CHRONIC = "acute_on_chronic"
    COMPENSATED = "compensated"
    PLUS_METABOLIC_ALKALOSIS = "plus_metabolic_alkalosis"


def expected_bicarbonate_mmol_l(pco2_kpa: Number, slope_mmol_l_mmhg: Number | float) -> Number:
    """Bicarbonate [mmol/L] expected at PCO2 [kPa] for a slope [mmol/L per mmHg] about 24 and 40 mmHg.

    References
    ----------
    CompensationTables.
    """
    return NORMAL_HCO3_MMOL_L + slope_mmol_l_mmhg * (pco2_kpa * MMHG_PER_KPA - NORMAL_PCO2_MMHG)


def expected_ph(
    pco2_kpa: Number, slope_mmol_l_mmhg: Number | float, shift_mmol_l: Number | float = 0.0
) -> Number:
    """Give the pH expected at PCO2 [kPa] for a slope [mmol/L per mmHg], bicarbonate shifted [mmol/L].

    The lines and their band on a pH/PCO2 map.

    References
    ----------
    CompensationTables, put through CLSI-C46.
    """
    hco3 = expected_bicarbonate_mmol_l(pco2_kpa, slope_mmol_l_mmhg) + shift_mmol_l
    return ph_from_bicarbonate(hco3, pco2_kpa)


def expected_ph_acute_rule(pco2_kpa: Number) -> Number:
    """Give the pH expected at PCO2 [kPa] by the bedside rule of 0.008 per mmHg, acute; within 0.015.

    References
    ----------
    BedsideRules.
    """
    return 7.40 - 0.008 * (pco2_kpa * MMHG_PER_KPA - NORMAL_PCO2_MMHG)


def expected_ph_chronic_rule(pco2_kpa: Number) -> Number:
    """Give the pH expected at PCO2 [kPa] by the bedside rule of 0.003 per mmHg, chronic; within 0.016.

    References
    ----------
    BedsideRules.
    """
    return 7.40 - 0.003 * (pco2_kpa * MMHG_PER_KPA - NORMAL_PCO2_MMHG)


def expected_base_excess_chronic_mmol_l(pco2_kpa: Number) -> Number:
    """Extracellular base excess [mmol/L] expected in chronic hypercapnia at PCO2 [kPa]: 0.4 per mmHg.

    In acute hypercapnia it stays at zero.

    References
    ----------
    Schlichtig1998.
    """
    return 0.4 * (pco2_kpa * MMHG_PER_KPA - NORMAL_PCO2_MMHG)


def indeterminate_below_kpa() -> float:
    """PCO2 [kPa] below which one gas cannot tell acute from chronic (6.67 kPa, 50 mmHg)."""
    return (NORMAL_PCO2_MMHG + INDETERMINATE_BELOW_MMHG) * KPA_PER_MMHG


def chronicity_index(
    pco2_kpa: Number, hco3_mmol_l: Number | float, chronic_slope: Number | float = CHRONIC_SLOPE
) -> Number:
    """Where bicarbonate stands between acute (0) and chronic (1) at this PCO2.

    Parameters
    ----------
    pco2_kpa
        PCO2 [kPa].
    hco3_mmol_l
        Actual bicarbonate [mmol/L].
    chronic_slope
        Chronic slope [mmol/L per mmHg].

    Returns
    -------
    Number
        The index; not-a-number when PCO2 is less than 10 mmHg (1.3 kPa) above 40 mmHg.

    References
    ----------
    Project.
    """
    acute = expected_bicarbonate_mmol_l(pco2_kpa, ACUTE_SLOPE)
    rise_mmhg = pco2_kpa * MMHG_PER_KPA - NORMAL_PCO2_MMHG
    spread = where(_can_tell(pco2_kpa), (chronic_slope - ACUTE_SLOPE) * rise_mmhg, math.nan)
    index: Number = (hco3_mmol_l - acute) / spread
    return index


def chronicity(
    pco2_kpa: Number, hco3_mmol_l: Number | float, chronic_slope: Number | float = CHRONIC_SLOPE
) -> Label:
    """Label the chronicity index; "indeterminate" when PCO2 is less than 10 mmHg above 40 mmHg.

    Below -0.5 plus metabolic acidosis, below 0.25 acute, below 0.75 acute on chronic, to 1.4 compensated,
    above plus metabolic alkalosis. After an effective settings change a high bicarbonate with a falling
    PCO2 is post-hypercapnic, not a new alkalosis: see `hvmon.stats.acid_base`.

    References
    ----------
    Project.
    """
    index = chronicity_index(pco2_kpa, hco3_mmol_l, chronic_slope)
    return choose(
        (
            (_cannot_tell(pco2_kpa), Chronicity.INDETERMINATE),
            (index < -0.5, Chronicity.PLUS_METABOLIC_ACIDOSIS),
            (index < 0.25, Chronicity.ACUTE),
            (index < 0.75, Chronicity.ACUTE_ON_CHRONIC),
            (index <= 1.4, Chronicity.COMPENSATED),
        ),
        Chronicity.PLUS_METABOLIC_ALKALOSIS,
    )


def _can_tell(pco2_kpa: Number) -> Condition:
    """Say whether PCO2 is far enough above normal; a trace of rounding is allowed at exactly 50 mmHg."""
    return pco2_kpa * MMHG_PER_KPA >= NORMAL_PCO2_MMHG + INDETERMINATE_BELOW_MMHG - 1e-9


def _cannot_tell(pco2_kpa: Number) -> Condition:
    """Say the opposite."""
    return pco2_kpa * MMHG_PER_KPA < NORMAL_PCO2_MMHG + INDETERMINATE_BELOW_MMHG - 1e-9
