"""Which rules apply to whom: a default pack a diagnosis group, edited by a service and for a person.

The packs are a project proposal built from the catalogue's sources. An unknown group has no pack beyond the
acute flags: no verdict.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from hvmon.records.dossier import Dossier
from hvmon.records.meeting import PersonRuleEdit
from hvmon.rules.case import ADULT_FROM_YEARS
from hvmon.rules.catalogue import rule
from hvmon.rules.rule import Limit, Rule
from hvmon.vocabulary import Dependence, DiagnosisGroup

CHILD_GROUP = "child"
MAX_LIMIT = Decimal(1000)
"""A limit beyond it is a typing slip whatever the unit."""
UNIT_SLIP = Decimal(4)
"""A pressure limit as many times the published one, or less than that part of it, is a slip of unit."""
_OTHER_UNIT = {"kPa": "mmHg", "mmHg": "kPa"}


class PackError(ValueError):
    """An edit that names no rule or gives a value that cannot be used; says table and key."""


@dataclass(frozen=True, slots=True)
class Pack:
    """The rules in use for one person, edits applied, and what was switched off and why."""

    name: str
    rules: tuple[Rule, ...]
    switched_off: tuple[tuple[str, str], ...] = ()
    """Rule id and reason."""
    notes: tuple[str, ...] = ()

    def rule(self, rule_id: str) -> Rule | None:
        """Give the rule of an id as edited; None when it is not in use."""
        return next((each for each in self.rules if each.id == rule_id), None)


ACUTE = ("RED-1", "GAS-7", "RED-2", "RED-3", "RED-4", "RED-5", "RED-6", "RED-7", "RED-8", "RED-10", "RED-11",
         "RED-12")  # fmt: skip
TREND = ("TRD-1", "TRD-2", "TRD-3", "TRD-4", "TRD-5", "TRD-6")
EVERYBODY = (
    "GAS-6", "GAS-14", "GAS-15", "GAS-16", "USE-1", "USE-2", "USE-3", "USE-4", "USE-6", "TGT-8", "TGT-9",
    "TGT-11", "SYM-1", "SYM-2", "SYM-3", "SYM-4", "MEA-1", "MEA-2", "MEA-3", "MEA-4", "MEA-5", *TREND,
    "FUP-9", "FUP-10", "FUP-3", "FUP-16", "FUP-18",
)  # fmt: skip
ADULT_NIGHT = ("OXI-2", "OXI-3", "OXI-6", "NGT-18")
CHILD_NIGHT = ("NGT-4", "NGT-5", "NGT-6", "NGT-7")
NORMAL_DAY_AND_NIGHT = ("TGT-10", "TGT-5", "TGT-6")

BY_GROUP: Mapping[str, tuple[str, ...]] = {
    DiagnosisGroup.COPD: (
        "GAS-1", "GAS-3", "GAS-8", "GAS-9", "NGT-1", "NGT-2", "NGT-3", "NGT-14", *ADULT_NIGHT, "OXI-7",
        "TGT-1", "TGT-2", "FUP-1", "FUP-8", "FUP-11"),
    DiagnosisGroup.OBESITY_HYPOVENTILATION: (
        "GAS-2", "GAS-3", "GAS-5", "GAS-10", "NGT-1", "NGT-2", "NGT-3", *ADULT_NIGHT, "OXI-5",
        "TGT-3", "TGT-4", "FUP-8", "FUP-2", "FUP-11", "FUP-17"),
    DiagnosisGroup.MOTOR_NEURONE_DISEASE: (
        "GAS-3", "STA-13", "NGT-8", "NGT-9", *ADULT_NIGHT, *NORMAL_DAY_AND_NIGHT, "FUP-4"),
    DiagnosisGroup.DUCHENNE: (
        "GAS-3", *CHILD_NIGHT, "NGT-8", *ADULT_NIGHT, *NORMAL_DAY_AND_NIGHT, "FUP-6", "FUP-7"),
    DiagnosisGroup.OTHER_NEUROMUSCULAR: (
        "GAS-3", "GAS-12", "NGT-8", "NGT-13", *ADULT_NIGHT, "OXI-1", *NORMAL_DAY_AND_NIGHT, "FUP-5"),
    DiagnosisGroup.CHEST_WALL: (
        "GAS-3", "NGT-8", "NGT-13", *ADULT_NIGHT, "OXI-1", *NORMAL_DAY_AND_NIGHT, "FUP-8", "FUP-11"),
    DiagnosisGroup.TRACHEOSTOMY: (
        "GAS-3", "NGT-1", "NGT-2", *ADULT_NIGHT, "TGT-7", "FUP-13", "RED-9"),
    CHILD_GROUP: ("GAS-3", *CHILD_NIGHT, *NORMAL_DAY_AND_NIGHT, "FUP-12"),
}  # fmt: skip
"""Group -> rules, besides those for everybody. A kPa reading is judged in kPa by GAS-3."""

BEFORE_START: Mapping[str, tuple[str, ...]] = {
    DiagnosisGroup.COPD: ("STA-1", "STA-2", "STA-3", "STA-4", "STA-5", "STA-6"),
    DiagnosisGroup.OBESITY_HYPOVENTILATION: ("STA-7", "STA-8", "STA-11"),
    DiagnosisGroup.MOTOR_NEURONE_DISEASE: ("STA-14", "STA-9", "STA-12", "STA-15", "STA-16"),
    DiagnosisGroup.DUCHENNE: ("STA-17",),
    DiagnosisGroup.OTHER_NEUROMUSCULAR: ("STA-9", "STA-10", "STA-11"),
    DiagnosisGroup.CHEST_WALL: ("STA-18", "STA-10", "STA-11"),
    CHILD_GROUP: ("STA-19",),
}
"""Criteria for starting, asked only of people not yet ventilated."""


def group_of(dossier: Dossier, today: date) -> str:
    """Give the pack's name: the diagnosis group, or "child" below 18 years where no own pack exists."""
    group = dossier.person.diagnosis_group
    own = {DiagnosisGroup.UNKNOWN, DiagnosisGroup.DUCHENNE, DiagnosisGroup.TRACHEOSTOMY}
    if group not in own and _is_child(dossier, today):
        return CHILD_GROUP
    return group.value


