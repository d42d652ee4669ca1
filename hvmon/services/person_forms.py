"""Who the person is, and what happens around the readings: events, weight, lung function, rule edits."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from hvmon.records.base import Record
from hvmon.records.course import ClinicalEvent, LungFunction, Weight
from hvmon.records.flat import columns
from hvmon.records.meeting import PersonRuleEdit
from hvmon.records.person import Identity, Person
from hvmon.rules.catalogue import RULES, rule
from hvmon.rules.packs import limit_fault
from hvmon.services.asked import Answers, Ask, Section, ask, own
from hvmon.services.form_read import FormRead
from hvmon.services.one_record import Filled, understand_records
from hvmon.services.outcome import Outcome, attempt
from hvmon.services.visit_records import Context
from hvmon.store.store import Store

NEW_PERSON = "new_person"
"""Name under which drafts of a new person are kept."""


def new_person_sections(*, zone: str) -> tuple[Section, ...]:
    """Give the questions about a new person; `zone` is the time zone offered."""
    hidden = {"person_key", "invented"}
    who = tuple(ask(Identity, column.name) for column in columns(Identity) if column.name not in hidden)
    what = tuple(
        ask(Person, column.name, default=zone if column.name == "zone" else "")
        for column in columns(Person)
        if column.name not in hidden
    )
    return Section("Identity", who), Section("Person", what)


def understand_new_person(answers: Answers, person_key: str, *, zone: str, now: datetime) -> FormRead:
    """Read the answers about a new person: identity and clinical basics."""
    asks = [one for part in new_person_sections(zone=zone) for one in part.asks]
    fixed = {"person_key": person_key}
    return understand_records(
        [Filled(Identity, fixed), Filled(Person, fixed)], asks, answers, zone=zone, now=now
    )


def save_new_person(store: Store, read: FormRead, *, actor: str, request_id: str, now: datetime) -> Outcome:
    """Store identity and person together or not at all."""

    def save() -> tuple[bool, tuple[Any, ...]]:
        saved = store.save_all(read.records, actor=actor, request_id=request_id, now=now)
        return any(one.added for one in saved), tuple(one.held for one in saved)

    return attempt(save)


@dataclass(frozen=True, slots=True)
class Addable:
    """A record that is added on the person page: its questions and what nobody types."""

    name: str
    title: str
    model: type[Record]
    first_field: str
    asks: Callable[[date], tuple[Ask, ...]]
    fixed: Callable[[Context, Answers], dict[str, Any]]


def _day_asks(model: type[Record], day: str, rest: tuple[str, ...]) -> Callable[[date], tuple[Ask, ...]]:
    def asks(today: date) -> tuple[Ask, ...]:
        return (ask(model, day, default=f"{today:%d%m%Y}"), *(ask(model, name) for name in rest))

    return asks


def _key(context: Context, _answers: Answers) -> dict[str, Any]:
    return {"person_key": context.dossier.person_key}


def _recorded(context: Context, answers: Answers) -> dict[str, Any]:
    return {**_key(context, answers), "recorded_by": context.actor or "-"}


def _rule_asks(_today: date) -> tuple[Ask, ...]:
    named = tuple(f"{each.id} {each.title}" for each in RULES)
    rest = (ask(PersonRuleEdit, name) for name in ("in_use", "limit_value", "reason"))
    return (own("rule", named), *rest)


def _rule_fixed(context: Context, answers: Answers) -> dict[str, Any]:
    rule_id = answers.get("rule", "").split(" ")[0]
    edited = {"edited_by": context.actor or "-", "edited_on": context.today}
    return {**_key(context, answers), **edited, **({"rule_id": rule_id} if rule_id else {})}


ADDABLES: tuple[Addable, ...] = (
    Addable("event", "Event", ClinicalEvent, "happened_on",
            _day_asks(ClinicalEvent, "happened_on",
                      ("kind", "medicine_class", "oxygen_l_min", "until", "detail")), _recorded),
    Addable("weight", "Weight", Weight, "weight_kg",
            _day_asks(Weight, "weighed_on", ("weight_kg", "estimated")), _key),
    Addable("lung_function", "Lung function", LungFunction, "fvc_l",
            _day_asks(LungFunction, "tested_on",
                      ("fvc_l", "fvc_pct", "snip_cmh2o", "mip_cmh2o", "peak_cough_flow_l_min", "comment")),
            _key),
    Addable("rule_edit", "Rule for this person", PersonRuleEdit, "rule", _rule_asks, _rule_fixed),
)  # fmt: skip


def understand_addable(addable: Addable, answers: Answers, context: Context) -> FormRead:
    """Read the answers of one of the small forms."""
    part = Filled(addable.model, addable.fixed(context, answers))
    read = understand_records(
        [part],
        addable.asks(context.today),
        answers,
        zone=context.zone,
        now=context.now,
        dossier=context.dossier,
    )
    return _with_usable_limit(read)


def _with_usable_limit(read: FormRead) -> FormRead:
    """Refuse a person's own limit that the rule could not use."""
    edits = [record for record in read.records if isinstance(record, PersonRuleEdit)]
    faults = [
        limit_fault(rule(edit.rule_id), edit.limit_value) for edit in edits if edit.limit_value is not None
    ]
    if not any(faults):
        return read
    return replace(read, records=(), refused={**read.refused, "limit_value": " ".join(faults)})
