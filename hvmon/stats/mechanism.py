"""Draws of a person's hidden numbers, and what a change of settings does to alveolar ventilation in them.

Always sampled: resistance and compliance enter through exponentials and are unknown at home, so a first
order form would not hold. Everything is a ratio on one machine: its own error of displayed volume, CO2
output and most of the mechanics are the same before and after, and cancel.
"""

# mypy: disable-error-code="no-any-return"
# (array arithmetic is Any to the checker; the annotation states the type)

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from hvmon.physiology.mechanics import auto_peep_cmh2o, tidal_volume_pressure_ml
from hvmon.stats.body import DeadSpace
from hvmon.stats.breathing import Breathing
from hvmon.stats.figure import DRAWS, Refused
from hvmon.stats.machine import PRESSURE_MODES, TARGET_MODES, VOLUME_MODES, MachineSettings
from hvmon.vocabulary import VentilatorMode

Array = np.ndarray

COMPLIANCE_SD_LN = 0.35
"""Spread of compliance about displayed volume over pressure support, ln (Project)."""
RESISTANCE_MEDIAN, RESISTANCE_SD_LN = 10.0, 0.5
"""[cmH2O s/L] inspiratory resistance, mask and circuit included, median and spread in ln (Project)."""
EXPIRATORY_OVER_INSPIRATORY, EXPIRATORY_SD_LN = 1.25, 0.25
"""Expiratory over inspiratory resistance, median and spread in ln (Project)."""
EFFORT_MEAN, EFFORT_SD = 0.88, 0.20
"""Power of pressure support by which tidal volume follows it while effort stays: 1 in a passive person,
less where effort already adds to it (Project)."""
ANSWER_SD, ANSWER_SD_GIVEN = 0.7, 0.25
"""Spread of the answer of breathing to a fall of CO2, ln ventilation per ln PaCO2, half-normal: where the
person can add breaths and effort, and where the machine gives the volume or every breath (Project). A change
of CO2 is smaller by one over one plus it."""
ANSWER_TO_RISE = 2.5
"""How much stronger breathing answers a rise than a fall: below its threshold it hardly answers (Project)."""
DELIVERY_SD_LN = 0.04
"""Spread of the volume really delivered after a change about the expected one, ln (Project)."""
LEAK_SD_PER_LN = 0.15
"""Further spread a change of inspiratory pressure brings through leak, per ln of the ratio (Project)."""
VCO2_RATIO_SD_LN = 0.08
"""Spread of CO2 output after over before, ln (Project; 0.10 in the worked error case)."""
LEAST_VD_ML, MOST_VD_SHARE = 20.0, 0.85
"""Samples of dead space are kept between 20 mL and 85 percent of tidal volume (Project)."""
MOST_HELD_BACK = 0.75
"""Share of samples so kept after a change beyond which there is no estimate (Project)."""

BREATH_SETTINGS = ("ipap_cmh2o", "epap_cmh2o", "tidal_volume_ml", "target_volume_ml", "inspiratory_time_s")
"""Settings that change the single breath."""


class Method(StrEnum):
    """Where a predicted ratio comes from."""

    RATIO = "ratio on the same machine"
    PASSIVE = "passive single-compartment model"
    OWN = "this person's own past response"
    OXYGEN = "usual effect of oxygen"
    DAY_MEAN = "mean of the levels on and off the ventilator"


