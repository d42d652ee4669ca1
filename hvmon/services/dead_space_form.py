"""A measured dead space as typed: pressures and a volume of one measurement; replaces the estimate."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from hvmon.records.number_text import BadNumber, parse_decimal
from hvmon.stats.body import MeasuredDeadSpace, measured_dead_space
from hvmon.stats.figure import Refused

__all__ = ["FIELDS", "MeasuredDeadSpace", "MeasuredRead", "read_measured"]

FIELDS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "paco2_kpa": ("PaCO2", "kPa"),
        "mixed_expired_pco2_kpa": ("mixed expired PCO2", "kPa"),
        "tidal_volume_ml": ("tidal volume measured", "mL"),
    }
)
"""Name of a value -> its words and unit."""


@dataclass(frozen=True, slots=True)
class MeasuredRead:
    """What was understood; nothing while a value is missing or refused."""

    measured: MeasuredDeadSpace | None = None
    refused: Mapping[str, str] = field(default_factory=dict)


def read_measured(texts: Mapping[str, str]) -> MeasuredRead:
    """Read a measurement; all blank is none, and one that cannot be is refused by name."""
    given = {name: texts.get(name, "") for name in FIELDS if texts.get(name, "").strip()}
    values: dict[str, float] = {}
    refused: dict[str, str] = {}
    for name, text in given.items():
        try:
            values[name] = float(parse_decimal(text))
        except BadNumber as error:
            refused[name] = str(error)
    if not given or refused:
        return MeasuredRead(None, refused)
    missing = [words for name, (words, _) in FIELDS.items() if name not in values]
    if missing:
        return MeasuredRead(None, {"record": f"also needed of the same measurement: {', '.join(missing)}"})
    found = MeasuredDeadSpace(**values)
    space = measured_dead_space(found)
    if isinstance(space, Refused):
        return MeasuredRead(None, {"record": space.reason})
    return MeasuredRead(found)
