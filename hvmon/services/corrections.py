"""Correct a stored record: the old version is kept, with who, when and why."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from hvmon.records.base import AcceptedWarning, PersonRecord
from hvmon.records.dossier import Dossier, dated
from hvmon.records.flat import Kind, columns, flatten
from hvmon.records.held import Held
from hvmon.records.kinds import KIND_OF_MODEL, RECORD_KINDS
from hvmon.records.person import Identity
from hvmon.records.symptoms import InstrumentTotal, SymptomReport
from hvmon.services import questionnaires
from hvmon.services.asked import Answers, Ask, Section, ask, own
from hvmon.services.form_read import FormRead
from hvmon.services.one_record import Filled, understand_records
from hvmon.services.outcome import Outcome, attempt
from hvmon.services.typed import NO, YES, as_typed, limit_of, words_of
from hvmon.services.visit_form import PROGRAM_NEEDS
from hvmon.store.store import Store
from hvmon.vocabulary import RecordStatus

NOT_EDITED = {
    "person_key", "visit_id", "accepted_warnings", "instruments", "signal_hash", "zone", "recorded_by",
    "changed_by", "edited_by", "noted_by", "owed_id", "rule_id",
}  # fmt: skip
"""Columns a correction carries over: keys, lists, and who recorded it first."""


@dataclass(frozen=True, slots=True)
class Choice:
    """One record that can be corrected, in words for a list."""

    record_id: str
    words: str


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a record: who, when, why, and what differs from the version before."""

    number: int
    status: str
    at: datetime
    by: str
    reason: str
    changes: tuple[tuple[str, str, str], ...]
    """(column, before, after)"""


def choices(dossier: Dossier) -> tuple[Choice, ...]:
    """Give the person's records, newest first."""
    held = [one for kind in RECORD_KINDS for one in _of_kind(dossier, kind.table)]
    newest_first = sorted(held, key=lambda one: dated(one.record), reverse=True)
    return tuple(
        Choice(one.record_id, f"{heading(one.record)} · {summary(one.record)}") for one in newest_first
    )


def _of_kind(dossier: Dossier, table: str) -> tuple[Held[Any], ...]:
    part = getattr(dossier, table)
    return part if isinstance(part, tuple) else ()


def heading(record: PersonRecord) -> str:
    """Give what a record is and when, on the clock it was read on."""
    kind = KIND_OF_MODEL[type(record)]
    when = getattr(record, kind.dated_by) if kind.dated_by else None
    if isinstance(when, datetime):
        when = f"{when.astimezone(ZoneInfo(getattr(record, 'zone', 'UTC'))):%d %b %Y %H:%M}"
    elif when is not None:
        when = f"{when:%d %b %Y}"
    return f"{when} {kind.words}" if when else kind.words


_TELLING = (
    "kind", "state_ventilator", "ph", "pco2", "ptcco2", "morning_headache", "breathlessness", "flap",
    "weight_kg", "usage_h", "why", "reason", "detail", "what", "decision", "program_1_mode", "fvc_l",
    "tcco2_mean",
)  # fmt: skip


_NAMED = {
    "ph": "pH ", "pco2": "PCO2 ", "ptcco2": "transcutaneous PCO2 ", "flap": "flap ", "fvc_l": "FVC ",
    "morning_headache": "morning headache ", "breathlessness": "breathlessness ", "tcco2_mean": "mean ",
}  # fmt: skip
"""What a bare value is called in a list."""


def summary(record: PersonRecord) -> str:
    """Give the few values by which a record is recognised."""
    told = dict(lines(record))
    return ", ".join(f"{_NAMED.get(name, '')}{told[name]}" for name in _TELLING if name in told)


def lines(record: PersonRecord) -> tuple[tuple[str, str], ...]:
    """Give each column that holds a value, with the value in words."""
    flat = flatten(record)
    zone = str(flat.get("zone") or "UTC")
    flat |= dict(_lists(record))
    told = [(name, _words(name, flat, zone)) for name in flat if not _is_part(name, flat)]
    return tuple((name, text) for name, text in told if text)


def _lists(record: PersonRecord) -> Iterator[tuple[str, str]]:
    """Give each list of records in words: its totals, or its accepted warnings with their reasons."""
    for name, value in record:
        if isinstance(value, tuple):
            yield name, "; ".join(_item(item) for item in value)


def _item(item: object) -> str:
    if isinstance(item, InstrumentTotal):
        version = f", version {item.version}" if item.version else ""
        language = f", in {item.language}" if item.language else ""
        direction = "worse" if item.high_is_worse else "better"
        who = f"high is {direction}, completed by {item.completed_by.value}"
        return f"{item.instrument.value} {item.total} ({who}{version}{language})"
    if isinstance(item, AcceptedWarning):
        return f"{item.shown} Accepted: {item.reason}"
    return str(item)


def _is_part(name: str, flat: Mapping[str, Any]) -> bool:
    hidden = name in {"person_key", "visit_id", "signal_hash", "zone"}
    return hidden or (name.endswith("_unit") and name.removesuffix("_unit") in flat)


def _words(name: str, flat: Mapping[str, Any], zone: str) -> str:
    value = flat[name]
    if value is None or value in {"", "[]"}:
        return ""
    unit = flat.get(f"{name}_unit")
    limit = limit_of(name, unit)
    return words_of(value, str(unit or (limit.unit if limit and value != "not recorded" else "")), zone)


