"""Hypothesis strategies for every record type, for round trips at every border (SQL, CSV, ...).

`record_of(model)` gives one type, `any_records()` all of them; pass `person_keys` to pin the person.
Numbers are drawn as typed: with trailing zeros, so that a border that loses digits is caught.
"""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st
from hypothesis.strategies import SearchStrategy

from hvmon import vocabulary as words
from hvmon.records.base import AcceptedWarning, PersonRecord, Pressure
from hvmon.records.course import ClinicalEvent, LungFunction, NightlyUse, Visit, Weight
from hvmon.records.gas import _SITES, BloodGas, SamplingState, SpotTranscutaneous
from hvmon.records.kinds import RECORD_KINDS
from hvmon.records.limits import entry_limit
from hvmon.records.meeting import Action, MeetingDecision, OwedEdit, PersonRuleEdit
from hvmon.records.person import Identity, Person
from hvmon.records.settings import PlannedChange, Program, SettingsChange, SettingsReading
from hvmon.records.study import NightSummary
from hvmon.records.symptoms import FACTS_OF, Instrument, InstrumentTotal, Subscore, SymptomReport
from hvmon.units import PressureUnit
from hvmon.vocabulary import (
    NOT_RECORDED,
    EventKind,
    FlapTest,
    HeightMethod,
    SampleSite,
    TestKind,
    VentilatorMode,
)

ZONES = ("UTC", "Europe/London", "Asia/Kathmandu", "Australia/Lord_Howe", "America/St_Johns")

person_key_texts = st.uuids(version=4).map(lambda key: key.hex)
days = st.dates(date(1995, 1, 1), date(2035, 12, 31))
birthdays = st.dates(date(1910, 1, 1), date(2020, 12, 31))
instants = st.datetimes(datetime(1995, 1, 1), datetime(2035, 12, 31), timezones=st.just(UTC))  # noqa: DTZ001
zones = st.sampled_from(ZONES)
minutes = st.integers(0, 60 * 24 * 31) | st.just(NOT_RECORDED)
yes_no_unknown = st.booleans() | st.just(NOT_RECORDED)

_characters = st.characters(exclude_categories=("Cs",), exclude_characters="\x00")
_awkward = st.sampled_from(
    (
        "=1+1",
        "not recorded",
        "00123",
        "a,b;c",
        'say "no"',
        "line\nbreak",
        "6,8",
        "[]",
        "NULL",
        " x ",
        "\u2212",
    )
)
notes = st.text(_characters, max_size=30) | _awkward
names = (st.text(_characters, min_size=1, max_size=20) | _awkward).map(str.strip).filter(bool)


def optional(strategy: SearchStrategy[Any]) -> SearchStrategy[Any]:
    """Give a value or None."""
    return st.none() | strategy


