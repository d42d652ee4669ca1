"""Builders of invented frames for the tests of this room."""

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl

from hvmon.stats.series import CHANGES_SCHEMA, READINGS_SCHEMA

START = datetime(2024, 1, 8, 9, tzinfo=UTC)
OFF = "off ventilator"
ON = "on ventilator"


def readings(*rows):
    """Rows of (day, source, kPa[, ventilator[, oxygen]])."""
    full = []
    for i, row in enumerate(rows):
        day, source, kpa, ventilator, oxygen = (*row, *(OFF, 0.0)[len(row) - 3 :])
        full.append(
            (
                f"r{i}",
                after(day),
                source,
                float(kpa),
                ventilator,
                oxygen,
                "routine",
                "kPa",
                float(kpa),
                *[None] * 5,
            )
        )
    return pl.DataFrame(full, schema=READINGS_SCHEMA, orient="row")


def changes(*rows):
    """Rows of (day, kind)."""
    full = [
        (f"c{i}", START + timedelta(days=float(day)), kind, 2.0, 0.0, kind)
        for i, (day, kind) in enumerate(rows)
    ]
    return pl.DataFrame(full, schema=CHANGES_SCHEMA, orient="row")


SOURCES = ("arterial", "capillary earlobe", "venous", "tc earlobe")


def random_person(seed, n=10, *, span=700, sources=SOURCES):
    """One person's readings about 6.5 kPa, unlike sources, irregular days."""
    rng = np.random.default_rng(seed)
    days = np.sort(rng.uniform(0, span, n))
    kinds = rng.choice(sources, n)
    values = np.exp(np.log(6.5) + 0.08 * rng.standard_normal(n))
    return readings(*zip(days, kinds, values, strict=True))


def after(days):
    """The moment some days after the start."""
    return START + timedelta(days=float(days))
