"""The record of one person as small tables of words: readings, symptoms, settings, weight and lungs.

Values stand as they were entered. "not recorded" is written out and never left blank.
"""

from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from zoneinfo import ZoneInfo

from hvmon.records.base import Pressure
from hvmon.records.dossier import Dossier
from hvmon.records.gas import BloodGas, SpotTranscutaneous
from hvmon.records.settings import Program, SettingsReading
from hvmon.records.study import NightSummary
from hvmon.services.change_words import difference_words
from hvmon.services.course_rows import oxygen_words, state_words
from hvmon.stats.cases import po2_use
from hvmon.vocabulary import NotRecorded, Rating, SampleKind

Table = list[dict[str, str]]
"""Rows of column name to text, newest first."""

NONE = "not given"

PROGRAM_FIELDS: tuple[tuple[str, str, str], ...] = (
    ("mode", "Mode", ""),
    ("ipap_cmh2o", "IPAP", "cmH2O"),
    ("ipap_max_cmh2o", "IPAP, highest", "cmH2O"),
    ("epap_cmh2o", "EPAP", "cmH2O"),
    ("tidal_volume_ml", "Tidal volume", "mL"),
    ("target_volume_ml", "Target volume", "mL"),
    ("backup_rate_min", "Backup rate", "/min"),
    ("inspiratory_time_s", "Inspiratory time", "s"),
    ("trigger", "Trigger", ""),
    ("oxygen_l_min", "Oxygen", "L/min"),
    ("interface", "Interface", ""),
    ("circuit", "Circuit", ""),
    ("filter_kind", "Filter", ""),
)


