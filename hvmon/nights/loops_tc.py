# mypy: ignore-errors
# ruff: noqa: ANN001, ANN201, ANN202, D401
"""Compiled counts of a transcutaneous channel, after `loops.gate` has said which seconds are valid."""

import numpy as np

from hvmon.nights.conventions import HIGHEST_TC, TC_SUSTAINED_LEAST_VALID, TC_SUSTAINED_S
from hvmon.nights.loops import BLOCK_S, NOT_VALID, compiled


@compiled
def _exclude(masked, excluded):
    """Take the excluded seconds out of `masked`; number of valid ones among them."""
    number = 0
    for i in range(len(masked)):
        number += excluded[i] & (masked[i] >= 0)
        masked[i] = NOT_VALID if excluded[i] else masked[i]
    return number


@compiled
def _sums(masked):
    """Number, sum, lowest and highest of the valid values."""
    number = total = highest = 0
    lowest = HIGHEST_TC
    for i in range(len(masked)):
        v = np.int64(masked[i])
        ok = v >= 0
        number += ok
        total += v if ok else 0
        highest = max(highest, v)
        lowest = min(lowest, v if ok else HIGHEST_TC)
    return number, total, lowest, highest


@compiled
def _above(masked, level):
    """Seconds strictly above a level and the longest unbroken run of them."""
    seconds = longest = run = 0
    n = len(masked)
    for start in range(0, n, BLOCK_S):
        block = masked[start : min(start + BLOCK_S, n)]
        number = 0
        for i in range(len(block)):
            number += np.int64(block[i]) > level
        seconds += number
        if number == len(block):
            run += number
            longest = max(longest, run)
        elif number == 0:
            run = 0
        else:
            for i in range(len(block)):
                run = run + 1 if block[i] > level else 0
                longest = max(longest, run)
    return seconds, longest


@compiled
def _at_least(window, value):
    """Values of a window that are `value` or more."""
    number = 0
    for i in range(len(window)):
        number += np.int64(window[i]) >= value
    return number


@compiled
def _ranked(masked, number, rank, lowest, highest):
    """Value of a rank (from 0) among `number` valid values, found by halving."""
    while lowest < highest:
        middle = (lowest + highest) // 2
        if number - _at_least(masked, middle + 1) > rank:
            highest = middle
        else:
            lowest = middle + 1
    return lowest


@compiled
def _twice_median(masked, number, lowest, highest):
    """Sum of the two middle values; twice the middle one when the number is odd."""
    low = _ranked(masked, number, (number - 1) // 2, lowest, highest)
    if number - _at_least(masked, low + 1) > number // 2:
        return 2 * low
    return low + _ranked(masked, number, number // 2, low + 1, highest)


@compiled
def _sustained(masked, lowest):
    """Highest low median of any 60 s with 30 valid seconds; -1 without any.

    A low median is v or more exactly when more than half of the valid window is. A window is looked at only
    where a value above the best so far lies in it.
    """
    best, n = -1, len(masked)
    for start in range(TC_SUSTAINED_S - 1, n, BLOCK_S):
        stop = min(start + BLOCK_S, n)
        if _at_least(masked[start - TC_SUSTAINED_S + 1 : stop], best + 1) <= TC_SUSTAINED_LEAST_VALID // 2:
            continue
        first = masked[start - TC_SUSTAINED_S + 1 : start]
        number, higher = _at_least(first, 0), _at_least(first, best + 1)
        for i in range(start, stop):
            number += masked[i] >= 0
            higher += masked[i] > best
            if number >= TC_SUSTAINED_LEAST_VALID and 2 * higher > number:
                window = masked[i - TC_SUSTAINED_S + 1 : i + 1]
                best = max(best, lowest - 1)
                while 2 * _at_least(window, best + 1) > number:
                    best += 1
                higher = _at_least(window, best + 1)
            number -= masked[i - TC_SUSTAINED_S + 1] >= 0
            higher -= masked[i - TC_SUSTAINED_S + 1] > best
    return best


@compiled
def transcutaneous(masked, excluded, levels, counts, above):
    """Everything counted in a gated transcutaneous channel, into `counts` and `above`."""
    counts[5] = _exclude(masked, excluded)
    counts[1], counts[6], lowest, highest = _sums(masked)
    for level in range(len(levels)):
        if levels[level] < highest:
            above[0, level], above[1, level] = _above(masked, levels[level])
    if counts[1] > 0:
        counts[7] = _twice_median(masked, counts[1], lowest, highest)
    counts[8] = _sustained(masked, lowest)
