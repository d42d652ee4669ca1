"""What the machine and the gases imply about alveolar ventilation, and whether it can be believed.

Per night, per period and per gas. Each figure carries its standard deviation, or a reason why it would
mean nothing: leak above the team's limit, a missing height, a gas taken off the ventilator.
"""

import math
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

import numpy as np

from hvmon.physiology.metabolism import VCO2_ML_KG, VCO2_RELATIVE_SD
from hvmon.physiology.ventilation import (
    alveolar_ventilation_from_paco2_l_min,
    alveolar_ventilation_l_min,
    implied_vco2_ml_min,
    minute_ventilation_l_min,
)
from hvmon.records.course import NightlyUse
from hvmon.records.dossier import Dossier, local
from hvmon.records.gas import BloodGas
from hvmon.records.held import Held
from hvmon.stats.body import Body, DeadSpace
from hvmon.stats.breathing import (
    LEAK_LIMIT_L_MIN,
    Breathing,
    breathing_between,
    night_breathing,
    nights_words,
)
from hvmon.stats.figure import Answered, Figure, Refused, Uncertain, carry, plain_figure
from hvmon.vocabulary import NotRecorded, SampleKind, TemperatureCorrection, VentilatorState

STEADY_MINUTES = 30
"""[min] on the ventilator before a gas is steady (Taskar1995, Project)."""
GAS_WINDOW_DAYS = 14
"""[d] nights either side of a gas that stand for the ventilation at the gas (Project)."""

WEIGHT_RELATIVE_SD = 0.03
"""SD of a weight as it stands some weeks later (Project)."""

PCO2_RELATIVE_SD: dict[SampleKind, float] = {
    SampleKind.ARTERIAL: 0.05,
    SampleKind.CAPILLARY_EARLOBE: 0.06,
    SampleKind.CAPILLARY_FINGERTIP: 0.072,
}
"""SD of one PCO2 against the usual level: measurement with 4 percent from day to day (hvmon.stats.priors)."""


class Credibility(StrEnum):
    """Whether the CO2 output that gas and ventilation imply can be true."""

    CREDIBLE = "credible"
    DOUBTFUL = "doubtful"
    NOT_CREDIBLE = "not credible"


@dataclass(frozen=True, slots=True)
class VentilationEstimate:
    """Estimates of one night or period."""

    label: str
    breathing: Breathing | Refused
    minute_ventilation: Answered
    alveolar_ventilation: Answered
    volume_per_kg: Answered
    dead_space: DeadSpace | Refused


@dataclass(frozen=True, slots=True)
class GasEstimate:
    """What one gas implies beside the ventilation around it."""

    record_id: str
    day: date
    paco2_kpa: float
    implied_vco2: Answered
    """[mL/min] only for a gas taken on the ventilator."""
    expected_vco2: Answered
    credibility: Credibility | Refused
    credibility_words: str
    implied_alveolar_ventilation: Answered
    """[L/min] at the moment of the sample, from its PCO2 and the expected CO2 output."""


def ventilation_of_night(
    use: NightlyUse, body: Body, *, leak_limit_l_min: float = LEAK_LIMIT_L_MIN, seed: int = 1
) -> VentilationEstimate:
    """Give the estimates of one night."""
    breathing = night_breathing(use, leak_limit_l_min=leak_limit_l_min)
    return ventilation_of(f"night of {use.night_of}", breathing, body, seed=seed)


def ventilation_of_period(
    dossier: Dossier,
    start: date,
    end: date,
    body: Body,
    *,
    leak_limit_l_min: float = LEAK_LIMIT_L_MIN,
    seed: int = 1,
) -> VentilationEstimate:
    """Give the estimates of the nights from `start` up to before `end`."""
    breathing = breathing_between(dossier, start, end, leak_limit_l_min=leak_limit_l_min)
    return ventilation_of(f"nights {nights_words(start, end)}", breathing, body, seed=seed)


def ventilation_of(
    label: str, breathing: Breathing | Refused, body: Body, *, seed: int = 1
) -> VentilationEstimate:
    """Give minute and alveolar ventilation [L/min] and volume per kg of predicted weight [mL/kg]."""
    if isinstance(breathing, Refused):
        return VentilationEstimate(label, breathing, breathing, breathing, breathing, body.dead_space)
    minute = carry(
        minute_ventilation_l_min,
        {"tidal_volume_ml": breathing.tidal_volume_ml, "rate_min": breathing.rate_min},
        "L/min",
        assumes=breathing.assumes,
        sources=("DisplayedVolume2013",),
    )
    alveolar = alveolar_ventilation(breathing, body.dead_space, seed=seed)
    return VentilationEstimate(
        label, breathing, minute, alveolar, volume_per_kg(breathing, body), body.dead_space
    )


