"""Like with like: series of one sample kind, on or off the ventilator, at one oxygen flow.

The basic comparison of a service: the last reading against the one before it, held against the
reference change value, and a plain straight-line trend on readings of the same kind.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import polars as pl

from hvmon.records.dossier import Dossier
from hvmon.stats.priors import Priors, default_priors
from hvmon.stats.series import readings_frame
from hvmon.vocabulary import VentilatorState

Z_TWO_SIDED = 1.959963984540054
Z_ONE_SIDED = 1.6448536269514722
MIN_TREND_READINGS = 4
DAYS_PER_YEAR = 365.25

SOURCE_KEYS: dict[str, str] = {
    "arterial": "arterial",
    "capillary earlobe": "capillary_earlobe",
    "capillary fingertip": "capillary_fingertip",
    "venous": "venous",
    "tc earlobe": "tc_earlobe",
    "tc other": "tc_other",
    "tc night": "tc_night",
}
"""Source of a reading -> its name in the priors table."""


@dataclass(frozen=True, slots=True, order=True)
class LikeForLike:
    """What two readings must share before they are set beside each other."""

    source: str
    ventilator: str
    oxygen: str

    @property
    def complete(self) -> bool:
        """Whether every condition was recorded; only then is "the same" known."""
        return not self.missing

    @property
    def missing(self) -> tuple[str, ...]:
        """Conditions that were not recorded."""
        named = (("ventilator state", self.ventilator), ("oxygen flow", self.oxygen))
        return tuple(name for name, value in named if value == VentilatorState.NOT_RECORDED.value)

    def __str__(self) -> str:
        return f"{self.source}, {self.ventilator}, {self.oxygen}"


@dataclass(frozen=True, slots=True)
class ReferenceChange:
    """How far two readings of a kind may differ by measurement and day-to-day variation alone."""

    sd_ln: float
    """Standard deviation of the log ratio."""
    mean_ln: float
    """Expected log ratio, later over earlier; not zero for unlike sources."""
    up_pct: float
    """[%] two-sided 95 % limit of a rise."""
    down_pct: float
    """[%] two-sided 95 % limit of a fall, negative."""
    one_sided_up_pct: float
    """[%] one-sided 95 % limit of a rise."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """The last reading against the previous one taken under the same conditions."""

    key: LikeForLike
    last_id: str
    previous_id: str
    last_at: datetime
    previous_at: datetime
    last_kpa: float
    previous_kpa: float
    difference_kpa: float
    difference_pct: float
    limit: ReferenceChange
    up_limit_kpa: float
    down_limit_kpa: float
    beyond_noise: bool
    same_day: bool

    @property
    def in_words(self) -> str:
        """One sentence; says what is known and no more."""
        if not self.beyond_noise:
            return "within repeat-measurement and day-to-day variation; no change is shown or excluded"
        way = "higher" if self.difference_kpa > 0 else "lower"
        return f"{way} by more than repeat measurement and day-to-day variation usually explain"


@dataclass(frozen=True, slots=True)
class NotComparable:
    """Why no comparison is given."""

    reason: str


@dataclass(frozen=True, slots=True)
class PlainTrend:
    """A straight line through readings of one kind: median slope with interval, and a test for trend."""

    key: LikeForLike
    n: int
    first_at: datetime
    last_at: datetime
    slope_kpa_per_year: float
    low_kpa_per_year: float
    high_kpa_per_year: float
    mann_kendall_p: float
    mann_kendall_s: float
    at_kpa: float
    """[kPa] the line at the first reading."""
    reading_ids: tuple[str, ...]

    def line_kpa(self, moment: datetime) -> float:
        """Give the line's value at a moment [kPa]."""
        years = (moment - self.first_at).total_seconds() / 86400 / DAYS_PER_YEAR
        return self.at_kpa + self.slope_kpa_per_year * years


def key_of(source: str, ventilator: str, oxygen_l_min: float | None) -> LikeForLike:
    """Give the key of one reading; oxygen [L/min] to the nearest half litre, None = not recorded."""
    if oxygen_l_min is None:
        oxygen = "not recorded"
    else:
        flow = round(2 * oxygen_l_min) / 2
        oxygen = f"oxygen {flow:g} L/min" if flow > 0 else "on air"
    return LikeForLike(source, ventilator, oxygen)


