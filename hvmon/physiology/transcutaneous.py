"""Transcutaneous CO2: why heated skin reads high, and drift between two calibrations.

Modern monitors already report values corrected to 37 C. The heating factors stand here as documentation
and for sanity tests: nothing in this project applies them to a reading.
"""

# mypy: disable-error-code="no-any-return"
# (a power is Any to the checker; the annotation states the type)

from hvmon.units import MMHG_PER_KPA, Number

METABOLIC_OFFSET_KPA = 0.53
"""[kPa] CO2 made by the skin itself, 4 mmHg (Transcutaneous1982)."""

LARGEST_DRIFT_KPA = 1.1
"""[kPa] own rule: beyond it a linear correction is refused (Project; 8 mmHg in 20-46 percent of clinics)."""


def heating_factor(sensor_c: Number) -> Number:
    """Factor by which anaerobic heating raises PCO2 at a sensor temperature [degree Celsius]: 10^0.019 per C.

    References
    ----------
    Transcutaneous1982.
    """
    return 10.0 ** (0.019 * (sensor_c - 37.0))


def heating_factor_exponential(sensor_c: Number) -> Number:
    """Give the same factor at 4.5 percent a degree, compounded: 1.37 at 44 C.

    References
    ----------
    Transcutaneous1982.
    """
    return 2.718281828459045 ** (0.045 * (sensor_c - 37.0))


def heating_factor_linear(sensor_c: Number) -> Number:
    """Give the same factor at 4.5 percent a degree, not compounded: 1.315 at 44 C.

    References
    ----------
    Transcutaneous1982.
    """
    return 1.0 + 0.045 * (sensor_c - 37.0)


def paco2_from_heated_kpa(
    heated_kpa: Number, sensor_c: Number | float, offset_kpa: Number | float = METABOLIC_OFFSET_KPA
) -> Number:
    """PaCO2 [kPa] from an *uncorrected* heated reading [kPa] at a sensor temperature [degree Celsius].

    Never apply it to what a monitor displays: that is corrected already.

    References
    ----------
    Transcutaneous1982; Wimberley1985.
    """
    return heated_kpa / 10.0 ** (0.019 * (sensor_c - 37.0)) - offset_kpa


def paco2_from_infant_raw_kpa(heated_kpa: Number) -> Number:
    """PaCO2 [kPa] of an infant from a raw reading [kPa] at 44 C: (reading + 0.01 mmHg) / 1.61.

    References
    ----------
    InfantTc1983, abstract.
    """
    return (heated_kpa + 0.01 / MMHG_PER_KPA) / 1.61


def drift_corrected_kpa(
    reading_kpa: Number,
    time_h: Number | float,
    start_h: Number | float,
    start_error_kpa: Number | float,
    end_h: Number | float,
    end_error_kpa: Number | float,
) -> Number:
    """Give the reading [kPa] less the drift interpolated between two calibrations.

    Parameters
    ----------
    reading_kpa, time_h
        Reading [kPa] and its time [h].
    start_h, start_error_kpa, end_h, end_error_kpa
        Time [h] and error (transcutaneous less arterial) [kPa] at the two calibrations.

    Notes
    -----
    With one calibration only correct the offset, not the drift, and say "drift unknown". After
    correction the limits of agreement were still 0.8 kPa either way.

    References
    ----------
    Berlowitz2011.
    """
    fraction = (time_h - start_h) / (end_h - start_h)
    return reading_kpa - (start_error_kpa + (end_error_kpa - start_error_kpa) * fraction)


def drift_kpa(start_error_kpa: Number, end_error_kpa: Number | float) -> Number:
    """Drift [kPa] between two calibration errors [kPa]."""
    return end_error_kpa - start_error_kpa


def drift_rate_kpa_h(start_error_kpa: Number, end_error_kpa: Number | float, hours: Number | float) -> Number:
    """Drift a hour [kPa/h] between two calibration errors [kPa] that lie some hours apart."""
    return (end_error_kpa - start_error_kpa) / hours
