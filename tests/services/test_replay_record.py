"""Replay of a folder: only what was known on a day, corrections from the day they were made."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import polars as pl
import pytest

from hvmon.files.tables import write_folder
from hvmon.files.turning_points import BadTurningPoints, read_turning_points
from hvmon.records.base import Pressure
from hvmon.records.gas import BloodGas
from hvmon.records.person import Identity, Person
from hvmon.services.packs_in_use import priors_in_use
from hvmon.services.replay import BadFolder, options_of, replay_folder, versions_of_folder, write_replays
from hvmon.stats.replay import Turn
from hvmon.store.store import Store
from hvmon.units import PressureUnit

START = datetime(2025, 1, 10, 10, 0, tzinfo=UTC)


def people_and_gas(store: Store) -> tuple[Person, Identity, BloodGas]:
    dossier = next(each for each in store.dossiers() if each.blood_gas)
    assert dossier.identity is not None
    return dossier.person, dossier.identity, dossier.blood_gas[0].record


def gas_at(gas: BloodGas, days: int, kpa: str) -> BloodGas:
    changed = {
        "drawn_at": START + timedelta(days=days),
        "analysed_at": None,
        "pco2": Pressure(value=Decimal(kpa), unit=PressureUnit.KPA),
        "visit_id": None,
    }
    return gas.model_copy(update=changed)


@pytest.fixture(name="folder")
def _folder(store: Store, tmp_path: Path) -> Path:
    person, identity, gas = people_and_gas(store)
    levels = ("6.0", "6.1", "6.0", "6.1", "9.9", "6.1", "6.0")
    gases = [gas_at(gas, 40 * place, level) for place, level in enumerate(levels)]
    folder = tmp_path / "tables"
    write_folder(folder, {"person": [person], "identity": [identity], "blood_gas": gases})
    write_folder(folder / "corrected-2025-06-25", {"blood_gas": [gas_at(gas, 160, "6.2")]})
    return folder


def options(**changed: object) -> object:
    given = {"limits_kpa": (7.0,), "watch": 0.8, "likely": 0.95, "every_days": 30, "thresholds": []}
    return options_of(**(given | changed))  # type: ignore[arg-type]


def raised(folder: Path, **more: object) -> set[str]:
    [(_, _, replay)] = replay_folder(folder, until=None, options=options(), **more)  # type: ignore[arg-type]
    assert replay is not None
    return {event.flag for event in replay.events}


def test_the_services_own_limits_decide_which_findings_are_replayed(folder: Path) -> None:
    higher = {"rules": {"GAS-1": {"limit": 90, "reason": "local agreement"}}}
    assert "finding: GAS-1" in raised(folder)
    assert "finding: GAS-1" not in raised(folder, edits=higher)


def test_the_readings_of_a_turn_can_be_told_apart_in_the_file(folder: Path, tmp_path: Path) -> None:
    [(_, _, replay)] = replay_folder(folder, until=None, options=options())  # type: ignore[arg-type]
    assert replay is not None
    write_replays([replay], tmp_path / "events.csv", None)
    written = pl.read_csv(tmp_path / "events.csv")["readings"].to_list()
    wanted = [event.reading_ids for event in replay.events]
    assert [tuple(text.split("; ")) if text else () for text in written] == wanted
    assert max(map(len, wanted)) > 1


def test_the_services_own_priors_are_those_of_the_replay(folder: Path) -> None:
    edits = {"priors": {"noise.capillary_earlobe": 0.06}}
    [(_, _, replay)] = replay_folder(folder, until=None, options=options(), edits=edits)  # type: ignore[arg-type]
    assert replay is not None
    assert {event.priors_digest for event in replay.events} == {priors_in_use(edits).digest()}


def test_a_correction_counts_from_its_own_day_and_not_before(folder: Path) -> None:
    [(_, _, replay)] = replay_folder(folder, until=None, options=options())  # type: ignore[arg-type]
    assert replay is not None
    last = [event for event in replay.events if event.flag.startswith("last reading above")]
    assert [event.turn for event in last] == [Turn.RAISED, Turn.CLEARED]
    assert last[0].on.isoformat() == "2025-06-19"
    assert last[1].on.isoformat() == "2025-06-25"


def test_both_versions_are_kept_under_one_record(folder: Path) -> None:
    [(_, versions)] = versions_of_folder(folder).values()
    assert sorted(held.version for held in versions) == [1, 1, 1, 1, 1, 1, 1, 2]


def test_events_and_scores_are_written(folder: Path, tmp_path: Path) -> None:
    made = [each for _, _, each in replay_folder(folder, until=None, options=options()) if each]  # type: ignore[arg-type]
    points = tmp_path / "turned.csv"
    points.write_text(f"person_key,turned_on\n{made[0].person_key},\n", encoding="utf-8")
    out = tmp_path / "events.csv"
    scores = write_replays(made, out, points)
    assert out.read_text(encoding="utf-8").startswith("person_key,flag,turn,on,")
    assert (tmp_path / "events_scores.csv").is_file()
    assert {score.turned for score in scores} == {0}
    assert all(score.false_flags >= 1 for score in scores)


def test_readings_without_a_person_are_refused(folder: Path) -> None:
    (folder / "person.csv").unlink()
    with pytest.raises(BadFolder, match=r"not in person\.csv"):
        versions_of_folder(folder)


def test_a_threshold_must_name_a_method() -> None:
    with pytest.raises(ValueError, match="NAME=VALUE"):
        options(thresholds=["nothing=3"])


def test_a_turning_point_that_is_no_day_names_its_row(tmp_path: Path) -> None:
    path = tmp_path / "turned.csv"
    path.write_text("person_key,turned_on\nabc,03/04/2026\n", encoding="utf-8")
    with pytest.raises(BadTurningPoints, match="row 2"):
        read_turning_points(path)
