"""One person's record as the frames that a timeline draws; values as entered stay beside the numbers."""

from collections.abc import Iterable
from datetime import UTC, datetime, time
from decimal import Decimal
from statistics import median
from zoneinfo import ZoneInfo

import polars as pl

from hvmon.records.course import ClinicalEvent, NightlyUse
from hvmon.records.dossier import Dossier
from hvmon.records.gas import BloodGas, SamplingState, SpotTranscutaneous
from hvmon.records.held import Held
from hvmon.records.study import NightSummary
from hvmon.services.change_words import difference_words, program_words
from hvmon.stats.likeforlike import key_of
from hvmon.stats.series import readings_frame
from hvmon.vocabulary import (
    EventKind,
    FlapTest,
    NotRecorded,
    Rating,
)

TRANSCUTANEOUS = "transcutaneous"
_AT = pl.Datetime("us", "UTC")
_TEXTS = ("kind", "ventilator", "oxygen", "beside", "entered", "series", "note", "record_id")
READINGS: dict[str, object] = {"at": _AT, "pco2_kpa": pl.Float64, **dict.fromkeys(_TEXTS, pl.String)}
CHANGES: dict[str, object] = {"at": _AT, "words": pl.String, "detail": pl.String}
NIGHTS: dict[str, object] = {
    "at": _AT,
    "mean_kpa": pl.Float64,
    "peak_kpa": pl.Float64,
    **dict.fromkeys(("ventilator", "oxygen", "beside", "entered"), pl.String),
}
SYMPTOMS: dict[str, object] = {"at": _AT, "rating": pl.String, "value": pl.Int64, "flap": pl.Boolean}
USE: dict[str, object] = {
    "week": _AT,
    "median_h": pl.Float64,
    "low_h": pl.Float64,
    "high_h": pl.Float64,
    "nights": pl.Int64,
    "leak_l_min": pl.Float64,
    "leak_kind": pl.String,
}
EVENTS: dict[str, object] = {"at": _AT, "until": _AT, "words": pl.String, "detail": pl.String}


def _frame(rows: Iterable[dict[str, object]], schema: dict[str, object]) -> pl.DataFrame:
    return pl.DataFrame(list(rows), schema=schema, orient="row")  # type: ignore[arg-type]


def oxygen_words(flow: Decimal | NotRecorded) -> str:
    """Give an oxygen flow [L/min] in words."""
    if isinstance(flow, NotRecorded):
        return "oxygen not recorded"
    return f"oxygen {flow.normalize():f} L/min" if flow > 0 else "on air"


def _oxygen_beside(flow: Decimal | NotRecorded) -> str:
    if isinstance(flow, NotRecorded):
        return "O2?"
    return f"O2 {flow.normalize():f} L/min" if flow > 0 else "on air"


def state_words(state: SamplingState) -> str:
    """Give the conditions of a reading that are not drawn: minutes, rest, sleep, position, reason."""
    minutes = state.minutes_in_state
    lasted = (
        "minutes in that state not recorded" if isinstance(minutes, NotRecorded) else f"for {minutes} min"
    )
    parts = (state.rest.value, state.wakefulness.value, state.position.value)
    told = [part for part in parts if part != "not recorded"]
    return ", ".join([lasted, *told, state.reason.value])


def _series_names(dossier: Dossier) -> dict[str, tuple[str, str]]:
    """Give, for each reading, its like-for-like series and why it belongs to none.

    A reading that is refused, or whose conditions were not recorded, stands alone.
    """
    columns = ("record_id", "source", "ventilator", "oxygen_l_min", "refusal")
    names = {}
    for record_id, source, ventilator, oxygen, refusal in readings_frame(dossier).select(columns).iter_rows():
        key = key_of(source, ventilator, oxygen)
        alone = refusal is not None or not key.complete
        names[record_id] = (f"{key} ({record_id})" if alone else str(key), refusal or "")
    return names


def _gas(held: Held[BloodGas]) -> dict[str, object]:
    gas = held.record
    return {
        "at": gas.drawn_at,
        "kind": gas.kind.value,
        **_state(gas.state),
        "pco2_kpa": gas.pco2.kpa,
        "entered": str(gas.pco2),
        "note": f"pH {gas.ph}, {state_words(gas.state)}",
        "record_id": held.record_id,
    }


def _spot(held: Held[SpotTranscutaneous]) -> dict[str, object]:
    spot = held.record
    return {
        "at": spot.read_at,
        "kind": TRANSCUTANEOUS,
        **_state(spot.state),
        "pco2_kpa": spot.ptcco2.kpa,
        "entered": str(spot.ptcco2),
        "note": f"sensor at {spot.site.value}, {state_words(spot.state)}",
        "record_id": held.record_id,
    }


def _state(state: SamplingState) -> dict[str, object]:
    return {
        "ventilator": state.ventilator.value,
        "oxygen": oxygen_words(state.oxygen_l_min),
        "beside": _oxygen_beside(state.oxygen_l_min),
    }


def readings(dossier: Dossier) -> pl.DataFrame:
    """Give every gas and spot reading, oldest first; night values stand in their own lane."""
    rows = [_gas(held) for held in dossier.blood_gas] + [_spot(held) for held in dossier.spot_transcutaneous]
    names = _series_names(dossier)
    for row in rows:
        row["series"], refusal = names[str(row["record_id"])]
        row["note"] = "; ".join(part for part in (str(row["note"]), refusal) if part)
    return _frame(rows, READINGS).sort("at")