def words(value: object, unit: str = "") -> str:
    """Give any value of a record in words, as entered."""
    if value is None:
        return NONE
    if isinstance(value, NotRecorded | Pressure):
        return str(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    text = value.value if isinstance(value, StrEnum) else str(value)
    return f"{text} {unit}" if unit else text


def _clock(moment: datetime, zone: str) -> str:
    return f"{moment.astimezone(ZoneInfo(zone)):%d %b %Y %H:%M}"


def readings_table(dossier: Dossier) -> Table:
    """Give gases, spot readings and night values, newest first, each with its conditions."""
    rows = [(held.record.drawn_at, _gas_row(held.record)) for held in dossier.blood_gas]
    rows += [(held.record.read_at, _spot_row(held.record)) for held in dossier.spot_transcutaneous]
    rows += [(held.record.started_at, _night_row(held.record)) for held in dossier.night_summary]
    return [row for _, row in sorted(rows, key=lambda pair: pair[0], reverse=True)]


def _gas_row(gas: BloodGas) -> dict[str, str]:
    return {
        "When": _clock(gas.drawn_at, gas.zone),
        "Sample": gas.kind.value,
        "PCO2": str(gas.pco2),
        "pH": words(gas.ph),
        "HCO3": words(gas.hco3_mmol_l, "mmol/L"),
        "PO2": _po2_words(gas),
        "Ventilator": gas.state.ventilator.value,
        "Oxygen": oxygen_words(gas.state.oxygen_l_min),
        "Conditions": state_words(gas.state),
        "Comment": gas.comment,
    }


def _po2_words(gas: BloodGas) -> str:
    if gas.po2 is None or po2_use(gas.kind.value).accepted:
        return words(gas.po2)
    least = gas.kind == SampleKind.CAPILLARY_EARLOBE
    return f"{gas.po2} ({'PaO2 at least this' if least else 'not PaO2'})"


def po2_notes(dossier: Dossier) -> tuple[str, ...]:
    """Give why the PO2 of some kinds of sample in this record does not stand for PaO2, once a kind."""
    kinds = {held.record.kind.value for held in dossier.blood_gas if held.record.po2 is not None}
    uses = [po2_use(kind) for kind in sorted(kinds)]
    return tuple(use.reason for use in uses if not use.accepted)


def _spot_row(spot: SpotTranscutaneous) -> dict[str, str]:
    return {
        "When": _clock(spot.read_at, spot.zone),
        "Sample": f"transcutaneous, {spot.site.value}",
        "PCO2": str(spot.ptcco2),
        "pH": "",
        "HCO3": "",
        "PO2": "",
        "Ventilator": spot.state.ventilator.value,
        "Oxygen": oxygen_words(spot.state.oxygen_l_min),
        "Conditions": state_words(spot.state),
        "Comment": spot.comment,
    }


def _night_row(night: NightSummary) -> dict[str, str]:
    values = (("mean", night.tcco2_mean), ("median", night.tcco2_median), ("peak", night.tcco2_peak))
    told = ", ".join(f"{name} {value}" for name, value in values if value is not None)
    return {
        "When": _clock(night.started_at, night.zone),
        "Sample": "night, transcutaneous",
        "PCO2": told or NONE,
        "pH": "",
        "HCO3": "",
        "PO2": "",
        "Ventilator": night.ventilator.value,
        "Oxygen": oxygen_words(night.oxygen_l_min),
        "Conditions": _saturation_words(night),
        "Comment": night.comment,
    }


def _saturation_words(night: NightSummary) -> str:
    share = night.below_90_pct
    parts = [
        f"mean SpO2 {night.spo2_mean_pct} %" if night.spo2_mean_pct is not None else "",
        f"lowest {night.spo2_nadir_pct} %" if night.spo2_nadir_pct is not None else "",
        f"{share:.0f} % of valid time below 90 %" if share is not None else "",
        _dips(night),
        f"drift correction {night.drift_correction.value}",
    ]
    return ", ".join(part for part in parts if part)


def _dips(night: NightSummary) -> str:
    if night.dips_per_h is None:
        return ""
    return f"{night.dips_per_h} dips of {night.dip_size_pct} % an hour ({night.dip_convention})"


def nights_table(dossier: Dossier) -> Table:
    """Give overnight studies, newest first; an index stands only with its convention."""
    rows = []
    for held in reversed(dossier.night_summary):
        night = held.record
        share = night.below_90_pct
        rows.append(
            {
                "Night of": f"{night.night_of:%d %b %Y}",
                "Ventilator": night.ventilator.value,
                "Oxygen": oxygen_words(night.oxygen_l_min),
                "Valid": _hours(night.valid_s),
                "Mean, lowest SpO2": f"{words(night.spo2_mean_pct, '%')}, {words(night.spo2_nadir_pct, '%')}",
                "Below 90 %": NONE if share is None else f"{share:.0f} % of valid time",
                "Dips, by convention": _dips(night) or NONE,
                "tcCO2 mean, peak": f"{words(night.tcco2_mean)}, {words(night.tcco2_peak)}",
                "Drift": night.drift_correction.value,
                "Signal": "stored" if night.signal_hash else "typed from a report",
            }
        )
    return rows


def _hours(seconds: int | NotRecorded) -> str:
    return str(seconds) if isinstance(seconds, NotRecorded) else f"{seconds / 3600:.1f} h"


def symptoms_table(dossier: Dossier) -> Table:
    """Give ratings, flap and questionnaire totals, newest first."""
    rows = []
    for held in reversed(dossier.symptom_report):
        report = held.record
        row = {"When": _clock(report.asked_at, report.zone)}
        row |= {rating.value: words(getattr(report, rating.name.lower())) for rating in Rating}
        row |= {"CO2 flap": report.flap.value, "answered by": report.answered_by.value}
        row["questionnaires"] = "; ".join(
            f"{one.instrument.value} {one.total} ({'high' if one.high_is_worse else 'low'} is worse)"
            for one in report.instruments
        )
        rows.append(row)
    return rows


def settings_now(dossier: Dossier) -> Table:
    """Give the settings in force beside what was last read at the machine; differences are named."""
    if not dossier.settings_change:
        return []
    change = dossier.settings_change[-1].record
    read = dossier.settings_reading[-1].record if dossier.settings_reading else None
    rows = list(_program_rows("1", change.program_1, read.program_1 if read else None))
    if change.program_2 is not None:
        rows += _program_rows("2", change.program_2, read.program_2 if read else None)
    return rows


def _program_rows(name: str, ordered: Program, read: Program | None) -> Iterable[dict[str, str]]:
    for field, label, unit in PROGRAM_FIELDS:
        given, found = getattr(ordered, field), getattr(read, field) if read else None
        if given is None and found is None:
            continue
        same = read is None or given == found
        yield {
            "Program": name,
            "Setting": label,
            "Ordered": words(given, unit),
            "At the machine": "not read" if read is None else words(found, unit),
            "Differs?": "" if same else "DIFFERS",
        }


def read_on(dossier: Dossier) -> str:
    """Say when the settings were last read at the machine."""
    if not dossier.settings_reading:
        return "Settings were never read at the machine."
    read: SettingsReading = dossier.settings_reading[-1].record
    return f"Read at the machine {_clock(read.read_at, read.zone)} by {read.recorded_by}."


def settings_history(dossier: Dossier) -> Table:
    """Give every settings change, newest first: what, who, why, what it owes."""
    rows, before = [], None
    for held in dossier.settings_change:
        change = held.record
        owes = change.owed_test.value + (f" by {change.owed_by:%d %b %Y}" if change.owed_by else "")
        rows.append(
            {
                "When": _clock(change.changed_at, change.zone),
                "Change": difference_words(before, change),
                "Why": change.why,
                "By": f"{change.changed_by} ({change.role.value})",
                "Kind": f"{change.kind.value}, {change.urgency.value}",
                "Owes": owes,
            }
        )
        before = change
    return rows[::-1]


def body_table(dossier: Dossier) -> Table:
    """Give weights and lung function, newest first."""
    rows = [
        (
            held.record.weighed_on,
            {"What": "weight", "Value": _weight(held.record.weight_kg, held.record.estimated)},
        )
        for held in dossier.weight
    ]
    fields = (
        ("fvc_l", "FVC", "L"),
        ("fvc_pct", "FVC", "% predicted"),
        ("snip_cmh2o", "SNIP", "cmH2O"),
        ("mip_cmh2o", "MIP", "cmH2O"),
        ("peak_cough_flow_l_min", "peak cough flow", "L/min"),
    )
    for held in dossier.lung_function:
        values = ((label, unit, getattr(held.record, field)) for field, label, unit in fields)
        told = ", ".join(f"{label} {value} {unit}" for label, unit, value in values if value is not None)
        rows.append((held.record.tested_on, {"What": "lung function", "Value": told}))
    rows.sort(key=lambda pair: pair[0], reverse=True)
    return [{"When": f"{day:%d %b %Y}", **row} for day, row in rows]


def _weight(weight_kg: Decimal, estimated: bool) -> str:
    return f"{weight_kg} kg{' (estimated)' if estimated else ''}"


def events_table(dossier: Dossier) -> Table:
    """Give clinical events, newest first."""
    return [
        {
            "When": f"{event.happened_on:%d %b %Y}" + (f" to {event.until:%d %b %Y}" if event.until else ""),
            "Event": event.kind.value,
            "Class": event.medicine_class.value if event.medicine_class else "",
            "Detail": event.detail,
        }
        for event in (held.record for held in reversed(dossier.clinical_event))
    ]
