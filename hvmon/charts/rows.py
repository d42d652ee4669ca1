"""What a timeline is given: one frame a kind of thing, with named columns and units.

Moments are UTC. Pressures come in kilopascal for placing; the text `entered` keeps the value and unit as
typed, and it is what is shown in words. An empty frame is a lane in which nothing was recorded.
"""

from dataclasses import dataclass, field
from typing import Any

import polars as pl

Schema = dict[str, Any]
"""Column name to polars type."""

_AT = pl.Datetime("us", "UTC")

READINGS: Schema = {
    "at": _AT,
    "kind": pl.String,
    "ventilator": pl.String,
    "oxygen": pl.String,
    "beside": pl.String,
    "pco2_kpa": pl.Float64,
    "entered": pl.String,
    "series": pl.String,
    "note": pl.String,
}
"""CO2 readings. `kind` is a word of `theme.KINDS`; `series` names the like-for-like series; `beside` is
the short text beside the sign (oxygen, a question mark)."""

LIMITS: Schema = {"words": pl.String, "kpa": pl.Float64, "lane": pl.String}
"""Limits in force: words with rule id and native value; lane "co2", "nights" or "use" (then hours)."""

TREND: Schema = {
    "at": _AT,
    "low80": pl.Float64,
    "high80": pl.Float64,
    "low95": pl.Float64,
    "high95": pl.Float64,
    "centre": pl.Float64,
}
"""The modelled usual PaCO2 [kPa]: two intervals and the middle."""

CHANGES: Schema = {"at": _AT, "words": pl.String, "detail": pl.String}
"""Settings changes: short words for the lane, full words for the pointer."""

NIGHTS: Schema = {
    "at": _AT,
    "ventilator": pl.String,
    "oxygen": pl.String,
    "mean_kpa": pl.Float64,
    "peak_kpa": pl.Float64,
    "beside": pl.String,
    "entered": pl.String,
}
"""Overnight studies: transcutaneous mean and peak [kPa], `beside` the saturation in words."""

SYMPTOMS: Schema = {"at": _AT, "rating": pl.String, "value": pl.Int64, "flap": pl.Boolean}
"""Ratings 0 to 10; null is not recorded. `flap` true where the CO2 flap was present."""

USE: Schema = {
    "week": _AT,
    "median_h": pl.Float64,
    "low_h": pl.Float64,
    "high_h": pl.Float64,
    "nights": pl.Int64,
    "leak_l_min": pl.Float64,
    "leak_kind": pl.String,
}
"""Use by week: median, shortest and longest night [h], nights recorded, median leak [L/min], its kind."""

EVENTS: Schema = {"at": _AT, "until": _AT, "words": pl.String, "detail": pl.String}
"""Clinical events with their end, short words and full words."""


def empty(schema: Schema) -> pl.DataFrame:
    """Give a frame without rows: nothing recorded."""
    return pl.DataFrame(schema=schema)


@dataclass(frozen=True)
class TimelineRows:
    """Everything one person's timeline shows. A frame not given is a lane without records."""

    readings: pl.DataFrame = field(default_factory=lambda: empty(READINGS))
    limits: pl.DataFrame = field(default_factory=lambda: empty(LIMITS))
    trend: pl.DataFrame | None = None
    """None when no estimate is shown."""
    changes: pl.DataFrame = field(default_factory=lambda: empty(CHANGES))
    nights: pl.DataFrame = field(default_factory=lambda: empty(NIGHTS))
    symptoms: pl.DataFrame = field(default_factory=lambda: empty(SYMPTOMS))
    use: pl.DataFrame = field(default_factory=lambda: empty(USE))
    events: pl.DataFrame = field(default_factory=lambda: empty(EVENTS))