@dataclass(frozen=True, slots=True)
class Draws:
    """Samples of what is hidden, and of ventilation before and after."""

    volume_before_ml: Array
    volume_after_ml: Array
    rate_before_min: Array
    rate_after_min: Array
    dead_space_before_ml: Array
    dead_space_after_ml: Array
    trapped_before_cmh2o: Array | None
    trapped_after_cmh2o: Array | None
    answer_to_fall: Array
    """Answer of breathing to a fall of CO2: ln ventilation per ln PaCO2, 0 in a passive person."""
    method: Method

    @property
    def va_before_l_min(self) -> Array:
        """Alveolar ventilation before [L/min]."""
        return self.rate_before_min * (self.volume_before_ml - self.dead_space_before_ml) / 1000.0

    @property
    def va_open_l_min(self) -> Array:
        """Alveolar ventilation after if breathing did not answer [L/min]."""
        return self.rate_after_min * (self.volume_after_ml - self.dead_space_after_ml) / 1000.0

    @property
    def ln_open(self) -> Array:
        """Ln of PaCO2 after over before if breathing did not answer, at the same CO2 output."""
        return np.log(self.va_before_l_min / self.va_open_l_min)

    @property
    def answer(self) -> Array:
        """Answer of breathing in the direction CO2 would take."""
        return self.answer_to_fall * np.where(self.ln_open > 0.0, ANSWER_TO_RISE, 1.0)

    @property
    def ln_ratio(self) -> Array:
        """Ln of PaCO2 after over before, at the same CO2 output."""
        return self.ln_open / (1.0 + self.answer)

    @property
    def volume_reached_ml(self) -> Array:
        """Tidal volume after, once breathing has answered through it [mL]."""
        va = self.va_before_l_min * np.exp(-self.ln_ratio)
        return self.dead_space_after_ml + 1000.0 * va / self.rate_after_min


def draw_change(
    before: MachineSettings,
    now: MachineSettings,
    breathing: Breathing,
    dead_space: DeadSpace,
    dead_space_change_ml: float,
    *,
    seed: int,
) -> Draws | Refused:
    """Sample alveolar ventilation before and after a change of settings.

    Parameters
    ----------
    before, now
        Settings as they are and as they would be.
    breathing, dead_space
        Displayed volume and rate, and dead space, as they are.
    dead_space_change_ml
        Dead space added (or taken away, negative) [mL].
    seed
        Of the samples.
    """
    refusal = _not_known(before, now) or _none_left(dead_space, dead_space_change_ml)
    if refusal is not None:
        return refusal
    generator = np.random.default_rng(seed)
    volume, rate, space = _as_it_is(breathing, dead_space, generator)
    rate_after = _rate_after(before, now, breathing, rate, generator)
    if _timing_changed(before, now) and not _fits(now, rate_after):
        return _no_room(now, rate_after)
    changed = _volume_ratio(before, now, volume, rate, rate_after, generator)
    if isinstance(changed, Refused):
        return changed
    ratio, trapped, method = changed
    volume_after = volume * ratio * _delivery(before, now, generator)
    space_after = np.maximum(space + dead_space_change_ml, LEAST_VD_ML / 2.0)
    if np.mean(space_after > MOST_VD_SHARE * volume_after) > MOST_HELD_BACK:
        return _too_small(space_after, volume_after)
    space_after = np.minimum(space_after, MOST_VD_SHARE * volume_after)
    answer = _answer_to_co2(before, generator)
    return Draws(volume, volume_after, rate, rate_after, space, space_after, *trapped, answer, method)


def _not_known(before: MachineSettings, now: MachineSettings) -> Refused | None:
    """Refuse a change from a setting that is not recorded: the ratio has no bottom."""
    for name, words in (("backup_rate_min", "backup rate"), ("inspiratory_time_s", "inspiratory time")):
        if getattr(before, name) is None and getattr(now, name) is not None:
            return Refused(f"the {words} in use is not recorded", f"the present {words}")
    return None


def _none_left(dead_space: DeadSpace, change_ml: float) -> Refused | None:
    total = dead_space.total.value
    if total + change_ml > 0.0:
        return None
    return Refused(
        f"dead_space_change_ml {change_ml:g} would leave none of the {total:.0f} mL taken as dead space",
        "a smaller change, or a measured dead space",
    )


def _timing_changed(before: MachineSettings, now: MachineSettings) -> bool:
    return (before.inspiratory_time_s, before.backup_rate_min) != (
        now.inspiratory_time_s,
        now.backup_rate_min,
    )


