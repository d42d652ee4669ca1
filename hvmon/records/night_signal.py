"""One overnight recording: oxygen saturation, pulse and transcutaneous CO2 on one grid of 1 s.

Values are kept in integer tenths, so that "exactly 88 %" and "a fall of exactly 3" have exact answers.
A second without a value holds `MISSING`; nothing is ever closed up or filled in.
"""

from dataclasses import dataclass, fields
from datetime import datetime, timedelta
from enum import StrEnum
from math import isfinite
from typing import ClassVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
from numpy.typing import NDArray

from hvmon.units import MMHG_PER_KPA, PressureUnit
from hvmon.vocabulary import SensorSite

Int16Array = NDArray[np.int16]

MISSING = -32768
"""The value of a second without a reading, in every channel."""

LONGEST_NIGHT_S = 72 * 3600
"""[s] longest recording accepted; longer ones are several nights in one file."""

CHANNELS = ("spo2_tenths", "pulse_tenths", "tcco2_tenths_mmhg", "tcco2_hundredths_kpa")
"""Names of the channel fields of `NightSignal`, in the order in which they are stored."""

TENTHS_MMHG_PER_HUNDREDTH_KPA = MMHG_PER_KPA / 10.0


class AnnotationKind(StrEnum):
    """Marks hvmon understands. The text of such a mark is the kind itself, or ``kind: detail``."""

    VENTILATOR_ON = "ventilator on"
    VENTILATOR_OFF = "ventilator off"
    OXYGEN_CHANGE = "oxygen change"
    AWAKE_SUPINE = "awake supine"
    AWAKE = "awake"
    ASLEEP = "asleep"
    SENSOR_APPLIED = "sensor applied"
    RECALIBRATION = "recalibration"
    SITE_CHANGE = "site change"
    SENSOR_OFF = "sensor off"
    HIGH_LEAK = "high leak"
    SETTINGS_CHANGE = "settings change"
    NOTE = "note"


_KIND_OF_TEXT = {str(kind): kind for kind in AnnotationKind}


@dataclass(frozen=True, slots=True)
class Annotation:
    """A mark on the recording.

    Attributes
    ----------
    onset_s : float
        Seconds after the start of the recording [s].
    duration_s : float or None
        How long it lasted [s]; None for a moment.
    text : str
        As written. Texts of `AnnotationKind`, alone or before a colon, are understood by the scoring.
    """

    onset_s: float
    duration_s: float | None
    text: str

    @property
    def kind(self) -> AnnotationKind:
        """The kind its text names (case and blanks ignored), otherwise `AnnotationKind.NOTE`."""
        head = " ".join(self.text.partition(":")[0].split()).lower()
        return _KIND_OF_TEXT.get(head, AnnotationKind.NOTE)

    @property
    def detail(self) -> str:
        """What stands after the colon of a known kind, for example the oxygen flow; else the whole text."""
        if self.kind is AnnotationKind.NOTE:
            return self.text
        return self.text.partition(":")[2].strip()


