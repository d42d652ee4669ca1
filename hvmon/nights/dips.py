"""Desaturation events of convention C1 and counts of M1, in numpy; rules in `hvmon.nights.conventions`."""

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from enum import IntEnum
from typing import NamedTuple

import numpy as np

from hvmon.nights.conventions import (
    BRIDGED_GAP_S,
    MEAN_LEAST_VALID,
    MEAN_REFERENCE_S,
    RECOVERY,
    REFERENCE_LEAST_VALID,
    REFERENCE_S,
    REFERENCE_SHARE,
    SHORTEST_EVENT_S,
    STEP_DOWN_S,
)
from hvmon.nights.validity import BoolArray, IntArray
from hvmon.records.night_signal import Int16Array

NOTHING_REGAINED = -1
"""No valid value is this low, so no re-dip is found before something was regained."""


class Close(IntEnum):
    """How an event ended; the letters of convention C1."""

    RECOVERY = 0
    RE_DIP = 1
    STEP_DOWN = 2
    GAP = 3
    END = 4


class Event(NamedTuple):
    """One event. The reference is `reference_sum / reference_n` tenths of a percent, kept exact."""

    onset: int
    end: int
    reference_sum: int
    reference_n: int
    nadir: int
    close: int


class References(NamedTuple):
    """Reference of every candidate: position among the valid seconds, sum and number of its values."""

    at: IntArray
    total: IntArray
    number: IntArray


def valid_before(valid: BoolArray, window_s: int) -> IntArray:
    """Count the valid seconds among the `window_s` seconds before each second."""
    running = np.concatenate(([0], np.cumsum(valid)))
    first = np.maximum(np.arange(len(valid)) - window_s, 0)
    return running[:-1] - running[first]


def highest_before(values: Int16Array, window_s: int) -> Int16Array:
    """Highest value of the `window_s` seconds before each second; -1 where there are none."""
    width, highest = 1, np.concatenate((np.full(window_s, -1, dtype=np.int16), values))
    while width < window_s:
        shift = min(width, window_s - width)
        highest[shift:] = np.maximum(highest[shift:], highest[:-shift])
        width += shift
    return highest[window_s - 1 : -1]


