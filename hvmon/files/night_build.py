"""From channels on the 1 s grid to a night, with the sentences and warnings of the dry run."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hvmon.files.night_channels import WORDS, Channel
from hvmon.files.night_values import STEPS_PER_UNIT, Floats, no_reading, resolution_tenths, to_steps
from hvmon.files.understood import Understood, UnreadableNight
from hvmon.records.night_signal import MISSING, Annotation, Int16Array, NightSignal
from hvmon.vocabulary import SensorSite


@dataclass(frozen=True, slots=True)
class RawChannel:
    """One channel on the 1 s grid as read: numbers in its unit, NaN where the file has no value."""

    shown: str
    unit: str
    values: Floats
    exact: bool = False
    """Whether NaN alone is missing, as in files hvmon wrote itself."""


@dataclass(slots=True)
class RawNight:
    """Everything read of a file, before numbers become tenths."""

    start_utc: dt.datetime
    zone: str
    interval_s: int
    channels: Mapping[Channel, RawChannel]
    source_sha256: str
    annotations: tuple[Annotation, ...] = ()
    averaging_s: float | None = None
    device_kind: str = "not recorded"
    sensor_site: SensorSite = SensorSite.NOT_RECORDED
    summary: list[str] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


def build(raw: RawNight) -> Understood:
    """Give the night of what was read.

    Raises
    ------
    UnreadableNight
        The numbers contradict their unit, or no second of the night holds a reading.
    """
    steps = _steps(raw)
    lengths = [len(values) for values in steps.values()]
    if not any((values != MISSING).any() for values in steps.values()):
        raise UnreadableNight(
            "No second of the file holds a reading; check that the right columns were chosen."
        )
    spo2 = steps.get(Channel.SPO2, np.full(lengths[0], MISSING, dtype=np.int16))
    is_kpa = Channel.TCCO2 in raw.channels and raw.channels[Channel.TCCO2].unit == "kPa"
    try:
        signal = NightSignal(
            start_utc=raw.start_utc,
            zone=raw.zone,
            interval_s=raw.interval_s,
            spo2_tenths=spo2,
            pulse_tenths=steps.get(Channel.PULSE),
            tcco2_tenths_mmhg=None if is_kpa else steps.get(Channel.TCCO2),
            tcco2_hundredths_kpa=steps.get(Channel.TCCO2) if is_kpa else None,
            annotations=raw.annotations,
            averaging_s=raw.averaging_s,
            spo2_resolution_tenths=resolution_tenths(spo2),
            device_kind=raw.device_kind,
            sensor_site=raw.sensor_site,
            source_sha256=raw.source_sha256,
        )
    except ValueError as error:
        raise UnreadableNight(f"The file gives no usable night: {error}.") from None
    return Understood(signal, (*_opening(signal), *raw.summary), tuple(raw.warnings))


def _steps(raw: RawNight) -> dict[Channel, Int16Array]:
    steps: dict[Channel, Int16Array] = {}
    spo2_codes: NDArray[np.bool_] | None = None
    for channel in Channel:
        read = raw.channels.get(channel)
        if read is None:
            continue
        if read.exact:
            steps[channel] = _exact(read)
            continue
        coded = no_reading(channel, read.values, spo2_codes)
        spo2_codes = coded if channel is Channel.SPO2 else spo2_codes
        values = to_steps(channel, read.values, read.unit, coded, read.shown)
        steps[channel] = values.steps
        _tell(raw, channel, read, values.steps, values.no_reading_s, values.impossible_s)
    return steps


def _exact(read: RawChannel) -> Int16Array:
    present = np.isfinite(read.values)
    steps = np.full(len(read.values), MISSING, dtype=np.int16)
    steps[present] = np.rint(read.values[present] * STEPS_PER_UNIT[read.unit]).astype(np.int16)
    return steps


def _tell(
    raw: RawNight, channel: Channel, read: RawChannel, steps: Int16Array, no_reading_s: int, impossible_s: int
) -> None:
    """Add the sentence of a channel to the summary, and what was set to missing to the warnings."""
    present = steps[steps != MISSING]
    name = f"{WORDS[channel][0].upper()}{WORDS[channel][1:]} from {read.shown}, in {read.unit}"
    if not len(present):
        raw.warnings.append(f"{name}: no second holds a reading.")
        return
    divisor = STEPS_PER_UNIT[read.unit]
    low, middle, high = (
        float(value) / divisor for value in (present.min(), np.median(present), present.max())
    )
    raw.summary.append(
        f"{name}: {len(present)} of {len(steps)} s hold a reading, lowest {low:g}, middle {middle:g}, "
        f"highest {high:g}."
    )
    if no_reading_s:
        raw.warnings.append(
            f"{name}: {no_reading_s} s with a code for 'no reading' (0, 127, 255 ...) are missing."
        )
    if impossible_s:
        raw.warnings.append(f"{name}: {impossible_s} s hold impossible numbers and are kept as missing.")


def _opening(signal: NightSignal) -> tuple[str, ...]:
    local_end = signal.end_utc.astimezone(signal.start_local.tzinfo)
    hours, rest = divmod(signal.n_seconds, 3600)
    opening = (
        f"From {signal.start_local:%Y-%m-%d %H:%M:%S} to {local_end:%Y-%m-%d %H:%M:%S} in {signal.zone} "
        f"({hours} h {rest // 60} min {rest % 60} s), one value every {signal.interval_s} s."
    )
    return (opening,)
