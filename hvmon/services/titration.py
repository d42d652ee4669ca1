"""What a titration review shows of one person: why CO2 rises, what machine and gases imply, what-if, a plan.

It explains and estimates. It recommends no setting; a plan that is saved is the team's own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal

from hvmon.records.dossier import Dossier, local
from hvmon.records.held import Held
from hvmon.records.settings import PlannedChange, SettingsChange
from hvmon.rules.differential import Differential, differential
from hvmon.rules.packs import Pack
from hvmon.services.as_of import end_of_day, known_on
from hvmon.services.packs_in_use import Edits, pack_in_use, priors_in_use
from hvmon.services.plans import earliest_recheck, free_moment, planned, save_plan
from hvmon.services.trends import TrendView, trend_view
from hvmon.stats.acid_base import GasReading, read_gases
from hvmon.stats.anchor import BREATHING_WINDOW_DAYS, Anchor, Baseline, anchor_of_gas, baseline_of
from hvmon.stats.body import Body, MeasuredDeadSpace, body_of
from hvmon.stats.breathing import LEAK_LIMIT_L_MIN
from hvmon.stats.figure import Refused
from hvmon.stats.likeforlike import Comparison, last_versus_previous
from hvmon.stats.machine import MachineSettings, Proposal
from hvmon.stats.own_response import OwnResponse, own_response_of
from hvmon.stats.priors import Priors
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.ventilation import (
    GasEstimate,
    VentilationEstimate,
    gas_estimate,
    refused_as_arterial,
    ventilation_of_night,
    ventilation_of_period,
)
from hvmon.stats.whatif import WhatIf, what_if
from hvmon.store.store import Store
from hvmon.vocabulary import ActionState, FilterKind, Interface

__all__ = [
    "TitrationView",
    "Tried",
    "WhatIf", "basis_words",
    "dead_space_ml",
    "earliest_recheck",
    "free_moment",
    "leak_limit_l_min",
    "planned",
    "save_plan",
    "starting_cautions",
    "starting_settings",
    "titration",
    "titration_of",
    "try_proposals",
]  # fmt: skip

LEAK_RULE = "USE-3"
"""The rule whose limit of unintentional leak decides whether displayed volumes are used."""

MOST_PROPOSALS = 3
"""Proposals side by side; more do not fit beside one another."""

OLD_ANCHOR_DAYS = 180
"""[d] a starting reading older than this is called old (Project)."""


@dataclass(frozen=True)
class TitrationView:
    """Everything a titration review shows of one person before a proposal is made."""

    dossier: Dossier
    today: date
    differential: Differential | Refused
    noise: str
    """How the two readings differ against repeat measurement and day-to-day variation; empty when unlike."""
    body: Body
    last_night: VentilationEstimate | None
    """None when no night of use is recorded."""
    period: VentilationEstimate
    period_start: date
    """First night of the period; the last is that before today."""
    gases: tuple[GasEstimate, ...]
    """Newest first."""
    readings: tuple[GasReading | Refused, ...]
    """The acid-base reading of each gas of `Dossier.blood_gas`, in its order."""
    baseline: Baseline | Refused
    own: OwnResponse | None
    leak_limit_l_min: float
    priors: Priors
    """The table in force: the one hvmon ships with, or with the service's own rows."""

    @property
    def settings(self) -> SettingsChange | None:
        """The settings in force; None when none are recorded."""
        return self.dossier.settings_at(end_of_day(self.today, self.dossier.person.zone))

    @property
    def plans(self) -> tuple[Held[PlannedChange], ...]:
        """Planned changes that are still open, newest first."""
        held = (plan for plan in self.dossier.planned_change if plan.record.state == ActionState.OPEN)
        return tuple(sorted(held, key=lambda plan: plan.record.planned_at, reverse=True))


@dataclass(frozen=True, slots=True)
class Tried:
    """What became of one proposal: an answer, or why there is none and what it needs."""

    proposal: Proposal
    answer: WhatIf | None
    refused: str = ""
    needs: str = ""

    @property
    def label(self) -> str:
        """Name of the proposal."""
        return self.proposal.label


def titration(
    store: Store, person_key: str, *, today: date, edits: Edits | None = None, priors: Priors | None = None
) -> TitrationView:
    """Give what a titration review shows of one person.

    Parameters
    ----------
    store : Store
        The open store.
    person_key : str
        Whose.
    today : date
        Only what was measured up to the end of this day is used.
    edits : mapping, optional
        The service's edits of the rules; its limit of unintentional leak is the one used.
    priors : Priors, optional
        The table of assumptions.
    """
    return titration_of(store.dossier(person_key), today=today, edits=edits, priors=priors)


def titration_of(
    dossier: Dossier,
    *,
    today: date,
    trend: TrendView | None = None,
    edits: Edits | None = None,
    priors: Priors | None = None,
    below_140_cm: bool = False,
    measured: MeasuredDeadSpace | None = None,
) -> TitrationView:
    """Give the view of a dossier; see `titration`.

    Parameters
    ----------
    trend : TrendView, optional
        The trend of this person as of this day, where a caller has it already.
    below_140_cm : bool
        Somebody has decided to use predicted weight below 140 cm.
    measured : MeasuredDeadSpace, optional
        A measured dead space; it replaces the estimate.
    """
    known = known_on(dossier, today)
    leak = leak_limit_l_min(pack_in_use(known, today=today, edits=edits))
    change = known.settings_at(end_of_day(today, known.person.zone))
    program = change.program_1 if change else None
    body = body_of(
        known, today,
        interface=program.interface if program else Interface.NOT_RECORDED,
        filter_kind=program.filter_kind if program else FilterKind.NONE,
        below_140_cm=below_140_cm, measured=measured,
    )  # fmt: skip
    table, start = priors or priors_in_use(edits), _period_start(change, today)
    return TitrationView(
        dossier=known,
        today=today,
        differential=differential(known),
        noise=_noise(known),
        body=body,
        last_night=_last_night(known, body, leak),
        period=ventilation_of_period(
            known, start, today + timedelta(days=1), body, leak_limit_l_min=leak
        ),
        period_start=start,
        gases=tuple(
            gas_estimate(known, held, body, leak_limit_l_min=leak) for held in reversed(known.blood_gas)
        ),
        readings=read_gases(known),
        baseline=baseline_of(
            known, today,
            leak_limit_l_min=leak, below_140_cm=below_140_cm, measured=measured, priors=table,
        ),
        own=_own(known, trend or trend_view(known, today=today, limit=None, priors=table), table),
        leak_limit_l_min=leak,
        priors=table,
    )  # fmt: skip


