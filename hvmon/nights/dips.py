"""Desaturation events of convention C1 and counts of M1, in numpy; rules in `hvmon.nights.conventions`."""

from bisect import bisect_left
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


def c1_events(spo2_tenths: Int16Array, valid: BoolArray, found: References, drop: int) -> list[Event]:
    """Every event of convention C1 for one drop [0.1 %], in order, counted or not."""
    seconds = np.flatnonzero(valid)
    x = spo2_tenths[seconds].astype(np.int64)
    onset = x[found.at] * found.number <= found.total - drop * found.number
    walk = _Walk(seconds.tolist(), x.tolist(), drop)
    candidates = found.at[onset].tolist()
    total, number = found.total[onset].tolist(), found.number[onset].tolist()
    next_candidate = 0
    while next_candidate < len(candidates):
        j = candidates[next_candidate]
        reference = walk.capped(j, total[next_candidate], number[next_candidate])
        free_from = j + 1 if reference is None else walk.follow(j, *reference)
        next_candidate = bisect_left(candidates, free_from, lo=next_candidate + 1)
    return walk.events


class _Walk:
    """The sequential part of C1 over the valid seconds only: `t` their seconds, `x` their values."""

    def __init__(self, t: list[int], x: list[int], drop: int) -> None:
        self.t, self.x, self.drop = t, x, drop
        self.events: list[Event] = []
        self.since_gap: int | None = None
        """Position of the first valid second after the last gap that ended an event."""

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
        t, x, drop = self.t, self.x, self.drop
        onset, nadir, regained = t[j], x[j], x[j]
        recovered = total - RECOVERY * number
        before = onset
        for i in range(j + 1, len(t)):
            now, value = t[i], x[i]
            if now - before > BRIDGED_GAP_S + 1:
                self.since_gap = i
                return self._close(onset, before + 1, total, number, nadir, Close.GAP, i)
            before = now
            if now - onset > STEP_DOWN_S:
                return self._close(onset, onset + STEP_DOWN_S, total, number, nadir, Close.STEP_DOWN, i + 1)
            if value * number >= recovered:
                return self._close(onset, now, total, number, nadir, Close.RECOVERY, i + 1)
            if regained >= nadir + drop and value <= regained - drop:
                self._close(onset, now, total, number, nadir, Close.RE_DIP, i + 1)
                total, number, onset, nadir, regained = regained, 1, now, value, value
                recovered = total - RECOVERY
            elif now - onset == STEP_DOWN_S:
                return self._close(onset, now, total, number, nadir, Close.STEP_DOWN, i + 1)
            elif value < nadir:
                nadir = regained = value
            elif value > regained:
                regained = value
        return self._close(onset, t[-1] + 1, total, number, nadir, Close.END, len(t))

    def _close(
        self, onset: int, end: int, total: int, number: int, nadir: int, close: Close, free: int
    ) -> int:
        self.events.append(Event(onset, end, total, number, nadir, int(close)))
        return free


def is_counted(event: Event) -> bool:
    """Whether an event enters the index: no step-down, 10 s or longer."""
    return event.close != Close.STEP_DOWN and event.end - event.onset >= SHORTEST_EVENT_S


def dip_area(spo2_tenths: Int16Array, valid: BoolArray, events: list[Event]) -> float:
    """Area of the counted events below their reference [0.1 % x s], valid seconds only."""
    area = 0.0
    for event in filter(is_counted, events):
        inside = slice(event.onset, event.end)
        depth = event.reference_sum - event.reference_n * spo2_tenths[inside][valid[inside]].astype(np.int64)
        area += int(depth[depth > 0].sum()) / event.reference_n
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
