# mypy: ignore-errors
# ruff: noqa: ANN001, ANN201, ANN202, D401
"""Compiled walk of convention C1: from one second that can open an event to the next.

An event opens only at a value a drop or more below the highest of the 60 s before, because the mean of the
highest fifth is never above that; those seconds are found without branches, and nothing else is looked at
while no event is open.
"""

import numpy as np

from hvmon.nights.conventions import (
    BRIDGED_GAP_S,
    DROPS,
    HIGHEST_SPO2,
    RECOVERY,
    REFERENCE_LEAST_VALID,
    REFERENCE_S,
    REFERENCE_SHARE,
    SHORTEST_EVENT_S,
    STEP_DOWN_S,
)
from hvmon.nights.loops import compiled

_DROP3, _DROP4 = DROPS
_RECOVERY, _RE_DIP, _STEP_DOWN, _GAP, _END = range(5)  # the numbers of dips.Close, as numba can freeze them


@compiled
def highest_before(masked, window_s):
    """Highest value of the `window_s` seconds before each second; -1 where there are none."""
    n = len(masked)
    one, other = np.full(n + window_s, -1, dtype=np.int16), np.empty(n + window_s, dtype=np.int16)
    one[window_s:] = masked
    width = 1
    while width < window_s:
        shift = min(width, window_s - width)
        other[:shift] = one[:shift]
        _higher(one[shift:], one[: n + window_s - shift], other[shift:])
        one, other = other, one
        width += shift
    return one[window_s - 1 : n + window_s - 1]


@compiled
def _higher(one, other, out):
    """The higher of two values, second by second."""
    for i in range(len(out)):
        out[i] = max(one[i], other[i])


@compiled
def low_seconds(masked, highest, number, drop, low):
    """Seconds at which an event can open, into `low`; number of seconds that have a reference back."""
    window, with_reference = REFERENCE_S, 0
    n = len(masked)
    first = min(window, n)
    for i in range(first):
        has = (masked[i] >= 0) & (number[i] >= REFERENCE_LEAST_VALID)
        low[i] = has & (np.int64(masked[i]) <= np.int64(highest[i]) - drop)
        with_reference += has
    rest, top, out = masked[first:], highest[first:], low[first:]
    until, since = number[first:], number
    for i in range(len(rest)):
        has = (rest[i] >= 0) & (np.int64(until[i]) - np.int64(since[i]) >= REFERENCE_LEAST_VALID)
        out[i] = has & (np.int64(rest[i]) <= np.int64(top[i]) - drop)
        with_reference += has
    return with_reference


@compiled
def _moved(masked, bins, held, i):
    """Make `bins` the histogram of the 60 s before second `i`, from that of the 60 s before `held`."""
    if i - held >= REFERENCE_S:
        for k in range(max(held - REFERENCE_S, 0), held):
            bins[max(masked[k], 0)] = 0
        for k in range(max(i - REFERENCE_S, 0), i):
            bins[max(masked[k], 0)] += 1
        return
    for k in range(held, i):
        bins[max(masked[k], 0)] += 1
        if k >= REFERENCE_S:
            bins[max(masked[k - REFERENCE_S], 0)] -= 1


@compiled
def _highest_fifth(bins, n_valid, highest):
    """Sum and number of the highest fifth of `n_valid` values of a histogram whose highest is `highest`."""
    number = (n_valid + REFERENCE_SHARE - 1) // REFERENCE_SHARE
    total, wanted, level = 0, number, highest
    while wanted > 0:
        taken = min(wanted, bins[level])
        total += taken * level
        wanted -= taken
        level -= 1
    return total, number


@compiled
def _capped(masked, i, since_gap, total, number):
    """The reference, never above the highest value since the gap that ended the last event."""
    if since_gap < 0 or i - since_gap > REFERENCE_S:
        return total, number
    highest = 0
    for k in range(since_gap, i):
        highest = max(highest, np.int64(masked[k]))
    return (highest, 1) if highest * number < total else (total, number)


