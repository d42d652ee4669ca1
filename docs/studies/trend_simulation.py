"""Invented people for the studies of the CO2 trend model: seeded, with their true level known.

Nothing here is a patient. Times are years from the first possible reading, levels ln kPa.
"""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from hvmon.stats.cases import DAYS_PER_YEAR
from hvmon.stats.priors import Priors, change_key, default_priors
from hvmon.stats.series import CHANGES_SCHEMA, READINGS_SCHEMA
from hvmon.stats.statespace import integrated_slope_variance

START = datetime(2023, 1, 2, 9, tzinfo=UTC)
SOURCES = ("arterial", "capillary earlobe", "venous", "tc earlobe")
KEYS = ("arterial", "capillary_earlobe", "venous", "tc_earlobe")
SHARES = (0.35, 0.25, 0.25, 0.15)


@dataclass
class Truth:
    """One invented person: readings, changes, and functions of the true usual level."""

    readings: pl.DataFrame
    changes: pl.DataFrame
    now: float
    level: dict[str, float]
    """True usual level [ln kPa] at named times."""
    slope: float
    values: np.ndarray
    sources: list[str]
    times: np.ndarray = field(default_factory=lambda: np.empty(0))


def after(years: float) -> datetime:
    """Moment some years after the start."""
    return START + timedelta(days=float(years) * DAYS_PER_YEAR)


def frame(times, sources, kpa, on, oxygen=None) -> pl.DataFrame:
    """Readings frame of one invented person."""
    rows = [
        (
            f"r{i}",
            after(t),
            source,
            float(value),
            "on ventilator" if there else "off ventilator",
            0.0 if oxygen is None else float(oxygen[i]),
            "routine",
            "kPa",
            float(value),
            *[None] * 5,
        )
        for i, (t, source, value, there) in enumerate(zip(times, sources, kpa, on, strict=True))
    ]
    return pl.DataFrame(rows, schema=READINGS_SCHEMA, orient="row")


def changes_frame(times, kinds) -> pl.DataFrame:
    """Changes frame of one invented person."""
    rows = [
        (f"c{i}", after(t), kind, 2.0, 0.0, kind)
        for i, (t, kind) in enumerate(zip(times, kinds, strict=True))
    ]
    return pl.DataFrame(rows, schema=CHANGES_SCHEMA, orient="row")


def ornstein(rng, times, sd, years):
    """Day-to-week state at sorted times."""
    out = np.empty(times.size)
    state = sd * rng.standard_normal()
    last = times[0]
    for i, t in enumerate(times):
        keep = np.exp(-(t - last) / years)
        state = keep * state + sd * np.sqrt(max(1 - keep**2, 0)) * rng.standard_normal()
        out[i], last = state, t
    return out


def model_path(rng, times, priors, slope_sd):
    """Level and slope of the model's own truth at sorted times."""
    theta, walk = DAYS_PER_YEAR / priors.value("slope.days"), priors.value("level.walk")
    level = priors.value("level.mean") + priors.value("level.sd") * rng.standard_normal()
    slope = slope_sd * rng.standard_normal()
    levels, slopes = np.empty(times.size), np.empty(times.size)
    last = times[0]
    for i, t in enumerate(times):
        d = t - last
        if d > 0:
            into, keep = -np.expm1(-theta * d) / theta, np.exp(-theta * d)
            q11 = slope_sd**2 * float(integrated_slope_variance(d, theta)) + walk**2 * d
            q12, q22 = slope_sd**2 * theta * into**2, -(slope_sd**2) * np.expm1(-2 * theta * d)
            shock = np.linalg.cholesky([[q11, q12], [q12, q22]]) @ rng.standard_normal(2)
            level, slope = level + into * slope + shock[0], keep * slope + shock[1]
        levels[i], slopes[i], last = level, slope, t
    return levels, slopes


def line_path(rng, times):
    """Straight line in kPa: 0 to 1.2 kPa a year from 5.5 to 7.5 kPa."""
    start, rate = rng.uniform(5.5, 7.5), rng.uniform(-0.3, 1.2)
    kpa = start + rate * times
    return np.log(kpa), rate / kpa


def hinge_path(rng, times):
    """Flat, then rising late by 0, 0.8 or 1.6 kPa a year from a bend at 0.8 to 1.6 years."""
    start, rate, bend = rng.uniform(5.5, 7.5), rng.choice([0.0, 0.8, 1.6]), rng.uniform(0.8, 1.6)
    kpa = start + rate * np.maximum(times - bend, 0)
    return np.log(kpa), np.where(times >= bend, rate, 0.0) / kpa


def person(
    rng, *, truth="model", noise=1.0, offset_error=0.0, gross=0.0, priors: Priors | None = None
) -> Truth:
    """Draw one person: 6 to 20 readings over two years, four sources, one settings change."""
    table = priors or default_priors()
    n = int(rng.integers(6, 21))
    times = np.sort(rng.uniform(0, 2, n))
    now = 2.0
    asked = {"now": now, "then": now - 0.5, "ahead": now + 0.5}
    every = np.sort(np.concatenate([times, list(asked.values())]))
    if truth == "model":
        slopes = np.array(table.grid("slope.sd"))
        slope_sd = rng.choice(
            slopes, p=np.array(table.grid("slope.weight")) / sum(table.grid("slope.weight"))
        )
        level, slope = model_path(rng, every, table, slope_sd)
    else:
        level, slope = (line_path if truth == "line" else hinge_path)(rng, every)
    kind = rng.choice(["initiation", "escalation", "neutral", "de-escalation"])
    moved = rng.uniform(0.4, 1.6)
    stem = change_key(kind)
    effect = table.value(f"{stem}.mean") + table.value(f"{stem}.sd") * rng.standard_normal()
    days = table.value("change.days") / DAYS_PER_YEAR

    def reached(t):
        return effect * -np.expm1(-np.maximum(np.asarray(t) - moved, 0) / days)

    usual = level + reached(every)
    at = {name: float(usual[np.searchsorted(every, t)]) for name, t in asked.items()}
    which = rng.choice(4, n, p=SHARES)
    person_offset = np.array(
        [0.0]
        + [
            table.value(f"offset.{key}.mean") + table.value(f"offset.{key}.sd") * rng.standard_normal()
            for key in KEYS[1:]
        ]
    )
    person_offset[1:] += offset_error * rng.uniform(0.6, 1.0) / 1.0
    on = rng.random(n) < 0.2
    gamma = table.value("condition.day_on.mean") + table.value("condition.day_on.sd") * rng.standard_normal()
    spread = np.array([table.value(f"noise.{KEYS[k]}") for k in which])
    multiplier = noise * (
        rng.choice(table.grid("multiplier"), p=table.grid("multiplier.weight")) if truth == "model" else 1.0
    )
    inside = usual[np.searchsorted(every, times)]
    y = inside + ornstein(rng, times, table.value("day.sd"), table.value("day.days") / DAYS_PER_YEAR)
    y = y + person_offset[which] + gamma * on + multiplier * spread * rng.standard_normal(n)
    wrong = rng.random(n) < gross
    y = y + wrong * rng.choice([-0.35, 0.35, 0.5, -0.5], n)
    kpa = np.exp(y)
    sources = [SOURCES[k] for k in which]
    return Truth(
        frame(times, sources, kpa, on),
        changes_frame([moved], [kind]),
        now,
        at,
        float(slope[np.searchsorted(every, now)]),
        kpa,
        sources,
        times,
    )
