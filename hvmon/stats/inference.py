"""Posterior of a batch: grid weights, gross-error mixture, levels, and the state now."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import islice, repeat

import numpy as np
from numpy.typing import NDArray

from hvmon.stats.cases import Case
from hvmon.stats.confirm import confirmed
from hvmon.stats.design import Grid, Layout, Rows, build, layout_of, make_rows
from hvmon.stats.priors import Priors
from hvmon.stats.statespace import Array, Filtered, Smoothed, System, filter_forward, smooth_backward

ROBUST_PASSES = 7
"""Passes of the gross-error mixture; fixed, so that a person's answer never depends on the batch."""

BATCH_MEMBERS = 768
"""Members held at once: bounds the memory whatever the number of people."""

BATCHES_SORTED = 8
"""Batches' worth of people sorted by number of readings together, so that little is padded."""


@dataclass(frozen=True)
class Posterior:
    """What the readings say of one person; arrays end in the grid axis."""

    case: Case
    rows: Rows
    layout: Layout
    weight: Array
    """(grid,) posterior weight of each grid point, first with the newest reading right, then wrong."""
    log_evidence: float
    level_mean: Array
    """(rows, grid) usual level, log scale."""
    level_variance: Array
    covariance_with_now: Array
    signal_mean: Array
    """(rows, grid) what a reading of this row would show without its own error."""
    signal_variance: Array
    weight_in_now: Array
    """(rows, grid) share of each reading in the level now."""
    now_mean: Array
    """(states, grid)."""
    now_covariance: Array
    """(states, states, grid)."""
    gross: Array
    """(readings, grid) probability of a gross error; of the newest reading 0 or 1, as supposed."""

    @property
    def newest_right(self) -> Array:
        """(grid,) weights on the supposition that the newest reading is right, scaled to one."""
        half = self.weight.size // SUPPOSITIONS
        weight = self.weight.copy()
        weight[half:] = 0.0
        return np.asarray(weight / weight.sum())

    def grid_values(self, values: Array, *, inner: bool) -> Array:
        """Spread one hyperparameter's grid over all components; `inner` for the fastest one."""
        half = self.weight.size // SUPPOSITIONS
        once = np.tile(values, half // values.size) if inner else np.repeat(values, half // values.size)
        return np.tile(once, SUPPOSITIONS)

    def state(self, name: str) -> tuple[Array, Array]:
        """Mean and variance over the grid of one named state now."""
        index = self.layout.at(name)
        return self.now_mean[index], self.now_covariance[index, index]


def posteriors(
    cases: Iterable[Case],
    priors: Priors,
    *,
    asked: Iterable[Array | None] | None = None,
    passes: int = ROBUST_PASSES,
) -> Iterator[Posterior]:
    """Give the posterior of each case in order, a bounded batch at a time.

    Parameters
    ----------
    cases
        People, or variants of one person.
    asked
        For each case the extra dates [days from its first reading] at which the level is wanted.
    passes
        Passes of the gross-error mixture; 0 gives the plain Gaussian model.
    """
    size = max(1, BATCH_MEMBERS // (SUPPOSITIONS * Grid.of(priors).size))
    dates = repeat(None) if asked is None else asked
    for block in _blocks(zip(cases, dates, strict=False), size * BATCHES_SORTED):
        order = sorted(range(len(block)), key=lambda index: block[index][0].day.size)
        done: list[Posterior | None] = [None] * len(block)
        for first in range(0, len(order), size):
            chosen = order[first : first + size]
            batch = _batch([block[i][0] for i in chosen], [block[i][1] for i in chosen], priors, passes)
            for index, posterior in zip(chosen, batch, strict=True):
                done[index] = posterior
        yield from (posterior for posterior in done if posterior is not None)


def _blocks(
    items: Iterable[tuple[Case, Array | None]], size: int
) -> Iterator[list[tuple[Case, Array | None]]]:
    iterator = iter(items)
    while block := list(islice(iterator, size)):
        yield block


def log_evidence(cases: Iterable[Case], priors: Priors) -> float:
    """Give the log-likelihood of a cohort under a priors table, by the plain Gaussian model."""
    grid = Grid.of(priors)
    total = 0.0
    for block in _blocks(zip(cases, repeat(None), strict=False), max(1, 2 * BATCH_MEMBERS // grid.size)):
        chosen = [case for case, _ in block]
        rows = [make_rows(case, None) for case in chosen]
        filtered = filter_forward(build(chosen, rows, layout_of(chosen), priors, probe=False))
        weights = [grid.weight_progressive if case.progressive else grid.weight for case in chosen]
        score = np.log(np.stack(weights)) + filtered.log_likelihood.reshape(len(chosen), grid.size)
        top = score.max(axis=1)
        total += float((top + np.log(np.exp(score - top[:, None]).sum(axis=1))).sum())
    return total


SUPPOSITIONS = 2
"""The newest reading right, the newest reading wrong: the grid is run under both."""


def _batch(cases: list[Case], asked: list[Array | None], priors: Priors, passes: int) -> list[Posterior]:
    layout, points = layout_of(cases), SUPPOSITIONS * Grid.of(priors).size
    both = [run for case in cases for run in (case, case.supposing_newest_wrong())]
    plain = [make_rows(case, None) for case in both]
    gross = _gross_errors(both, plain, build(both, plain, layout, priors, probe=False), priors, passes)
    rows = [make_rows(case, dates) for case, dates in zip(cases, asked, strict=True)]
    twice = [each for each in rows for _ in range(SUPPOSITIONS)]
    full = build(both, twice, layout, priors, probe=True)
    spread = _row_gross(twice, gross, full.reading.shape)
    final = replace(full, noise_variance=full.noise_variance / _precision(spread, priors))
    filtered = filter_forward(final)
    smoothed = smooth_backward(final, filtered)
    bound = filtered.log_likelihood + _bound_correction(final, spread, priors)
    found = []
    for person, case in enumerate(cases):
        columns = slice(person * points, (person + 1) * points)
        share = _prior_weight(case, priors, passes)
        own = np.concatenate(gross[SUPPOSITIONS * person : SUPPOSITIONS * (person + 1)], axis=1)
        own[case.newest & case.used, points // SUPPOSITIONS :] = 1.0
        found.append(_posterior(case, rows[person], layout, share, bound, (filtered, smoothed), own, columns))
    return found


def _prior_weight(case: Case, priors: Priors, passes: int) -> Array:
    """Give the weight of each grid point under both suppositions before any reading."""
    grid = Grid.of(priors)
    weight = grid.weight_progressive if case.progressive else grid.weight
    open_to = bool(_suspect(case, priors)[case.newest].any())
    wrong = priors.value("gross.share") if passes and open_to else 0.0
    return np.concatenate([(1 - wrong) * weight, wrong * weight])


def _precision(gross: Array, priors: Priors) -> Array:
    """Give the expected precision factor of a reading that is a gross error with this probability."""
    return (1 - gross) + gross / priors.value("gross.variance")


def _row_gross(rows: Sequence[Rows], gross: list[Array], shape: tuple[int, ...]) -> Array:
    spread, points = np.zeros(shape), gross[0].shape[1]
    for person, each in enumerate(rows):
        chosen = np.flatnonzero(each.reading >= 0)
        columns = slice(person * points, (person + 1) * points)
        spread[chosen, columns] = gross[person][each.reading[chosen]]
    return spread


def _suspect(case: Case, priors: Priors) -> NDArray[np.bool_]:
    """Give which readings may be gross errors: used ones that no other reading confirms."""
    return case.used & ~confirmed(case, priors)


def _gross_errors(
    cases: Sequence[Case], rows: Sequence[Rows], system: System, priors: Priors, passes: int
) -> list[Array]:
    """Give P(gross error) of each reading, (readings, grid) a case, by variational passes."""
    height, members = system.reading.shape
    points = members // len(cases)
    may = np.zeros((height, members))
    for person, (case, each) in enumerate(zip(cases, rows, strict=True)):
        chosen = np.flatnonzero(each.reading >= 0)
        open_to = (_suspect(case, priors) & ~case.newest)[each.reading[chosen]][:, None]
        may[chosen, person * points : (person + 1) * points] = open_to
    gross = np.zeros((height, members))
    for _ in range(passes if may.any() else 0):
        now = replace(system, noise_variance=system.noise_variance / _precision(gross, priors))
        smoothed = smooth_backward(now, filter_forward(now))
        gross = may * _responsibility(system, smoothed, priors)
    return [
        _of_readings(case, rows[i], gross[:, i * points : (i + 1) * points]) for i, case in enumerate(cases)
    ]


def _of_readings(case: Case, rows: Rows, values: Array) -> Array:
    out = np.zeros((case.day.size, values.shape[1]))
    chosen = np.flatnonzero(rows.reading >= 0)
    out[rows.reading[chosen]] = values[chosen]
    return out


def _responsibility(system: System, smoothed: Smoothed, priors: Priors) -> Array:
    share, inflated = priors.value("gross.share"), priors.value("gross.variance")
    squared = (system.reading - smoothed.signal_mean) ** 2 + smoothed.signal_variance
    odds = np.log(share / (1 - share)) - 0.5 * np.log(inflated)
    odds = odds + 0.5 * squared / system.noise_variance * (1 - 1 / inflated)
    return np.asarray(1 / (1 + np.exp(-np.clip(odds, -50.0, 50.0))))


def _bound_correction(system: System, gross: Array, priors: Priors) -> Array:
    """Turn the likelihood under down-weighted readings into the variational bound, (members,)."""
    share, inflated = priors.value("gross.share"), priors.value("gross.variance")
    inside = np.clip(gross, 1e-300, 1.0)
    outside = np.clip(1 - gross, 1e-300, 1.0)
    entropy = gross * np.log(share / inside) + (1 - gross) * np.log((1 - share) / outside)
    each = -0.5 * np.log(_precision(gross, priors)) - 0.5 * gross * np.log(inflated) + entropy
    return np.asarray((each * system.observed * (gross > 0)).sum(axis=0))


def _posterior(
    case: Case,
    rows: Rows,
    layout: Layout,
    prior: Array,
    bound: Array,
    parts: tuple[Filtered, Smoothed],
    gross: Array,
    columns: slice,
) -> Posterior:
    filtered, smoothed = parts
    height = rows.day.size
    score = np.log(np.maximum(prior, 1e-300)) + bound[columns]
    weight = np.exp(score - score.max())

    def of(values: Array | None) -> Array:
        assert values is not None  # noqa: S101 - the final pass asks for levels
        return values[:height, columns]

    return Posterior(
        case=case,
        rows=rows,
        layout=layout,
        weight=weight / weight.sum(),
        log_evidence=float(score.max() + np.log(weight.sum())),
        level_mean=of(smoothed.level_mean),
        level_variance=np.maximum(of(smoothed.level_variance), 1e-12),
        covariance_with_now=of(smoothed.covariance_with_now),
        signal_mean=of(smoothed.signal_mean),
        signal_variance=np.maximum(of(smoothed.signal_variance), 1e-12),
        weight_in_now=of(smoothed.weight_in_now),
        now_mean=filtered.now_mean[:, columns],
        now_covariance=filtered.now_covariance[:, :, columns],
        gross=gross,
    )
