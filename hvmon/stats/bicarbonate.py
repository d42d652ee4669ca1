"""Bicarbonate beside the CO2 estimate: agrees, disagrees, or not usable. Never part of the estimate."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np
import polars as pl

from hvmon.stats.trend import TrendResult

MMOL_PER_KPA = 3.0
"""[mmol/L per kPa] rise of bicarbonate in chronic hypercapnia; from memory, 3 to 5 in texts."""

BICARBONATE_SD = 1.7
"""[mmol/L] within-person and method spread of one bicarbonate (McKeever2016, HardingFraser1987, derived)."""

UNLIKE_SD = 0.7
"""[mmol/L] added when the two samples are of different kinds (venous minus arterial about 1.2)."""

ALKALAEMIA_PH = 7.45
LAG_DAYS = 14.0
"""[days] kidneys follow PaCO2 over days to weeks; two samples closer than this tell nothing."""

Z80 = 1.2815515655446004
AGREEMENT_Z = 1.959963984540054


class Corroborates(StrEnum):
    """What bicarbonate says of the CO2 estimate."""

    AGREES = "agrees"
    DISAGREES = "disagrees"
    NOT_USABLE = "not usable"


@dataclass(frozen=True, slots=True)
class Corroboration:
    """Change of bicarbonate held against the change of the estimated level between two samples."""

    answer: Corroborates
    reason: str
    observed_mmol_l: float | None = None
    expected_mmol_l: float | None = None
    sd_mmol_l: float | None = None
    reading_ids: tuple[str, ...] = ()


def corroborate(
    readings: pl.DataFrame, result: TrendResult, *, metabolic_causes: Sequence[str] = ()
) -> Corroboration:
    """Hold the change of bicarbonate against the change of the estimated usual level.

    Parameters
    ----------
    readings
        Readings frame with columns ``ph`` and ``hco3_mmol_l``.
    result
        The estimate of the same readings.
    metabolic_causes
        Recorded reasons why bicarbonate may move by itself (a diuretic, kidney disease, steroid, vomiting).

    Notes
    -----
    Expected change = 3 mmol/L per kPa of the level, between the earliest and the latest sample with a
    bicarbonate. Not usable at pH above 7.45, with a metabolic cause, with fewer than two values, or within
    14 days. Agreement between two wide intervals is weak support, and the sentence says so.
    """
    known = readings.filter(pl.col("hco3_mmol_l").is_not_null()).sort("taken_at")
    refusal = _not_usable(known, metabolic_causes)
    if refusal:
        return Corroboration(Corroborates.NOT_USABLE, refusal)
    first, last = known.row(0, named=True), known.row(-1, named=True)
    then, now = (_level(result, row["taken_at"]) for row in (first, last))
    expected = MMOL_PER_KPA * (now[0] - then[0])
    unlike = UNLIKE_SD if first["source"] != last["source"] else 0.0
    spread = np.sqrt(2 * BICARBONATE_SD**2 + unlike**2 + MMOL_PER_KPA**2 * (then[1] ** 2 + now[1] ** 2))
    observed = last["hco3_mmol_l"] - first["hco3_mmol_l"]
    agrees = abs(observed - expected) <= AGREEMENT_Z * spread
    words = (
        f"bicarbonate changed by {observed:+.1f} mmol/L; the estimated level would go with {expected:+.1f} "
        f"(give or take {AGREEMENT_Z * spread:.1f})"
    )
    return Corroboration(
        Corroborates.AGREES if agrees else Corroborates.DISAGREES,
        words,
        float(observed),
        float(expected),
        float(spread),
        (first["record_id"], last["record_id"]),
    )


def _not_usable(known: pl.DataFrame, metabolic_causes: Sequence[str]) -> str | None:
    if metabolic_causes:
        return f"bicarbonate may move by itself: {', '.join(metabolic_causes)}"
    if known.height < 2:  # noqa: PLR2004 - a pair
        return f"{known.height} bicarbonate value{'s' * (known.height != 1)}; two are needed"
    ph = known["ph"][-1]
    if ph is not None and ph > ALKALAEMIA_PH:
        return f"pH {ph:.2f} is above {ALKALAEMIA_PH}; a metabolic alkalosis is likely"
    days = (known["taken_at"][-1] - known["taken_at"][0]).total_seconds() / 86400
    if days < LAG_DAYS:
        return (
            f"the two samples are {days:.0f} days apart; bicarbonate follows over {LAG_DAYS:.0f} days or more"
        )
    return None


def _level(result: TrendResult, moment: datetime) -> tuple[float, float]:
    """Give the level and its spread [kPa] at the band's date nearest to a moment."""
    nearest = (
        result.band.with_columns((pl.col("at") - moment).abs().alias("gap")).sort("gap").row(0, named=True)
    )
    return nearest["median_kpa"], (nearest["high80_kpa"] - nearest["low80_kpa"]) / (2 * Z80)
