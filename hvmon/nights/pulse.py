"""Pulse rises in numpy: the rule is the project's own, after the index of Adachi2003.

A rise is a pulse of 6/min or more above the lowest valid pulse of the 30 s before. It is over when the pulse
has come down by 3/min from its peak, or after 30 s; the next rise is measured from values after that. A gap
of more than 10 s starts afresh. Rises are given per hour of valid pulse.
"""

import numpy as np

from hvmon.nights.conventions import BRIDGED_GAP_S, PULSE_BEFORE_S, PULSE_RISE, PULSE_SETTLED
from hvmon.nights.validity import BoolArray, IntArray
from hvmon.records.night_signal import Int16Array


def count_rises(pulse_tenths: Int16Array, valid: BoolArray) -> int:
    """Count the rises of 6/min or more."""
    t = np.flatnonzero(valid)
    x = pulse_tenths[t].astype(np.int64)
    fresh = np.flatnonzero(np.diff(t) > BRIDGED_GAP_S + 1) + 1
    candidates = np.flatnonzero(x >= _lowest_before(pulse_tenths, valid)[t] + PULSE_RISE)
    in_window = np.searchsorted(t, t[candidates] - PULSE_BEFORE_S)
    after_gap = np.concatenate(([0], fresh))[np.searchsorted(fresh, candidates, side="right")]
    rises = free_from = 0
    for j, since in zip(candidates.tolist(), np.maximum(in_window, after_gap).tolist(), strict=True):
        first = max(since, free_from)
        if j <= first or x[j] < x[first:j].min() + PULSE_RISE:
            continue
        rises += 1
        free_from = _settled(t, x, fresh, j)
    return rises


def _lowest_before(pulse_tenths: Int16Array, valid: BoolArray) -> Int16Array:
    """Lowest valid pulse of the 30 s before each second; large where there is none."""
    none = np.int16(np.iinfo(np.int16).max - PULSE_RISE)
    values = np.where(valid, pulse_tenths, none)
    width, lowest = 1, np.concatenate((np.full(PULSE_BEFORE_S, none, dtype=np.int16), values))
    while width < PULSE_BEFORE_S:
        shift = min(width, PULSE_BEFORE_S - width)
        lowest[shift:] = np.minimum(lowest[shift:], lowest[:-shift])
        width += shift
    return lowest[PULSE_BEFORE_S - 1 : -1]


def _settled(t: IntArray, x: IntArray, fresh: IntArray, j: int) -> int:
    """Position of the first value that is over the rise found at position `j`."""
    gap = int(np.searchsorted(fresh, j, side="right"))
    stop = min(
        int(np.searchsorted(t, t[j] + PULSE_BEFORE_S)), int(fresh[gap]) if gap < len(fresh) else len(t)
    )
    peak, *after = x[j:stop].tolist()
    for i, value in enumerate(after, j + 1):
        if value <= peak - PULSE_SETTLED:
            return i
        peak = max(peak, value)
    return stop
