"""Acid-base reading of each gas, and the curves and the person's path on a pH/PCO2 map.

Order: a state that follows an effective settings change comes first, then alkalaemia (metabolic first when
bicarbonate is high), then how chronic a hypercapnia looks, "indeterminate" where one gas cannot tell.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import StrEnum

import numpy as np
import polars as pl

from hvmon.physiology.acid_base import bicarbonate_mmol_l
from hvmon.physiology.base_excess import base_excess_extracellular_mmol_l
from hvmon.physiology.compensation import (
    ACUTE_SLOPE,
    BAND_MMOL_L,
    CHRONIC_SLOPE,
    CHRONIC_SLOPE_HIGH,
    CHRONIC_SLOPE_LOW,
    Chronicity,
    chronicity,
    chronicity_index,
    expected_bicarbonate_mmol_l,
    expected_ph,
)
from hvmon.records.base import Pressure
from hvmon.records.dossier import Dossier, local
from hvmon.records.gas import BloodGas
from hvmon.records.held import Held
from hvmon.records.settings import SettingsChange
from hvmon.stats.figure import Refused
from hvmon.stats.likeforlike import reference_change
from hvmon.stats.ventilation import refused_as_arterial
from hvmon.units import PressureUnit, kpa_from_mmhg
from hvmon.vocabulary import ChangeKind

ALKALAEMIA_PH, ACIDAEMIA_PH = 7.45, 7.35
"""Conventional limits (RCEM)."""
HIGH_HCO3_MMOL_L = 27.0
"""[mmol/L] upper end of the reference interval (Klaestrup2011)."""
LOW_PCO2 = {PressureUnit.KPA: Decimal("4.67"), PressureUnit.MMHG: Decimal(35)}
HIGH_PCO2 = {PressureUnit.KPA: Decimal("6.00"), PressureUnit.MMHG: Decimal(45)}
"""Conventional limits in each unit (RCEM); a value is held against the limit of its own unit."""
AFTER_CHANGE_DAYS = 28
"""[d] after an effective change in which a high bicarbonate is read as left over (Project; bicarbonate lags
days, and longer while chloride or potassium are short)."""


class AcidBaseState(StrEnum):
    """What a gas reads as."""

    POST_HYPERCAPNIC = "post-hypercapnic: bicarbonate left over after an effective change"
    METABOLIC_ALKALOSIS_FIRST = "alkalaemia with high bicarbonate: metabolic alkalosis first"
    RESPIRATORY_ALKALOSIS = "alkalaemia with low PCO2: over-ventilation"
    HYPOCAPNIA = (
        "low PCO2, pH within the conventional range: over-ventilation with bicarbonate adapted, or a "
        "metabolic acidosis breathed out"
    )
    ALKALAEMIA = "alkalaemia without a simple explanation"
    HYPERCAPNIA = "hypercapnia"
    ACIDAEMIA = "acidaemia without hypercapnia"
    NEAR_NORMAL = "no hypercapnia, pH within the conventional range"


@dataclass(frozen=True, slots=True)
class Band:
    """Bicarbonate expected at this PCO2 [mmol/L]."""

    acute: float
    chronic: float
    chronic_low: float
    """At the slope 0.35."""
    chronic_high: float
    """At the slope 0.51."""


@dataclass(frozen=True, slots=True)
class GasReading:
    """The acid-base reading of one gas."""

    record_id: str
    at: datetime
    day: date
    kind: str
    ph: float
    pco2_kpa: float
    hco3_mmol_l: float
    """Recomputed with one set of constants, for trends."""
    hco3_entered_mmol_l: float | None
    hco3_entered_kind: str
    base_excess_mmol_l: float
    """Extracellular."""
    band: Band
    index: float | None
    """Chronicity index; None when it cannot be told."""
    chronicity: Chronicity
    state: AcidBaseState
    words: str


def read_gas(
    dossier: Dossier, held: Held[BloodGas], *, chronic_slope: float = CHRONIC_SLOPE
) -> GasReading | Refused:
    """Read one gas; `chronic_slope` [mmol/L per mmHg] is the team's setting, 0.40 by default.

    Returns
    -------
    GasReading or Refused
        Refused for a venous sample and for values corrected to body temperature.
    """
    gas = held.record
    refusal = refused_as_arterial(gas)
    if refusal is not None:
        return refusal
    ph, pco2 = float(gas.ph), gas.pco2.kpa
    hco3 = bicarbonate_mmol_l(ph, pco2)
    band = _band(pco2, chronic_slope)
    label = Chronicity(str(chronicity(pco2, hco3, chronic_slope)))
    told = label != Chronicity.INDETERMINATE
    after_change = _effective_change(dossier, held)
    state = _state(gas, hco3, band, left_over=after_change is not None)
    return GasReading(
        held.record_id,
        gas.drawn_at,
        local(gas.drawn_at, gas.zone).date(),
        gas.kind.value,
        ph,
        pco2,
        hco3,
        None if gas.hco3_mmol_l is None else float(gas.hco3_mmol_l),
        gas.hco3_kind.value,
        base_excess_extracellular_mmol_l(ph, hco3),
        band,
        chronicity_index(pco2, hco3, chronic_slope) if told else None,
        label,
        state,
        _words(state, label, hco3, band, after_change),
    )


def read_gases(dossier: Dossier, *, chronic_slope: float = CHRONIC_SLOPE) -> tuple[GasReading | Refused, ...]:
    """Read every gas of a person, in order of time."""
    return tuple(read_gas(dossier, held, chronic_slope=chronic_slope) for held in dossier.blood_gas)


def compensation_curves(
    *, low_kpa: float = 3.5, high_kpa: float = 14.0, points: int = 85, chronic_slope: float = CHRONIC_SLOPE
) -> pl.DataFrame:
    """Give the acute and chronic lines of a pH/PCO2 map with their bands.

    Returns
    -------
    polars.DataFrame
        ``line`` ("acute", "chronic"), ``pco2_kpa``, ``ph``, ``ph_low``, ``ph_high``. The acute band is 2
        mmol/L either way; the chronic one spans the slopes 0.35 to 0.51, 2 mmol/L beyond them.
    """
    pco2 = np.linspace(low_kpa, high_kpa, points)
    slopes = {
        "acute": (ACUTE_SLOPE, ACUTE_SLOPE, ACUTE_SLOPE),
        "chronic": (chronic_slope, CHRONIC_SLOPE_LOW, CHRONIC_SLOPE_HIGH),
    }
    frames = [_curve(name, pco2, *three) for name, three in slopes.items()]
    return pl.concat(frames)


def bicarbonate_curves(
    values_mmol_l: Sequence[float] = (20.0, 24.0, 28.0, 32.0, 36.0, 40.0),
    *,
    low_kpa: float = 3.5,
    high_kpa: float = 14.0,
    points: int = 85,
) -> pl.DataFrame:
    """Give lines of equal bicarbonate: ``hco3_mmol_l``, ``pco2_kpa``, ``ph``."""
    pco2 = np.linspace(low_kpa, high_kpa, points)
    frames = [
        pl.DataFrame(
            {
                "hco3_mmol_l": np.full(points, value),
                "pco2_kpa": pco2,
                "ph": expected_ph(pco2, 0.0, value - expected_bicarbonate_mmol_l(kpa_from_mmhg(40.0), 0.0)),
            }
        )
        for value in values_mmol_l
    ]
    return pl.concat(frames)


def path_frame(readings: Sequence[GasReading | Refused]) -> pl.DataFrame:
    """Give this person's path over time, columns of `PATH_SCHEMA`; refused gases are not on it."""
    rows = [reading for reading in readings if isinstance(reading, GasReading)]
    return pl.DataFrame(
        {
            "order": list(range(1, len(rows) + 1)),
            "record_id": [row.record_id for row in rows],
            "at": [row.at for row in rows],
            "kind": [row.kind for row in rows],
            "pco2_kpa": [row.pco2_kpa for row in rows],
            "ph": [row.ph for row in rows],
            "hco3_mmol_l": [row.hco3_mmol_l for row in rows],
            "state": [row.state.value for row in rows],
            "chronicity": [row.chronicity.value for row in rows],
        },
        schema=PATH_SCHEMA,
    )


