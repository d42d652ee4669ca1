"""The model's rows: what each reading is made of, what the usual level is made of, and the grid."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from hvmon.stats.cases import DAYS_PER_YEAR, Case
from hvmon.stats.priors import Priors, change_key
from hvmon.stats.statespace import DAY, LEVEL, MOVING, SLOPE, Array, System, make_steps

MAX_CHANGES = 6
"""Responses estimated one by one; older ones become a step of the level with the same prior."""

COLLAPSE_AFTER_DAYS = 548.0
"""[days] a settings change older than 18 months before "now" becomes a step of the level."""

UNKNOWN_STATE_SHARE = 0.5
"""A reading whose ventilator state was not recorded is half on and half off, with the spread of both."""


@dataclass(frozen=True)
class Grid:
    """Hyperparameter grid, flattened: spread of the slope and noise multiplier at each point."""

    slope_sd: Array
    multiplier: Array
    weight: Array
    weight_progressive: Array

    @property
    def size(self) -> int:
        """Number of grid points."""
        return self.slope_sd.size

    @classmethod
    def of(cls, priors: Priors) -> "Grid":
        """Give the grid of a priors table; weights are scaled to sum to one."""
        slopes, multipliers = np.array(priors.grid("slope.sd")), np.array(priors.grid("multiplier"))
        share = np.array(priors.grid("multiplier.weight"))
        weights = [
            np.outer(np.array(priors.grid(key)), share).ravel()
            for key in ("slope.weight", "slope.weight_progressive")
        ]
        return cls(
            np.repeat(slopes, multipliers.size),
            np.tile(multipliers, slopes.size),
            weights[0] / weights[0].sum(),
            weights[1] / weights[1].sum(),
        )


@dataclass(frozen=True)
class Layout:
    """Names of the states of a batch: three that move, then constants used by anyone in it."""

    offsets: tuple[str, ...]
    conditions: tuple[str, ...]
    oxygen: bool
    changes: int

    @cached_property
    def names(self) -> tuple[str, ...]:
        """All state names in order."""
        constants = [f"offset.{name}" for name in self.offsets]
        constants += [f"condition.{name}" for name in self.conditions]
        constants += ["oxygen"] * self.oxygen
        return ("level", "slope", "day", *constants, *(f"change {k}" for k in range(self.changes)))

    @property
    def first_change(self) -> int:
        """Index of the first settings-change state."""
        return MOVING + len(self.offsets) + len(self.conditions) + self.oxygen

    def at(self, name: str) -> int:
        """Index of a named state."""
        return self.names.index(name)


@dataclass(frozen=True)
class Changes:
    """A case's settings changes, split into those with a response of their own and those collapsed."""

    own: NDArray[np.intp]
    collapsed: NDArray[np.intp]


@dataclass(frozen=True)
class Rows:
    """Rows of one case in order of time: readings and asked dates."""

    day: Array
    reading: NDArray[np.intp]
    """Index of the reading, -1 for an asked date."""
    now: int
    review: int
    """Row of the review date; -1 when none."""


def split_changes(case: Case) -> Changes:
    """Choose which settings changes get a response of their own."""
    recent = case.change_day > case.today - COLLAPSE_AFTER_DAYS
    own = np.flatnonzero(recent)[-MAX_CHANGES:]
    recent[:] = False
    recent[own] = True
    return Changes(own, np.flatnonzero(~recent & (case.change_day > 0)))


def make_rows(case: Case, asked: Array | None) -> Rows:
    """Merge readings with asked dates; "now" and the review date are always among the asked ones."""
    marks = [case.today] if case.review is None else [case.today, case.review]
    extra = np.concatenate([marks, [] if asked is None else asked])
    day = np.concatenate([case.day, extra])
    order = np.argsort(day, kind="stable")
    reading = np.concatenate([np.arange(case.day.size), np.full(extra.size, -1)])[order]
    place = np.argsort(order, kind="stable")
    n = case.day.size
    return Rows(
        day[order], reading.astype(np.intp), int(place[n]), int(place[n + 1]) if len(marks) > 1 else -1
    )


def layout_of(cases: Sequence[Case]) -> Layout:
    """Give the states needed by a batch."""
    offsets = sorted({name for case in cases for name in case.offset} - {"arterial"})
    conditions = {name for case in cases for name in case.condition} - {"off"}
    if "unknown" in conditions:
        conditions = (conditions - {"unknown"}) | {"day_on"}
    oxygen = any(np.nanmax(np.abs(case.oxygen), initial=0.0) > 0 for case in cases)
    return Layout(
        tuple(offsets), tuple(sorted(conditions)), oxygen, max(split_changes(case).own.size for case in cases)
    )


def response(day: Array, change_day: float, days: float) -> Array:
    """Share of a settings change's effect reached by each day, counted from the first reading (day 0)."""

    def reached(since: Array) -> Array:
        return np.asarray(-np.expm1(-np.maximum(since, 0.0) / days))

    return reached(day - change_day) - reached(np.array(-change_day))


