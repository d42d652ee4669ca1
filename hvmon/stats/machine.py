"""Settings of a machine as numbers, a proposal to change them, and what is refused by name."""

import math
from dataclasses import dataclass, fields, replace
from decimal import Decimal

from hvmon.records.limits import Verdict, entry_limit, refusal, verdict
from hvmon.records.settings import Program
from hvmon.vocabulary import Circuit, FilterKind, Interface, NotRecorded, VentilatorMode

SECONDS_A_MINUTE = 60.0
HOURS_A_DAY = 24.0

PRESSURE_MODES = {
    VentilatorMode.SPONTANEOUS_TIMED,
    VentilatorMode.SPONTANEOUS,
    VentilatorMode.TIMED,
    VentilatorMode.PRESSURE_CONTROL,
}
VOLUME_MODES = {VentilatorMode.VOLUME_CONTROL}
TARGET_MODES = {VentilatorMode.VOLUME_TARGETED_PRESSURE}
UNTIMED_MODES = {VentilatorMode.CPAP, VentilatorMode.SPONTANEOUS, VentilatorMode.MOUTHPIECE}
"""Modes in which the machine times no breath: no backup rate and no inspiratory time are set."""

LIMIT_OF = {
    "ipap_cmh2o": "ipap_cmh2o",
    "epap_cmh2o": "epap_cmh2o",
    "tidal_volume_ml": "tidal_volume_ml",
    "target_volume_ml": "tidal_volume_ml",
    "backup_rate_min": "backup_rate_min",
    "inspiratory_time_s": "inspiratory_time_s",
    "oxygen_l_min": "oxygen_l_min",
    "hours_per_day": "usage_h",
}
"""Field -> row of the entry limits that says what is impossible."""


@dataclass(frozen=True, slots=True)
class MachineSettings:
    """One program as numbers, with hours of use; None = not set in this mode or not known.

    Raises
    ------
    ValueError
        Names the field: impossible value, EPAP not below IPAP, inspiration not shorter than the cycle, a
        volume mode without a volume.
    """

    mode: VentilatorMode
    ipap_cmh2o: float | None = None
    epap_cmh2o: float | None = None
    tidal_volume_ml: float | None = None
    target_volume_ml: float | None = None
    backup_rate_min: float | None = None
    inspiratory_time_s: float | None = None
    oxygen_l_min: float | None = None
    hours_per_day: float | None = None
    interface: Interface = Interface.NOT_RECORDED
    circuit: Circuit = Circuit.NOT_RECORDED
    filter_kind: FilterKind = FilterKind.NONE

    def __post_init__(self) -> None:
        for field, row in LIMIT_OF.items():
            _possible(field, row, getattr(self, field))
        _in_order(self)
        _fits(self.inspiratory_time_s, self.backup_rate_min)
        _has_volume(self)

    @property
    def pressure_support_cmh2o(self) -> float | None:
        """IPAP less EPAP [cmH2O]; None without both."""
        if self.ipap_cmh2o is None or self.epap_cmh2o is None:
            return None
        return self.ipap_cmh2o - self.epap_cmh2o


@dataclass(frozen=True, slots=True)
class Proposal:
    """What would be set differently. None = as it is. It is a question, not an order."""

    label: str
    ipap_cmh2o: float | None = None
    epap_cmh2o: float | None = None
    tidal_volume_ml: float | None = None
    target_volume_ml: float | None = None
    backup_rate_min: float | None = None
    inspiratory_time_s: float | None = None
    oxygen_l_min: float | None = None
    hours_per_day: float | None = None
    dead_space_change_ml: float = 0.0
    """Negative when dead space is taken away."""

    @property
    def changed(self) -> tuple[str, ...]:
        """Names of the settings that would change."""
        names = tuple(
            field.name
            for field in fields(self)
            if field.name in LIMIT_OF and getattr(self, field.name) is not None
        )
        return (*names, "dead_space_change_ml") if self.dead_space_change_ml else names


