"""The figures of a cohort as tables and sentences, each with the people and changes behind it."""

from typing import Any

import polars as pl

from hvmon.services.cohort import CohortView
from hvmon.services.cohort_counts import EVERYBODY, FEWEST, Fate, GroupCount, few
from hvmon.services.headline import pressure_words
from hvmon.services.packs_in_use import Edits, priors_in_use
from hvmon.stats.cohort_changes import MIN_CHANGES, MIN_GROUP_CHANGES, MIN_PEOPLE, TERMS, PooledEffect
from hvmon.stats.priors import default_priors
from hvmon.stats.symptoms_cohort import PooledRelation, WithinCorrelation
from hvmon.stats.symptoms_pooled import PooledSymptom, chance_words
from hvmon.units import PressureUnit

Table = list[dict[str, str]]

FOREST: dict[str, Any] = {
    "what": pl.String,
    "unit": pl.String,
    "group": pl.String,
    "estimate_kpa": pl.Float64,
    "low_kpa": pl.Float64,
    "high_kpa": pl.Float64,
    "n_people": pl.Int64,
    "n_changes": pl.Int64,
    "pooled": pl.Boolean,
    "behind": pl.String,
    "why_none": pl.String,
}
"""One row a figure of the forest plot [kPa a unit]; numbers are null, with a reason, where there is none."""

CANNOT_SAY = (
    (
        "These figures are observations, not trials. Who gets a large change differs from who gets a small "
        "one (confounding by indication), and oxygen, masks, use, weight, medicines and infections move too."
    ),
    (
        "Settings are changed when CO2 is high, and a high reading is followed by a lower one without any "
        "effect (regression to the mean). The part that goes with every change alike stands in the "
        "intercept; the part that grows with the size of the change stays in these figures."
    ),
    (
        "CO2 is measured more often when somebody feels worse (informative sampling): relations of symptoms "
        "and CO2 may be an echo of that. The same figure on routine readings alone stands beside each."
    ),
    (
        "People who died, moved away or are no longer measured carry no new readings. A mean over those "
        "still seen can improve while nobody does; the level of everybody at the last reading stands by."
    ),
    (
        "A figure of a cohort says little of one person. Diagnosis groups are drawn toward each other; an "
        "interval across zero is no proof of no effect."
    ),
    (
        "Effects are straight lines per cmH2O and per breath over the range this service used. They are no "
        "ground to choose a setting; local protocol and the physician decide."
    ),
)
"""What the figures of a cohort cannot say; shown with them."""


def behind_words(n_people: int, n_changes: int) -> str:
    """Say how many people and changes stand behind a figure; few are not told."""
    if n_people == 0:
        return "no usable change"
    if n_people < FEWEST:
        return f"{few(n_people)} people"
    return f"{n_people} people, {n_changes} changes"


def forest_frame(view: CohortView) -> pl.DataFrame:
    """Give the frame of the forest plot: a row a diagnosis group with changes, with its figure or why not.

    Returns
    -------
    polars.DataFrame
        Columns of `FOREST`, for each term the whole cohort first. Figures of fewer than five people are
        left out, and their counts with them.
    """
    made = {(one.what, one.group): one for one in view.effects.effects}
    usable = view.changes.drop_nulls()
    groups = [count.group for count in view.counts if count.group != EVERYBODY]
    kept = [group for group in groups if group in set(view.changes["group"])]
    rows = [
        _row(view, usable, term, group, made.get((term[1], group)))
        for term in TERMS
        for group in (EVERYBODY, *kept)
    ]
    return pl.DataFrame(rows, schema=FOREST, orient="row")


def _row(
    view: CohortView, usable: pl.DataFrame, term: tuple[str, str, str], group: str, made: PooledEffect | None
) -> dict[str, Any]:
    name, what, unit = term
    own = usable.filter(pl.col(name) != 0)
    own = own if group == EVERYBODY else own.filter(pl.col("group") == group)
    people, changes = own["person_key"].n_unique(), own.height
    shown = made is not None and people >= FEWEST
    told = people == 0 or people >= FEWEST
    return {
        "what": what,
        "unit": unit,
        "group": group,
        "estimate_kpa": made.estimate_kpa if made and shown else None,
        "low_kpa": made.low_kpa if made and shown else None,
        "high_kpa": made.high_kpa if made and shown else None,
        "n_people": people if told else None,
        "n_changes": changes if told else None,
        "pooled": group != EVERYBODY,
        "behind": behind_words(people, changes),
        "why_none": "" if shown else _why_none(view, group, people, changes),
    }


def _why_none(view: CohortView, group: str, people: int, changes: int) -> str:
    if 0 < people < FEWEST:
        return f"not enough: {few(people)} people"
    if view.effects.refused or group == EVERYBODY:
        return f"not enough: {MIN_CHANGES} changes in {MIN_PEOPLE} people are needed"
    if changes < MIN_GROUP_CHANGES:
        return f"not enough: {MIN_GROUP_CHANGES} changes are needed"
    return "the only group with changes; see all"


def behind_table(frame: pl.DataFrame) -> Table:
    """Give how many people and changes there are of each kind, for when there is no figure to draw."""
    whats = list(dict.fromkeys(frame["what"]))
    behind = {(row["group"], row["what"]): row["behind"] for row in frame.iter_rows(named=True)}
    return [
        {"Diagnosis group": group} | {f"Changes of {what}": behind[group, what] for what in whats}
        for group in dict.fromkeys(frame["group"])
    ]


