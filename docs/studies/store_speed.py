"""Speed of the store with 500 and 5,000 invented people: 20 readings and 200 nights of use each.

Run from the project's folder:

    python docs/studies/store_speed.py                  # both sizes, the table of docs/store.md
    python docs/studies/store_speed.py --people 500     # one size
    python docs/studies/store_speed.py --nights 0       # without the nights: what depends on people alone

Each figure stands beside a named alternative measured in the same run, so that ratios can be trusted
where the machine cannot.
"""

import argparse
import platform
import random
import sqlite3
import statistics
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from sqlalchemy import select

from hvmon import vocabulary as words
from hvmon.records.base import PersonRecord, Pressure
from hvmon.records.course import NightlyUse, Visit, Weight
from hvmon.records.flat import flatten, unflatten
from hvmon.records.gas import BloodGas, SamplingState
from hvmon.records.kinds import KIND_OF_TABLE
from hvmon.records.person import Identity, Person
from hvmon.records.symptoms import SymptomReport
from hvmon.store.plan import plan_of
from hvmon.store.side import Summary
from hvmon.store.store import Store
from hvmon.store.tables import VERSIONS
from hvmon.units import PressureUnit

NOW = datetime(2026, 3, 1, 9, tzinfo=UTC)
START = datetime(2023, 3, 1, 9, tzinfo=UTC)
ZONE = "Europe/London"
GASES, SYMPTOMS, WEIGHTS, NIGHTS = 12, 5, 3, 200


def person(key: str, number: int) -> list[PersonRecord]:
    """An invented person and identity."""
    return [
        Person(
            person_key=key, sex=words.Sex.FEMALE, diagnosis_group=words.DiagnosisGroup.COPD,
            dependence=words.Dependence.NIGHT_ONLY, height_cm=Decimal(165),
            height_method=words.HeightMethod.STANDING, has_lung_disease=True,
            ventilation_started=date(2022, 1, 1), home_oxygen=False, tracheostomy=False, zone=ZONE,
            invented=True,
        ),
        Identity(
            person_key=key, local_id=f"H{number:06d}", second_identifier=f"S{number:06d}",
            name=f"Invented {number:05d}", date_of_birth=date(1950, 1, 1),
        ),
    ]  # fmt: skip


STATE = SamplingState(
    ventilator=words.VentilatorState.OFF, minutes_in_state=120, oxygen_l_min=Decimal(0),
    minutes_since_oxygen_change=words.NOT_RECORDED, position=words.Position.SITTING,
    rest=words.Rest.AT_REST, wakefulness=words.Wakefulness.AWAKE, reason=words.SampleReason.ROUTINE,
)  # fmt: skip


def gas(key: str, at: datetime, draw: random.Random) -> BloodGas:
    """An invented blood gas."""
    return BloodGas(
        person_key=key, drawn_at=at, zone=ZONE, kind=words.SampleKind.CAPILLARY_EARLOBE,
        site=words.SampleSite.EARLOBE, state=STATE, ph=Decimal(draw.randint(730, 746)).scaleb(-2),
        pco2=Pressure(value=Decimal(draw.randint(52, 85)).scaleb(-1), unit=PressureUnit.KPA),
        po2=Pressure(value=Decimal(draw.randint(70, 110)).scaleb(-1), unit=PressureUnit.KPA),
        hco3_mmol_l=Decimal(draw.randint(240, 340)).scaleb(-1), hco3_kind=words.BicarbonateKind.ACTUAL,
        be_kind=words.BaseExcessKind.NOT_RECORDED, spo2_pct=Decimal(draw.randint(88, 97)),
        temperature_correction=words.TemperatureCorrection.NONE_37C, failed_attempts=0, recorded_by="N",
    )  # fmt: skip


def symptoms(key: str, at: datetime, draw: random.Random) -> SymptomReport:
    """An invented symptom report."""
    rated = {rating.name.lower(): draw.randint(0, 10) for rating in words.Rating}
    return SymptomReport(
        person_key=key, asked_at=at, zone=ZONE, **rated, answered_by=words.Informant.SELF,
        flap=words.FlapTest.NOT_TESTED, new_drowsiness_or_confusion=False, recorded_by="N",
    )  # fmt: skip