def series_of_frame(readings: pl.DataFrame) -> dict[LikeForLike, pl.DataFrame]:
    """Split a readings frame into like-for-like series, each in order of time.

    Readings whose conditions were not recorded stay together under a key that is not `complete`.
    Readings with a ``refusal`` are left to the caller: they are not in any series.
    """
    usable = readings.filter(pl.col("refusal").is_null()) if "refusal" in readings.columns else readings
    parts: dict[LikeForLike, list[int]] = {}
    usable = usable.sort("taken_at", maintain_order=True)
    columns = (usable["source"], usable["ventilator"], usable["oxygen_l_min"])
    for row, (source, ventilator, oxygen) in enumerate(zip(*columns, strict=True)):
        parts.setdefault(key_of(source, ventilator, oxygen), []).append(row)
    return {key: usable[rows] for key, rows in sorted(parts.items())}


def series(dossier: Dossier) -> dict[LikeForLike, pl.DataFrame]:
    """Give the like-for-like series of a person; see `series_of_frame`."""
    return series_of_frame(readings_frame(dossier))


def reference_change(
    last: str, previous: str | None = None, *, priors: Priors | None = None, same_day: bool = False
) -> ReferenceChange:
    """Give the log-normal reference change value of two readings, alike or not.

    Parameters
    ----------
    last, previous
        Sources of the two readings; `previous` None means the same as `last`.
    same_day
        Both readings share the day's state, so only their measurement spread counts.

    Notes
    -----
    Log-normal, asymmetric: up = exp(z sd) - 1, down = exp(-z sd) - 1, with sd^2 the sum of both spreads,
    of day-to-day variation and, for unlike sources, of the offset's uncertainty. For one source and at
    the default priors: arterial +14.9/-12.9 %, earlobe +18.2/-15.4 %, venous +31.4/-23.9 %.

    Raises
    ------
    ValueError
        A source that is not one of `SOURCE_KEYS`.
    """
    table = priors or default_priors()
    earlier = last if previous is None else previous
    day = 0.0 if same_day else table.value("day.sd") ** 2
    variance = sum(table.value(f"noise.{_named(source)}") ** 2 + day for source in (last, earlier))
    mean = 0.0
    if last != earlier:
        variance += sum(_offset(table, source)[1] ** 2 for source in (last, earlier))
        mean = _offset(table, last)[0] - _offset(table, earlier)[0]
    sd = math.sqrt(variance)
    return ReferenceChange(
        sd,
        mean,
        100 * math.expm1(Z_TWO_SIDED * sd),
        100 * math.expm1(-Z_TWO_SIDED * sd),
        100 * math.expm1(Z_ONE_SIDED * sd),
    )


def _named(source: str) -> str:
    try:
        return SOURCE_KEYS[source]
    except KeyError:
        raise ValueError(f"source {source!r} is not known; accepted are {', '.join(SOURCE_KEYS)}") from None


def _offset(table: Priors, source: str) -> tuple[float, float]:
    name = _named(source)
    if name == "arterial":
        return 0.0, 0.0
    stem = "offset.tc_earlobe" if name == "tc_night" else f"offset.{name}"
    return table.value(f"{stem}.mean"), table.value(f"{stem}.sd")


def last_versus_previous(
    readings: pl.DataFrame, *, source: str | None = None, priors: Priors | None = None
) -> Comparison | NotComparable:
    """Compare the newest reading with the previous one of the same kind and conditions.

    Parameters
    ----------
    readings
        Columns of `hvmon.stats.series.READINGS_SCHEMA`.
    source
        Look only at readings of this source; None takes the newest of any.

    Returns
    -------
    Comparison or NotComparable
        With both record ids, the difference [kPa] and the reference change value, or the reason why not.
    """
    usable = readings if source is None else readings.filter(pl.col("source") == source)
    parts = series_of_frame(usable)
    if not parts:
        return NotComparable("no usable reading" if source is None else f"no usable {source} reading")
    key, part = max(parts.items(), key=lambda item: item[1]["taken_at"][-1])
    if not key.complete:
        return NotComparable(
            f"{' and '.join(key.missing)} not recorded at the last reading; like cannot be set beside like"
        )
    if part.height < 2:  # noqa: PLR2004 - a pair
        return NotComparable(f"no earlier reading under the same conditions ({key})")
    return _compare(key, part, priors)


