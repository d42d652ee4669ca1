# mypy: ignore-errors
# ruff: noqa: ANN001, ANN201, ANN202, C901, PLR0912, D401
"""Compiled loops behind `hvmon.nights.compiled`.

numba infers every type here when it compiles, and a loop that keeps both drops in registers is longer than
a function for people would be; hence the exceptions above. The rules are those of `hvmon.nights.conventions`.
"""

import numba
import numpy as np

from hvmon.nights.conventions import (
    AT_MOST_88,
    BELOW_88,
    BELOW_90,
    BRIDGED_GAP_S,
    DELTA_BLOCK_S,
    DROPS,
    HIGHEST_PULSE,
    HIGHEST_SPO2,
    HIGHEST_TC,
    LOWEST_PULSE,
    LOWEST_SPO2,
    LOWEST_TC,
    MEAN_LEAST_VALID,
    MEAN_REFERENCE_S,
    PULSE_BEFORE_S,
    PULSE_RISE,
    PULSE_SETTLED,
    RECOVERY,
    REFERENCE_LEAST_VALID,
    REFERENCE_S,
    REFERENCE_SHARE,
    SHORTEST_EVENT_S,
    SLEW_PER_S,
    STEP_DOWN_S,
    SUSTAINED_S,
    TC_STEP,
    TC_STEP_S,
    TC_SUSTAINED_LEAST_VALID,
    TC_SUSTAINED_S,
)
from hvmon.records.night_signal import MISSING

_compile = numba.njit(cache=True, nogil=True)

_SPO2_BINS = HIGHEST_SPO2 + 1
_DROP3, _DROP4 = DROPS
_STEP_DOWN = 2  # Close.STEP_DOWN, as a number numba can freeze


@_compile
def _gate(values, lowest, highest, step, per_s, out):
    """Valid seconds into `out`; missing, out of range and too steep counted."""
    missing = out_of_range = steep = 0
    last, before = -1, 0
    for i in range(len(values)):
        x = np.int64(values[i])
        out[i] = False
        if x == MISSING:
            missing += 1
        elif x < lowest or x > highest:
            out_of_range += 1
        elif last >= 0 and abs(x - before) * per_s > step * max(i - last, per_s):
            steep += 1
        else:
            out[i] = True
            last, before = i, x
    return missing, out_of_range, steep


@_compile
def _levels(x, valid):
    """Sums, levels and runs, as `counting._levels`."""
    total = below_90 = below_88 = le_88 = longest = n_runs = area = run = 0
    nadir = HIGHEST_SPO2 + 1
    for i in range(len(x)):
        v = np.int64(x[i])
        if not valid[i] or v > AT_MOST_88:
            n_runs += run >= SUSTAINED_S
            run = 0
        if not valid[i]:
            continue
        total += v
        nadir = min(nadir, v)
        if v < BELOW_90:
            below_90 += 1
            area += BELOW_90 - v
        below_88 += v < BELOW_88
        if v <= AT_MOST_88:
            le_88 += 1
            run += 1
            longest = max(longest, run)
    n_runs += run >= SUSTAINED_S
    return total, 0 if nadir > HIGHEST_SPO2 else nadir, below_90, below_88, le_88, longest, n_runs, area


@_compile
def _delta(x, valid):
    """Differences of neighbouring complete blocks of 12 s."""
    total = number = 0
    before = -1
    for start in range(0, len(x) - DELTA_BLOCK_S + 1, DELTA_BLOCK_S):
        block = 0
        for i in range(start, start + DELTA_BLOCK_S):
            if not valid[i]:
                block = -1
                break
            block += x[i]
        if block >= 0 and before >= 0:
            total += abs(block - before)
            number += 1
        before = block
    return total, number


@_compile
def _top_fifth(bins, top, number):
    """Sum of the `number` highest values of a histogram whose highest value is `top`."""
    total, wanted, level = 0, number, top
    while wanted > 0:
        taken = min(wanted, bins[level])
        total += taken * level
        wanted -= taken
        level -= 1
    return total


@_compile
def _write(events, n, state, end, how):
    """Write the event of a state as row `n`."""
    events[n, 0], events[n, 1], events[n, 2] = state[0], end, state[1]
    events[n, 3], events[n, 4], events[n, 5] = state[2], state[3], how