def leak_limit_l_min(pack: Pack) -> float:
    """Give the team's limit of unintentional leak [L/min]; the default where the pack leaves it out."""
    found = pack.rule(LEAK_RULE)
    return float(found.limit.value) if found else LEAK_LIMIT_L_MIN


def _noise(dossier: Dossier) -> str:
    frame = readings_frame(dossier)
    found = last_versus_previous(frame.filter(frame["refusal"].is_null()))
    return found.in_words if isinstance(found, Comparison) else ""


def _last_night(dossier: Dossier, body: Body, leak: float) -> VentilationEstimate | None:
    if not dossier.nightly_use:
        return None
    return ventilation_of_night(dossier.nightly_use[-1].record, body, leak_limit_l_min=leak)


def _period_start(change: SettingsChange | None, today: date) -> date:
    """Give the first night of the last four weeks, or of the days since the settings were changed."""
    start = today - timedelta(days=BREATHING_WINDOW_DAYS)
    return start if change is None else max(start, local(change.changed_at, change.zone).date())


def _own(dossier: Dossier, trend: TrendView, priors: Priors) -> OwnResponse | None:
    made = trend.estimate
    if made is None:
        return None
    return own_response_of(made.changes, changes_frame(dossier), made.level.median, priors=priors)


def starting_settings(view: TitrationView) -> MachineSettings:
    """Give the settings every proposal starts from.

    Raises
    ------
    ValueError
        There is no starting point; see `TitrationView.baseline`.
    """
    if isinstance(view.baseline, Refused):
        raise ValueError(view.baseline.reason)  # noqa: TRY004 - a refusal is a value, not a wrong type
    return view.baseline.settings


def dead_space_ml(view: TitrationView) -> float | None:
    """Give the dead space taken [mL]; None when it is not known."""
    space = view.body.dead_space
    return None if isinstance(space, Refused) else space.total.value


def basis_words(view: TitrationView) -> str:
    """Give a text that differs whenever an answer to a proposal could: person, day, decisions, limits."""
    return repr((view.dossier.person_key, view.today, view.baseline, view.own, view.leak_limit_l_min))


def starting_cautions(view: TitrationView) -> tuple[str, ...]:
    """Say what is weak about the reading that what-ifs start from: its age, and what was read since."""
    base = view.baseline
    if isinstance(base, Refused):
        return ()
    found = []
    age = (view.today - base.anchor.day).days
    if age > OLD_ANCHOR_DAYS:
        found.append(f"the reading it starts from is {age} days old")
    newer = _newer_gas(view, base.anchor)
    if newer is not None:
        found.append(f"since then {newer.words}; a what-if says nothing of that reading")
    found.extend(_other_oxygen(view, base.settings))
    change = view.settings
    if change is not None and change.program_2 is not None:
        found.append("two programs are set; what-ifs are of program 1")
    return tuple(found)


def _other_oxygen(view: TitrationView, settings: MachineSettings) -> tuple[str, ...]:
    """Say when the newest gas was drawn on another oxygen flow than the program has."""
    if settings.oxygen_l_min is None or not view.dossier.blood_gas:
        return ()
    flow = view.dossier.blood_gas[-1].record.state.oxygen_l_min
    if not isinstance(flow, Decimal) or float(flow) == settings.oxygen_l_min:
        return ()
    words = (
        f"the newest gas was drawn on oxygen {flow:f} L/min, the program has {settings.oxygen_l_min:g}; a "
        "what-if of oxygen starts from the program"
    )
    return (words,)


def _newer_gas(view: TitrationView, anchor: Anchor) -> Anchor | None:
    """Give the newest usable gas drawn after the starting reading."""
    usable = [
        held
        for held in view.dossier.blood_gas
        if refused_as_arterial(held.record) is None and held.record.drawn_at > anchor.at
    ]
    return anchor_of_gas(usable[-1]) if usable else None


def try_proposals(
    view: TitrationView, proposals: Sequence[Proposal], *, priors: Priors | None = None, seed: int = 1
) -> tuple[Tried, ...]:
    """Answer proposals from this person's own starting point, in the order given.

    A setting that is impossible, or does not belong to the mode, is refused by name and leaves the other
    proposals alone.
    """
    return tuple(_tried(view, proposal, priors or view.priors, seed) for proposal in proposals)


def _tried(view: TitrationView, proposal: Proposal, priors: Priors, seed: int) -> Tried:
    base = view.baseline
    if isinstance(base, Refused):
        return Tried(proposal, None, base.reason, base.needs)
    try:
        answer = what_if(
            base, proposal, own=view.own, priors=priors, leak_limit_l_min=view.leak_limit_l_min, seed=seed
        )
    except ValueError as error:
        return Tried(proposal, None, str(error))
    if isinstance(answer, Refused):
        return Tried(proposal, None, answer.reason, answer.needs)
    return Tried(proposal, answer)
