"""What a home visit asks, given what was answered so far. The page draws it, nothing more."""

from datetime import date

from hvmon.records.base import Record
from hvmon.records.course import NightlyUse, Visit, Weight
from hvmon.records.dossier import Dossier
from hvmon.records.flat import columns, flatten
from hvmon.records.gas import BloodGas, SpotTranscutaneous
from hvmon.records.settings import SettingsChange, SettingsReading
from hvmon.records.symptoms import SymptomReport
from hvmon.services import questionnaires
from hvmon.services.asked import Answers, Ask, Section, ask, own
from hvmon.services.typed import as_typed
from hvmon.units import PressureUnit
from hvmon.vocabulary import FlapTest, SampleKind, SampleReason, SampleSite, VisitPlace

SENSOR = "transcutaneous sensor"
NO_SAMPLE = "no sample"
ASKED, NOT_ASKED = "asked", "not asked"
SAME, DIFFERENT, NOT_READ = "same as ordered", "different", "not read"
NO_MORE, MORE = "no", "questionnaire, FiO2, time analysed, what was not done"
MEASURED, ESTIMATED = "measured", "estimated"

SITES_ASKED: dict[str, tuple[SampleSite, ...]] = {
    SampleKind.ARTERIAL: (
        SampleSite.RADIAL,
        SampleSite.BRACHIAL,
        SampleSite.FEMORAL,
        SampleSite.ARTERIAL_LINE,
    ),
    SampleKind.VENOUS: (SampleSite.ARM_VEIN, SampleSite.HAND_VEIN, SampleSite.CENTRAL_LINE),
}
"""Sites offered for a kind of sample; the capillary kinds name their site."""

SITE_GIVEN: dict[str, SampleSite] = {
    SampleKind.CAPILLARY_EARLOBE: SampleSite.EARLOBE,
    SampleKind.CAPILLARY_FINGERTIP: SampleSite.FINGERTIP,
}

STATE = (
    "ventilator", "minutes_in_state", "oxygen_l_min", "minutes_since_oxygen_change",
    "position", "rest", "wakefulness",
)  # fmt: skip

PROGRAM_NEEDS = {"mode", "trigger", "oxygen_l_min", "interface", "circuit", "filter_kind"}
"""What every program of a ventilator has; pressures and volumes depend on its mode."""

RATINGS = (
    "morning_headache", "daytime_sleepiness", "sleep_quality",
    "breathlessness", "poor_concentration", "pins_and_needles",
)  # fmt: skip


def sections(answers: Answers, dossier: Dossier, *, today: date) -> tuple[Section, ...]:
    """Give the questions of the visit in the order in which they are asked.

    All are asked from the start, so that nothing moves while a hand types ahead; what does not apply falls
    away once it is said ("no sample", "not asked").
    """
    parts = [_visit(today), _sample(answers)]
    if answers.get("sample") != NO_SAMPLE:
        parts += [_state(answers), _result(answers)]
    parts += [_symptoms(answers), _machine(answers, dossier), _person(answers), _note()]
    if answers.get("more") == MORE:
        parts += [_more(answers), *questionnaires.sections(answers)]
    return tuple(parts)


def _given(answers: Answers, key: str) -> bool:
    return bool(answers.get(key, "").strip())


def sampled(answers: Answers) -> bool:
    """Whether a sample or a sensor reading is being entered."""
    return answers.get("sample", "") not in {"", NO_SAMPLE}


def sample_model(answers: Answers) -> type[Record]:
    """Give the record type of the reading being entered."""
    return SpotTranscutaneous if answers.get("sample") == SENSOR else BloodGas


def _visit(today: date) -> Section:
    return Section(
        "Visit",
        (
            own("date", hint="DDMMYYYY", default=f"{today:%d%m%Y}"),
            own("time", hint="HHMM, 24 h"),
            ask(Visit, "place", prefix="visit.", default=VisitPlace.HOME.value),
            own("reason", tuple(reason.value for reason in SampleReason)),
        ),
    )


def _sample(answers: Answers) -> Section:
    kinds = (*(kind.value for kind in SampleKind), SENSOR, NO_SAMPLE)
    first = own("sample", kinds)
    if answers.get("sample") == NO_SAMPLE:
        return Section("Sample", (first, ask(Visit, "not_done", prefix="visit.", required=True)))
    return Section("Sample", (first, own("sample_time", hint="HHMM, 24 h"), *_sample_details(answers)))


def _sample_details(answers: Answers) -> list[Ask]:
    if answers.get("sample") == SENSOR:
        names = ("site", "minutes_since_applied", "sensor_temperature_c", "drift_correction")
        return [ask(SpotTranscutaneous, name, prefix="sample.") for name in names]
    details = [
        ask(BloodGas, name, prefix="sample.") for name in ("failed_attempts", "temperature_correction")
    ]
    sites = SITES_ASKED.get(answers.get("sample", ""), ())
    if sites:
        words = tuple(site.value for site in (*sites, SampleSite.OTHER, SampleSite.NOT_RECORDED))
        details.append(ask(BloodGas, "site", prefix="sample.", options=words))
    return details


