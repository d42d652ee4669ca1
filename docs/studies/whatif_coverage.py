"""How often the what-if's intervals hold the truth, in invented people whose lungs it does not know.

Every person has hidden mechanics (compliance, two resistances), effort that answers CO2, a rate of their
own, leak that takes pressure away, a machine that misreads volume, dead space and CO2 output. Their PaCO2 is
the point where ventilation and CO2 output meet, before and after a random proposal. The what-if sees what a
team sees: settings, displayed volumes and rates of some nights, height, one reading. Its 80 % and 95 %
intervals are held against the next reading.

The people are drawn from other distributions than the what-if assumes, and by another mechanism (effort and
leak are solved, not a power law).

    python docs/studies/whatif_coverage.py [--people 2000] [--seed 1]
"""

import argparse
from collections import Counter, defaultdict
from datetime import UTC, date, datetime

import numpy as np

from hvmon.physiology.mechanics import tidal_volume_pressure_ml
from hvmon.physiology.ventilation import KPA_L_PER_ML
from hvmon.stats.anchor import Anchor, Baseline
from hvmon.stats.body import INTERFACE_ML, Body, predicted_weight, whole_dead_space
from hvmon.stats.breathing import Breathing
from hvmon.stats.figure import Refused, Uncertain, plain_figure
from hvmon.stats.forecast import forecast
from hvmon.stats.machine import MachineSettings, Proposal, after
from hvmon.stats.own_response import OwnResponse
from hvmon.stats.steady import quantiles, robust_sd
from hvmon.vocabulary import Circuit, HeightMethod, Interface, Sex, VentilatorMode

READING_SD_LN = 0.05
KINDS = (
    "pressure up",
    "pressure down",
    "backup rate",
    "inspiratory time",
    "dead space",
    "volume",
    "two at once",
)