@dataclass(frozen=True, slots=True, eq=False)
class NightSignal:
    """A night as recorded, on one grid of 1 s from `start_utc`; frozen, its arrays read-only.

    Attributes
    ----------
    start_utc : datetime
        Start of the first second, aware, in UTC.
    zone : str
        IANA name of the clock on the wall, for example "Europe/London".
    interval_s : int
        Interval at which the device wrote values [s]; values are held, never interpolated, on the 1 s grid.
    spo2_tenths : int16 array
        Oxygen saturation [0.1 %]; all `MISSING` when no oximeter was used.
    pulse_tenths : int16 array or None
        Pulse rate [0.1 /min]; None when the file has no such channel.
    tcco2_tenths_mmhg : int16 array or None
        Transcutaneous CO2 [0.1 mmHg]. Derived (rounded to the nearest tenth) when the recording was in
        kPa: give `tcco2_hundredths_kpa` alone then.
    tcco2_hundredths_kpa : int16 array or None
        Transcutaneous CO2 exactly as recorded in kPa [0.01 kPa]; None for recordings in mmHg. One step
        of 0.01 kPa is 0.075 mmHg, so the derived tenths of mmHg cannot give it back: both are kept.
    annotations : tuple of Annotation
        In order of onset.
    averaging_s : float or None
        Averaging time of the oximeter [s]; None when not recorded.
    spo2_resolution_tenths : int or None
        Smallest step of the saturation the device writes [0.1 %]: 10 for whole percents, 1 for tenths.
    device_kind : str
        In general terms ("finger oximeter", "ear-lobe tcCO2 sensor with oximetry"); no maker.
    sensor_site : SensorSite
        Where the transcutaneous sensor sat.
    tcco2_unit : PressureUnit or None
        Unit in which the device wrote CO2; None without such a channel.
    source_sha256 : str or None
        Hash of the untouched original file, kept beside the night.

    Raises
    ------
    ValueError
        A field is not usable; the message names it, what was given and what is accepted.
    """

    start_utc: datetime
    zone: str
    interval_s: int
    spo2_tenths: Int16Array
    pulse_tenths: Int16Array | None = None
    tcco2_tenths_mmhg: Int16Array | None = None
    tcco2_hundredths_kpa: Int16Array | None = None
    annotations: tuple[Annotation, ...] = ()
    averaging_s: float | None = None
    spo2_resolution_tenths: int | None = None
    device_kind: str = "not recorded"
    sensor_site: SensorSite = SensorSite.NOT_RECORDED
    tcco2_unit: PressureUnit | None = None
    source_sha256: str | None = None

    __hash__: ClassVar[None] = None  # type: ignore[assignment]

    def __post_init__(self) -> None:
        """Check every field, derive mmHg from kPa, and seal the arrays."""
        _check_time(self.start_utc, self.zone, self.interval_s)
        _check_settings(self.averaging_s, self.spo2_resolution_tenths)
        _check_annotations(self.annotations)
        self._derive_mmhg()
        for name in CHANNELS:
            values = getattr(self, name)
            if values is not None:
                object.__setattr__(self, name, _sealed(name, values, len(self.spo2_tenths)))
        self._check_unit()
        object.__setattr__(self, "annotations", tuple(sorted(self.annotations, key=lambda a: a.onset_s)))

    def __eq__(self, other: object) -> bool:
        """Equal when every field and every second of every channel is equal."""
        if not isinstance(other, NightSignal):
            return NotImplemented
        return all(_same(getattr(self, each.name), getattr(other, each.name)) for each in fields(self))

    @property
    def n_seconds(self) -> int:
        """Length of the recording by the clock [s]."""
        return len(self.spo2_tenths)

    @property
    def end_utc(self) -> datetime:
        """End of the last second, in UTC."""
        return self.start_utc + timedelta(seconds=self.n_seconds)

    @property
    def start_local(self) -> datetime:
        """Start on the clock of the wall."""
        return self.start_utc.astimezone(ZoneInfo(self.zone))

    @property
    def has_spo2(self) -> bool:
        """Whether any second holds a saturation."""
        return bool((self.spo2_tenths != MISSING).any())

    def of_kind(self, kind: AnnotationKind) -> tuple[Annotation, ...]:
        """Annotations of one known kind, in order of onset."""
        return tuple(a for a in self.annotations if a.kind == kind)

    def _derive_mmhg(self) -> None:
        """Fill tenths of mmHg from hundredths of kPa; refuse a pair that does not agree."""
        if self.tcco2_hundredths_kpa is None:
            return
        derived = tenths_mmhg_from_hundredths_kpa(self.tcco2_hundredths_kpa)
        if self.tcco2_tenths_mmhg is not None and not np.array_equal(self.tcco2_tenths_mmhg, derived):
            raise ValueError(
                "tcco2_tenths_mmhg: does not follow from tcco2_hundredths_kpa; give the kPa channel alone, "
                "the mmHg channel is derived from it"
            )
        object.__setattr__(self, "tcco2_tenths_mmhg", derived)

    def _check_unit(self) -> None:
        """Refuse a CO2 channel that contradicts the unit said to be recorded."""
        has_kpa = self.tcco2_hundredths_kpa is not None
        has_any = self.tcco2_tenths_mmhg is not None
        expected = PressureUnit.KPA if has_kpa else PressureUnit.MMHG if has_any else None
        if self.tcco2_unit is None:
            object.__setattr__(self, "tcco2_unit", expected)
        elif self.tcco2_unit != expected:
            raise ValueError(
                f"tcco2_unit: {self.tcco2_unit!s} was given but the channels are those of {expected!s}; "
                "recordings in kPa go into tcco2_hundredths_kpa, recordings in mmHg into tcco2_tenths_mmhg"
            )


