"""What each person of a cohort adds to its figures: pairs of symptoms and CO2, disagreement, last level."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import islice

import numpy as np
import polars as pl

from hvmon.records.held import Held
from hvmon.records.symptoms import Instrument, SymptomReport
from hvmon.stats.answers import RiseSince, level_at, rise_since, sufficiency
from hvmon.stats.cases import Case, make_case
from hvmon.stats.discordance import discordances, reports_around
from hvmon.stats.inference import Posterior, posteriors
from hvmon.stats.priors import Priors
from hvmon.stats.symptoms import SYMPTOMS, Floats, paired, reports_near

BLOCK = 256
"""People encoded at once."""

ORDERED_SCALES = (Instrument.MMRC, Instrument.MRC)
"""Published scales of few ordered steps; their totals are held against CO2 as ordered, not as numbers."""

LONG_SCHEMA: dict[str, pl.DataType] = {
    "person_key": pl.String(),
    "symptom": pl.String(),
    "day": pl.Float64(),
    "co2_kpa": pl.Float64(),
    "value": pl.Float64(),
    "reason": pl.String(),
}
"""One row a symptom of a report: day of the person's record, the model's CO2 of that day, the rating, why
CO2 was measured."""


@dataclass(frozen=True, slots=True)
class CohortInput:
    """One person for the figures of a cohort."""

    person_key: str
    readings: pl.DataFrame
    changes: pl.DataFrame
    reports: Sequence[Held[SymptomReport]]
    today: datetime
    birth_date: date | None = None
    progressive: bool = False


@dataclass(frozen=True, slots=True)
class CohortPerson:
    """What one person adds."""

    person_key: str
    pairs: pl.DataFrame
    """Columns of `LONG_SCHEMA`."""
    last_reading: datetime | None
    """Of the newest usable reading; None without any."""
    last_level_kpa: float | None
    """Median of the usual level at that reading [kPa]."""
    compared: bool
    """An estimate, and symptom reports on both sides of a year ago."""
    told: bool
    """Whether the rise over that year can be told."""
    disagreement: str
    """Which way CO2 and symptoms disagree; empty when they do not, or cannot be compared."""


@dataclass(frozen=True, slots=True)
class _Risen:
    today: datetime
    rise: RiseSince | None
    enough: bool


@dataclass(frozen=True, slots=True)
class _Encoded:
    given: CohortInput
    case: Case | None
    near: list[tuple[Held[SymptomReport], str]]
    days: Floats


def cohort_people(people: Iterable[CohortInput], *, priors: Priors) -> Iterator[CohortPerson]:
    """Give what each person adds, in order, a bounded block at a time.

    Two estimates a person: the usual level, for its rise and its last value, and the level of the day, for
    symptoms. Memory does not grow with the number of people: give and take an iterator.
    """
    iterator = iter(people)
    while block := [_encoded(given) for given in islice(iterator, BLOCK)]:
        known = [(one, one.case) for one in block if one.case is not None]
        usual = posteriors(
            (case for _, case in known), priors, asked=[np.array([case.day[-1]]) for _, case in known]
        )
        told = [(one, case) for one, case in known if one.near]
        of_day = posteriors(
            (case.of_the_day() for _, case in told), priors, asked=[one.days for one, _ in told]
        )
        for one in block:
            if one.case is None:
                empty = pl.DataFrame(schema=LONG_SCHEMA)
                yield CohortPerson(one.given.person_key, empty, None, None, False, False, "")
            else:
                yield _person(one, one.case, next(usual), next(of_day) if one.near else None, priors)


def _encoded(given: CohortInput) -> _Encoded:
    case, _ = make_case(
        given.readings,
        given.changes,
        today=given.today,
        birth_date=given.birth_date,
        progressive=given.progressive,
    )
    near, days = ([], np.empty(0)) if case is None else reports_near(case, given.reports, given.today)
    return _Encoded(given, case, near, days)


def _person(
    one: _Encoded, case: Case, usual: Posterior, of_day: Posterior | None, priors: Priors
) -> CohortPerson:
    risen = _Risen(one.given.today, rise_since(usual, interval=False), sufficiency(usual, priors).enough)
    found = discordances(risen, one.given.reports)
    last = float(case.day[-1])
    return CohortPerson(
        person_key=one.given.person_key,
        pairs=pl.DataFrame(schema=LONG_SCHEMA) if of_day is None else _pairs(one, of_day),
        last_reading=case.moment(last),
        last_level_kpa=level_at(usual, last).level.median,
        compared=reports_around(risen, one.given.reports) is not None,
        told=risen.enough,
        disagreement=found[0].kind if found else "",
    )


def _pairs(one: _Encoded, of_day: Posterior) -> pl.DataFrame:
    """Give one row a symptom and report, the ordered scales of the same occasion included."""
    key, readings = one.given.person_key, one.given.readings
    reasons = dict(zip(readings["record_id"], readings["reason"], strict=True))
    wide = paired(of_day, one.near, one.days, reasons).to_dicts()
    rows: list[tuple[str, str, float, float, float, str]] = []
    for row, day, (held, _) in zip(wide, one.days.tolist(), one.near, strict=True):
        values = [(symptom, row[symptom]) for symptom in SYMPTOMS]
        values += [
            (total.instrument.value, float(total.total))
            for total in held.record.instruments
            if total.instrument in ORDERED_SCALES
        ]
        rows += [
            (key, symptom, day, row["co2_kpa"], value, row["reason"])
            for symptom, value in values
            if value is not None
        ]
    return pl.DataFrame(rows, schema=LONG_SCHEMA, orient="row")