def references(spo2_tenths: Int16Array, valid: BoolArray, drop: int) -> References:
    """Give the references of the valid seconds that lie at least `drop` below the highest of the 60 s before.

    The mean of the highest fifth is never above the maximum, so no other second can be an onset.
    """
    values = np.where(valid, spo2_tenths, np.int16(-1))
    n_valid = valid_before(valid, REFERENCE_S)
    low = values <= highest_before(values, REFERENCE_S) - drop
    seconds = np.flatnonzero(valid & (n_valid >= REFERENCE_LEAST_VALID) & low)
    number = -(-n_valid[seconds] // REFERENCE_SHARE)
    padded = np.concatenate((np.full(REFERENCE_S, -1, dtype=np.int16), values))
    windows = np.lib.stride_tricks.sliding_window_view(padded, REFERENCE_S)[seconds]
    top = np.sort(windows, axis=1)[:, ::-1][:, : -(-REFERENCE_S // REFERENCE_SHARE)]
    total = np.take_along_axis(np.cumsum(top, axis=1, dtype=np.int64), number[:, None] - 1, axis=1)[:, 0]
    return References(np.cumsum(valid)[seconds] - 1, total, number)


def c1_events(
    spo2_tenths: Int16Array, valid: BoolArray, found: References, drops: Sequence[int]
) -> list[list[Event]]:
    """Every event of convention C1 for each drop [0.1 %], in order, counted or not."""
    seconds = np.flatnonzero(valid)
    x = spo2_tenths[seconds].astype(np.int64)
    gaps = np.flatnonzero(np.diff(seconds) > BRIDGED_GAP_S + 1) + 1
    t, values, after_gaps = seconds.tolist(), x.tolist(), gaps.tolist()
    events = []
    for drop in drops:
        onset = x[found.at] * found.number <= found.total - drop * found.number
        candidates = (found.at[onset], found.total[onset], found.number[onset])
        events.append(_Walk(t, values, after_gaps, drop).along(*(each.tolist() for each in candidates)))
    return events


class _Walk:
    """The sequential part of C1 over the valid seconds only: `t` their seconds, `x` their values.

    `gaps` are the positions of the first valid second after each gap too long to be bridged.
    """

    def __init__(self, t: list[int], x: list[int], gaps: list[int], drop: int) -> None:
        self.t, self.x, self.drop = t, x, drop
        self.gaps = gaps
        self.events: list[Event] = []
        self.since_gap: int | None = None
        """Position of the first valid second after the last gap that ended an event."""

    def along(self, candidates: list[int], total: list[int], number: list[int]) -> list[Event]:
        """Give the events that open at the candidates still free when their turn comes."""
        n = 0
        while n < len(candidates):
            j = candidates[n]
            reference = self.capped(j, total[n], number[n])
            free_from = j + 1 if reference is None else self.follow(j, *reference)
            n = bisect_left(candidates, free_from, lo=n + 1)
        return self.events

    def capped(self, j: int, total: int, number: int) -> tuple[int, int] | None:
        """Cap the reference by the rule about gaps; None when under it position `j` is no onset."""
        since = self.since_gap
        if since is None or self.t[j] >= self.t[since] + REFERENCE_S:
            return total, number
        highest = max(self.x[since:j], default=0)
        if highest * number < total:
            total, number = highest, 1
        return (total, number) if self.x[j] * number <= total - self.drop * number else None

    def follow(self, j: int, total: int, number: int) -> int:
        """Follow an event from its onset, and those that re-dips open; give the first position free again."""
        while True:
            last = self._last_position(j)
            i, nadir, regained, close = self._scan(j, last, -(-(total - RECOVERY * number) // number))
            if close is None:
                return self._run_out(j, last, total, number, nadir)
            self.events.append(Event(self.t[j], self.t[i], total, number, nadir, close))
            if close == Close.RECOVERY:
                return i + 1
            j, total, number = i, regained, 1

    def _last_position(self, j: int) -> int:
        """Last position before a gap, at most 120 s after the onset at position `j`."""
        in_time = bisect_right(
            self.t, self.t[j] + STEP_DOWN_S, lo=j, hi=min(j + STEP_DOWN_S + 1, len(self.t))
        )
        gap = bisect_right(self.gaps, j)
        return min(in_time, self.gaps[gap] if gap < len(self.gaps) else len(self.t)) - 1

    def _scan(self, j: int, last: int, recovered: int) -> tuple[int, int, int, int | None]:
        """Find the first end (a) or (b) up to position `last`: its position, nadir, regained, which."""
        drop = self.drop
        nadir = regained = self.x[j]
        re_dip = NOTHING_REGAINED
        for i, value in enumerate(self.x[j + 1 : last + 1], j + 1):
            if value >= recovered:
                return i, nadir, regained, Close.RECOVERY
            if value <= re_dip:
                return i, nadir, regained, Close.RE_DIP
            if value < nadir:
                nadir = regained = value
                re_dip = NOTHING_REGAINED
            elif value > regained:
                regained = value
                if value >= nadir + drop:
                    re_dip = value - drop
        return last, nadir, regained, None

    def _run_out(self, j: int, last: int, total: int, number: int, nadir: int) -> int:
        """Close an event that neither recovered nor fell again: step-down, gap or end of recording."""
        onset, after = self.t[j], last + 1
        if self.t[last] == onset + STEP_DOWN_S:
            end, close, free = onset + STEP_DOWN_S, Close.STEP_DOWN, after
            nadir = min(self.x[j:last])  # the second that ends it is not part of it
        elif after == len(self.t):
            end, close, free = self.t[last] + 1, Close.END, after
        elif self.t[after] - self.t[last] > BRIDGED_GAP_S + 1:
            end, close, free = self.t[last] + 1, Close.GAP, after
            self.since_gap = after
        else:
            end, close, free = onset + STEP_DOWN_S, Close.STEP_DOWN, after + 1
        self.events.append(Event(onset, end, total, number, nadir, close))
        return free


def is_counted(event: Event) -> bool:
    """Whether an event enters the index: no step-down, 10 s or longer."""
    return event.close != Close.STEP_DOWN and event.end - event.onset >= SHORTEST_EVENT_S


def dip_area(spo2_tenths: Int16Array, valid: BoolArray, events: list[Event]) -> float:
    """Area of the counted events below their reference [0.1 % x s], valid seconds only.

    The area of one event is exact; the areas are added in the order of the events, as the compiled loops do.
    """
    counted = np.array([event for event in events if is_counted(event)], dtype=np.int64).reshape(-1, 6)
    if not len(counted):
        return 0.0
    onset, end, total, number = counted[:, :4].T
    length = end - onset
    first = np.cumsum(length) - length
    seconds = np.repeat(onset - first, length) + np.arange(int(length.sum()))
    depth = np.repeat(total, length) - np.repeat(number, length) * spo2_tenths[seconds]
    inside = np.add.reduceat(np.where(valid[seconds], np.maximum(depth, 0), 0), first)
    area = 0.0
    for each, parts in zip(inside.tolist(), number.tolist(), strict=True):
        area += each / parts
    return area


def m1_count(spo2_tenths: Int16Array, valid: BoolArray, drop: int) -> int:
    """Count the events of convention M1 for one drop [0.1 %]."""
    values = np.where(valid, spo2_tenths, np.int16(0)).astype(np.int64)
    running = np.concatenate(([0], np.cumsum(values)))
    first = np.maximum(np.arange(len(values)) - MEAN_REFERENCE_S, 0)
    total, number = running[:-1] - running[first], valid_before(valid, MEAN_REFERENCE_S)
    low = valid & (number >= MEAN_LEAST_VALID) & (values * number <= total - drop * number)
    return int((run_lengths(low) >= SHORTEST_EVENT_S).sum())


def run_lengths(mask: BoolArray) -> IntArray:
    """Lengths of the unbroken runs of True, in order."""
    edges = np.diff(np.concatenate(([False], mask, [False])).astype(np.int8))
    return np.flatnonzero(edges == -1) - np.flatnonzero(edges == 1)
