"""The caseload: sorted by need, from summaries that a write makes stale for one person only."""

from datetime import timedelta

import polars as pl
import pytest

from hvmon.rules.finding import GRADES, Owed
from hvmon.services import caseload
from hvmon.services.owed_lines import owed_lines
from hvmon.services.review import review
from hvmon.vocabulary import ActionState, TestKind
from tests.app import invented
from tests.services.conftest import NOW

TODAY = invented.TODAY


def worked_out(store):
    caseload.refresh(store, today=TODAY)
    return caseload.caseload(store, today=TODAY)


def row(frame, key):
    return frame.filter(pl.col("person_key") == key).row(0, named=True)


def save_gas(store, key, days_ago, pco2, **more):
    record = invented.gas(key, days_ago, pco2, **more)
    store.save(record, actor="N. Invented", request_id=f"{key}-{days_ago}-{pco2}", now=NOW)


def test_before_anything_is_worked_out_everybody_is_stale_and_nobody_is_listed(store):
    assert set(caseload.stale(store, today=TODAY)) == {invented.ANNA, invented.BRAM}
    assert caseload.caseload(store, today=TODAY).is_empty()


def test_refreshing_lists_everybody_and_reports_its_progress(store):
    told = []
    assert caseload.refresh(store, today=TODAY, progress=lambda done, total: told.append((done, total))) == 2
    assert told == [(2, 2)]
    assert caseload.caseload(store, today=TODAY).height == 2
    assert caseload.stale(store, today=TODAY) == ()


def test_a_write_makes_only_its_person_stale(store):
    worked_out(store)
    save_gas(store, invented.ANNA, 3, "7.4")
    assert caseload.stale(store, today=TODAY) == (invented.ANNA,)


def test_the_next_day_everybody_is_judged_anew(store):
    worked_out(store)
    assert len(caseload.stale(store, today=TODAY + timedelta(days=1))) == 2


def test_other_edits_of_the_rules_make_everybody_stale(store):
    worked_out(store)
    edits = {"rules": {"GAS-1": {"limit": 50, "reason": "local agreement"}}}
    assert len(caseload.stale(store, today=TODAY, edits=edits)) == 2
    caseload.refresh(store, today=TODAY, edits=edits)
    assert caseload.stale(store, today=TODAY, edits=edits) == ()


def test_who_has_an_acidotic_gas_stands_above_who_has_none(store):
    save_gas(store, invented.BRAM, 1, "9.4", ph="7.28", hco3="31.0")
    frame = worked_out(store)
    assert frame["person_key"].to_list() == [invented.BRAM, invented.ANNA]
    assert row(frame, invented.BRAM)["grade"] == GRADES[0].value


def test_a_summary_says_the_same_as_the_review(store):
    save_gas(store, invented.ANNA, 3, "8.1")
    summary = row(worked_out(store), invented.ANNA)
    seen = review(store, invented.ANNA, today=TODAY)
    assert tuple(summary["rank"]) == seen.need.rank
    assert summary["unknown"] == len(seen.not_assessable)
    assert summary["met"] == sum(finding.raised for finding in seen.met)
    assert summary["owed"] == [line.short for line in seen.owed_lines]


def test_a_summary_holds_no_name_and_no_identifier(store):
    text = str(worked_out(store).to_dicts())
    line = store.people(limit=10)[0]
    assert line.name not in text
    assert line.local_id not in text
    assert line.second_identifier not in text


def test_nobody_without_a_met_rule_is_called_safe(store):
    needs = worked_out(store)["need"].to_list()
    assert all("not reassurance" in words or ":" in words for words in needs)
    assert not any("safe" in words.lower() for words in needs)


@pytest.mark.parametrize(
    ("filters", "kept"),
    [
        ({}, {invented.ANNA, invented.BRAM}),
        ({"people": [invented.BRAM]}, {invented.BRAM}),
        ({"people": []}, set()),
        ({"groups": ["COPD"]}, {invented.ANNA}),
        ({"groups": ["COPD"], "people": [invented.BRAM]}, set()),
    ],
)
def test_filters_keep_who_fits_all_of_them(store, filters, kept):
    assert set(caseload.chosen(worked_out(store), **filters)["person_key"]) == kept


def test_overdue_only_keeps_who_owes_something_late(store):
    frame = worked_out(store)
    late = caseload.chosen(frame, overdue_only=True)
    assert set(late["person_key"]) == set(frame.filter(pl.col("overdue") > 0)["person_key"])
    assert late.height < frame.height or frame["overdue"].min() > 0


def test_a_reading_of_tomorrow_is_not_looked_at(store):
    before = row(worked_out(store), invented.ANNA)["last_co2"]
    save_gas(store, invented.ANNA, -1, "9.9")
    assert row(worked_out(store), invented.ANNA)["last_co2"] == before


def test_the_same_test_by_the_same_day_is_one_line_that_names_both_rules():
    same = {"test": TestKind.DAY_GAS, "due": TODAY, "state": ActionState.OPEN, "overdue_days": 0}
    more = {"closes_with": "a day gas", "opens": TODAY}
    two = (
        Owed(owed_id="a", rule_id="FUP-3", words="yearly", **same, **more),
        Owed(owed_id="b", rule_id="FUP-11", words="slow disease", **same, **more),
    )
    lines = owed_lines(two)
    assert [line.rule_ids for line in lines] == [("FUP-3", "FUP-11")]
    assert lines[0].words == "yearly; slow disease"


def test_the_same_test_by_another_day_is_another_line():
    same = {"test": TestKind.DAY_GAS, "state": ActionState.OPEN, "overdue_days": 0}
    more = {"closes_with": "a day gas", "opens": TODAY, "rule_id": "FUP-3", "words": ""}
    two = (
        Owed(owed_id="a", due=TODAY, **same, **more),
        Owed(owed_id="b", due=TODAY + timedelta(days=1), **same, **more),
    )
    assert len(owed_lines(two)) == 2