def tenths_mmhg_from_hundredths_kpa(hundredths_kpa: Int16Array) -> Int16Array:
    """Tenths of mmHg [0.1 mmHg], nearest, ties to even, from hundredths of kPa [0.01 kPa]; MISSING stays."""
    values = np.asarray(hundredths_kpa)
    derived = np.rint(values.astype(np.float64) * TENTHS_MMHG_PER_HUNDREDTH_KPA)
    return np.where(values != MISSING, derived, MISSING).astype(np.int16)


def _check_time(start_utc: datetime, zone: str, interval_s: int) -> None:
    """Refuse a naive or non-UTC start, an unknown zone, an interval outside 1 to 60 s."""
    if start_utc.tzinfo is None or start_utc.utcoffset() != timedelta(0):
        raise ValueError(f"start_utc: {start_utc!s} was given; an aware time in UTC is needed")
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ValueError(
            f"zone: {zone!r} was given; an IANA name such as 'Europe/London' is needed"
        ) from None
    if not 1 <= interval_s <= 60:  # noqa: PLR2004 - the sentence below names the limits
        raise ValueError(f"interval_s: {interval_s} was given; 1 to 60 whole seconds are accepted")


def _check_settings(averaging_s: float | None, resolution_tenths: int | None) -> None:
    """Refuse an averaging time or a resolution that is no positive number."""
    if averaging_s is not None and not 0 < averaging_s <= 60:  # noqa: PLR2004
        raise ValueError(
            f"averaging_s: {averaging_s} was given; above 0 and up to 60 s, or None, are accepted"
        )
    if resolution_tenths is not None and not 1 <= resolution_tenths <= 50:  # noqa: PLR2004
        raise ValueError(
            f"spo2_resolution_tenths: {resolution_tenths} was given; 1 (0.1 %) to 50 (5 %), or None, "
            "are accepted"
        )


def _check_annotations(annotations: tuple[Annotation, ...]) -> None:
    """Refuse a mark at no finite time or of a negative or endless duration."""
    for mark in annotations:
        lasts = 0.0 if mark.duration_s is None else mark.duration_s
        if not (isfinite(mark.onset_s) and isfinite(lasts) and lasts >= 0):
            raise ValueError(
                f"annotations: {mark.text[:40]!r} at {mark.onset_s} s for {mark.duration_s} s was given; a "
                "finite onset and a duration of 0 s or more, or None, are accepted"
            )


def _sealed(name: str, values: Int16Array, n_seconds: int) -> Int16Array:
    """Give a read-only copy of a channel after checking its type and length."""
    if not isinstance(values, np.ndarray) or values.dtype != np.int16 or values.ndim != 1:
        given = (
            f"{values.dtype} of {values.ndim} dimensions" if isinstance(values, np.ndarray) else type(values)
        )
        raise ValueError(f"{name}: {given} was given; a one-dimensional int16 array is needed")
    if len(values) != n_seconds or not 0 < n_seconds <= LONGEST_NIGHT_S:
        raise ValueError(
            f"{name}: {len(values)} seconds were given; every channel has the length of spo2_tenths "
            f"({n_seconds}), from 1 s to {LONGEST_NIGHT_S // 3600} h"
        )
    copy = values.copy()
    copy.setflags(write=False)
    return copy


def _same(a: object, b: object) -> bool:
    """Compare two field values, arrays second by second."""
    if isinstance(a, np.ndarray) and isinstance(b, np.ndarray):
        return bool(np.array_equal(a, b))
    if isinstance(a, np.ndarray) or isinstance(b, np.ndarray):
        return False
    return a == b
