"""When two nights may stand in one trend."""

from hvmon.nights.results import OximetryScore, TcScore


def comparable(a: OximetryScore, b: OximetryScore) -> str | None:
    """Give the reason why indices of two nights must not be compared, or None when they may.

    The same night gives other indices under another convention, averaging time or resolution
    (DipCriteria2022, Vagedes2024). Nights whose averaging time or resolution was not recorded are not known
    to be alike.
    """
    if a.convention != b.convention:
        return f"other convention: {a.convention} and {b.convention}"
    if a.code_version != b.code_version:
        return _OTHER_VERSION.format(a.code_version, b.code_version)
    averaging = _unlike("averaging time", a.averaging_s, b.averaging_s, "s", 1.0)
    return averaging or _unlike("resolution", a.spo2_resolution_tenths, b.spo2_resolution_tenths, "%", 0.1)


_OTHER_VERSION = "other version of the scoring: {} and {}; score both again"


def _unlike(what: str, a: float | None, b: float | None, unit: str, factor: float) -> str | None:
    """Say that two settings of an oximeter differ or are not known."""
    if a is None or b is None:
        return f"{what} of the oximeter not recorded"
    return None if a == b else f"other {what}: {a * factor:g} {unit} and {b * factor:g} {unit}"


def comparable_tc(a: TcScore, b: TcScore) -> str | None:
    """Give the reason why two transcutaneous summaries must not be compared, or None when they may."""
    if a.code_version != b.code_version:
        return _OTHER_VERSION.format(a.code_version, b.code_version)
    if a.correction != b.correction:
        return f"other drift correction: {a.correction} and {b.correction}"
    return None


LEAST_FOR_TREND_S = 4 * 3600
LARGEST_GAP_SHARE = 0.25
LARGEST_DRIFT_KPA_PER_8H = 1.0


def why_not_in_trend(tc: TcScore, drift_kpa_per_8h: float | None = None) -> tuple[str, ...]:
    """Give every reason why the median of a transcutaneous night should not enter the CO2 trend (Project).

    At least 4 h valid, under a quarter of the recording lost, drift of at most 1 kPa over 8 h. Only the
    median is meant for the trend; peaks and times above a level are shown, not fused.
    """
    reasons = []
    if tc.valid_s < LEAST_FOR_TREND_S:
        reasons.append(f"{tc.valid_s / 3600:.1f} h valid, 4 h are the least")
    usable = tc.clock_s - tc.excluded_s
    if usable > 0 and 1 - tc.valid_s / usable >= LARGEST_GAP_SHARE:
        reasons.append(
            f"{100 * (1 - tc.valid_s / usable):.0f} % of the recording lost, less than 25 % accepted"
        )
    if drift_kpa_per_8h is not None and abs(drift_kpa_per_8h) > LARGEST_DRIFT_KPA_PER_8H:
        reasons.append(f"the sensor drifted by {drift_kpa_per_8h:+.2f} kPa over 8 h, 1 kPa accepted")
    return tuple(reasons)
