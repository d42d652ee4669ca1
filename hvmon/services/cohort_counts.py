"""Denominators of a cohort: who is in it, who was measured, who is no longer seen and why.

A mean over those still seen improves when the worst are gone; so the level of everybody at their last
reading stands beside it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import numpy as np

from hvmon.records.dossier import Dossier
from hvmon.services.as_of import end_of_day
from hvmon.stats.cohort_people import CohortPerson
from hvmon.vocabulary import DiagnosisGroup, EventKind

FEWEST = 5
"""People a count or a figure needs to be shown as a number; project judgement."""

SEEN_DAYS = 365
"""[d] a person without a usable CO2 reading for longer counts as not measured; project judgement."""

EVERYBODY = "all"


class Fate(StrEnum):
    """Where a person of the cohort stands on a day."""

    MEASURED = "measured in the last year"
    NOT_MEASURED = "no usable CO2 reading for a year"
    NEVER = "no usable CO2 reading at all"
    MOVED = "moved away"
    DIED = "died"


@dataclass(frozen=True, slots=True)
class Standing:
    """One person's place in the denominators; nameless."""

    group: str
    fate: Fate
    last_level_kpa: float | None


@dataclass(frozen=True, slots=True)
class GroupCount:
    """Denominators of one diagnosis group, or of all."""

    group: str
    people: int
    fates: tuple[tuple[Fate, int], ...]
    estimated: int
    """People with an estimate, whatever became of them."""
    level_seen_kpa: float | None
    """Median usual level at the last reading, of people measured in the last year; None below five."""
    level_all_kpa: float | None
    """The same of everybody with an estimate, those gone included; None below five."""


def few(n: int) -> str:
    """Write a number of people; below five it is not told."""
    return str(n) if n == 0 or n >= FEWEST else f"fewer than {FEWEST}"


def standing(dossier: Dossier, person: CohortPerson, *, today: date) -> Standing:
    """Say where a person stands on a day; a death counts before a move, a move before missing readings."""
    return Standing(
        dossier.person.diagnosis_group.value, _fate(dossier, person, today), person.last_level_kpa
    )


def _fate(dossier: Dossier, person: CohortPerson, today: date) -> Fate:
    kinds = {held.record.kind for held in dossier.clinical_event if held.record.happened_on <= today}
    if EventKind.DEATH in kinds:
        return Fate.DIED
    if EventKind.MOVED in kinds:
        return Fate.MOVED
    if person.last_reading is None:
        return Fate.NEVER
    age = end_of_day(today, dossier.person.zone) - person.last_reading
    return Fate.MEASURED if age.days <= SEEN_DAYS else Fate.NOT_MEASURED


def group_counts(standings: Sequence[Standing]) -> tuple[GroupCount, ...]:
    """Count each diagnosis group that has people, in the order of the vocabulary, and then everybody."""
    groups = [group.value for group in DiagnosisGroup]
    present = [group for group in groups if any(one.group == group for one in standings)]
    parts = [(group, [one for one in standings if one.group == group]) for group in present]
    return tuple(_count(group, part) for group, part in [*parts, (EVERYBODY, list(standings))])


def _count(group: str, part: Sequence[Standing]) -> GroupCount:
    known = [(one.fate, one.last_level_kpa) for one in part if one.last_level_kpa is not None]
    return GroupCount(
        group=group,
        people=len(part),
        fates=tuple((fate, sum(one.fate == fate for one in part)) for fate in Fate),
        estimated=len(known),
        level_seen_kpa=_median([level for fate, level in known if fate == Fate.MEASURED]),
        level_all_kpa=_median([level for _, level in known]),
    )


def _median(levels: Sequence[float]) -> float | None:
    return float(np.median(levels)) if len(levels) >= FEWEST else None