PATH_SCHEMA: dict[str, pl.DataType] = {
    "order": pl.Int64(),
    "record_id": pl.String(),
    "at": pl.Datetime("us", "UTC"),
    "kind": pl.String(),
    "pco2_kpa": pl.Float64(),
    "ph": pl.Float64(),
    "hco3_mmol_l": pl.Float64(),
    "state": pl.String(),
    "chronicity": pl.String(),
}


def _curve(name: str, pco2: np.ndarray, middle: float, low: float, high: float) -> pl.DataFrame:
    # below 40 mmHg the steeper slope lies lower: the band is the outer envelope of both
    edges = np.array([expected_ph(pco2, slope, -BAND_MMOL_L) for slope in (low, high)])
    tops = np.array([expected_ph(pco2, slope, BAND_MMOL_L) for slope in (low, high)])
    return pl.DataFrame(
        {
            "line": [name] * pco2.size,
            "pco2_kpa": pco2,
            "ph": expected_ph(pco2, middle),
            "ph_low": edges.min(axis=0),
            "ph_high": tops.max(axis=0),
        }
    )


def _band(pco2_kpa: float, chronic_slope: float) -> Band:
    slopes = (ACUTE_SLOPE, chronic_slope, CHRONIC_SLOPE_LOW, CHRONIC_SLOPE_HIGH)
    return Band(*(expected_bicarbonate_mmol_l(pco2_kpa, slope) for slope in slopes))