def typed_decimals(low: Decimal | str, high: Decimal | str, most_places: int = 3) -> SearchStrategy[Decimal]:
    """Decimals between two limits, as typed: 6.8 and 6.80 both occur."""

    def with_places(places: int) -> SearchStrategy[Decimal]:
        step = Decimal(1).scaleb(-places)
        first = -int(-Decimal(low) // step) if Decimal(low) < 0 else -(-Decimal(low) // step)
        last = Decimal(high) // step
        return st.integers(int(first), int(last)).map(lambda count: Decimal(count).scaleb(-places))

    return (
        st.integers(0, most_places)
        .flatmap(with_places)
        .filter(lambda value: Decimal(low) <= value <= Decimal(high))
    )


def measured(field: str) -> SearchStrategy[Decimal]:
    """Values the entry limits accept for a field."""
    limit = entry_limit(field)
    return typed_decimals(limit.low, limit.high)


def pressures(stem: str) -> SearchStrategy[Pressure]:
    """Pressures in either unit, within the limits of the unit."""
    return st.sampled_from(PressureUnit).flatmap(
        lambda unit: st.builds(Pressure, value=measured(f"{stem}_{unit.lower()}"), unit=st.just(unit))
    )


accepted_warnings = st.lists(
    st.builds(AcceptedWarning, check_id=names, shown=notes, reason=names), max_size=2
).map(tuple)


def _reading(person_keys: SearchStrategy[str]) -> dict[str, SearchStrategy[Any]]:
    return {
        "person_key": person_keys,
        "visit_id": optional(person_key_texts),
        "comment": notes,
        "accepted_warnings": accepted_warnings,
    }


sampling_states = st.builds(
    SamplingState,
    ventilator=st.sampled_from(words.VentilatorState),
    minutes_in_state=minutes,
    oxygen_l_min=measured("oxygen_l_min") | st.just(NOT_RECORDED),
    minutes_since_oxygen_change=minutes,
    fio2=optional(measured("fio2")),
    position=st.sampled_from(words.Position),
    rest=st.sampled_from(words.Rest),
    wakefulness=st.sampled_from(words.Wakefulness),
    reason=st.sampled_from(words.SampleReason),
)


def identities(person_keys: SearchStrategy[str] = person_key_texts) -> SearchStrategy[Identity]:
    """Identities with two different identifiers."""
    return st.lists(names, min_size=2, max_size=2, unique=True).flatmap(
        lambda pair: st.builds(
            Identity,
            person_key=person_keys,
            local_id=st.just(pair[0]),
            second_identifier=st.just(pair[1]),
            name=names,
            date_of_birth=birthdays,
            place=notes,
        )
    )


@st.composite
def persons(draw: Any, person_keys: SearchStrategy[str] = person_key_texts) -> Person:
    """People with every optional part present or absent."""
    height = draw(measured("height_cm") | st.just(NOT_RECORDED))
    known = st.sampled_from([method for method in HeightMethod if method != HeightMethod.NOT_RECORDED])
    target = draw(optional(st.lists(st.integers(50, 100), min_size=2, max_size=2, unique=True).map(sorted)))
    return Person(
        person_key=draw(person_keys),
        sex=draw(st.sampled_from(words.Sex)),
        diagnosis_group=draw(st.sampled_from(words.DiagnosisGroup)),
        diagnosis=draw(notes),
        dependence=draw(st.sampled_from(words.Dependence)),
        height_cm=height,
        height_method=draw(st.sampled_from(HeightMethod) if height == NOT_RECORDED else known),
        ulna_cm=draw(optional(measured("ulna_cm"))),
        has_lung_disease=draw(yes_no_unknown),
        ventilation_started=draw(days | st.just(NOT_RECORDED)),
        spo2_target_low_pct=target and target[0],
        spo2_target_high_pct=target and target[1],
        home_oxygen=draw(yes_no_unknown),
        tracheostomy=draw(st.booleans()),
        goals_of_care=draw(notes),
        zone=draw(zones),
        invented=draw(st.booleans()),
    )


def visits(person_keys: SearchStrategy[str] = person_key_texts) -> SearchStrategy[Visit]:
    """Visits."""
    return st.builds(
        Visit,
        **_reading(person_keys),
        started_at=instants,
        zone=zones,
        place=st.sampled_from(words.VisitPlace),
        recorded_by=names,
        role=st.sampled_from(words.Role),
        reason=names,
        rate_min=optional(measured("rate_min")),
        spo2_pct=optional(measured("spo2_pct")),
        pulse_min=optional(st.integers(20, 250)),
        not_done=notes,
        advice_given=notes,
        smoker_with_oxygen=yes_no_unknown,
    )


@st.composite
def blood_gases(draw: Any, person_keys: SearchStrategy[str] = person_key_texts) -> BloodGas:
    """Blood gases of every kind, with and without their optional values."""
    kind = draw(st.sampled_from(words.SampleKind))
    drawn_at = draw(instants)
    delay = draw(optional(st.timedeltas(timedelta(0), timedelta(hours=3))))
    gas = {name: draw(part) for name, part in _reading(person_keys).items()}
    parts = ("hco3_mmol_l", "be_mmol_l", "so2_pct", "spo2_pct", "lactate_mmol_l", "hb_g_dl")
    gas |= {name: draw(optional(measured(name))) for name in parts}
    return BloodGas(
        **gas,
        drawn_at=drawn_at,
        zone=draw(zones),
        analysed_at=None if delay is None else drawn_at + delay,
        kind=kind,
        site=draw(st.sampled_from([*sorted(_SITES[kind]), SampleSite.OTHER, SampleSite.NOT_RECORDED])),
        state=draw(sampling_states),
        ph=draw(measured("ph")),
        pco2=draw(pressures("paco2")),
        po2=draw(optional(pressures("pao2"))),
        hco3_kind=draw(st.sampled_from(words.BicarbonateKind)),
        be_kind=draw(st.sampled_from(words.BaseExcessKind)),
        analyser=draw(notes),
        temperature_correction=draw(st.sampled_from(words.TemperatureCorrection)),
        failed_attempts=draw(st.integers(0, 20) | st.just(NOT_RECORDED)),
        recorded_by=draw(names),
    )


def spot_transcutaneous(
    person_keys: SearchStrategy[str] = person_key_texts,
) -> SearchStrategy[SpotTranscutaneous]:
    """Spot transcutaneous readings."""
    return st.builds(
        SpotTranscutaneous,
        **_reading(person_keys),
        read_at=instants,
        zone=zones,
        site=st.sampled_from(words.SensorSite),
        state=sampling_states,
        ptcco2=pressures("ptcco2"),
        minutes_since_applied=minutes,
        sensor_temperature_c=optional(measured("sensor_temperature_c")),
        spo2_pct=optional(measured("spo2_pct")),
        drift_correction=st.sampled_from(words.DriftCorrection),
        recorded_by=names,
    )


_CO2_SECONDS = (
    "tcco2_valid_s",
    "tcco2_above_49_mmhg_s",
    "tcco2_above_50_mmhg_s",
    "tcco2_above_55_mmhg_s",
    "tcco2_longest_above_55_mmhg_s",
    "tcco2_longest_risen_10_above_50_mmhg_s",
)


@st.composite
def night_summaries(draw: Any, person_keys: SearchStrategy[str] = person_key_texts) -> NightSummary:
    """Overnight studies; an index always names its rule."""
    started_at = draw(instants)
    valid_s = draw(st.integers(0, 48 * 3600) | st.just(NOT_RECORDED))
    part = optional(st.integers(0, valid_s if isinstance(valid_s, int) else 48 * 3600))
    night = {name: draw(strategy) for name, strategy in _reading(person_keys).items()}
    night |= {name: draw(optional(st.integers(0, 48 * 3600))) for name in _CO2_SECONDS}
    for name in ("awake_supine", "mean", "median", "peak"):
        night[f"tcco2_{name}"] = draw(optional(pressures("ptcco2")))
    for name in ("below_90_s", "at_or_below_88_s", "longest_at_or_below_88_s"):
        night[name] = draw(part)
    return NightSummary(
        **night,
        night_of=draw(days),
        started_at=started_at,
        ended_at=started_at + draw(st.timedeltas(timedelta(seconds=1), timedelta(hours=20))),
        zone=draw(zones),
        ventilator=draw(st.sampled_from(words.VentilatorState)),
        oxygen_l_min=draw(measured("oxygen_l_min") | st.just(NOT_RECORDED)),
        reason=draw(st.sampled_from(words.SampleReason)),
        valid_s=valid_s,
        averaging_s=draw(st.integers(1, 60) | st.just(NOT_RECORDED)),
        spo2_mean_pct=draw(optional(measured("spo2_pct"))),
        spo2_nadir_pct=draw(optional(measured("spo2_pct"))),
        dips_per_h=draw(optional(typed_decimals("0", "300"))),
        dip_size_pct=draw(st.integers(2, 5)),
        dip_convention=draw(notes.filter(bool)),
        sensor_site=draw(st.sampled_from(words.SensorSite)),
        drift_correction=draw(st.sampled_from(words.DriftCorrection)),
        signal_hash=draw(optional(st.binary(min_size=32, max_size=32).map(bytes.hex))),
        recorded_by=draw(names),
    )


def instrument_totals() -> SearchStrategy[InstrumentTotal]:
    """Totals within the range of their instrument, with subscores."""
    subscores = st.builds(Subscore, name=names, value=typed_decimals("-5", "100", 2))
    return st.sampled_from(Instrument).flatmap(
        lambda instrument: st.builds(
            InstrumentTotal,
            instrument=st.just(instrument),
            version=notes,
            language=notes,
            total=typed_decimals(FACTS_OF[instrument].low, FACTS_OF[instrument].high, 1),
            subscores=st.lists(subscores, max_size=2).map(tuple),
            completed_by=st.sampled_from(words.Informant),
        )
    )


@st.composite
def symptom_reports(draw: Any, person_keys: SearchStrategy[str] = person_key_texts) -> SymptomReport:
    """Symptom reports; flaps are counted only when present."""
    flap = draw(st.sampled_from(FlapTest))
    report = {name: draw(strategy) for name, strategy in _reading(person_keys).items()}
    rated = st.integers(0, 10) | st.just(NOT_RECORDED)
    report |= {rating.name.lower(): draw(rated) for rating in words.Rating}
    return SymptomReport(
        **report,
        asked_at=draw(instants),
        zone=draw(zones),
        answered_by=draw(st.sampled_from(words.Informant)),
        flap=flap,
        flaps_per_30_s=draw(optional(st.integers(0, 60))) if flap == FlapTest.PRESENT else None,
        other_flap_causes=draw(notes),
        new_drowsiness_or_confusion=draw(yes_no_unknown),
        instruments=tuple(draw(st.lists(instrument_totals(), max_size=2))),
        recorded_by=draw(names),
    )


@st.composite
def programs(draw: Any) -> Program:
    """Programs of every mode, pressures in order."""
    mode = draw(st.sampled_from(VentilatorMode))
    epap = draw(typed_decimals("0", "9", 1))
    ipap = epap + draw(typed_decimals("4", "20", 1))
    volume = measured("tidal_volume_ml")
    return Program(
        mode=mode,
        ipap_cmh2o=draw(optional(st.just(ipap))),
        ipap_max_cmh2o=draw(optional(st.just(ipap + 5))),
        epap_cmh2o=draw(optional(st.just(epap))),
        tidal_volume_ml=draw(volume if mode == VentilatorMode.VOLUME_CONTROL else optional(volume)),
        target_volume_ml=draw(
            volume if mode == VentilatorMode.VOLUME_TARGETED_PRESSURE else optional(volume)
        ),
        backup_rate_min=draw(optional(typed_decimals("0", "19", 1))),
        inspiratory_time_s=draw(optional(measured("inspiratory_time_s"))),
        trigger=draw(st.sampled_from(words.Trigger)),
        oxygen_l_min=draw(measured("oxygen_l_min") | st.just(NOT_RECORDED)),
        interface=draw(st.sampled_from(words.Interface)),
        circuit=draw(st.sampled_from(words.Circuit)),
        filter_kind=draw(st.sampled_from(words.FilterKind)),
    )


@st.composite
def settings_changes(draw: Any, person_keys: SearchStrategy[str] = person_key_texts) -> SettingsChange:
    """Settings changes; a date is owed only with a test."""
    changed_at = draw(instants)
    owed_test = draw(st.sampled_from(TestKind))
    owed_by = changed_at.date() + draw(st.timedeltas(timedelta(0), timedelta(days=365)))
    return SettingsChange(
        person_key=draw(person_keys),
        changed_at=changed_at,
        zone=draw(zones),
        changed_by=draw(names),
        role=draw(st.sampled_from(words.Role)),
        why=draw(names),
        kind=draw(st.sampled_from(words.ChangeKind)),
        urgency=draw(st.sampled_from(words.ChangeUrgency)),
        owed_test=owed_test,
        owed_by=None if owed_test == TestKind.NONE else draw(optional(st.just(owed_by))),
        program_1=draw(programs()),
        program_2=draw(optional(programs())),
        comment=draw(notes),
    )


def settings_readings(person_keys: SearchStrategy[str] = person_key_texts) -> SearchStrategy[SettingsReading]:
    """Settings as read at the machine."""
    return st.builds(
        SettingsReading,
        person_key=person_keys,
        read_at=instants,
        zone=zones,
        visit_id=optional(person_key_texts),
        program_1=programs(),
        program_2=optional(programs()),
        meter_h=optional(typed_decimals("0", "200000")),
        backup_device_tested=yes_no_unknown,
        comment=notes,
        recorded_by=names,
    )


def planned_changes(person_keys: SearchStrategy[str] = person_key_texts) -> SearchStrategy[PlannedChange]:
    """Planned changes."""
    expected = optional(typed_decimals("3", "12"))
    return st.builds(
        PlannedChange,
        person_key=person_keys,
        planned_at=instants,
        zone=zones,
        planned_by=names,
        proposal=names,
        expected_paco2_kpa=expected,
        expected_low_kpa=expected,
        expected_high_kpa=expected,
        why=names,
        owed_test=st.sampled_from(TestKind),
        owed_by=days,
        state=st.sampled_from(words.ActionState),
        comment=notes,
    )


def nightly_uses(person_keys: SearchStrategy[str] = person_key_texts) -> SearchStrategy[NightlyUse]:
    """Nights of use."""
    return st.builds(
        NightlyUse,
        person_key=person_keys,
        night_of=days,
        usage_h=measured("usage_h"),
        daytime_h=optional(measured("usage_h")),
        leak_l_min=optional(measured("leak_l_min")),
        leak_kind=st.sampled_from(words.LeakKind),
        tidal_volume_ml=optional(measured("tidal_volume_ml")),
        rate_min=optional(measured("rate_min")),
        minute_ventilation_l_min=optional(measured("minute_ventilation_l_min")),
        triggered_pct=optional(measured("triggered_pct")),
        residual_events_per_h=optional(measured("events_per_h")),
    )


def weights(person_keys: SearchStrategy[str] = person_key_texts) -> SearchStrategy[Weight]:
    """Weights."""
    return st.builds(
        Weight,
        person_key=person_keys,
        weighed_on=days,
        weight_kg=measured("weight_kg"),
        estimated=st.booleans(),
        visit_id=optional(person_key_texts),
    )


@st.composite
def lung_functions(draw: Any, person_keys: SearchStrategy[str] = person_key_texts) -> LungFunction:
    """Lung function with at least one value."""
    fields = ("fvc_l", "fvc_pct", "snip_cmh2o", "mip_cmh2o", "peak_cough_flow_l_min")
    values = {field: draw(optional(measured(field))) for field in fields}
    if all(value is None for value in values.values()):
        field = draw(st.sampled_from(fields))
        values[field] = draw(measured(field))
    return LungFunction(person_key=draw(person_keys), tested_on=draw(days), comment=draw(notes), **values)


@st.composite
def clinical_events(draw: Any, person_keys: SearchStrategy[str] = person_key_texts) -> ClinicalEvent:
    """Clinical events; a medicine always has its class."""
    kind = draw(st.sampled_from(EventKind))
    classes = st.sampled_from(words.MedicineClass)
    is_medicine = kind in {EventKind.MEDICINE_STARTED, EventKind.MEDICINE_STOPPED}
    happened_on = draw(days)
    lasted = draw(optional(st.timedeltas(timedelta(0), timedelta(days=90))))
    return ClinicalEvent(
        person_key=draw(person_keys),
        happened_on=happened_on,
        until=None if lasted is None else happened_on + lasted,
        kind=kind,
        medicine_class=draw(classes if is_medicine else optional(classes)),
        oxygen_l_min=draw(optional(measured("oxygen_l_min"))),
        detail=draw(notes),
        recorded_by=draw(names),
    )


def meeting_decisions(person_keys: SearchStrategy[str] = person_key_texts) -> SearchStrategy[MeetingDecision]:
    """Decisions of a meeting."""
    return st.builds(
        MeetingDecision,
        person_key=person_keys,
        met_at=instants,
        zone=zones,
        question=notes,
        decision=names,
        decided_by=names,
    )


@st.composite
def actions(draw: Any, person_keys: SearchStrategy[str] = person_key_texts) -> Action:
    """Actions due on or after the day they were agreed."""
    agreed_on = draw(days)
    return Action(
        person_key=draw(person_keys),
        agreed_on=agreed_on,
        what=draw(names),
        owner=draw(names),
        due=agreed_on + draw(st.timedeltas(timedelta(0), timedelta(days=365))),
        asks_for=draw(st.sampled_from(TestKind)),
        state=draw(st.sampled_from(words.ActionState)),
        comment=draw(notes),
    )


def owed_edits(person_keys: SearchStrategy[str] = person_key_texts) -> SearchStrategy[OwedEdit]:
    """Notes on something owed."""
    return st.builds(
        OwedEdit,
        person_key=person_keys,
        owed_id=names,
        noted_on=days,
        state=st.sampled_from(words.ActionState),
        new_due=optional(days),
        reason=names,
        noted_by=names,
    )


def rule_edits(person_keys: SearchStrategy[str] = person_key_texts) -> SearchStrategy[PersonRuleEdit]:
    """Rule edits for a person."""
    return st.builds(
        PersonRuleEdit,
        person_key=person_keys,
        rule_id=names,
        in_use=st.booleans(),
        limit_value=optional(typed_decimals("-100", "100")),
        reason=names,
        edited_by=names,
        edited_on=days,
    )


STRATEGY_OF: dict[type[PersonRecord], Callable[..., SearchStrategy[Any]]] = {
    Identity: identities,
    Person: persons,
    Visit: visits,
    BloodGas: blood_gases,
    SpotTranscutaneous: spot_transcutaneous,
    NightSummary: night_summaries,
    SymptomReport: symptom_reports,
    SettingsChange: settings_changes,
    SettingsReading: settings_readings,
    PlannedChange: planned_changes,
    NightlyUse: nightly_uses,
    Weight: weights,
    LungFunction: lung_functions,
    ClinicalEvent: clinical_events,
    MeetingDecision: meeting_decisions,
    Action: actions,
    OwedEdit: owed_edits,
    PersonRuleEdit: rule_edits,
}


def record_of(
    model: type[PersonRecord], person_keys: SearchStrategy[str] = person_key_texts
) -> SearchStrategy[Any]:
    """Records of one type."""
    return STRATEGY_OF[model](person_keys)


def any_records(person_keys: SearchStrategy[str] = person_key_texts) -> SearchStrategy[Any]:
    """Records of any type."""
    return st.one_of(*(record_of(kind.model, person_keys) for kind in RECORD_KINDS))


def clinical_records(person_keys: SearchStrategy[str] = person_key_texts) -> SearchStrategy[Any]:
    """Records of any type but the person and the identity."""
    models = [kind.model for kind in RECORD_KINDS if kind.model not in {Identity, Person}]
    return st.one_of(*(record_of(model, person_keys) for model in models))


def digits(record: Any) -> Any:
    """Give a record as plain data with the digits as typed; 6.8 and 6.80 differ here."""
    return record.model_dump(mode="json")
