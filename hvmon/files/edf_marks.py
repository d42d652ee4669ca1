"""What hvmon writes into free fields of an EDF+ file so that its own files come back exactly.

Other readers see ordinary EDF+; files without these marks are read by the general rules.
"""

import re
from dataclasses import dataclass
from typing import Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

HIGHEST = 32767
EQUIPMENT = "hvmon"
GAP_TEXT = "no data"
"""Text of the annotation over a stretch without readings, before a colon and the label of the signal."""

_PREFILTER = re.compile(
    r"held (\d{1,2}) s; averaging (\d{1,2}(?:\.\d{1,3})?|unknown)(?: s)?; no data (\d{1,5})", re.ASCII
)
_CLOCK = re.compile(r"Startdate \S+ X X hvmon zone=(\S+) utc=([+-])(\d{2})(\d{2})", re.ASCII)


@dataclass(frozen=True, slots=True)
class SignalMark:
    """How the values of one signal were written."""

    interval_s: int
    averaging_s: float | None
    sentinel: int
    """The digital value that stands for "no data"."""

    @property
    def text(self) -> str:
        """The text of the prefiltering field."""
        averaging = "unknown" if self.averaging_s is None else f"{self.averaging_s:g} s"
        return f"held {self.interval_s} s; averaging {averaging}; no data {self.sentinel}"

    @classmethod
    def read(cls, prefiltering: str) -> Self | None:
        """Give the mark of a prefiltering field; None when it is none of ours."""
        match = _PREFILTER.fullmatch(prefiltering)
        if match is None or not 1 <= int(match[1]) <= 60 or int(match[3]) > HIGHEST:  # noqa: PLR2004 - 1 min
            return None
        averaging = None if match[2] == "unknown" else float(match[2])
        return cls(int(match[1]), averaging, int(match[3]))


def highest_physical(unit: str) -> float:
    """Give the physical value of the highest digital one: tenths, or hundredths of kPa."""
    return HIGHEST / (100 if unit == "kPa" else 10)


def is_ours(digital: tuple[int, int], physical: tuple[float, float], unit: str) -> bool:
    """Whether a signal has the very scale hvmon writes, so that every step is exact."""
    return digital == (0, HIGHEST) and physical == (0.0, highest_physical(unit))


def clock_text(zone: str, offset_minutes: int) -> str:
    """Give the equipment part of the recording field, with zone and offset of the start time."""
    sign = "-" if offset_minutes < 0 else "+"
    hours, minutes = divmod(abs(offset_minutes), 60)
    return f"{EQUIPMENT} zone={zone} utc={sign}{hours:02d}{minutes:02d}"


def read_clock(recording: str) -> tuple[str, int] | None:
    """Give zone and offset [min] of a recording field of ours; None for any other."""
    match = _CLOCK.fullmatch(recording)
    if match is None:
        return None
    try:
        ZoneInfo(match[1])
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return None
    minutes = int(match[3]) * 60 + int(match[4])
    return match[1], -minutes if match[2] == "-" else minutes
