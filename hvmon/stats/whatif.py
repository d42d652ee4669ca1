"""What a proposed change could do to PaCO2, with an interval wide enough to be true.

It explains and estimates; it recommends nothing. The interval is that of the *next reading of the same
kind under the same conditions*: it holds the error of the reading before, of the reading to come, of
dead space, displayed volume and mechanics, of CO2 output, and of how much effort gives way.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import polars as pl

from hvmon.physiology.ventilation import implied_vco2_ml_min
from hvmon.stats.anchor import Anchor, Baseline
from hvmon.stats.breathing import LEAK_LIMIT_L_MIN
from hvmon.stats.figure import DRAWS, Figure, Refused
from hvmon.stats.guards import Guard, guards
from hvmon.stats.machine import HOURS_A_DAY, MachineSettings, Proposal, after
from hvmon.stats.mechanism import VCO2_RATIO_SD_LN, Array, Draws, Method, draw_change
from hvmon.stats.own_response import OwnResponse
from hvmon.stats.priors import Priors, default_priors
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


class Quantity(StrEnum):
    """What the expected value is of."""

    SAME_READING = "the next reading of the same kind under the same conditions"
    DAY_MEAN = "mean PaCO2 over 24 h, if the levels on and off the ventilator stay as they are"


@dataclass(frozen=True, slots=True)
class Part:
    """What one method expects, as a factor on PaCO2, and the weight it was given."""

    method: Method
    factor: float
    sd_ln: float
    weight: float
    words: str


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
    table = priors or default_priors()
    mechanism = _mechanism(baseline, proposal, now, seed)
    combined = _combine(baseline, proposal, now, mechanism, own, table, seed)
    if isinstance(combined, Refused):
        return combined
    parts, ratio = combined
    return _answer(baseline, proposal, now, mechanism, parts, ratio, leak_limit_l_min, seed)


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


def _mechanism(baseline: Baseline, proposal: Proposal, now: MachineSettings, seed: int) -> Draws | Refused:
    """Sample ventilation before and after, or why volumes and rates cannot say anything."""
    if baseline.anchor.off_reason is not None:
        return baseline.anchor.off_reason
    if isinstance(baseline.breathing, Refused):
        return baseline.breathing
    if isinstance(baseline.body.dead_space, Refused):
        return baseline.body.dead_space
    if baseline.body.dead_space.total.value >= baseline.breathing.tidal_volume_ml.value:
        return Refused("dead space is not smaller than the displayed tidal volume", "a measured dead space")
    return draw_change(
        baseline.settings,
        now,
        baseline.breathing,
        baseline.body.dead_space,
        proposal.dead_space_change_ml,
        seed=seed,
    )


def _combine(
    baseline: Baseline,
    proposal: Proposal,
    now: MachineSettings,
    mechanism: Draws | Refused,
    own: OwnResponse | None,
    priors: Priors,
    seed: int,
) -> tuple[tuple[Part, ...], Array] | Refused:
    """Give the parts and the samples of ln PaCO2 after over before, CO2 output and readings apart."""
    generator = np.random.default_rng([seed, 7])
    oxygen = _oxygen(baseline.settings, now, priors)
    only_oxygen = proposal.changed == ("oxygen_l_min",)
    if isinstance(oxygen, Refused) and only_oxygen:
        return oxygen
    parts: list[Part] = []
    ratio = np.zeros(DRAWS)
    if not only_oxygen:
        mixed = _mechanism_and_own(mechanism, _own_part(own, baseline.settings, now), generator)
        if isinstance(mixed, Refused):
            return mixed
        found, ratio = mixed
        parts.extend(found)
    if isinstance(oxygen, Part):
        parts.append(oxygen)
        ratio = ratio + generator.normal(math.log(oxygen.factor), oxygen.sd_ln, DRAWS)
    return tuple(parts), ratio


def _oxygen(before: MachineSettings, now: MachineSettings, priors: Priors) -> Part | Refused | None:
    """Give the usual effect of more or less oxygen; None when oxygen stays."""
    if now.oxygen_l_min is None or now.oxygen_l_min == before.oxygen_l_min:
        return None
    if before.oxygen_l_min is None:
        return Refused("the oxygen flow in use is not recorded", "the present oxygen flow")
    step = now.oxygen_l_min - before.oxygen_l_min
    mean, sd = priors.value("oxygen.mean") * step, priors.value("oxygen.sd") * abs(step)
    return Part(Method.OXYGEN, math.exp(mean), sd, 1.0, f"{step:+g} L/min; a project assumption, no source")


def _own_part(own: OwnResponse | None, before: MachineSettings, now: MachineSettings) -> Part | None:
    old, new = before.pressure_support_cmh2o, now.pressure_support_cmh2o
    if own is None or old is None or new is None or old == new:
        return None
    step = new - old
    mean, sd = own.mean_ln_per_cmh2o * step, own.sd_ln_per_cmh2o * abs(step)
    return Part(Method.OWN, math.exp(mean), sd, 1.0, own.words)


def _mechanism_and_own(
    mechanism: Draws | Refused, own: Part | None, generator: np.random.Generator
) -> tuple[list[Part], Array] | Refused:
    """Weigh mechanism and own response by their precision; two that disagree are both widened."""
    if isinstance(mechanism, Refused):
        if own is None:
            return mechanism
        return [own], generator.normal(math.log(own.factor), own.sd_ln, DRAWS)
    ratio = mechanism.ln_ratio
    mean, sd = float(np.median(ratio)), robust_sd(ratio)
    if own is None:
        return [Part(mechanism.method, math.exp(mean), sd, 1.0, _mechanism_words(mechanism))], ratio
    weight = own.sd_ln**2 / (own.sd_ln**2 + sd**2)
    joint = weight * mean + (1.0 - weight) * math.log(own.factor)
    chi_square = (mean - math.log(own.factor)) ** 2 / (sd**2 + own.sd_ln**2)
    joint_sd = (weight * sd**2) ** 0.5 * max(1.0, chi_square) ** 0.5
    parts = [
        Part(mechanism.method, math.exp(mean), sd, weight, _mechanism_words(mechanism)),
        Part(Method.OWN, own.factor, own.sd_ln, 1.0 - weight, own.words),
    ]
    return parts, joint + (ratio - mean) * (joint_sd / sd if sd > 0.0 else 1.0)


def _mechanism_words(mechanism: Draws) -> str:
    if mechanism.method == Method.RATIO:
        return "CO2 output and the machine's own error of volume cancel"
    return "passive lung with trapping; effort taken to give way in part"


def _answer(
    baseline: Baseline,
    proposal: Proposal,
    now: MachineSettings,
    mechanism: Draws | Refused,
    parts: tuple[Part, ...],
    ratio: Array,
    leak_limit_l_min: float,
    seed: int,
) -> WhatIf:
    """Put readings and CO2 output round the ratio and gather everything that is shown."""
    generator = np.random.default_rng([seed, 3])
    anchor = baseline.anchor
    level = anchor.kpa * np.exp(generator.normal(0.0, anchor.sd_ln, DRAWS))
    answer = 0.0 if isinstance(mechanism, Refused) else mechanism.answer
    output = generator.normal(0.0, VCO2_RATIO_SD_LN, DRAWS) / (1.0 + answer)
    reached = level * np.exp(ratio + output)
    reading = reached * np.exp(generator.normal(0.0, anchor.sd_ln, DRAWS))
    drawn = None if isinstance(mechanism, Refused) else mechanism
    va = None if drawn is None else (drawn.va_before_l_min, drawn.va_before_l_min * np.exp(-ratio))
    expected, low_80, high_80, low_95, high_95 = quantiles(reading)
    return WhatIf(
        proposal, baseline.settings, now, anchor, Quantity.SAME_READING,
        expected, low_80, high_80, low_95, high_95, robust_sd(np.log(reading)), parts,
        None if va is None else median_figure(va[0], "L/min"),
        None if va is None else median_figure(va[1], "L/min"),
        None if va is None else median_figure(implied_vco2_ml_min(level, va[0]), "mL/min"),
        None if va is None else steady_state(va[1], float(np.median(ratio)), seed),
        guards(baseline, now, drawn, reached, leak_limit_l_min),
        _wrong_if(baseline, proposal, parts),
        empty_curve("alveolar_l_min") if va is None else hyperbola(implied_vco2_ml_min(level, va[0]), va),
        empty_curve("minute") if va is None else fan(level, reached, va[1], seed),
    )  # fmt: skip


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
    if Method.PASSIVE in methods:
        found += [
            "effort, trigger, cycling or glottis closure changes with pressure",
            "opening pressures (obesity) or a long rise time: volume then does not follow pressure",
        ]
    if Method.OWN in methods:
        found.append("the past response does not hold: disease has moved on, or it had another cause")
    if baseline.breathing and not isinstance(baseline.breathing, Refused):
        found += list(baseline.breathing.assumes)
    return tuple(found) if proposal.changed else ()


def _hours(baseline: Baseline, proposal: Proposal, now: MachineSettings, seed: int) -> WhatIf | Refused:
    """Mean PaCO2 over the day by hours of use, from the levels on and off the ventilator."""
    if proposal.changed != ("hours_per_day",):
        raise ValueError("hours_per_day is asked alone; ask the other settings as a proposal of their own")
    before_h, after_h = baseline.settings.hours_per_day, now.hours_per_day
    if before_h is None or after_h is None:
        return Refused("hours of use are not recorded", "nightly use of the last four weeks")
    pair = (baseline.anchor, baseline.other_state)
    on = next((one for one in pair if one is not None and one.on_ventilator), None)
    off = next((one for one in pair if one is not None and not one.on_ventilator), None)
    if on is None or off is None:
        return Refused(
            "hours need a reading on and one off the ventilator since the present settings; no published "
            "relation leads from hours to an awake PaCO2",
            "the missing reading",
        )
    generator = np.random.default_rng([seed, 9])
    level_on, level_off = (one.kpa * np.exp(generator.normal(0.0, one.sd_ln, DRAWS)) for one in (on, off))
    mean = (after_h * level_on + (HOURS_A_DAY - after_h) * level_off) / HOURS_A_DAY
    mean_before = (before_h * level_on + (HOURS_A_DAY - before_h) * level_off) / HOURS_A_DAY
    expected, low_80, high_80, low_95, high_95 = quantiles(mean)
    words = (
        f"24 h mean {np.median(mean_before):.2f} kPa with {before_h:g} h, {expected:.2f} with {after_h:g} h"
    )
    part = Part(Method.RATIO, expected / float(np.median(mean_before)), robust_sd(np.log(mean)), 1.0, words)
    return WhatIf(
        proposal, baseline.settings, now, baseline.anchor, Quantity.DAY_MEAN,
        expected, low_80, high_80, low_95, high_95, robust_sd(np.log(mean)), (part,),
        None, None, None, None,
        guards(baseline, now, None, mean, 0.0),
        (
            "the level off the ventilator itself falls (or rises) with use over weeks: not foreseen here",
            "the level on the ventilator differs between day and night",
        ),
        empty_curve("alveolar_l_min"), empty_curve("minute"),
    )  # fmt: skip
