"""Alveolar ventilation and PaCO2: the metabolic hyperbola, ratios on one machine, CO2 transients.

Volumes of ventilation are at body conditions (BTPS), CO2 output at standard conditions (STPD): the
constant carries the change and does not depend on barometric pressure.
"""

# mypy: disable-error-code="no-any-return"
# (a power is Any to the checker; the annotation states the type)

import math

from hvmon.physiology.elementary import exp, where
from hvmon.units import (
    BODY_TEMPERATURE_K,
    KPA_PER_MMHG,
    MMHG_PER_KPA,
    STANDARD_ATMOSPHERE_KPA,
    ZERO_CELSIUS_K,
    Number,
)

KPA_L_PER_ML = STANDARD_ATMOSPHERE_KPA * BODY_TEMPERATURE_K / ZERO_CELSIUS_K / 1000.0
"""[kPa L/mL] 0.11505: CO2 output in mL/min STPD, ventilation in L/min BTPS (FirstPrinciples)."""

MMHG_L_PER_ML = KPA_L_PER_ML * MMHG_PER_KPA
"""[mmHg L/mL] 0.86295, the textbook 0.863."""

CO2_STORE_ML_MMHG = 50.0
"""[mL/mmHg] the store that empties within minutes; 35 to 60 from apnoea slopes (CO2Store, computed)."""

CO2_STORE_LOW_ML_MMHG, CO2_STORE_HIGH_ML_MMHG = 35.0, 60.0

LN_20 = math.log(20.0)
"""Time constants until 95 percent of a change is done."""


def paco2_from_ventilation_kpa(vco2_ml_min: Number, alveolar_l_min: Number | float) -> Number:
    """PaCO2 [kPa] from CO2 output [mL/min STPD] and alveolar ventilation [L/min BTPS].

    Steady state, no inspired CO2.

    Examples
    --------
    >>> round(paco2_from_ventilation_kpa(200.0, 2.5), 2)
    9.2

    References
    ----------
    FirstPrinciples; the 0.863 form in Practice texts.
    """
    return KPA_L_PER_ML * vco2_ml_min / alveolar_l_min


def alveolar_ventilation_from_paco2_l_min(vco2_ml_min: Number, paco2_kpa: Number | float) -> Number:
    """Alveolar ventilation [L/min BTPS] implied by CO2 output [mL/min STPD] and PaCO2 [kPa]."""
    return KPA_L_PER_ML * vco2_ml_min / paco2_kpa


def implied_vco2_ml_min(paco2_kpa: Number, alveolar_l_min: Number | float) -> Number:
    """CO2 output [mL/min STPD] that PaCO2 [kPa] and alveolar ventilation [L/min BTPS] imply.

    A credibility check, and only for a gas taken on the ventilator.
    """
    return paco2_kpa * alveolar_l_min / KPA_L_PER_ML


def minute_ventilation_l_min(tidal_volume_ml: Number, rate_min: Number | float) -> Number:
    """Minute ventilation [L/min] from tidal volume [mL] and rate [1/min]."""
    return tidal_volume_ml * rate_min / 1000.0


def alveolar_ventilation_l_min(
    tidal_volume_ml: Number, rate_min: Number | float, dead_space_ml: Number | float
) -> Number:
    """Alveolar ventilation [L/min] from tidal volume [mL], rate [1/min] and dead space [mL]."""
    return rate_min * (tidal_volume_ml - dead_space_ml) / 1000.0


def paco2_after_change_kpa(
    paco2_kpa: Number,
    tidal_volume_before_ml: Number | float,
    rate_before_min: Number | float,
    tidal_volume_after_ml: Number | float,
    rate_after_min: Number | float,
    dead_space_ml: Number | float,
    vco2_ratio: Number | float = 1.0,
) -> Number:
    """PaCO2 [kPa] after a change of tidal volume or rate on the same machine.

    Parameters
    ----------
    paco2_kpa
        PaCO2 before [kPa], on the ventilator.
    tidal_volume_before_ml, rate_before_min, tidal_volume_after_ml, rate_after_min
        Tidal volume [mL] and rate [1/min] before and after; both volumes exceed the dead space.
    dead_space_ml
        Dead space [mL], the same before and after.
    vco2_ratio
        CO2 output after over before.

    Notes
    -----
    CO2 output cancels. When only the rate changes dead space cancels too. Scaling by minute volume is
    wrong when tidal volume changes: 400 to 500 mL over 150 mL of dead space takes 8.0 kPa to 5.7, not 6.4.

    References
    ----------
    FirstPrinciples.
    """
    before = rate_before_min * (tidal_volume_before_ml - dead_space_ml)
    after = rate_after_min * (tidal_volume_after_ml - dead_space_ml)
    return paco2_kpa * vco2_ratio * before / after