def build(
    cases: Sequence[Case], rows: Sequence[Rows], layout: Layout, priors: Priors, *, probe: bool
) -> System:
    """Assemble the state space system of a batch; members are cases times grid points, grid fastest.

    Parameters
    ----------
    cases, rows
        Of equal length; cases with fewer rows are padded with rows that change nothing.
    probe
        Also ask for the usual level on every row.
    """
    grid, count, height = Grid.of(priors), len(cases), max(each.day.size for each in rows)
    states = len(layout.names)
    level = np.zeros((height, states, count))
    design = np.zeros((height, states, count))
    flat = {
        name: np.zeros((height, count)) for name in ("delta", "reading", "noise", "seen", "shift", "spread")
    }
    flat["noise"] += 1.0
    for person, (case, case_rows) in enumerate(zip(cases, rows, strict=True)):
        size = case_rows.day.size
        level[:size, :, person] = _level_rows(case, case_rows, layout, priors)
        design[:size, :, person] = _design_rows(case, case_rows, layout, level[:size, :, person])
        _fill_flat(case, case_rows, priors, {name: part[:size, person] for name, part in flat.items()})
    starts = [_start(case, layout, priors) for case in cases]
    points = grid.size
    slope_sd = np.tile(grid.slope_sd, count)
    variance = np.repeat(np.stack([start[1] for start in starts], axis=1), points, axis=1)
    variance[SLOPE] = slope_sd**2
    repeated = {name: np.repeat(part, points, axis=-1) for name, part in flat.items()}
    steps = make_steps(
        repeated["delta"] / DAYS_PER_YEAR,
        slope_years=priors.value("slope.days") / DAYS_PER_YEAR,
        slope_sd=slope_sd,
        walk_sd=priors.value("level.walk"),
        day_years=priors.value("day.days") / DAYS_PER_YEAR,
        day_sd=priors.value("day.sd"),
        shift=repeated["shift"],
        shift_variance=repeated["spread"],
    )
    return System(
        steps=steps,
        design=np.repeat(design, points, axis=-1),
        probe=np.repeat(level, points, axis=-1) if probe else None,
        reading=repeated["reading"],
        noise_variance=repeated["noise"] * np.tile(grid.multiplier, count) ** 2,
        observed=repeated["seen"],
        mean=np.repeat(np.stack([start[0] for start in starts], axis=1), points, axis=1),
        variance=variance,
        now_row=np.repeat([each.now for each in rows], points),
    )


def _level_rows(case: Case, rows: Rows, layout: Layout, priors: Priors) -> Array:
    level = np.zeros((rows.day.size, len(layout.names)))
    level[:, LEVEL] = 1.0
    level[:, DAY] = float(case.with_day)
    for slot, change in enumerate(split_changes(case).own):
        share = response(rows.day, case.change_day[change], priors.value("change.days"))
        level[:, layout.first_change + slot] = share
    return level


def _design_rows(case: Case, rows: Rows, layout: Layout, level: Array) -> Array:
    design = np.zeros_like(level)
    for row in np.flatnonzero(rows.reading >= 0):
        index = rows.reading[row]
        design[row] = level[row]
        design[row, DAY] = 1.0
        if case.offset[index] != "arterial":
            design[row, layout.at(f"offset.{case.offset[index]}")] = 1.0
        if case.condition[index] == "unknown":
            design[row, layout.at("condition.day_on")] = UNKNOWN_STATE_SHARE
        elif case.condition[index] != "off":
            design[row, layout.at(f"condition.{case.condition[index]}")] = 1.0
        if layout.oxygen and np.isfinite(case.oxygen[index]):
            design[row, layout.at("oxygen")] = case.oxygen[index]
    return design


def _fill_flat(case: Case, rows: Rows, priors: Priors, flat: dict[str, Array]) -> None:
    flat["delta"][1:] = np.diff(rows.day)
    chosen = rows.reading >= 0
    index = rows.reading[chosen]
    flat["reading"][chosen] = np.log(case.kpa[index])
    flat["noise"][chosen] = reading_variance(case, priors)[index]
    flat["seen"][chosen] = case.used[index]
    for change in split_changes(case).collapsed:
        row = int(np.searchsorted(rows.day, case.change_day[change], side="left"))
        if row < rows.day.size:
            stem = change_key(case.change_kind[change])
            flat["shift"][row] += priors.value(f"{stem}.mean")
            flat["spread"][row] += priors.value(f"{stem}.sd") ** 2


def reading_variance(case: Case, priors: Priors) -> Array:
    """Give the spread (squared) of each reading before the noise multiplier.

    A ventilator state or an oxygen flow that was not recorded adds the spread it could have caused. A
    newest reading supposed wrong has the spread of a gross error.
    """
    base = np.array([priors.value(f"noise.{name}") ** 2 for name in case.noise])
    effect = priors.value("condition.day_on.mean") ** 2 + priors.value("condition.day_on.sd") ** 2
    unknown = np.array([name == "unknown" for name in case.condition])
    base += unknown * UNKNOWN_STATE_SHARE * (1 - UNKNOWN_STATE_SHARE) * effect
    missing = ~np.isfinite(case.oxygen)
    if missing.any() and not missing.all():
        effect = priors.value("oxygen.mean") ** 2 + priors.value("oxygen.sd") ** 2
        base += missing * effect * float(np.nanvar(case.oxygen))
    if case.newest_wrong:
        base[case.newest] *= priors.value("gross.variance")
    return base


def _start(case: Case, layout: Layout, priors: Priors) -> tuple[Array, Array]:
    mean, variance = np.zeros(len(layout.names)), np.zeros(len(layout.names))
    keys = {LEVEL: "level"} | {
        index: name
        for index, name in enumerate(layout.names)
        if index >= MOVING and not name.startswith("change")
    }
    for slot, change in enumerate(split_changes(case).own):
        keys[layout.first_change + slot] = change_key(case.change_kind[change])
    for index, key in keys.items():
        if index < layout.first_change or index - layout.first_change < split_changes(case).own.size:
            mean[index], variance[index] = priors.value(f"{key}.mean"), priors.value(f"{key}.sd") ** 2
    variance[DAY] = priors.value("day.sd") ** 2
    return mean, variance
