"""CO2 and symptoms telling different stories, flagged both ways."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from hvmon.records.held import Held
from hvmon.records.symptoms import SymptomReport
from hvmon.stats.answers import RiseSince
from hvmon.vocabulary import Rating

NOTICED_POINTS = 2
"""Points on a 0 to 10 rating that are usually noticed; from memory."""

CO2_UP = "CO2 up, symptoms not"
SYMPTOMS_UP = "symptoms up, CO2 not"


@dataclass(frozen=True, slots=True)
class Discordance:
    """CO2 and symptoms telling different stories."""

    kind: str
    text: str
    record_ids: tuple[str, ...]


class Risen(Protocol):
    """The part of an estimate that symptoms are held against."""

    @property
    def today(self) -> datetime:
        """Moment of the estimate."""

    @property
    def rise(self) -> RiseSince | None:
        """Change since the review."""

    @property
    def enough(self) -> bool:
        """Whether a rise may be spoken of."""


RISE_CHANCE = 0.8
NO_RISE_CHANCE = 0.5


def discordances(
    result: Risen, reports: Sequence[Held[SymptomReport]], *, rise_chance: float = RISE_CHANCE
) -> tuple[Discordance, ...]:
    """Say where CO2 and symptoms disagree between the review and now, both ways.

    CO2 likely up while no rating rose by 2 points: common, and the rise is still real. A rating up by 2
    points or more while a rise of CO2 is not more likely than not: the night, leak, mood, sleep apnoea and
    medicines are worth a look. Nothing is said without reports before and after the review.
    """
    around = reports_around(result, reports)
    if result.rise is None or around is None:
        return ()
    first, last = around
    worse = _worse(first.record, last.record)
    ids = (first.record_id, last.record_id)
    chance = result.rise.p_rise
    if result.enough and chance >= rise_chance and worse is not None and not worse:
        text = f"CO2 has probably risen (p = {chance:.2f}) while no rating rose; common, and still real"
        return (Discordance(CO2_UP, text, ids),)
    if worse and chance < NO_RISE_CHANCE:
        text = (
            f"{', '.join(worse)} rose by {NOTICED_POINTS} points or more while a rise of CO2 is not more "
            f"likely than not (p = {chance:.2f}): night, leak, mood, sleep apnoea or medicines?"
        )
        return (Discordance(SYMPTOMS_UP, text, ids),)
    return ()


def reports_around(
    result: Risen, reports: Sequence[Held[SymptomReport]]
) -> tuple[Held[SymptomReport], Held[SymptomReport]] | None:
    """Give the last report up to the review and the last one after it; None without both."""
    if result.rise is None:
        return None
    since = result.rise.since
    ordered = sorted(
        (h for h in reports if h.record.asked_at <= result.today), key=lambda h: h.record.asked_at
    )
    before = [held for held in ordered if held.record.asked_at <= since]
    after = [held for held in ordered if held.record.asked_at > since]
    return (before[-1], after[-1]) if before and after else None


def _worse(first: SymptomReport, last: SymptomReport) -> list[str] | None:
    """Ratings that rose by 2 points or more; None when no rating was recorded at both."""
    both = [(r.value, first.rating(r), last.rating(r)) for r in Rating]
    known = [(name, a, b) for name, a, b in both if a is not None and b is not None]
    return [name for name, a, b in known if b - a >= NOTICED_POINTS] if known else None
