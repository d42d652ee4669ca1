"""What happens around the readings: use, weight, lung function, events, visits."""

from datetime import date
from decimal import Decimal
from typing import Annotated, ClassVar, Self

from pydantic import Field, model_validator

from hvmon.records.base import Instant, Name, Note, PersonRecord, Reading, Zone
from hvmon.records.limits import within
from hvmon.vocabulary import EventKind, LeakKind, MedicineClass, NotRecorded, Role, VisitPlace


class NightlyUse(PersonRecord):
    """Use of the ventilator in the 24 hours that begin on the evening of `night_of`."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "night_of")

    night_of: date
    usage_h: Annotated[Decimal, within("usage_h")]
    daytime_h: Annotated[Decimal, within("usage_h")] | None = None
    leak_l_min: Annotated[Decimal, within("leak_l_min")] | None = None
    leak_kind: LeakKind
    tidal_volume_ml: Annotated[Decimal, within("tidal_volume_ml")] | None = None
    rate_min: Annotated[Decimal, within("rate_min")] | None = None
    minute_ventilation_l_min: Annotated[Decimal, within("minute_ventilation_l_min")] | None = None
    triggered_pct: Annotated[Decimal, within("triggered_pct")] | None = None
    residual_events_per_h: Annotated[Decimal, within("events_per_h")] | None = None


class Weight(PersonRecord):
    """One weight."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "weighed_on")

    weighed_on: date
    weight_kg: Annotated[Decimal, within("weight_kg")]
    estimated: bool
    visit_id: str | None = None


class LungFunction(PersonRecord):
    """One set of lung function and respiratory muscle tests; sizes without sign."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "tested_on")

    tested_on: date
    fvc_l: Annotated[Decimal, within("fvc_l")] | None = None
    fvc_pct: Annotated[Decimal, within("fvc_pct")] | None = None
    snip_cmh2o: Annotated[Decimal, within("snip_cmh2o")] | None = None
    mip_cmh2o: Annotated[Decimal, within("mip_cmh2o")] | None = None
    peak_cough_flow_l_min: Annotated[Decimal, within("peak_cough_flow_l_min")] | None = None
    comment: Note = ""

    @model_validator(mode="after")
    def _at_least_one_value(self) -> Self:
        fields = ("fvc_l", "fvc_pct", "snip_cmh2o", "mip_cmh2o", "peak_cough_flow_l_min")
        if all(getattr(self, field) is None for field in fields):
            raise ValueError(f"no value given; at least one of {', '.join(fields)} is needed")
        return self


class ClinicalEvent(PersonRecord):
    """An event that explains or confounds a change."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "happened_on", "kind", "detail")

    happened_on: date
    until: date | None = None
    kind: EventKind
    medicine_class: MedicineClass | None = None
    oxygen_l_min: Annotated[Decimal, within("oxygen_l_min")] | None = None
    detail: Note = ""
    recorded_by: Name

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.until is not None and self.until < self.happened_on:
            raise ValueError(f"until {self.until} lies before happened_on {self.happened_on}")
        return self

    @model_validator(mode="after")
    def _medicine_has_a_class(self) -> Self:
        if (
            self.kind in {EventKind.MEDICINE_STARTED, EventKind.MEDICINE_STOPPED}
            and self.medicine_class is None
        ):
            raise ValueError(f"kind {self.kind.value!r} needs medicine_class")
        return self


class Visit(Reading):
    """A visit: when, where, by whom and why. Readings carry its id."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "started_at")

    started_at: Instant
    zone: Zone
    place: VisitPlace
    recorded_by: Name
    role: Role
    reason: Name
    rate_min: Annotated[Decimal, within("rate_min")] | None = None
    spo2_pct: Annotated[Decimal, within("spo2_pct")] | None = None
    pulse_min: Annotated[int, Field(ge=20, le=250)] | None = None
    not_done: Note = ""
    advice_given: Note = ""
    smoker_with_oxygen: bool | NotRecorded = NotRecorded.NOT_RECORDED
