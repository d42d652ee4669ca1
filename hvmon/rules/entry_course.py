"""Questions about nights, settings, use, weight and dates."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal

from hvmon.records.base import PersonRecord
from hvmon.records.course import NightlyUse, Weight
from hvmon.records.dossier import DATED_BY, Dossier, local
from hvmon.records.flat import flatten
from hvmon.records.person import Identity
from hvmon.records.settings import PlannedChange, Program, SettingsChange, SettingsReading
from hvmon.records.study import NightSummary
from hvmon.rules.compare import difference
from hvmon.rules.entry_question import EntryQuestion, question
from hvmon.rules.use import predicted_weight_kg
from hvmon.vocabulary import NotRecorded

EARLIEST = date(1950, 1, 1)
ML_PER_KG = (Decimal(4), Decimal(12))
"""[mL/kg] predicted weight; outside it a tidal volume is asked about (Project)."""
CLOCK_SLACK = timedelta(minutes=10)
"""A device clock may run ahead by as much."""
OLDEST_YEARS = 110
MOST_SUPPORT_CMH2O = Decimal(25)
"""[cmH2O] a higher IPAP less EPAP is asked about (Project)."""
WEIGHT_CHANGE = Decimal("0.10")
"""Share of the last weight beyond which a new one is asked about (Project)."""
WEIGHT_WITHIN = timedelta(days=120)
LONGEST_NIGHT = timedelta(hours=14)
SHORTEST_NIGHT = timedelta(hours=2)
NOON = 12


# --- dates of any record --------------------------------------------------------------------------------


def date_questions(record: PersonRecord, dossier: Dossier | None, now: datetime) -> Iterator[EntryQuestion]:
    """Ask about a record dated in the future, before birth or long before home ventilation."""
    field = DATED_BY.get(type(record).__name__)
    if field is None:
        return
    value = getattr(record, field)
    day = value.date() if isinstance(value, datetime) else value
    late = (
        value > now + CLOCK_SLACK if isinstance(value, datetime) else value > now.date() + timedelta(days=1)
    )
    if late:
        yield question(
            "date.future",
            field,
            value,
            f"up to {now:%Y-%m-%d %H:%M}",
            "a wrong year, day or clock",
            "lies in the future",
        )
    if day < EARLIEST:
        yield question(
            "date.early", field, value, f"from {EARLIEST}", "a wrong century or year", "is very old"
        )
    born = dossier.identity.date_of_birth if dossier is not None and dossier.identity is not None else None
    if born is not None and day < born:
        yield question(
            "date.before_birth",
            field,
            value,
            f"from {born}, the date of birth",
            "a wrong year, or another person's record",
            "lies before birth",
        )


def identity_questions(identity: Identity, now: datetime) -> Iterator[EntryQuestion]:
    """Ask about a date of birth in the future or too long ago."""
    born, today = identity.date_of_birth, now.date()
    if born > today:
        yield question(
            "identity.future_birth",
            "date_of_birth",
            born,
            f"up to {today}",
            "a wrong year",
            "lies in the future",
        )
    elif today.year - born.year > OLDEST_YEARS:
        yield question(
            "identity.very_old", "date_of_birth", born, f"age up to {OLDEST_YEARS}", "a wrong century"
        )


# --- nights ------------------------------------------------------------------------------------------------


def night_questions(night: NightSummary) -> Iterator[EntryQuestion]:
    """Ask about a study whose parts do not fit each other."""
    yield from _length(night)
    yield from _evening(night)
    yield from _ordered_pressures(night)
    yield from _ordered_numbers(night)


def _length(night: NightSummary) -> Iterator[EntryQuestion]:
    length = night.ended_at - night.started_at
    if not SHORTEST_NIGHT <= length <= LONGEST_NIGHT:
        yield question(
            "night.length",
            "ended_at",
            f"{length} after the start",
            "2 to 14 h",
            "a wrong date or clock time at start or end",
        )
    valid = night.valid_s
    if not isinstance(valid, NotRecorded) and timedelta(seconds=valid) > length:
        yield question(
            "night.valid_longer",
            "valid_s",
            valid,
            f"up to {int(length.total_seconds())} s",
            "minutes or hours typed wrongly",
            "is longer than the recording",
        )


def _evening(night: NightSummary) -> Iterator[EntryQuestion]:
    started = local(night.started_at, night.zone)
    evening = started.date() - timedelta(days=1) if started.hour < NOON else started.date()
    if night.night_of != evening:
        yield question(
            "night.evening",
            "night_of",
            night.night_of,
            str(evening),
            "the morning's date typed for the evening's",
            "is not the evening of this night",
        )


_RISING = (("tcco2_mean", "tcco2_peak"), ("tcco2_median", "tcco2_peak"))
_NOT_ABOVE = (
    ("spo2_nadir_pct", "spo2_mean_pct"),
    ("longest_at_or_below_88_s", "at_or_below_88_s"),
    ("at_or_below_88_s", "below_90_s"),
    ("tcco2_above_50_mmhg_s", "tcco2_above_49_mmhg_s"),
    ("tcco2_above_55_mmhg_s", "tcco2_above_50_mmhg_s"),
    ("tcco2_longest_above_55_mmhg_s", "tcco2_above_55_mmhg_s"),
    ("tcco2_above_49_mmhg_s", "tcco2_valid_s"),
    ("tcco2_above_50_mmhg_s", "tcco2_valid_s"),
)


def _ordered_pressures(night: NightSummary) -> Iterator[EntryQuestion]:
    for low, high in _RISING:
        small, large = getattr(night, low), getattr(night, high)
        if small is not None and large is not None and difference(large, small).value < 0:
            yield question(
                "night.order",
                low,
                small,
                f"up to {high.replace('_', ' ')} {large}",
                "the two values were exchanged",
            )


def _ordered_numbers(night: NightSummary) -> Iterator[EntryQuestion]:
    for low, high in _NOT_ABOVE:
        small, large = getattr(night, low), getattr(night, high)
        if small is not None and large is not None and small > large:
            yield question(
                "night.order",
                low,
                small,
                f"up to {high.replace('_', ' ')} {large}",
                "the two values were exchanged, or minutes typed for seconds",
            )


# --- settings ----------------------------------------------------------------------------------------------


def change_questions(change: SettingsChange, dossier: Dossier | None) -> Iterator[EntryQuestion]:
    """Ask about a back-dated change, unusual pressures or volumes, a change that changes nothing."""
    day = local(change.changed_at, change.zone).date()
    for name, program in (("program_1", change.program_1), ("program_2", change.program_2)):
        if program is not None:
            yield from program_questions(program, name)
            yield from volume_questions(program.tidal_volume_ml, f"{name}_tidal_volume_ml", day, dossier)
            yield from volume_questions(program.target_volume_ml, f"{name}_target_volume_ml", day, dossier)
    if dossier is None or not dossier.settings_change:
        return
    later = [held.record for held in dossier.settings_change if held.record.changed_at > change.changed_at]
    if later:
        last = later[-1]
        yield question(
            "settings.back_dated",
            "changed_at",
            change.changed_at,
            f"after the last change of {local(last.changed_at, last.zone):%Y-%m-%d %H:%M}",
            "a wrong date, or a change recorded late: settings in force after it move",
            "lies before a change already recorded",
        )
    before = dossier.settings_at(change.changed_at)
    same = before is not None and (before.program_1, before.program_2) == (change.program_1, change.program_2)
    if same and not later:
        yield question(
            "settings.unchanged",
            "program_1",
            "as before",
            "at least one other value",
            "the new value was not typed",
            "is the same as the settings in force",
        )


def program_questions(program: Program, name: str) -> Iterator[EntryQuestion]:
    """Ask about a very high pressure support."""
    support = program.pressure_support_cmh2o
    if support is not None and support > MOST_SUPPORT_CMH2O:
        yield question(
            "settings.support",
            f"{name}_ipap_cmh2o",
            program.ipap_cmh2o,
            f"at most {MOST_SUPPORT_CMH2O} cmH2O above EPAP {program.epap_cmh2o}",
            "a wrong digit in IPAP or EPAP",
            f"gives a pressure support of {support} cmH2O",
        )


def reading_questions(reading: SettingsReading, dossier: Dossier | None) -> Iterator[EntryQuestion]:
    """Ask about settings at the machine that are not those ordered, and about a meter that ran back."""
    if dossier is None:
        return
    ordered = dossier.settings_at(reading.read_at)
    if ordered is not None:
        yield from _differences(reading.program_1, ordered.program_1)
    past = [
        held.record
        for held in dossier.settings_reading
        if held.record.read_at < reading.read_at and held.record.meter_h is not None
    ]
    if (
        past
        and reading.meter_h is not None
        and past[-1].meter_h is not None
        and reading.meter_h < past[-1].meter_h
    ):
        yield question(
            "settings.meter_back",
            "meter_h",
            reading.meter_h,
            f"from {past[-1].meter_h} h on",
            "another device, or a wrong digit",
            "is below the last reading",
        )


def _differences(read: Program, ordered: Program) -> Iterator[EntryQuestion]:
    found, wanted = flatten(read), flatten(ordered)
    for field, value in found.items():
        if value != wanted[field]:
            yield question(
                "settings.not_as_ordered",
                f"program_1_{field}",
                value,
                f"{wanted[field]} as ordered",
                "changed and not recorded, another program, or a backup device",
                "differs from the settings in force",
            )


def planned_questions(plan: PlannedChange) -> Iterator[EntryQuestion]:
    """Ask about an expected effect whose range does not hold its value."""
    low, middle, high = plan.expected_low_kpa, plan.expected_paco2_kpa, plan.expected_high_kpa
    known = [value for value in (low, middle, high) if value is not None]
    if known != sorted(known):
        yield question("planned.order", "expected_low_kpa", low, f"at most {high}", "low and high exchanged")


# --- use and weight ----------------------------------------------------------------------------------------


def use_questions(use: NightlyUse, dossier: Dossier | None) -> Iterator[EntryQuestion]:
    """Ask about more daytime use than use, and about a tidal volume far from the person's size."""
    yield from volume_questions(use.tidal_volume_ml, "tidal_volume_ml", use.night_of, dossier)
    if use.daytime_h is not None and use.daytime_h > use.usage_h:
        yield question(
            "use.daytime_more",
            "daytime_h",
            use.daytime_h,
            f"up to usage h {use.usage_h}",
            "night hours typed as the whole day",
            "is more than the whole use",
        )


