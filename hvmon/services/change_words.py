"""Ventilator settings and their changes in short words, for lanes, tables and headlines."""

from collections.abc import Iterator
from decimal import Decimal

from hvmon.records.settings import Program, SettingsChange
from hvmon.vocabulary import NotRecorded

_NUMBERS = (
    ("ipap_cmh2o", "IPAP", "cmH2O"),
    ("ipap_max_cmh2o", "IPAP max", "cmH2O"),
    ("epap_cmh2o", "EPAP", "cmH2O"),
    ("tidal_volume_ml", "volume", "mL"),
    ("target_volume_ml", "target volume", "mL"),
    ("backup_rate_min", "rate", "/min"),
    ("inspiratory_time_s", "Ti", "s"),
    ("oxygen_l_min", "O2", "L/min"),
)
_WORDS = (
    ("mode", "mode"),
    ("interface", "interface"),
    ("circuit", "circuit"),
    ("filter_kind", "filter"),
    ("trigger", "trigger"),
)


def _number(value: Decimal | NotRecorded | None) -> str:
    if value is None:
        return "none"
    return "not recorded" if isinstance(value, NotRecorded) else f"{value.normalize():f}"


def _differences(before: Program, after: Program) -> Iterator[str]:
    for field, words, _unit in _NUMBERS:
        then, now = getattr(before, field), getattr(after, field)
        if then != now:
            yield f"{words} {_number(then)}→{_number(now)}"
    for field, words in _WORDS:
        if getattr(before, field) != getattr(after, field):
            yield f"{words}: {getattr(after, field).value}"


def program_words(program: Program) -> str:
    """Give one program in a line: mode, then every number that is set, then interface."""
    numbers = [
        f"{words} {_number(value)} {unit}"
        for field, words, unit in _NUMBERS
        if (value := getattr(program, field)) is not None
    ]
    return ", ".join([program.mode.value, *numbers, program.interface.value])


def difference_words(before: SettingsChange | None, after: SettingsChange) -> str:
    """Give what a change changed; for the first settings, what was set."""
    if before is None:
        numbers = [
            f"{words} {_number(value)}"
            for field, words, _unit in _NUMBERS[:3]
            if (value := getattr(after.program_1, field)) is not None
        ]
        return " ".join(["first settings:", *numbers])
    changed = list(_differences(before.program_1, after.program_1))
    if before.program_2 != after.program_2:
        changed.append("second program")
    return ", ".join(changed) or "no number changed"
