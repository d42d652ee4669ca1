"""The frozen base of every record, and the small types they share."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Annotated, Any, ClassVar
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

from hvmon.units import KPA_PER_MMHG, MMHG_PER_KPA, PressureUnit
from hvmon.vocabulary import NotRecorded

NOTE_LENGTH = 4000
"""[characters] longest free text of a record."""


def _plain_text(text: str) -> str:
    if "\x00" in text:
        raise ValueError("holds a NUL character; type plain text")
    try:
        text.encode()
    except UnicodeEncodeError:
        raise ValueError("holds half a character (lone surrogate); type plain text") from None
    return text


def _known_zone(zone: str) -> str:
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ValueError(f"{zone!r} is no time zone; give an IANA name such as Europe/London") from None
    return zone


def _utc(moment: datetime) -> datetime:
    return moment.astimezone(UTC)


Note = Annotated[str, StringConstraints(max_length=NOTE_LENGTH), AfterValidator(_plain_text)]
"""Free text as typed, at most 4000 characters."""

Name = Annotated[
    str, StringConstraints(min_length=1, max_length=200, strip_whitespace=True), AfterValidator(_plain_text)
]
"""A short text that may not be empty."""

Zone = Annotated[str, AfterValidator(_known_zone)]
"""IANA time zone in which the clock was read."""

Instant = Annotated[AwareDatetime, AfterValidator(_utc)]
"""A moment with its offset, kept as UTC; the record's `zone` tells the clock it was read on."""

Minutes = Annotated[int, Field(ge=0, le=60 * 24 * 31)] | NotRecorded
"""[min] or "not recorded"."""


class Record(BaseModel):
    """A record is frozen, strict, and refuses unknown fields, NaN and infinity."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, allow_inf_nan=False, hide_input_in_errors=True
    )

    natural_key: ClassVar[tuple[str, ...]] = ()
    """Fields that together make one real-world reading; the same again adds nothing."""


class Pressure(Record):
    """A gas pressure as printed: the number as typed and its unit, kept for ever."""

    value: Decimal
    unit: PressureUnit

    @property
    def kpa(self) -> float:
        """The pressure in kilopascal [kPa]."""
        return float(self.value) * (1.0 if self.unit == PressureUnit.KPA else KPA_PER_MMHG)

    @property
    def mmhg(self) -> float:
        """The pressure in millimetres of mercury [mmHg]."""
        return float(self.value) * (1.0 if self.unit == PressureUnit.MMHG else MMHG_PER_KPA)

    @property
    def decimals(self) -> int:
        """How many decimals were typed: the precision of the reading."""
        exponent = self.value.as_tuple().exponent
        return -exponent if isinstance(exponent, int) and exponent < 0 else 0

    def in_unit(self, unit: PressureUnit) -> float:
        """Give the pressure in the unit asked for; exact when it is the unit of entry."""
        return self.kpa if unit == PressureUnit.KPA else self.mmhg

    def __str__(self) -> str:
        return f"{self.value} {self.unit}"


class AcceptedWarning(Record):
    """A warning of an entry check that the recorder accepted, and why."""

    check_id: Name
    shown: Note
    reason: Name


class PersonRecord(Record):
    """A record that belongs to one person; `person_key` is a random key, never a hospital number."""

    person_key: Annotated[str, StringConstraints(pattern=r"^[a-z0-9-]{8,40}$")]


class Reading(PersonRecord):
    """A record with warnings that may have been accepted, and the visit it came from."""

    visit_id: str | None = None
    comment: Note = ""
    accepted_warnings: tuple[AcceptedWarning, ...] = ()


def plain(value: Any) -> Any:  # noqa: ANN401 - any field value of a record
    """Give a float for a Decimal, everything else as it is; for frames and charts."""
    return float(value) if isinstance(value, Decimal) else value
