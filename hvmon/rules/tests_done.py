"""The tests in a record, each with its day and what it can close."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from hvmon.records.dossier import Dossier, dated, local
from hvmon.records.gas import BloodGas
from hvmon.records.study import NightSummary
from hvmon.vocabulary import NotRecorded, SampleKind, TestKind, VentilatorState, Wakefulness

SINGLE = (TestKind.DAY_GAS, TestKind.NIGHT_STUDY)


@dataclass(frozen=True, slots=True)
class Done:
    """One test that was done."""

    kind: TestKind
    day: date
    at: datetime
    record_id: str
    counts: bool
    """Whether it can close something owed."""
    why_not: str = ""
    on_ventilator: bool = False


def done_tests(dossier: Dossier, today: date) -> tuple[Done, ...]:
    """Give every test up to today, oldest first."""
    found = [
        *(_gas(held.record_id, held.record) for held in dossier.blood_gas),
        *(_night(held.record_id, held.record) for held in dossier.night_summary),
        *(Done(TestKind.LUNG_FUNCTION, held.record.tested_on, dated(held.record), held.record_id, counts=True)
          for held in dossier.lung_function),
        *(Done(TestKind.WEIGHT, held.record.weighed_on, dated(held.record), held.record_id, counts=True)
          for held in dossier.weight),
    ]  # fmt: skip
    return tuple(
        sorted((each for each in found if each.day <= today), key=lambda each: (each.at, each.record_id))
    )


def _gas(record_id: str, gas: BloodGas) -> Done:
    day = local(gas.drawn_at, gas.zone).date()
    why_not = ""
    if gas.kind == SampleKind.VENOUS:
        why_not = "venous, which never answers the question of PaCO2"
    elif gas.state.wakefulness == Wakefulness.ASLEEP:
        why_not = "drawn asleep"
    return Done(TestKind.DAY_GAS, day, gas.drawn_at, record_id, not why_not, why_not)


def _night(record_id: str, night: NightSummary) -> Done:
    valid = not isinstance(night.valid_s, NotRecorded) or night.tcco2_valid_s is not None
    empty = valid and night.valid_s == 0 and not night.tcco2_valid_s
    why_not = "no valid recording" if empty else ""
    on = night.ventilator == VentilatorState.ON
    return Done(TestKind.NIGHT_STUDY, night.night_of, night.started_at, record_id, not why_not, why_not, on)


def parts_of(test: TestKind) -> tuple[TestKind, ...]:
    """Give the single tests of a named test."""
    return SINGLE if test == TestKind.DAY_GAS_AND_NIGHT else (test,)


def closing(done: Iterable[Done], test: TestKind, opens: date, until: datetime | None = None) -> Done | None:
    """Give the first counting result of a single kind from `opens` on, before `until` if given."""
    for each in done:
        in_time = each.day >= opens and (until is None or each.at < until)
        if each.kind == test and each.counts and in_time:
            return each
    return None


def last_of(done: Sequence[Done], test: TestKind) -> Done | None:
    """Give the last counting result of a kind; for two kinds together the older of their last ones."""
    last = [
        next((each for each in reversed(done) if each.kind == kind and each.counts), None)
        for kind in parts_of(test)
    ]
    known = [each for each in last if each is not None]
    return min(known, key=lambda each: each.at) if len(known) == len(last) else None