def paco2_after_change_sd_kpa(
    paco2_kpa: Number,
    tidal_volume_before_ml: Number | float,
    rate_before_min: Number | float,
    tidal_volume_after_ml: Number | float,
    rate_after_min: Number | float,
    dead_space_ml: Number | float,
    sd_paco2_kpa: Number | float,
    sd_tidal_volume_before_ml: Number | float,
    sd_tidal_volume_after_ml: Number | float,
    sd_dead_space_ml: Number | float,
    sd_ln_vco2_ratio: Number | float = 0.0,
) -> Number:
    """SD [kPa] of `paco2_after_change_kpa` to first order on the log scale.

    Parameters
    ----------
    paco2_kpa, tidal_volume_before_ml, rate_before_min, tidal_volume_after_ml, rate_after_min, dead_space_ml
        As in `paco2_after_change_kpa`.
    sd_paco2_kpa
        SD of the PaCO2 before [kPa].
    sd_tidal_volume_before_ml, sd_tidal_volume_after_ml
        Independent SDs of the two volumes [mL].
    sd_dead_space_ml
        SD of the one dead space that both share [mL].
    sd_ln_vco2_ratio
        SD of the logarithm of the CO2 output ratio.

    Notes
    -----
    One shared dead space: treating it as two independent ones gives 1.77 kPa in place of 1.39 in the
    worked case. Good while each relative SD of (tidal volume - dead space) stays below about 0.15.

    References
    ----------
    FirstPrinciples.
    """
    before = tidal_volume_before_ml - dead_space_ml
    after = tidal_volume_after_ml - dead_space_ml
    variance = (
        (sd_paco2_kpa / paco2_kpa) ** 2
        + (sd_tidal_volume_before_ml / before) ** 2
        + (sd_tidal_volume_after_ml / after) ** 2
        + (sd_dead_space_ml * (1.0 / after - 1.0 / before)) ** 2
        + sd_ln_vco2_ratio**2
    )
    return paco2_kpa * rate_before_min * before / (rate_after_min * after) * variance**0.5


def paco2_slope_kpa_per_l_min(paco2_kpa: Number, vco2_ml_min: Number | float) -> Number:
    """Steepness of the metabolic hyperbola [kPa per L/min] at PaCO2 [kPa] and CO2 output [mL/min]."""
    return -(paco2_kpa**2) / (KPA_L_PER_ML * vco2_ml_min)


def co2_time_constant_min(
    alveolar_l_min: Number, store_ml_mmhg: Number | float = CO2_STORE_ML_MMHG
) -> Number:
    """Time constant [min] of PaCO2 after a change, one compartment.

    Parameters
    ----------
    alveolar_l_min
        Alveolar ventilation after the change [L/min].
    store_ml_mmhg
        CO2 store of the minutes scale [mL/mmHg]; the tissue tail is longer.

    References
    ----------
    CO2Store.
    """
    return MMHG_L_PER_ML * store_ml_mmhg / alveolar_l_min


def time_to_95_percent_min(time_constant_min: Number) -> Number:
    """Time [min] until 95 percent of a change is done, from its time constant [min]."""
    return LN_20 * time_constant_min


def paco2_at_time_kpa(
    start_kpa: Number, end_kpa: Number | float, time_min: Number | float, time_constant_min: Number | float
) -> Number:
    """PaCO2 [kPa] at a time [min] on its way from a start to an end [kPa] with a time constant [min]."""
    return end_kpa + (start_kpa - end_kpa) * exp(-time_min / time_constant_min)


def apnoea_rise_awake_kpa(time_s: Number) -> Number:
    """Rise of PaCO2 [kPa] in apnoea at a time [s], awake: 7 mmHg in 10 s, 2 in the next 10, then 6 a minute.

    References
    ----------
    Stock1988, abstract.
    """
    later = 9.0 + 6.0 * (time_s - 20.0) / 60.0
    early = where(time_s <= 10.0, 0.7 * time_s, 7.0 + 0.2 * (time_s - 10.0))
    return where(time_s <= 20.0, early, later) * KPA_PER_MMHG


def apnoea_rise_anaesthetised_kpa(time_s: Number) -> Number:
    """Rise of PaCO2 [kPa] in apnoea at a time [s], anaesthetised: 9.8 mmHg in the first minute, then 3.9.

    The first minute is taken as linear; later minutes rose 3.4 to 4.4 mmHg.

    References
    ----------
    Kobayashi1994, abstract.
    """
    first = 9.8 * time_s / 60.0
    return where(time_s <= 60.0, first, 9.8 + 3.9 * (time_s - 60.0) / 60.0) * KPA_PER_MMHG