@compiled
def _put(events, n, onset, total, number, nadir, end, how):
    """Write an event as row `n`."""
    events[n, 0], events[n, 1], events[n, 2] = onset, end, total
    events[n, 3], events[n, 4], events[n, 5] = number, nadir, how


@compiled
def _follow(masked, i, total, number, drop, events, n):
    """Follow the event that opened at second `i` to its end, and those that open by a new fall within it.

    Gives the second that ended the last of them (the length of the recording when none did), the first second
    after a gap that did, else -1, and the number of events.
    """
    onset = last = i
    nadir = regained = np.int64(masked[i])
    recovered = -((RECOVERY * number - total) // number)  # the lowest whole tenth that is a recovery
    for k in range(i + 1, len(masked)):
        v = np.int64(masked[k])
        if v < 0:
            continue
        if k - last > BRIDGED_GAP_S + 1:
            _put(events, n, onset, total, number, nadir, last + 1, _GAP)
            return k, k, n + 1
        last = k
        if k - onset > STEP_DOWN_S:
            _put(events, n, onset, total, number, nadir, onset + STEP_DOWN_S, _STEP_DOWN)
            return k, -1, n + 1
        if v >= recovered:
            _put(events, n, onset, total, number, nadir, k, _RECOVERY)
            return k, -1, n + 1
        if regained >= nadir + drop and v <= regained - drop:
            _put(events, n, onset, total, number, nadir, k, _RE_DIP)
            onset, total, number, nadir, recovered, regained = k, regained, 1, v, regained - RECOVERY, v
            n += 1
        elif k - onset == STEP_DOWN_S:
            _put(events, n, onset, total, number, nadir, k, _STEP_DOWN)
            return k, -1, n + 1
        elif v < nadir:
            nadir = regained = v
        else:
            regained = max(regained, v)
    _put(events, n, onset, total, number, nadir, last + 1, _END)
    return len(masked), -1, n + 1


@compiled
def c1_events(masked, highest, number, low, drop, events):
    """Every event of convention C1 for one drop, counted or not; their number back."""
    bins = np.zeros(HIGHEST_SPO2 + 1, dtype=np.int32)  # the lowest one takes the seconds without a value
    n = i = held = 0
    since_gap = -1
    while i < len(masked):
        if not low[i]:
            i += 1
            continue
        v, top = np.int64(masked[i]), np.int64(highest[i])
        if v <= top - drop:
            _moved(masked, bins, held, i)
            held = i
            n_valid = np.int64(number[i]) - np.int64(number[max(i - REFERENCE_S, 0)])
            total, of = _capped(masked, i, since_gap, *_highest_fifth(bins, n_valid, top))
            if v * of <= total - drop * of:
                i, gap, n = _follow(masked, i, total, of, drop, events, n)
                since_gap = gap if gap >= 0 else since_gap
        i += 1
    return n


@compiled
def tally(masked, events):
    """Counted events, step-downs, area of the counted ones."""
    counted = steps = 0
    area = 0.0
    for row in range(len(events)):
        onset, end, total, number, _, close = events[row]
        if close == _STEP_DOWN:
            steps += 1
        elif end - onset >= SHORTEST_EVENT_S:
            counted += 1
            inside = 0
            for i in range(onset, end):
                if masked[i] >= 0:
                    inside += max(0, total - number * np.int64(masked[i]))
            area += inside / number
    return counted, steps, area


@compiled
def c1(masked, number, events, counts):
    """Convention C1 for both drops into `counts`; number and area of the events of the smaller drop back.

    `events` holds a row for every second second: an event that closes opens none in the same second, and a
    new fall needs a second of recovery before it.
    """
    highest = highest_before(masked, REFERENCE_S)
    low = np.empty(len(masked), dtype=np.bool_)
    counts[15] = low_seconds(masked, highest, number, _DROP3, low)
    n4 = c1_events(masked, highest, number, low, _DROP4, events)
    counts[19] = tally(masked, events[:n4])[0]
    n3 = c1_events(masked, highest, number, low, _DROP3, events)
    counts[18], counts[20], area = tally(masked, events[:n3])
    return n3, area
