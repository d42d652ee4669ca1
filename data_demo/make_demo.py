"""Write the invented demo record: `python data_demo/make_demo.py` (seeded, same files every time).

Every person, place, number and date in these tables is invented.
"""

import json
import math
import sys
import uuid
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from people import PEOPLE, Invented
from stories import STORIES, Change, Night, Sample, Story

from hvmon.files.tables import write_folder
from hvmon.physiology.acid_base import bicarbonate_mmol_l
from hvmon.physiology.oxygen import po2_from_so2_kpa
from hvmon.records.base import PersonRecord, Pressure
from hvmon.records.course import ClinicalEvent, LungFunction, NightlyUse, Visit, Weight
from hvmon.records.gas import BloodGas, SamplingState, SpotTranscutaneous
from hvmon.records.kinds import KIND_OF_MODEL
from hvmon.records.meeting import Action, MeetingDecision
from hvmon.records.person import Identity, Person
from hvmon.records.settings import Program, SettingsChange, SettingsReading
from hvmon.records.study import NightSummary
from hvmon.records.symptoms import Instrument, InstrumentTotal, SymptomReport
from hvmon.units import MMHG_PER_KPA, PressureUnit
from hvmon.vocabulary import (
    NOT_RECORDED,
    ActionState,
    BaseExcessKind,
    BicarbonateKind,
    ChangeUrgency,
    Circuit,
    DiagnosisGroup,
    DriftCorrection,
    FilterKind,
    FlapTest,
    HeightMethod,
    Informant,
    Interface,
    LeakKind,
    Position,
    Rest,
    Role,
    SampleKind,
    SampleReason,
    SampleSite,
    SensorSite,
    TemperatureCorrection,
    TestKind,
    Trigger,
    VentilatorMode,
    VentilatorState,
    VisitPlace,
    Wakefulness,
)

SEED = 20260615
TODAY = date(2026, 6, 15)
"""The demo's last day; the dashboard takes it as today."""
ZONE = "Europe/London"
STAFF = ("N. Aldous", "R. Merrow", "T. Quist")
SPREAD = {SampleKind.ARTERIAL: 0.022, SampleKind.CAPILLARY_EARLOBE: 0.03, SampleKind.VENOUS: 0.07}
OFFSET_KPA = {SampleKind.ARTERIAL: 0.0, SampleKind.CAPILLARY_EARLOBE: 0.1, SampleKind.VENOUS: 0.6}
SITE = {
    SampleKind.ARTERIAL: SampleSite.RADIAL,
    SampleKind.CAPILLARY_EARLOBE: SampleSite.EARLOBE,
    SampleKind.VENOUS: SampleSite.ARM_VEIN,
}
SLIP_KPA = 25
"""[kPa] above this an invented value can only be the planned slip in units."""
USE_FROM = -420
"""First day with nightly use in the tables; older downloads are left out to keep the files small."""


def day_date(day: int) -> date:
    """Give the date of a demo day."""
    return TODAY + timedelta(days=day)


def moment(day: int, hour: int, minute: int) -> datetime:
    """Give a moment of a demo day, UTC."""
    return datetime.combine(day_date(day), time(hour, minute), UTC)


def along(knots: tuple[tuple[int, float], ...], day: float) -> float:
    """Interpolate between knots."""
    days, values = zip(*knots, strict=True)
    return float(np.interp(day, days, values))


def typed(value: float, decimals: int) -> Decimal:
    """Give a number with the decimals of a slip."""
    return Decimal(f"{value:.{decimals}f}")


def pressure(kpa: float, *, mmhg: bool) -> Pressure:
    """Print a pressure as this person's laboratory does: 0.1 kPa or whole mmHg."""
    if mmhg:
        return Pressure(value=typed(kpa * MMHG_PER_KPA, 0), unit=PressureUnit.MMHG)
    return Pressure(value=typed(kpa, 1), unit=PressureUnit.KPA)


