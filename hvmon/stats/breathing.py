"""Displayed tidal volume and rate of a night or of a period, and when leak makes them meaningless."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from hvmon.records.course import NightlyUse
from hvmon.records.dossier import Dossier
from hvmon.stats.figure import Refused, Uncertain
from hvmon.vocabulary import LeakKind

LEAK_LIMIT_L_MIN = 24.0
"""[L/min] unintentional leak above which displayed volume is not used; the team may set its own
(HomeStartALS, the cohort's cut; the rule is Project)."""

DISPLAYED_VOLUME_RELATIVE_SD = 0.10
"""SD of a displayed tidal volume while leak is within the limit (Project, from DisplayedVolume2013)."""

DISPLAYED_VOLUME_RELATIVE_SD_LEAK_UNKNOWN = 0.25
"""SD of a displayed tidal volume when the unintentional leak is not known (Project, from
DisplayedVolume2013: -48 to +36 percent)."""

LEAST_NIGHTS = 3
UNINTENTIONAL = {
    LeakKind.UNINTENTIONAL_MEDIAN,
    LeakKind.UNINTENTIONAL_P95,
    LeakKind.UNINTENTIONAL_MEAN,
}


@dataclass(frozen=True, slots=True)
class Breathing:
    """Displayed tidal volume and rate of one night or of a period."""

    tidal_volume_ml: Uncertain
    rate_min: Uncertain
    leak_l_min: float | None
    """Median unintentional leak; None when not known."""
    nights: int
    nights_left_out: int
    """Nights whose leak lies above the limit."""
    gain_sd: float
    """The share of the volume's relative SD that one machine carries through, before and after a change."""
    triggered_pct: float | None = None
    assumes: tuple[str, ...] = ()


def night_breathing(use: NightlyUse, *, leak_limit_l_min: float = LEAK_LIMIT_L_MIN) -> Breathing | Refused:
    """Give displayed volume and rate of one night, or why they are not used."""
    if use.tidal_volume_ml is None or use.rate_min is None:
        return Refused(f"night of {use.night_of}: no tidal volume and rate", "both as the device shows them")
    leak = _unintentional(use)
    if leak is not None and leak > leak_limit_l_min:
        return Refused(
            f"night of {use.night_of}: unintentional leak {leak:g} L/min is above the limit of "
            f"{leak_limit_l_min:g}; the displayed volume is not the person's",
            "a night with leak within the limit",
        )
    gain = _gain_sd(leak)
    volume = float(use.tidal_volume_ml)
    return Breathing(
        Uncertain(volume, gain * volume),
        Uncertain(float(use.rate_min), 0.02 * float(use.rate_min)),
        leak,
        1,
        0,
        gain,
        None if use.triggered_pct is None else float(use.triggered_pct),
        _leak_words(leak),
    )


def breathing_between(
    dossier: Dossier, start: date, end: date, *, leak_limit_l_min: float = LEAK_LIMIT_L_MIN
) -> Breathing | Refused:
    """Give displayed volume and rate of the nights from `start` up to before `end`.

    Medians over nights whose leak is within the limit; the machine's own error does not shrink with the
    number of nights, the scatter between nights does.
    """
    nights = [held.record for held in dossier.nightly_use if start <= held.record.night_of < end]
    shown = [night for night in nights if night.tidal_volume_ml is not None and night.rate_min is not None]
    kept = [night for night in shown if not _leaks(night, leak_limit_l_min)]
    left_out = len(shown) - len(kept)
    if len(kept) < LEAST_NIGHTS:
        return _too_few(len(shown), left_out, start, end, leak_limit_l_min)
    return _period(kept, left_out)


def _period(kept: Sequence[NightlyUse], left_out: int) -> Breathing:
    volumes = np.array([float(night.tidal_volume_ml) for night in kept if night.tidal_volume_ml is not None])
    rates = np.array([float(night.rate_min) for night in kept if night.rate_min is not None])
    leaks = [leak for leak in map(_unintentional, kept) if leak is not None]
    triggered = [float(night.triggered_pct) for night in kept if night.triggered_pct is not None]
    leak = float(np.median(leaks)) if leaks else None
    gain = _gain_sd(leak)
    volume = float(np.median(volumes))
    return Breathing(
        Uncertain(volume, math.hypot(gain * volume, _error_of_median(volumes))),
        Uncertain(float(np.median(rates)), _error_of_median(rates)),
        leak,
        len(kept),
        left_out,
        gain,
        float(np.median(triggered)) if triggered else None,
        _leak_words(leak),
    )


def _unintentional(use: NightlyUse) -> float | None:
    if use.leak_l_min is None or use.leak_kind not in UNINTENTIONAL:
        return None
    return float(use.leak_l_min)


def _leaks(use: NightlyUse, limit_l_min: float) -> bool:
    leak = _unintentional(use)
    return leak is not None and leak > limit_l_min


def _gain_sd(leak_l_min: float | None) -> float:
    return DISPLAYED_VOLUME_RELATIVE_SD_LEAK_UNKNOWN if leak_l_min is None else DISPLAYED_VOLUME_RELATIVE_SD


def _leak_words(leak_l_min: float | None) -> tuple[str, ...]:
    if leak_l_min is None:
        return ("unintentional leak not known: displayed volume taken with an SD of 25 percent",)
    return (f"unintentional leak {leak_l_min:g} L/min: displayed volume taken with an SD of 10 percent",)


def _error_of_median(values: np.ndarray) -> float:
    """Give the standard error of a median of roughly normal values."""
    return float(1.2533 * np.std(values, ddof=1) / math.sqrt(values.size)) if values.size > 1 else 0.0


def _too_few(shown: int, left_out: int, start: date, end: date, limit: float) -> Refused:
    between = nights_words(start, end)
    if left_out and shown - left_out < LEAST_NIGHTS:
        return Refused(
            f"unintentional leak was above {limit:g} L/min in {left_out} of {shown} nights {between}; "
            "the displayed volume is not the person's",
            "nights with leak within the limit",
        )
    return Refused(
        f"{shown} nights with volume and rate {between}; at least {LEAST_NIGHTS} are needed",
        "nightly figures of the device",
    )


def nights_words(start: date, end: date) -> str:
    """Name the first and the last night of those from `start` up to before `end`."""
    return f"from {start} to {max(start, end - timedelta(days=1))}"
