"""Everything that is counted in a night, as exact integers, in numpy.

`hvmon.nights.compiled` gives the same counts from compiled loops. Results are made from the counts in one
place, `hvmon.nights.score`, so two engines that agree here agree to the bit.
"""

from typing import NamedTuple

import numpy as np

from hvmon.nights.conventions import (
    AT_MOST_88,
    BELOW_88,
    BELOW_90,
    DELTA_BLOCK_S,
    DROPS,
    REFERENCE_LEAST_VALID,
    REFERENCE_S,
    SUSTAINED_S,
    TC_SUSTAINED_LEAST_VALID,
    TC_SUSTAINED_S,
)
from hvmon.nights.dips import (
    Close,
    Event,
    c1_events,
    dip_area,
    is_counted,
    m1_count,
    references,
    run_lengths,
    valid_before,
)
from hvmon.nights.pulse import count_rises
from hvmon.nights.validity import BoolArray, pulse_valid, spo2_validity, tc_validity
from hvmon.records.night_signal import Int16Array


class OximetryCounts(NamedTuple):
    """Counts of one night: sums and areas in tenths of a percent (times seconds), the rest in seconds."""

    clock_s: int
    valid_s: int
    missing_s: int
    artefact_range_s: int
    artefact_slew_s: int
    total: int
    nadir: int
    s_below_90: int
    s_below_88: int
    s_le_88: int
    longest_le_88_s: int
    n_runs_le_88_ge_300s: int
    area_below_90: int
    delta_total: int
    delta_n: int
    reference_s: int
    pulse_valid_s: int
    pulse_rises: int
    n_dips3_c1: int
    n_dips4_c1: int
    n_stepdown: int
    dip_area_c1: float
    n_dips3_m1: int
    n_dips4_m1: int


class TcCounts(NamedTuple):
    """Counts of one transcutaneous channel, in tenths of a mmHg and seconds."""

    clock_s: int
    valid_s: int
    missing_s: int
    artefact_range_s: int
    artefact_slew_s: int
    excluded_s: int
    total: int
    twice_median: int
    max_sustained: int
    """-1 where no window of 60 s holds 30 valid seconds."""
    s_above: tuple[int, ...]
    longest_above_s: tuple[int, ...]


class Counted(NamedTuple):
    """Counts and, where asked for, the events of convention C1 for a fall of 3."""

    counts: OximetryCounts
    events: list[Event]


def count_oximetry(
    spo2_tenths: Int16Array, pulse_tenths: Int16Array | None, *, with_events: bool = True
) -> Counted:
    """Count a saturation channel, and the pulse beside it, under both conventions."""
    valid, missing_s, range_s, slew_s = spo2_validity(spo2_tenths)
    found = references(spo2_tenths, valid, min(DROPS))
    events3, events4 = c1_events(spo2_tenths, valid, found, DROPS)
    reference_s = int((valid & (valid_before(valid, REFERENCE_S) >= REFERENCE_LEAST_VALID)).sum())
    counts = OximetryCounts._make(
        (
            len(spo2_tenths),
            int(valid.sum()),
            missing_s,
            range_s,
            slew_s,
            *_levels(spo2_tenths, valid),
            *_delta(spo2_tenths, valid),
            reference_s,
            *_pulse(pulse_tenths),
            sum(map(is_counted, events3)),
            sum(map(is_counted, events4)),
            sum(event.close == Close.STEP_DOWN for event in events3),
            dip_area(spo2_tenths, valid, events3),
            *(m1_count(spo2_tenths, valid, drop) for drop in DROPS),
        )
    )
    return Counted(counts, events3 if with_events else [])


def _levels(spo2_tenths: Int16Array, valid: BoolArray) -> tuple[int, ...]:
    """Sum, nadir, seconds below 90, below 88, at most 88, longest and long runs there, area below 90."""
    x = spo2_tenths[valid].astype(np.int64)
    if not len(x):
        return (0,) * 8
    runs = run_lengths(valid & (spo2_tenths <= AT_MOST_88))
    low = x[x < BELOW_90]
    return (
        int(x.sum()),
        int(x.min()),
        len(low),
        int((low < BELOW_88).sum()),
        int(runs.sum()),
        int(runs.max(initial=0)),
        int((runs >= SUSTAINED_S).sum()),
        BELOW_90 * len(low) - int(low.sum()),
    )


def _delta(spo2_tenths: Int16Array, valid: BoolArray) -> tuple[int, int]:
    """Sum and number of differences between neighbouring 12 s blocks whose every second is valid."""
    n_blocks = len(spo2_tenths) // DELTA_BLOCK_S
    whole = slice(0, n_blocks * DELTA_BLOCK_S)
    complete: BoolArray = np.all(valid[whole].reshape(n_blocks, DELTA_BLOCK_S), axis=1)
    sums = spo2_tenths[whole].reshape(n_blocks, DELTA_BLOCK_S).sum(axis=1, dtype=np.int64)
    both = complete[1:] & complete[:-1]
    return int(np.abs(np.diff(sums))[both].sum()), int(both.sum())


def _pulse(pulse_tenths: Int16Array | None) -> tuple[int, int]:
    """Count valid seconds of the pulse and its rises."""
    if pulse_tenths is None:
        return 0, 0
    valid = pulse_valid(pulse_tenths)
    n_valid = int(valid.sum())
    return n_valid, count_rises(pulse_tenths, valid) if n_valid else 0


def count_tc(tc_tenths: Int16Array, excluded: BoolArray, levels: tuple[int, ...]) -> TcCounts:
    """Count a transcutaneous channel outside the excluded seconds (warm-up, sensor off).

    Parameters
    ----------
    levels : tuple of int
        Seconds strictly above each level [0.1 mmHg], and the longest unbroken run, are given in this order.
    """
    gated, missing_s, range_s, slew_s = tc_validity(tc_tenths)
    valid = gated & ~excluded
    x = np.sort(tc_tenths[valid]).astype(np.int64)
    runs = [run_lengths(valid & (tc_tenths > level)) for level in levels]
    return TcCounts(
        len(tc_tenths),
        len(x),
        missing_s,
        range_s,
        slew_s,
        int((gated & excluded).sum()),
        int(x.sum()),
        int(x[(len(x) - 1) // 2] + x[len(x) // 2]) if len(x) else 0,
        highest_sustained(tc_tenths, valid),
        tuple(int(run.sum()) for run in runs),
        tuple(int(run.max(initial=0)) for run in runs),
    )


def highest_sustained(values: Int16Array, valid: BoolArray) -> int:
    """Highest low median of any 60 s holding at least 30 valid seconds; -1 where there are none.

    A low median is at least v exactly when more than half of the window is at least v, so v is found by
    halving instead of by sorting every window.
    """
    if len(values) < TC_SUSTAINED_S:
        return -1
    number = _window_sums(valid)
    usable = number >= TC_SUSTAINED_LEAST_VALID
    if not usable.any():
        return -1
    low, high = int(values[valid].min()), int(values[valid].max())
    while low < high:
        middle = (low + high + 1) // 2
        reached = 2 * _window_sums(valid & (values >= middle)) > number
        low, high = (middle, high) if (reached & usable).any() else (low, middle - 1)
    return low


def _window_sums(mask: BoolArray) -> np.ndarray:
    """Count of True in every window of 60 s."""
    running = np.concatenate(([0], np.cumsum(mask)))
    return running[TC_SUSTAINED_S:] - running[:-TC_SUSTAINED_S]