class Maker:
    """Makes the records of one invented person from its story."""

    def __init__(self, number: int, who: Invented) -> None:
        self.number, self.who = number, who
        options = {key: value for key, value in who.options.items() if key == "usual"}
        self.story: Story = STORIES[who.story](**options)
        self.rng = np.random.default_rng((SEED, number))
        self.key = uuid.UUID(bytes=np.random.default_rng((SEED, number, 1)).bytes(16), version=4).hex
        self.first_day = min([sample.day for sample in self.story.samples] + [-60]) - 10

    def records(self) -> Iterator[PersonRecord]:
        """Give every record of this person."""
        yield self.identity()
        yield self.person()
        for index, sample in enumerate(self.story.samples):
            yield from self.occasion(index, sample)
        yield from self.changes()
        yield from self.use()
        yield from self.around()
        yield from self.nights()
        yield from self.spot_readings()

    def identity(self) -> Identity:
        number = self.number + 1
        return Identity(
            person_key=self.key,
            local_id=f"HV{number:04d}",
            second_identifier=f"INV-{7000 + 37 * number}",
            name=self.who.name,
            date_of_birth=date.fromisoformat(self.who.born),
            place=self.who.place,
        )

    def person(self) -> Person:
        who, started = self.who, [change.day for change in self.story.changes]
        retains = who.group in {DiagnosisGroup.COPD, DiagnosisGroup.OBESITY_HYPOVENTILATION}
        return Person(
            person_key=self.key,
            sex=who.sex,
            diagnosis_group=who.group,
            diagnosis=who.diagnosis,
            dependence=who.dependence,
            height_cm=Decimal(who.height_cm),
            height_method=HeightMethod.ULNA
            if who.group == DiagnosisGroup.CHEST_WALL
            else HeightMethod.STANDING,
            has_lung_disease=who.group == DiagnosisGroup.COPD,
            ventilation_started=day_date(started[0]) if started else NOT_RECORDED,
            spo2_target_low_pct=88 if retains else None,
            spo2_target_high_pct=92 if retains else None,
            home_oxygen=who.oxygen_l_min > 0,
            tracheostomy=who.group == DiagnosisGroup.TRACHEOSTOMY,
            goals_of_care=self.story.goals,
            zone=ZONE,
            invented=True,
        )

    def usual_kpa(self, day: float) -> float:
        return along(self.story.level, day)

    def oxygen(self, sample: Sample) -> float:
        return self.who.oxygen_l_min if sample.oxygen is None else sample.oxygen

    def true_kpa(self, sample: Sample) -> float:
        return self.usual_kpa(sample.day) + sample.add_kpa - (0.5 if sample.on else 0.0)

    def bicarbonate(self, sample: Sample) -> float:
        """Bicarbonate follows the usual level a month late; an acute rise it has not followed."""
        lag = -25 if sample.acute else 0
        slow = np.mean([self.usual_kpa(sample.day + lag - back) for back in (0, 20, 40)])
        extra = self.story.options.get("extra_hco3", 0.0)
        extra *= sample.day >= self.story.options.get("extra_from", 0)
        acute = 0.75 * (self.true_kpa(sample) - slow) if sample.acute else 0.0
        return 24.3 + 3.7 * (slow - 5.33) + acute + extra + self.rng.normal(0, 0.5)

    def occasion(self, index: int, sample: Sample) -> Iterator[PersonRecord]:
        hour, minute = int(self.rng.integers(9, 15)), int(self.rng.integers(0, 60))
        drawn = moment(sample.day, hour, minute)
        visit_id = f"{self.key[:8]}-{index + 1:02d}"
        yield Visit(
            person_key=self.key,
            visit_id=visit_id,
            started_at=drawn - timedelta(minutes=40),
            zone=ZONE,
            place=VisitPlace.CLINIC if sample.kind == SampleKind.ARTERIAL else VisitPlace.HOME,
            recorded_by=self.staff(),
            role=Role.PHYSICIAN if sample.kind == SampleKind.ARTERIAL else Role.NURSE,
            reason=self.visit_reason(sample),
        )
        yield self.gas(sample, drawn, visit_id)
        yield self.symptoms(sample, drawn + timedelta(minutes=10), visit_id)
        yield from self.settings_reading(sample, drawn + timedelta(minutes=20), visit_id)

    def visit_reason(self, sample: Sample) -> str:
        words = {SampleReason.ROUTINE: "planned review", SampleReason.SYMPTOM_LED: "feels worse"}
        return words.get(sample.reason, "recheck after a change")

    def staff(self) -> str:
        return STAFF[int(self.rng.integers(0, len(STAFF)))]

    def state(self, sample: Sample) -> SamplingState:
        flow = self.oxygen(sample)
        known = self.rng.random() > 0.06
        return SamplingState(
            ventilator=VentilatorState.ON if sample.on else VentilatorState.OFF,
            minutes_in_state=int(self.rng.integers(40, 240)) if known else NOT_RECORDED,
            oxygen_l_min=typed(flow, 1) if flow else Decimal(0),
            minutes_since_oxygen_change=int(self.rng.integers(45, 600)) if flow else NOT_RECORDED,
            position=Position.SITTING if known else Position.NOT_RECORDED,
            rest=Rest.AT_REST,
            wakefulness=Wakefulness.AWAKE,
            reason=sample.reason,
        )

    def gas(self, sample: Sample, drawn: datetime, visit_id: str) -> BloodGas:
        level = (self.true_kpa(sample) + OFFSET_KPA[sample.kind]) * math.exp(
            self.rng.normal(0, SPREAD[sample.kind])
        )
        printed = pressure(level, mmhg=self.who.mmhg)
        hco3 = self.bicarbonate(sample)
        ph = typed(6.1 + math.log10(hco3 / (0.2303 * printed.kpa)), 2)
        printed_hco3 = typed(bicarbonate_mmol_l(float(ph), printed.kpa), 1)
        spo2 = self.spo2(sample, level)
        return BloodGas(
            person_key=self.key,
            visit_id=visit_id,
            drawn_at=drawn,
            zone=ZONE,
            analysed_at=drawn + timedelta(minutes=int(self.rng.integers(3, 13))),
            kind=sample.kind,
            site=SITE[sample.kind],
            state=self.state(sample),
            ph=ph,
            pco2=printed
            if not sample.slip
            else Pressure(value=typed(printed.mmhg, 0), unit=PressureUnit.KPA),
            po2=self.po2(sample, spo2),
            hco3_mmol_l=printed_hco3,
            hco3_kind=BicarbonateKind.ACTUAL,
            be_mmol_l=typed(float(printed_hco3) - 24.8 + 16.2 * (float(ph) - 7.4), 1),
            be_kind=BaseExcessKind.EXTRACELLULAR,
            spo2_pct=typed(spo2, 0),
            analyser="portable analyser 2" if sample.kind != SampleKind.ARTERIAL else "ward analyser",
            temperature_correction=TemperatureCorrection.NONE_37C,
            failed_attempts=int(self.rng.random() < 0.15),
            recorded_by=self.staff(),
        )

    def spo2(self, sample: Sample, level_kpa: float) -> float:
        spo2 = 95.0 - 2.2 * max(level_kpa - 5.5, 0) + 2.5 * self.oxygen(sample) + (1.5 if sample.on else 0)
        return min(max(spo2 + self.rng.normal(0, 0.8), 82.0), 98.0)

    def po2(self, sample: Sample, spo2: float) -> Pressure | None:
        if sample.kind == SampleKind.VENOUS:
            return pressure(5.0 + self.rng.normal(0, 0.4), mmhg=self.who.mmhg)
        share = 0.93 if sample.kind == SampleKind.CAPILLARY_EARLOBE else 1.0
        arterial = float(po2_from_so2_kpa(min(spo2, 97.5) / 100))
        return pressure(arterial * share, mmhg=self.who.mmhg)

    def rating(self, level_kpa: float, per_kpa: float) -> int:
        value = (
            1.0 + per_kpa * max(level_kpa - 5.8, 0) + self.story.symptom_shift * 0.8 + self.rng.normal(0, 0.6)
        )
        return int(min(max(round(value), 0), 10))

    def symptoms(self, sample: Sample, asked: datetime, visit_id: str) -> SymptomReport:
        level = self.usual_kpa(sample.day) + sample.add_kpa
        flap_here = self.story.flap_day == sample.day
        low = max(5.0 - level, 0)
        return SymptomReport(
            person_key=self.key,
            visit_id=visit_id,
            asked_at=asked,
            zone=ZONE,
            morning_headache=self.rating(level, 2.2),
            daytime_sleepiness=self.rating(level, 2.0),
            sleep_quality=self.rating(level, 1.5),
            breathlessness=self.rating(level, 1.2),
            poor_concentration=self.rating(level, 1.4),
            pins_and_needles=int(min(round(6 * low + max(self.rng.normal(0, 0.7), 0)), 10)),
            answered_by=Informant.CARER if self.who.group == DiagnosisGroup.DUCHENNE else Informant.SELF,
            flap=FlapTest.PRESENT
            if flap_here
            else FlapTest.ABSENT
            if self.rng.random() < 0.6
            else FlapTest.NOT_TESTED,
            flaps_per_30_s=4 if flap_here else None,
            new_drowsiness_or_confusion=flap_here,
            instruments=(
                InstrumentTotal(
                    instrument=Instrument.S3_NIV,
                    version="2018",
                    language="en",
                    total=typed(
                        min(max(8.0 - 1.3 * max(level - 5.8, 0) + self.rng.normal(0, 0.5), 0), 10), 1
                    ),
                    completed_by=Informant.SELF,
                ),
            ),
            recorded_by=self.staff(),
        )

    def program(self, change: Change) -> Program:
        tracheostomy = self.who.group == DiagnosisGroup.TRACHEOSTOMY
        return Program(
            mode=VentilatorMode.PRESSURE_CONTROL if tracheostomy else VentilatorMode.SPONTANEOUS_TIMED,
            ipap_cmh2o=typed(change.ipap, 0),
            epap_cmh2o=typed(change.epap, 0),
            backup_rate_min=typed(change.rate, 0),
            inspiratory_time_s=typed(1.2 if change.rate < 18 else 1.1, 1),
            trigger=Trigger.SENSITIVE,
            oxygen_l_min=typed(self.who.oxygen_l_min, 1),
            interface=Interface.TRACHEOSTOMY_CUFFED if tracheostomy else Interface.ORONASAL_MASK,
            circuit=Circuit.DOUBLE_LIMB if tracheostomy else Circuit.SINGLE_LIMB_MASK_PORT,
            filter_kind=FilterKind.HEATED_HUMIDIFIER if tracheostomy else FilterKind.BACTERIAL,
        )

    def changes(self) -> Iterator[PersonRecord]:
        for change in self.story.changes:
            at = moment(change.day, 16, 10)
            owed_by = day_date(change.day + (7 if change.urgent else 42))
            yield SettingsChange(
                person_key=self.key,
                changed_at=at,
                zone=ZONE,
                changed_by="Dr E. Harrow",
                role=Role.PHYSICIAN,
                why=change.why,
                kind=change.kind,
                urgency=ChangeUrgency.URGENT if change.urgent else ChangeUrgency.ELECTIVE,
                owed_test=change.owed,
                owed_by=owed_by,
                program_1=self.program(change),
            )
            yield from self.meeting(change, owed_by)

    def meeting(self, change: Change, owed_by: date) -> Iterator[PersonRecord]:
        met = change.day - 2
        yield MeetingDecision(
            person_key=self.key,
            met_at=moment(met, 13, 0),
            zone=ZONE,
            question="Is CO2 where we want it?",
            decision=f"Settings to be changed: {change.why}",
            decided_by="team meeting",
        )
        closed = any(change.day + 14 <= sample.day <= change.day + 120 for sample in self.story.samples)
        yield Action(
            person_key=self.key,
            agreed_on=day_date(met),
            what=f"Recheck after the change ({change.owed.value})",
            owner=STAFF[0],
            due=owed_by,
            asks_for=change.owed if change.owed != TestKind.NONE else TestKind.DAY_GAS,
            state=ActionState.DONE if closed else ActionState.OPEN,
        )

    def settings_reading(self, sample: Sample, at: datetime, visit_id: str) -> Iterator[PersonRecord]:
        ordered = [change for change in self.story.changes if change.day <= sample.day]
        if not ordered or sample.kind == SampleKind.ARTERIAL:
            return
        read = dict(self.story.readings_of_settings).get(sample.day)
        program = self.program(ordered[-1])
        if read is not None:
            program = program.model_copy(update={"ipap_cmh2o": typed(read, 0)})
        yield SettingsReading(
            person_key=self.key,
            read_at=at,
            zone=ZONE,
            visit_id=visit_id,
            program_1=program,
            backup_device_tested=NOT_RECORDED,
            recorded_by=self.staff(),
        )

    def use(self) -> Iterator[NightlyUse]:
        if not self.story.use_h or not self.story.changes:
            return
        from_day = max(USE_FROM, self.story.changes[0].day)
        volume_ml = 8.2 * self.ideal_kg()
        for day in range(from_day, 0):
            hours = along(self.story.use_h, day) + self.rng.normal(0, 0.9)
            if self.rng.random() < 0.03 or hours <= 0.1:
                continue
            yield self.night_of_use(day, min(hours, 24.0), volume_ml)

    def night_of_use(self, day: int, hours: float, volume_ml: float) -> NightlyUse:
        leak = max(along(self.story.leak, day) + self.rng.normal(0, 3), 0)
        volume = volume_ml * along(self.story.volume, day) * math.exp(self.rng.normal(0, 0.05))
        rate = 15.5 + self.rng.normal(0, 0.6)
        return NightlyUse(
            person_key=self.key,
            night_of=day_date(day),
            usage_h=typed(hours, 1),
            leak_l_min=typed(leak, 0),
            leak_kind=LeakKind.UNINTENTIONAL_MEDIAN,
            tidal_volume_ml=typed(volume, 0),
            rate_min=typed(rate, 1),
            minute_ventilation_l_min=typed(volume * rate / 1000, 1),
            triggered_pct=typed(min(max(62 - leak * 0.5 + self.rng.normal(0, 6), 0), 100), 0),
            residual_events_per_h=typed(max(2.5 + leak * 0.12 + self.rng.normal(0, 1.2), 0), 1),
        )

    def ideal_kg(self) -> float:
        base = 50.0 if self.who.sex.value == "male" else 45.5
        return max(base + 0.91 * (self.who.height_cm - 152.4), 30.0)

    def around(self) -> Iterator[PersonRecord]:
        for day, share in self.story.weight:
            if day >= self.first_day:
                kg = self.who.weight_kg * share + self.rng.normal(0, 0.4)
                yield Weight(
                    person_key=self.key, weighed_on=day_date(day), weight_kg=typed(kg, 1), estimated=False
                )
        for day, pct in self.story.fvc_pct or self.half_yearly():
            yield LungFunction(person_key=self.key, tested_on=day_date(day), fvc_pct=typed(pct, 0))
        for event in self.story.events:
            yield ClinicalEvent(
                person_key=self.key,
                happened_on=day_date(event.day),
                until=day_date(event.day + event.days) if event.days else None,
                kind=event.kind,
                medicine_class=event.medicine,
                oxygen_l_min=typed(event.oxygen, 1) if event.oxygen is not None else None,
                detail=event.detail,
                recorded_by=STAFF[1],
            )

    def controls(self) -> Iterator[Night]:
        """Give the control night after each change that asks for one, unless the story lost it."""
        for change in self.story.changes:
            asked = change.owed in {TestKind.NIGHT_STUDY, TestKind.DAY_GAS_AND_NIGHT}
            done = any(change.day < night.day <= change.day + 120 for night in self.story.nights)
            lost = self.who.story in {"lost_recheck", "sparse"} and change != self.story.changes[0]
            if asked and not done and not lost and change.day + 40 < 0:
                level = self.usual_kpa(change.day + 40)
                yield Night(change.day + 40, tc_mean_kpa=level - 0.3, tc_peak_kpa=level + 0.2)
            titrated = self.who.group == DiagnosisGroup.OBESITY_HYPOVENTILATION
            if titrated and change == self.story.changes[0] and change.day + 75 < 0 and not lost:
                level = self.usual_kpa(change.day + 75)
                yield Night(change.day + 75, tc_mean_kpa=level - 0.4, tc_peak_kpa=level + 0.1)

    def half_yearly(self) -> tuple[tuple[int, float], ...]:
        """Give half-yearly lung function of a neuromuscular person whose story says nothing of it."""
        groups = {
            DiagnosisGroup.OTHER_NEUROMUSCULAR,
            DiagnosisGroup.DUCHENNE,
            DiagnosisGroup.MOTOR_NEURONE_DISEASE,
        }
        if self.who.group not in groups:
            return ()
        step = 90 if self.who.group == DiagnosisGroup.MOTOR_NEURONE_DISEASE else 170
        return tuple((day, 48 + day / 365) for day in range(-1000, -20, step))

    def nights(self) -> Iterator[NightSummary]:
        for night in (*self.controls(), *self.story.nights):
            tc_mean, tc_peak = night.tc_mean_kpa, night.tc_peak_kpa
            started = moment(night.day, 22, 15)
            below = round(night.below_90_min * 60)
            above_55 = 0 if not tc_peak or tc_peak < 7.4 else round((tc_peak - 7.33) * 6000)
            yield NightSummary(
                person_key=self.key,
                night_of=day_date(night.day),
                started_at=started,
                ended_at=started + timedelta(hours=8, minutes=20),
                zone=ZONE,
                ventilator=VentilatorState.ON if night.on else VentilatorState.OFF,
                oxygen_l_min=typed(self.who.oxygen_l_min, 1),
                reason=SampleReason.ROUTINE,
                valid_s=28200,
                averaging_s=3,
                spo2_mean_pct=typed(night.mean_spo2, 1),
                spo2_nadir_pct=typed(night.mean_spo2 - 7 - below / 3600, 0),
                below_90_s=below,
                at_or_below_88_s=round(below * 0.55),
                longest_at_or_below_88_s=round(below * 0.2),
                tcco2_awake_supine=pressure(tc_mean - 0.5, mmhg=self.who.mmhg) if tc_mean else None,
                tcco2_mean=pressure(tc_mean, mmhg=self.who.mmhg) if tc_mean else None,
                tcco2_median=pressure(tc_mean - 0.05, mmhg=self.who.mmhg) if tc_mean else None,
                tcco2_peak=pressure(tc_peak, mmhg=self.who.mmhg) if tc_peak else None,
                tcco2_valid_s=27000 if tc_mean else None,
                tcco2_above_50_mmhg_s=min(27000, max(0, round(((tc_mean or 0) - 6.2) * 16000))),
                tcco2_above_55_mmhg_s=above_55,
                tcco2_longest_above_55_mmhg_s=round(above_55 * 0.6),
                sensor_site=SensorSite.EARLOBE,
                drift_correction=DriftCorrection.NONE,
                recorded_by=STAFF[2],
            )

    def spot_readings(self) -> Iterator[SpotTranscutaneous]:
        if self.number % 4:
            return
        for sample in self.story.samples[1::2]:
            level = self.usual_kpa(sample.day) * math.exp(self.rng.normal(0, 0.05))
            yield SpotTranscutaneous(
                person_key=self.key,
                read_at=moment(sample.day + 21, 11, 5),
                zone=ZONE,
                site=SensorSite.EARLOBE,
                state=self.state(sample),
                ptcco2=pressure(level, mmhg=self.who.mmhg),
                minutes_since_applied=20,
                drift_correction=DriftCorrection.NONE,
                recorded_by=self.staff(),
            )


