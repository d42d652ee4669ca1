"""Builders of invented ventilated people for the tests of ventilation, what-if and acid-base."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from hvmon.records.base import Pressure
from hvmon.records.course import NightlyUse, Weight
from hvmon.records.dossier import Dossier, dated
from hvmon.records.gas import BloodGas, SamplingState
from hvmon.records.held import Held
from hvmon.records.kinds import KIND_OF_MODEL
from hvmon.records.person import Identity, Person
from hvmon.records.settings import Program, SettingsChange
from hvmon.units import PressureUnit
from hvmon.vocabulary import (
    NOT_RECORDED,
    BaseExcessKind,
    BicarbonateKind,
    ChangeKind,
    ChangeUrgency,
    Circuit,
    Dependence,
    DiagnosisGroup,
    FilterKind,
    HeightMethod,
    Interface,
    LeakKind,
    Position,
    RecordStatus,
    Rest,
    Role,
    SampleKind,
    SampleReason,
    SampleSite,
    Sex,
    TemperatureCorrection,
    TestKind,
    Trigger,
    VentilatorMode,
    VentilatorState,
    Wakefulness,
)

KEY = "invented-1"
TODAY = date(2026, 3, 10)
HOME = {"person_key": KEY, "zone": "Europe/London"}
SITE = {SampleKind.ARTERIAL: SampleSite.RADIAL, SampleKind.CAPILLARY_EARLOBE: SampleSite.EARLOBE,
        SampleKind.VENOUS: SampleSite.ARM_VEIN}  # fmt: skip


def at(day, hour=10):
    return datetime(day.year, day.month, day.day, hour, tzinfo=UTC)


def person(**changes):
    usual = {
        "sex": Sex.MALE,
        "diagnosis_group": DiagnosisGroup.OTHER_NEUROMUSCULAR,
        "dependence": Dependence.NIGHT_ONLY,
        "height_cm": Decimal(175),
        "height_method": HeightMethod.STANDING,
        "has_lung_disease": False,
        "ventilation_started": date(2025, 1, 1),
        "home_oxygen": False,
        "tracheostomy": False,
        "invented": True,
    }
    return Person(**HOME, **(usual | changes))


def gas(kpa, day, ph="7.37", on=True, minutes=120, **changes):
    kind = changes.pop("kind", SampleKind.ARTERIAL)
    state = SamplingState(
        ventilator=VentilatorState.ON if on else VentilatorState.OFF,
        minutes_in_state=minutes,
        oxygen_l_min=Decimal(0),
        minutes_since_oxygen_change=NOT_RECORDED,
        position=Position.SUPINE,
        rest=Rest.AT_REST,
        wakefulness=Wakefulness.AWAKE,
        reason=SampleReason.ROUTINE,
    )
    usual = {
        "drawn_at": at(day),
        "kind": kind,
        "site": SITE[kind],
        "state": state,
        "ph": Decimal(ph),
        "pco2": Pressure(value=Decimal(str(kpa)), unit=PressureUnit.KPA),
        "hco3_kind": BicarbonateKind.NOT_RECORDED,
        "be_kind": BaseExcessKind.NOT_RECORDED,
        "temperature_correction": TemperatureCorrection.NONE_37C,
        "failed_attempts": 0,
        "recorded_by": "Invented Nurse",
    }
    return BloodGas(**HOME, **(usual | changes))


def nights(volume="450", rate="16", leak="8", days=28, last=TODAY - timedelta(days=1), **changes):
    kind = changes.pop("leak_kind", LeakKind.UNINTENTIONAL_MEDIAN)
    return [
        NightlyUse(
            person_key=KEY,
            night_of=last - timedelta(days=back),
            usage_h=Decimal(changes.get("hours", "8")),
            leak_kind=kind,
            leak_l_min=None if leak is None else Decimal(leak),
            tidal_volume_ml=Decimal(volume) + (back % 5) * 4,
            rate_min=Decimal(rate),
            triggered_pct=Decimal(changes.get("triggered", "60")),
        )
        for back in reversed(range(days))
    ]


def program(**changes):
    usual = {
        "mode": VentilatorMode.SPONTANEOUS_TIMED,
        "ipap_cmh2o": Decimal(18),
        "epap_cmh2o": Decimal(6),
        "backup_rate_min": Decimal(14),
        "inspiratory_time_s": Decimal("1.2"),
        "trigger": Trigger.MEDIUM,
        "oxygen_l_min": Decimal(0),
        "interface": Interface.NASAL_MASK,
        "circuit": Circuit.SINGLE_LIMB_PORT,
        "filter_kind": FilterKind.NONE,
    }
    return Program(**(usual | changes))


def change(day, **changes):
    usual = {
        "changed_at": at(day, 12),
        "changed_by": "Invented Physician",
        "role": Role.PHYSICIAN,
        "why": "review",
        "kind": ChangeKind.ESCALATION,
        "urgency": ChangeUrgency.ELECTIVE,
        "owed_test": TestKind.DAY_GAS,
        "program_1": program(),
    }
    return SettingsChange(**HOME, **(usual | changes))


def weight(day, kg):
    return Weight(person_key=KEY, weighed_on=day, weight_kg=Decimal(kg), estimated=False)


def dossier(*records, born=date(1960, 1, 1), **who):
    parts = {}
    for one in (each for record in records for each in (record if isinstance(record, list) else [record])):
        parts.setdefault(KIND_OF_MODEL[type(one)].table, []).append(one)
    kept = {}
    for table, items in parts.items():
        items.sort(key=dated)
        kept[table] = tuple(
            Held(f"{table}-{i}", 1, RecordStatus.FINAL, i, dated(item), "Invented", "", item)
            for i, item in enumerate(items)
        )
    identity = Identity(person_key=KEY, local_id="INV-1", second_identifier="INV-ONE", name="Invented Person",
                        date_of_birth=born)  # fmt: skip
    return Dossier(KEY, person(**who), identity, **kept)


def usual_person(*more, **who):
    """A person with settings, four weeks of nights and one gas on the ventilator."""
    return dossier(
        change(TODAY - timedelta(days=60)), nights(), gas(7.0, TODAY - timedelta(days=2)), *more, **who
    )
