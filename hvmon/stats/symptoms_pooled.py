"""Every symptom of a cohort against CO2, in plain words: one main figure, others beside it, with n."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import polars as pl

from hvmon.stats.cohort_people import ORDERED_SCALES
from hvmon.stats.symptoms import FLAP, SYMPTOMS, Relation
from hvmon.stats.symptoms_cohort import (
    PooledRelation,
    WithinCorrelation,
    mixed_model,
    ordered_model,
    present_or_absent,
    within_person_correlation,
)
from hvmon.vocabulary import SampleReason

ALPHA = 0.05
LEAST_P = 0.001
MIN_DRIFT_PAIRS = 4
"""Pairs a person needs before a straight-line drift can be taken off and something be left."""

ASKED = (*SYMPTOMS, *(scale.value for scale in ORDERED_SCALES))
"""What is asked of a cohort: seven symptoms and two published scales."""


PAIR = ("person_key", "co2_kpa", "value")


@dataclass(frozen=True, slots=True)
class PooledSymptom:
    """One symptom over a cohort."""

    symptom: str
    answer: Relation
    main: PooledRelation
    """Mixed model for a rating, conditional logit for a sign, ordered logit for a scale."""
    beside: tuple[PooledRelation, ...]
    """Other models of the same pairs, as a check."""
    within: WithinCorrelation | None
    """Correlation within people; None when there is no contrast."""
    drift_free: WithinCorrelation | None
    """The same after each person's straight-line drift is taken off both."""
    routine: PooledRelation
    """The main figure on readings taken as routine alone."""
    family_p: float | None
    """p of the main figure times the number of symptoms asked, at most 1 (Bonferroni)."""

    @property
    def in_words(self) -> str:
        """One sentence with the numbers behind it."""
        main = self.main
        if main.estimate is None or main.low is None or main.high is None:
            return f"{self.symptom}: {self.answer.value} ({main.reason})"
        figure = f"{main.estimate:+.2f} {main.unit} (95 %: {main.low:+.2f} to {main.high:+.2f})"
        way = "higher" if main.estimate > 0 else "lower"
        clear = "" if self.answer == Relation.NO_CLEAR else f", more of it with {way} CO2"
        return (
            f"{self.symptom}: {self.answer.value}{clear}; {figure}, {main.n_pairs} pairs of {main.n_people} "
            f"people, p over all symptoms {chance_words(self.family_p)}"
        )


def chance_words(p: float | None) -> str:
    """Write a p value; never as zero."""
    if p is None:
        return "not known"
    return "below 0.001" if p < LEAST_P else f"{p:.3f}"


def pool(pairs: pl.DataFrame) -> Iterator[PooledSymptom]:
    """Ask of every symptom whether it goes with CO2 within people, pooled; one after another.

    Parameters
    ----------
    pairs
        Columns of `hvmon.stats.cohort_people.LONG_SCHEMA`.

    Notes
    -----
    "consistent" needs an interval without zero, p over all symptoms below 0.05, the same sign on routine
    readings alone, and a correlation within people of the same sign with p below 0.05 after each person's
    drift is taken off: CO2 and a symptom may merely both drift. An interval without zero alone is "possible".
    """
    for symptom in ASKED:
        own = pairs.filter(pl.col("symptom") == symptom)
        yield _pooled(symptom, own, _routine(own))


def _routine(own: pl.DataFrame) -> pl.DataFrame:
    kept = own.filter(pl.col("reason") == SampleReason.ROUTINE.value)
    return kept.select(PAIR)


def _models(symptom: str) -> tuple[Callable[[pl.DataFrame], PooledRelation], ...]:
    """Give the models of a symptom, the main one first."""
    if symptom == FLAP:
        return (present_or_absent,)
    return (mixed_model, ordered_model) if symptom in SYMPTOMS else (ordered_model,)


def _pooled(symptom: str, own: pl.DataFrame, routine: pl.DataFrame) -> PooledSymptom:
    main_model, *others = _models(symptom)
    pairs = own.select(PAIR)
    main, check, drift_free = main_model(pairs), main_model(routine), _drift_free(own)
    family_p = None if main.p is None else min(1.0, main.p * len(ASKED))
    return PooledSymptom(
        symptom=symptom,
        answer=_answer(main, drift_free, check, family_p),
        main=main,
        beside=tuple(model(pairs) for model in others),
        within=_within(pairs),
        drift_free=drift_free,
        routine=check,
        family_p=family_p,
    )


def _within(own: pl.DataFrame, *, taken_off: int = 0) -> WithinCorrelation | None:
    if own.is_empty():
        return None
    person, x, y = (own[name].to_numpy() for name in PAIR)
    try:
        return within_person_correlation(person, x, y, taken_off=taken_off)
    except ValueError:
        return None


def _drift_free(own: pl.DataFrame) -> WithinCorrelation | None:
    """Correlate within people what is left of both beside each person's straight line in time."""
    day = pl.col("day") - pl.col("day").mean().over("person_key")
    kept = own.with_columns(day=day).filter(
        (pl.len().over("person_key") >= MIN_DRIFT_PAIRS) & ((pl.col("day") ** 2).sum().over("person_key") > 0)
    )
    rest = kept.with_columns(_beside_drift("co2_kpa"), _beside_drift("value"))
    return _within(rest.select(PAIR), taken_off=1)


def _beside_drift(name: str) -> pl.Expr:
    def over(values: pl.Expr) -> pl.Expr:
        return values.sum().over("person_key")

    day, centred = pl.col("day"), pl.col(name) - pl.col(name).mean().over("person_key")
    slope = over(day * pl.col(name)) / over(day**2)
    return (centred - slope * day).round(12).alias(name)


def _answer(
    main: PooledRelation,
    drift_free: WithinCorrelation | None,
    routine: PooledRelation,
    family_p: float | None,
) -> Relation:
    if main.estimate is None or main.low is None or main.high is None or family_p is None:
        return Relation.NOT_ENOUGH
    if main.low <= 0 <= main.high:
        return Relation.NO_CLEAR
    stays = drift_free is not None and drift_free.p < ALPHA and drift_free.r * main.estimate > 0
    alike = routine.estimate is not None and routine.estimate * main.estimate > 0
    return Relation.CONSISTENT if family_p < ALPHA and stays and alike else Relation.POSSIBLE