def night(key: str, day: date, draw: random.Random) -> NightlyUse:
    """An invented night of use."""
    return NightlyUse(
        person_key=key, night_of=day, usage_h=Decimal(draw.randint(300, 950)).scaleb(-2),
        leak_l_min=Decimal(draw.randint(2, 40)), leak_kind=words.LeakKind.UNINTENTIONAL_MEDIAN,
        tidal_volume_ml=Decimal(draw.randint(350, 650)), rate_min=Decimal(draw.randint(12, 22)),
        minute_ventilation_l_min=Decimal(draw.randint(50, 110)).scaleb(-1),
        triggered_pct=Decimal(draw.randint(5, 99)), residual_events_per_h=Decimal(draw.randint(0, 90)).scaleb(-1),
    )  # fmt: skip


def one_person(key: str, number: int, draw: random.Random, nights: int = NIGHTS) -> Iterator[PersonRecord]:
    """Everything of one invented person."""
    yield from person(key, number)
    for count in range(GASES):
        yield gas(key, START + timedelta(days=80 * count, minutes=number % 600), draw)
    for count in range(SYMPTOMS):
        yield symptoms(key, START + timedelta(days=200 * count, minutes=number % 600), draw)
    for count in range(WEIGHTS):
        kilograms = Decimal(draw.randint(500, 1200)).scaleb(-1)
        day = date(2023, 3, 1) + timedelta(days=300 * count)
        yield Weight(person_key=key, weighed_on=day, weight_kg=kilograms, estimated=False)
    for count in range(nights):
        yield night(key, date(2025, 6, 1) + timedelta(days=count), draw)


def visit(key: str, at: datetime, draw: random.Random) -> list[PersonRecord]:
    """A home visit of five records."""
    minute = timedelta(minutes=1)
    return [
        Visit(
            person_key=key, started_at=at, zone=ZONE, place=words.VisitPlace.HOME, recorded_by="N",
            role=words.Role.NURSE, reason="routine",
        ),
        gas(key, at + minute, draw),
        gas(key, at + 60 * minute, draw),
        symptoms(key, at + minute, draw),
        Weight(person_key=key, weighed_on=at.date(), weight_kg=Decimal("71.5"), estimated=False),
    ]  # fmt: skip


def timed(task: Callable[[], Any]) -> tuple[float, float]:
    """Seconds on the clock and of processor of one call."""
    begun, worked = time.perf_counter(), time.process_time()
    task()
    return time.perf_counter() - begun, time.process_time() - worked


def seconds(task: Callable[[], Any]) -> str:
    """Processor and clock of one long call [s]."""
    clock, cpu = timed(task)
    return f"{cpu:.2f} cpu, {clock:.2f} clock"


def median_ms(tasks: list[Callable[[], Any]]) -> str:
    """Medians of some calls [ms]."""
    both = [timed(task) for task in tasks]
    clock, cpu = (1000 * statistics.median(each[part] for each in both) for part in (0, 1))
    return f"{cpu:.1f} cpu, {clock:.1f} clock"


def by_unflatten(store: Store, key: str) -> int:
    """The alternative for a person's page: every row rebuilt column by column by `unflatten`."""
    count = 0
    with store._database.read() as connection:
        for table, version in VERSIONS.items():
            plan = plan_of(KIND_OF_TABLE[table])
            wanted = select(*(version.c[name] for name in plan.names)).where(version.c.person_key == key)
            for row in connection.execute(wanted):
                unflatten(plan.model, flatten(plan.record(row)))
                count += 1
    return count


def by_scan(store: Store, key: str) -> int:
    """The alternative for a person's nights: read the whole table and filter."""
    return len(store.frame("nightly_use").filter(person_key=key))


def report(name: str, figure: str, other: str = "") -> None:
    """One line of the table."""
    print(f"| {name} | {figure} | {other} |", flush=True)


def measure_reading(store: Store, keys: list[str], draw: random.Random) -> None:
    """Person switch, search, summaries."""
    some = draw.choices(keys, k=100)
    report(
        "person switch: `dossier`, ms",
        median_ms([lambda key=key: store.dossier(key) for key in some]),
        "rows also through `unflatten`: "
        + median_ms([lambda key=key: by_unflatten(store, key) for key in some[:20]]),
    )
    report(
        "a person's nights: `frame(table, person)`, ms",
        median_ms([lambda key=key: store.frame("nightly_use", key) for key in some]),
        "whole table, then filter: " + median_ms([lambda key=key: by_scan(store, key) for key in some[:2]]),
    )
    report(
        "`people(text)`, first after a change / later, ms",
        median_ms([lambda: store.people("invented 00012")]),
        median_ms([lambda: store.people("00012")] * 20),
    )
    report("`revision`, ms", median_ms([store.revision] * 200))


