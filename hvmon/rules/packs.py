"""Which rules apply to whom: a default pack a diagnosis group, edited by a service and for a person.

The packs are a project proposal built from the catalogue's sources. An unknown group has no pack beyond the
acute flags: no verdict.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from hvmon.records.dossier import Dossier
from hvmon.rules.case import ADULT_FROM_YEARS
from hvmon.rules.catalogue import rule
from hvmon.rules.rule import Rule
from hvmon.vocabulary import DiagnosisGroup

CHILD_GROUP = "child"
MAX_LIMIT = Decimal(1000)
"""A limit beyond it is a typing slip whatever the unit."""


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
EVERYBODY = ("GAS-6", "GAS-14", "GAS-15", "GAS-16", *TREND)

BY_GROUP: Mapping[str, tuple[str, ...]] = {
    DiagnosisGroup.COPD: ("GAS-1", "GAS-3", "GAS-8", "GAS-9"),
    DiagnosisGroup.OBESITY_HYPOVENTILATION: ("GAS-2", "GAS-3", "GAS-10"),
    DiagnosisGroup.MOTOR_NEURONE_DISEASE: ("GAS-3",),
    DiagnosisGroup.DUCHENNE: ("GAS-3",),
    DiagnosisGroup.OTHER_NEUROMUSCULAR: ("GAS-3",),
    DiagnosisGroup.CHEST_WALL: ("GAS-3",),
    DiagnosisGroup.TRACHEOSTOMY: ("GAS-3", "RED-9"),
    CHILD_GROUP: ("GAS-3",),
}


def group_of(dossier: Dossier, today: date) -> str:
    """Give the pack's name: the diagnosis group, or "child" below 18 years where no own pack exists."""
    group = dossier.person.diagnosis_group
    own = {DiagnosisGroup.UNKNOWN, DiagnosisGroup.DUCHENNE, DiagnosisGroup.TRACHEOSTOMY}
    age = dossier.age_on(today)
    if group not in own and age is not None and age < ADULT_FROM_YEARS:
        return CHILD_GROUP
    return group.value


def default_pack(dossier: Dossier, today: date) -> Pack:
    """Give the pack of the person's group and age, without any edit."""
    name = group_of(dossier, today)
    if name == DiagnosisGroup.UNKNOWN:
        return _pack(name, (*ACUTE, "REC-1"))
    ids = (*ACUTE, *BY_GROUP[name], *EVERYBODY)
    return _pack(name, ids)


def _pack(name: str, ids: Iterable[str]) -> Pack:
    return Pack(name, tuple(rule(rule_id) for rule_id in dict.fromkeys(ids)))
