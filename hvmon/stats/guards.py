"""Facts beside a proposal, each with its source. They guard; they do not forbid and do not recommend."""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from hvmon.physiology.acid_base import bicarbonate_mmol_l, ph_from_bicarbonate
from hvmon.physiology.mechanics import LOWEST_EPAP_CMH2O, least_washout_l_min, orifice_flow_l_min
from hvmon.stats.anchor import Baseline
from hvmon.stats.figure import HIGH_80, LOW_80, Z_80, Figure, Refused
from hvmon.stats.machine import SECONDS_A_MINUTE, MachineSettings
from hvmon.stats.mechanism import Draws
from hvmon.stats.steady import robust_sd
from hvmon.vocabulary import Circuit

VOLUME_LOW_ML_KG, VOLUME_HIGH_ML_KG = 6.0, 10.0
"""[mL/kg ideal weight] usual range (Practice)."""
OVERVENTILATED_KPA = 4.5
"""[kPa] below it, with pH above 7.45, ventilator-induced alkalosis (Practice)."""
ALKALAEMIA_PH = 7.45
PH_LOWEST, PH_HIGHEST = 6.8, 7.8
"""Range of the equation for pH (CLSI-C46)."""
TRIED_LOW, TRIED_HIGH = 0.35, 2.4
"""Alveolar ventilation after over before, breathing not answering: the central 95 of 100 changes of the study
that tries the intervals (Project)."""
INSPIRATORY_SHARE_LOW, INSPIRATORY_SHARE_HIGH = 0.2, 0.5
"""Usual share of the cycle spent in inspiration (Practice)."""
TRAPPED_CMH2O = 2.0
"""[cmH2O] trapped pressure worth naming (Project)."""
PORT_FLOW_L_MIN, PORT_AT_CMH2O = 20.0, 4.0
"""An exhalation port that passes 20 L/min at 4 cmH2O; yours may differ (Project, square-root law)."""
SUPPORT_ASKED_CMH2O = 25.0
"""[cmH2O] pressure support above which an entry is asked about (Project)."""


class GuardState(StrEnum):
    """Where a fact stands."""

    WITHIN = "within"
    OUTSIDE = "outside"
    NOT_KNOWN = "not known"


@dataclass(frozen=True, slots=True)
class Guard:
    """One fact, the range it is held against, and its source."""

    name: str
    state: GuardState
    words: str
    source: str


def guards(
    baseline: Baseline,
    now: MachineSettings,
    draws: Draws | None,
    reached_kpa: np.ndarray | None,
    leak_limit_l_min: float,
) -> tuple[Guard, ...]:
    """Give the facts that bear on a proposal; without levels reached, those of the chemistry are left out."""
    found = [
        _volume(baseline, draws),
        _inspiration(now, draws),
        _trapping(draws),
        _washout(now, draws),
        None if reached_kpa is None else _overventilation(reached_kpa),
        None if reached_kpa is None else _alkalosis(baseline, reached_kpa),
        _leak(baseline, now, leak_limit_l_min),
        _support(now),
        _size(draws),
    ]
    return tuple(guard for guard in found if guard is not None)


def _state(outside: bool) -> GuardState:
    return GuardState.OUTSIDE if outside else GuardState.WITHIN


def _volume(baseline: Baseline, draws: Draws | None) -> Guard:
    name = "tidal volume per kg"
    weight = baseline.body.predicted_weight
    if draws is None:
        return Guard(name, GuardState.NOT_KNOWN, "tidal volume after the change is not known", "Practice")
    volume = float(np.median(draws.volume_reached_ml))
    if not isinstance(weight, Figure):
        words = f"about {volume:.0f} mL; per kg not known: {weight.reason}"
        return Guard(name, GuardState.NOT_KNOWN, words, "Practice")
    per_kg = volume / weight.value
    spread = math.hypot(robust_sd(np.log(draws.volume_reached_ml)), weight.relative_sd)
    low, high = (per_kg * math.exp(side * Z_80 * spread) for side in (-1.0, 1.0))
    return Guard(
        name,
        _state(not VOLUME_LOW_ML_KG <= per_kg <= VOLUME_HIGH_ML_KG),
        f"about {volume:.0f} mL, {per_kg:.1f} mL per kg of predicted weight ({weight.assumes[0]}), 80 of 100 "
        f"between {low:.1f} and {high:.1f}; usual range {VOLUME_LOW_ML_KG:g} to {VOLUME_HIGH_ML_KG:g}",
        "Practice",
    )


def _inspiration(now: MachineSettings, draws: Draws | None) -> Guard:
    name = "inspiratory time against rate"
    rate = float(np.median(draws.rate_after_min)) if draws is not None else now.backup_rate_min
    if now.inspiratory_time_s is None or not rate:
        return Guard(name, GuardState.NOT_KNOWN, "inspiratory time or rate is not recorded", "Practice")
    share = now.inspiratory_time_s * rate / SECONDS_A_MINUTE
    left = SECONDS_A_MINUTE / rate - now.inspiratory_time_s
    room = f"leaves {left:.1f} s to breathe out" if left > 0.0 else "leaves no time to breathe out"
    return Guard(
        name,
        _state(not INSPIRATORY_SHARE_LOW <= share <= INSPIRATORY_SHARE_HIGH),
        f"{now.inspiratory_time_s:g} s at {rate:.0f} a minute is {100 * share:.0f} % of the cycle and {room}"
        f"; usual {100 * INSPIRATORY_SHARE_LOW:.0f} to {100 * INSPIRATORY_SHARE_HIGH:.0f} %",
        "Practice",
    )