def measure_summaries(store: Store, keys: list[str]) -> None:
    """Caseload from precomputed summaries."""
    day, seq = date(2026, 3, 1), store.revision()
    payload = {"rank": [1, 0, 2], "words": "2 at review, 1 owed", "met": 3, "owed": 1, "last_pco2_kpa": 6.8}
    rows = [Summary(key, day, seq, payload) for key in keys]
    report("`put_summaries` of all people, s", seconds(lambda: store.put_summaries(rows)))
    report(
        "`summaries` of all people, ms",
        median_ms([lambda: store.summaries(day)] * 5),
        "`dossiers` of 200 people alone, s: " + seconds(lambda: list(store.dossiers(keys[:200]))),
    )
    report("`stale_people`, ms", median_ms([lambda: store.stale_people(day)] * 5))


def measure_saving(store: Store, keys: list[str], draw: random.Random) -> None:
    """A visit of five records, at once and one by one."""

    def at_once(number: int) -> None:
        records = visit(draw.choice(keys), NOW + timedelta(hours=3 * number), draw)
        store.save_all(records, actor="N", request_id=uuid.uuid4().hex, now=NOW)

    def one_by_one(number: int) -> None:
        for record in visit(draw.choice(keys), NOW + timedelta(days=400, hours=3 * number), draw):
            store.save(record, actor="N", request_id=uuid.uuid4().hex, now=NOW)

    report(
        "save of a visit (5 records), ms",
        median_ms([lambda number=number: at_once(number) for number in range(60)]),
        "one by one: " + median_ms([lambda number=number: one_by_one(number) for number in range(60)]),
    )


def measure_bulk(store: Store, keys: list[str], draw: random.Random) -> None:
    """100,000 mixed readings in one import, and the same again."""
    each = 100_000 // len(keys) // 2
    records: list[PersonRecord] = []
    for key in keys:
        for count in range(each):
            records.append(gas(key, NOW + timedelta(days=4000, minutes=7 * count), draw))
            records.append(symptoms(key, NOW + timedelta(days=4000, minutes=7 * count), draw))
    draw.shuffle(records)

    def load(request: str, some: list[PersonRecord]) -> None:
        store.save_many(some, actor="N", request_id=request, now=NOW)

    def one_by_one() -> None:
        for record in records[:200]:
            store.save(record, actor="N", request_id=uuid.uuid4().hex, now=NOW)

    slow = timed(one_by_one)[1] / 200 * len(records)
    name = f"import of {len(records):,} mixed readings, s"
    report(name, seconds(lambda: load("bulk", records)), f"`save` each (from 200): {slow:.0f} cpu")
    report("the same import again (adds nothing), s", seconds(lambda: load("again", records)))


def run(people: int, nights: int, folder: Path) -> None:
    """All measurements at one size."""
    draw = random.Random(people)
    keys = [uuid.UUID(int=draw.getrandbits(128), version=4).hex for _ in range(people)]
    path = folder / f"{people}.sqlite"
    store = Store.open(path, create=True)
    everything = (
        record for number, key in enumerate(keys) for record in one_person(key, number, draw, nights)
    )
    print(f"\n### {people:,} people\n\n| what | measured | beside it |\n|---|---|---|")
    loaded = seconds(lambda: store.save_many(everything, actor="N", request_id="load", now=NOW))
    rows = store.revision()
    report(
        f"load of {rows:,} records incl. making them, s",
        loaded,
        f"{path.stat().st_size / 1e6:.0f} MB",
    )
    store.close()
    report("open the store, ms", median_ms([lambda: Store.open(path).close()] * 5))
    store = Store.open(path)
    measure_reading(store, keys, draw)
    measure_summaries(store, keys)
    measure_saving(store, keys, draw)
    measure_bulk(store, keys, draw)
    report(
        "`verify` of everything, s",
        seconds(lambda: print(end=str(store.verify() or ""))),
        f"{store.revision():,} events",
    )
    store.close()


def main() -> None:
    """Measure and print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--people", type=int, action="append")
    parser.add_argument("--nights", type=int, default=NIGHTS, help="nights of use of each person")
    parser.add_argument("--folder", type=Path, help="where the stores are made (default: a temporary folder)")
    asked = parser.parse_args()
    print(f"Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, {platform.system()}")
    with tempfile.TemporaryDirectory(dir=asked.folder) as folder:
        for people in asked.people or [500, 5000]:
            run(people, asked.nights, Path(folder))


if __name__ == "__main__":
    main()