def _is_child(dossier: Dossier, day: date) -> bool:
    age = dossier.age_on(day)
    return age is not None and age < ADULT_FROM_YEARS


def _studied_as_child(dossier: Dossier, today: date) -> bool:
    """Whether the newest overnight study was made in childhood, so that the child rules answer it."""
    nights = [held.record.night_of for held in dossier.night_summary if held.record.night_of <= today]
    return _is_child(dossier, nights[-1] if nights else today)


def default_pack(dossier: Dossier, today: date) -> Pack:
    """Give the pack of the person's group and age, without any edit."""
    name = group_of(dossier, today)
    if name == DiagnosisGroup.UNKNOWN:
        return _pack(name, (*ACUTE, "REC-1"))
    ids = [*ACUTE, *BY_GROUP[name]]
    if _studied_as_child(dossier, today):
        ids += CHILD_NIGHT
    if dossier.person.tracheostomy:
        ids += ["RED-9", "TGT-7", "FUP-13"]
    if dossier.person.dependence == Dependence.NOT_YET_VENTILATED:
        ids += BEFORE_START.get(name, ())
    return _pack(name, (*ids, *EVERYBODY))


def _pack(name: str, ids: Iterable[str]) -> Pack:
    return Pack(name, tuple(rule(rule_id) for rule_id in dict.fromkeys(ids)))


# --- edits of a service -----------------------------------------------------------------------------

_RULE_KEYS = {"in_use", "limit", "unit", "name", "groups", "reason"}


def apply_service_edits(pack: Pack, mapping: Mapping[str, Any]) -> Pack:
    """Apply a service's own edits, as parsed from its TOML file.

    A table ``[rules.GAS-1]`` takes ``limit`` (a number in the rule's own unit), ``name`` (which limit, where
    a rule has several), ``in_use`` (true or false), ``groups`` (a list, default all) and ``reason`` (needed).

    Raises
    ------
    PackError
        A table names no rule, or a key holds what it cannot; table and key are named.
    """
    unknown = sorted(set(mapping) - {"rules"})
    if unknown:
        raise PackError(f"table [{unknown[0]}] is not known; accepted is [rules.ID], such as [rules.GAS-1]")
    edited = pack
    for rule_id, table in _table(mapping.get("rules", {}), "rules").items():
        edited = _service_edit(edited, rule_id, _table(table, f"rules.{rule_id}"))
    return edited


def _table(value: object, name: str) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise PackError(f"[{name}] is {value!r}; a table is needed")
    return value


def _service_edit(pack: Pack, rule_id: str, table: Mapping[str, Any]) -> Pack:
    where = f"[rules.{rule_id}]"
    try:
        published = rule(rule_id)
    except KeyError:
        raise PackError(f"{where}: no such rule; the ids stand in docs/rules.md") from None
    unknown = sorted(set(table) - _RULE_KEYS)
    if unknown:
        raise PackError(f"{where} {unknown[0]}: no such key; accepted are {', '.join(sorted(_RULE_KEYS))}")
    reason = table.get("reason")
    if not isinstance(reason, str) or not reason.strip():
        raise PackError(f"{where} reason: {reason!r}; a text saying why is needed")
    if not _for_group(table.get("groups"), pack.name, where):
        return pack
    in_use = table.get("in_use", True)
    if not isinstance(in_use, bool):
        raise PackError(f"{where} in_use: {in_use!r}; accepted are true and false")
    value = _new_value(published, table, where)
    return _edit(pack, published, in_use=in_use, value=value, name=table.get("name", ""),
                 reason=f"service: {reason.strip()}")  # fmt: skip


