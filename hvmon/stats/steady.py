"""How soon PaCO2 reaches a new level, when a reading of it is honest, and the curves that show it."""

# mypy: disable-error-code="no-any-return"
# (array arithmetic is Any to the checker; the annotation states the type)

import math
from dataclasses import dataclass

import numpy as np
import polars as pl

from hvmon.physiology.ventilation import (
    CO2_STORE_HIGH_ML_MMHG,
    CO2_STORE_LOW_ML_MMHG,
    KPA_L_PER_ML,
    co2_time_constant_min,
    paco2_at_time_kpa,
    time_to_95_percent_min,
)
from hvmon.stats.figure import (
    DRAWS,
    HIGH_80,
    HIGH_95,
    LOW_80,
    LOW_95,
    ROBUST_HIGH,
    ROBUST_LOW,
    Figure,
    sampled_figure,
)

Array = np.ndarray

FAN_DRAWS = 4_000
"""Samples behind the fan: enough for a line on a chart."""
RECHECK_AFTER_MORE_MIN = 30.0
"""[min] least wait after more ventilation, on the ventilator (Project; Taskar1995 still moving at 20 min)."""
RECHECK_AFTER_LESS_MIN = 60.0
"""[min] least wait after less ventilation: the time constant is longer (Project; Taskar1995)."""
RECHECK_DAY_GAS_DAYS = 28
"""[d] for an awake gas: most of the response comes inside four to six weeks (KerlModes2019; Project)."""
RECHECK_OXYGEN_DAYS = 1
"""[d] for an awake gas where oxygen alone changes: nothing has to be reset over weeks (Project)."""
URGENT_DAYS = (1, 7)
"""[d] recheck of a change made for acidosis or drowsiness, the project's default (Project)."""
OXYGEN_NIGHT_DAYS = 14
"""[d] night study after a change of oxygen, the project's default (Project)."""
CURVE_COLUMNS = ("paco2_kpa", "low_80_kpa", "high_80_kpa", "low_95_kpa", "high_95_kpa")
QUANTILES = (0.5, LOW_80, HIGH_80, LOW_95, HIGH_95)


@dataclass(frozen=True, slots=True)
class SteadyState:
    """How soon a new level is reached, and when a reading of it is honest."""

    time_constant_min: Figure
    t95_min: Figure
    earliest_on_ventilator_min: float
    earliest_day_gas_days: int
    words: str


def quantiles(values: Array) -> tuple[float, ...]:
    """Give median, 10, 90, 2.5 and 97.5 percent quantiles."""
    return tuple(float(value) for value in np.quantile(values, QUANTILES))


def robust_sd(values: Array) -> float:
    """Give half the width of the central 68 percent."""
    low, high = np.quantile(values, [ROBUST_LOW, ROBUST_HIGH])
    return float(high - low) / 2.0


def median_figure(values: Array, unit: str) -> Figure:
    """Give samples as a figure about their median."""
    return sampled_figure(float(np.median(values)), values, unit)


def time_constants(va_after: Array, seed: int) -> Array:
    """Draw time constants [min] for ventilation after [L/min] and a store of 35 to 60 mL/mmHg."""
    store = np.random.default_rng([seed, 5]).uniform(CO2_STORE_LOW_ML_MMHG, CO2_STORE_HIGH_ML_MMHG, DRAWS)
    return co2_time_constant_min(va_after, store)


def steady_state(va_after: Array, ln_ratio: float, seed: int, *, oxygen_alone: bool = False) -> SteadyState:
    """Time constant over a store of 35 to 60 mL/mmHg; never shorter than the honest wait."""
    tau = time_constants(va_after, seed)
    t95 = time_to_95_percent_min(tau)
    least = RECHECK_AFTER_MORE_MIN if ln_ratio < 0.0 else RECHECK_AFTER_LESS_MIN
    earliest = 5.0 * math.ceil(max(least, float(np.median(t95))) / 5.0)
    days = RECHECK_OXYGEN_DAYS if oxygen_alone else RECHECK_DAY_GAS_DAYS
    words = f"on the ventilator not before {earliest:.0f} min; tissue stores take longer. "
    words += OXYGEN_WORDS if oxygen_alone else DAY_GAS_WORDS
    return SteadyState(median_figure(tau, "min"), median_figure(t95, "min"), earliest, days, words)


DAY_GAS_WORDS = (
    f"The full effect on an awake gas not before {RECHECK_DAY_GAS_DAYS} days; bicarbonate lags PaCO2 by "
    f"days. After a change for acidosis or drowsiness a look within {URGENT_DAYS[0]} to {URGENT_DAYS[1]} "
    "days comes first (project default, local protocol before it). No guideline gives an interval."
)
OXYGEN_WORDS = (
    "Oxygen alone has no weeks to wait for; a night of oximetry or transcutaneous CO2 within "
    f"{OXYGEN_NIGHT_DAYS} days (project default, local protocol before it)."
)


def hyperbola(vco2: Array, va: tuple[Array, Array], points: int = 60) -> pl.DataFrame:
    """Give the metabolic hyperbola of this person's implied CO2 output over the range of ventilation."""
    low = 0.6 * float(np.quantile(np.minimum(*va), LOW_80))
    high = 1.5 * float(np.quantile(np.maximum(*va), HIGH_80))
    grid = np.geomspace(max(low, 0.3), high, points)
    outputs = np.quantile(vco2, QUANTILES)
    columns = {
        name: KPA_L_PER_ML * output / grid for name, output in zip(CURVE_COLUMNS, outputs, strict=True)
    }
    return pl.DataFrame({"alveolar_l_min": grid, **columns})


def fan(level: Array, reached: Array, va_after: Array, seed: int, points: int = 37) -> pl.DataFrame:
    """Give the way of PaCO2 to its new level on the ventilator over three hours."""
    tau = time_constants(va_after, seed)[:FAN_DRAWS]
    start, end = level[:FAN_DRAWS], reached[:FAN_DRAWS]
    minutes = np.linspace(0.0, 180.0, points)
    rows = [quantiles(paco2_at_time_kpa(start, end, np.full(FAN_DRAWS, t), tau)) for t in minutes]
    return pl.DataFrame({"minute": minutes}).hstack(
        pl.DataFrame(rows, schema=list(CURVE_COLUMNS), orient="row")
    )


def empty_curve(first: str) -> pl.DataFrame:
    """Give a curve without points."""
    return pl.DataFrame(schema=dict.fromkeys((first, *CURVE_COLUMNS), pl.Float64()))
