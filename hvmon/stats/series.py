"""A person's CO2 readings and settings changes as two frames, the input of everything in this room."""

from datetime import datetime
from decimal import Decimal

import polars as pl

from hvmon.records.dossier import Dossier
from hvmon.records.gas import BloodGas, SamplingState, SpotTranscutaneous
from hvmon.records.held import Held
from hvmon.records.settings import SettingsChange
from hvmon.records.study import NightSummary
from hvmon.vocabulary import (
    NotRecorded,
    Rest,
    SensorSite,
    TemperatureCorrection,
    VentilatorState,
)

TC_EARLOBE = "tc earlobe"
TC_OTHER = "tc other"
TC_NIGHT = "tc night"
TRANSCUTANEOUS = (TC_EARLOBE, TC_OTHER, TC_NIGHT)

MIN_NIGHT_CO2_S = 4 * 3600
"""[s] least valid transcutaneous recording for a night median to enter the trend; project judgement."""

READINGS_SCHEMA: dict[str, pl.DataType] = {
    "record_id": pl.String(),
    "taken_at": pl.Datetime("us", "UTC"),
    "source": pl.String(),
    "pco2_kpa": pl.Float64(),
    "ventilator": pl.String(),
    "oxygen_l_min": pl.Float64(),
    "reason": pl.String(),
    "entered_unit": pl.String(),
    "entered_value": pl.Float64(),
    "sensor_site": pl.String(),
    "drift_correction": pl.String(),
    "ph": pl.Float64(),
    "hco3_mmol_l": pl.Float64(),
    "refusal": pl.String(),
}
"""Columns of a readings frame. The first eight are required by the model; the rest may be absent."""

REQUIRED_READING_COLUMNS = tuple(READINGS_SCHEMA)[:8]

CHANGES_SCHEMA: dict[str, pl.DataType] = {
    "record_id": pl.String(),
    "changed_at": pl.Datetime("us", "UTC"),
    "kind": pl.String(),
    "pressure_support_cmh2o": pl.Float64(),
    "backup_rate": pl.Float64(),
    "label": pl.String(),
}
"""Columns of a changes frame; the two numbers are differences from the settings before."""


def readings_frame(dossier: Dossier) -> pl.DataFrame:
    """Give every CO2 reading of a person in order of time, with what makes it comparable.

    Blood gases, spot transcutaneous readings and night medians. A reading that the trend may not use
    is kept, with the reason in column ``refusal``; it is never left out silently.

    Returns
    -------
    polars.DataFrame
        Columns of `READINGS_SCHEMA`; pressures in kPa, oxygen in L/min (null = not recorded).
    """
    rows = [_gas_row(held) for held in dossier.blood_gas]
    rows += [_spot_row(held) for held in dossier.spot_transcutaneous]
    rows += [_night_row(held) for held in dossier.night_summary if held.record.tcco2_median is not None]
    return pl.DataFrame(rows, schema=READINGS_SCHEMA, orient="row").sort("taken_at", maintain_order=True)


def changes_frame(dossier: Dossier) -> pl.DataFrame:
    """Give every settings change of a person in order of time, with its size where both sides are known.

    Returns
    -------
    polars.DataFrame
        Columns of `CHANGES_SCHEMA`; differences are null at the first settings and when a side is missing.
    """
    rows, before = [], None
    for held in sorted(dossier.settings_change, key=lambda held: held.record.changed_at):
        rows.append(_change_row(held, before))
        before = held.record
    return pl.DataFrame(rows, schema=CHANGES_SCHEMA, orient="row")


def _number(value: Decimal | NotRecorded | None) -> float | None:
    return float(value) if isinstance(value, Decimal) else None


def _state(state: SamplingState) -> tuple[str, float | None, str]:
    return state.ventilator.value, _number(state.oxygen_l_min), state.reason.value


def _gas_row(held: Held[BloodGas]) -> tuple[object, ...]:
    gas = held.record
    ventilator, oxygen, reason = _state(gas.state)
    return (
        held.record_id, gas.drawn_at, gas.kind.value, gas.pco2.kpa, ventilator, oxygen, reason,
        gas.pco2.unit.value, float(gas.pco2.value), None, None, float(gas.ph), _number(gas.hco3_mmol_l),
        _gas_refusal(gas),
    )  # fmt: skip


def _gas_refusal(gas: BloodGas) -> str | None:
    if gas.temperature_correction == TemperatureCorrection.CORRECTED:
        return "corrected to body temperature; the trend uses values at 37 °C only"
    return _state_refusal(gas.state)


def _state_refusal(state: SamplingState) -> str | None:
    if state.rest == Rest.AFTER_EXERTION:
        return "taken after exertion; the trend uses resting values only"
    return None


def _spot_row(held: Held[SpotTranscutaneous]) -> tuple[object, ...]:
    spot = held.record
    ventilator, oxygen, reason = _state(spot.state)
    source = TC_EARLOBE if spot.site == SensorSite.EARLOBE else TC_OTHER
    return (
        held.record_id, spot.read_at, source, spot.ptcco2.kpa, ventilator, oxygen, reason,
        spot.ptcco2.unit.value, float(spot.ptcco2.value), spot.site.value, spot.drift_correction.value, None,
        None, _state_refusal(spot.state),
    )  # fmt: skip


def _night_row(held: Held[NightSummary]) -> tuple[object, ...]:
    night = held.record
    median = night.tcco2_median
    assert median is not None  # noqa: S101 - chosen by the caller
    return (
        held.record_id, night.started_at, TC_NIGHT, median.kpa, night.ventilator.value,
        _number(night.oxygen_l_min), night.reason.value, median.unit.value, float(median.value),
        night.sensor_site.value, night.drift_correction.value, None, None, _night_refusal(night),
    )  # fmt: skip


def _night_refusal(night: NightSummary) -> str | None:
    if night.tcco2_valid_s is None:
        return "valid transcutaneous time not recorded; a night median needs at least 4 h to enter the trend"
    if night.tcco2_valid_s < MIN_NIGHT_CO2_S:
        hours = night.tcco2_valid_s / 3600
        return f"only {hours:.1f} h of valid transcutaneous recording; at least 4 h are needed for the trend"
    if night.ventilator == VentilatorState.NOT_RECORDED:
        return "not recorded whether the night was on the ventilator; its median belongs to neither condition"
    return None


def _change_row(held: Held[SettingsChange], before: SettingsChange | None) -> tuple[object, ...]:
    change = held.record
    now, then = change.program_1, before.program_1 if before else None
    support = _difference(now.pressure_support_cmh2o, then.pressure_support_cmh2o if then else None)
    rate = _difference(now.backup_rate_min, then.backup_rate_min if then else None)
    return held.record_id, change.changed_at, change.kind.value, support, rate, _label(change, support, rate)


def _difference(now: Decimal | None, then: Decimal | None) -> float | None:
    return None if now is None or then is None else float(now - then)


def _label(change: SettingsChange, support: float | None, rate: float | None) -> str:
    parts = [change.kind.value]
    if support:
        parts.append(f"pressure support {support:+g} cmH2O")
    if rate:
        parts.append(f"backup rate {rate:+g}/min")
    return ", ".join(parts)


def utc(moment: datetime) -> datetime:
    """Give a moment back, or say that it has no offset.

    Raises
    ------
    ValueError
        The moment is naive.
    """
    if moment.tzinfo is None:
        raise ValueError(f"{moment} has no offset from UTC; give an aware moment")
    return moment