def _trapping(draws: Draws | None) -> Guard:
    name = "trapped pressure"
    if draws is None or draws.trapped_after_cmh2o is None:
        return Guard(name, GuardState.NOT_KNOWN, "not estimated for this change", "MariniCrooke1989")
    middle = float(np.median(draws.trapped_after_cmh2o))
    high = float(np.quantile(draws.trapped_after_cmh2o, HIGH_80))
    return Guard(
        name,
        _state(high > TRAPPED_CMH2O),
        f"passive model: {middle:.1f} cmH2O left at the end of expiration, one in ten above {high:.1f}; "
        "resistance is not known at home",
        "MariniCrooke1989",
    )


def _washout(now: MachineSettings, draws: Draws | None) -> Guard | None:
    name = "expiratory pressure against washout of the port"
    if now.circuit not in {Circuit.SINGLE_LIMB_PORT, Circuit.SINGLE_LIMB_MASK_PORT}:
        return None
    if now.epap_cmh2o is None:
        return Guard(name, GuardState.NOT_KNOWN, "EPAP is not recorded", "FergusonGilmartin1995")
    low = now.epap_cmh2o < LOWEST_EPAP_CMH2O
    words = f"EPAP {now.epap_cmh2o:g} cmH2O; usual floor with a port {LOWEST_EPAP_CMH2O:g}"
    if draws is not None and now.inspiratory_time_s is not None and now.epap_cmh2o > 0.0:
        rate = float(np.median(draws.rate_after_min))
        needed = least_washout_l_min(float(np.median(draws.volume_reached_ml)), rate, now.inspiratory_time_s)
        port = orifice_flow_l_min(PORT_FLOW_L_MIN, PORT_AT_CMH2O, now.epap_cmh2o)
        low = low or port < needed
        words += (
            f"; {needed:.0f} L/min surely clears a breath, a port of {PORT_FLOW_L_MIN:g} L/min at "
            f"{PORT_AT_CMH2O:g} cmH2O would pass {port:.0f} (sufficient, not necessary)"
        )
    return Guard(name, _state(low), words, "FergusonGilmartin1995")


def _overventilation(reached_kpa: np.ndarray) -> Guard:
    chance = float(np.mean(reached_kpa < OVERVENTILATED_KPA))
    return Guard(
        "over-ventilation",
        _state(chance > 0.1),  # noqa: PLR2004 - one in ten
        f"chance of a level below {OVERVENTILATED_KPA:g} kPa: {100 * chance:.0f} %",
        "Practice",
    )


def _alkalosis(baseline: Baseline, reached_kpa: np.ndarray) -> Guard:
    name = "post-hypercapnic alkalosis"
    anchor = baseline.anchor
    if anchor.ph is None:
        return Guard(name, GuardState.NOT_KNOWN, "no pH with the reading it starts from", "CLSI-C46")
    hco3 = bicarbonate_mmol_l(anchor.ph, anchor.kpa)
    middle, high = (ph_from_bicarbonate(hco3, float(np.quantile(reached_kpa, q))) for q in (0.5, LOW_80))
    told = f"pH about {_ph(middle)}" + (f", one in ten above {high:.2f}" if high <= PH_HIGHEST else "")
    return Guard(
        name,
        _state(middle > ALKALAEMIA_PH),
        f"bicarbonate {hco3:.0f} mmol/L lags by days: before it moves, {told}",
        "CLSI-C46",
    )


def _ph(value: float) -> str:
    """Write a pH; beyond the range of the equation only that it lies there."""
    if value > PH_HIGHEST:
        return f"{PH_HIGHEST:g} or more"
    return f"{PH_LOWEST:g} or less" if value < PH_LOWEST else f"{value:.2f}"


def _size(draws: Draws | None) -> Guard | None:
    """Say when a change is larger than those the intervals were tried on."""
    if draws is None:
        return None
    factor = float(np.median(draws.va_open_l_min / draws.va_before_l_min))
    if TRIED_LOW <= factor <= TRIED_HIGH:
        return None
    return Guard(
        "size of the change",
        GuardState.OUTSIDE,
        f"alveolar ventilation × {factor:.2f} if breathing did not answer; the intervals were tried on "
        f"changes of × {TRIED_LOW:g} to × {TRIED_HIGH:g}",
        "Project",
    )


def _leak(baseline: Baseline, now: MachineSettings, limit_l_min: float) -> Guard | None:
    name = "pressure against leak"
    before = baseline.settings
    if now.ipap_cmh2o is None or before.ipap_cmh2o is None or now.ipap_cmh2o == before.ipap_cmh2o:
        return None
    if isinstance(baseline.breathing, Refused) or baseline.breathing.leak_l_min is None:
        return Guard(name, GuardState.NOT_KNOWN, "unintentional leak is not known", "Schettino2001")
    leak = orifice_flow_l_min(baseline.breathing.leak_l_min, before.ipap_cmh2o, now.ipap_cmh2o)
    return Guard(
        name,
        _state(leak > limit_l_min),
        f"leak {baseline.breathing.leak_l_min:g} L/min would be {leak:.0f} by the square-root law; a mask "
        f"may fail abruptly above a pressure of its own (limit {limit_l_min:g})",
        "Schettino2001",
    )


def _support(now: MachineSettings) -> Guard | None:
    support = now.pressure_support_cmh2o
    if support is None or support <= SUPPORT_ASKED_CMH2O:
        return None
    return Guard(
        "pressure support",
        GuardState.OUTSIDE,
        f"{support:g} cmH2O; above {SUPPORT_ASKED_CMH2O:g} an entry is asked about",
        "Project",
    )
