"""Where a what-if starts: the settings in force, the breathing on them, and the reading it is anchored to."""

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from hvmon.records.dossier import Dossier, local
from hvmon.records.gas import BloodGas
from hvmon.records.held import Held
from hvmon.records.settings import SettingsChange
from hvmon.records.study import NightSummary
from hvmon.stats.body import Body, MeasuredDeadSpace, body_of
from hvmon.stats.breathing import LEAK_LIMIT_L_MIN, Breathing, breathing_between
from hvmon.stats.figure import Refused
from hvmon.stats.likeforlike import SOURCE_KEYS
from hvmon.stats.machine import MachineSettings, settings_of
from hvmon.stats.priors import Priors, default_priors
from hvmon.stats.series import TC_NIGHT, utc
from hvmon.stats.ventilation import refused_as_arterial, refused_as_steady_on_ventilator
from hvmon.vocabulary import VentilatorState

BREATHING_WINDOW_DAYS = 28
"""[d] use and leak vary from night to night and are judged on weeks (Jeganathan2021; length Project)."""
OTHER_LEVEL_DAYS = 180
"""[d] age to which the level in the other state (on or off) still counts (Project)."""


@dataclass(frozen=True, slots=True)
class Anchor:
    """The reading a prediction starts from, and that the next reading of its kind will be held against."""

    record_id: str
    at: datetime
    day: date
    source: str
    kpa: float
    sd_ln: float
    """One reading about the usual level: measurement and day-to-day variation, ln."""
    on_ventilator: bool
    off_reason: Refused | None
    """Why it says nothing about ventilation on the machine; None when it does."""
    ph: float | None = None
    hco3_mmol_l: float | None = None
    state_recorded: bool = True
    """Whether on or off the ventilator was recorded."""

    @property
    def place(self) -> str:
        """Where it was taken, in words."""
        if not self.state_recorded:
            return "on or off the ventilator not recorded"
        return "on the ventilator" if self.on_ventilator else "off the ventilator"

    @property
    def words(self) -> str:
        """The reading in words."""
        return f"{self.source} PCO2 {self.kpa:.2f} kPa of {self.day}, {self.place}"


@dataclass(frozen=True, slots=True)
class Baseline:
    """Everything a what-if starts from."""

    settings: MachineSettings
    settings_since: date
    breathing: Breathing | Refused
    body: Body
    anchor: Anchor
    other_state: Anchor | None
    """The newest reading in the other state, on or off the ventilator; for hours of use."""


def baseline_of(
    dossier: Dossier,
    today: date,
    *,
    leak_limit_l_min: float = LEAK_LIMIT_L_MIN,
    below_140_cm: bool = False,
    measured: MeasuredDeadSpace | None = None,
    priors: Priors | None = None,
) -> Baseline | Refused:
    """Gather what a what-if starts from, as of a day.

    Settings are those in force; breathing is of the nights since they were set, at most four weeks; the
    reading is the newest one since then, one on the ventilator and steady before any other.
    """
    end = datetime.combine(today + timedelta(days=1), time(), UTC)
    change = dossier.settings_at(end)
    if change is None:
        return Refused("no ventilator settings are recorded", "the settings in force")
    since = local(change.changed_at, change.zone).date()
    table = priors or default_priors()
    readings = _readings(dossier, change, end, table)
    if not readings:
        return Refused(
            f"no arterial, capillary or night transcutaneous reading since the settings of {since}",
            "a reading on the present settings",
        )
    settings = _settings(dossier, change, today)
    start = max(since, today - timedelta(days=BREATHING_WINDOW_DAYS))
    body = body_of(
        dossier,
        today,
        interface=settings.interface,
        filter_kind=settings.filter_kind,
        below_140_cm=below_140_cm,
        measured=measured,
    )
    return Baseline(
        settings,
        since,
        breathing_between(dossier, start, today + timedelta(days=1), leak_limit_l_min=leak_limit_l_min),
        body,
        readings[0],
        _other(readings, today),
    )


def anchor_of_gas(held: Held[BloodGas], *, priors: Priors | None = None) -> Anchor:
    """Give a blood gas as a starting point."""
    gas = held.record
    return Anchor(
        held.record_id,
        gas.drawn_at,
        local(gas.drawn_at, gas.zone).date(),
        gas.kind.value,
        gas.pco2.kpa,
        reading_sd_ln(gas.kind.value, priors or default_priors()),
        gas.state.ventilator == VentilatorState.ON,
        refused_as_steady_on_ventilator(gas),
        float(gas.ph),
        None if gas.hco3_mmol_l is None else float(gas.hco3_mmol_l),
        gas.state.ventilator != VentilatorState.NOT_RECORDED,
    )


def anchor_of_night(held: Held[NightSummary], *, priors: Priors | None = None) -> Anchor | None:
    """Give a night's transcutaneous median as a starting point; None without one."""
    night = held.record
    if night.tcco2_median is None:
        return None
    on = night.ventilator == VentilatorState.ON
    off = None if on else Refused("the night was not recorded as on the ventilator", "a night on it")
    sd_ln = reading_sd_ln(TC_NIGHT, priors or default_priors())
    return Anchor(
        held.record_id, night.ended_at, night.night_of, TC_NIGHT, night.tcco2_median.kpa, sd_ln, on, off,
        state_recorded=night.ventilator != VentilatorState.NOT_RECORDED,
    )  # fmt: skip


def reading_sd_ln(source: str, priors: Priors) -> float:
    """SD of one reading of a source about the usual level, ln: measurement and day-to-day variation."""
    return math.hypot(priors.value(f"noise.{SOURCE_KEYS[source]}"), priors.value("day.sd"))


def _readings(dossier: Dossier, change: SettingsChange, end: datetime, priors: Priors) -> list[Anchor]:
    """Give readings since a change, newest first, those on the ventilator and steady before any other.

    One on the ventilator goes first only within `OTHER_LEVEL_DAYS` of the newest: an old night says little of
    a person who has changed since.
    """
    gases = [
        anchor_of_gas(held, priors=priors)
        for held in dossier.blood_gas
        if refused_as_arterial(held.record) is None
    ]
    nights = [anchor_of_night(held, priors=priors) for held in dossier.night_summary]
    found = [
        anchor
        for anchor in (*gases, *nights)
        if anchor is not None and change.changed_at <= utc(anchor.at) < end
    ]
    newest = max((anchor.day for anchor in found), default=date.min)

    def order(anchor: Anchor) -> tuple[bool, float]:
        recent = (newest - anchor.day).days <= OTHER_LEVEL_DAYS
        return not (recent and anchor.off_reason is None), -anchor.at.timestamp()

    return sorted(found, key=order)


def _settings(dossier: Dossier, change: SettingsChange, today: date) -> MachineSettings:
    """Give the settings in force with the median hours of use of the last four weeks."""
    start = today - timedelta(days=BREATHING_WINDOW_DAYS)
    hours = sorted(
        float(held.record.usage_h) for held in dossier.nightly_use if start <= held.record.night_of <= today
    )
    middle = hours[len(hours) // 2] if hours else None
    return settings_of(change.program_1, hours_per_day=middle)


def _other(readings: list[Anchor], today: date) -> Anchor | None:
    """Give the newest reading known to be in the other state."""
    first = readings[0]
    if not first.state_recorded:
        return None
    for anchor in readings[1:]:
        if not anchor.state_recorded:
            continue
        if anchor.on_ventilator != first.on_ventilator and (today - anchor.day).days <= OTHER_LEVEL_DAYS:
            return anchor
    return None
