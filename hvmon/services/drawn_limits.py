"""Which limits of the rules in force are drawn as lines, and the one the trend is asked about.

Value, comparator and id all come from the rule in the person's pack; nothing is written twice.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import polars as pl

from hvmon.rules.packs import Pack
from hvmon.rules.rule import Limit, Rule
from hvmon.units import PressureUnit, kpa_from_mmhg

AWAKE_IDS = ("GAS-1", "GAS-2", "GAS-3")
"""Rules of the awake level, in the order in which the person's own limit is looked for."""

TRACHEOSTOMY_LOW_ID = "GAS-16"
TRACHEOSTOMY_PACK = "tracheostomy ventilation"

NIGHT_IDS = ("NGT-1", "NGT-4", "NGT-8", "NGT-9", "NGT-18")
"""Rules of the night's level whose main limit is drawn; rises and shares of the night have no height."""

USE_IDS = ("USE-1",)
"""Rules of hours of use whose limit is drawn."""

SAME_LINE_KPA = 0.06
"""[kPa] limits closer than this share a line: 45 mmHg and 6.0 kPa are two rules, not two heights."""

LIMITS = {"words": pl.String, "kpa": pl.Float64, "lane": pl.String}


@dataclass(frozen=True, slots=True)
class DrawnLimit:
    """One limit as a line: its height [kPa, or h in the lane of use], its words, its lane."""

    words: str
    kpa: float
    lane: str


def height_kpa(limit: Limit) -> float | None:
    """Give where a pressure limit is drawn [kPa]; None for a limit of another unit."""
    if limit.unit == PressureUnit.KPA.value:
        return float(limit.value)
    return float(kpa_from_mmhg(float(limit.value))) if limit.unit == PressureUnit.MMHG.value else None


def _words(rule: Rule, limit: Limit) -> str:
    edited = " (edited)" if limit.published is not None else ""
    return f"{rule.id} {limit.comparator} {limit.value} {limit.unit}{edited}"


def _in_pack(pack: Pack, ids: Iterable[str]) -> list[Rule]:
    return [rule for rule_id in ids if (rule := pack.rule(rule_id)) is not None]


def _awake(pack: Pack) -> list[DrawnLimit]:
    ids = (*AWAKE_IDS, TRACHEOSTOMY_LOW_ID) if pack.name == TRACHEOSTOMY_PACK else AWAKE_IDS
    return list(_pressures(_in_pack(pack, ids), "co2"))


def _pressures(rules: Iterable[Rule], lane: str) -> Iterator[DrawnLimit]:
    for rule in rules:
        kpa = height_kpa(rule.limit)
        if kpa is not None:
            yield DrawnLimit(_words(rule, rule.limit), kpa, lane)


def _others(pack: Pack) -> list[DrawnLimit]:
    use = [
        DrawnLimit(_words(rule, rule.limit), float(rule.limit.value), "use")
        for rule in _in_pack(pack, USE_IDS)
    ]
    return [*_pressures(_in_pack(pack, NIGHT_IDS), "nights"), *use]


def _joined(limits: Iterable[DrawnLimit]) -> list[DrawnLimit]:
    """Join the words of limits of one lane that fall on one line."""
    lines: list[DrawnLimit] = []
    for limit in limits:
        near = next(
            (
                i
                for i, x in enumerate(lines)
                if x.lane == limit.lane and abs(x.kpa - limit.kpa) < SAME_LINE_KPA
            ),
            None,
        )
        if near is None:
            lines.append(limit)
        else:
            first = lines[near]
            lines[near] = DrawnLimit(f"{first.words}, {limit.words}", first.kpa, first.lane)
    return lines


def drawn_limits(pack: Pack) -> pl.DataFrame:
    """Give the limits that a person's chart draws; columns of `hvmon.charts.rows.LIMITS`."""
    rows = [
        {"words": limit.words, "kpa": limit.kpa, "lane": limit.lane}
        for limit in _joined([*_awake(pack), *_others(pack)])
    ]
    return pl.DataFrame(rows, schema=LIMITS, orient="row")


def own_limit(pack: Pack) -> tuple[str, float] | None:
    """Give the person's own awake limit in words and kPa; None where the pack has none."""
    found = _awake(pack)
    return (found[0].words, found[0].kpa) if found else None