class Person:
    """Hidden numbers of one invented person."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.male = rng.random() < 0.5
        self.height_cm = float(np.clip(rng.normal(174 if self.male else 161, 7), 146, 198))
        self.pbw = (50.0 if self.male else 45.5) + 0.91 * (self.height_cm - 152.4)
        self.vco2 = self.pbw * np.exp(rng.normal(np.log(2.8), 0.20))
        self.compliance = np.exp(rng.normal(np.log(45.0), 0.40))
        self.r_in = np.exp(rng.normal(np.log(9.0), 0.45))
        self.r_out = self.r_in * np.exp(rng.normal(np.log(1.3), 0.25))
        weak = rng.random() < 0.5
        self.gain = np.exp(rng.normal(np.log(0.5 if weak else 2.0), 0.5))  # cmH2O a kPa
        self.setpoint = rng.normal(5.3, 0.4)
        self.effort_least = 0.0 if weak else float(rng.uniform(0.0, 2.0))
        self.rate_own = float(np.clip(rng.normal(15.0, 3.0), 8.0, 26.0))
        self.rate_per_kpa = float(abs(rng.normal(0.5, 0.4)))
        self.interface = [Interface.NASAL_MASK, Interface.ORONASAL_MASK][int(rng.random() < 0.6)]
        low, high = INTERFACE_ML[self.interface]
        self.dead_space = (
            max(40.0, 2.2 * self.pbw * np.exp(rng.normal(0.0, 0.22))) + rng.uniform(low, high) * 0.9
        )
        self.leak = float(np.clip(rng.gamma(1.6, 5.0), 0.0, 23.0))
        self.leak_takes = float(rng.uniform(0.0, 0.006))  # share of support a L/min takes
        self.misread = np.exp(rng.normal(0.0, 0.10))

    def steady(self, settings: MachineSettings, vco2: float, extra_dead_space: float = 0.0):
        """PaCO2, tidal volume and rate where CO2 output and ventilation meet (bisection)."""
        low, high = 2.0, 40.0
        for _ in range(60):
            middle = 0.5 * (low + high)
            volume, rate = self.breath(settings, middle)
            alveolar = rate * max(volume - self.dead_space - extra_dead_space, 1.0) / 1000.0
            if KPA_L_PER_ML * vco2 / alveolar > middle:
                low = middle
            else:
                high = middle
        return middle, *self.breath(settings, middle)

    def breath(self, settings: MachineSettings, paco2: float):
        rate_own = self.rate_own + self.rate_per_kpa * (paco2 - self.setpoint)
        rate = max(settings.backup_rate_min, min(rate_own, 30.0))
        if settings.mode == VentilatorMode.VOLUME_CONTROL:
            return settings.tidal_volume_ml * (1.0 - 0.3 * self.leak_takes * self.leak), rate
        support = settings.pressure_support_cmh2o
        leak = self.leak * (settings.ipap_cmh2o / self.ipap_at_start) ** 0.5
        effort = max(self.effort_least, self.gain * (paco2 - self.setpoint))
        drive = support * (1.0 - self.leak_takes * leak) + min(effort, 15.0)
        inspiratory = min(settings.inspiratory_time_s, 60.0 / rate - 0.3)
        volume = tidal_volume_pressure_ml(drive, self.compliance, self.r_in, self.r_out, inspiratory, rate)
        return volume, rate


def settings_for(person: Person, kind: str, rng: np.random.Generator) -> MachineSettings:
    mode = VentilatorMode.VOLUME_CONTROL if kind == "volume" else VentilatorMode.SPONTANEOUS_TIMED
    epap = float(rng.integers(4, 9))
    settings = {
        "backup_rate_min": float(rng.integers(10, 19)),
        "inspiratory_time_s": float(np.round(rng.uniform(0.9, 1.5), 1)),
        "circuit": Circuit.SINGLE_LIMB_PORT,
        "interface": person.interface,
    }
    if mode == VentilatorMode.VOLUME_CONTROL:
        person.ipap_at_start = 20.0
        volume = float(np.round(person.pbw * rng.uniform(7.0, 10.5)) + 40.0)
        return MachineSettings(mode, tidal_volume_ml=volume, **settings)
    person.ipap_at_start = epap + float(rng.integers(8, 19))
    return MachineSettings(mode, ipap_cmh2o=person.ipap_at_start, epap_cmh2o=epap, **settings)


def proposal_for(kind: str, settings: MachineSettings, rng: np.random.Generator) -> Proposal:
    step = float(rng.integers(2, 7))
    if kind == "pressure up":
        return Proposal(kind, ipap_cmh2o=settings.ipap_cmh2o + step)
    if kind == "pressure down":
        return Proposal(kind, ipap_cmh2o=max(settings.ipap_cmh2o - step, settings.epap_cmh2o + 5.0))
    if kind == "backup rate":
        return Proposal(kind, backup_rate_min=settings.backup_rate_min + float(rng.choice([-3, -2, 2, 4, 6])))
    if kind == "inspiratory time":
        return Proposal(
            kind, inspiratory_time_s=settings.inspiratory_time_s + float(rng.choice([-0.2, 0.2, 0.4]))
        )
    if kind == "dead space":
        return Proposal(kind, dead_space_change_ml=float(rng.choice([-60.0, -40.0, 40.0, 60.0])))
    if kind == "volume":
        return Proposal(
            kind, tidal_volume_ml=settings.tidal_volume_ml + float(rng.choice([-60.0, 50.0, 100.0]))
        )
    return Proposal(
        kind, ipap_cmh2o=settings.ipap_cmh2o + step, backup_rate_min=settings.backup_rate_min + 3.0
    )


def baseline_for(person: Person, settings, paco2, volume, rate, rng) -> Baseline:
    nights = 14
    shown = person.misread * volume * np.exp(rng.normal(0.0, 0.05, nights))
    rates = rate + rng.normal(0.0, 0.5, nights)
    middle = float(np.median(shown))
    error = 1.2533 * float(np.std(shown, ddof=1)) / nights**0.5
    breathing = Breathing(
        Uncertain(middle, float(np.hypot(0.10 * middle, error))),
        Uncertain(float(np.median(rates)), 1.2533 * float(np.std(rates, ddof=1)) / nights**0.5),
        person.leak,
        nights,
        0,
        0.10,
        float(np.clip(100.0 * (rate - settings.backup_rate_min) / max(rate, 1.0) * 3.0, 0.0, 100.0)),
    )
    weight = predicted_weight(
        person.height_cm + rng.normal(0, 1.0),
        HeightMethod.STANDING,
        Sex.MALE if person.male else Sex.FEMALE,
        60,
    )
    airway = plain_figure(2.2 * weight.value, 40.0, "mL")
    space = whole_dead_space(airway, *INTERFACE_ML[person.interface])
    reading = paco2 * np.exp(rng.normal(0.0, READING_SD_LN))
    anchor = Anchor(
        "r",
        datetime(2025, 1, 6, tzinfo=UTC),
        date(2025, 1, 6),
        "arterial",
        float(reading),
        READING_SD_LN,
        True,
        None,
        7.37,
    )
    body = Body(weight, HeightMethod.STANDING, None, space)
    return Baseline(settings, date(2024, 12, 1), breathing, body, anchor, None)


def one(seed: int):
    """Give one person's proposal: kind, whether the next reading lies in both intervals, width, error."""
    rng = np.random.default_rng(seed)
    for _ in range(200):
        kind = str(rng.choice(KINDS))
        person = Person(rng)
        settings = settings_for(person, kind, rng)
        paco2, volume, rate = person.steady(settings, person.vco2)
        if 5.2 <= paco2 <= 10.0 and volume < 1100.0:
            break
    proposal = proposal_for(kind, settings, rng)
    try:
        now = after(settings, proposal)
    except ValueError:
        return None
    baseline = baseline_for(person, settings, paco2, volume, rate, rng)
    vco2 = person.vco2 * np.exp(rng.normal(0.0, 0.08))
    extra = proposal.dead_space_change_ml
    truth = person.steady(now, vco2, extra)[0] * np.exp(rng.normal(0.0, READING_SD_LN))
    own = None
    if kind.startswith("pressure") and rng.random() < 0.3:
        step = now.pressure_support_cmh2o - settings.pressure_support_cmh2o
        slope = np.log(person.steady(now, person.vco2)[0] / paco2) / step
        own = OwnResponse(float(slope + rng.normal(0.0, 0.02)), 0.02, "one past change")
    found = forecast(baseline, proposal, own=own, seed=seed)
    if isinstance(found, Refused):
        return kind, None
    expected, low_80, high_80, low_95, high_95 = quantiles(found.reading)
    return kind, (
        low_80 <= truth <= high_80,
        low_95 <= truth <= high_95,
        robust_sd(np.log(found.reading)),
        float(np.log(truth / expected)),
        own is not None,
    )