def _state(gas: BloodGas, hco3: float, band: Band, *, left_over: bool) -> AcidBaseState:
    ph, pco2 = float(gas.ph), gas.pco2
    above_chronic = hco3 > max(band.chronic_high, HIGH_HCO3_MMOL_L - BAND_MMOL_L) + BAND_MMOL_L
    if left_over and (above_chronic or (ph > ALKALAEMIA_PH and hco3 > HIGH_HCO3_MMOL_L)):
        return AcidBaseState.POST_HYPERCAPNIC
    if ph > ALKALAEMIA_PH:
        return _alkalaemia(pco2, hco3)
    if pco2.value > HIGH_PCO2[pco2.unit]:
        return AcidBaseState.HYPERCAPNIA
    if ph < ACIDAEMIA_PH:
        return AcidBaseState.ACIDAEMIA
    return AcidBaseState.HYPOCAPNIA if pco2.value < LOW_PCO2[pco2.unit] else AcidBaseState.NEAR_NORMAL


def _alkalaemia(pco2: Pressure, hco3: float) -> AcidBaseState:
    if hco3 > HIGH_HCO3_MMOL_L:
        return AcidBaseState.METABOLIC_ALKALOSIS_FIRST
    if pco2.value < LOW_PCO2[pco2.unit]:
        return AcidBaseState.RESPIRATORY_ALKALOSIS
    return AcidBaseState.ALKALAEMIA


def _effective_change(dossier: Dossier, held: Held[BloodGas]) -> SettingsChange | None:
    """Give the settings change in the weeks before, after which PCO2 fell by more than readings scatter."""
    gas = held.record
    start = gas.drawn_at - timedelta(days=AFTER_CHANGE_DAYS)
    changes = [
        one.record
        for one in dossier.settings_change
        if start <= one.record.changed_at < gas.drawn_at
        and one.record.kind in {ChangeKind.INITIATION, ChangeKind.ESCALATION}
    ]
    for change in reversed(changes):
        before = _gas_before(dossier, change, gas)
        if before is None:
            continue
        limit = reference_change(gas.kind.value, before.kind.value).down_pct
        if 100.0 * (gas.pco2.kpa / before.pco2.kpa - 1.0) < limit:
            return change
    return None


def _gas_before(dossier: Dossier, change: SettingsChange, gas: BloodGas) -> BloodGas | None:
    """Give the last usable gas before a change, taken in the same ventilator state."""
    usable = [
        one.record
        for one in dossier.blood_gas
        if one.record.drawn_at <= change.changed_at
        and refused_as_arterial(one.record) is None
        and one.record.state.ventilator == gas.state.ventilator
    ]
    return usable[-1] if usable else None


def _words(
    state: AcidBaseState, label: Chronicity, hco3: float, band: Band, change: SettingsChange | None
) -> str:
    """One sentence: the state, what bicarbonate would be expected, and what one gas cannot tell."""
    expected = f"bicarbonate {hco3:.1f} mmol/L; expected {band.acute:.1f} acute, {band.chronic:.1f} chronic"
    parts = [state.value]
    if state == AcidBaseState.HYPERCAPNIA:
        parts.append(CHRONICITY_WORDS[label])
    if state == AcidBaseState.POST_HYPERCAPNIC and change is not None:
        parts.append(f"settings changed on {local(change.changed_at, change.zone).date()}, PCO2 fell since")
    return "; ".join((*parts, expected))


CHRONICITY_WORDS: dict[Chronicity, str] = {
    Chronicity.INDETERMINATE: "acute or chronic cannot be told from one gas this near normal",
    Chronicity.PLUS_METABOLIC_ACIDOSIS: "less bicarbonate than even an acute rise explains",
    Chronicity.ACUTE: "bicarbonate as in an acute rise",
    Chronicity.ACUTE_ON_CHRONIC: "bicarbonate between acute and chronic",
    Chronicity.COMPENSATED: "bicarbonate as in a chronic, compensated rise",
    Chronicity.PLUS_METABOLIC_ALKALOSIS: "more bicarbonate than a chronic rise explains",
}
