"""How each flat column of a record type is stored: type, words, possible range, shadow number."""

from dataclasses import asdict, dataclass
from typing import Any

from hvmon.records.base import Record
from hvmon.records.flat import Column, Kind, columns
from hvmon.records.limits import ENTRY_LIMITS

_PREFIXES = ("state_", "program_1_", "program_2_")
_LIMIT_OF = {
    "daytime_h": "usage_h",
    "ipap_max_cmh2o": "ipap_cmh2o",
    "target_volume_ml": "tidal_volume_ml",
    "residual_events_per_h": "events_per_h",
    "spo2_mean_pct": "spo2_pct",
    "spo2_nadir_pct": "spo2_pct",
    "pco2": "paco2",
    "po2": "pao2",
    "tcco2_awake_supine": "ptcco2",
    "tcco2_mean": "ptcco2",
    "tcco2_median": "ptcco2",
    "tcco2_peak": "ptcco2",
}
"""Columns judged by the entry limit of another name."""

SHADOW = "_number"
"""Ending of the column that repeats a number as REAL or INTEGER beside its digits as typed."""


@dataclass(frozen=True, slots=True)
class Spec:
    """One stored column. `ranges` holds (unit or "", lowest, highest) of what is possible."""

    name: str
    kind: str
    required: bool
    words: tuple[str, ...] = ()
    may_be_not_recorded: bool = False
    ranges: tuple[tuple[str, str, str], ...] = ()

    @property
    def has_shadow(self) -> bool:
        """Whether the text has a number beside it."""
        return self.kind == Kind.DECIMAL or (self.kind == Kind.WHOLE and self.may_be_not_recorded)

    def as_plain(self) -> dict[str, Any]:
        """Give the spec for a frozen list in a migration; empty parts left out."""
        return {name: part for name, part in asdict(self).items() if part or name == "required"}

    @classmethod
    def from_plain(cls, plain: dict[str, Any]) -> "Spec":
        """Read a spec of a frozen list."""
        ranges = tuple((unit, low, high) for unit, low, high in plain.get("ranges", ()))
        return cls(**plain | {"words": tuple(plain.get("words", ())), "ranges": ranges})


def _ranges(column: Column, units: tuple[str, ...]) -> tuple[tuple[str, str, str], ...]:
    if column.kind != Kind.DECIMAL:
        return ()
    name = column.name
    for prefix in _PREFIXES:
        name = name.removeprefix(prefix)
    name = _LIMIT_OF.get(name, name)
    wanted = {f"{name}_{unit.lower()}": unit for unit in units} if units else {name: ""}
    return tuple(
        (wanted[limit.field], str(limit.low), str(limit.high))
        for limit in ENTRY_LIMITS
        if limit.field in wanted
    )


def specs_of(model: type[Record]) -> tuple[Spec, ...]:
    """Give the stored columns of a record type, in the order of its flat columns."""
    units = {column.name: column.words for column in columns(model)}
    return tuple(
        Spec(
            column.name,
            column.kind.value,
            column.required,
            tuple(str(word) for word in column.words),
            column.may_be_not_recorded,
            _ranges(column, units.get(f"{column.name}_unit", ())),
        )
        for column in columns(model)
    )
