"""The summary of one overnight study, typed from a report or scored from a stored signal."""

from datetime import date
from decimal import Decimal
from typing import Annotated, ClassVar, Self

from pydantic import Field, model_validator

from hvmon.records.base import Instant, Name, Note, Pressure, Reading, Zone
from hvmon.records.limits import pressure_within, within
from hvmon.vocabulary import DriftCorrection, NotRecorded, SampleReason, SensorSite, VentilatorState

Seconds = Annotated[int, Field(ge=0, le=48 * 3600)]
Percent = Annotated[Decimal, Field(ge=0, le=100)]
PerHour = Annotated[Decimal, Field(ge=0, le=300)]
PtcCO2 = Annotated[Pressure, pressure_within("ptcco2")]


class NightSummary(Reading):
    """One night. The night's date is its evening's date; every index names its convention.

    Times below a level are seconds of valid recording, never of sleep. None means "not given".
    """

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "started_at")

    night_of: date
    started_at: Instant
    ended_at: Instant
    zone: Zone
    ventilator: VentilatorState
    oxygen_l_min: Annotated[Decimal, within("oxygen_l_min")] | NotRecorded
    reason: SampleReason
    valid_s: Seconds | NotRecorded
    averaging_s: Annotated[int, Field(ge=1, le=60)] | NotRecorded
    spo2_mean_pct: Annotated[Decimal, within("spo2_pct")] | None = None
    spo2_nadir_pct: Annotated[Decimal, within("spo2_pct")] | None = None
    below_90_s: Seconds | None = None
    at_or_below_88_s: Seconds | None = None
    longest_at_or_below_88_s: Seconds | None = None
    dips_per_h: PerHour | None = None
    dip_size_pct: Annotated[int, Field(ge=2, le=5)] | None = None
    dip_convention: Note = ""
    tcco2_awake_supine: PtcCO2 | None = None
    tcco2_mean: PtcCO2 | None = None
    tcco2_median: PtcCO2 | None = None
    tcco2_peak: PtcCO2 | None = None
    tcco2_valid_s: Seconds | None = None
    tcco2_above_49_mmhg_s: Seconds | None = None
    tcco2_above_50_mmhg_s: Seconds | None = None
    tcco2_above_55_mmhg_s: Seconds | None = None
    tcco2_longest_above_55_mmhg_s: Seconds | None = None
    tcco2_longest_risen_10_above_50_mmhg_s: Seconds | None = None
    sensor_site: SensorSite
    drift_correction: DriftCorrection
    signal_hash: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")] | None = None
    recorded_by: Name

    @model_validator(mode="after")
    def _ends_after_it_starts(self) -> Self:
        if self.ended_at <= self.started_at:
            raise ValueError("ended_at does not lie after started_at; check date and clock times")
        return self

    @model_validator(mode="after")
    def _index_names_its_rule(self) -> Self:
        if self.dips_per_h is not None and (self.dip_size_pct is None or not self.dip_convention):
            raise ValueError(
                "dips_per_h needs dip_size_pct (3 or 4) and dip_convention; an index without its rule "
                "cannot be compared with another"
            )
        return self

    @model_validator(mode="after")
    def _parts_fit_the_whole(self) -> Self:
        if isinstance(self.valid_s, NotRecorded):
            return self
        for field in ("below_90_s", "at_or_below_88_s", "longest_at_or_below_88_s"):
            part = getattr(self, field)
            if part is not None and part > self.valid_s:
                raise ValueError(f"{field} {part} is longer than valid_s {self.valid_s}")
        return self

    @property
    def below_90_pct(self) -> Decimal | None:
        """Time below 90 % as a share of valid recording [%]; None when either is not known."""
        if self.below_90_s is None or isinstance(self.valid_s, NotRecorded) or self.valid_s == 0:
            return None
        return Decimal(100 * self.below_90_s) / Decimal(self.valid_s)