def _fits(now: MachineSettings, rate_after: Array) -> bool:
    return now.inspiratory_time_s is None or now.inspiratory_time_s < 60.0 / float(np.median(rate_after))


def _no_room(now: MachineSettings, rate_after: Array) -> Refused:
    """Refuse an inspiration that the rate really breathed leaves no room for."""
    rate = float(np.median(rate_after))
    return Refused(
        f"inspiratory_time_s {now.inspiratory_time_s:g} is not shorter than the cycle of {60.0 / rate:.1f} s "
        f"at the {rate:.0f} breaths a minute of this person",
        "a shorter inspiratory time",
    )


def _too_small(space: Array, volume: Array) -> Refused:
    """Refuse a breath that hardly clears the dead space: PaCO2 would be decided by the bound of samples."""
    return Refused(
        f"a breath of about {np.median(volume):.0f} mL would hardly clear a dead space of about "
        f"{np.median(space):.0f} mL; no PaCO2 can be foreseen",
        "a measured dead space, or another proposal",
    )


def _as_it_is(
    breathing: Breathing, dead_space: DeadSpace, generator: np.random.Generator
) -> tuple[Array, Array, Array]:
    """Draw true tidal volume, rate and dead space as they are."""
    shown = breathing.tidal_volume_ml
    volume = shown.value * np.exp(generator.normal(0.0, shown.sd / shown.value, DRAWS))
    rate = np.maximum(generator.normal(breathing.rate_min.value, breathing.rate_min.sd, DRAWS), 4.0)
    space = generator.normal(dead_space.total.value, dead_space.total.sd, DRAWS)
    return volume, rate, np.clip(space, LEAST_VD_ML, MOST_VD_SHARE * volume)


def _rate_after(
    before: MachineSettings,
    now: MachineSettings,
    breathing: Breathing,
    rate: Array,
    generator: np.random.Generator,
) -> Array:
    """Total rate after: a backup rate acts only where it exceeds what the person breathes.

    Lowered, it takes away at most the share of breaths the machine gave. In a timed mode it is the rate.
    """
    old, new = before.backup_rate_min, now.backup_rate_min
    if old is None or new is None or old == new:
        return rate
    if before.mode == VentilatorMode.TIMED:
        return np.full(DRAWS, new)
    if new > old:
        return np.maximum(rate, new)
    given = _given_share(breathing, generator)
    own = rate - (rate - new) * given * generator.random(DRAWS)
    return np.where(rate > new, np.maximum(own, new), rate)


def _given_share(breathing: Breathing, generator: np.random.Generator) -> Array:
    """Share of breaths the machine gave; anything between none and all when not recorded."""
    if breathing.triggered_pct is None:
        return generator.random(DRAWS)
    return np.full(DRAWS, 1.0 - breathing.triggered_pct / 100.0)


def _volume_ratio(
    before: MachineSettings,
    now: MachineSettings,
    volume: Array,
    rate: Array,
    rate_after: Array,
    generator: np.random.Generator,
) -> tuple[Array, tuple[Array | None, Array | None], Method] | Refused:
    """Tidal volume after over before, pressure trapped, and the method."""
    nothing = (None, None)
    if before.mode in VOLUME_MODES:
        return np.full(DRAWS, _quotient(now.tidal_volume_ml, before.tidal_volume_ml)), nothing, Method.RATIO
    if before.mode in TARGET_MODES:
        power = _effort(generator)
        target = _quotient(now.target_volume_ml, before.target_volume_ml)
        return target**power, nothing, Method.RATIO
    if before.mode not in PRESSURE_MODES:
        return Refused(
            f"mode {before.mode.value!r} gives no breath that can be foreseen", "a ventilation mode"
        )
    if _same_breath(before, now) and np.array_equal(rate, rate_after):
        return np.ones(DRAWS), nothing, Method.RATIO
    return _pressure_ratio(before, now, volume, rate, rate_after, generator)


