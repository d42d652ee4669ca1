"""Proposals side by side, in words and as rows for the charts. None of it is a recommendation."""

import math
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

import polars as pl

from hvmon.services.headline import pressure_words, range_words
from hvmon.services.proposals import change_words
from hvmon.services.titration import Tried
from hvmon.services.titration_tables import Table, figure_words, interval_words
from hvmon.stats.anchor import Anchor
from hvmon.stats.figure import Z_80, Z_95, Figure
from hvmon.stats.guards import GuardState
from hvmon.stats.steady import OXYGEN_WORDS
from hvmon.stats.whatif import Quantity, WhatIf
from hvmon.units import PressureUnit

NOW = "now"
POINTS: dict[str, Any] = {
    "label": pl.String,
    **dict.fromkeys(
        ("alveolar_l_min", "low_l_min", "high_l_min", "kpa", "low_95_kpa", "high_95_kpa"), pl.Float64
    ),
}
ROWS: dict[str, Any] = {
    "label": pl.String,
    "words": pl.String,
    **dict.fromkeys(("paco2_kpa", "low_80_kpa", "high_80_kpa", "low_95_kpa", "high_95_kpa"), pl.Float64),
}


def answered(tried: Sequence[Tried]) -> tuple[WhatIf, ...]:
    """Give the answers there are, in the order of the proposals."""
    return tuple(one.answer for one in tried if one.answer is not None)


def compared_table(tried: Sequence[Tried], unit: PressureUnit, today: date) -> Table:
    """Give proposals as columns: what would change, what is expected with its intervals, when to recheck."""
    lines: tuple[tuple[str, Callable[[WhatIf], str]], ...] = (
        ("Would change", change_words),
        ("Expected", lambda one: pressure_words(one.expected_kpa, unit)),
        ("80 % interval", lambda one: range_words(one.low_80_kpa, one.high_80_kpa, unit)),
        ("95 % interval", lambda one: range_words(one.low_95_kpa, one.high_95_kpa, unit)),
        ("Expected value is of", lambda one: _quantity(one, unit, today)),
        ("Alveolar ventilation before", lambda one: figure_words(one.va_before)),
        ("Alveolar ventilation after", lambda one: figure_words(one.va_after)),
        ("Time to 95 % of the new level", _time_to_level),
        ("Earliest honest recheck", _recheck),
        ("Methods and weights", _methods),
    )
    return [
        {"": head} | {one.label: _line(one, line, head == lines[0][0]) for one in tried}
        for head, line in lines
    ]


def _line(one: Tried, line: Callable[[WhatIf], str], first: bool) -> str:
    if one.answer is not None:
        return line(one.answer)
    return f"no estimate: {one.refused}" + (f". Needed: {one.needs}" if one.needs else "") if first else ""


def _quantity(one: WhatIf, unit: PressureUnit, today: date) -> str:
    if one.quantity == Quantity.DAY_MEAN:
        return one.quantity.value
    anchor = one.anchor
    return (
        f"the next {anchor.source} reading {anchor.place}, same conditions; it was "
        f"{pressure_words(anchor.kpa, unit)} on {anchor.day:%d %b %Y}, {(today - anchor.day).days} days ago"
    )


def _time_to_level(one: WhatIf) -> str:
    if one.steady is None:
        return "not estimated"
    time = one.steady.t95_min
    return f"{figure_words(time)} (95 %: {interval_words(time)}) on the ventilator"


def _recheck(one: WhatIf) -> str:
    if one.steady is not None:
        return one.steady.words
    return OXYGEN_WORDS if one.proposal.changed == ("oxygen_l_min",) else "not estimated"


def _methods(one: WhatIf) -> str:
    return "; ".join(
        f"{part.method.value}, weight {100 * part.weight:.0f} %: PaCO2 × {part.factor:.2f} ({part.words})"
        for part in one.parts
    )


def guards_table(tried: Sequence[Tried]) -> Table:
    """Give the facts that bear on each proposal, with source; outside a range is marked in words."""
    known = [(one.label, {guard.name: guard for guard in one.answer.guards}) for one in tried if one.answer]
    names = list(dict.fromkeys(name for _, guards in known for name in guards))
    rows = []
    for name in names:
        row = {"Fact": name}
        for label, guards in known:
            guard = guards.get(name)
            row[label] = "" if guard is None else f"{_state(guard.state)}: {guard.words}"
        row["Source"] = next(guards[name].source for _, guards in known if name in guards)
        rows.append(row)
    return rows


