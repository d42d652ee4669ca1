"""Blood gases and spot transcutaneous CO2, with the circumstances that make them comparable."""

from decimal import Decimal
from typing import Annotated, ClassVar, Self

from pydantic import Field, model_validator

from hvmon.records.base import Instant, Minutes, Name, Note, Pressure, Reading, Record, Zone
from hvmon.records.limits import pressure_within, within
from hvmon.vocabulary import (
    BaseExcessKind,
    BicarbonateKind,
    DriftCorrection,
    NotRecorded,
    Position,
    Rest,
    SampleKind,
    SampleReason,
    SampleSite,
    SensorSite,
    TemperatureCorrection,
    VentilatorState,
    Wakefulness,
)

_SITES = {
    SampleKind.ARTERIAL: {
        SampleSite.RADIAL,
        SampleSite.BRACHIAL,
        SampleSite.FEMORAL,
        SampleSite.ARTERIAL_LINE,
    },
    SampleKind.CAPILLARY_EARLOBE: {SampleSite.EARLOBE},
    SampleKind.CAPILLARY_FINGERTIP: {SampleSite.FINGERTIP},
    SampleKind.VENOUS: {SampleSite.ARM_VEIN, SampleSite.HAND_VEIN, SampleSite.CENTRAL_LINE},
}


class SamplingState(Record):
    """State of the person at the reading. Every field is required; "not recorded" is a value."""

    ventilator: VentilatorState
    minutes_in_state: Minutes
    oxygen_l_min: Annotated[Decimal, within("oxygen_l_min")] | NotRecorded
    minutes_since_oxygen_change: Minutes
    fio2: Annotated[Decimal, within("fio2")] | None = None
    position: Position
    rest: Rest
    wakefulness: Wakefulness
    reason: SampleReason

    @property
    def on_oxygen(self) -> bool | None:
        """Whether oxygen was flowing; None when not recorded."""
        return None if isinstance(self.oxygen_l_min, NotRecorded) else self.oxygen_l_min > 0


class BloodGas(Reading):
    """One blood gas as printed by the analyser, with the circumstances that make it comparable."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "drawn_at", "kind")

    drawn_at: Instant
    zone: Zone
    analysed_at: Instant | None = None
    kind: SampleKind
    site: SampleSite
    state: SamplingState
    ph: Annotated[Decimal, within("ph")]
    pco2: Annotated[Pressure, pressure_within("paco2")]
    po2: Annotated[Pressure, pressure_within("pao2")] | None = None
    hco3_mmol_l: Annotated[Decimal, within("hco3_mmol_l")] | None = None
    hco3_kind: BicarbonateKind
    be_mmol_l: Annotated[Decimal, within("be_mmol_l")] | None = None
    be_kind: BaseExcessKind
    so2_pct: Annotated[Decimal, within("so2_pct")] | None = None
    spo2_pct: Annotated[Decimal, within("spo2_pct")] | None = None
    lactate_mmol_l: Annotated[Decimal, within("lactate_mmol_l")] | None = None
    hb_g_dl: Annotated[Decimal, within("hb_g_dl")] | None = None
    analyser: Note = ""
    temperature_correction: TemperatureCorrection
    failed_attempts: Annotated[int, Field(ge=0, le=20)] | NotRecorded
    recorded_by: Name

    @model_validator(mode="after")
    def _site_fits_the_kind(self) -> Self:
        if self.site not in _SITES[self.kind] | {SampleSite.OTHER, SampleSite.NOT_RECORDED}:
            accepted = ", ".join(sorted(_SITES[self.kind]))
            raise ValueError(
                f"site {self.site.value!r} does not fit a sample of kind {self.kind.value!r}; "
                f"accepted: {accepted}, other, not recorded"
            )
        return self

    @model_validator(mode="after")
    def _analysed_after_drawn(self) -> Self:
        if self.analysed_at is not None and self.analysed_at < self.drawn_at:
            raise ValueError("analysed_at lies before drawn_at; check both clock times")
        return self


class SpotTranscutaneous(Reading):
    """One spot transcutaneous CO2 reading; never joined with blood gases."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "read_at", "site")

    read_at: Instant
    zone: Zone
    site: SensorSite
    state: SamplingState
    ptcco2: Annotated[Pressure, pressure_within("ptcco2")]
    minutes_since_applied: Minutes
    sensor_temperature_c: Annotated[Decimal, within("sensor_temperature_c")] | None = None
    spo2_pct: Annotated[Decimal, within("spo2_pct")] | None = None
    drift_correction: DriftCorrection
    recorded_by: Name
