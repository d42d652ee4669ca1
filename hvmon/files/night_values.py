"""Numbers of a file as tenths: device codes for "no reading", possible ranges, plausible units."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hvmon.files.night_channels import WORDS, Channel
from hvmon.files.understood import UnreadableNight
from hvmon.records.night_signal import MISSING, Int16Array

Floats = NDArray[np.float64]

NO_READING_CODES = {
    Channel.SPO2: (0.0, 127.0, 255.0),
    Channel.PULSE: (0.0, 255.0, 511.0),
    Channel.TCCO2: (0.0, 255.0),
}
"""Values devices write for "no reading" (common practice, no source). 127 is a possible pulse and CO2: there
it counts as a code only in seconds whose saturation is a code too."""

SHARED_CODE = 127.0
POSSIBLE = {"%": (0.0, 100.0), "/min": (0.0, 400.0), "mmHg": (0.0, 250.0), "kPa": (0.0, 33.0)}
"""What a reading can be at all; outside it is kept as missing and counted."""

PLAUSIBLE_MEDIAN = {"%": (30.0, 100.0), "/min": (20.0, 250.0), "mmHg": (15.0, 130.0), "kPa": (2.0, 15.0)}
"""Where the middle of a night lies in each unit; the CO2 bounds part kPa from mmHg (project judgement)."""

STEPS_PER_UNIT = {"%": 10, "/min": 10, "mmHg": 10, "kPa": 100}


@dataclass(frozen=True, slots=True)
class ChannelValues:
    """One channel in whole steps, and what was set to missing on the way."""

    steps: Int16Array
    unit: str
    no_reading_s: int
    impossible_s: int


def no_reading(
    channel: Channel, values: Floats, spo2_codes: NDArray[np.bool_] | None = None
) -> NDArray[np.bool_]:
    """Mark seconds in which the device wrote its code for "no reading"."""
    coded = np.isin(values, NO_READING_CODES[channel])
    if channel is not Channel.SPO2 and spo2_codes is not None and len(spo2_codes) == len(values):
        coded |= (values == SHARED_CODE) & spo2_codes
    return coded


def to_steps(
    channel: Channel, values: Floats, unit: str, coded: NDArray[np.bool_], shown: str
) -> ChannelValues:
    """Give a channel in tenths (hundredths for kPa), missing where there is no possible reading.

    Raises
    ------
    UnreadableNight
        The middle of the readings contradicts the unit.
    """
    low, high = POSSIBLE[unit]
    present = np.isfinite(values) & ~coded
    possible = present & (values >= low) & (values <= high)
    _check_plausible(channel, values, possible, present, unit, shown)
    steps = np.full(len(values), MISSING, dtype=np.int16)
    steps[possible] = np.rint(values[possible] * STEPS_PER_UNIT[unit]).astype(np.int16)
    return ChannelValues(steps, unit, int(coded.sum()), int((present & ~possible).sum()))


def _check_plausible(
    channel: Channel,
    values: Floats,
    possible: NDArray[np.bool_],
    present: NDArray[np.bool_],
    unit: str,
    shown: str,
) -> None:
    """Stop where the unit and the size of the numbers contradict each other."""
    if not present.any():
        return
    middle = float(np.median(values[possible])) if possible.any() else float(np.median(values[present]))
    low, high = PLAUSIBLE_MEDIAN[unit]
    if possible.sum() * 2 >= present.sum() and low <= middle <= high:
        return
    other = _other_unit(unit, middle)
    raise UnreadableNight(
        f"{shown}: the middle of the readings is {middle:g}, which {WORDS[channel]} in {unit} cannot have "
        f"({low:g} to {high:g} is accepted); {other}"
    )


def _other_unit(unit: str, middle: float) -> str:
    pairs = {"mmHg": "kPa", "kPa": "mmHg"}
    twin = pairs.get(unit)
    if twin and PLAUSIBLE_MEDIAN[twin][0] <= middle <= PLAUSIBLE_MEDIAN[twin][1]:
        return f"the numbers look like {twin}. Check the unit in the file; nothing was converted."
    if unit == "%" and 0 < middle <= 1:
        return "the numbers look like fractions. Export percent; nothing was converted."
    return "check that the right column was chosen and its unit."


def resolution_tenths(spo2_tenths: Int16Array) -> int | None:
    """Give the smallest step of the saturations [0.1 %]: 10, 5 or 1; None when they never change."""
    readings = np.unique(spo2_tenths[spo2_tenths != MISSING])
    if len(readings) < 2:  # noqa: PLR2004 - a single value has no step
        return None
    return next(step for step in (10, 5, 1) if not (readings % step).any())