def records() -> tuple[PersonRecord, ...]:
    """Give every invented record, in order of person."""
    return tuple(record for number, who in enumerate(PEOPLE) for record in Maker(number, who).records())


def corrections(made: tuple[PersonRecord, ...]) -> list[dict[str, str]]:
    """Give the corrections the demo makes after loading: the slip in units, found the next day."""
    return [
        {
            "person_key": record.person_key,
            "drawn_at": record.drawn_at.isoformat(),
            "pco2_unit": PressureUnit.MMHG.value,
            "reason": "the slip prints mmHg; kPa had been chosen",
            "by": record.recorded_by,
        }
        for record in made
        if isinstance(record, BloodGas)
        and record.pco2.unit == PressureUnit.KPA
        and record.pco2.value > SLIP_KPA
    ]


def recordings() -> list[dict[str, str]]:
    """Give whose nights have a generated recording, and which."""
    return [
        {"person_key": maker.key, "night_of": day_date(night.day).isoformat(), "story": night.signal}
        for maker in (Maker(number, who) for number, who in enumerate(PEOPLE))
        for night in maker.story.nights
        if night.signal
    ]


def write(folder: Path) -> None:
    """Write the tables into a folder, corrections and recordings beside it."""
    made = records()
    tables: dict[str, list[PersonRecord]] = {}
    for record in made:
        tables.setdefault(KIND_OF_MODEL[type(record)].table, []).append(record)
    write_folder(folder, tables)
    for name, rows in (("corrections", corrections(made)), ("recordings", recordings())):
        text = json.dumps(rows, indent=1) + "\n"
        (folder.parent / f"{name}.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write(Path(__file__).parent / "tables")
