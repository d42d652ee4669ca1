"""Find a person, open the record, add and edit who the person is."""

from dataclasses import dataclass
from datetime import date
from uuid import uuid4

from hvmon.records.dossier import Dossier
from hvmon.records.person import Person
from hvmon.store.reading import PersonLine
from hvmon.store.store import Store

__all__ = [
    "Banner",
    "PersonLine",
    "banner",
    "find",
    "initials",
    "new_person_key",
    "open_dossier",
    "own_records",
]


@dataclass(frozen=True, slots=True)
class Banner:
    """What stands above every page about one person, so that no page is read for another."""

    person_key: str
    name: str
    local_id: str
    second_identifier: str
    date_of_birth: date | None
    age: int | None
    diagnosis_group: str
    spo2_target: str
    goals_of_care: str
    invented: bool


def find(store: Store, text: str, *, limit: int = 8) -> tuple[PersonLine, ...]:
    """Find people by name, local id or second identifier; at most `limit`."""
    return store.people(text.strip(), limit=limit)


def open_dossier(store: Store, person_key: str) -> Dossier:
    """Give everything held about one person."""
    return store.dossier(person_key)


def initials(name: str) -> str:
    """Give the initials of a name, for screens others can see."""
    return " ".join(f"{part[0].upper()}." for part in name.split() if part[0].isalnum()) or "name hidden"


def _target(person: Person) -> str:
    if person.spo2_target_low_pct is None:
        return "not set"
    return f"{person.spo2_target_low_pct} to {person.spo2_target_high_pct} %"


def banner(dossier: Dossier, *, today: date) -> Banner:
    """Give the banner of one person as of `today`."""
    who, person = dossier.identity, dossier.person
    return Banner(
        person_key=dossier.person_key,
        name=who.name if who else "name not held",
        local_id=who.local_id if who else "",
        second_identifier=who.second_identifier if who else "",
        date_of_birth=who.date_of_birth if who else None,
        age=dossier.age_on(today),
        diagnosis_group=person.diagnosis_group.value,
        spo2_target=_target(person),
        goals_of_care=person.goals_of_care,
        invented=person.invented,
    )


def new_person_key() -> str:
    """Give a random key for a new person; it says nothing of who the person is."""
    return uuid4().hex


def own_records(store: Store, person_key: str) -> tuple[str, ...]:
    """Give the record ids of who the person is: clinical basics and identity."""
    person, identity = store.person_records(person_key)
    return (person.record_id, identity.record_id) if identity else (person.record_id,)