def _state(state: GuardState) -> str:
    return "OUTSIDE the range" if state == GuardState.OUTSIDE else state.value


def wrong_lines(tried: Sequence[Tried]) -> tuple[str, ...]:
    """Give what would make the estimates wrong, and for which proposals."""
    reasons: dict[str, list[str]] = {}
    for one in tried:
        for reason in one.answer.wrong_if if one.answer else ():
            reasons.setdefault(reason, []).append(one.label)
    return tuple(f"{', '.join(labels)}: {reason}" for reason, labels in reasons.items())


# --- rows of the charts -----------------------------------------------------------------------------------


def interval_rows(answers: Sequence[WhatIf]) -> pl.DataFrame:
    """Give the reading before and each proposal with 80 and 95 % intervals [kPa]."""
    if not answers:
        return pl.DataFrame(schema=ROWS)
    rows = [_before(answers[0].anchor)] if _one_reading(answers) else []
    rows += [
        {
            "label": one.proposal.label,
            "words": f"{one.proposal.label}: {change_words(one)}",
            "paco2_kpa": one.expected_kpa,
            "low_80_kpa": one.low_80_kpa,
            "high_80_kpa": one.high_80_kpa,
            "low_95_kpa": one.low_95_kpa,
            "high_95_kpa": one.high_95_kpa,
        }
        for one in answers
    ]
    return pl.DataFrame(rows, schema=ROWS, orient="row")


def same_kind(answers: Sequence[WhatIf]) -> tuple[WhatIf, ...]:
    """Give the answers that expect a reading; a mean over the day is not put on one axis with them."""
    return tuple(one for one in answers if one.quantity == Quantity.SAME_READING)


def _one_reading(answers: Sequence[WhatIf]) -> bool:
    return all(one.quantity == Quantity.SAME_READING for one in answers)


def _before(anchor: Anchor) -> dict[str, Any]:
    """Give the reading as it was, with the spread of one reading about the usual level."""
    low_80, high_80 = (anchor.kpa * math.exp(side * Z_80 * anchor.sd_ln) for side in (-1.0, 1.0))
    low_95, high_95 = (anchor.kpa * math.exp(side * Z_95 * anchor.sd_ln) for side in (-1.0, 1.0))
    return {
        "label": NOW,
        "words": f"{NOW}: reading of {anchor.day:%d %b %Y}",
        "paco2_kpa": anchor.kpa,
        "low_80_kpa": low_80,
        "high_80_kpa": high_80,
        "low_95_kpa": low_95,
        "high_95_kpa": high_95,
    }


def hyperbola_rows(answers: Sequence[WhatIf]) -> tuple[pl.DataFrame, pl.DataFrame] | None:
    """Give the widest hyperbola and the points on it; None where no volume was used."""
    volumes = [one for one in answers if one.va_before is not None and one.hyperbola.height]
    if not volumes:
        return None
    widest = max(volumes, key=lambda one: float(one.hyperbola["alveolar_l_min"][-1]))
    first = _before(volumes[0].anchor)
    points = [_point(NOW, volumes[0].va_before, first)]
    points += [
        _point(one.proposal.label, one.va_after, {
            "paco2_kpa": one.expected_kpa, "low_95_kpa": one.low_95_kpa, "high_95_kpa": one.high_95_kpa,
        })
        for one in volumes
    ]  # fmt: skip
    rows = [point for point in points if point]
    return widest.hyperbola, pl.DataFrame(rows, schema=POINTS, orient="row")


def _point(label: str, va: Figure | None, pressure: dict[str, Any]) -> dict[str, Any]:
    if va is None:
        return {}
    return {
        "label": label,
        "alveolar_l_min": va.value,
        "low_l_min": va.low_95,
        "high_l_min": va.high_95,
        "kpa": pressure["paco2_kpa"],
        "low_95_kpa": pressure["low_95_kpa"],
        "high_95_kpa": pressure["high_95_kpa"],
    }


def fan_ends(answers: Sequence[WhatIf]) -> tuple[float, float]:
    """Give the ends of one axis of pressure [kPa] for all fans."""
    lows = [float(one.fan["low_95_kpa"].min()) for one in answers if one.fan.height]  # type: ignore[arg-type]
    highs = [float(one.fan["high_95_kpa"].max()) for one in answers if one.fan.height]  # type: ignore[arg-type]
    return (min(lows), max(highs)) if lows else (4.0, 8.0)
