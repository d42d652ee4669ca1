"""Proposals as people type them: which settings a mode has, what was understood, what would change."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from hvmon.records.base import Record
from hvmon.records.course import NightlyUse
from hvmon.records.number_text import BadNumber, parse_decimal
from hvmon.records.settings import Program
from hvmon.services import typed
from hvmon.services.clock_text import NotUnderstood
from hvmon.stats.machine import TARGET_MODES, UNTIMED_MODES, VOLUME_MODES, MachineSettings, Proposal
from hvmon.stats.whatif import WhatIf
from hvmon.vocabulary import VentilatorMode

__all__ = [
    "SHORT", "Proposal", "ProposalRead", "change_words", "fields_of", "now_words", "read_proposal",
]  # fmt: skip

DEAD_SPACE = "dead_space_change_ml"
MOST_DEAD_SPACE_ML = Decimal(400)
"""[mL] largest change of dead space that is asked about; larger than any interface of the table (Project)."""

COLUMNS: Mapping[str, tuple[type[Record], str]] = MappingProxyType(
    {
        "ipap_cmh2o": (Program, "ipap_cmh2o"),
        "epap_cmh2o": (Program, "epap_cmh2o"),
        "tidal_volume_ml": (Program, "tidal_volume_ml"),
        "target_volume_ml": (Program, "target_volume_ml"),
        "backup_rate_min": (Program, "backup_rate_min"),
        "inspiratory_time_s": (Program, "inspiratory_time_s"),
        "oxygen_l_min": (Program, "oxygen_l_min"),
        "hours_per_day": (NightlyUse, "usage_h"),
    }
)
"""Setting -> record type and column whose door and limits its text passes."""

SHORT: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "ipap_cmh2o": ("IPAP", "cmH2O"),
        "epap_cmh2o": ("EPAP", "cmH2O"),
        "tidal_volume_ml": ("tidal volume", "mL"),
        "target_volume_ml": ("target volume", "mL"),
        "backup_rate_min": ("backup rate", "/min"),
        "inspiratory_time_s": ("inspiratory time", "s"),
        "oxygen_l_min": ("oxygen", "L/min"),
        "hours_per_day": ("hours of use", "h/day"),
        DEAD_SPACE: ("dead space", "mL"),
    }
)
"""Setting -> its name and unit in words."""


@dataclass(frozen=True, slots=True)
class ProposalRead:
    """What was understood of one proposal; a blank leaves a setting as it is."""

    proposal: Proposal | None
    """None when nothing was typed, or something was refused."""
    refused: Mapping[str, str]
    """Setting -> what was given and what is accepted."""
    unlikely: Mapping[str, str]
    """Setting -> value that is possible but unusual."""


def fields_of(mode: VentilatorMode) -> tuple[str, ...]:
    """Give the settings that can be asked about in a mode, in the order of the form."""
    first = "ipap_cmh2o"
    if mode in VOLUME_MODES:
        first = "tidal_volume_ml"
    elif mode in TARGET_MODES:
        first = "target_volume_ml"
    timed = () if mode in UNTIMED_MODES else ("backup_rate_min", "inspiratory_time_s")
    return (first, "epap_cmh2o", *timed, "oxygen_l_min", DEAD_SPACE, "hours_per_day")


def read_proposal(
    label: str, texts: Mapping[str, str], *, dead_space_ml: float | None = None
) -> ProposalRead:
    """Read one proposal from what was typed.

    Parameters
    ----------
    label
        Its name.
    texts
        Setting -> text; blank is unchanged.
    dead_space_ml
        The dead space taken; more than that cannot be taken away.
    """
    given: dict[str, float] = {}
    refused: dict[str, str] = {}
    unlikely: dict[str, str] = {}
    for name, text in texts.items():
        if not text.strip():
            continue
        try:
            value, odd = _read(name, text, dead_space_ml)
        except NotUnderstood as error:
            refused[name] = str(error)
            continue
        given[name] = float(value)
        if odd:
            unlikely[name] = odd
    values: dict[str, Any] = given
    proposal = Proposal(label, **values) if given and not refused else None
    return ProposalRead(proposal, refused, unlikely)


def _read(name: str, text: str, dead_space_ml: float | None) -> tuple[Decimal, str]:
    if name == DEAD_SPACE:
        return _dead_space(text, dead_space_ml), ""
    model, column = COLUMNS[name]
    understood = typed.read(model, column, text, zone="UTC")
    if not isinstance(understood.value, Decimal):
        raise NotUnderstood(f"{text!r} is no plain number; leave it blank to keep it as it is")
    return understood.value, understood.words if understood.unlikely else ""


def _dead_space(text: str, dead_space_ml: float | None) -> Decimal:
    try:
        value = parse_decimal(text)
    except BadNumber as error:
        raise NotUnderstood(str(error)) from None
    if abs(value) > MOST_DEAD_SPACE_ML:
        raise NotUnderstood(
            f"{value} mL is more than any interface or filter adds or takes away; accepted is "
            f"-{MOST_DEAD_SPACE_ML} to {MOST_DEAD_SPACE_ML}"
        )
    if dead_space_ml is not None and float(value) <= -dead_space_ml:
        raise NotUnderstood(f"{value} mL would leave none of the {dead_space_ml:.0f} mL taken as dead space")
    return value


def now_words(settings: MachineSettings, name: str) -> str:
    """Give a setting as it is, for the field in which another would be typed."""
    if name == DEAD_SPACE:
        return "0 = as now, -50 = less"
    value = getattr(settings, name)
    return "now not recorded" if value is None else f"now {value:g}"


def change_words(whatif: WhatIf) -> str:
    """Give what a proposal would change, each setting from what it is to what it would be."""
    parts = []
    for name in whatif.proposal.changed:
        words, unit = SHORT[name]
        if name == DEAD_SPACE:
            parts.append(f"{words} {whatif.proposal.dead_space_change_ml:+g} {unit}")
            continue
        before, after = getattr(whatif.before, name), getattr(whatif.after, name)
        then = "not recorded" if before is None else f"{before:g}"
        parts.append(f"{words} {then} → {after:g} {unit}")
    return ", ".join(parts)
