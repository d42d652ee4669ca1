"""Air around the person: barometric pressure, water vapour, gas volume conditions, inspired oxygen."""

# mypy: disable-error-code="no-any-return"
# (a power is Any to the checker; the annotation states the type)

from hvmon.physiology.elementary import exp
from hvmon.units import (
    BODY_TEMPERATURE_K,
    BODY_WATER_VAPOUR_MMHG,
    STANDARD_ATMOSPHERE_KPA,
    STANDARD_ATMOSPHERE_MMHG,
    ZERO_CELSIUS_K,
    Number,
    mmhg_from_kpa,
)

ROOM_AIR_FIO2 = 0.2095
"""[fraction] oxygen in dry air (common physiological constant)."""


def barometric_pressure_kpa(altitude_m: Number) -> Number:
    """Barometric pressure [kPa] at a geopotential altitude [m] in the standard atmosphere.

    Valid 0 to 11 000 m. Inhabited mountains lie a little higher (West 1996: 648 mmHg against 642 at
    1400 m). A measured pressure always wins.

    References
    ----------
    ICAO1993, the layer from sea level to 11 km.
    """
    return STANDARD_ATMOSPHERE_KPA * (1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588


def water_vapour_kpa(temperature_c: Number) -> Number:
    """Saturated water vapour pressure [kPa] over water at a temperature [degree Celsius].

    Valid 0 to 50 C; within 0.003 kPa (0.02 mmHg) of IAPWS-95 up to 40 C. At 37 C the texts of
    respiratory physiology use 6.27 kPa (47 mmHg), which `hvmon.units` carries.

    References
    ----------
    Buck1981.
    """
    return 0.61121 * exp((18.678 - temperature_c / 234.5) * temperature_c / (257.14 + temperature_c))


def btps_from_atps(temperature_c: Number, barometric_mmhg: Number | float) -> Number:
    """Factor from a volume at ambient temperature, saturated, to body conditions (BTPS).

    Parameters
    ----------
    temperature_c
        Temperature of the gas in the meter [degree Celsius], 10 to 37.
    barometric_mmhg
        Barometric pressure [mmHg].

    Notes
    -----
    The denominator is barometric pressure less 47 mmHg, not the constant 713 seen in circulation.

    References
    ----------
    FirstPrinciples.
    """
    dry_mmhg = barometric_mmhg - mmhg_from_kpa(water_vapour_kpa(temperature_c))
    warmed = BODY_TEMPERATURE_K / (ZERO_CELSIUS_K + temperature_c)
    return warmed * dry_mmhg / (barometric_mmhg - BODY_WATER_VAPOUR_MMHG)


def stpd_from_btps(barometric_mmhg: Number) -> Number:
    """Factor from a volume at body conditions (BTPS) to standard dry conditions (STPD).

    Takes the barometric pressure [mmHg]; the printed form uses 273 and 310 K.

    References
    ----------
    FirstPrinciples; the printed form in teaching notes on STPD and BTPS.
    """
    return (273.0 / 310.0) * (barometric_mmhg - BODY_WATER_VAPOUR_MMHG) / STANDARD_ATMOSPHERE_MMHG


def stpd_from_atps(temperature_c: Number, barometric_mmhg: Number | float) -> Number:
    """Factor from a volume at ambient temperature, saturated, to standard dry conditions (STPD).

    Takes the temperature [degree Celsius] and the barometric pressure [mmHg].

    References
    ----------
    FirstPrinciples.
    """
    dry_mmhg = barometric_mmhg - mmhg_from_kpa(water_vapour_kpa(temperature_c))
    return dry_mmhg / STANDARD_ATMOSPHERE_MMHG * ZERO_CELSIUS_K / (ZERO_CELSIUS_K + temperature_c)


def fio2_nasal_rule(oxygen_l_min: Number) -> Number:
    """Rule-of-thumb inspired oxygen fraction under nasal cannulae from flow [L/min].

    Valid 1 to 6 L/min, and even there a rough guide: at 2 L/min 0.24 to 0.35 was measured. It is not a
    measurement; nothing that matters (A-a difference, P/F) is computed from it. Show it with
    `fio2_nasal_range`.

    References
    ----------
    NasalRule.
    """
    return 0.20 + 0.04 * oxygen_l_min


def fio2_nasal_low(oxygen_l_min: Number) -> Number:
    """Lower end of the measured inspired fractions under nasal cannulae at a flow [L/min], 1 to 6.

    Slope 0.025 per L/min over room air.

    References
    ----------
    NasalRule, measured slopes.
    """
    return ROOM_AIR_FIO2 + 0.025 * oxygen_l_min


def fio2_nasal_high(oxygen_l_min: Number) -> Number:
    """Upper end of the measured inspired fractions under nasal cannulae at a flow [L/min], 1 to 6.

    Slope 0.055 per L/min over room air: pharyngeal fractions of 0.26 to 0.54 were measured over 1 to 6 L/min.

    References
    ----------
    NasalRule, measured fractions.
    """
    return ROOM_AIR_FIO2 + 0.055 * oxygen_l_min


def fio2_bled_in(
    oxygen_l_min: Number, total_flow_l_min: Number | float, fio2_air: float = ROOM_AIR_FIO2
) -> Number:
    """Time-averaged inspired fraction when oxygen is bled into a ventilator circuit.

    Parameters
    ----------
    oxygen_l_min
        Oxygen flow [L/min], at most the total flow.
    total_flow_l_min
        Mean flow leaving through the person and every leak together [L/min].
    fio2_air
        Fraction of the gas the ventilator adds.

    Notes
    -----
    A mass balance: it falls as leak or pressure rises. An estimate, not a measurement.

    References
    ----------
    FirstPrinciples.
    """
    return fio2_air + (1.0 - fio2_air) * oxygen_l_min / total_flow_l_min
