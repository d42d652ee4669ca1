"""A figure with its standard deviation, or a refusal with its reason; and how errors are carried forward.

Errors go forward to first order. Where a quantity that is divided by (or a difference such as tidal volume
less dead space) is itself uncertain by more than a fifth, the first-order form no longer holds and seeded
samples take its place.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

FIRST_ORDER_TO = 0.2
"""Largest relative SD of a divisor at which the first-order SD is used (Project; computed: at 0.2 it lies
within 5 percent of the sampled one)."""

DRAWS = 20_000
Z_95 = 1.959963984540054
Z_80 = 1.2815515655446004
LOW_95, HIGH_95, LOW_80, HIGH_80 = 0.025, 0.975, 0.1, 0.9
ROBUST_LOW, ROBUST_HIGH = 0.15865525393145707, 0.8413447460685429
"""Quantiles one SD from the centre of a normal distribution."""


class Carried(StrEnum):
    """How the SD was carried forward."""

    FIRST_ORDER = "first order"
    SAMPLED = "seeded samples"


@dataclass(frozen=True, slots=True)
class Figure:
    """A value with its standard deviation and 95 percent interval."""

    value: float
    sd: float
    unit: str
    low_95: float
    high_95: float
    carried: Carried
    assumes: tuple[str, ...] = ()
    """What was taken for granted, in words."""
    sources: tuple[str, ...] = ()
    """Keys of `hvmon.sources`."""

    @property
    def relative_sd(self) -> float:
        """SD over value."""
        return self.sd / abs(self.value)


@dataclass(frozen=True, slots=True)
class Refused:
    """Why a figure is not given, and what would make it possible."""

    reason: str
    needs: str


Answered = Figure | Refused


@dataclass(frozen=True, slots=True)
class Uncertain:
    """One input: its best value and standard deviation, in the unit of its name."""

    value: float
    sd: float = 0.0


def plain_figure(
    value: float, sd: float, unit: str, *, assumes: tuple[str, ...] = (), sources: tuple[str, ...] = ()
) -> Figure:
    """Give a figure of a normal error: the interval is 1.96 SD either way."""
    return Figure(
        value, sd, unit, value - Z_95 * sd, value + Z_95 * sd, Carried.FIRST_ORDER, assumes, sources
    )


def carry(
    function: Callable[..., float],
    inputs: Mapping[str, Uncertain],
    unit: str,
    *,
    divisors: tuple[Uncertain, ...] = (),
    seed: int = 1,
    assumes: tuple[str, ...] = (),
    sources: tuple[str, ...] = (),
) -> Figure:
    """Put independent uncertain inputs through a function.

    Parameters
    ----------
    function
        Takes the names of `inputs`; works on floats and on arrays.
    inputs
        Best values and SDs, independent of each other.
    divisors
        What the function divides by or takes the difference of; when one of them has a relative SD above
        `FIRST_ORDER_TO` the answer is sampled.
    seed
        Of the samples.
    """
    value = float(function(**{name: given.value for name, given in inputs.items()}))
    if all(_steady(divisor) for divisor in divisors):
        sd = _first_order_sd(function, inputs)
        return plain_figure(value, sd, unit, assumes=assumes, sources=sources)
    draws = function(**sample(inputs, seed))
    return sampled_figure(value, np.asarray(draws), unit, assumes=assumes, sources=sources)


def sampled_figure(
    value: float,
    draws: np.ndarray,
    unit: str,
    *,
    assumes: tuple[str, ...] = (),
    sources: tuple[str, ...] = (),
) -> Figure:
    """Give a figure from samples: interval by quantiles, SD from the central 68 percent."""
    low, one, other, high = np.quantile(draws, [LOW_95, ROBUST_LOW, ROBUST_HIGH, HIGH_95])
    sd = float(other - one) / 2.0
    return Figure(value, sd, unit, float(low), float(high), Carried.SAMPLED, assumes, sources)


def sample(inputs: Mapping[str, Uncertain], seed: int, draws: int = DRAWS) -> dict[str, np.ndarray]:
    """Give seeded draws of independent normal inputs; each input has its own stream, in order of name."""
    generator = np.random.default_rng(seed)
    return {
        name: generator.normal(inputs[name].value, inputs[name].sd, draws)
        if inputs[name].sd > 0.0
        else np.full(draws, inputs[name].value)
        for name in sorted(inputs)
    }


def _steady(divisor: Uncertain) -> bool:
    return divisor.value > 0.0 and divisor.sd <= FIRST_ORDER_TO * divisor.value


def _first_order_sd(function: Callable[..., float], inputs: Mapping[str, Uncertain]) -> float:
    """Root of the summed squares of each input's effect, by central differences of a hundredth of its SD."""
    best = {name: given.value for name, given in inputs.items()}
    variance = 0.0
    for name, given in inputs.items():
        if given.sd == 0.0:
            continue
        step = 0.01 * given.sd
        up = function(**{**best, name: given.value + step})
        down = function(**{**best, name: given.value - step})
        variance += ((up - down) / 0.02) ** 2
    return float(variance**0.5)