@_compile
def _follow(state, events, n, i, v, drop):
    """One valid second of an open event; see `dips._Walk.follow`. Gives the state and the number of events.

    A state is (onset, reference sum, its number, nadir, regained); onset -1 when no event is open.
    """
    onset, total, number, nadir, regained = state
    if i - onset > STEP_DOWN_S:
        _write(events, n, state, onset + STEP_DOWN_S, 2)
    elif v * number >= total - RECOVERY * number:
        _write(events, n, state, i, 0)
    elif regained >= nadir + drop and v <= regained - drop:
        _write(events, n, state, i, 1)
        return (i, regained, 1, v, v), n + 1
    elif i - onset == STEP_DOWN_S:
        _write(events, n, state, i, 2)
    elif v < nadir:
        return (onset, total, number, v, v), n
    else:
        return (onset, total, number, nadir, max(regained, v)), n
    return (-1, 0, 1, 0, 0), n + 1


@_compile
def _consider(state, highest, i, v, total, number, drop):
    """Open an event when the second lies low enough; after a gap `highest` (else -1) caps the reference."""
    if highest >= 0 and highest * number < total:
        total, number = highest, 1
    if v * number <= total - drop * number:
        return (i, total, number, v, v)
    return state


@_compile
def _events(x, valid, events3, events4):
    """Convention C1 for both drops in one pass; seconds with a reference and numbers of events back.

    The 60 s before are kept as a histogram with its highest value; a reference is summed from it only
    where an event could begin.
    """
    bins = np.zeros(_SPO2_BINS, dtype=np.int32)
    state3 = state4 = (-1, 0, 1, 0, 0)
    highest3 = highest4 = last = -1
    n3 = n4 = n_valid = with_reference = top = 0
    for i in range(len(x)):
        leaving = i - REFERENCE_S - 1
        if leaving >= 0 and valid[leaving]:
            bins[x[leaving]] -= 1
            n_valid -= 1
        if not valid[i]:
            continue
        v = np.int64(x[i])
        open3, open4 = state3[0] >= 0, state4[0] >= 0
        if last >= 0 and i - last > BRIDGED_GAP_S + 1:
            if open3:
                _write(events3, n3, state3, last + 1, 3)
                state3, n3, highest3 = (-1, 0, 1, 0, 0), n3 + 1, 0
            if open4:
                _write(events4, n4, state4, last + 1, 3)
                state4, n4, highest4 = (-1, 0, 1, 0, 0), n4 + 1, 0
        else:
            if open3:
                state3, n3 = _follow(state3, events3, n3, i, v, _DROP3)
            if open4:
                state4, n4 = _follow(state4, events4, n4, i, v, _DROP4)
        if n_valid >= REFERENCE_LEAST_VALID:
            with_reference += 1
            while bins[top] == 0:
                top -= 1
            if v <= top - _DROP3 and not (open3 and open4):
                number = (n_valid + REFERENCE_SHARE - 1) // REFERENCE_SHARE
                total = _top_fifth(bins, top, number)
                if not open3:
                    state3 = _consider(state3, highest3, i, v, total, number, _DROP3)
                if not open4:
                    state4 = _consider(state4, highest4, i, v, total, number, _DROP4)
        if highest3 >= 0:
            highest3 = max(highest3, v)
        if highest4 >= 0:
            highest4 = max(highest4, v)
        bins[v] += 1
        n_valid += 1
        top = max(top, v)
        last = i
    if state3[0] >= 0:
        _write(events3, n3, state3, last + 1, 4)
        n3 += 1
    if state4[0] >= 0:
        _write(events4, n4, state4, last + 1, 4)
        n4 += 1
    return with_reference, n3, n4


@_compile
def _tally(x, valid, events):
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
                if valid[i]:
                    inside += max(0, total - number * np.int64(x[i]))
            area += inside / number
    return counted, steps, area


@_compile
def _m1(x, valid):
    """Count the events of convention M1 for both drops."""
    total = number = run3 = run4 = counted3 = counted4 = 0
    for i in range(len(x)):
        leaving = i - MEAN_REFERENCE_S - 1
        if leaving >= 0 and valid[leaving]:
            total -= x[leaving]
            number -= 1
        if i > 0 and valid[i - 1]:
            total += x[i - 1]
            number += 1
        depth = total - np.int64(x[i]) * number
        if not valid[i] or number < MEAN_LEAST_VALID or depth < _DROP3 * number:
            run3 = run4 = 0
            continue
        run3 += 1
        run4 = run4 + 1 if depth >= _DROP4 * number else 0
        counted3 += run3 == SHORTEST_EVENT_S
        counted4 += run4 == SHORTEST_EVENT_S
    return counted3, counted4


