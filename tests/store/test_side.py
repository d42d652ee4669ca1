"""Drafts and summaries: they may be overwritten, and never raise the revision of the record."""

from datetime import date, timedelta

import polars as pl
import pytest

from hvmon.store.errors import Refused
from hvmon.store.side import Draft, Summary
from hvmon.store.store import Store
from tests.store.samples import ANNA, BERT, BY, NOW, person, weight

DAY = date(2026, 3, 1)


def test_a_draft_survives_closing_the_store(path):
    with Store.open(path) as store:
        store.put_draft("visit", "Nurse N", "t1", {"ph": "7,3", "open": [1, None]}, now=NOW)
        revision = store.revision()
    with Store.open(path) as store:
        assert store.drafts("visit", "Nurse N") == (
            Draft("visit", "Nurse N", "t1", {"ph": "7,3", "open": [1, None]}, NOW),
        )
        assert store.revision() == revision == 0


def test_drafts_are_overwritten_by_token_and_listed_the_last_first(store):
    for token, text in (("t1", "a"), ("t2", "b"), ("t1", "c")):
        store.put_draft("visit", "Nurse N", token, {"text": text}, now=NOW)
    assert [draft.payload["text"] for draft in store.drafts("visit", "Nurse N")] == ["c", "b"]
    assert store.drafts("visit", "Nurse M") == store.drafts("gas", "Nurse N") == ()
    store.drop_draft("t1")
    store.drop_draft("t1")
    assert [draft.token for draft in store.drafts("visit", "Nurse N")] == ["t2"]


@pytest.mark.parametrize("payload", [{"when": NOW}, {"number": float("nan")}, {"set": {1}}])
def test_what_is_no_json_is_refused_in_words(store, payload):
    with pytest.raises(Refused, match="A draft holds texts, numbers"):
        store.put_draft("visit", "Nurse N", "t1", payload, now=NOW)
    with pytest.raises(Refused, match="A summary holds texts, numbers"):
        store.put_summaries([Summary(ANNA, DAY, 1, payload)])


def test_people_are_stale_until_summed_up_and_after_every_change(store):
    assert store.stale_people(DAY) == (ANNA,)
    store.put_summaries([Summary(ANNA, DAY, store.revision(), {"met": 2})])
    assert store.stale_people(DAY) == ()
    assert store.stale_people(DAY + timedelta(days=1)) == (ANNA,)
    store.save(weight(), request_id="w", **BY)
    assert store.stale_people(DAY) == (ANNA,)
    assert store.summaries(DAY).row(0, named=True) == {
        "person_key": ANNA, "person_seq": 2, "stale": True, "met": 2,
    }  # fmt: skip


def test_a_change_of_one_person_leaves_the_others_fresh(store):
    store.save(person(BERT), request_id="b", **BY)
    store.put_summaries([Summary(key, DAY, store.revision(), {"met": 1}) for key in (ANNA, BERT)])
    store.save(weight(person_key=BERT), request_id="w", **BY)
    assert store.stale_people(DAY) == (BERT,)


def test_a_summary_replaces_the_one_of_the_same_day_and_three_days_are_kept(store):
    for day in range(5):
        for met in (1, 2):
            store.put_summaries([Summary(ANNA, DAY + timedelta(days=day), 9, {"met": met})])
    assert [len(store.summaries(DAY + timedelta(days=day))) for day in range(5)] == [0, 0, 1, 1, 1]
    assert store.summaries(DAY + timedelta(days=4))["met"].to_list() == [2]
    store.put_summaries([Summary(ANNA, DAY, 9, {"met": 7})])
    assert store.summaries(DAY)["met"].to_list() == [7]
    assert store.summaries(DAY + timedelta(days=2)).is_empty()


def test_summaries_of_nobody_have_their_fixed_columns(store):
    store.put_summaries([])
    assert store.summaries(DAY).schema == {
        "person_key": pl.String, "person_seq": pl.Int64, "stale": pl.Boolean,
    }  # fmt: skip


def test_summaries_keep_nested_and_missing_values(store):
    store.save(person(BERT), request_id="b", **BY)
    rows = [
        Summary(ANNA, DAY, 3, {"rank": [1, 0], "pco2": None, "words": "a"}),
        Summary(BERT, DAY, 3, {"rank": [], "pco2": 6.8, "late": True}),
    ]
    store.put_summaries(rows)
    frame = store.summaries(DAY)
    assert frame["rank"].to_list() == [[1, 0], []]
    assert frame["pco2"].to_list() == [None, 6.8]
    assert frame["words"].to_list() == ["a", None]


def test_a_withdrawn_person_has_no_summary(store):
    store.put_summaries([Summary(ANNA, DAY, 9, {"met": 7})])
    record_id = store.audit_trail(ANNA).filter(table="person")["record_id"][0]
    store.withdraw(record_id, expect_version=1, reason="never existed", request_id="x", **BY)
    assert store.summaries(DAY).is_empty()
    assert store.stale_people(DAY) == ()
