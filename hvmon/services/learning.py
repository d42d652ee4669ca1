"""Learn the trend model's offsets and spreads from a service's own record, and read such a file."""

import json
from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from hvmon.files.toml_packs import read_toml
from hvmon.records.dossier import Dossier
from hvmon.stats.learning import Learned, TooFew, learn
from hvmon.stats.priors import Priors, default_priors
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.trend import PROGRESSIVE, PersonInput
from hvmon.store.store import Store

__all__ = ["Learned", "Priors", "TooFew", "learn_from", "priors_text", "read_priors"]

READING = "Reading the record"
FITTING = "Fitting, at most"
Progress = Callable[[str, int, int], object]
"""Told what is being done, and how many of how many steps of it are."""


def read_priors(path: Path | None) -> Priors:
    """Give the model's table of priors, with the rows of a service's own TOML file in place.

    Raises
    ------
    ValueError
        The file cannot be read, names no row of the table, or gives a value that cannot be.
    """
    table = default_priors()
    if path is None:
        return table
    edits = read_toml(path)
    return table.override(edits.get("priors", edits))


def learn_from(
    store: Store, *, today: datetime, priors: Priors, progress: Progress | None = None
) -> Learned | TooFew:
    """Learn from every person of a store; `TooFew` says which size is not reached.

    Parameters
    ----------
    store : Store
        The open store.
    today : datetime
        Later readings are left out.
    priors : Priors
        Table to start from and to shrink toward.
    progress : callable, optional
        Told what is being done, and how many of how many steps of it are.
    """
    tell = progress or (lambda _what, _done, _total: None)
    keys, people = store.person_keys(), []
    for dossier in store.dossiers(keys):
        people.append(_input(dossier, today))
        tell(READING, len(people), len(keys))
    return learn(people, priors=priors, progress=lambda done, most: tell(FITTING, done, most))


def _input(dossier: Dossier, today: datetime) -> PersonInput:
    return PersonInput(
        person_key=dossier.person_key,
        readings=readings_frame(dossier),
        changes=changes_frame(dossier),
        today=today,
        birth_date=dossier.identity.date_of_birth if dossier.identity else None,
        progressive=dossier.person.diagnosis_group in PROGRESSIVE,
    )


def priors_text(learned: Learned) -> str:
    """Give the TOML of a priors file, each row with the value it replaces and what carries it."""
    lines = [
        f"# learned from {learned.n_people} people and {learned.n_readings} readings",
        f"# log-likelihood {learned.log_likelihood_before:.2f} -> {learned.log_likelihood_after:.2f}",
        *(f"# not learned: {words}" for words in learned.not_learned),
        "",
        "[priors]",
    ]
    before = {row.key: row for row in learned.rows}
    for key, cells in learned.mapping().items():
        row = before[key]
        pairs = "" if row.n_pairs is None else f", {row.n_pairs} arterial pairs"
        lines.append(f"# before: {row.before}{pairs}")
        told = ", ".join(f"{name} = {json.dumps(cell)}" for name, cell in cells.items())
        lines.append(f"{json.dumps(key)} = {{ {told} }}")
    return "\n".join(lines) + "\n"
