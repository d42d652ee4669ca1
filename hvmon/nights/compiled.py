"""The counts of `hvmon.nights.counting` from compiled loops, for archives; needs numba (extra ``fast``).

Same rules, same integers, to the bit: the tests hold numpy, this and a plain scorer side by side. numba is
imported with this module, and this module only when asked for.
"""

import numpy as np
from numpy.typing import NDArray

from hvmon.nights import loops, loops_events, loops_tc
from hvmon.nights.conventions import HIGHEST_TC, LOWEST_TC, TC_STEP, TC_STEP_S
from hvmon.nights.counting import Counted, OximetryCounts, TcCounts
from hvmon.nights.dips import Event
from hvmon.nights.validity import BoolArray
from hvmon.records.night_signal import Int16Array

_NO_PULSE: NDArray[np.int16] = np.empty(0, dtype=np.int16)


def count_oximetry(
    spo2_tenths: Int16Array, pulse_tenths: Int16Array | None, *, with_events: bool = True
) -> Counted:
    """Count as `hvmon.nights.counting.count_oximetry`."""
    n = len(spo2_tenths)
    counts = np.zeros(23, dtype=np.int64)
    masked, number = np.empty(n, dtype=np.int16), np.empty(n + 1, dtype=np.int32)
    events = np.empty((n // 2 + 1, 6), dtype=np.int32)
    pulse = _NO_PULSE if pulse_tenths is None else pulse_tenths
    loops.saturation(spo2_tenths, pulse, masked, number, counts)
    n_events, area = loops_events.c1(masked, number, events, counts)
    numbers = counts.tolist()
    rows = [Event(*row) for row in events[:n_events].tolist()] if with_events else []
    return Counted(OximetryCounts._make((*numbers[:21], float(area), *numbers[21:])), rows)


def count_tc(tc_tenths: Int16Array, excluded: BoolArray, levels: tuple[int, ...]) -> TcCounts:
    """Count as `hvmon.nights.counting.count_tc`."""
    counts = np.zeros(9, dtype=np.int64)
    above = np.zeros((2, len(levels)), dtype=np.int64)
    masked = np.empty(len(tc_tenths), dtype=np.int16)
    counts[0] = len(tc_tenths)
    counts[2:5] = loops.gate(tc_tenths, LOWEST_TC, HIGHEST_TC, TC_STEP, TC_STEP_S, masked)
    loops_tc.transcutaneous(masked, excluded, np.array(levels, dtype=np.int64), counts, above)
    return TcCounts._make((*counts.tolist(), *(tuple(row) for row in above.tolist())))