def _same_breath(before: MachineSettings, now: MachineSettings) -> bool:
    return (
        before.pressure_support_cmh2o == now.pressure_support_cmh2o
        and before.inspiratory_time_s == now.inspiratory_time_s
    )


def _pressure_ratio(
    before: MachineSettings,
    now: MachineSettings,
    volume: Array,
    rate: Array,
    rate_after: Array,
    generator: np.random.Generator,
) -> tuple[Array, tuple[Array | None, Array | None], Method] | Refused:
    """Passive breath before and after, with the share of effort that gives way."""
    old, new = before.pressure_support_cmh2o, now.pressure_support_cmh2o
    if old is None or new is None:
        return Refused("IPAP and EPAP are not both recorded", "both pressures of the program in use")
    if before.inspiratory_time_s is None or now.inspiratory_time_s is None:
        return _pressure_only(old, new, generator)
    compliance = volume / old * np.exp(generator.normal(0.0, COMPLIANCE_SD_LN, DRAWS))
    r_in = RESISTANCE_MEDIAN * np.exp(generator.normal(0.0, RESISTANCE_SD_LN, DRAWS))
    r_out = r_in * EXPIRATORY_OVER_INSPIRATORY * np.exp(generator.normal(0.0, EXPIRATORY_SD_LN, DRAWS))
    first = (compliance, r_in, r_out, _cut(before.inspiratory_time_s, rate), rate)
    second = (compliance, r_in, r_out, _cut(now.inspiratory_time_s, rate_after), rate_after)
    one = np.ones(DRAWS)
    shape = tidal_volume_pressure_ml(one, *second) / tidal_volume_pressure_ml(one, *first)
    ratio = (new / old) ** _effort(generator) * shape
    trapped = (auto_peep_cmh2o(old * one, *first), auto_peep_cmh2o(new * one, *second))
    return ratio, trapped, Method.PASSIVE


def _pressure_only(
    old: float, new: float, generator: np.random.Generator
) -> tuple[Array, tuple[None, None], Method]:
    """Without an inspiratory time only the pressures are compared."""
    return (new / old) ** _effort(generator), (None, None), Method.PASSIVE


def _effort(generator: np.random.Generator) -> Array:
    return np.clip(generator.normal(EFFORT_MEAN, EFFORT_SD, DRAWS), 0.0, 1.3)


def _answer_to_co2(before: MachineSettings, generator: np.random.Generator) -> Array:
    """Draw how far breathing answers CO2; little where the machine gives the volume or every breath."""
    given = before.mode in VOLUME_MODES or before.mode == VentilatorMode.TIMED
    return np.abs(generator.normal(0.0, ANSWER_SD_GIVEN if given else ANSWER_SD, DRAWS))


def _cut(inspiratory_s: float, rate: Array) -> Array:
    """Inspiratory time, cut where a fast rate leaves less than a third of a second to breathe out."""
    return np.minimum(inspiratory_s, 60.0 / rate - 0.3)


def _delivery(before: MachineSettings, now: MachineSettings, generator: np.random.Generator) -> Array:
    """Spread of what is delivered after; more where inspiratory pressure and with it leak changes.

    None where only rate or dead space change: the machine gives the same breath.
    """
    if not any(getattr(before, name) != getattr(now, name) for name in BREATH_SETTINGS):
        return np.ones(DRAWS)
    sd = DELIVERY_SD_LN
    if before.ipap_cmh2o is not None and now.ipap_cmh2o is not None:
        sd += LEAK_SD_PER_LN * abs(np.log(now.ipap_cmh2o / before.ipap_cmh2o))
    return np.exp(generator.normal(0.0, sd, DRAWS))


def _quotient(now: float | None, before: float | None) -> float:
    return 1.0 if now is None or before is None else now / before
