"""The rules in force for one person: the group's pack, the service's edits, the person's own."""

import hashlib
import json
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

from hvmon.files.toml_packs import read_toml
from hvmon.records.dossier import Dossier
from hvmon.rules.packs import Pack, apply_person_edits, apply_service_edits, default_pack

Edits = Mapping[str, Any]
"""A service's own edits, as its TOML file gives them; empty for none."""


def pack_in_use(dossier: Dossier, *, today: date, edits: Edits | None = None) -> Pack:
    """Give the rules in force for a person on a day.

    Raises
    ------
    hvmon.rules.packs.PackError
        An edit names no rule, or gives a value that cannot be used.
    """
    pack = default_pack(dossier, today)
    if edits:
        pack = apply_service_edits(pack, edits)
    return apply_person_edits(pack, dossier)


def service_edits(path: Path | None) -> Edits:
    """Read a service's edits of the rules; none without a file.

    Raises
    ------
    hvmon.files.toml_packs.BadToml
        The file is not there or cannot be read; the message names the place.
    """
    return {} if path is None else read_toml(path)


def digest(edits: Edits | None) -> str:
    """Give eight hex digits that name exactly these edits; empty for none."""
    if not edits:
        return ""
    text = json.dumps(edits, sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()[:8]
