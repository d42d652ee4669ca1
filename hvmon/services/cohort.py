"""What the whole cohort shows: effects of settings changes and symptoms pooled over people, with n.

Nobody is named. Counts below five people are given as "fewer than 5" and carry no figure.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import islice

import polars as pl

from hvmon.records.dossier import Dossier
from hvmon.services.as_of import end_of_day, known_on
from hvmon.services.cohort_counts import GroupCount, Standing, group_counts, standing
from hvmon.services.packs_in_use import Edits, Priors, digest, priors_in_use
from hvmon.stats.cohort_changes import CohortEffects, cohort_effects, cohort_frame
from hvmon.stats.cohort_people import CohortInput, CohortPerson, cohort_people
from hvmon.stats.discordance import CO2_UP, SYMPTOMS_UP
from hvmon.stats.priors import MODEL_VERSION
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.symptoms_pooled import ASKED, PooledSymptom, pool
from hvmon.stats.trend import PROGRESSIVE
from hvmon.store.store import Store

BATCH = 100
"""People read and estimated between two reports of progress."""

Progress = Callable[[int, int], object]
"""Told how many steps of how many are done: one a person, one for the effects, one a symptom."""


@dataclass(frozen=True, slots=True)
class Disagreements:
    """How often CO2 and symptoms tell different stories over the last year."""

    compared: int
    """People with an estimate, and symptom reports a year ago and since."""
    told: int
    """Of those, people whose rise can be told."""
    co2_up: int
    """Of the told, CO2 probably up while no rating rose."""
    symptoms_up: int
    """Of the compared, a rating up by two points while a rise of CO2 is not more likely than not."""


@dataclass(frozen=True)
class CohortView:
    """The figures of a cohort as of a day; none of them names a person."""

    today: date
    revision: int
    model_version: str
    priors_digest: str
    edits: str
    """Digest of the service's edits; empty without any."""
    counts: tuple[GroupCount, ...]
    """Denominators by diagnosis group, the whole cohort last."""
    changes: pl.DataFrame
    """One row a settings change, without whose it was; counts come from it."""
    effects: CohortEffects
    symptoms: tuple[PooledSymptom, ...]
    disagreements: Disagreements


@dataclass(frozen=True, slots=True)
class _Gathered:
    """One batch, no longer holding the record itself."""

    changes: pl.DataFrame
    people: tuple[CohortPerson, ...]
    standings: tuple[Standing, ...]


def cohort(
    store: Store, *, today: date, edits: Edits | None = None, progress: Progress | None = None
) -> CohortView:
    """Give what the whole cohort shows as of a day.

    Parameters
    ----------
    store : Store
        The open store.
    today : date
        Only what was measured up to the end of this day is used.
    edits : mapping, optional
        The service's edits; their priors enter the estimates.
    progress : callable, optional
        Called with the number of steps done and to do.

    Notes
    -----
    The record is read a batch of people at a time; what stays is one row a settings change, one a symptom
    of a report, and one a person.
    """
    keys, revision, priors = store.person_keys(), store.revision(), priors_in_use(edits)
    total = len(keys) + 1 + len(ASKED)
    tell = progress or (lambda _done, _total: None)
    gathered = []
    for batch in _batches(store, keys, today, priors):
        gathered.append(batch)
        tell(sum(len(each.people) for each in gathered), total)
    changes = pl.concat([each.changes for each in gathered]) if gathered else cohort_frame([])
    people = [person for each in gathered for person in each.people]
    effects = cohort_effects(changes)
    tell(len(keys) + 1, total)
    return CohortView(
        today=today,
        revision=revision,
        model_version=MODEL_VERSION,
        priors_digest=priors.digest(),
        edits=digest(edits),
        counts=group_counts([standing for each in gathered for standing in each.standings]),
        changes=_nameless(changes),
        effects=effects,
        symptoms=tuple(_pooled(people, len(keys) + 1, total, tell)),
        disagreements=_disagreements(people),
    )


def _batches(store: Store, keys: Sequence[str], today: date, priors: Priors) -> Iterator[_Gathered]:
    dossiers = store.dossiers(keys)
    while batch := [known_on(dossier, today) for dossier in islice(dossiers, BATCH)]:
        people = tuple(cohort_people((_input(dossier, today) for dossier in batch), priors=priors))
        standings = tuple(
            standing(dossier, person, today=today) for dossier, person in zip(batch, people, strict=True)
        )
        yield _Gathered(cohort_frame(batch, priors=priors), people, standings)


def _input(dossier: Dossier, today: date) -> CohortInput:
    return CohortInput(
        person_key=dossier.person_key,
        readings=readings_frame(dossier),
        changes=changes_frame(dossier),
        reports=dossier.symptom_report,
        today=end_of_day(today, dossier.person.zone),
        birth_date=dossier.identity.date_of_birth if dossier.identity else None,
        progressive=dossier.person.diagnosis_group in PROGRESSIVE,
    )


def _nameless(changes: pl.DataFrame) -> pl.DataFrame:
    """Put a running number in the place of each person's key."""
    return changes.with_columns(pl.col("person_key").rank("dense").cast(pl.String))


def _pooled(people: Sequence[CohortPerson], done: int, total: int, tell: Progress) -> Iterator[PooledSymptom]:
    frames = [person.pairs for person in people if person.pairs.height]
    if not frames:
        tell(total, total)
        return
    for step, pooled in enumerate(pool(pl.concat(frames)), 1):
        tell(done + step, total)
        yield pooled


def _disagreements(people: Sequence[CohortPerson]) -> Disagreements:
    kinds = [person.disagreement for person in people]
    return Disagreements(
        compared=sum(person.compared for person in people),
        told=sum(person.compared and person.told for person in people),
        co2_up=kinds.count(CO2_UP),
        symptoms_up=kinds.count(SYMPTOMS_UP),
    )