def settings_of(program: Program, *, hours_per_day: float | None = None) -> MachineSettings:
    """Give a program of the record as numbers."""
    return MachineSettings(
        program.mode,
        _number(program.ipap_cmh2o),
        _number(program.epap_cmh2o),
        _number(program.tidal_volume_ml),
        _number(program.target_volume_ml),
        _number(program.backup_rate_min),
        _number(program.inspiratory_time_s),
        _number(program.oxygen_l_min),
        hours_per_day,
        program.interface,
        program.circuit,
        program.filter_kind,
    )


def after(settings: MachineSettings, proposal: Proposal) -> MachineSettings:
    """Give the settings as they would be.

    Raises
    ------
    ValueError
        Nothing would change, or the result is refused by name (see `MachineSettings`).
    """
    if not proposal.changed:
        raise ValueError(f"proposal {proposal.label!r} changes nothing; give at least one setting")
    if not math.isfinite(proposal.dead_space_change_ml):
        raise ValueError(f"dead_space_change_ml {proposal.dead_space_change_ml} is no number of millilitres")
    given = {name: getattr(proposal, name) for name in proposal.changed if name in LIMIT_OF}
    for name in given:
        _set_in_this_mode(name, settings.mode)
    found = replace(settings, **given)
    if found == settings and not proposal.dead_space_change_ml:
        names = ", ".join(f"{name} {value:g}" for name, value in given.items())
        raise ValueError(f"proposal {proposal.label!r} changes nothing: {names} as it is now")
    _breathes(found)
    return found


def _number(value: Decimal | NotRecorded | None) -> float | None:
    return float(value) if isinstance(value, Decimal) else None


def _possible(field: str, row: str, value: float | None) -> None:
    if value is None:
        return
    if verdict(row, float(value)) == Verdict.REJECT:
        raise ValueError(f"{field}: {refusal(entry_limit(row), Decimal(str(value)))}")


def _in_order(settings: MachineSettings) -> None:
    support = settings.pressure_support_cmh2o
    if support is not None and support <= 0.0 and settings.mode != VentilatorMode.CPAP:
        raise ValueError(
            f"epap_cmh2o {settings.epap_cmh2o:g} is not below ipap_cmh2o {settings.ipap_cmh2o:g}; "
            "there would be no pressure support"
        )


def _fits(inspiratory_s: float | None, rate_min: float | None) -> None:
    if inspiratory_s is None or not rate_min:
        return
    cycle_s = SECONDS_A_MINUTE / rate_min
    if inspiratory_s >= cycle_s:
        raise ValueError(
            f"inspiratory_time_s {inspiratory_s:g} is not shorter than the cycle of {cycle_s:.1f} s at "
            f"backup_rate_min {rate_min:g}"
        )


def _has_volume(settings: MachineSettings) -> None:
    if settings.mode in VOLUME_MODES and settings.tidal_volume_ml is None:
        raise ValueError(f"tidal_volume_ml: mode {settings.mode.value!r} needs a volume")
    if settings.mode in TARGET_MODES and settings.target_volume_ml is None:
        raise ValueError(f"target_volume_ml: mode {settings.mode.value!r} needs a target volume")


def _breathes(settings: MachineSettings) -> None:
    if settings.mode == VentilatorMode.TIMED and settings.backup_rate_min == 0.0:
        raise ValueError(
            f"backup_rate_min 0: in mode {settings.mode.value!r} the machine gives every breath; there would "
            "be none"
        )


def _set_in_this_mode(name: str, mode: VentilatorMode) -> None:
    belongs = {"tidal_volume_ml": VOLUME_MODES, "target_volume_ml": TARGET_MODES}
    if name in belongs and mode not in belongs[name]:
        raise ValueError(f"{name} is not set in mode {mode.value!r}")
    if name == "ipap_cmh2o" and mode in VOLUME_MODES:
        raise ValueError(f"{name} is not set in mode {mode.value!r}")
    if name == "ipap_cmh2o" and mode in TARGET_MODES:
        raise ValueError(
            f"{name} is only an end of the range in mode {mode.value!r}, where the machine chooses the "
            "pressure; ask target_volume_ml"
        )
    if name in {"backup_rate_min", "inspiratory_time_s"} and mode in UNTIMED_MODES:
        raise ValueError(f"{name} is not set in mode {mode.value!r}: the machine times no breath")
