"""Effects of settings changes over a cohort: partial pooling with mixed models, with n behind each figure."""

import warnings
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from hvmon.records.dossier import Dossier
from hvmon.stats.priors import Priors
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.settings_changes import before_after

Array = NDArray[np.float64]

MIN_CHANGES = 20
MIN_PEOPLE = 10
MIN_GROUP_CHANGES = 5

NO_SPREAD = "the differences are repeated exactly, as in copied records; no spread between them can be told"

COHORT_SCHEMA: dict[str, pl.DataType] = {
    "person_key": pl.String(),
    "group": pl.String(),
    "pressure_support_cmh2o": pl.Float64(),
    "backup_rate": pl.Float64(),
    "difference_kpa": pl.Float64(),
}
"""One row a settings change: its size and the like-for-like difference after minus before."""

Z = 1.959963984540054

GROUP_INTERVALS = (
    "intervals of diagnosis groups are narrower than they say: in invented cohorts those marked 95 % covered "
    "88 to 89 % where groups truly differ, 96 % where they do not; those of everybody covered 92 to 98 %"
)
"""Measured in 100 invented cohorts each; see `docs/trend.md`, "The whole cohort"."""


@dataclass(frozen=True, slots=True)
class PooledEffect:
    """One row of the forest plot."""

    what: str
    unit: str
    group: str
    """Diagnosis group, or "all"."""
    estimate_kpa: float
    low_kpa: float
    high_kpa: float
    n_people: int
    n_changes: int
    pooled: bool
    """Drawn toward the others (partial pooling); False for the overall figure."""


@dataclass(frozen=True)
class CohortEffects:
    """Pooled effects, or why there are none."""

    effects: tuple[PooledEffect, ...]
    refused: str
    notes: tuple[str, ...]

    def forest(self) -> pl.DataFrame:
        """Give the forest plot's frame, one row a figure."""
        return pl.DataFrame(
            [
                {
                    "label": f"{effect.what}, {effect.group}",
                    "what": effect.what,
                    "unit": effect.unit,
                    "group": effect.group,
                    "estimate_kpa": effect.estimate_kpa,
                    "low_kpa": effect.low_kpa,
                    "high_kpa": effect.high_kpa,
                    "n_people": effect.n_people,
                    "n_changes": effect.n_changes,
                    "pooled": effect.pooled,
                }
                for effect in self.effects
            ],
            schema={
                "label": pl.String, "what": pl.String, "unit": pl.String, "group": pl.String,
                "estimate_kpa": pl.Float64, "low_kpa": pl.Float64, "high_kpa": pl.Float64,
                "n_people": pl.Int64, "n_changes": pl.Int64, "pooled": pl.Boolean,
            },
        )  # fmt: skip


TERMS = (
    ("pressure_support_cmh2o", "pressure support", "kPa per cmH2O"),
    ("backup_rate", "backup rate", "kPa per breath a minute"),
)


def cohort_effects(changes: pl.DataFrame) -> CohortEffects:
    """Estimate the effect per cmH2O of pressure support and per breath of backup rate over a cohort.

    Parameters
    ----------
    changes
        Columns of `COHORT_SCHEMA`; rows without size or difference are left out and counted in a note.

    Returns
    -------
    CohortEffects
        Overall figures from a mixed model with people as groups, and figures by diagnosis group from one
        with groups' slopes as random effects. Refused below 20 changes or 10 people. Observational: who
        gets a large change differs from who gets a small one.
    """
    usable = changes.drop_nulls()
    notes = []
    if usable.height < changes.height:
        notes.append(f"{changes.height - usable.height} changes lacked a size or a like-for-like difference")
    people = usable["person_key"].n_unique()
    if usable.height < MIN_CHANGES or people < MIN_PEOPLE:
        refused = (
            f"{usable.height} usable changes in {people} people; at least {MIN_CHANGES} in {MIN_PEOPLE} "
            "are needed for a cohort figure"
        )
        return CohortEffects((), refused, tuple(notes))
    moving = [term for term in TERMS if usable[term[0]].n_unique() > 1]
    if not moving:
        return CohortEffects(
            (), "all changes had the same size; no effect per unit can be told", tuple(notes)
        )
    try:
        effects = _overall(usable, moving, notes)
        for term in moving:
            effects += _by_group(usable, term, moving, notes)
    except np.linalg.LinAlgError:
        return CohortEffects((), NO_SPREAD, tuple(notes))
    if any(effect.pooled for effect in effects):
        notes.append(GROUP_INTERVALS)
    return CohortEffects(tuple(effects), "", tuple(notes))


