"""Questions from the table of entry limits, one for each typed number outside its usual range."""

from collections.abc import Iterator
from decimal import Decimal

from hvmon.records.base import PersonRecord
from hvmon.records.dossier import Dossier
from hvmon.records.flat import Flat, flatten
from hvmon.records.gas import BloodGas
from hvmon.records.limits import ENTRY_LIMITS, EntryLimit, Verdict
from hvmon.rules.case import ADULT_FROM_YEARS
from hvmon.rules.entry_question import EntryQuestion, question
from hvmon.vocabulary import Dependence, SampleKind

_LIMITS = {limit.field: limit for limit in ENTRY_LIMITS}
_PREFIXES = ("state_", "program_1_", "program_2_")
_STEMS = {
    "pco2": "paco2",
    "po2": "pao2",
    "ptcco2": "ptcco2",
    "tcco2_awake_supine": "ptcco2",
    "tcco2_mean": "ptcco2",
    "tcco2_median": "ptcco2",
    "tcco2_peak": "ptcco2",
}
_SAME = {
    "ipap_max_cmh2o": "ipap_cmh2o",
    "target_volume_ml": "tidal_volume_ml",
    "residual_events_per_h": "events_per_h",
    "daytime_h": "usage_h",
    "spo2_mean_pct": "spo2_pct",
}
_ALL_DAY = {Dependence.CONTINUOUS, Dependence.NEAR_CONTINUOUS}
_ADULT_SIZES = {"height_cm", "ulna_cm", "weight_kg", "fvc_l", "tidal_volume_ml"}


def limit_of(column: str, flat: Flat) -> EntryLimit | None:
    """Give the row of the limits table for a flat column; None when it has none."""
    name = column
    for prefix in _PREFIXES:
        name = name.removeprefix(prefix)
    unit = flat.get(f"{column}_unit")
    if unit is not None and name in _STEMS:
        return _LIMITS[f"{_STEMS[name]}_{str(unit).lower()}"]
    return _LIMITS.get(_SAME.get(name, name))


def range_questions(record: PersonRecord, dossier: Dossier | None) -> Iterator[EntryQuestion]:
    """Ask about every number outside the range in which nobody is asked."""
    flat = flatten(record)
    for column, value in flat.items():
        if isinstance(value, bool) or not isinstance(value, Decimal | int):
            continue
        limit = limit_of(column, flat)
        if limit is None or _usual_here(column, value, record, dossier):
            continue
        if limit.verdict(Decimal(value)) == Verdict.CONFIRM:
            accepted = f"{limit.ask_low} to {limit.ask_high} {limit.unit}".strip()
            yield question(f"range.{limit.field}", column, value, accepted, limit.slip)


def _usual_here(column: str, value: Decimal | int, record: PersonRecord, dossier: Dossier | None) -> bool:
    """Whether a value outside the general range is usual for this sample or person."""
    if column == "po2" and isinstance(record, BloodGas):
        on_oxygen = record.state.on_oxygen and value > _LIMITS["pao2_kpa"].ask_low
        return record.kind == SampleKind.VENOUS or bool(on_oxygen)
    if column == "so2_pct" and isinstance(record, BloodGas):
        return record.kind == SampleKind.VENOUS
    if dossier is None:
        return False
    if column in {"usage_h", "daytime_h"}:
        return dossier.person.dependence in _ALL_DAY
    return column in _ADULT_SIZES and _is_child(record, dossier)


def _is_child(record: PersonRecord, dossier: Dossier) -> bool:
    if dossier.identity is None:
        return False
    day = next(
        (getattr(record, name) for name in ("weighed_on", "tested_on", "night_of") if hasattr(record, name)),
        None,
    )
    age = dossier.age_on(day) if day is not None else None
    return age is not None and age < ADULT_FROM_YEARS
