"""The person: identity apart from everything clinical."""

from datetime import date
from decimal import Decimal
from typing import Annotated, ClassVar, Self

from pydantic import Field, model_validator

from hvmon.records.base import Name, Note, PersonRecord, Zone
from hvmon.records.limits import within
from hvmon.vocabulary import Dependence, DiagnosisGroup, HeightMethod, NotRecorded, Sex


class Identity(PersonRecord):
    """Who the person is. Kept in its own table, never joined into a pseudonymised export."""

    natural_key: ClassVar[tuple[str, ...]] = ("local_id",)

    local_id: Name
    second_identifier: Name
    name: Name
    date_of_birth: date
    place: Note = ""

    @model_validator(mode="after")
    def _two_different_identifiers(self) -> Self:
        if self.local_id == self.second_identifier:
            raise ValueError(
                f"second_identifier {self.second_identifier!r} repeats local_id; "
                "a second, independent identifier is needed to tell people apart"
            )
        return self


class Person(PersonRecord):
    """What the team knows of the person that decides how readings are read."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key",)

    sex: Sex
    diagnosis_group: DiagnosisGroup
    diagnosis: Note = ""
    dependence: Dependence
    height_cm: Annotated[Decimal, within("height_cm")] | NotRecorded
    height_method: HeightMethod
    ulna_cm: Annotated[Decimal, within("ulna_cm")] | None = None
    has_lung_disease: bool | NotRecorded
    ventilation_started: date | NotRecorded
    spo2_target_low_pct: Annotated[int, Field(ge=50, le=100)] | None = None
    spo2_target_high_pct: Annotated[int, Field(ge=50, le=100)] | None = None
    home_oxygen: bool | NotRecorded
    tracheostomy: bool
    goals_of_care: Note = ""
    zone: Zone
    invented: bool = False

    @model_validator(mode="after")
    def _target_is_a_range(self) -> Self:
        low, high = self.spo2_target_low_pct, self.spo2_target_high_pct
        if (low is None) != (high is None):
            raise ValueError("spo2_target_low_pct and spo2_target_high_pct go together; give both or neither")
        if low is not None and high is not None and low >= high:
            raise ValueError(f"spo2_target_low_pct {low} is not below spo2_target_high_pct {high}")
        return self

    @model_validator(mode="after")
    def _height_has_a_method(self) -> Self:
        if isinstance(self.height_cm, Decimal) and self.height_method == HeightMethod.NOT_RECORDED:
            raise ValueError("height_method is needed with height_cm; say how the height was obtained")
        return self