def _compare(key: LikeForLike, part: pl.DataFrame, priors: Priors | None) -> Comparison:
    previous, last = part.row(-2, named=True), part.row(-1, named=True)
    same_day = last["taken_at"].date() == previous["taken_at"].date()
    limit = reference_change(key.source, priors=priors, same_day=same_day)
    difference = last["pco2_kpa"] - previous["pco2_kpa"]
    percent = 100 * difference / previous["pco2_kpa"]
    return Comparison(
        key=key,
        last_id=last["record_id"],
        previous_id=previous["record_id"],
        last_at=last["taken_at"],
        previous_at=previous["taken_at"],
        last_kpa=last["pco2_kpa"],
        previous_kpa=previous["pco2_kpa"],
        difference_kpa=difference,
        difference_pct=percent,
        limit=limit,
        up_limit_kpa=previous["pco2_kpa"] * limit.up_pct / 100,
        down_limit_kpa=previous["pco2_kpa"] * limit.down_pct / 100,
        beyond_noise=not limit.down_pct <= percent <= limit.up_pct,
        same_day=same_day,
    )


def plain_trend(
    parts: Mapping[LikeForLike, pl.DataFrame], key: LikeForLike, *, confidence: float = 0.95
) -> PlainTrend | NotComparable:
    """Fit a median slope (Theil-Sen) with interval and a Mann-Kendall test to one like-for-like series.

    Parameters
    ----------
    parts
        As given by `series` or `series_of_frame`.
    confidence
        Of the interval of the slope.

    Returns
    -------
    PlainTrend or NotComparable
        Slope [kPa/year]; refused below 4 readings, for readings at one instant, or unrecorded conditions.

    References
    ----------
    TheilSen1968, MannKendall1945; computed by scipy and pymannkendall.
    """
    part = parts.get(key)
    if part is None:
        return NotComparable(f"no readings of the kind {key}")
    if not key.complete:
        return NotComparable(f"{' and '.join(key.missing)} not recorded; like cannot be set beside like")
    if part.height < MIN_TREND_READINGS:
        return NotComparable(
            f"{part.height} readings under the same conditions; a trend needs {MIN_TREND_READINGS}"
        )
    years = _years(part)
    if years[-1] <= 0:
        return NotComparable("all readings were taken at one instant; a trend needs time between them")
    return _fit_plain(key, part, years, confidence)


def _years(part: pl.DataFrame) -> np.ndarray:
    seconds = (part["taken_at"] - part["taken_at"][0]).dt.total_seconds(fractional=True)
    return np.asarray(seconds.to_numpy(), dtype=float) / 86400 / DAYS_PER_YEAR


@dataclass(frozen=True, slots=True)
class MedianSlope:
    """Theil-Sen line: slope per unit of time with its interval, and the value at time zero."""

    slope: float
    low: float
    high: float
    intercept: float


def median_slope(years: np.ndarray, values: np.ndarray, confidence: float = 0.95) -> MedianSlope:
    """Fit a Theil-Sen line by scipy; needs at least two different times.

    With so many ties that the interval's variance cannot be formed, the interval is the whole range of the
    pairwise slopes, the widest there is.
    """
    from scipy.stats import theilslopes  # noqa: PLC0415 - scipy.stats costs its import at first use only

    with np.errstate(invalid="ignore"):
        line = theilslopes(values, years, alpha=confidence)
    low, high = float(line.low_slope), float(line.high_slope)
    if not (np.isfinite(low) and np.isfinite(high)):
        first, second = np.triu_indices(years.size, 1)
        apart = years[second] > years[first]
        slopes = (values[second] - values[first])[apart] / (years[second] - years[first])[apart]
        low, high = float(slopes.min()), float(slopes.max())
    return MedianSlope(float(line.slope), low, high, float(line.intercept))


def _fit_plain(key: LikeForLike, part: pl.DataFrame, years: np.ndarray, confidence: float) -> PlainTrend:
    from pymannkendall import original_test  # noqa: PLC0415 - imports scipy.stats

    values = part["pco2_kpa"].to_numpy()
    line = median_slope(years, values, confidence)
    test = original_test(values)
    return PlainTrend(
        key=key,
        n=part.height,
        first_at=part["taken_at"][0],
        last_at=part["taken_at"][-1],
        slope_kpa_per_year=line.slope,
        low_kpa_per_year=line.low,
        high_kpa_per_year=line.high,
        mann_kendall_p=float(test.p),
        mann_kendall_s=float(test.s),
        at_kpa=line.intercept,
        reading_ids=tuple(part["record_id"]),
    )