@dataclass(frozen=True, slots=True)
class _Fitted:
    """Fixed effects, random effects and the covariance of both, at the estimated variances."""

    estimate: Array
    covariance: Array
    fixed: int
    groups: tuple[str, ...]

    def slope(self, place: int, group: str | None = None) -> tuple[float, float]:
        """Give a fixed slope, or that of a group, with its standard error."""
        pick = np.zeros(self.estimate.size)
        pick[place] = 1.0
        if group is not None:
            pick[self.fixed + self.groups.index(group)] = 1.0
        return float(pick @ self.estimate), float(np.sqrt(pick @ self.covariance @ pick))


def _fit(usable: pl.DataFrame, names: list[str], groups: str, slope: str | None, notes: list[str]) -> _Fitted:
    """Estimate the variances with statsmodels, then solve the mixed-model equations at them.

    The equations (Henderson) give fixed and random effects with their joint covariance, also when the
    groups do not differ at all, where the library's own standard errors fail.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM  # noqa: PLC0415 - costs 1.7 s at import

    fixed = np.column_stack([np.ones(usable.height), *(usable[name].to_numpy() for name in names)])
    random = np.ones(usable.height) if slope is None else usable[slope].to_numpy()
    outcome = usable["difference_kpa"].to_numpy()
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        model = MixedLM(outcome, fixed, usable[groups].to_list(), exog_re=random[:, None])
        result = model.fit(reml=True, method=["powell"])
    residual = float(result.scale)
    between = max(float(np.asarray(result.cov_re)[0, 0]), 1e-9 * residual)
    if caught or between <= 1e-6 * residual:
        notes.append(f"{slope or 'level'} by {groups.replace('_key', '')}: no spread between them was found")
    keys, index = np.unique(usable[groups].to_numpy(), return_inverse=True)
    spread = np.zeros((usable.height, keys.size))
    spread[np.arange(usable.height), index] = random
    return _henderson(outcome, fixed, spread, (residual, between), tuple(map(str, keys)))


def _henderson(
    outcome: Array, fixed: Array, spread: Array, variances: tuple[float, float], groups: tuple[str, ...]
) -> _Fitted:
    residual, between = variances
    both = np.column_stack([fixed, spread])
    shrink = np.zeros(both.shape[1])
    shrink[fixed.shape[1] :] = residual / between
    inverse: Array = np.asarray(np.linalg.inv(both.T @ both + np.diag(shrink)), dtype=np.float64)
    return _Fitted(inverse @ (both.T @ outcome), residual * inverse, fixed.shape[1], groups)


def _interval(estimate: float, sd: float) -> tuple[float, float, float]:
    return estimate, estimate - Z * sd, estimate + Z * sd


def _overall(usable: pl.DataFrame, terms: list[tuple[str, str, str]], notes: list[str]) -> list[PooledEffect]:
    names = [name for name, _, _ in terms]
    result = _fit(usable, names, "person_key", None, notes)
    found = []
    for place, (name, what, unit) in enumerate(terms, start=1):
        moved = usable.filter(pl.col(name) != 0)
        numbers = _interval(*result.slope(place))
        people = moved["person_key"].n_unique()
        found.append(PooledEffect(what, unit, "all", *numbers, people, moved.height, False))
    return found


def _by_group(
    usable: pl.DataFrame, term: tuple[str, str, str], terms: list[tuple[str, str, str]], notes: list[str]
) -> list[PooledEffect]:
    name, what, unit = term
    sizes = usable.filter(pl.col(name) != 0).group_by("group").agg(pl.len(), pl.col("person_key").n_unique())
    counts = {row["group"]: (row["person_key"], row["len"]) for row in sizes.to_dicts()}
    if len(counts) < 2:  # noqa: PLR2004 - one group is "all"
        return []
    names = [each for each, _, _ in terms]
    result = _fit(usable, names, "group", name, notes)
    place = names.index(name) + 1
    found = []
    for group, (people, moves) in sorted(counts.items()):
        if moves < MIN_GROUP_CHANGES:
            notes.append(
                f"{what}, {group}: {moves} changes, at least {MIN_GROUP_CHANGES} are needed for a figure"
            )
            continue
        numbers = _interval(*result.slope(place, group))
        found.append(PooledEffect(what, unit, group, *numbers, people, moves, True))
    return found


def cohort_frame(dossiers: Iterable[Dossier], *, priors: Priors | None = None) -> pl.DataFrame:
    """Give one row a settings change of a cohort, with its size and like-for-like difference.

    A change without a like-for-like reading on both sides keeps its row with a null difference, so that
    `cohort_effects` can say how many there were.
    """
    rows = []
    for dossier in dossiers:
        readings = readings_frame(dossier)
        for change in changes_frame(dossier).to_dicts():
            compared = before_after(readings, change["changed_at"], priors=priors)
            rows.append(
                (
                    dossier.person_key,
                    dossier.person.diagnosis_group.value,
                    change["pressure_support_cmh2o"],
                    change["backup_rate"],
                    None if isinstance(compared, str) else compared.difference_kpa,
                )
            )
    return pl.DataFrame(rows, schema=COHORT_SCHEMA, orient="row")
