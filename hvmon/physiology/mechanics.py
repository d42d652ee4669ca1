"""Ventilator and passive lung: one compartment, square pressure, trapping, leak, rebreathing.

A passive person is assumed. Effort, leak, cycling, glottis closure, opening pressures in obesity and
rise time break it. Resistance and compliance are unknown at home, so only *relative* use is fair: in the
passive limit 20 percent more pressure gives 20 percent more volume.
"""

# mypy: disable-error-code="no-any-return"
# (a power is Any to the checker; the annotation states the type)

from typing import Any

from hvmon.physiology.elementary import AnyNumber, Condition, exp
from hvmon.units import Number

LOWEST_EPAP_CMH2O = 4.0
"""[cmH2O] usual floor with an exhalation port in the circuit (FergusonGilmartin1995, from memory)."""


def time_constant_s(resistance_cmh2o_s_l: Number, compliance_ml_cmh2o: Number | float) -> Number:
    """Time constant [s] from resistance [cmH2O s/L] and compliance [mL/cmH2O].

    References
    ----------
    TimeConstant2013, Table 1.
    """
    return resistance_cmh2o_s_l * compliance_ml_cmh2o / 1000.0


def expiratory_time_s(rate_min: Number, inspiratory_s: Number | float) -> Number:
    """Expiratory time [s] from rate [1/min] and inspiratory time [s]."""
    return 60.0 / rate_min - inspiratory_s


def tidal_volume_pressure_ml(
    pressure_support_cmh2o: Number,
    compliance_ml_cmh2o: Number | float,
    resistance_insp_cmh2o_s_l: Number | float,
    resistance_exp_cmh2o_s_l: Number | float,
    inspiratory_s: Number | float,
    rate_min: Number | float,
) -> Number:
    """Tidal volume [mL] of a passive lung under a square pressure, trapping included.

    Parameters
    ----------
    pressure_support_cmh2o
        Inspiratory less expiratory pressure [cmH2O].
    compliance_ml_cmh2o
        Compliance [mL/cmH2O].
    resistance_insp_cmh2o_s_l, resistance_exp_cmh2o_s_l
        Inspiratory and expiratory resistance [cmH2O s/L].
    inspiratory_s
        Inspiratory time [s], shorter than the cycle.
    rate_min
        Rate [1/min].

    Notes
    -----
    The form without trapping over-reads: 474.9 against 419.7 mL in the worked case.

    References
    ----------
    MariniCrooke1989, from memory; re-derived and confirmed by integrating the equation of motion.
    """
    filled, left = _filling(
        compliance_ml_cmh2o,
        resistance_insp_cmh2o_s_l,
        resistance_exp_cmh2o_s_l,
        inspiratory_s,
        rate_min,
    )
    return (
        pressure_support_cmh2o * compliance_ml_cmh2o * (1.0 - filled) * (1.0 - left) / (1.0 - filled * left)
    )


def auto_peep_cmh2o(
    pressure_support_cmh2o: Number,
    compliance_ml_cmh2o: Number | float,
    resistance_insp_cmh2o_s_l: Number | float,
    resistance_exp_cmh2o_s_l: Number | float,
    inspiratory_s: Number | float,
    rate_min: Number | float,
) -> Number:
    """Pressure left in the lung at the end of expiration above the set one [cmH2O]; as the tidal volume.

    References
    ----------
    MariniCrooke1989, from memory; re-derived and confirmed by integrating the equation of motion.
    """
    filled, left = _filling(
        compliance_ml_cmh2o,
        resistance_insp_cmh2o_s_l,
        resistance_exp_cmh2o_s_l,
        inspiratory_s,
        rate_min,
    )
    return pressure_support_cmh2o * left * (1.0 - filled) / (1.0 - filled * left)


def tidal_volume_long_inspiration_ml(
    pressure_support_cmh2o: Number, compliance_ml_cmh2o: Number | float
) -> Number:
    """Tidal volume [mL] in the limit of a long breath: pressure support times compliance."""
    return pressure_support_cmh2o * compliance_ml_cmh2o


def end_inspiratory_pressure_volume_mode_cmh2o(
    tidal_volume_ml: Number,
    compliance_ml_cmh2o: Number | float,
    resistance_cmh2o_s_l: Number | float,
    expiratory_s: Number | float,
) -> Number:
    """Alveolar pressure [cmH2O] at the end of inspiration in volume mode, trapping included.

    Takes tidal volume [mL], compliance [mL/cmH2O], resistance [cmH2O s/L] and expiratory time [s].

    References
    ----------
    TimeConstant2013, Table 1.
    """
    left = exp(-1000.0 * expiratory_s / (resistance_cmh2o_s_l * compliance_ml_cmh2o))
    return tidal_volume_ml / (1.0 - left) / compliance_ml_cmh2o


def least_washout_l_min(
    tidal_volume_ml: Number, rate_min: Number | float, inspiratory_s: Number | float
) -> Number:
    """Flow [L/min] through an exhalation port in expiration that surely clears a breath from one limb.

    Takes tidal volume [mL], rate [1/min] and inspiratory time [s]. Sufficient, not necessary.

    References
    ----------
    FirstPrinciples.
    """
    return 60.0 * tidal_volume_ml / 1000.0 / (60.0 / rate_min - inspiratory_s)


def orifice_flow_l_min(
    reference_l_min: Number, reference_cmh2o: Number | float, pressure_cmh2o: Number | float
) -> Number:
    """Flow [L/min] through a fixed opening at a pressure [cmH2O], from one known point; square-root law.

    References
    ----------
    FirstPrinciples, turbulent orifice.
    """
    return reference_l_min * (pressure_cmh2o / reference_cmh2o) ** 0.5


def leak_share_pct(distal_volume_ml: Number, leaked_ml: Number | float) -> Number:
    """Share [percent] of the delivered volume that leaked, from the volume beyond it and the leak [mL].

    References
    ----------
    Schettino2001.
    """
    return 100.0 * leaked_ml / (distal_volume_ml + leaked_ml)


def fits_in_cycle(inspiratory_s: Number, rate_min: Number | float) -> Condition:
    """Say whether the inspiratory time [s] is shorter than the breath at this rate [1/min]."""
    return inspiratory_s < 60.0 / rate_min


def _filling(
    compliance_ml_cmh2o: AnyNumber,
    resistance_insp_cmh2o_s_l: AnyNumber,
    resistance_exp_cmh2o_s_l: AnyNumber,
    inspiratory_s: AnyNumber,
    rate_min: AnyNumber,
) -> tuple[Any, Any]:
    """Fractions of the way still to go at the end of inspiration and of expiration."""
    expiratory_s = 60.0 / rate_min - inspiratory_s
    tau_in_s = resistance_insp_cmh2o_s_l * compliance_ml_cmh2o / 1000.0
    tau_out_s = resistance_exp_cmh2o_s_l * compliance_ml_cmh2o / 1000.0
    return exp(-inspiratory_s / tau_in_s), exp(-expiratory_s / tau_out_s)
