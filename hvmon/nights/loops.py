# mypy: ignore-errors
# ruff: noqa: ANN001, ANN201, ANN202, D401
"""Compiled loops behind `hvmon.nights.compiled`: validity of any channel, levels, convention M1 and pulse.

numba infers every type here when it compiles, hence the exceptions above. The rules are those of
`hvmon.nights.conventions`; the shape is made for the machine. A test of a whole block of seconds has no
branch, so the processor does many seconds at once, and only the blocks where something happens are walked
second by second. Every result is the integer that walking every second would give.

numba keeps compiled code by file and does not see a change in another one: no loop here calls one of
`loops_events` or `loops_tc`, nor the other way round.
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
    LOWEST_PULSE,
    LOWEST_SPO2,
    MEAN_LEAST_VALID,
    MEAN_REFERENCE_S,
    PULSE_BEFORE_S,
    PULSE_RISE,
    PULSE_SETTLED,
    SHORTEST_EVENT_S,
    SLEW_PER_S,
    SUSTAINED_S,
)
from hvmon.records.night_signal import MISSING

compiled = numba.njit(cache=True, nogil=True)

BLOCK_S = 64
"""[s] seconds tested at once; any number gives the same results."""

NOT_VALID = -1
"""What an invalid second holds in a masked channel; no valid value is negative."""

_NO_PULSE = np.iinfo(np.int16).max - PULSE_RISE
"""What a second without a valid pulse holds: higher than any pulse."""

_DROP3, _DROP4 = DROPS


@compiled
def _smooth(values, before, lowest, highest, step):
    """Whether every value is in range and within `step` of the one before it."""
    bad = False
    for i in range(len(values)):
        x, y = np.int64(values[i]), np.int64(before[i])
        bad |= (x < lowest) | (x > highest) | (x - y > step) | (y - x > step)
    return not bad


@compiled
def gate(values, lowest, highest, step, per_s, masked):
    """Valid values into `masked`, the others as -1; missing, out of range and too steep counted."""
    n = len(values)
    missing = out_of_range = steep = 0
    last, before = -1, 0
    for start in range(0, n, BLOCK_S):
        stop = min(start + BLOCK_S, n)
        whole = last >= 0 and last == start - 1
        if whole and _smooth(values[start:stop], values[start - 1 : stop - 1], lowest, highest, step):
            masked[start:stop] = values[start:stop]
            last, before = stop - 1, np.int64(values[stop - 1])
            continue
        for i in range(start, stop):
            x = np.int64(values[i])
            masked[i] = NOT_VALID
            if x == MISSING:
                missing += 1
            elif x < lowest or x > highest:
                out_of_range += 1
            elif last >= 0 and abs(x - before) * per_s > step * max(i - last, per_s):
                steep += 1
            else:
                masked[i] = values[i]
                last, before = i, x
    return missing, out_of_range, steep


@compiled
def longest_run(hits):
    """Longest run of set seconds, and number of runs of 300 s or more."""
    longest = run = n_long = 0
    n = len(hits)
    for start in range(0, n, BLOCK_S):
        block = hits[start : min(start + BLOCK_S, n)]
        number = 0
        for i in range(len(block)):
            number += block[i]
        if number == len(block):
            run += number
        elif number > 0 or run > 0:
            for i in range(len(block)):
                if block[i]:
                    run += 1
                else:
                    longest = max(longest, run)
                    n_long += run >= SUSTAINED_S
                    run = 0
    return max(longest, run), n_long + (run >= SUSTAINED_S)


@compiled
def _levels(masked, hits):
    """Sums, levels and runs, as `counting._levels`; `hits` is scratch."""
    total = below_90 = below_88 = le_88 = low = 0
    nadir = HIGHEST_SPO2 + 1
    for i in range(len(masked)):
        v = np.int64(masked[i])
        ok = v >= 0
        total += v if ok else 0
        nadir = min(nadir, v if ok else HIGHEST_SPO2 + 1)
        is_low = ok & (v < BELOW_90)
        below_90 += is_low
        low += v if is_low else 0
        below_88 += ok & (v < BELOW_88)
        hits[i] = ok & (v <= AT_MOST_88)
        le_88 += hits[i]
    longest, n_long = longest_run(hits) if le_88 > 0 else (0, 0)
    area = BELOW_90 * below_90 - low
    return total, 0 if nadir > HIGHEST_SPO2 else nadir, below_90, below_88, le_88, longest, n_long, area


@compiled
def _delta(masked):
    """Differences of neighbouring complete blocks of 12 s."""
    total = number = 0
    before = -1
    for start in range(0, len(masked) - DELTA_BLOCK_S + 1, DELTA_BLOCK_S):
        block, complete = 0, True
        for i in range(start, start + DELTA_BLOCK_S):
            block += masked[i]
            complete &= masked[i] >= 0
        if not complete:
            block = -1
        elif before >= 0:
            total += abs(block - before)
            number += 1
        before = block
    return total, number


@compiled
def running(masked, number, total):
    """Running number and sum of the valid values before each second; both arrays are one longer."""
    seen = summed = 0
    number[0] = total[0] = 0
    for i in range(len(masked)):
        v = np.int64(masked[i])
        seen += v >= 0
        summed += max(v, 0)
        number[i + 1] = seen
        total[i + 1] = summed


@compiled
def _m1_hits(masked, number, total, number_before, total_before, hits3, hits4):
    """Seconds that lie a drop below the mean of what stands before them."""
    for i in range(len(masked)):
        n = np.int64(number[i]) - np.int64(number_before[i])
        depth = np.int64(total[i]) - np.int64(total_before[i]) - np.int64(masked[i]) * n
        usable = (masked[i] >= 0) & (n >= MEAN_LEAST_VALID)
        hits3[i] = usable & (depth >= _DROP3 * n)
        hits4[i] = usable & (depth >= _DROP4 * n)


@compiled
def _both(one, other, out):
    """Seconds set in both."""
    for i in range(len(out)):
        out[i] = one[i] & other[i]


@compiled
def _runs_reaching(hits):
    """Runs of set seconds that reach 10 s; the first 10 seconds of `hits` stand before the recording."""
    number, n = 0, len(hits)
    tenth, width = hits, 1
    while width < SHORTEST_EVENT_S:
        shift = min(width, SHORTEST_EVENT_S - width)
        longer = np.zeros(n, dtype=np.bool_)
        _both(tenth[shift:], tenth[: n - shift], longer[shift:])
        tenth = longer
        width += shift
    for i in range(SHORTEST_EVENT_S, n):
        number += tenth[i] & (not hits[i - SHORTEST_EVENT_S])
    return number


@compiled
def _m1(masked, number, total):
    """Count the events of convention M1 for both drops."""
    n, window, pad = len(masked), MEAN_REFERENCE_S, SHORTEST_EVENT_S
    hits3, hits4 = np.zeros(n + pad, dtype=np.bool_), np.zeros(n + pad, dtype=np.bool_)
    first = min(window, n)
    nothing = np.zeros(first, dtype=np.int32)
    _m1_hits(masked[:first], number, total, nothing, nothing, hits3[pad:], hits4[pad:])
    _m1_hits(
        masked[first:],
        number[first:],
        total[first:],
        number,
        total,
        hits3[pad + first :],
        hits4[pad + first :],
    )
    return _runs_reaching(hits3), _runs_reaching(hits4)


@compiled
def _pulse_masked(pulse, masked):
    """Valid pulse into `masked`, the others as a value too high to be the lowest; number of the valid."""
    n_valid = 0
    for i in range(len(pulse)):
        ok = (pulse[i] >= LOWEST_PULSE) & (pulse[i] <= HIGHEST_PULSE)
        masked[i] = pulse[i] if ok else _NO_PULSE
        n_valid += ok
    return n_valid


@compiled
def _lower(one, other, out):
    """The lower of two values, second by second."""
    for i in range(len(out)):
        out[i] = min(one[i], other[i])


@compiled
def _lowest_before(masked, window_s):
    """Lowest value of the `window_s` seconds before each second."""
    n = len(masked)
    one, other = np.full(n + window_s, _NO_PULSE, dtype=np.int16), np.empty(n + window_s, dtype=np.int16)
    one[window_s:] = masked
    width = 1
    while width < window_s:
        shift = min(width, window_s - width)
        other[:shift] = one[:shift]
        _lower(one[shift:], one[: n + window_s - shift], other[shift:])
        one, other = other, one
        width += shift
    return one[window_s - 1 : n + window_s - 1]


@compiled
def _risen(masked, lowest, out):
    """Seconds of a valid pulse 6 or more above the lowest of the 30 s before."""
    for i in range(len(masked)):
        v = np.int64(masked[i])
        out[i] = (v <= HIGHEST_PULSE) & (v >= np.int64(lowest[i]) + PULSE_RISE)


@compiled
def _unbroken(masked, i, free_from):
    """First second from which a rise at `i` is measured: 30 s before, after the last long gap and rise."""
    first = max(i - PULSE_BEFORE_S, free_from)
    gap = 0
    for k in range(i - 1, first - 1, -1):
        gap = gap + 1 if masked[k] > HIGHEST_PULSE else 0
        if gap > BRIDGED_GAP_S:
            return k + gap
    return first


@compiled
def _settled(masked, i):
    """First valid second after the rise at `i` is over: settled, 30 s on, or after a long gap."""
    peak, last = np.int64(masked[i]), i
    for k in range(i + 1, len(masked)):
        v = np.int64(masked[k])
        if v > HIGHEST_PULSE:
            continue
        if k - last > BRIDGED_GAP_S + 1 or k - i >= PULSE_BEFORE_S or v <= peak - PULSE_SETTLED:
            return k
        peak, last = max(peak, v), k
    return len(masked)


@compiled
def _pulse(pulse):
    """Valid seconds and rises of the pulse, as `hvmon.nights.pulse`."""
    masked = np.empty(len(pulse), dtype=np.int16)
    n_valid = _pulse_masked(pulse, masked)
    risen = np.empty(len(pulse), dtype=np.bool_)
    _risen(masked, _lowest_before(masked, PULSE_BEFORE_S), risen)
    rises = free_from = i = 0
    while i < len(pulse):
        if risen[i]:
            lowest = np.int64(_NO_PULSE)
            for k in range(_unbroken(masked, i, free_from), i):
                lowest = min(lowest, np.int64(masked[k]))
            if masked[i] >= lowest + PULSE_RISE:
                rises += 1
                i = free_from = _settled(masked, i)
                continue
        i += 1
    return n_valid, rises


@compiled
def saturation(x, pulse, masked, number, counts):
    """Validity, levels, M1 and pulse into `counts`; the masked channel and its running number for C1."""
    n = len(x)
    missing, out_of_range, steep = gate(x, LOWEST_SPO2, HIGHEST_SPO2, SLEW_PER_S, 1, masked)
    counts[0], counts[1] = n, n - missing - out_of_range - steep
    counts[2], counts[3], counts[4] = missing, out_of_range, steep
    counts[5:13] = _levels(masked, np.empty(n, dtype=np.bool_))
    counts[13:15] = _delta(masked)
    counts[16:18] = _pulse(pulse)
    total = np.empty(n + 1, dtype=np.int32)
    running(masked, number, total)
    counts[21:23] = _m1(masked, number, total)
