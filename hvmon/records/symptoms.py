"""The project's own symptom ratings, the CO2 flap, and totals of published instruments."""

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, ClassVar, Self

from pydantic import Field, model_validator

from hvmon.records.base import Instant, Name, Note, Reading, Record, Zone
from hvmon.vocabulary import FlapTest, Informant, Mark, NotRecorded, Rating

Rated = Annotated[int, Field(ge=0, le=10)] | NotRecorded
"""0 none to 10 worst, or "not recorded"."""


class Instrument(StrEnum):
    """Published questionnaires: name and totals only. Items are never stored nor shown."""

    EPWORTH = "Epworth Sleepiness Scale"
    S3_NIV = "S3-NIV"
    SRI = "Severe Respiratory Insufficiency questionnaire"
    MRF_28 = "MRF-28"
    CAT = "COPD Assessment Test"
    CCQ = "Clinical COPD Questionnaire"
    SGRQ = "St George's Respiratory Questionnaire"
    CRQ = "Chronic Respiratory Questionnaire"
    MMRC = "mMRC dyspnoea (0 to 4)"
    MRC = "MRC dyspnoea (1 to 5)"
    BORG_CR10 = "Borg CR10"
    DYSPNOEA_12 = "Dyspnoea-12"
    PSQI = "Pittsburgh Sleep Quality Index"
    HADS_ANXIETY = "HADS anxiety"
    HADS_DEPRESSION = "HADS depression"
    ALSFRS_R = "ALSFRS-R"


@dataclass(frozen=True, slots=True)
class InstrumentFacts:
    """Range and direction of one instrument's total, and the smallest change said to matter."""

    instrument: Instrument
    low: Decimal
    high: Decimal
    high_is_worse: bool
    important_change: Decimal | None
    source: str
    mark: Mark


def _facts(
    instrument: Instrument, low: str, high: str, worse: bool, change: str | None, source: str, mark: Mark
) -> InstrumentFacts:
    return InstrumentFacts(
        instrument, Decimal(low), Decimal(high), worse, Decimal(change) if change else None, source, mark
    )


INSTRUMENTS: tuple[InstrumentFacts, ...] = (
    _facts(Instrument.EPWORTH, "0", "24", True, "2", "Crook2019", Mark.MEMORY_HIGH),
    _facts(Instrument.S3_NIV, "0", "10", False, "0.8", "Viegas2024", Mark.MEMORY_HIGH),
    _facts(Instrument.SRI, "0", "100", False, "5", "SRI2003", Mark.MEMORY_LOW),
    _facts(Instrument.MRF_28, "0", "100", True, None, "Coquart2019", Mark.MEMORY_MEDIUM),
    _facts(Instrument.CAT, "0", "40", True, "2", "COPDX", Mark.SEEN),
    _facts(Instrument.CCQ, "0", "6", True, "0.4", "CCQ2006", Mark.SEEN),
    _facts(Instrument.SGRQ, "0", "100", True, "4", "COPDX", Mark.SEEN),
    _facts(Instrument.CRQ, "1", "7", False, "0.5", "COPDX", Mark.MEMORY_MEDIUM),
    _facts(Instrument.MMRC, "0", "4", True, "1", "COPDX", Mark.SEEN),
    _facts(Instrument.MRC, "1", "5", True, None, "Practice", Mark.MEMORY_HIGH),
    _facts(Instrument.BORG_CR10, "0", "10", True, "1", "Practice", Mark.MEMORY_MEDIUM),
    _facts(Instrument.DYSPNOEA_12, "0", "36", True, None, "COPDX", Mark.MEMORY_MEDIUM),
    _facts(Instrument.PSQI, "0", "21", True, "3", "Practice", Mark.MEMORY_LOW),
    _facts(Instrument.HADS_ANXIETY, "0", "21", True, "1.5", "Practice", Mark.MEMORY_MEDIUM),
    _facts(Instrument.HADS_DEPRESSION, "0", "21", True, "1.5", "Practice", Mark.MEMORY_MEDIUM),
    _facts(Instrument.ALSFRS_R, "0", "48", False, None, "Practice", Mark.MEMORY_HIGH),
)

FACTS_OF = {facts.instrument: facts for facts in INSTRUMENTS}


class Subscore(Record):
    """A named subscore of an instrument."""

    name: Name
    value: Decimal


class InstrumentTotal(Record):
    """Total of a published questionnaire, with who completed it. Never an item or its wording."""

    instrument: Instrument
    version: Note = ""
    language: Note = ""
    total: Decimal
    subscores: tuple[Subscore, ...] = ()
    completed_by: Informant

    @model_validator(mode="after")
    def _total_in_range(self) -> Self:
        facts = FACTS_OF[self.instrument]
        if not facts.low <= self.total <= facts.high:
            direction = "high is worse" if facts.high_is_worse else "high is better"
            raise ValueError(
                f"total {self.total} of {self.instrument.value} is outside {facts.low} to {facts.high} "
                f"({direction}); check the instrument and its version"
            )
        return self

    @property
    def high_is_worse(self) -> bool:
        """Direction of the total."""
        return FACTS_OF[self.instrument].high_is_worse


class SymptomReport(Reading):
    """Ratings 0 to 10 by the person, the flap test, and instrument totals of one occasion."""

    natural_key: ClassVar[tuple[str, ...]] = ("person_key", "asked_at")

    asked_at: Instant
    zone: Zone
    morning_headache: Rated
    daytime_sleepiness: Rated
    sleep_quality: Rated
    breathlessness: Rated
    poor_concentration: Rated
    pins_and_needles: Rated
    answered_by: Informant
    flap: FlapTest
    flaps_per_30_s: Annotated[int, Field(ge=0, le=60)] | None = None
    other_flap_causes: Note = ""
    new_drowsiness_or_confusion: bool | NotRecorded
    instruments: tuple[InstrumentTotal, ...] = ()
    recorded_by: Name

    @model_validator(mode="after")
    def _flaps_only_when_present(self) -> Self:
        if self.flaps_per_30_s and self.flap != FlapTest.PRESENT:
            raise ValueError(f"flaps_per_30_s {self.flaps_per_30_s} but flap is {self.flap.value!r}")
        return self

    def rating(self, which: Rating) -> int | None:
        """One rating; None when not recorded."""
        value = getattr(self, which.name.lower())
        return None if isinstance(value, NotRecorded) else int(value)
