"""A proposal kept as a planned change, with its expected effect and the recheck it owes."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from hvmon.records.dossier import Dossier, local
from hvmon.records.held import Held
from hvmon.records.settings import PlannedChange
from hvmon.services.outcome import Outcome, attempt
from hvmon.services.proposals import change_words
from hvmon.stats.whatif import WhatIf
from hvmon.store.store import Store
from hvmon.vocabulary import ActionState, TestKind

CENT_KPA = Decimal("0.01")


def earliest_recheck(answer: WhatIf, today: date) -> date | None:
    """Give the first day on which an awake gas would be honest; None where no time was estimated."""
    if answer.steady is None:
        return None
    return today + timedelta(days=answer.steady.earliest_day_gas_days)


def free_moment(dossier: Dossier, now: datetime) -> datetime:
    """Give the first whole second from `now` on at which no change was planned for this person."""
    taken = {held.record.planned_at for held in dossier.planned_change}
    moment = now.astimezone(UTC).replace(microsecond=0)
    while moment in taken:
        moment += timedelta(seconds=1)
    return moment


def save_plan(
    store: Store,
    person_key: str,
    whatif: WhatIf,
    *,
    why: str,
    owed_test: TestKind,
    owed_by: date,
    actor: str,
    now: datetime,
    request_id: str,
) -> Outcome:
    """Store a proposal as a planned change with the recheck it owes.

    Parameters
    ----------
    whatif
        The answered proposal; its expected value and 95 percent interval are kept with it.
    why, owed_test, owed_by
        Why it was agreed, and which test is owed by when.
    now
        When it was planned.
    request_id
        The same request again adds nothing.

    Raises
    ------
    ValueError
        No test is named, or its day lies before the plan.
    """
    zone = store.dossier(person_key).person.zone
    plan = planned(
        whatif, person_key, zone, why=why, owed_test=owed_test, owed_by=owed_by, actor=actor, now=now
    )

    def attempt_once() -> tuple[bool, tuple[Held[PlannedChange], ...]]:
        saved = store.save(plan, actor=actor, request_id=request_id, now=now)
        return saved.added, (saved.held,)

    return attempt(attempt_once)


def planned(
    whatif: WhatIf,
    person_key: str,
    zone: str,
    *,
    why: str,
    owed_test: TestKind,
    owed_by: date,
    actor: str,
    now: datetime,
) -> PlannedChange:
    """Give the record of a planned change; see `save_plan`."""
    if owed_test == TestKind.NONE:
        raise ValueError("owed_test is 'none'; a planned change owes a test: name it")
    day = local(now, zone).date()
    if owed_by < day:
        raise ValueError(f"owed_by {owed_by} lies before the plan of {day}")
    return PlannedChange(
        person_key=person_key,
        planned_at=now,
        zone=zone,
        planned_by=actor,
        proposal=change_words(whatif)[:200],
        expected_paco2_kpa=_cents(whatif.expected_kpa),
        expected_low_kpa=_cents(whatif.low_95_kpa),
        expected_high_kpa=_cents(whatif.high_95_kpa),
        why=why,
        owed_test=owed_test,
        owed_by=owed_by,
        state=ActionState.OPEN,
        comment=_comment(whatif),
    )


def _cents(kpa: float) -> Decimal:
    return Decimal(str(kpa)).quantize(CENT_KPA)


def _comment(whatif: WhatIf) -> str:
    """Keep what the expected value is of, what it started from, and by which methods."""
    methods = "; ".join(f"{part.method.value} {100 * part.weight:.0f} %" for part in whatif.parts)
    return (
        f"Expected value of {whatif.quantity.value}, with its 95 % interval, from {whatif.anchor.words}. "
        f"Methods: {methods}."
    )
