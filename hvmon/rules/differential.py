"""Why is CO2 rising? The team's ordered differential, with what the record says for and against each cause.

Real, unwell, received, enough, changed: in that order, never sorted by a score. Evidence is looked for in
matched windows before each of the last two readings and held against the person's own usual range. What was
not recorded is said as such: silence of the record is evidence of nothing.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import polars as pl

from hvmon.records.dossier import Dossier, local
from hvmon.rules import why_changed, why_now, why_real
from hvmon.rules.why_windows import Evidence, Pair, Reading, Weighed
from hvmon.stats.figure import Refused
from hvmon.stats.likeforlike import NotComparable, key_of, last_versus_previous
from hvmon.stats.series import readings_frame

SOURCE = "Practice"
"""The order and the evidence looked for are those of home-ventilation teams (Practice)."""


class Question(StrEnum):
    """The five questions, in order."""

    REAL = "Is it real?"
    UNWELL = "Is the person unwell now?"
    RECEIVED = "Is the treatment being received?"
    ENOUGH = "Is it enough?"
    CHANGED = "Has the person changed?"


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause of the differential."""

    id: str
    question: Question
    title: str
    team_check: str
    """What a team looks at; not an order."""
    look: Callable[[Pair], Weighed]


CAUSES: tuple[Cause, ...] = (
    Cause("A1", Question.REAL, "venous or mixed sample", "a repeat with its kind noted",
          why_real.venous_or_mixed),
    Cause("A2", Question.REAL, "handling: air bubble, delay, cold ear, breath-holding",
          "a repeat after 20 to 30 min of rest", why_real.pre_analytic),
    Cause("A3", Question.REAL, "different conditions", "like set beside like", why_real.other_conditions),
    Cause("A4", Question.REAL, "transcutaneous drift, cool sensor, bad site",
          "drift corrected, paired with a gas", why_real.sensor),
    Cause("A5", Question.REAL, "unit, person or date error", "the source slip", why_real.slip),
    Cause("B1", Question.UNWELL, "infection, exacerbation, oedema, embolism, pneumothorax",
          "same-day clinical review by local protocol", why_now.unwell),
    Cause("B2", Question.UNWELL, "sedatives, opioids, alcohol, anaesthetic", "the list of medicines",
          why_now.sedatives),
    Cause("B3", Question.UNWELL, "oxygen excess", "oxygen against the prescribed target",
          why_now.oxygen_excess),
    Cause("C1", Question.RECEIVED, "under-use", "why: mask, dryness, fear, carer, power", why_now.under_use),
    Cause("C2", Question.RECEIVED, "unintended leak", "mask age and fit, mouth, cuff, tube size",
          why_now.leak),
    Cause("C3", Question.RECEIVED, "circuit, filter, exhalation port", "all inspected, circuit swapped",
          why_now.circuit),
    Cause("C4", Question.RECEIVED, "other program, mode or settings", "settings read at the machine",
          why_now.other_settings),
    Cause("C5", Question.RECEIVED, "asynchrony, ineffective effort, auto-triggering", "a trace",
          why_now.asynchrony),
    Cause("D1", Question.ENOUGH, "pressure support or rate too low", "titration review",
          why_changed.too_little_support),
    Cause("D2", Question.ENOUGH, "upper airway obstruction", "a sleep study", why_changed.upper_airway),
    Cause("D3", Question.ENOUGH, "central events, glottic closure from over-ventilation",
          "a trace; more pressure may worsen it", why_changed.central),
    Cause("D4", Question.ENOUGH, "hours too short for the disease", "the course of CO2 through the day",
          why_changed.hours_too_short),
    Cause("E1", Question.CHANGED, "progression", "goals, daytime support, cough aid",
          why_changed.progression),
    Cause("E2", Question.CHANGED, "weight gain or loss, growth, pregnancy", "titration review",
          why_changed.weight),
    Cause("E3", Question.CHANGED, "heart failure, hypothyroidism, untreated sleep apnoea", "medical review",
          why_changed.other_disease),
    Cause("E4", Question.CHANGED, "metabolic alkalosis", "electrolytes", why_changed.metabolic_alkalosis),
    Cause("E5", Question.CHANGED, "more CO2 made", "medical review", why_changed.more_co2),
    Cause("E6", Question.CHANGED, "bulbar weakness, secretions", "cough aid, suction", why_changed.bulbar),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class CauseWeighed:
    """One cause with the record's evidence."""

    cause: Cause
    support: tuple[Evidence, ...]
    against: tuple[Evidence, ...]
    not_recorded: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Differential:
    """The differential of one rise, in the team's order."""

    last: Reading
    previous: Reading
    like_for_like: bool
    why_not: str
    """Why the two readings are not like for like; empty when they are."""
    rising: bool
    """Whether the last value is above the one before; says nothing about noise."""
    words: str
    causes: tuple[CauseWeighed, ...]

    def of(self, question: Question) -> tuple[CauseWeighed, ...]:
        """Give the causes under one question."""
        return tuple(one for one in self.causes if one.cause.question == question)


def differential(dossier: Dossier) -> Differential | Refused:
    """Weigh every cause for the last two readings.

    The last two readings taken under the same conditions; where there are none, the last two of the same
    kind, with the difference of conditions named under A3.

    Returns
    -------
    Differential or Refused
        Refused with fewer than two readings of one kind.
    """
    pair = matched_pair(dossier)
    if isinstance(pair, Refused):
        return pair
    causes = tuple(_weigh(cause, pair) for cause in CAUSES)
    rising = pair.last.kpa > pair.previous.kpa
    return Differential(
        pair.last, pair.previous, pair.like_for_like, pair.why_not, rising, _words(pair), causes
    )


def matched_pair(dossier: Dossier) -> Pair | Refused:
    """Give the two readings that are compared."""
    frame = readings_frame(dossier)
    usable = frame.filter(pl.col("refusal").is_null())
    found = last_versus_previous(usable)
    if isinstance(found, NotComparable):
        return _same_kind(dossier, usable, found.reason)
    last, previous = (_reading(dossier, usable, which) for which in (found.last_id, found.previous_id))
    return Pair(dossier, last, previous, like_for_like=True)


def _same_kind(dossier: Dossier, usable: pl.DataFrame, reason: str) -> Pair | Refused:
    """Fall back to the last two readings of the newest kind."""
    if usable.is_empty():
        return Refused("no usable CO2 reading", "two readings of one kind")
    newest = usable.row(-1, named=True)
    same = usable.filter(pl.col("source") == newest["source"])
    if same.height < 2:  # noqa: PLR2004 - a pair
        return Refused(f"only one {newest['source']} reading: {reason}", "a second reading of its kind")
    last, previous = same.row(-1, named=True), same.row(-2, named=True)
    keys = [key_of(row["source"], row["ventilator"], row["oxygen_l_min"]) for row in (last, previous)]
    why = reason if keys[0] == keys[1] else f"conditions differ: {keys[0]}; before {keys[1]}"
    return Pair(
        dossier,
        _reading(dossier, usable, last["record_id"]),
        _reading(dossier, usable, previous["record_id"]),
        like_for_like=False,
        why_not=why,
    )


def _reading(dossier: Dossier, frame: pl.DataFrame, record_id: str) -> Reading:
    row = frame.row(by_predicate=pl.col("record_id") == record_id, named=True)
    gas = next((held for held in dossier.blood_gas if held.record_id == record_id), None)
    spot = next((held for held in dossier.spot_transcutaneous if held.record_id == record_id), None)
    night = next((held for held in dossier.night_summary if held.record_id == record_id), None)
    day = local(row["taken_at"], dossier.person.zone).date()
    return Reading(record_id, day, row["pco2_kpa"], row["source"], gas, spot, night)


def _weigh(cause: Cause, pair: Pair) -> CauseWeighed:
    found = cause.look(pair)
    return CauseWeighed(cause, found.support, found.against, tuple(dict.fromkeys(found.not_recorded)))


def _words(pair: Pair) -> str:
    way = "above" if pair.last.kpa > pair.previous.kpa else "not above"
    like = "like for like" if pair.like_for_like else f"not like for like ({pair.why_not})"
    last, previous = round(pair.last.kpa, 2), round(pair.previous.kpa, 2)
    return (
        f"{pair.last.source} {last} kPa on {pair.last.day}, {way} {previous} on {pair.previous.day}; {like}"
    )
