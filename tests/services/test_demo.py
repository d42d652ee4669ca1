"""The invented demo record: forty people whose stories the record shows."""

import importlib
import sys
from collections.abc import Iterator
from datetime import datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from hvmon.records.dossier import Dossier
from hvmon.rules.entry import questions
from hvmon.rules.judge import findings
from hvmon.rules.owed import owed
from hvmon.services import demo
from hvmon.services.nights import night_files, nights_with_signal, open_night
from hvmon.store.nights import NightState
from hvmon.store.store import Store
from hvmon.units import PressureUnit
from hvmon.vocabulary import Answer, DiagnosisGroup, SampleKind, VentilatorState

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module", name="path")
def _path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("demo") / "demo.sqlite"
    with Store.open(path, create=True) as store:
        demo.load(store, night_files(path))
    return path


@pytest.fixture(scope="module", name="store")
def _store(path: Path) -> Iterator[Store]:
    with Store.open(path) as store:
        yield store


def dossier_of(store: Store, name: str) -> Dossier:
    [line] = store.people(name)
    return store.dossier(line.person_key)


def met(dossier: Dossier) -> set[str]:
    return {found.rule_id for found in findings(dossier, today=demo.DEMO_DAY) if found.answer == Answer.MET}


def test_forty_people_of_every_group_are_marked_invented(store: Store) -> None:
    people = list(store.dossiers())
    assert len(people) == 40
    assert all(dossier.person.invented for dossier in people)
    assert {dossier.person.diagnosis_group for dossier in people} == set(DiagnosisGroup)


def test_the_record_spans_three_years(store: Store) -> None:
    drawn = [held.record.drawn_at for dossier in store.dossiers() for held in dossier.blood_gas]
    assert (max(drawn) - min(drawn)).days > 1000


def test_loading_it_again_adds_nothing(path: Path) -> None:
    with Store.open(path) as store:
        before = store.revision()
        demo.load(store, night_files(path))
        assert store.revision() == before


def test_the_slip_in_units_was_corrected_and_the_slip_is_kept(store: Store) -> None:
    dossier = dossier_of(store, "Calloway")
    [held] = [held for held in dossier.blood_gas if held.version == 2]
    first, second = store.history(held.record_id)
    assert (first.record.pco2.unit, second.record.pco2.unit) == (PressureUnit.KPA, PressureUnit.MMHG)
    assert second.reason
    now = datetime.combine(demo.DEMO_DAY, time(12), ZoneInfo("UTC"))
    assert any(asked.field.startswith("pco2") for asked in questions(first.record, None, now=now))


def test_the_seeming_improvement_is_a_change_from_off_to_on_the_ventilator(store: Store) -> None:
    *_, before, first_on, _ = dossier_of(store, "Holloway").blood_gas
    assert before.record.state.ventilator == VentilatorState.OFF
    assert first_on.record.state.ventilator == VentilatorState.ON
    assert first_on.record.pco2.kpa < before.record.pco2.kpa


def test_the_spike_is_a_venous_sample(store: Store) -> None:
    gases = dossier_of(store, "Castelmaine").blood_gas
    highest = max(gases, key=lambda held: held.record.pco2.kpa)
    assert highest.record.kind == SampleKind.VENOUS


def test_the_lost_recheck_is_owed(store: Store) -> None:
    assert any(item.overdue_days > 0 for item in owed(dossier_of(store, "Sidony"), today=demo.DEMO_DAY))


@pytest.mark.parametrize(
    ("name", "rule_id"),
    [
        ("Orla", "USE-3"),  # leak of a worn mask
        ("Maren", "USE-1"),  # under-use
        ("Jasper", "RED-1"),  # new flap
        ("Bram", "NGT-18"),  # night peak after oxygen was raised
    ],
)
def test_a_story_is_flagged_by_its_rule(store: Store, name: str, rule_id: str) -> None:
    assert rule_id in met(dossier_of(store, name))


def test_over_ventilation_shows_low_co2_and_no_hypercapnia(store: Store) -> None:
    dossier = dossier_of(store, "Ferris")
    assert dossier.blood_gas[-1].record.pco2.kpa < 4.7
    assert "GAS-3" not in met(dossier)


def test_recordings_are_scored_and_sound(path: Path, store: Store) -> None:
    files = night_files(path)
    opened = [
        open_night(files, dossier, held)
        for dossier in store.dossiers()
        for held in nights_with_signal(dossier)
    ]
    assert len(opened) >= 8
    assert {night.state for night in opened} == {NightState.SOUND}


def test_the_tables_in_the_repository_are_what_the_seed_makes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.syspath_prepend(str(ROOT / "data_demo"))
    maker = importlib.import_module("make_demo")
    made = tmp_path / "tables"
    maker.write(made)
    for name in ("people", "stories", "make_demo"):
        sys.modules.pop(name, None)
    for table in sorted(made.glob("*.csv")):
        assert table.read_bytes() == (ROOT / "data_demo" / "tables" / table.name).read_bytes(), table.name
