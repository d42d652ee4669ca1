"""Summaries of a person's nights over time, as the review shows them: only like is joined with like."""

from collections.abc import Iterator

import polars as pl

from hvmon.records.dossier import Dossier
from hvmon.records.held import Held
from hvmon.records.study import NightSummary
from hvmon.services.course_rows import oxygen_words
from hvmon.services.headline import pressure_words
from hvmon.units import PressureUnit
from hvmon.vocabulary import NotRecorded, VentilatorState

SCHEMA = {
    "night_of": pl.Date,
    "lane": pl.String,
    "value": pl.Float64,
    "said": pl.String,
    "series": pl.String,
    "on_ventilator": pl.Boolean,
}


def trend_rows(dossier: Dossier, unit: PressureUnit) -> pl.DataFrame:
    """Give the summaries of every night, oldest first, each with the name of what it may be joined with.

    A state is the ventilator and the oxygen. Shares of time are joined within one averaging time and state;
    an averaging time that was not recorded is not known to be like any other, so such a night stands alone.
    CO2 is joined within one way of correcting drift and one state. Counts of falls are joined with nothing:
    they also depend on the resolution of the oximeter, which a summary does not hold.
    """
    rows = [row for held in dossier.night_summary for row in _rows(held, unit)]
    return pl.DataFrame(rows, schema=SCHEMA).sort("night_of", "lane", maintain_order=True)


def conventions(dossier: Dossier) -> tuple[str, ...]:
    """Name every convention under which falls were counted, in order of its first night."""
    named = (_convention(held.record) for held in dossier.night_summary if held.record.dips_per_h is not None)
    return tuple(dict.fromkeys(named))


def _convention(night: NightSummary) -> str:
    return f"falls of {night.dip_size_pct} %, {night.dip_convention}"


def _rows(held: Held[NightSummary], unit: PressureUnit) -> Iterator[dict[str, object]]:
    night = held.record
    state = f"{night.ventilator.value}, {oxygen_words(night.oxygen_l_min)}"
    unlike = isinstance(night.averaging_s, NotRecorded)
    device = held.record_id if unlike else f"averaging {night.averaging_s} s"
    whose = {"night_of": night.night_of, "on_ventilator": night.ventilator == VentilatorState.ON}
    share = night.below_90_pct
    if share is not None:
        said = f"{share:.1f} % of valid time"
        yield whose | _point("below_90", float(share), said, f"{state}, {device}")
    if night.dips_per_h is not None:
        said = f"{night.dips_per_h} /h, {_convention(night)}"
        yield whose | _point("dips", float(night.dips_per_h), said, held.record_id)
    if night.tcco2_mean is not None:
        kpa = night.tcco2_mean.kpa
        series = f"{state}, drift correction {night.drift_correction.value}"
        yield whose | _point("co2", float(kpa), f"{pressure_words(float(kpa), unit)}, {series}", series)


def _point(lane: str, value: float, said: str, series: str) -> dict[str, object]:
    return {"lane": lane, "value": value, "said": said, "series": series}