def _for_group(groups: object, name: str, where: str) -> bool:
    if groups is None:
        return True
    known = {*(group.value for group in DiagnosisGroup), CHILD_GROUP}
    if not isinstance(groups, list) or not set(groups) <= known:
        raise PackError(f"{where} groups: {groups!r}; a list of {', '.join(sorted(known))} is needed")
    return name in groups


def _new_value(published: Rule, table: Mapping[str, Any], where: str) -> Decimal | None:
    given = table.get("limit")
    if given is None:
        return None
    limit = _limit_of(published, table.get("name", ""), where)
    unit = table.get("unit", limit.unit)
    if unit != limit.unit:
        raise PackError(f"{where} unit: {unit!r}; the rule's own unit is {limit.unit!r} and is not converted")
    try:
        value = Decimal(str(given))
    except InvalidOperation:
        value = Decimal("NaN")
    wrong = "a number is needed" if isinstance(given, bool) else _not_usable(limit, value)
    if wrong:
        raise PackError(f"{where} limit: {given!r}; {wrong}")
    return value


def _not_usable(limit: Limit, value: Decimal) -> str:
    """Say why a value cannot stand in a limit's place; empty when it can."""
    if not value.is_finite() or not 0 <= value <= MAX_LIMIT:
        return f"a number from 0 to {MAX_LIMIT} {limit.unit} is needed"
    published = limit.value if limit.published is None else limit.published
    if limit.unit in _OTHER_UNIT and not published <= value * UNIT_SLIP <= published * UNIT_SLIP**2:
        other = _OTHER_UNIT[limit.unit]
        return f"far from the published {published} {limit.unit}; likely slip: {other} typed as {limit.unit}"
    return ""


def limit_fault(published: Rule, value: Decimal) -> str:
    """Say why a person's own limit cannot be used for a rule; empty when it can."""
    if not published.limits:
        return f"rule {published.id} has no limit; leave it blank"
    wrong = _not_usable(published.limit, value)
    return f"limit {value}: {wrong}" if wrong else ""


def _limit_of(published: Rule, name: object, where: str) -> Limit:
    for limit in published.limits:
        if name in {"", limit.name}:
            return limit
    names = ", ".join(repr(limit.name) for limit in published.limits) or "none"
    raise PackError(f"{where} name: {name!r}; the rule's limits are {names}")


def _edit(
    pack: Pack, published: Rule, *, in_use: bool, value: Decimal | None, name: str, reason: str
) -> Pack:  # fmt: skip
    """Switch a rule off or on, or give one limit another value; a rule not in the pack joins it."""
    present = pack.rule(published.id)
    others = tuple(each for each in pack.rules if each.id != published.id)
    off = tuple(each for each in pack.switched_off if each[0] != published.id)
    if not in_use:
        return replace(pack, rules=others, switched_off=(*off, (published.id, reason)))
    edited = _with_limit(present or published, name, value, reason)
    if present is None:
        return replace(pack, rules=(*pack.rules, edited), switched_off=off)
    rules = tuple(edited if each.id == published.id else each for each in pack.rules)
    return replace(pack, rules=rules, switched_off=off)


def _with_limit(before: Rule, name: str, value: Decimal | None, reason: str) -> Rule:
    if value is None:
        return before
    index = next(i for i, limit in enumerate(before.limits) if name in {"", limit.name})
    limits = tuple(
        limit.edited(value, reason) if i == index else limit for i, limit in enumerate(before.limits)
    )
    return replace(before, limits=limits)


# --- edits for a person ------------------------------------------------------------------------------


def apply_person_edits(pack: Pack, dossier: Dossier, today: date | None = None) -> Pack:
    """Apply the edits recorded for the person, oldest first; one that fits no rule becomes a note."""
    edited = pack
    for held in dossier.rule_edit:
        if today is None or held.record.edited_on <= today:
            edited = _person_edit(edited, held.record)
    return edited


def _person_edit(pack: Pack, edit: PersonRuleEdit) -> Pack:
    try:
        published = rule(edit.rule_id)
    except KeyError:
        note = f"edit of {edit.edited_on} names no known rule: {edit.rule_id}"
        return replace(pack, notes=(*pack.notes, note))
    reason = f"for this person: {edit.reason} ({edit.edited_by}, {edit.edited_on})"
    value = edit.limit_value
    wrong = "" if value is None else limit_fault(published, value)
    if wrong:
        note = f"edit of {edit.edited_on}: {value} is no limit of rule {edit.rule_id} ({wrong})"
        return replace(pack, notes=(*pack.notes, note))
    return _edit(pack, published, in_use=edit.in_use, value=value, name="", reason=reason)


def pack_for(dossier: Dossier, today: date, service_edits: Mapping[str, Any] | None = None) -> Pack:
    """Give the pack in use: default, then the service's edits, then the person's own."""
    pack = apply_service_edits(default_pack(dossier, today), service_edits or {})
    return apply_person_edits(pack, dossier, today)
