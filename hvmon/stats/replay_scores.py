"""False flags per person-year and delay of replayed flags, where turning points are known."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from hvmon.stats.replay import PersonReplay, Turn


@dataclass(frozen=True, slots=True)
class FlagScore:
    """How one flag did against known turning points."""

    flag: str
    false_flags: int
    person_years_at_risk: float
    per_person_year: float | None
    turned: int
    """People with a known turning point."""
    caught: int
    """Of these, people whose flag was raised on or after it."""
    already_raised: int
    """Of these, people whose flag stood at the turning point: counted as false, not as caught."""
    median_delay_days: float | None


def score_flags(
    replays: Sequence[PersonReplay], turning_points: Mapping[str, date | None]
) -> tuple[FlagScore, ...]:
    """Give false flags per person-year and delay of every flag, against known turning points.

    Parameters
    ----------
    turning_points
        Person key -> day the CO2 began to rise, None when it never did. People not named are left out.
    """
    known = [replay for replay in replays if replay.person_key in turning_points]
    flags = sorted({event.flag for replay in known for event in replay.events})
    return tuple(_score(flag, known, turning_points) for flag in flags)


def _score(
    flag: str, replays: Sequence[PersonReplay], turning_points: Mapping[str, date | None]
) -> FlagScore:
    false, years, turned, already, delays = 0, 0.0, 0, 0, []
    for replay in replays:
        turn = turning_points[replay.person_key]
        end = replay.last_day if turn is None else min(max(turn, replay.first_day), replay.last_day)
        years += (end - replay.first_day).days / 365.25
        ups, before = [], None
        for event in (one for one in replay.events if one.flag == flag):
            up = event.turn != Turn.CLEARED
            early = turn is None or event.on < turn
            false += up and early
            before = up if early else before
            if up and not early and turn is not None:
                ups.append((event.on - turn).days)
        turned += turn is not None
        already += turn is not None and bool(before)
        if ups and not before:
            delays.append(ups[0])
    rate = false / years if years > 0 else None
    delay = float(np.median(delays)) if delays else None
    return FlagScore(flag, false, years, rate, turned, len(delays), already, delay)