@_compile
def _pulse(x):
    """Valid seconds and rises of the pulse; the lowest of the 30 s before is sought anew when it leaves."""
    n_valid = rises = 0
    first = 0
    last = risen_at = lowest_at = -1
    peak = lowest = 0
    for i in range(len(x)):
        v = np.int64(x[i])
        if v < LOWEST_PULSE or v > HIGHEST_PULSE:
            continue
        n_valid += 1
        fresh = last >= 0 and i - last > BRIDGED_GAP_S + 1
        if fresh:
            first, lowest_at = i, -1
        if risen_at >= 0:
            if fresh or i - risen_at >= PULSE_BEFORE_S or v <= peak - PULSE_SETTLED:
                risen_at, first, lowest_at = -1, i, -1
            else:
                peak = max(peak, v)
        elif lowest_at >= 0:
            if lowest_at < i - PULSE_BEFORE_S:
                lowest_at = _lowest_in(x, max(first, i - PULSE_BEFORE_S), i)
                lowest = np.int64(x[lowest_at])
            if v >= lowest + PULSE_RISE:
                rises += 1
                risen_at, peak = i, v
        if lowest_at < 0 or v <= lowest:
            lowest_at, lowest = i, v
        last = i
    return n_valid, rises


@_compile
def _lowest_in(x, start, end):
    """Place of the last lowest valid pulse in [start, end)."""
    at, lowest = start, HIGHEST_PULSE + 1
    for i in range(start, end):
        if LOWEST_PULSE <= x[i] <= lowest:
            at, lowest = i, np.int64(x[i])
    return at


@_compile
def oximetry(x, pulse, counts, events3, events4):
    """Everything counted in a saturation channel, into `counts`; number of events and area back."""
    n = len(x)
    valid = np.empty(n, dtype=np.bool_)
    missing, out_of_range, steep = _gate(x, LOWEST_SPO2, HIGHEST_SPO2, SLEW_PER_S, 1, valid)
    counts[0], counts[1] = n, n - missing - out_of_range - steep
    counts[2], counts[3], counts[4] = missing, out_of_range, steep
    counts[5:13] = _levels(x, valid)
    counts[13:15] = _delta(x, valid)
    counts[15], n3, n4 = _events(x, valid, events3, events4)
    counts[16:18] = _pulse(pulse)
    counts[18], counts[20], area = _tally(x, valid, events3[:n3])
    counts[19] = _tally(x, valid, events4[:n4])[0]
    counts[21], counts[22] = _m1(x, valid)
    return n3, area


@_compile
def _sustained(values, valid):
    """Highest low median of any 60 s with 30 valid seconds, from a rolling histogram; -1 without any."""
    bins = np.zeros(HIGHEST_TC + 1, dtype=np.int64)
    number, at_least, best = 0, 0, -1
    for i in range(len(values)):
        leaving = i - TC_SUSTAINED_S
        if leaving >= 0 and valid[leaving]:
            bins[values[leaving]] -= 1
            number -= 1
            at_least -= values[leaving] > best
        if valid[i]:
            bins[values[i]] += 1
            number += 1
            at_least += values[i] > best
        if i >= TC_SUSTAINED_S - 1 and number >= TC_SUSTAINED_LEAST_VALID:
            while 2 * at_least > number:
                best += 1
                at_least -= bins[best]
    return best


@_compile
def transcutaneous(values, excluded, levels, counts, above):
    """Everything counted in a transcutaneous channel, into `counts` and `above`."""
    n = len(values)
    valid = np.empty(n, dtype=np.bool_)
    counts[0] = n
    counts[2:5] = _gate(values, LOWEST_TC, HIGHEST_TC, TC_STEP, TC_STEP_S, valid)
    bins = np.zeros(HIGHEST_TC + 1, dtype=np.int64)
    runs = np.zeros(len(levels), dtype=np.int64)
    lowest, running = levels.min(), False
    for i in range(n):
        if valid[i] and excluded[i]:
            counts[5] += 1
            valid[i] = False
        if valid[i]:
            counts[1] += 1
            counts[6] += values[i]
            bins[values[i]] += 1
        above_any = valid[i] and values[i] > lowest
        if not above_any and not running:
            continue
        running = above_any
        for level in range(len(levels)):
            if valid[i] and values[i] > levels[level]:
                runs[level] += 1
                above[0, level] += 1
                above[1, level] = max(above[1, level], runs[level])
            else:
                runs[level] = 0
    if counts[1] > 0:
        counts[7] = _ranked(bins, (counts[1] - 1) // 2) + _ranked(bins, counts[1] // 2)
    counts[8] = _sustained(values, valid)


@_compile
def _ranked(bins, rank):
    """Value of a rank (from 0) in a histogram."""
    value = 0
    seen = bins[0]
    while seen <= rank:
        value += 1
        seen += bins[value]
    return value
