"""Correction of transcutaneous CO2 for drift from paired blood gases.

Interpolation between two paired gases took the bias over 8 h from 3.6 mmHg (limits -5.1 to 12.3) to
0.4 (-5.5 to 6.4) (Berlowitz2011). One gas gives an offset only; the remaining slope is unknown. No gas: no
correction. Raw and corrected are both kept.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hvmon.nights.results import DriftReport
from hvmon.nights.validity import BoolArray, tc_validity
from hvmon.records.night_signal import MISSING, Int16Array
from hvmon.units import KPA_PER_MMHG
from hvmon.vocabulary import DriftCorrection, SampleKind

DEFAULT_LAG_S: Final = 120.0
"""[s] the sensor shows the blood of this long ago; widely quoted, from memory (Practice), editable."""

LARGEST_MOVE_MMHG: Final = 2.0
"""[mmHg] a pair is refused when the channel moved by more within 3 min either way (Project)."""

MOVE_WINDOW_S: Final = 180
PAIR_WINDOW_S: Final = 30
LEAST_VALID_S: Final = 10
LEAST_APART_S: Final = 3600.0
"""[s] two pairs nearer than an hour do not give a slope (Project)."""


@dataclass(frozen=True, slots=True)
class PairedGas:
    """A blood gas drawn while the sensor was on. `drawn_s` in seconds from the start of the recording."""

    drawn_s: float
    pco2_mmhg: float
    kind: SampleKind


@dataclass(frozen=True, slots=True)
class Corrected:
    """The corrected channels and how they were made; channels None when nothing was corrected."""

    tcco2_tenths_mmhg: Int16Array | None
    tcco2_hundredths_kpa: Int16Array | None
    report: DriftReport


def correct_drift(
    tcco2_tenths_mmhg: Int16Array,
    gases: tuple[PairedGas, ...],
    *,
    tcco2_hundredths_kpa: Int16Array | None = None,
    usable: BoolArray | None = None,
    earlobe_allowed: bool = False,
    lag_s: float = DEFAULT_LAG_S,
) -> Corrected:
    """Subtract the offset (transcutaneous minus blood) found at the paired gases.

    The offset is read from the channel `lag_s` after the gas was drawn, interpolated linearly between the
    pairs and held before the first and after the last.

    Parameters
    ----------
    usable : bool array or None
        Seconds outside warm-up and sensor-off; a pair is read from these only.
    earlobe_allowed : bool
        Whether an earlobe capillary gas may stand for an arterial one; venous and fingertip gases never do.

    References
    ----------
    Berlowitz2011; refusal of moving pairs: Project.
    """
    if not gases:
        return _applied(tcco2_tenths_mmhg, None, [], ())
    valid = tc_validity(tcco2_tenths_mmhg).valid
    valid = valid if usable is None else valid & usable
    pairs: list[tuple[float, float]] = []
    refused: list[str] = []
    for gas in sorted(gases, key=lambda each: each.drawn_s):
        found = _offset(tcco2_tenths_mmhg, valid, gas, lag_s, earlobe_allowed)
        if isinstance(found, str):
            refused.append(f"{gas.kind} gas at {gas.drawn_s:.0f} s: {found}")
        else:
            pairs.append((gas.drawn_s + lag_s, found))
    if len(pairs) > 1 and pairs[-1][0] - pairs[0][0] < LEAST_APART_S:
        refused.append("pairs less than an hour apart give no slope: the first alone is used")
        pairs = pairs[:1]
    return _applied(tcco2_tenths_mmhg, tcco2_hundredths_kpa, pairs, tuple(refused))


def _offset(
    tc_tenths: Int16Array, valid: BoolArray, gas: PairedGas, lag_s: float, earlobe_allowed: bool
) -> float | str:
    """Offset [mmHg] at one gas, or the sentence why it is not used."""
    if gas.kind == SampleKind.VENOUS:
        return "venous gases never correct a transcutaneous channel"
    if gas.kind == SampleKind.CAPILLARY_FINGERTIP:
        return "fingertip gases do not correct a transcutaneous channel"
    if gas.kind == SampleKind.CAPILLARY_EARLOBE and not earlobe_allowed:
        return "earlobe gases are not accepted as arterial here"
    read_at = round(gas.drawn_s + lag_s)
    near = _window(tc_tenths, valid, read_at, PAIR_WINDOW_S)
    around = _window(tc_tenths, valid, read_at, MOVE_WINDOW_S)
    if len(near) < LEAST_VALID_S:
        return "the channel holds too few valid seconds there"
    if int(around.max() - around.min()) > 10 * LARGEST_MOVE_MMHG:
        return f"the channel moved by more than {LARGEST_MOVE_MMHG:g} mmHg within 3 min"
    return float(np.median(near)) / 10.0 - gas.pco2_mmhg


def _window(tc_tenths: Int16Array, valid: BoolArray, centre: int, half_s: int) -> NDArray[np.int64]:
    """Give the valid values within `half_s` of a second."""
    inside = slice(max(centre - half_s, 0), max(centre + half_s + 1, 0))
    return tc_tenths[inside][valid[inside]].astype(np.int64)


def _applied(
    tc_tenths: Int16Array,
    tc_hundredths_kpa: Int16Array | None,
    pairs: list[tuple[float, float]],
    refused: tuple[str, ...],
) -> Corrected:
    """Subtract the offsets and report."""
    if not pairs:
        return Corrected(None, None, DriftReport(DriftCorrection.NONE, (), None, None, refused))
    at, offset = zip(*pairs, strict=True)
    bias_mmhg = np.interp(np.arange(len(tc_tenths)), at, offset)
    slope = None if len(pairs) == 1 else (offset[-1] - offset[0]) / (at[-1] - at[0]) * 3600.0
    report = DriftReport(
        DriftCorrection.ONE_POINT if slope is None else DriftCorrection.TWO_POINT,
        tuple(pairs),
        slope,
        None if slope is None else slope * 8.0 * KPA_PER_MMHG,
        refused,
    )
    kpa = tc_hundredths_kpa
    return Corrected(
        _shifted(tc_tenths, bias_mmhg * 10.0),
        None if kpa is None else _shifted(kpa, bias_mmhg * KPA_PER_MMHG * 100.0),
        report,
    )


def _shifted(values: Int16Array, bias: NDArray[np.float64]) -> Int16Array:
    """Subtract, round to the nearest step, keep missing seconds missing."""
    shifted = np.clip(np.rint(values - bias), MISSING + 1, np.iinfo(np.int16).max)
    return np.where(values == MISSING, MISSING, shifted).astype(np.int16)
