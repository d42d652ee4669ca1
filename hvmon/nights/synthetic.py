"""Invented nights, from a seed: for the demo and for tests. No person ever breathed like this.

Every figure here is made up to tell a story at a glance; none is a reference.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from hvmon.records.night_signal import MISSING, Annotation, Int16Array, NightSignal
from hvmon.vocabulary import SensorSite

FloatArray = NDArray[np.float64]

HOUR: Final = 3600
AVERAGING_S: Final = 3
WANING: Final = -0.6
"""Below this the breathing of the story pauses its waves."""
ZONE: Final = "Europe/London"


@dataclass(frozen=True, slots=True)
class Course:
    """A night before it was measured: saturation [%], pulse [1/min], CO2 of the blood [mmHg], marks."""

    spo2: FloatArray
    pulse: FloatArray
    pco2: FloatArray
    marks: tuple[Annotation, ...]


Story = Callable[[np.random.Generator, int], Course]


def quiet(rng: np.random.Generator, n: int, *, spo2: float = 95.0, pco2: float = 42.0) -> Course:
    """Lie awake supine for 20 min, then sleep soundly on the ventilator."""
    wander = _smooth(rng.normal(0, 1, n), 900) * 8
    marks = (
        Annotation(0.0, None, "ventilator off"),
        Annotation(15 * 60.0, 5 * 60.0, "awake supine"),
        Annotation(20 * 60.0, None, "asleep"),
        Annotation(22 * 60.0, None, "ventilator on"),
    )
    return Course(spo2 + 0.5 * wander, 68 + 2 * _smooth(rng.normal(0, 1, n), 300) * 8, pco2 + wander, marks)


def hypoventilation(rng: np.random.Generator, n: int) -> Course:
    """Saturation falls in plateaus at REM-like spacing while CO2 climbs with each of them."""
    course = quiet(rng, n, spo2=93.5, pco2=46.0)
    shape = np.zeros(n)
    for start in range(int(1.2 * HOUR), n - 1800, int(1.5 * HOUR)):
        shape += _plateau(n, start, int(rng.integers(1500, 2400)), 300)
    shape = np.minimum(shape, 1.0)
    return Course(
        course.spo2 - 8.0 * shape, course.pulse + 4 * shape, course.pco2 + 13.0 * shape, course.marks
    )


def corrected_hypoventilation(rng: np.random.Generator, n: int) -> Course:
    """Show the same person after a change: small rests of the plateaus."""
    course = quiet(rng, n, spo2=94.5, pco2=43.0)
    shape = _plateau(n, 4 * HOUR, 1500, 300)
    return Course(course.spo2 - 2.0 * shape, course.pulse, course.pco2 + 3.0 * shape, course.marks)


def obstruction(rng: np.random.Generator, n: int) -> Course:
    """Saw-tooth of saturation with pulse rises, irregular, CO2 hardly moving."""
    course = quiet(rng, n, spo2=95.0, pco2=43.0)
    spo2, pulse, pco2 = course.spo2.copy(), course.pulse.copy(), course.pco2.copy()
    start = HOUR
    while start < n - 200:
        length = int(rng.integers(25, 50))
        _saw_tooth(spo2, start, length, float(rng.uniform(5, 10)))
        _bump(pulse, start + length, 15, float(rng.uniform(8, 16)))
        _bump(pco2, start, 2 * length, 1.0)
        start += int(rng.integers(70, 200))
    return Course(spo2, pulse, pco2, course.marks)


def periodic_breathing(rng: np.random.Generator, n: int) -> Course:
    """Over-ventilation: low CO2 and a saturation that waxes and wanes every 60 s."""
    course = quiet(rng, n, spo2=95.5, pco2=33.0)
    seconds = np.arange(n)
    envelope = (np.sin(2 * np.pi * seconds / (40 * 60.0)) > WANING) & (seconds > HOUR)
    wave = _smooth(envelope.astype(np.float64), 120) * (1 - np.cos(2 * np.pi * seconds / 60.0)) / 2
    return Course(
        course.spo2 - 5.5 * wave, course.pulse + 3 * wave, course.pco2 - 1.5 * (seconds > HOUR), course.marks
    )


def oxygen_retention(rng: np.random.Generator, n: int) -> Course:
    """Oxygen is turned up at 3 h: saturation better at once, CO2 climbing for the rest of the night."""
    course = quiet(rng, n, spo2=87.5, pco2=48.0)
    after = np.clip((np.arange(n) - 3 * HOUR) / 300.0, 0, 1)
    climb = 1 - np.exp(-np.clip(np.arange(n) - 3 * HOUR, 0, None) / 2400.0)
    marks = (*course.marks, Annotation(3.0 * HOUR, None, "oxygen change: 2 L/min"))
    return Course(course.spo2 + 5.5 * after, course.pulse, course.pco2 + 11.0 * climb, marks)


def leak(rng: np.random.Generator, n: int) -> Course:
    """High leak from 3 h to 5 h: saturation and CO2 drift apart until the mask is refitted."""
    course = quiet(rng, n, spo2=94.0, pco2=44.0)
    shape = _plateau(n, 3 * HOUR, 2 * HOUR, 900)
    marks = (*course.marks, Annotation(3.0 * HOUR, 2.0 * HOUR, "high leak: mask refitted at the end"))
    return Course(course.spo2 - 5.5 * shape, course.pulse + 5 * shape, course.pco2 + 8.0 * shape, marks)


def probe_off(rng: np.random.Generator, n: int) -> Course:
    """Describe a sound night whose finger probe fell off after 75 min, the sensor an hour later."""
    course = quiet(rng, n)
    spo2, pulse, pco2 = course.spo2.copy(), course.pulse.copy(), course.pco2.copy()
    spo2[int(1.25 * HOUR) :] = pulse[int(1.25 * HOUR) :] = np.nan
    pco2[int(2.25 * HOUR) :] = 3.0
    marks = (*course.marks, Annotation(2.25 * HOUR, float(n - 2.25 * HOUR), "sensor off"))
    return Course(spo2, pulse, pco2, marks)


STORIES: Final[tuple[tuple[str, Story, datetime], ...]] = (
    ("hypoventilation before", hypoventilation, datetime(2026, 2, 3, 22, 10, tzinfo=UTC)),
    ("hypoventilation after", corrected_hypoventilation, datetime(2026, 3, 10, 22, 25, tzinfo=UTC)),
    ("obstruction", obstruction, datetime(2026, 4, 14, 21, 50, tzinfo=UTC)),
    ("periodic breathing", periodic_breathing, datetime(2026, 5, 5, 21, 40, tzinfo=UTC)),
    ("oxygen retention", oxygen_retention, datetime(2026, 1, 20, 22, 5, tzinfo=UTC)),
    ("leak", leak, datetime(2026, 6, 2, 21, 30, tzinfo=UTC)),
    ("probe off", probe_off, datetime(2026, 5, 19, 21, 45, tzinfo=UTC)),
    # the clocks went back at 01:00 UTC on 26 October 2025
    ("clock change", quiet, datetime(2025, 10, 25, 21, 30, tzinfo=UTC)),
)
"""Story key, course of the night, start of the recording."""

STORY_HOURS: Final = 8

DEMO_SEED: Final = 15
"""The seed of the demo; any other gives other nights of the same stories."""


def demo_nights(seed: int = DEMO_SEED) -> list[tuple[str, NightSignal]]:
    """Give the invented nights of the demo, by story key, the same for the same seed."""
    children = np.random.SeedSequence(seed).spawn(len(STORIES))
    return [
        (key, measured(np.random.default_rng(child), story, start))
        for (key, story, start), child in zip(STORIES, children, strict=True)
    ]


def measured(
    rng: np.random.Generator, story: Story, start_utc: datetime, *, hours: float = STORY_HOURS
) -> NightSignal:
    """Measure a course: an oximeter averaging 3 s in whole percents, a slow CO2 sensor with noise.

    The sensor lags by a first-order minute, reads high by 1 mmHg, takes ten minutes to warm up and drifts by
    2 mmHg in 8 h.
    """
    n = int(hours * HOUR)
    course = story(rng, n)
    spo2 = np.clip(_smooth(course.spo2 + rng.normal(0, 0.4, n), AVERAGING_S), 0, 100)
    pulse = _smooth(course.pulse + rng.normal(0, 1.5, n), 5)
    seconds = np.arange(n)
    warm = np.exp(-seconds / 200.0)
    tc = _first_order(course.pco2, 60.0) + 1.0 + 2.0 * seconds / (8.0 * HOUR) + rng.normal(0, 0.15, n)
    return NightSignal(
        start_utc=start_utc,
        zone=ZONE,
        interval_s=1,
        spo2_tenths=_whole(spo2),
        pulse_tenths=_whole(pulse),
        tcco2_tenths_mmhg=np.rint(10 * (tc * (1 - warm) + 8.0 * warm)).astype(np.int16),
        annotations=course.marks,
        averaging_s=float(AVERAGING_S),
        spo2_resolution_tenths=10,
        device_kind="ear-lobe tcCO2 sensor with oximetry",
        sensor_site=SensorSite.EARLOBE,
    )


def later(signal: NightSignal, days: int) -> NightSignal:
    """Give the same signal, started so many days later."""
    return replace(signal, start_utc=signal.start_utc + timedelta(days=days))


def _whole(values: FloatArray) -> Int16Array:
    """Whole units as tenths, missing where not a number."""
    tenths = np.where(np.isnan(values), MISSING, 10 * np.rint(np.nan_to_num(values)))
    return tenths.astype(np.int16)


def _smooth(values: FloatArray, seconds: int) -> FloatArray:
    """Centred mean over so many seconds; the ends repeat."""
    before, after = seconds // 2, seconds - 1 - seconds // 2
    running = np.cumsum(np.concatenate(([0.0], np.pad(values, (before, after), mode="edge"))))
    if np.isnan(values).any():
        return values
    return np.asarray((running[seconds:] - running[:-seconds]) / seconds, dtype=np.float64)


def _first_order(values: FloatArray, time_constant_s: float) -> FloatArray:
    """Response of a first-order sensor to a course at 1 Hz."""
    keep = np.exp(-np.arange(int(8 * time_constant_s)) / time_constant_s)
    padded = np.concatenate((np.full(len(keep) - 1, values[0]), values))
    return np.convolve(padded, keep / keep.sum(), mode="valid").astype(np.float64)


def _plateau(n: int, start: int, length: int, ramp: int) -> FloatArray:
    """Give a trapezium of height 1."""
    seconds = np.arange(n)
    return np.clip(np.minimum((seconds - start) / ramp, (start + length - seconds) / ramp), 0.0, 1.0)


def _saw_tooth(values: FloatArray, start: int, length: int, depth: float) -> None:
    """Fall slowly over `length` seconds, recover within a quarter of that."""
    back = length // 4
    values[start : start + length] -= np.linspace(0, depth, length)
    values[start + length : start + length + back] -= np.linspace(depth, 0, back)


def _bump(values: FloatArray, start: int, length: int, height: float) -> None:
    """Add a half sine."""
    part = values[start : start + length]
    part += height * np.sin(np.linspace(0, np.pi, length))[: len(part)]
