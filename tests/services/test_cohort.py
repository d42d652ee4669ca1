"""The whole cohort: known effects come back with their n, few people are not told, nobody is named."""

import pickle
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta

import polars as pl
import pytest

from hvmon.files.tables import read_folder
from hvmon.records.gas import BloodGas
from hvmon.services import cohort_tables as tables
from hvmon.services import demo
from hvmon.services.cohort import BATCH, CohortView, cohort
from hvmon.services.cohort_counts import Fate, few
from hvmon.stats.symptoms import Relation
from hvmon.stats.symptoms_pooled import ASKED
from hvmon.store.store import Store
from hvmon.units import PressureUnit
from hvmon.vocabulary import EventKind
from tests.app import invented
from tests.services import cohorts

KPA = PressureUnit.KPA


def store_of(records) -> Store:
    held = Store.in_memory()
    held.save_many(records, actor="N. Invented", request_id="cohort", now=cohorts.NOW)
    return held


@pytest.fixture(scope="module", name="view")
def _view() -> Iterator[CohortView]:
    with store_of(cohorts.records()) as store:
        yield cohort(store, today=invented.TODAY)


@pytest.fixture(scope="module", name="of_demo")
def _of_demo() -> Iterator[CohortView]:
    with store_of(read_folder(demo.FOLDER / "tables").records) as store:
        yield cohort(store, today=demo.DEMO_DAY)


def row(view: CohortView, what: str, group: str = "all") -> dict:
    frame = tables.forest_frame(view)
    return frame.row(by_predicate=(pl.col("what") == what) & (pl.col("group") == group), named=True)


TRUTH = {"pressure support": cohorts.PER_CMH2O_KPA, "backup rate": cohorts.PER_BREATH_KPA}


@pytest.mark.parametrize("what", list(TRUTH))
def test_a_known_effect_comes_back_inside_its_interval(view, what):
    whole = row(view, what)
    assert whole["low_kpa"] < TRUTH[what] < whole["high_kpa"] < 0


def test_known_effects_of_groups_are_inside_their_intervals_but_for_one_in_twenty(view):
    groups = tables.forest_frame(view).filter("pooled")
    assert groups.height == len(TRUTH) * len(cohorts.GROUPS)
    inside = [one["low_kpa"] < TRUTH[one["what"]] < one["high_kpa"] for one in groups.iter_rows(named=True)]
    assert inside.count(False) <= 1  # of six 95 % intervals, more than one misses in 3 of 100 cohorts


def test_every_figure_carries_the_people_and_changes_behind_it(view):
    whole = row(view, "pressure support")
    groups = tables.forest_frame(view).filter((pl.col("what") == "pressure support") & pl.col("pooled"))
    assert whole["n_people"] == whole["n_changes"] == groups["n_people"].sum()
    assert whole["behind"] == f"{whole['n_people']} people, {whole['n_changes']} changes"
    assert "96 settings changes" in tables.changes_line(view)
    assert "48 with a known size" in tables.changes_line(view)


def test_symptoms_made_to_follow_co2_are_consistent_and_the_others_are_not(view):
    answers = {one.symptom: one for one in view.symptoms}
    assert tuple(answers) == ASKED
    for symptom in ("morning headache", "daytime sleepiness"):
        found = answers[symptom]
        assert found.answer == Relation.CONSISTENT
        assert found.main.low < cohorts.POINTS_PER_KPA < found.main.high
        assert (found.main.n_people, found.main.n_pairs) == (48, 288)
        assert "more of it with higher CO2" in found.in_words
    for symptom in ("poor sleep", "breathlessness", "poor concentration", "pins and needles"):
        assert answers[symptom].answer in {Relation.NO_CLEAR, Relation.POSSIBLE}
    assert answers["CO2 flap"].answer == Relation.NOT_ENOUGH


def test_the_demo_record_says_not_enough_for_settings_and_gives_symptoms_with_their_n(of_demo):
    frame = tables.forest_frame(of_demo)
    assert frame["estimate_kpa"].null_count() == frame.height
    assert all(words.startswith("not enough") for words in frame["why_none"])
    assert "40 people" in tables.gone_line(of_demo)
    pairs = {one.symptom: (one.main.n_pairs, one.main.n_people) for one in of_demo.symptoms}
    assert pairs["morning headache"][0] > 250
    assert f"{pairs['morning headache'][0]} pairs of 40 people" in tables.symptom_lines(of_demo)[0]
    lines = " ".join(tables.disagreement_lines(of_demo))
    assert f"of {of_demo.disagreements.told} people whose rise can be told" in lines


