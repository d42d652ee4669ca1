"""A record as the store holds it: with its version, who, when and why."""

from dataclasses import dataclass
from datetime import datetime
from typing import Generic, TypeVar

from hvmon.records.base import PersonRecord
from hvmon.vocabulary import RecordStatus

R_co = TypeVar("R_co", bound=PersonRecord, covariant=True)


@dataclass(frozen=True, slots=True)
class Held(Generic[R_co]):
    """One version of one record. Order is `seq`, never the clock."""

    record_id: str
    version: int
    status: RecordStatus
    seq: int
    recorded_at: datetime
    """Aware, UTC."""
    recorded_by: str
    reason: str
    """Why it was corrected or withdrawn; empty for a first version."""
    record: R_co