def sections(held: Held[Any], answers: Answers | None = None) -> tuple[Section, ...]:
    """Give the questions of a correction, filled with what is stored."""
    model: type[PersonRecord] = type(held.record)
    flat = flatten(held.record)
    zone = str(flat.get("zone") or "UTC")
    names = [c.name for c in columns(model) if c.name not in NOT_EDITED and c.kind != Kind.LIST]
    edited = [_edited(model, name, as_typed(flat[name], zone)) for name in names]
    whole = tuple(one for one in edited if not one.column.startswith(_PROGRAMS))
    parts = [Section(heading(held.record), whole), *_programs(edited, answers or {})]
    if isinstance(held.record, SymptomReport):
        parts += questionnaires.sections(answers or {}, held.record.instruments)
    return (*parts, Section("Reason", (own("why_changed"),)))


_PROGRAMS = ("program_1_", "program_2_")


def _edited(model: type[PersonRecord], name: str, stored: str) -> Ask:
    """Ask for one column anew; a program that is there needs all that every program has."""
    needed = name.startswith(_PROGRAMS) and name.split("_", 2)[2] in PROGRAM_NEEDS
    return ask(model, name, required=needed or None, default=stored)


def _programs(edited: Sequence[Ask], answers: Answers) -> Iterator[Section]:
    """Give each program of the ventilator under its own heading, the second only where there is one."""
    first, second = (tuple(one for one in edited if one.column.startswith(start)) for start in _PROGRAMS)
    if not first:
        return
    had = YES if any(one.default for one in second) else NO
    yield Section("Program 1", (*first, own("second_program", (YES, NO), default=had)))
    if answers.get("second_program", had) == YES:
        yield Section("Program 2", second)


def understand(answers: Answers, held: Held[Any], *, dossier: Dossier, now: datetime) -> FormRead:
    """Read a correction. Warnings accepted before are replaced by those of the new values."""
    flat = flatten(held.record)
    asks = [one for part in sections(held, answers) for one in part.asks]
    fixed = {name: value for name, value in flat.items() if name in NOT_EDITED and value is not None}
    if "accepted_warnings" in fixed:
        fixed["accepted_warnings"] = "[]"
    zone = str(flat.get("zone") or "UTC")
    others = _without(dossier, held)
    said = questionnaires.read(answers) if isinstance(held.record, SymptomReport) else questionnaires.Totals()
    if isinstance(held.record, SymptomReport):
        fixed["instruments"] = tuple(said.totals)
    part = Filled(type(held.record), fixed)
    return understand_records(
        [part], asks, answers, zone=zone, now=now, dossier=others,
        also_words=said.words, also_refused=said.refused,
    )  # fmt: skip


def _without(dossier: Dossier, held: Held[Any]) -> Dossier:
    """Give the dossier without the record under correction, which is not its own past."""
    table = KIND_OF_MODEL[type(held.record)].table
    part = getattr(dossier, table)
    if not isinstance(part, tuple):
        return dossier
    others: dict[str, Any] = {table: tuple(one for one in part if one.record_id != held.record_id)}
    return replace(dossier, **others)


def correct(
    store: Store, held: Held[Any], read: FormRead, reason: str, *, actor: str, request_id: str, now: datetime
) -> Outcome:
    """Store the corrected version on top of the one that was seen."""

    def save() -> tuple[bool, tuple[Held[Any], ...]]:
        corrected = store.correct(
            held.record_id, read.records[0], expect_version=held.version, reason=reason,
            actor=actor, request_id=request_id, now=now,
        )  # fmt: skip
        return True, (corrected,)

    return attempt(save)


def withdraw(
    store: Store, held: Held[Any], reason: str, *, actor: str, request_id: str, now: datetime
) -> Outcome:
    """Mark a record as entered in error; it leaves every series and stays in the history."""

    def save() -> tuple[bool, tuple[Held[Any], ...]]:
        gone = store.withdraw(
            held.record_id, expect_version=held.version, reason=reason,
            actor=actor, request_id=request_id, now=now,
        )  # fmt: skip
        return True, (gone,)

    return attempt(save)


def tells_who(record: PersonRecord) -> bool:
    """Whether a record names the person."""
    return isinstance(record, Identity)


def current(store: Store, record_id: str) -> Held[Any]:
    """Give the version in force of one record."""
    return store.held(record_id)


def seen(store: Store, record_id: str, number: int) -> Held[Any]:
    """Give the version of a record that a form was begun on."""
    return next(held for held in store.history(record_id) if held.version == number)


def withdrawn(held: Held[Any]) -> bool:
    """Whether a record is entered in error; it can no longer be corrected."""
    return bool(held.status == RecordStatus.ENTERED_IN_ERROR)


def history(store: Store, record_id: str) -> tuple[Version, ...]:
    """Give all versions of a record, first to last, each with what it changed."""
    versions = store.history(record_id)
    before: dict[str, str] = {}
    told: list[Version] = []
    for held in versions:
        after = dict(lines(held.record))
        told.append(_version(held, before if told else after, after))
        before = after
    return tuple(told)


def _version(held: Held[Any], before: Mapping[str, str], after: Mapping[str, str]) -> Version:
    changed = [name for name in {**before, **after} if before.get(name, "") != after.get(name, "")]
    changes = tuple((name, before.get(name, ""), after.get(name, "")) for name in changed)
    return Version(held.version, held.status.value, held.recorded_at, held.recorded_by, held.reason, changes)
