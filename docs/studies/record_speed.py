"""Speed of what users do, with the invented demo people copied to 500 and 5,000.

Run from the project's folder:

    python docs/studies/record_speed.py                  # both sizes and the import of 100,000 readings
    python docs/studies/record_speed.py --people 500     # one size, no import

Each figure stands beside a named alternative measured in the same run.
"""

import argparse
import statistics
import tempfile
import time
import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hvmon.files.tables import read_folder, write_folder
from hvmon.records.base import PersonRecord
from hvmon.records.course import NightlyUse
from hvmon.records.gas import BloodGas, SpotTranscutaneous
from hvmon.records.person import Identity
from hvmon.rules.judge import findings
from hvmon.services import caseload
from hvmon.services.cohort import cohort
from hvmon.services.demo import DEMO_DAY, FOLDER
from hvmon.services.exchange import import_tables
from hvmon.services.review import review
from hvmon.store.store import Store

NOW = datetime(2026, 6, 15, 9, tzinfo=UTC)
NIGHTS_KEPT = 28
READINGS = 100_000


def copies(people: int) -> Iterator[PersonRecord]:
    """Give the demo people copied under new keys, with their last nights of use."""
    records = [record for record in read_folder(FOLDER / "tables").records if kept(record)]
    originals = sorted({record.person_key for record in records})
    for number in range(-(-people // len(originals))):
        wanted = originals[: people - number * len(originals)]
        keys = {key: uuid.uuid5(uuid.NAMESPACE_OID, f"{key}{number}").hex for key in wanted}
        for record in records:
            if record.person_key in keys:
                yield copied(record, keys[record.person_key], number)


def kept(record: PersonRecord) -> bool:
    """Leave out all but the last nights of use, to keep the files of 5,000 people small."""
    return not isinstance(record, NightlyUse) or (DEMO_DAY - record.night_of).days <= NIGHTS_KEPT


def copied(record: PersonRecord, key: str, number: int) -> PersonRecord:
    """Give a record of another person; identifiers stay unique."""
    changes: dict[str, object] = {"person_key": key}
    if isinstance(record, Identity):
        changes |= {
            "local_id": f"{record.local_id}-{number}",
            "second_identifier": f"{record.second_identifier}-{number}",
        }
    return record.model_copy(update=changes)


def seconds(act: Callable[[], object]) -> float:
    """Time one call [s]."""
    start = time.perf_counter()
    act()
    return time.perf_counter() - start


def median_ms(act: Callable[[str], object], keys: list[str]) -> float:
    """Median time of a call over people [ms]."""
    return 1000 * statistics.median(seconds(lambda key=key: act(key)) for key in keys)


def measure(people: int, folder: Path) -> None:
    """Fill a store and print the figures of one size."""
    with Store.open(folder / f"{people}.sqlite", create=True) as store:
        counts = store.save_many(copies(people), actor="study", request_id=uuid.uuid4().hex, now=NOW)
        print(f"\n{people} people, {counts.added} records")
        cold = seconds(lambda: caseload.refresh(store, today=DEMO_DAY))
        warm = min(seconds(lambda: caseload.caseload(store, today=DEMO_DAY)) for _ in range(3))
        print(
            f"  findings, trend and summary of everybody: {cold:.1f} s ({1000 * cold / people:.1f} ms each)"
        )
        print(f"  caseload from kept summaries: {warm:.2f} s, {cold / warm:.0f} times faster than anew")
        everybody = list(store.person_keys())
        keys = everybody[:: max(1, len(everybody) // 40)][:40]
        full = median_ms(lambda key: review(store, key, today=DEMO_DAY), keys)
        plain = median_ms(lambda key: review(store, key, today=DEMO_DAY, trend=False), keys)
        rules = median_ms(lambda key: findings(store.dossier(key), today=DEMO_DAY), keys)
        print(f"  person switch (median of {len(keys)}): {full:.0f} ms, without the trend {plain:.0f} ms,")
        print(f"    dossier and rules alone {rules:.1f} ms")
        saved = median_ms(lambda key: save_visit(store, key), keys)
        one = seconds(lambda: caseload.refresh(store, today=DEMO_DAY)) / len(keys)
        print(f"  saving a visit: {saved:.1f} ms; its person's summary anew: {1000 * one:.0f} ms")
        began = time.process_time()
        took = seconds(lambda: cohort(store, today=DEMO_DAY))
        print(
            f"  figures of the whole cohort: {took:.0f} s, {time.process_time() - began:.0f} s of processor"
        )


def save_visit(store: Store, key: str) -> None:
    """Save the newest gas and symptoms of a person again, a day later."""
    dossier = store.dossier(key)
    records: list[PersonRecord] = []
    if dossier.blood_gas:
        gas = dossier.blood_gas[-1].record
        later = {"drawn_at": gas.drawn_at + timedelta(days=1), "analysed_at": None}
        records.append(gas.model_copy(update=later))
    if dossier.symptom_report:
        report = dossier.symptom_report[-1].record
        records.append(report.model_copy(update={"asked_at": report.asked_at + timedelta(days=1)}))
    store.save_all(records, actor="study", request_id=uuid.uuid4().hex, now=NOW)


def repeated(records: list[PersonRecord], dated_by: str, wanted: int) -> list[PersonRecord]:
    """Give so many readings: those given, again and again on earlier days."""
    made = []
    for turn in range(-(-wanted // len(records))):
        for record in records:
            earlier = getattr(record, dated_by) - timedelta(days=turn, minutes=turn)
            changes: dict[str, object] = {dated_by: earlier, "visit_id": None}
            if isinstance(record, BloodGas):
                changes["analysed_at"] = None
            made.append(record.model_copy(update=changes))
    return made[:wanted]


def measure_import(folder: Path, rows: int) -> float:
    """Import so many gases and transcutaneous readings as CSV, checks on; give the time [s]."""
    people = [record for record in copies(500) if not isinstance(record, NightlyUse)]
    gases = [record for record in people if isinstance(record, BloodGas)]
    spots = [record for record in people if isinstance(record, SpotTranscutaneous)]
    by_table: dict[str, list[PersonRecord]] = {
        "blood_gas": repeated(gases, "drawn_at", rows // 2),
        "spot_transcutaneous": repeated(spots, "read_at", rows - rows // 2),
    }
    for name, kind in (("person", "Person"), ("identity", "Identity")):
        by_table[name] = [record for record in people if type(record).__name__ == kind]
    tables = folder / f"tables-{rows}"
    write_folder(tables, by_table)
    with Store.open(folder / f"import-{rows}.sqlite", create=True) as store:
        took = seconds(lambda: import_tables(store, tables, actor="study", now=NOW))
        held = store.frame("blood_gas").height + store.frame("spot_transcutaneous").height
        assert held == rows
    return took


def main() -> None:
    """Measure what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--people", type=int, default=None)
    asked = parser.parse_args().people
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for people in [asked] if asked else [500, 5_000]:
            measure(people, folder)
        if not asked:
            small, large = measure_import(folder, READINGS // 4), measure_import(folder, READINGS)
            print(f"\nimport of {READINGS} readings, checks on: {large:.1f} s;", end=" ")
            print(f"a quarter of them {small:.1f} s (linear would be a ratio of 4: {large / small:.1f})")


if __name__ == "__main__":
    main()
