"""How a person's PaCO2 answered to pressure support so far, from the settings-change model."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from hvmon.stats.answers import ChangeEffect
from hvmon.stats.priors import Priors, change_key, default_priors

Z_95 = 1.959963984540054
LEAST_SHARE_LEARNT = 0.1
"""A change counts when the readings hold at least a tenth of the prior's own information (Project)."""


@dataclass(frozen=True, slots=True)
class OwnResponse:
    """How this person's PaCO2 answered to pressure support so far."""

    mean_ln_per_cmh2o: float
    sd_ln_per_cmh2o: float
    words: str = ""


def own_response(effects: Sequence[tuple[float, float, float]]) -> OwnResponse | None:
    """Give the person's own response to pressure support from past settings changes.

    Parameters
    ----------
    effects
        One triple a change: difference of pressure support [cmH2O], effect on ln PaCO2, its SD. Changes
        that left pressure support as it was say nothing and are passed over.

    Returns
    -------
    OwnResponse or None
        A line through the origin by weighted least squares; None without a change of pressure support.
    """
    used = [(step, effect, sd) for step, effect, sd in effects if step and sd > 0.0]
    if not used:
        return None
    information = sum(step**2 / sd**2 for step, _, sd in used)
    mean = sum(step * effect / sd**2 for step, effect, sd in used) / information
    noun = "change" if len(used) == 1 else "changes"
    return OwnResponse(mean, float(information**-0.5), f"{len(used)} past {noun} of pressure support")


def own_response_of(
    effects: Sequence[ChangeEffect],
    changes: pl.DataFrame,
    level_kpa: float,
    *,
    priors: Priors | None = None,
) -> OwnResponse | None:
    """Give the own response from the settings effects of the trend.

    Only changes of pressure support alone, with readings before and after. The usual effect of the kind of
    change, towards which the trend shrinks, is taken out again: what stays is what the readings say.

    Parameters
    ----------
    effects
        As the trend estimate gives them.
    changes
        Columns of `hvmon.stats.series.CHANGES_SCHEMA`, the same record ids.
    level_kpa
        Usual level about the changes [kPa].
    priors
        The table the trend was made with.
    """
    table = priors or default_priors()
    steps = {row["record_id"]: _pressure_step(row) for row in changes.iter_rows(named=True)}
    found = []
    for effect in effects:
        step = steps.get(effect.record_id)
        learnt = _learnt(effect, level_kpa, table) if step else None
        if step and learnt is not None:
            found.append((step, *learnt))
    return own_response(found)


def _pressure_step(row: dict[str, object]) -> float | None:
    """Difference of pressure support where nothing says that the backup rate moved with it."""
    step, rate = row["pressure_support_cmh2o"], row["backup_rate"]
    return float(step) if isinstance(step, float) and step and not rate else None


def _learnt(effect: ChangeEffect, level_kpa: float, priors: Priors) -> tuple[float, float] | None:
    """Effect on ln PaCO2 and its SD from this person's readings alone; None when they say next to nothing."""
    if effect.effect_kpa is None or not (effect.n_before and effect.n_after):
        return None
    low, middle, high = (
        math.log1p(max(value / level_kpa, -0.9))
        for value in (effect.effect_kpa.low95, effect.effect_kpa.median, effect.effect_kpa.high95)
    )
    information = (2.0 * Z_95 / (high - low)) ** 2
    key = change_key(effect.kind)
    usual, usual_information = priors.value(f"{key}.mean"), priors.value(f"{key}.sd") ** -2
    own = information - usual_information
    if own < LEAST_SHARE_LEARNT * usual_information:
        return None
    return (middle * information - usual * usual_information) / own, float(own**-0.5)
