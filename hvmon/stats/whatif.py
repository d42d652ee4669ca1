"""What a proposed change could do to PaCO2, with an interval wide enough to be true.

It explains and estimates; it recommends nothing. The interval is that of the *next reading of the same
kind under the same conditions*: it holds the error of the reading before, of the reading to come, of
dead space, displayed volume and mechanics, of CO2 output, and of how much effort gives way.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import polars as pl

from hvmon.physiology.ventilation import implied_vco2_ml_min
from hvmon.stats.anchor import Anchor, Baseline
from hvmon.stats.breathing import LEAK_LIMIT_L_MIN
from hvmon.stats.figure import DRAWS, Figure, Refused
from hvmon.stats.forecast import Forecast, Part, forecast
from hvmon.stats.guards import Guard, guards
from hvmon.stats.machine import (
    HOURS_A_DAY,
    TARGET_MODES,
    VOLUME_MODES,
    MachineSettings,
    Proposal,
    after,
)
from hvmon.stats.mechanism import Method
from hvmon.stats.own_response import OwnResponse
from hvmon.stats.priors import Priors
from hvmon.stats.steady import (
    SteadyState,
    empty_curve,
    fan,
    hyperbola,
    median_figure,
    quantiles,
    robust_sd,
    steady_state,
)

VOLUME_HELD = {"epap_cmh2o", "inspiratory_time_s"}
"""Settings that leave the volume alone where the machine holds it."""


class Quantity(StrEnum):
    """What the expected value is of."""

    SAME_READING = "the next reading of the same kind under the same conditions"
    DAY_MEAN = "mean PaCO2 over 24 h, if the levels on and off the ventilator stay as they are"


@dataclass(frozen=True, slots=True)
class WhatIf:
    """What a proposal could do."""

    proposal: Proposal
    before: MachineSettings
    after: MachineSettings
    anchor: Anchor
    quantity: Quantity
    expected_kpa: float
    low_80_kpa: float
    high_80_kpa: float
    low_95_kpa: float
    high_95_kpa: float
    sd_ln: float
    parts: tuple[Part, ...]
    va_before: Figure | None
    """[L/min]"""
    va_after: Figure | None
    """[L/min]"""
    vco2: Figure | None
    """[mL/min] implied by the reading and the ventilation; places the hyperbola."""
    steady: SteadyState | None
    guards: tuple[Guard, ...]
    wrong_if: tuple[str, ...]
    hyperbola: pl.DataFrame
    """alveolar_l_min, paco2_kpa, low_80_kpa, high_80_kpa, low_95_kpa, high_95_kpa; empty without volumes."""
    fan: pl.DataFrame
    """minute, paco2_kpa, low_80_kpa, high_80_kpa, low_95_kpa, high_95_kpa; empty without volumes."""


def what_if(
    baseline: Baseline,
    proposal: Proposal,
    *,
    own: OwnResponse | None = None,
    priors: Priors | None = None,
    leak_limit_l_min: float = LEAK_LIMIT_L_MIN,
    seed: int = 1,
) -> WhatIf | Refused:
    """Estimate what a proposal could do to PaCO2.

    Parameters
    ----------
    baseline
        See `hvmon.stats.anchor.baseline_of`.
    proposal
        The settings that would differ. Hours of use are asked alone.
    own
        The person's own past response to pressure support, where there is one.
    priors
        Spread of readings and the usual effect of oxygen.
    leak_limit_l_min
        The team's limit of unintentional leak, for the guard.
    seed
        Of the samples; the same seed gives the same answer.

    Raises
    ------
    ValueError
        A setting that is impossible or does not belong to the mode, by name.
    """
    now = after(baseline.settings, proposal)
    if "hours_per_day" in proposal.changed:
        return _hours(baseline, proposal, now, seed)
    found = forecast(baseline, proposal, own=own, priors=priors, seed=seed)
    if isinstance(found, Refused):
        return found
    return _answer(baseline, proposal, now, found, leak_limit_l_min, seed)


def compare(
    baseline: Baseline,
    proposals: Sequence[Proposal],
    *,
    own: OwnResponse | None = None,
    priors: Priors | None = None,
    leak_limit_l_min: float = LEAK_LIMIT_L_MIN,
    seed: int = 1,
) -> tuple[WhatIf | Refused, ...]:
    """Answer several proposals from one starting point and one seed, in the order given."""
    return tuple(
        what_if(baseline, one, own=own, priors=priors, leak_limit_l_min=leak_limit_l_min, seed=seed)
        for one in proposals
    )


def _answer(
    baseline: Baseline,
    proposal: Proposal,
    now: MachineSettings,
    found: Forecast,
    leak_limit_l_min: float,
    seed: int,
) -> WhatIf:
    """Gather everything that is shown of a forecast."""
    drawn = found.mechanism
    va = None if drawn is None else (drawn.va_before_l_min, drawn.va_before_l_min * np.exp(-found.ln_ratio))
    vco2 = None if va is None else implied_vco2_ml_min(found.level, va[0])
    expected, low_80, high_80, low_95, high_95 = quantiles(found.reading)
    return WhatIf(
        proposal, baseline.settings, now, baseline.anchor, Quantity.SAME_READING,
        expected, low_80, high_80, low_95, high_95, robust_sd(np.log(found.reading)), found.parts,
        None if va is None else median_figure(va[0], "L/min"),
        None if va is None else median_figure(va[1], "L/min"),
        None if vco2 is None else median_figure(vco2, "mL/min"),
        None if va is None else _steady(proposal, va[1], found, seed),
        guards(baseline, now, drawn, found.reached, leak_limit_l_min),
        _wrong_if(baseline, proposal, found.parts),
        empty_curve("alveolar_l_min") if va is None or vco2 is None else hyperbola(vco2, va),
        empty_curve("minute") if va is None else fan(found.level, found.reached, va[1], seed),
    )  # fmt: skip


def _steady(proposal: Proposal, va_after: np.ndarray, found: Forecast, seed: int) -> SteadyState:
    alone = proposal.changed == ("oxygen_l_min",)
    return steady_state(va_after, float(np.median(found.ln_ratio)), seed, oxygen_alone=alone)


def _wrong_if(baseline: Baseline, proposal: Proposal, parts: tuple[Part, ...]) -> tuple[str, ...]:
    """Say what would make the estimate wrong, for the methods used."""
    methods = {part.method for part in parts}
    found = [
        "the reading before was not at a steady level, or of a bad day",
        "CO2 output changes: fever, seizures, feeding, weight",
        "use, mask, circuit or settings differ from what is recorded",
    ]
    if methods & {Method.RATIO, Method.PASSIVE}:
        found.append("leak or its compensation changes: displayed volume no longer follows true volume")
        found.append("dead space differs from the estimate: filter, mask, an obstructed port")
    if baseline.settings.mode in TARGET_MODES:
        found.append("the target volume is not reached within the pressures allowed, or effort makes it up")
    if baseline.settings.mode in VOLUME_MODES | TARGET_MODES and set(proposal.changed) & VOLUME_HELD:
        found.append("the machine is taken to hold its volume: what else this change does is not foreseen")
    if Method.PASSIVE in methods:
        found += [
            "effort, trigger, cycling or glottis closure changes with pressure",
            "opening pressures (obesity) or a long rise time: volume then does not follow pressure",
        ]
    if Method.OWN in methods:
        found.append("the past response does not hold: disease has moved on, or it had another cause")
    if baseline.breathing and not isinstance(baseline.breathing, Refused):
        found += [f"true volume further off than was taken ({one})" for one in baseline.breathing.assumes]
    return tuple(found) if proposal.changed else ()


def _hours(baseline: Baseline, proposal: Proposal, now: MachineSettings, seed: int) -> WhatIf | Refused:
    """Mean PaCO2 over the day by hours of use, from the levels on and off the ventilator."""
    if proposal.changed != ("hours_per_day",):
        raise ValueError("hours_per_day is asked alone; ask the other settings as a proposal of their own")
    before_h, after_h = baseline.settings.hours_per_day, now.hours_per_day
    if before_h is None or after_h is None:
        return Refused("hours of use are not recorded", "nightly use of the last four weeks")
    levels = _levels(baseline)
    if isinstance(levels, Refused):
        return levels
    on, off = levels
    generator = np.random.default_rng([seed, 9])
    level_on, level_off = (one.kpa * np.exp(generator.normal(0.0, one.sd_ln, DRAWS)) for one in (on, off))
    mean = (after_h * level_on + (HOURS_A_DAY - after_h) * level_off) / HOURS_A_DAY
    mean_before = (before_h * level_on + (HOURS_A_DAY - before_h) * level_off) / HOURS_A_DAY
    expected, low_80, high_80, low_95, high_95 = quantiles(mean)
    words = (
        f"24 h mean {np.median(mean_before):.2f} kPa with {before_h:g} h, {expected:.2f} with {after_h:g} h; "
        f"from {on.words}, and {off.words}"
    )
    factor = expected / float(np.median(mean_before))
    part = Part(Method.DAY_MEAN, factor, robust_sd(np.log(mean / mean_before)), 1.0, words)
    return WhatIf(
        proposal, baseline.settings, now, baseline.anchor, Quantity.DAY_MEAN,
        expected, low_80, high_80, low_95, high_95, robust_sd(np.log(mean)), (part,),
        None, None, None, None,
        guards(baseline, now, None, None, 0.0),
        _hours_wrong_if(on, off),
        empty_curve("alveolar_l_min"), empty_curve("minute"),
    )  # fmt: skip


def _levels(baseline: Baseline) -> tuple[Anchor, Anchor] | Refused:
    """Give the steady reading on the ventilator and the one off it, or say which is missing."""
    pair = [one for one in (baseline.anchor, baseline.other_state) if one is not None and one.state_recorded]
    on = next((one for one in pair if one.on_ventilator and one.off_reason is None), None)
    off = next((one for one in pair if not one.on_ventilator), None)
    if on is not None and off is not None:
        return on, off
    missing = [words for words, one in (("a steady one on it", on), ("one off it", off)) if one is None]
    return Refused(
        "hours need a reading on and one off the ventilator since the present settings; no published "
        "relation leads from hours to an awake PaCO2",
        f"the missing reading: {' and '.join(missing)}",
    )


def _hours_wrong_if(on: Anchor, off: Anchor) -> tuple[str, ...]:
    """Say what would make a mean over the day wrong."""
    found = [
        "the level off the ventilator itself falls (or rises) with use over weeks: not foreseen here",
        "the level on the ventilator differs between day and night",
    ]
    if on.source != off.source:
        found.append(
            f"the two levels are of different kinds of reading ({on.source}, {off.source}), which are not "
            "the same thing"
        )
    return tuple(found)
