"""The records of a home visit, made of its answers as soon as each is whole."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from hvmon.records.base import PersonRecord, Record
from hvmon.records.course import NightlyUse, Visit, Weight
from hvmon.records.dossier import Dossier
from hvmon.records.flat import flatten
from hvmon.records.gas import BloodGas, SpotTranscutaneous
from hvmon.records.settings import SettingsReading
from hvmon.records.symptoms import InstrumentTotal, SymptomReport
from hvmon.services import questionnaires, typed, visit_form
from hvmon.services.asked import Answers, Ask
from hvmon.services.clock_text import NotUnderstood
from hvmon.services.moment_pair import read_pair
from hvmon.vocabulary import NOT_RECORDED, FlapTest, LeakKind, Role


@dataclass(frozen=True, slots=True)
class Context:
    """Who records the visit, of whom, and when."""

    dossier: Dossier
    actor: str
    role: Role | None
    token: str
    """Made when the form is drawn; id of the visit and of the request, so that two clicks store one visit."""
    now: datetime

    @property
    def zone(self) -> str:
        """The person's own zone, on whose clock the times are typed."""
        return self.dossier.person.zone

    @property
    def today(self) -> date:
        """The day it is where the person lives."""
        return self.now.astimezone(ZoneInfo(self.zone)).date()


@dataclass(slots=True)
class Work:
    """One reading of the form: what was asked and answered, and what came of it."""

    context: Context
    answers: Answers
    asks: tuple[Ask, ...]
    started_at: datetime | None = None
    words: dict[str, str] = field(default_factory=dict)
    unlikely: dict[str, str] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)
    records: list[PersonRecord] = field(default_factory=list)


def read_fields(work: Work) -> None:
    """Read every typed field by itself, so that each is answered at once."""
    unit = work.answers.get("unit", "").strip() or None
    for ask in work.asks:
        text = work.answers.get(ask.key, "")
        if ask.model is None or ask.options or not text.strip():
            continue
        try:
            read = typed.read(ask.model, ask.column, text, zone=work.context.zone, unit=unit)
        except NotUnderstood as error:
            work.refused[ask.key] = str(error)
            continue
        work.words[ask.key] = read.words
        if read.unlikely:
            work.unlikely[ask.key] = read.unlikely


def _moment(work: Work, key: str) -> datetime | None:
    pair = read_pair(work.answers, "date", key, zone=work.context.zone, today=work.context.today)
    work.words |= pair.words
    work.refused |= pair.refused
    return pair.moment


def read_moments(work: Work) -> None:
    """Read day and clock time of the visit."""
    work.started_at = _moment(work, "time")


def _texts(work: Work, prefix: str) -> dict[str, str]:
    """Texts of the asked fields with a prefix, by column."""
    return {
        ask.column: work.answers.get(ask.key, "")
        for ask in work.asks
        if ask.model is not None and ask.key.startswith(prefix)
    }


def _fixed(work: Work, dated_by: str, moment: datetime | None) -> dict[str, Any]:
    return {
        "person_key": work.context.dossier.person_key,
        dated_by: moment,
        "zone": work.context.zone,
        "visit_id": work.context.token,
        "recorded_by": work.context.actor or "-",
    }


def _make(work: Work, model: type[Record], prefix: str, fixed: Mapping[str, Any], **more: str) -> None:
    """Make one record; what its door refuses is told at the fields it names."""
    texts = {column: text for column, text in (_texts(work, prefix) | more).items() if column not in fixed}
    read = typed.read_record(model, texts, zone=work.context.zone, fixed=fixed)
    if read.record is not None:
        work.records.append(read.record)
        return
    keys = {ask.column: ask.key for ask in work.asks if ask.key.startswith(prefix)}
    required = {ask.key for ask in work.asks if ask.required}
    for column, text in read.refused.items():
        key = keys.get(column, f"{prefix}{column}")
        if key not in required or work.answers.get(key, "").strip():
            work.refused.setdefault(key, text)
    for column in read.missing:
        key = keys.get(column, f"{prefix}{column}")
        if key not in required:  # the form says of required questions itself that they are missing
            work.refused.setdefault(key, "is needed")


def _build_visit(work: Work) -> None:
    reason = work.answers.get("reason", "")
    if work.started_at is None or not reason:
        return
    role = work.context.role or Role.OTHER
    fixed = _fixed(work, "started_at", work.started_at) | {"role": role.value, "reason": reason}
    _make(work, Visit, "visit.", fixed)


