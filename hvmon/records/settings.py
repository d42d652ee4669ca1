"""Ventilator settings: what is ordered, what was read at the machine, what is planned."""

from datetime import date
from decimal import Decimal
from typing import Annotated, ClassVar, Self

from pydantic import Field, model_validator

from hvmon.records.base import Instant, Name, Note, PersonRecord, Record, Zone
from hvmon.records.limits import within
from hvmon.vocabulary import (
    ActionState,
    ChangeKind,
    ChangeUrgency,
    Circuit,
    FilterKind,
    Interface,
    NotRecorded,
    Role,
    TestKind,
    Trigger,
    VentilatorMode,
)

_VOLUME_MODES = {VentilatorMode.VOLUME_CONTROL}
_UNTIMED = {VentilatorMode.CPAP, VentilatorMode.SPONTANEOUS, VentilatorMode.MOUTHPIECE}
SECONDS_PER_MINUTE = 60


class Program(Record):
    """One program of a ventilator, in general terms and trade units."""

    mode: VentilatorMode
    ipap_cmh2o: Annotated[Decimal, within("ipap_cmh2o")] | None = None
    ipap_max_cmh2o: Annotated[Decimal, within("ipap_cmh2o")] | None = None
    epap_cmh2o: Annotated[Decimal, within("epap_cmh2o")] | None = None
    tidal_volume_ml: Annotated[Decimal, within("tidal_volume_ml")] | None = None
    target_volume_ml: Annotated[Decimal, within("tidal_volume_ml")] | None = None
    backup_rate_min: Annotated[Decimal, within("backup_rate_min")] | None = None
    inspiratory_time_s: Annotated[Decimal, within("inspiratory_time_s")] | None = None
    trigger: Trigger
    oxygen_l_min: Annotated[Decimal, within("oxygen_l_min")] | NotRecorded
    interface: Interface
    circuit: Circuit
    filter_kind: FilterKind

    @property
    def pressure_support_cmh2o(self) -> Decimal | None:
        """IPAP minus EPAP [cmH2O]; None without both."""
        if self.ipap_cmh2o is None or self.epap_cmh2o is None:
            return None
        return self.ipap_cmh2o - self.epap_cmh2o

    @model_validator(mode="after")
    def _pressures_in_order(self) -> Self:
        if self.ipap_cmh2o is not None and self.epap_cmh2o is not None and self.epap_cmh2o >= self.ipap_cmh2o:
            raise ValueError(f"epap_cmh2o {self.epap_cmh2o} is not below ipap_cmh2o {self.ipap_cmh2o}")
        if (
            self.ipap_max_cmh2o is not None
            and self.ipap_cmh2o is not None
            and self.ipap_max_cmh2o < self.ipap_cmh2o
        ):
            raise ValueError(f"ipap_max_cmh2o {self.ipap_max_cmh2o} is below ipap_cmh2o {self.ipap_cmh2o}")
        return self

    @model_validator(mode="after")
    def _volume_mode_has_a_volume(self) -> Self:
        if self.mode in _VOLUME_MODES and self.tidal_volume_ml is None:
            raise ValueError(f"mode {self.mode.value!r} needs tidal_volume_ml")
        if self.mode == VentilatorMode.VOLUME_TARGETED_PRESSURE and self.target_volume_ml is None:
            raise ValueError(f"mode {self.mode.value!r} needs target_volume_ml")
        return self

    @model_validator(mode="after")
    def _inspiration_fits_the_cycle(self) -> Self:
        if self.inspiratory_time_s is None or not self.backup_rate_min:
            return self
        cycle_s = SECONDS_PER_MINUTE / self.backup_rate_min
        if self.inspiratory_time_s >= cycle_s:
            raise ValueError(
                f"inspiratory_time_s {self.inspiratory_time_s} is not shorter than the cycle of "
                f"{cycle_s:.1f} s at backup_rate_min {self.backup_rate_min}"
            )
        return self


class SettingsChange(PersonRecord):
    """Settings in force from a moment on, who ordered them, why, and which test is owed after it."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "changed_at")

    changed_at: Instant
    zone: Zone
    changed_by: Name
    role: Role
    why: Name
    kind: ChangeKind
    urgency: ChangeUrgency
    owed_test: TestKind
    owed_by: date | None = None
    program_1: Program
    program_2: Program | None = None
    comment: Note = ""

    @model_validator(mode="after")
    def _owed_has_a_date(self) -> Self:
        if self.owed_by is not None and self.owed_test == TestKind.NONE:
            raise ValueError("owed_by is given but owed_test is 'none'; name the test that is owed")
        if self.owed_by is not None and self.owed_by < self.changed_at.date():
            raise ValueError(f"owed_by {self.owed_by} lies before the change itself")
        return self


class SettingsReading(PersonRecord):
    """Settings as read at the machine at a visit, to be held against what was ordered."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "read_at")

    read_at: Instant
    zone: Zone
    visit_id: str | None = None
    program_1: Program
    program_2: Program | None = None
    meter_h: Annotated[Decimal, Field(ge=0, le=200000)] | None = None
    backup_device_tested: bool | NotRecorded
    comment: Note = ""
    recorded_by: Name


class PlannedChange(PersonRecord):
    """A change talked over at a titration review, with its expected effect and the recheck it owes."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "planned_at")

    planned_at: Instant
    zone: Zone
    planned_by: Name
    proposal: Name
    expected_paco2_kpa: Decimal | None = None
    expected_low_kpa: Decimal | None = None
    expected_high_kpa: Decimal | None = None
    why: Name
    owed_test: TestKind
    owed_by: date
    state: ActionState
    comment: Note = ""