def test_counts_below_five_people_are_not_told_and_their_figures_are_left_out(view, of_demo):
    assert [few(n) for n in (0, 1, 4, 5)] == ["0", "fewer than 5", "fewer than 5", "5"]
    rare = [line for line in tables.counts_table(of_demo, KPA) if line["People"] == "fewer than 5"]
    assert rare
    assert all(
        line["Median usual PaCO2, everybody at the last reading"] == "fewer than 5 people" for line in rare
    )
    copd = pl.col("group") == "COPD"
    first_four = view.changes.filter(copd)["person_key"].unique(maintain_order=True)[:4].implode()
    kept = view.changes.filter(~copd | pl.col("person_key").is_in(first_four))
    shown = row(replace(view, changes=kept), "pressure support", "COPD")
    assert (shown["estimate_kpa"], shown["n_people"], shown["n_changes"]) == (None, None, None)
    assert shown["behind"] == "fewer than 5 people"


def test_a_mean_does_not_improve_because_people_with_high_co2_are_gone():
    """Six of sixteen with COPD have 9 kPa and die: those still seen look better, everybody does not."""
    records = cohorts.records()
    worst = {cohorts.key(number) for number in range(0, 18, 3)}
    for place, record in enumerate(records):
        if isinstance(record, BloodGas) and record.person_key in worst:
            high = record.pco2.model_copy(update={"value": record.pco2.value + 3})
            records[place] = record.model_copy(update={"pco2": high})
    with store_of(records) as store:
        before = cohort(store, today=invented.TODAY).counts[0]
        events = [cohorts.event(number, EventKind.DEATH, 30) for number in range(0, 18, 3)]
        store.save_many(events, actor="N. Invented", request_id="deaths", now=cohorts.NOW)
        after = cohort(store, today=invented.TODAY).counts[0]
    assert (after.people, dict(after.fates)[Fate.DIED]) == (16, 6)
    assert after.level_seen_kpa < before.level_seen_kpa - 0.2
    assert after.level_all_kpa == pytest.approx(before.level_all_kpa)


def test_who_moved_away_or_was_not_measured_for_a_year_stays_in_the_denominator():
    with store_of([*cohorts.records(12), cohorts.event(0, EventKind.MOVED, 10)]) as store:
        now = cohort(store, today=invented.TODAY).counts[-1]
        later = cohort(store, today=invented.TODAY + timedelta(days=400)).counts[-1]
    assert (now.people, dict(now.fates)[Fate.MOVED], dict(now.fates)[Fate.MEASURED]) == (12, 1, 11)
    assert (later.people, dict(later.fates)[Fate.NOT_MEASURED], later.level_seen_kpa) == (12, 11, None)


def test_only_what_was_measured_up_to_the_day_is_used():
    with store_of(cohorts.records(12)) as store:
        early = cohort(store, today=invented.TODAY - timedelta(days=cohorts.CHANGED + 1))
    assert early.changes.height == 12
    assert early.changes.drop_nulls().is_empty()


def test_nobody_is_named_in_anything_the_view_holds(view):
    told = pickle.dumps(view)
    assert b"cohort00" not in told
    assert b"Invented" not in told
    assert b"C0001" not in told


def test_the_edited_priors_enter_the_figures_and_are_marked_as_edited():
    edits = {"priors": {"noise.arterial": 0.04}}
    rows = {line["Row"]: line for line in tables.priors_table(edits)}
    assert rows["noise.arterial"]["Edited here"] == "yes; shipped 0.03"
    assert [key for key, line in rows.items() if line["Edited here"]] == ["noise.arterial"]
    with store_of(cohorts.records(3)) as store:
        plain, edited = (cohort(store, today=invented.TODAY, edits=each) for each in (None, edits))
    assert plain.priors_digest != edited.priors_digest
    assert "no service edits" in tables.version_line(plain)
    assert edited.edits in tables.version_line(edited)


def test_progress_counts_people_then_the_pooling_and_ends_at_its_total():
    told: list[tuple[int, int]] = []
    with store_of(cohorts.records(3)) as store:
        cohort(store, today=invented.TODAY, progress=lambda done, total: told.append((done, total)))
    assert told[0] == (3, 3 + 1 + len(ASKED))
    assert told[-1] == (3 + 1 + len(ASKED),) * 2
    assert BATCH >= 3


def test_an_empty_store_gives_an_empty_view_and_not_an_error():
    with Store.in_memory() as store:
        view = cohort(store, today=invented.TODAY)
    assert view.counts[-1].people == 0
    assert tables.forest_frame(view).height == 2
    assert "not enough data" in tables.symptom_lines(view)[0]
    assert not tables.symptoms_table(view)