def _build_sample(work: Work) -> None:
    if not visit_form.sampled(work.answers):
        return
    drawn_at = _moment(work, "sample_time")
    if drawn_at is None:
        return
    if work.answers["sample"] == visit_form.SENSOR:
        fixed = _fixed(work, "read_at", drawn_at) | {"state_reason": work.answers.get("reason") or None}
        _make(work, SpotTranscutaneous, "sample.", fixed, ptcco2_unit=work.answers.get("unit", ""))
        return
    fixed = _fixed(work, "drawn_at", drawn_at) | _gas_kind(work) | _analysed(work, drawn_at)
    unit = work.answers.get("unit", "")
    po2_unit = unit if work.answers.get("sample.po2", "").strip() else ""
    _make(work, BloodGas, "sample.", fixed, pco2_unit=unit, po2_unit=po2_unit)


def _analysed(work: Work, drawn_at: datetime) -> dict[str, Any]:
    asked = any(ask.key == "analysed_time" for ask in work.asks)
    moment = _moment(work, "analysed_time") if asked else None
    if moment is not None and moment < drawn_at:
        work.refused["analysed_time"] = "lies before the time of the sample; check both clock times"
        return {}
    return {"analysed_at": moment} if moment else {}


def _gas_kind(work: Work) -> dict[str, Any]:
    kind = work.answers["sample"]
    fixed: dict[str, Any] = {"kind": kind, "state_reason": work.answers.get("reason") or None}
    if kind in visit_form.SITE_GIVEN:
        fixed["site"] = visit_form.SITE_GIVEN[kind].value
    for name, value in visit_form.KIND_OF_VALUE.items():
        if not work.answers.get(f"sample.{value}", "").strip():
            fixed[name] = NOT_RECORDED.value
    return fixed


def _build_symptoms(work: Work) -> None:
    totals = _totals(work)
    told = work.answers.get("symptoms", "")
    if work.started_at is None or not told or (told != visit_form.ASKED and not totals):
        return
    fixed = _fixed(work, "asked_at", work.started_at) | {"instruments": totals}
    if told != visit_form.ASKED:
        fixed |= _nothing_asked(totals)
    _make(work, SymptomReport, "symptoms.", fixed)


def _totals(work: Work) -> tuple[InstrumentTotal, ...]:
    if not any(ask.key == "questionnaire_1" for ask in work.asks):
        return ()
    said = questionnaires.read(work.answers)
    work.words |= said.words
    work.refused |= said.refused
    return tuple(said.totals)


def _nothing_asked(totals: Sequence[InstrumentTotal]) -> dict[str, Any]:
    """Give the columns of a report that holds questionnaire totals alone; each rating says "not recorded"."""
    rated = dict.fromkeys((*visit_form.RATINGS, "new_drowsiness_or_confusion"), NOT_RECORDED.value)
    return {**rated, "answered_by": totals[0].completed_by.value, "flap": FlapTest.NOT_TESTED.value}


def _build_machine(work: Work) -> None:
    told = work.answers.get("machine", "")
    if told not in {visit_form.SAME, visit_form.DIFFERENT} or work.started_at is None:
        return
    fixed = _fixed(work, "read_at", work.started_at)
    ordered = visit_form.ordered_now(work.context.dossier)
    if ordered is not None and told == visit_form.SAME:
        fixed |= {name: value for name, value in flatten(ordered).items() if name.startswith("program_")}
    _make(work, SettingsReading, "machine.", fixed)


def _build_weight(work: Work) -> None:
    how = work.answers.get("weighed", "")
    if work.started_at is None or not work.answers.get("weight.weight_kg", "").strip() or not how:
        return
    day = work.started_at.astimezone(ZoneInfo(work.context.zone)).date()
    fixed = {
        "person_key": work.context.dossier.person_key,
        "weighed_on": day,
        "estimated": how == visit_form.ESTIMATED,
        "visit_id": work.context.token,
    }
    _make(work, Weight, "weight.", fixed)


def _build_use(work: Work) -> None:
    hours, leak = (work.answers.get(f"use.{name}", "").strip() for name in ("usage_h", "leak_l_min"))
    if leak and not hours:
        work.refused["use.usage_h"] = "is needed with the leak of the night"
    if work.started_at is None or not hours:
        return
    day = work.started_at.astimezone(ZoneInfo(work.context.zone)).date()
    fixed: dict[str, Any] = {
        "person_key": work.context.dossier.person_key,
        "night_of": day - timedelta(days=1),
    }
    if not leak:
        fixed["leak_kind"] = LeakKind.NOT_RECORDED.value
    _make(work, NightlyUse, "use.", fixed)


BUILDERS: tuple[Callable[[Work], None], ...] = (
    _build_visit,
    _build_sample,
    _build_symptoms,
    _build_machine,
    _build_weight,
    _build_use,
)
