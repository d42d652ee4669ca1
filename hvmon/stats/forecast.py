"""The forecast behind a what-if: methods weighed, readings and CO2 output put round them, all in samples."""

# mypy: disable-error-code="no-any-return"
# (array arithmetic is Any to the checker; the annotation states the type)

import math
from dataclasses import dataclass

import numpy as np

from hvmon.stats.anchor import Baseline
from hvmon.stats.figure import DRAWS, Refused
from hvmon.stats.machine import MachineSettings, Proposal, after
from hvmon.stats.mechanism import VCO2_RATIO_SD_LN, Array, Draws, Method, draw_change
from hvmon.stats.own_response import OwnResponse
from hvmon.stats.priors import Priors, default_priors
from hvmon.stats.steady import robust_sd

PRESSURES = {"ipap_cmh2o", "epap_cmh2o", "oxygen_l_min"}
"""Settings beside which the person's own response to pressure support may speak."""


@dataclass(frozen=True, slots=True)
class Part:
    """What one method expects, as a factor on PaCO2, and the weight it was given."""

    method: Method
    factor: float
    sd_ln: float
    weight: float
    words: str


@dataclass(frozen=True, slots=True)
class Forecast:
    """Samples of the level before and after, and of the next reading [kPa]."""

    parts: tuple[Part, ...]
    mechanism: Draws | None
    """None where volumes and rates cannot say anything."""
    ln_ratio: Array
    level: Array
    reached: Array
    reading: Array


def forecast(
    baseline: Baseline,
    proposal: Proposal,
    *,
    own: OwnResponse | None = None,
    priors: Priors | None = None,
    seed: int = 1,
) -> Forecast | Refused:
    """Sample what a proposal could do; see `hvmon.stats.whatif.what_if`, which words and draws it.

    Raises
    ------
    ValueError
        A setting that is impossible or does not belong to the mode, by name.
    """
    now = after(baseline.settings, proposal)
    mechanism = _mechanism(baseline, proposal, now, seed)
    combined = _combine(baseline, proposal, now, mechanism, own, priors or default_priors(), seed)
    if isinstance(combined, Refused):
        return combined
    parts, ratio = combined
    drawn = None if isinstance(mechanism, Refused) else mechanism
    generator = np.random.default_rng([seed, 3])
    anchor = baseline.anchor
    level = anchor.kpa * np.exp(generator.normal(0.0, anchor.sd_ln, DRAWS))
    answer = 0.0 if drawn is None else drawn.answer
    output = generator.normal(0.0, VCO2_RATIO_SD_LN, DRAWS) / (1.0 + answer)
    reached = level * np.exp(ratio + output)
    reading = reached * np.exp(generator.normal(0.0, anchor.sd_ln, DRAWS))
    return Forecast(parts, drawn, ratio, level, reached, reading)


def _mechanism(baseline: Baseline, proposal: Proposal, now: MachineSettings, seed: int) -> Draws | Refused:
    """Sample ventilation before and after, or why volumes and rates cannot say anything."""
    anchor = baseline.anchor
    if anchor.off_reason is not None:
        reason = f"the reading it starts from, {anchor.source} of {anchor.day}: {anchor.off_reason.reason}"
        return Refused(reason, anchor.off_reason.needs)
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
    if isinstance(oxygen, Refused):
        return oxygen
    parts: list[Part] = []
    ratio = np.zeros(DRAWS)
    if not only_oxygen:
        mixed = _mechanism_and_own(mechanism, _own_part(own, proposal, baseline.settings, now), generator)
        if isinstance(mixed, Refused):
            return mixed
        found, ratio = mixed
        parts.extend(found)
    if oxygen is not None:
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


def _own_part(
    own: OwnResponse | None, proposal: Proposal, before: MachineSettings, now: MachineSettings
) -> Part | None:
    """Give what the person's past response expects; it speaks only where pressure support alone changes."""
    if set(proposal.changed) - PRESSURES:
        return None
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