def volume_questions(
    volume_ml: Decimal | None, field: str, day: date, dossier: Dossier | None
) -> Iterator[EntryQuestion]:
    """Ask about a tidal volume outside 4 to 12 mL per kilogram predicted weight of an adult."""
    kilograms = None if dossier is None else predicted_weight_kg(dossier, day)
    if volume_ml is None or kilograms is None:
        return
    low, high = (kilograms * per_kg for per_kg in ML_PER_KG)
    if not low <= volume_ml <= high:
        yield question(
            "own.volume",
            field,
            volume_ml,
            f"{low:.0f} to {high:.0f} mL (4 to 12 mL/kg predicted weight)",
            "another person's report, or height recorded wrongly",
            f"is {volume_ml / kilograms:.1f} mL/kg",
        )


def weight_questions(weight: Weight, dossier: Dossier | None) -> Iterator[EntryQuestion]:
    """Ask about a weight far from the last one."""
    past = (
        []
        if dossier is None
        else [
            held.record
            for held in dossier.weight
            if held.record.weighed_on < weight.weighed_on <= held.record.weighed_on + WEIGHT_WITHIN
        ]
    )
    if not past:
        return
    before = past[-1].weight_kg
    if abs(weight.weight_kg - before) > WEIGHT_CHANGE * before:
        accepted = f"{before * (1 - WEIGHT_CHANGE):.1f} to {before * (1 + WEIGHT_CHANGE):.1f} kg"
        yield question(
            "own.weight",
            "weight_kg",
            weight.weight_kg,
            accepted,
            "pounds, clothes or wheelchair weighed along, or another person",
            f"is far from {before} kg on {past[-1].weighed_on}",
        )
