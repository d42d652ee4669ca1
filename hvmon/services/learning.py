"""Learn the trend model's offsets and spreads from a service's own record, and read such a file."""

import json
from datetime import datetime
from pathlib import Path

from hvmon.files.toml_packs import read_toml
from hvmon.stats.learning import Learned, TooFew, learn
from hvmon.stats.priors import Priors, default_priors
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.trend import PersonInput
from hvmon.store.store import Store

__all__ = ["Learned", "Priors", "TooFew", "learn_from", "priors_text", "read_priors"]


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


def learn_from(store: Store, *, today: datetime, priors: Priors) -> Learned | TooFew:
    """Learn from every person of a store; `TooFew` says which size is not reached."""
    people = [
        PersonInput(dossier.person_key, readings_frame(dossier), changes_frame(dossier), today)
        for dossier in store.dossiers()
    ]
    return learn(people, priors=priors)


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
