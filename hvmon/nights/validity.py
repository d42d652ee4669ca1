"""Which seconds of a channel are values and which are artefact, by cause."""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from hvmon.nights.conventions import (
    HIGHEST_PULSE,
    HIGHEST_SPO2,
    HIGHEST_TC,
    LOWEST_PULSE,
    LOWEST_SPO2,
    LOWEST_TC,
    SLEW_PER_S,
    TC_STEP,
    TC_STEP_S,
)
from hvmon.records.night_signal import MISSING, Int16Array

BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]


class Validity(NamedTuple):
    """Valid seconds and the count of the others by cause."""

    valid: BoolArray
    missing_s: int
    artefact_range_s: int
    artefact_slew_s: int


def spo2_validity(spo2_tenths: Int16Array) -> Validity:
    """Judge saturation: 50.0 to 100.0 %, within 4 %/s of the last valid value."""
    return _gated(spo2_tenths, LOWEST_SPO2, HIGHEST_SPO2, SLEW_PER_S, 1)


def pulse_valid(pulse_tenths: Int16Array) -> BoolArray:
    """Give the valid seconds of the pulse: 20.0 to 250.0 per minute."""
    return (pulse_tenths >= LOWEST_PULSE) & (pulse_tenths <= HIGHEST_PULSE)


def tc_validity(tcco2_tenths_mmhg: Int16Array) -> Validity:
    """Judge transcutaneous CO2: 15.0 to 150.0 mmHg, within 10 mmHg (1.3 kPa) per minute.

    A step is compared with the last valid value: 10 mmHg is allowed within the first minute since it,
    10 mmHg for each further minute.
    """
    return _gated(tcco2_tenths_mmhg, LOWEST_TC, HIGHEST_TC, TC_STEP, TC_STEP_S)


def _gated(values: Int16Array, lowest: int, highest: int, step: int, per_s: int) -> Validity:
    """Apply the range, then the step gate whose allowance grows with the time since the last valid value."""
    missing = values == MISSING
    in_range = (values >= lowest) & (values <= highest)
    at = np.flatnonzero(in_range)
    kept = _step_gate(at, values[at].astype(np.int64), step, per_s)
    valid = np.zeros(len(values), dtype=np.bool_)
    valid[at[kept]] = True
    missing_s = int(missing.sum())
    return Validity(valid, missing_s, len(values) - missing_s - len(at), len(at) - int(kept.sum()))


def _step_gate(at: IntArray, x: IntArray, step: int, per_s: int) -> BoolArray:
    """Which of the in-range values lie within the allowance of the last valid one.

    Only where two in-range neighbours differ by more than the allowance is the sequence walked, and only
    until a value is accepted again.
    """
    kept = np.ones(len(at), dtype=np.bool_)
    too_far = np.abs(np.diff(x)) * per_s > step * np.maximum(np.diff(at), per_s)
    resume = 0
    for jump in (np.flatnonzero(too_far) + 1).tolist():
        if jump < resume:
            continue
        last, j = jump - 1, jump
        while j < len(at) and abs(int(x[j] - x[last])) * per_s > step * max(int(at[j] - at[last]), per_s):
            kept[j] = False
            j += 1
        resume = j + 1
    return kept