def study(people: int, seed: int):
    """Give coverage over all and by kind of proposal, and how many were refused."""
    rows, refused = defaultdict(list), Counter()
    for number in range(people):
        result = one(seed * 1_000_003 + number)
        if result is None or result[1] is None:
            refused["bad proposal" if result is None else result[0]] += 1
            continue
        kind, row = result
        for name in ("all", kind, *(("with own response",) if row[4] else ())):
            rows[name].append(row[:4])
    return {name: summary(values) for name, values in rows.items()}, dict(refused)


def summary(values):
    table = np.array(values, dtype=float)
    return {
        "n": len(values),
        "cover_80": 100 * table[:, 0].mean(),
        "cover_95": 100 * table[:, 1].mean(),
        "sd_ln": table[:, 2].mean(),
        "bias_ln": np.median(table[:, 3]),
        "spread_ln": np.percentile(np.abs(table[:, 3] - np.median(table[:, 3])), 68),
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--people", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    table, refused = study(given.people, given.seed)
    print(f"{'proposal':20} {'n':>5} {'80 %':>6} {'95 %':>6} {'SD ln':>6} {'bias':>6} {'spread':>6}")
    for name in ("all", *KINDS, "with own response"):
        if name in table:
            row = table[name]
            print(
                f"{name:20} {row['n']:5d} {row['cover_80']:6.1f} {row['cover_95']:6.1f} {row['sd_ln']:6.3f} "
                f"{row['bias_ln']:+6.3f} {row['spread_ln']:6.3f}"
            )
    print("refused:", refused or "none")


if __name__ == "__main__":
    main()
