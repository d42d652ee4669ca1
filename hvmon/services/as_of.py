"""A record as of a day: what had been measured by its end on the person's clock."""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

from hvmon.records.dossier import Dossier


def end_of_day(day: date, zone: str) -> datetime:
    """Give the last second of a day on a zone's clock [aware, UTC]."""
    return datetime.combine(day, time(23, 59, 59), ZoneInfo(zone)).astimezone(UTC)


def known_on(dossier: Dossier, day: date) -> Dossier:
    """Give the dossier with only what was measured up to the end of a day."""
    return dossier.until(end_of_day(day, dossier.person.zone))
