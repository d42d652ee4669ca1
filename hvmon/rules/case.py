"""One person as the checks see them: readings up to today, each chosen once."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property
from typing import Protocol, TypeVar

from hvmon.records.base import PersonRecord
from hvmon.records.course import NightlyUse
from hvmon.records.dossier import Dossier, dated, local
from hvmon.records.gas import BloodGas, SamplingState
from hvmon.records.held import Held
from hvmon.records.study import NightSummary
from hvmon.records.symptoms import SymptomReport
from hvmon.rules.finding import Basis, Owed
from hvmon.vocabulary import EventKind, NotRecorded, Rest, SampleKind, VentilatorState, Wakefulness

R = TypeVar("R", bound=PersonRecord)

ADULT_FROM_YEARS = 18
"""[y] age from which the adult rules apply (Project)."""
LEVEL_HOLDS_DAYS = 366
"""[d] an older reading says nothing of the present level (Project; the longest recall interval)."""
UNSTABLE_DAYS = 14
"""[d] after an exacerbation a gas is not "stable" (the two weeks of the Murphy2017 gate)."""
USE_WINDOW_DAYS = 28
"""[d] use and leak vary from night to night and are judged on weeks (Jeganathan2021; length Project)."""


class TrendLike(Protocol):
    """What the trend rules read of a trend estimate; probabilities are 0 to 1, None = cannot be told."""

    @property
    def p_rise(self) -> float | None:
        """Chance that the usual level has risen since the review date."""

    @property
    def p_rise_0_3(self) -> float | None:
        """Chance that it has risen by more than 0.3 kPa."""

    @property
    def p_above_limit(self) -> float | None:
        """Chance that the usual level is above the person's own limit."""

    @property
    def model_version(self) -> str:
        """Version of the equations and a mark of the priors."""

    @property
    def readings(self) -> Sequence[str]:
        """Record ids of the readings that carry the estimate."""


_UNSTABLE = {EventKind.INFECTION, EventKind.ADMISSION, EventKind.ADMISSION_HYPERCAPNIC}


@dataclass(frozen=True)
class Case:
    """A dossier as of a day, with the readings the checks ask for."""

    dossier: Dossier
    today: date
    trend: TrendLike | None = None
    owed: tuple[Owed, ...] = ()

    @cached_property
    def gases(self) -> tuple[Held[BloodGas], ...]:
        """Blood gases up to today, oldest first."""
        return tuple(held for held in self.dossier.blood_gas if gas_day(held) <= self.today)

    @cached_property
    def not_venous(self) -> tuple[Held[BloodGas], ...]:
        """Arterial and capillary gases: venous never rules in."""
        return tuple(held for held in self.gases if held.record.kind != SampleKind.VENOUS)

    @cached_property
    def awake(self) -> tuple[Held[BloodGas], ...]:
        """Arterial and capillary gases not known to be taken asleep or after exertion."""
        return tuple(
            held
            for held in self.not_venous
            if held.record.state.wakefulness != Wakefulness.ASLEEP
            and held.record.state.rest != Rest.AFTER_EXERTION
        )

    @cached_property
    def nights(self) -> tuple[Held[NightSummary], ...]:
        """Overnight studies up to today, oldest first."""
        return tuple(held for held in self.dossier.night_summary if held.record.night_of <= self.today)

    @cached_property
    def reports(self) -> tuple[Held[SymptomReport], ...]:
        """Symptom reports up to today, oldest first."""
        return tuple(
            held
            for held in self.dossier.symptom_report
            if local(held.record.asked_at, held.record.zone).date() <= self.today
        )

    @cached_property
    def recent_use(self) -> tuple[Held[NightlyUse], ...]:
        """Nights of use in the last four weeks."""
        return self.use_between(self.today - timedelta(days=USE_WINDOW_DAYS), self.today)

    def use_between(self, start: date, end: date) -> tuple[Held[NightlyUse], ...]:
        """Nights of use from `start` up to before `end`, oldest first."""
        nights: list[Held[NightlyUse]] = []
        for held in reversed(self.dossier.nightly_use):
            if held.record.night_of < start:
                break
            if held.record.night_of < end:
                nights.append(held)
        return tuple(reversed(nights))

    def unstable_on(self, day: date) -> str:
        """Say which exacerbation makes a day not stable; empty when none is recorded."""
        for held in self.dossier.clinical_event:
            event = held.record
            ends = (event.until or event.happened_on) + timedelta(days=UNSTABLE_DAYS)
            if event.kind in _UNSTABLE and event.happened_on <= day <= ends:
                return f"{event.kind.value} on {event.happened_on}"
        return ""

    def days_ago(self, day: date) -> int:
        """Days from a day to today."""
        return (self.today - day).days

    def weight_kg(self) -> Decimal | None:
        """Last weight [kg]."""
        weights = [held.record for held in self.dossier.weight if held.record.weighed_on <= self.today]
        return weights[-1].weight_kg if weights else None


def gas_day(held: Held[BloodGas]) -> date:
    """Give the date on the clock where the gas was drawn."""
    return local(held.record.drawn_at, held.record.zone).date()


def state_words(state: SamplingState) -> str:
    """Conditions of a reading in words."""
    minutes = state.minutes_in_state
    known = not isinstance(minutes, NotRecorded) and state.ventilator != VentilatorState.NOT_RECORDED
    ventilator = {
        VentilatorState.ON: "on ventilator",
        VentilatorState.OFF: "off ventilator",
        VentilatorState.NOT_RECORDED: "on or off ventilator not recorded",
    }[state.ventilator]
    return ", ".join(
        (f"{ventilator} for {minutes} min" if known else ventilator, oxygen_words(state.oxygen_l_min))
    )


def oxygen_words(flow: Decimal | NotRecorded) -> str:
    """Oxygen flow in words."""
    if isinstance(flow, NotRecorded):
        return "oxygen not recorded"
    return f"oxygen {flow} L/min" if flow > 0 else "on air"


def gas_words(held: Held[BloodGas]) -> str:
    """One gas in words: value, pH, kind, conditions, date."""
    gas = held.record
    return f"{gas.kind.value} PCO2 {gas.pco2}, pH {gas.ph}, {state_words(gas.state)}, {gas_day(held)}"


def gas_basis(*gases: Held[BloodGas]) -> tuple[Basis, ...]:
    """Give the basis of gases."""
    return tuple(Basis(held.record_id, gas_words(held), held.record.drawn_at) for held in gases)


def basis(held: Held[R], words: str) -> Basis:
    """Give the basis of any record."""
    return Basis(held.record_id, words, dated(held.record))


def bases(held: Sequence[Held[R]], words: str) -> tuple[Basis, ...]:
    """Give one basis for a run of records: its newest, in words of the whole run."""
    return (basis(held[-1], words),) if held else ()