def alveolar_ventilation(breathing: Breathing, dead_space: DeadSpace | Refused, *, seed: int = 1) -> Answered:
    """Alveolar ventilation [L/min] from displayed volume, rate and dead space.

    Sampled when tidal volume less dead space is uncertain by more than a fifth, with samples in which dead
    space exceeds tidal volume counted as no alveolar ventilation.
    """
    if isinstance(dead_space, Refused):
        return dead_space
    volume, space = breathing.tidal_volume_ml, dead_space.total
    if volume.value <= space.value:
        return Refused(
            f"dead space {space.value:.0f} mL is not smaller than tidal volume {volume.value:.0f} mL",
            "a measured dead space or another tidal volume",
        )
    return carry(
        _not_negative_va,
        {
            "tidal_volume_ml": volume,
            "rate_min": breathing.rate_min,
            "dead_space_ml": Uncertain(space.value, space.sd),
        },
        "L/min",
        divisors=(Uncertain(volume.value - space.value, math.hypot(volume.sd, space.sd)),),
        seed=seed,
        assumes=(*breathing.assumes, *space.assumes),
        sources=space.sources,
    )


def volume_per_kg(breathing: Breathing, body: Body) -> Answered:
    """Tidal volume per kg of predicted weight [mL/kg], with the method of the height named."""
    weight = body.predicted_weight
    if isinstance(weight, Refused):
        return weight
    return carry(
        _quotient,
        {"top": breathing.tidal_volume_ml, "bottom": Uncertain(weight.value, weight.sd)},
        "mL/kg",
        divisors=(Uncertain(weight.value, weight.sd),),
        assumes=weight.assumes,
        sources=weight.sources,
    )


def volume_per_actual_kg(breathing: Breathing | Refused, body: Body) -> Answered:
    """Tidal volume per kg of actual weight [mL/kg], for children and where predicted weight is refused."""
    if isinstance(breathing, Refused):
        return breathing
    if body.weight_kg is None:
        return Refused("weight not recorded", "a weight")
    weight = Uncertain(body.weight_kg, WEIGHT_RELATIVE_SD * body.weight_kg)
    return carry(
        _quotient,
        {"top": breathing.tidal_volume_ml, "bottom": weight},
        "mL/kg",
        divisors=(weight,),
        assumes=(f"last weight {body.weight_kg:g} kg; 6 to 10 mL/kg is of ideal weight and not for this",),
    )


def expected_vco2(body: Body, *, ml_min_kg: float = VCO2_ML_KG) -> Answered:
    """CO2 output [mL/min] at rest: 3 mL/min per kg of predicted (a child: actual) weight, SD 25 %."""
    if isinstance(body.predicted_weight, Figure):
        weight = body.predicted_weight.value
    elif body.weight_kg is not None:
        weight = body.weight_kg
    else:
        return Refused("neither predicted nor actual weight is known", "a height or a weight")
    value = ml_min_kg * weight
    return plain_figure(
        value,
        VCO2_RELATIVE_SD * value,
        "mL/min",
        assumes=(f"{ml_min_kg:g} mL/min per kg at rest",),
        sources=("VCO2PerKg", "Siirala2010", "Georges2014"),
    )


def gas_estimate(
    dossier: Dossier,
    held: Held[BloodGas],
    body: Body,
    *,
    leak_limit_l_min: float = LEAK_LIMIT_L_MIN,
    seed: int = 1,
) -> GasEstimate:
    """Give what one gas implies: CO2 output, its credibility, alveolar ventilation at the sample."""
    gas = held.record
    day = local(gas.drawn_at, gas.zone).date()
    refusal = refused_as_arterial(gas)
    expected = expected_vco2(body)
    implied = refusal or _implied_vco2(dossier, gas, day, body, leak_limit_l_min, seed)
    credibility, words = judge_vco2(implied, expected)
    return GasEstimate(
        held.record_id,
        day,
        gas.pco2.kpa,
        implied,
        expected,
        credibility,
        words,
        refusal or _implied_va(gas, expected),
    )