def _state(answers: Answers) -> Section:
    model = sample_model(answers)
    return Section(
        "State at sampling", tuple(ask(model, f"state_{name}", prefix="sample.") for name in STATE)
    )


def _result(answers: Answers) -> Section:
    unit = answers.get("unit", "").strip() or None
    first = own("unit", tuple(unit.value for unit in PressureUnit))
    if answers.get("sample") == SENSOR:
        rest = [ask(SpotTranscutaneous, name, prefix="sample.", unit=unit) for name in ("ptcco2", "spo2_pct")]
        return Section("Result", (first, *rest))
    names = ("ph", "pco2", "po2", "hco3_mmol_l", "hco3_kind", "spo2_pct", "be_mmol_l", "be_kind", "so2_pct",
             "lactate_mmol_l", "hb_g_dl")  # fmt: skip
    return Section("Result", (first, *(_result_ask(name, unit, answers) for name in names)))


KIND_OF_VALUE = {"hco3_kind": "hco3_mmol_l", "be_kind": "be_mmol_l"}


def _result_ask(name: str, unit: str | None, answers: Answers) -> Ask:
    """Ask which bicarbonate and which base excess only of those who give one."""
    needed = _given(answers, f"sample.{KIND_OF_VALUE[name]}") if name in KIND_OF_VALUE else None
    return ask(BloodGas, name, prefix="sample.", unit=unit, required=needed)


def _symptoms(answers: Answers) -> Section:
    first = own("symptoms", (ASKED, NOT_ASKED))
    if answers.get("symptoms") == NOT_ASKED:
        return Section("Symptoms", (first,))
    names = ["answered_by", *RATINGS, "new_drowsiness_or_confusion", "flap"]
    if answers.get("symptoms.flap") == FlapTest.PRESENT:
        names += ["flaps_per_30_s", "other_flap_causes"]
    return Section("Symptoms", (first, *(ask(SymptomReport, name, prefix="symptoms.") for name in names)))


def ordered_now(dossier: Dossier) -> SettingsChange | None:
    """Give the settings last ordered; None when none are recorded."""
    return dossier.settings_change[-1].record if dossier.settings_change else None


def _machine(answers: Answers, dossier: Dossier) -> Section:
    ordered = ordered_now(dossier)
    options = (SAME, DIFFERENT, NOT_READ) if ordered else (DIFFERENT, NOT_READ)
    asks = [own("machine", options)]
    told = answers.get("machine", "")
    if told != NOT_READ:
        asks += [
            ask(SettingsReading, name, prefix="machine.") for name in ("meter_h", "backup_device_tested")
        ]
    if told == DIFFERENT:
        asks += _program(ordered)
    return Section("Ventilator", tuple(asks))


def _program(ordered: SettingsChange | None) -> list[Ask]:
    known = flatten(ordered) if ordered else {}
    asked = ("program_1_", "program_2_") if ordered and ordered.program_2 else ("program_1_",)
    names = [column.name for column in columns(SettingsReading) if column.name.startswith(asked)]
    return [
        ask(
            SettingsReading,
            name,
            prefix="machine.",
            required=name.removeprefix("program_1_").removeprefix("program_2_") in PROGRAM_NEEDS,
            default=as_typed(known.get(name), "UTC"),
        )
        for name in names
    ]


def _person(answers: Answers) -> Section:
    weighed, leaked = _given(answers, "weight.weight_kg"), _given(answers, "use.leak_l_min")
    return Section(
        "Person and last night's use",
        (
            *(ask(Visit, name, prefix="visit.") for name in ("rate_min", "spo2_pct", "pulse_min")),
            ask(Weight, "weight_kg", prefix="weight.", required=False),
            own("weighed", (MEASURED, ESTIMATED), required=weighed),
            *(ask(NightlyUse, name, prefix="use.", required=False) for name in ("usage_h", "leak_l_min")),
            ask(NightlyUse, "leak_kind", prefix="use.", required=leaked),
            ask(Visit, "smoker_with_oxygen", prefix="visit.", required=True),
        ),
    )


def _note() -> Section:
    notes = (ask(Visit, name, prefix="visit.") for name in ("comment", "advice_given"))
    return Section("Note", (*notes, own("more", (NO_MORE, MORE), default=NO_MORE, required=False)))


def _more(answers: Answers) -> Section:
    """Ask what the ordinary visit does not bring: one key passes it by."""
    asks: list[Ask] = []
    if sampled(answers):
        asks += _more_of_the_sample(answers)
    if answers.get("sample") != NO_SAMPLE:
        asks.append(ask(Visit, "not_done", prefix="visit."))
    if answers.get("machine") != NOT_READ:
        asks.append(ask(SettingsReading, "comment", prefix="machine."))
    return Section("More", tuple(asks))


def _more_of_the_sample(answers: Answers) -> list[Ask]:
    model = sample_model(answers)
    rest = [ask(model, name, prefix="sample.") for name in ("state_fio2", "comment")]
    if model is SpotTranscutaneous:
        return rest
    analysed = own("analysed_time", hint="HHMM, 24 h", required=False)
    return [analysed, ask(BloodGas, "analyser", prefix="sample."), *rest]
