"""A settings change: both programs, who, why, and which test is owed after it and when."""

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from hvmon.records.dossier import Dossier
from hvmon.records.flat import columns, flatten
from hvmon.records.settings import Program, SettingsChange
from hvmon.services.asked import Answers, Ask, Section, ask, own
from hvmon.services.form_read import FormRead
from hvmon.services.moment_pair import read_pair
from hvmon.services.one_record import Filled, understand_records
from hvmon.services.typed import NO, YES, as_typed
from hvmon.services.visit_form import PROGRAM_NEEDS
from hvmon.services.visit_records import Context
from hvmon.vocabulary import TestKind

FORM = "settings_change"
"""Name under which drafts of this form are kept."""


@dataclass(frozen=True, slots=True)
class InForce:
    """The settings in force and since when."""

    since: datetime
    by: str
    why: str
    programs: tuple[str, ...]


def in_force(dossier: Dossier, *, now: datetime) -> InForce | None:
    """Give the settings in force at a moment in words; None before the first recorded change."""
    change = dossier.settings_at(now)
    if change is None:
        return None
    programs = tuple(describe(program) for program in (change.program_1, change.program_2) if program)
    return InForce(change.changed_at, change.changed_by, change.why, programs)


_WORDS = (
    ("ipap_cmh2o", "IPAP {} cmH2O"),
    ("ipap_max_cmh2o", "IPAP maximum {} cmH2O"),
    ("epap_cmh2o", "EPAP {} cmH2O"),
    ("tidal_volume_ml", "tidal volume {} mL"),
    ("target_volume_ml", "target volume {} mL"),
    ("backup_rate_min", "backup rate {} /min"),
    ("inspiratory_time_s", "Ti {} s"),
    ("trigger", "trigger {}"),
    ("oxygen_l_min", "oxygen {} L/min"),
    ("interface", "{}"),
    ("circuit", "{}"),
    ("filter_kind", "filter: {}"),
)


def describe(program: Program) -> str:
    """Give a program in one line."""
    parts = [
        template.format(value) for name, template in _WORDS if (value := getattr(program, name)) is not None
    ]
    return ", ".join([program.mode.value, *parts])


def sections(answers: Answers, dossier: Dossier, *, today: date) -> tuple[Section, ...]:
    """Give the questions of a settings change; programs start as they are in force."""
    known = flatten(dossier.settings_change[-1].record) if dossier.settings_change else {}
    had_second = YES if known.get("program_2_mode") else NO if known else ""
    parts = [
        Section("When and why", _when(today)),
        Section(
            "Program 1",
            (*_program("program_1_", known), own("second_program", (YES, NO), default=had_second)),
        ),
    ]
    if answers.get("second_program") == YES:
        parts.append(Section("Program 2", _program("program_2_", known)))
    return (*parts, Section("What is owed after it", _owed(answers)))


def _when(today: date) -> tuple[Ask, ...]:
    return (
        own("date", hint="DDMMYYYY", default=f"{today:%d%m%Y}"),
        own("time", hint="HHMM, 24 h"),
        *(ask(SettingsChange, name) for name in ("kind", "urgency", "why")),
    )


def _program(prefix: str, known: dict[str, Any]) -> tuple[Ask, ...]:
    names = [column.name for column in columns(SettingsChange) if column.name.startswith(prefix)]
    return tuple(
        ask(
            SettingsChange,
            name,
            required=name.removeprefix(prefix) in PROGRAM_NEEDS,
            default=as_typed(known.get(name), "UTC"),
        )
        for name in names
    )


def _owed(answers: Answers) -> tuple[Ask, ...]:
    test = ask(SettingsChange, "owed_test")
    named = answers.get("owed_test", "") not in {"", TestKind.NONE}
    by = (ask(SettingsChange, "owed_by", required=True),) if named else ()
    return (test, *by, ask(SettingsChange, "comment"))


def understand(answers: Answers, context: Context) -> FormRead:
    """Read the answers of the form."""
    pair = read_pair(answers, "date", "time", zone=context.zone, today=context.today)
    fixed = {
        "person_key": context.dossier.person_key,
        "changed_at": pair.moment or context.now,
        "zone": context.zone,
        "changed_by": context.actor or "-",
        "role": context.role.value if context.role else "other",
    }
    asks = [one for part in sections(answers, context.dossier, today=context.today) for one in part.asks]
    return understand_records(
        [Filled(SettingsChange, fixed)],
        asks,
        answers,
        zone=context.zone,
        now=context.now,
        dossier=context.dossier,
        also_refused=pair.refused,
        also_words=pair.words,
    )