def last_reading(dossier: Dossier) -> str | None:
    """Give the newest reading in words: value as entered, kind, conditions, date; None without any."""
    frame = readings(dossier)
    if frame.is_empty():
        return None
    last = frame.row(-1, named=True)
    day = last["at"].astimezone(ZoneInfo(dossier.person.zone))
    return f"{last['entered']} {last['kind']}, {last['ventilator']}, {last['oxygen']}, {day:%d %b %Y}"


def changes(dossier: Dossier) -> pl.DataFrame:
    """Give every settings change with what it changed."""
    rows: list[dict[str, object]] = []
    before = None
    for held in dossier.settings_change:
        change = held.record
        words = difference_words(before, change)
        detail = f"{words}; {change.why} ({change.changed_by}). Now: {program_words(change.program_1)}"
        rows.append({"at": change.changed_at, "words": words, "detail": detail})
        before = change
    return _frame(rows, CHANGES)


def _night(held: Held[NightSummary]) -> dict[str, object]:
    night = held.record
    share = night.below_90_pct
    beside = "" if share is None else f"T90 {share:.0f} %"
    on_oxygen = not isinstance(night.oxygen_l_min, NotRecorded) and night.oxygen_l_min > 0
    values = ((night.tcco2_mean, "mean"), (night.tcco2_peak, "peak"))
    entered = ", ".join(f"{words} {value}" for value, words in values if value is not None)
    return {
        "at": night.started_at,
        "ventilator": night.ventilator.value,
        "oxygen": oxygen_words(night.oxygen_l_min),
        "mean_kpa": night.tcco2_mean.kpa if night.tcco2_mean else None,
        "peak_kpa": night.tcco2_peak.kpa if night.tcco2_peak else None,
        "beside": f"{beside} on O2" if beside and on_oxygen else beside,
        "entered": entered or "no transcutaneous CO2",
    }


def nights(dossier: Dossier) -> pl.DataFrame:
    """Give every overnight study: transcutaneous mean and peak, time below 90 % in words."""
    return _frame((_night(held) for held in dossier.night_summary), NIGHTS)


def symptoms(dossier: Dossier) -> pl.DataFrame:
    """Give every rating of every report; null is not recorded."""
    rows: list[dict[str, object]] = [
        {
            "at": held.record.asked_at,
            "rating": rating.value,
            "value": held.record.rating(rating),
            "flap": held.record.flap == FlapTest.PRESENT,
        }
        for held in dossier.symptom_report
        for rating in Rating
    ]
    return _frame(rows, SYMPTOMS)


def _week(nights_of_week: list[NightlyUse], zone: str) -> dict[str, object]:
    first = nights_of_week[0].night_of
    monday = first.fromordinal(first.toordinal() - first.weekday())
    hours = [float(night.usage_h) for night in nights_of_week]
    kinds = {night.leak_kind.value for night in nights_of_week if night.leak_l_min is not None}
    leaks = [float(night.leak_l_min) for night in nights_of_week if night.leak_l_min is not None]
    one_kind = len(kinds) == 1
    return {
        "week": datetime.combine(monday, time(12), ZoneInfo(zone)).astimezone(UTC),
        "median_h": median(hours),
        "low_h": min(hours),
        "high_h": max(hours),
        "nights": len(hours),
        "leak_l_min": median(leaks) if leaks and one_kind else None,
        "leak_kind": kinds.pop() if one_kind else None,
    }


def use(dossier: Dossier) -> pl.DataFrame:
    """Give use by week: median, shortest and longest night [h]; leak only within one kind of leak."""
    weeks: dict[int, list[NightlyUse]] = {}
    for held in dossier.nightly_use:
        night = held.record
        weeks.setdefault(night.night_of.toordinal() - night.night_of.weekday(), []).append(night)
    return _frame((_week(weeks[key], dossier.person.zone) for key in sorted(weeks)), USE)


_SHORT = {
    EventKind.INFECTION: "infection",
    EventKind.ADMISSION_HYPERCAPNIC: "admission, hypercapnic",
    EventKind.EQUIPMENT: "equipment",
    EventKind.LUNG_FUNCTION: "lung function",
}


def event_words(event: ClinicalEvent) -> str:
    """Give an event in a few words."""
    if event.medicine_class is not None:
        return f"{event.medicine_class.value} {event.kind.value.removeprefix('medicine ')}"
    if event.oxygen_l_min is not None:
        return f"oxygen to {event.oxygen_l_min.normalize():f} L/min"
    return _SHORT.get(event.kind, event.kind.value)


def events(dossier: Dossier) -> pl.DataFrame:
    """Give the clinical events with their end."""
    zone = ZoneInfo(dossier.person.zone)
    rows: list[dict[str, object]] = []
    for held in dossier.clinical_event:
        event = held.record
        at = datetime.combine(event.happened_on, time(12), zone).astimezone(UTC)
        until = datetime.combine(event.until, time(12), zone).astimezone(UTC) if event.until else None
        words = event_words(event)
        detail = ": ".join(part for part in (event.kind.value, event.detail) if part)
        rows.append({"at": at, "until": until, "words": words, "detail": detail})
    return _frame(rows, EVENTS)
