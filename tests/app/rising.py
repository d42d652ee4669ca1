"""An invented person whose CO2 rises while the ventilator is used less, for titration journeys."""

from datetime import date, timedelta
from decimal import Decimal

from hvmon.records.course import NightlyUse
from hvmon.vocabulary import DiagnosisGroup, LeakKind, VentilatorState
from tests.app import invented

CARA = "cara0000cara0000"
SHORT_NIGHTS, NIGHTS = 28, 120


def night(back: int, *, key: str = CARA, leak: str = "8") -> NightlyUse:
    return NightlyUse(
        person_key=key,
        night_of=invented.TODAY - timedelta(days=back + 1),
        usage_h=Decimal("4.0" if back < SHORT_NIGHTS else "8.0") + Decimal(back % 3) / 10,
        leak_kind=LeakKind.UNINTENTIONAL_MEDIAN,
        leak_l_min=Decimal(leak),
        tidal_volume_ml=Decimal(470) + (back % 5) * 4,
        rate_min=Decimal(16),
        triggered_pct=Decimal(60),
    )


def gas(days_ago: int, pco2: str, *, key: str = CARA, on: bool = False, **more):
    made = invented.gas(key, days_ago, pco2, **more)
    ventilator = VentilatorState.ON if on else VentilatorState.OFF
    return made.model_copy(
        update={"state": made.state.model_copy(update={"ventilator": ventilator, "minutes_in_state": 90})}
    )


def records(
    *, key: str = CARA, name: str = "Cara Invented", number: str = "H1003", leak: str = "8", **who
) -> tuple:
    person = invented.person(key, DiagnosisGroup.OTHER_NEUROMUSCULAR).model_copy(update=who)
    off = ((200, "6.2"), (120, "6.5"), (65, "6.8"), (12, "7.3"))
    return (
        invented.identity(key, name, number, date(1961, 5, 4)),
        person,
        invented.change(key, 300),
        *(gas(day, pco2, key=key) for day, pco2 in off),
        *(gas(day, pco2, key=key, on=True, ph="7.36") for day, pco2 in ((64, "6.4"), (11, "7.1"))),
        *(night(back, key=key, leak=leak) for back in range(NIGHTS)),
    )