def changes_line(view: CohortView) -> str:
    """Say how many settings changes there are and why most of them cannot be used."""
    changes, usable = view.changes, view.changes.drop_nulls()
    sized = changes.filter(
        pl.col("pressure_support_cmh2o").is_not_null() & pl.col("backup_rate").is_not_null()
    )
    people = usable["person_key"].n_unique()
    return (
        f"{changes.height} settings changes in the record; {sized.height} with a known size of pressure "
        f"support and backup rate (first settings have none); {usable.height} of these with CO2 readings of "
        f"one condition within 90 days on both sides, in {few(people)} people. At least {MIN_CHANGES} such "
        f"changes in {MIN_PEOPLE} people are needed."
    )


def counts_table(view: CohortView, unit: PressureUnit) -> Table:
    """Give the denominators, one row a diagnosis group and one for all."""
    return [_count_row(count, unit) for count in view.counts]


def _count_row(count: GroupCount, unit: PressureUnit) -> dict[str, str]:
    fates = {fate.value[0].upper() + fate.value[1:]: few(n) for fate, n in count.fates}
    return {
        "Diagnosis group": count.group,
        "People": few(count.people),
        **fates,
        "Median usual PaCO2, measured in the last year": _level(count.level_seen_kpa, unit),
        "Median usual PaCO2, everybody at the last reading": _level(count.level_all_kpa, unit),
    }


def _level(kpa: float | None, unit: PressureUnit) -> str:
    return f"{few(FEWEST - 1)} people" if kpa is None else pressure_words(kpa, unit)


def gone_line(view: CohortView) -> str:
    """Say how many of the cohort carry no new reading, so that a mean is not read as progress."""
    whole = view.counts[-1]
    numbers = dict(whole.fates)
    return (
        f"Of {few(whole.people)} people {few(numbers[Fate.MEASURED])} were measured in the last year; "
        f"died: {few(numbers[Fate.DIED])}; moved away: {few(numbers[Fate.MOVED])}; no usable CO2 reading for "
        f"a year: {few(numbers[Fate.NOT_MEASURED])}; none at all: {few(numbers[Fate.NEVER])}."
    )


def disagreement_lines(view: CohortView) -> tuple[str, ...]:
    """Say how often CO2 and symptoms told different stories, with the denominators."""
    found = view.disagreements
    return (
        (
            f"CO2 probably up over the last year while no rating rose: {few(found.co2_up)} of "
            f"{few(found.told)} people whose rise can be told. Common, and the rise is still real."
        ),
        (
            f"A rating up by two points or more while a rise of CO2 is not more likely than not: "
            f"{few(found.symptoms_up)} of {few(found.compared)} people with reports a year ago and since. "
            "Night, leak, mood, sleep apnoea and medicines are worth a look."
        ),
    )


def pairs_words(n_people: int) -> str:
    """Say how many people have a report beside CO2 in which something varied, when they are few."""
    return f"{few(n_people)} people in whom it varied" if n_people else "nobody in whom it varied"


def symptom_lines(view: CohortView) -> tuple[str, ...]:
    """Give one sentence a symptom."""
    if not view.symptoms:
        return ("not enough data: no symptom report lies within 14 days of a usable reading",)
    return tuple(_symptom_line(one) for one in view.symptoms)


def _symptom_line(one: PooledSymptom) -> str:
    if one.main.estimate is None and one.main.n_people < FEWEST:
        return f"{one.symptom}: {one.answer.value} ({pairs_words(one.main.n_people)})"
    return one.in_words


def symptoms_table(view: CohortView) -> Table:
    """Give every model's figure beside the main one, with n; the checks on drift and routine included."""
    return [
        {
            "Symptom": one.symptom,
            "Main figure": _figure(one.main),
            "Routine readings only": _figure(one.routine),
            "Other model": "; ".join(_figure(each) for each in one.beside) or "none",
            "Correlation within people": _correlation(one.within),
            "The same, drift taken off": _correlation(one.drift_free),
        }
        for one in view.symptoms
    ]


def _figure(one: PooledRelation) -> str:
    if one.n_people < FEWEST:
        return f"{one.method}: {pairs_words(one.n_people)}"
    if one.estimate is None or one.low is None or one.high is None:
        return f"{one.method}: not enough ({one.reason})"
    note = f"; {one.reason}" if one.reason else ""
    return (
        f"{one.method}: {one.estimate:+.2f} {one.unit} ({one.low:+.2f} to {one.high:+.2f}), p "
        f"{chance_words(one.p)}; {one.n_pairs} pairs, {one.n_people} people{note}"
    )


def _correlation(one: WithinCorrelation | None) -> str:
    if one is None or one.n_people < FEWEST:
        return "not enough"
    return f"r {one.r:+.2f}, p {chance_words(one.p)}; {one.n_people} people, {one.degrees_of_freedom} df"


def priors_table(edits: Edits | None) -> Table:
    """Give the priors in force, and for each row whether the service edited it."""
    shipped = default_priors()
    return [
        {
            "Row": row.key,
            "Value": " / ".join(f"{number:g}" for number in row.numbers()),
            "Unit": row.unit,
            "At 6.5 kPa": row.shown_kpa(),
            "What": row.meaning,
            "Rests on": row.basis,
            "Source": row.source,
            "Mark": row.mark.value,
            "Edited here": _edited(row.numbers(), shipped.rows[row.key].numbers()),
        }
        for row in priors_in_use(edits)
    ]


def _edited(now: tuple[float, ...], shipped: tuple[float, ...]) -> str:
    return "" if now == shipped else f"yes; shipped {' / '.join(f'{number:g}' for number in shipped)}"


def version_line(view: CohortView) -> str:
    """Say what a reader needs to get the same figures again."""
    edits = f", service edits {view.edits}" if view.edits else ", no service edits"
    return (
        f"Model {view.model_version}, priors {view.priors_digest}{edits}; record at revision "
        f"{view.revision}, as of {view.today:%d %b %Y}."
    )
