"""The rules and priors in force: the group's pack, the service's edits, the person's own."""

import hashlib
import json
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from hvmon.files.toml_packs import BadToml, read_toml
from hvmon.records.dossier import Dossier
from hvmon.rules.catalogue import RULES
from hvmon.rules.packs import CHILD_GROUP, Pack, apply_person_edits, apply_service_edits, default_pack
from hvmon.stats.priors import Priors, default_priors
from hvmon.vocabulary import DiagnosisGroup

__all__ = [
    "Edits",
    "Priors",
    "checked_edits",
    "digest",
    "fault",
    "pack_in_use",
    "priors_in_use",
    "service_edits",
]

Edits = Mapping[str, Any]
"""A service's own edits, as its TOML file gives them: tables `rules` and `priors`; empty for none."""

PRIORS = "priors"


def pack_in_use(dossier: Dossier, *, today: date, edits: Edits | None = None) -> Pack:
    """Give the rules in force for a person on a day.

    Raises
    ------
    hvmon.rules.packs.PackError
        An edit names no rule, or gives a value that cannot be used.
    """
    pack = default_pack(dossier, today)
    if edits:
        pack = apply_service_edits(pack, {name: table for name, table in edits.items() if name != PRIORS})
    return apply_person_edits(pack, dossier)


def priors_in_use(edits: Edits | None = None) -> Priors:
    """Give the trend model's table of priors, with the service's own rows in place.

    Raises
    ------
    ValueError
        A row is not in the table, or its value cannot be.
    """
    own = (edits or {}).get(PRIORS)
    return default_priors().override(own) if own else default_priors()


def service_edits(path: Path | None) -> Edits:
    """Read a service's edits of the rules; none without a file.

    Raises
    ------
    hvmon.files.toml_packs.BadToml
        The file is not there, cannot be read or holds an edit that cannot be used; the message names file,
        table and key.
    """
    if path is None:
        return {}
    edits = read_toml(path)
    wrong = fault(edits)
    if wrong:
        raise BadToml(f"{path.name}: {wrong}")
    return edits


def fault(edits: Edits) -> str:
    """Say what is wrong with a service's edits; empty when every group can be judged by them."""
    rules = {name: table for name, table in edits.items() if name != PRIORS}
    try:
        for group in (*(one.value for one in DiagnosisGroup), CHILD_GROUP):
            apply_service_edits(Pack(group, RULES), rules)
        priors_in_use(edits)
    except ValueError as error:
        return str(error)
    return ""


def checked_edits(path: Path | None) -> tuple[Edits, str]:
    """Give a service's edits, and what is wrong with them; nothing is judged by edits that are wrong."""
    try:
        return service_edits(path), ""
    except BadToml as error:
        return {}, str(error)


def digest(edits: Edits | None) -> str:
    """Give eight hex digits that name exactly these edits; empty for none."""
    if not edits:
        return ""
    text = json.dumps(edits, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:8]
