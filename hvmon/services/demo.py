"""Load the invented demo record."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, time
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from hvmon.files.tables import read_folder
from hvmon.nights.synthetic import demo_nights
from hvmon.records.base import Pressure
from hvmon.records.night_signal import NightSignal
from hvmon.records.study import NightSummary
from hvmon.services.nights import scored_summary
from hvmon.store.errors import StoreError
from hvmon.store.nights import NightFiles
from hvmon.store.store import Store
from hvmon.units import PressureUnit

DEMO_DAY = date(2026, 6, 15)
"""The demo's last day; the dashboard takes it as today when it shows the demo."""

FOLDER = Path(__file__).parents[2] / "data_demo"
ACTOR = "demo"


class NoDemo(StoreError):  # noqa: N818 - reads as a sentence where it is caught
    """The demo tables are not beside the package."""


def load(
    store: Store,
    files: NightFiles,
    *,
    folder: Path = FOLDER,
    progress: Callable[[int, int], None] | None = None,
) -> int:
    """Load the invented record, its corrections and its recordings; give the number of records.

    Loading it again adds nothing.

    Raises
    ------
    NoDemo
        The tables are not there, or are not what they should be.
    """
    report = read_folder(folder / "tables")
    if not report.is_clean or not report.records:
        listed = "; ".join(str(problem) for problem in report.all_problems[:3]) or "no rows"
        raise NoDemo(f"the demo tables in {folder} cannot be read ({listed}); run data_demo/make_demo.py")
    records = report.records
    tick = (lambda done: progress(done, len(records))) if progress else None
    counts = store.save_many(records, actor=ACTOR, request_id="demo-tables", now=_at(DEMO_DAY), progress=tick)
    for row in json.loads((folder / "corrections.json").read_text(encoding="utf-8")):
        _correct(store, row)
    signals = dict(demo_nights())
    for row in json.loads((folder / "recordings.json").read_text(encoding="utf-8")):
        _attach(store, files, signals[row["story"]], row["person_key"], date.fromisoformat(row["night_of"]))
    return counts.added


def _at(day: date) -> datetime:
    return datetime.combine(day, time(6), UTC)


def _correct(store: Store, row: dict[str, Any]) -> None:
    drawn_at = datetime.fromisoformat(row["drawn_at"])
    for held in store.dossier(row["person_key"]).blood_gas:
        if held.record.drawn_at == drawn_at and held.record.pco2.unit != row["pco2_unit"]:
            right = Pressure(value=held.record.pco2.value, unit=PressureUnit(row["pco2_unit"]))
            store.correct(
                held.record_id,
                held.record.model_copy(update={"pco2": right}),
                expect_version=held.version,
                reason=row["reason"],
                actor=row["by"],
                request_id=f"demo-correction-{held.record_id}",
                now=_at(DEMO_DAY),
            )


def _attach(store: Store, files: NightFiles, signal: NightSignal, person_key: str, evening: date) -> None:
    """Give a night of the record its recording, and let the score stand in the place of typed figures."""
    dossier = store.dossier(person_key)
    for held in dossier.night_summary:
        if held.record.night_of == evening and held.record.signal_hash is None:
            moved = _moved(signal, held.record)
            scored = scored_summary(dossier, moved, held.record, files.save(moved))
            store.correct(
                held.record_id,
                scored,
                expect_version=held.version,
                reason="scored from the recording",
                actor=ACTOR,
                request_id=f"demo-night-{held.record_id}",
                now=_at(DEMO_DAY),
            )


def _moved(signal: NightSignal, record: NightSummary) -> NightSignal:
    """Give the signal on the record's evening, at the same clock time."""
    clock = signal.start_local.time()
    start = datetime.combine(record.night_of, clock, ZoneInfo(record.zone)).astimezone(UTC)
    return replace(signal, start_utc=start, zone=record.zone)