def refused_as_arterial(gas: BloodGas) -> Refused | None:
    """Say why a gas cannot stand for PaCO2; None when it can."""
    if gas.kind == SampleKind.VENOUS:
        return Refused("a venous sample does not give PaCO2", "an arterial or capillary gas")
    if gas.temperature_correction == TemperatureCorrection.CORRECTED:
        return Refused("corrected to body temperature", "the values at 37 C")
    return None


def refused_as_steady_on_ventilator(gas: BloodGas) -> Refused | None:
    """Say why a gas says nothing about ventilation on the machine; None when it does."""
    if gas.state.ventilator == VentilatorState.OFF:
        return Refused(
            "taken off the ventilator: it says nothing about ventilation during the night",
            "a gas taken on the ventilator",
        )
    if gas.state.ventilator == VentilatorState.NOT_RECORDED:
        return Refused("on or off the ventilator was not recorded", "the state at sampling")
    minutes = gas.state.minutes_in_state
    if isinstance(minutes, NotRecorded):
        return Refused("minutes on the ventilator were not recorded", "the minutes in that state")
    if minutes < STEADY_MINUTES:
        return Refused(
            f"only {minutes} min on the ventilator: PaCO2 is still moving",
            f"a gas after {STEADY_MINUTES} min or more",
        )
    return None


def judge_vco2(implied: Answered, expected: Answered) -> tuple[Credibility | Refused, str]:
    """Set the implied CO2 output against the expected one, on the log scale in units of their joint SD."""
    if isinstance(implied, Refused):
        return implied, f"not judged: {implied.reason}"
    if isinstance(expected, Refused):
        return expected, f"not judged: {expected.reason}"
    if implied.value <= 0.0:
        return Credibility.NOT_CREDIBLE, "no alveolar ventilation is left after dead space"
    apart = math.log(implied.value / expected.value)
    z = apart / math.hypot(implied.relative_sd, expected.relative_sd)
    side = (
        "higher than rest allows: tidal volume over-read, or dead space larger than taken"
        if apart > 0
        else "lower than expected: tidal volume under-read, dead space smaller than taken, or little CO2 made"
    )
    if abs(z) < 1.0:
        return Credibility.CREDIBLE, "within what is expected"
    verdict = Credibility.DOUBTFUL if abs(z) < 2.0 else Credibility.NOT_CREDIBLE  # noqa: PLR2004 - two SDs
    return verdict, side


def _implied_vco2(
    dossier: Dossier, gas: BloodGas, day: date, body: Body, leak_limit_l_min: float, seed: int
) -> Answered:
    refusal = refused_as_steady_on_ventilator(gas)
    if refusal is not None:
        return refusal
    span = timedelta(days=GAS_WINDOW_DAYS)
    breathing = breathing_between(dossier, day - span, day + span, leak_limit_l_min=leak_limit_l_min)
    if isinstance(breathing, Refused):
        return breathing
    alveolar = alveolar_ventilation(breathing, body.dead_space, seed=seed)
    if isinstance(alveolar, Refused):
        return alveolar
    paco2 = gas.pco2.kpa
    return carry(
        implied_vco2_ml_min,
        {
            "paco2_kpa": Uncertain(paco2, PCO2_RELATIVE_SD[gas.kind] * paco2),
            "alveolar_l_min": Uncertain(alveolar.value, alveolar.sd),
        },
        "mL/min",
        assumes=alveolar.assumes,
        sources=alveolar.sources,
    )


def _implied_va(gas: BloodGas, expected: Answered) -> Answered:
    if isinstance(expected, Refused):
        return expected
    paco2 = gas.pco2.kpa
    return carry(
        alveolar_ventilation_from_paco2_l_min,
        {
            "vco2_ml_min": Uncertain(expected.value, expected.sd),
            "paco2_kpa": Uncertain(paco2, PCO2_RELATIVE_SD[gas.kind] * paco2),
        },
        "L/min",
        divisors=(Uncertain(paco2, PCO2_RELATIVE_SD[gas.kind] * paco2),),
        assumes=expected.assumes,
        sources=expected.sources,
    )


def _not_negative_va(tidal_volume_ml: float, rate_min: float, dead_space_ml: float) -> float:
    value = alveolar_ventilation_l_min(tidal_volume_ml, rate_min, dead_space_ml)
    clipped: float = np.maximum(value, 0.0)
    return clipped


def _quotient(top: float, bottom: float) -> float:
    return top / bottom
