"""Saving, correcting, withdrawing: what is kept, what is refused, and in which words."""

import threading
from datetime import date, datetime, timedelta
from decimal import Decimal

import polars as pl
import pytest

from hvmon.records.base import Record
from hvmon.records.person import Person
from hvmon.store.comparing import Known
from hvmon.store.errors import (
    AlreadyDifferent,
    Refused,
    StaleVersion,
    UnknownPerson,
    UnknownRecord,
)
from hvmon.store.store import Counts, Store
from hvmon.vocabulary import RecordStatus
from tests.store import samples
from tests.store.samples import ANNA, BERT, BY, NOW, gas, identity, person, weight


def _weights(store, person_key=ANNA):
    return [str(held.record.weight_kg) for held in store.dossier(person_key).weight]


def _correct(store, held, record, request_id="c1", **other):
    values = BY | {"reason": "typed wrongly", "expect_version": held.version, "request_id": request_id}
    return store.correct(held.record_id, record, **values | other)


def _withdraw(store, held, request_id="x1", **other):
    values = BY | {"reason": "wrong person", "expect_version": held.version, "request_id": request_id}
    return store.withdraw(held.record_id, **values | other)


def test_a_saved_record_is_held_with_who_and_when(store):
    saved = store.save(weight(), request_id="r1", **BY)
    assert saved.added
    assert (saved.held.version, saved.held.status) == (1, RecordStatus.FINAL)
    assert (saved.held.recorded_by, saved.held.recorded_at) == ("Nurse N", NOW)
    assert store.held(saved.held.record_id) == saved.held
    assert store.dossier(ANNA).weight == (saved.held,)


def test_the_same_reading_again_adds_nothing(store):
    first = store.save(weight(), request_id="r1", **BY)
    revision = store.revision()
    again = store.save(weight(), request_id="r2", **BY)
    assert (again.held, again.added) == (first.held, False)
    assert store.revision() == revision


def test_trailing_zeros_do_not_make_another_reading_and_the_first_digits_stay(store):
    store.save(gas("6.8"), request_id="r1", **BY)
    again = store.save(gas("6.80"), request_id="r2", **BY)
    assert not again.added
    assert str(again.held.record.pco2.value) == "6.8"


def test_the_same_reading_with_other_values_is_refused_and_the_difference_named(store):
    first = store.save(gas("6.80"), request_id="r1", **BY)
    with pytest.raises(AlreadyDifferent) as refusal:
        store.save(gas("7.10", ph=Decimal("7.35")), request_id="r2", **BY)
    assert refusal.value.held == first.held
    assert refusal.value.fields == ("ph", "pco2")
    assert "pco2 (recorded 6.80, given 7.10)" in str(refusal.value)
    assert "drawn_at 2026-03-01T10:30:00+00:00" in str(refusal.value)
    assert "correct the recorded one" in str(refusal.value)


def test_the_same_request_gives_the_same_answer_whatever_happened_since(store):
    first = store.save(weight("71.5"), request_id="r1", **BY)
    _correct(store, first.held, weight("71.0"))
    assert store.save(weight("71.5"), request_id="r1", **BY) == first
    assert _weights(store) == ["71.0"]


def test_a_request_id_used_for_something_else_is_refused_not_answered(store):
    store.save(weight("71.5"), request_id="r1", **BY)
    with pytest.raises(Refused, match="used for another save"):
        store.save(weight("80", day=date(2026, 2, 9)), request_id="r1", **BY)
    assert _weights(store) == ["71.5"]


def test_a_visit_is_saved_whole_or_not_at_all(store):
    store.save(gas("6.80"), request_id="r1", **BY)
    revision = store.revision()
    with pytest.raises(AlreadyDifferent):
        store.save_all([weight(), gas("9.00")], request_id="r2", **BY)
    assert store.revision() == revision
    assert _weights(store) == []


def test_two_equal_readings_in_one_visit_are_stored_once(store):
    first, second = store.save_all([weight(), weight()], request_id="r1", **BY)
    assert (first.added, second.added) == (True, False)
    assert first.held == second.held
    with pytest.raises(AlreadyDifferent, match="weight_kg"):
        store.save_all([gas(), weight("60", date(2026, 2, 2)), weight("61", date(2026, 2, 2))],
                       request_id="r2", **BY)  # fmt: skip
    assert store.dossier(ANNA).blood_gas == ()


def test_a_correction_adds_a_version_and_keeps_the_old_one(store):
    held = store.save(weight("71.5"), request_id="r1", **BY).held
    new = _correct(store, held, weight("17.5"))
    assert (new.version, new.status, new.reason) == (2, RecordStatus.CORRECTED, "typed wrongly")
    assert [str(each.record.weight_kg) for each in store.history(held.record_id)] == ["71.5", "17.5"]
    assert store.dossier(ANNA).weight == (new,)


def test_a_correction_may_change_the_date_and_then_sorts_by_it(store):
    late = store.save(weight("70", date(2026, 2, 9)), request_id="r1", **BY).held
    store.save(weight("71", date(2026, 2, 5)), request_id="r2", **BY)
    _correct(store, late, weight("70", date(2026, 2, 1)))
    assert _weights(store) == ["70", "71"]
    assert store.save(weight("72", date(2026, 2, 9)), request_id="r3", **BY).added


def test_a_correction_onto_another_reading_is_refused(store):
    first = store.save(weight("70", date(2026, 2, 1)), request_id="r1", **BY).held
    second = store.save(weight("71", date(2026, 2, 2)), request_id="r2", **BY).held
    with pytest.raises(AlreadyDifferent) as refusal:
        _correct(store, second, weight("71", date(2026, 2, 1)))
    assert refusal.value.held == first


def test_a_correction_onto_a_withdrawn_reading_takes_its_place(store):
    first = store.save(weight("70", date(2026, 2, 1)), request_id="r1", **BY).held
    second = store.save(weight("71", date(2026, 2, 2)), request_id="r2", **BY).held
    _withdraw(store, first)
    _correct(store, second, weight("71", date(2026, 2, 1)))
    assert [held.record.weighed_on for held in store.dossier(ANNA).weight] == [date(2026, 2, 1)]
    assert not store.save(weight("71", date(2026, 2, 1)), request_id="r3", **BY).added


def test_a_correction_of_a_version_somebody_changed_is_refused_with_the_newer_values(store):
    held = store.save(weight("71.5"), request_id="r1", **BY).held
    newer = _correct(store, held, weight("72"))
    with pytest.raises(StaleVersion, match="You saw version 1, it is at version 2") as refusal:
        _correct(store, held, weight("73"), request_id="c2")
    assert refusal.value.current == newer
    with pytest.raises(StaleVersion):
        _withdraw(store, held)


@pytest.mark.parametrize(
    ("record", "other", "words"),
    [
        (weight("72"), {"reason": " "}, "reason for the correction is needed"),
        (weight("72"), {"actor": ""}, "name of the person who saves is needed"),
        (weight("72"), {"request_id": ""}, "request id is needed"),
        (weight("72"), {"now": datetime(2026, 3, 1)}, "needs its offset"),  # noqa: DTZ001
        (weight("72"), {"reason": "half \ud800"}, "half a character"),
        (weight("71.5"), {}, "changes nothing"),
        (weight("71.5", person_key=BERT), {}, "cannot be moved to another person"),
        (gas(), {}, "keeps the type"),
    ],
)
def test_a_wrong_correction_is_refused_in_words(store, record, other, words):
    held = store.save(weight("71.5"), request_id="r1", **BY).held
    revision = store.revision()
    with pytest.raises(Refused, match=words):
        _correct(store, held, record, **other)
    assert store.revision() == revision


def test_a_correction_may_change_the_digits_alone(store):
    held = store.save(gas("6.8"), request_id="r1", **BY).held
    assert str(_correct(store, held, gas("6.80")).record.pco2.value) == "6.80"


def test_a_withdrawn_record_leaves_everything_but_its_history(store):
    held = store.save(weight("71.5"), request_id="r1", **BY).held
    gone = _withdraw(store, held)
    assert (gone.status, gone.reason) == (RecordStatus.ENTERED_IN_ERROR, "wrong person")
    assert store.dossier(ANNA).weight == ()
    assert store.frame("weight").is_empty()
    assert next(store.dossiers([ANNA])).weight == ()
    assert [each.status for each in store.history(held.record_id)] == ["final", "entered in error"]
    with pytest.raises(Refused, match="withdrawn as entered in error"):
        _correct(store, gone, weight("72"), request_id="c3")


def test_a_withdrawn_reading_can_be_entered_again_as_a_new_version(store):
    held = store.save(weight("71.5"), request_id="r1", **BY).held
    _withdraw(store, held)
    again = store.save(weight("72.5"), request_id="r2", **BY)
    assert (again.added, again.held.record_id, again.held.version) == (True, held.record_id, 3)
    assert again.held.reason == "entered again after it was withdrawn"
    assert _weights(store) == ["72.5"]


def test_a_reading_of_an_unknown_person_is_refused(empty_store):
    with pytest.raises(Refused, match=f"no person with key {ANNA}"):
        empty_store.save(weight(), request_id="r1", **BY)
    assert empty_store.revision() == 0
    saved = empty_store.save_all([weight(), identity(), person()], request_id="r2", **BY)
    assert all(each.added for each in saved)


def test_two_people_cannot_share_a_local_number_and_one_person_has_one(store):
    store.save(person(BERT), request_id="r1", **BY)
    with pytest.raises(AlreadyDifferent, match="person_key"):
        store.save(identity(BERT, "00123"), request_id="r2", **BY)
    with pytest.raises(AlreadyDifferent, match="has an identity already"):
        store.save(identity(ANNA, "00999"), request_id="r3", **BY)
    with pytest.raises(AlreadyDifferent, match="has an identity already"):
        store.save_all([identity(BERT, "1"), identity(BERT, "2")], request_id="r4", **BY)


def test_a_local_number_freed_by_withdrawal_can_go_to_another_person(store):
    store.save(person(BERT), request_id="r1", **BY)
    mistaken = store.dossier(ANNA)
    record_id = store.audit_trail(ANNA).filter(table="identity")["record_id"][0]
    _withdraw(store, store.held(record_id))
    store.save(identity(BERT, "00123"), request_id="r2", **BY)
    assert store.dossier(ANNA).identity is None
    assert store.dossier(BERT).identity.local_id == mistaken.identity.local_id == "00123"


def test_a_withdrawn_person_leaves_the_lists(store):
    record_id = store.audit_trail(ANNA).filter(table="person")["record_id"][0]
    _withdraw(store, store.held(record_id))
    assert store.people() == ()
    assert store.person_keys() == ()
    assert list(store.dossiers()) == []
    with pytest.raises(UnknownPerson):
        store.dossier(ANNA)
    with pytest.raises(Refused, match="no person"):
        store.save(weight(), request_id="r1", **BY)
    assert store.save(person(), request_id="r2", **BY).added
    assert store.dossier(ANNA).identity is not None


def test_a_record_type_the_store_does_not_keep_is_refused(store):
    with pytest.raises(Refused, match="Record is no record the store keeps"):
        store.save(Record(), request_id="r1", **BY)


def test_what_is_not_there_is_named(store):
    with pytest.raises(UnknownRecord, match="no record 'nope'"):
        store.held("nope")
    with pytest.raises(UnknownRecord):
        store.correct("nope", weight(), expect_version=1, reason="r", request_id="c", **BY)
    with pytest.raises(UnknownPerson, match="zzz"):
        store.dossier("zzz")


def test_the_dossier_can_be_read_as_the_store_knew_it(store):
    held = store.save(weight("71.5"), request_id="r1", **BY).held
    before = store.revision()
    _correct(store, held, weight("72"))
    store.save(weight("73", date(2026, 2, 9)), request_id="r2", **BY)
    assert [str(h.record.weight_kg) for h in store.dossier(ANNA, as_of_seq=before).weight] == ["71.5"]
    assert _weights(store) == ["72", "73"]
    with pytest.raises(UnknownPerson, match="at change 0"):
        store.dossier(ANNA, as_of_seq=0)


def test_order_is_the_sequence_never_the_clock(store):
    held = store.save(weight("70"), request_id="r1", **BY).held
    earlier = NOW - timedelta(days=3650)
    new = _correct(store, held, weight("71"), now=earlier)
    assert new.recorded_at == earlier
    assert [each.version for each in store.history(held.record_id)] == [1, 2]
    assert _weights(store) == ["71"]


def test_dossiers_come_in_the_order_asked_for_and_equal_the_single_ones(store):
    store.save_all([person(BERT), weight("60", person_key=BERT)], request_id="r1", **BY)
    assert list(store.dossiers([BERT, "unknown", ANNA])) == [store.dossier(BERT), store.dossier(ANNA)]
    assert [each.person_key for each in store.dossiers()] == [ANNA, BERT]


def test_people_are_found_by_any_word_without_case_and_accents(store):
    store.save_all([person(BERT), identity(BERT, "77", "Ångström Bertil", "S-2")], request_id="r1", **BY)
    assert [line.name for line in store.people()] == ["Ångström Bertil", "Anna Invented"]
    assert [line.person_key for line in store.people("bertil angs")] == [BERT]
    assert [line.local_id for line in store.people("0012")] == ["00123"]
    assert store.people("s-1")[0].second_identifier == "S-1"
    assert store.people("nobody") == ()
    assert len(store.people(limit=1)) == 1
    assert store.people("anna")[0].invented


def test_people_without_identity_are_listed_without_name(empty_store):
    empty_store.save(person(), request_id="r1", **BY)
    (line,) = empty_store.people()
    assert (line.person_key, line.name, line.local_id, line.date_of_birth) == (ANNA, "", "", None)


def test_a_list_of_people_follows_every_change(store):
    assert store.people("anna")
    record_id = store.audit_trail(ANNA).filter(table="identity")["record_id"][0]
    _correct(store, store.held(record_id), identity(name="Hanna Invented"))
    assert store.people("hanna")


def test_a_bulk_import_adds_once_and_counts(store):
    store.save(weight("70", date(2026, 1, 1)), request_id="r1", **BY)
    records = [weight("70", date(2026, 1, day)) for day in range(1, 32)] * 2
    seen = []
    counts = store.save_many(records, request_id="bulk", progress=seen.append, **BY)
    assert counts == Counts(added=30, already=32)
    assert seen == [62]
    revision = store.revision()
    assert store.save_many(iter(records), request_id="bulk", **BY) == counts
    assert store.save_many(records, request_id="bulk 2", **BY) == Counts(0, 62)
    assert store.revision() == revision
    assert store.verify() == ()
    with pytest.raises(Refused, match="used for another save"):
        store.save_many(records[:5], request_id="bulk", **BY)


def test_a_bulk_import_with_one_contradiction_stores_nothing(store):
    records = [weight(day=date(2020, 1, 1) + timedelta(days=count)) for count in range(2100)]
    revision = store.revision()
    with pytest.raises(AlreadyDifferent, match="weighed_on 2020-01-01"):
        store.save_many([*records, weight("99", date(2020, 1, 1))], request_id="bulk", **BY)
    assert store.revision() == revision
    assert _weights(store) == []


def test_a_bulk_import_takes_people_after_their_readings(empty_store):
    days = [date(2020, 1, 1) + timedelta(days=count) for count in range(2100)]
    records = [*(weight(day=day) for day in days), person()]
    assert empty_store.save_many(records, request_id="bulk", **BY).added == 2101
    with pytest.raises(Refused, match="no person"):
        empty_store.save_many([weight(person_key=BERT)], request_id="bulk 2", **BY)


def test_the_audit_tells_who_did_what_when_and_why(store):
    held = store.save(weight("71.5"), request_id="r1", **BY).held
    _correct(store, held, weight("72"), actor="Doctor D")
    trail = store.audit_trail(ANNA, limit=2)
    assert trail["action"].to_list() == ["corrected", "added"]
    assert trail["actor"].to_list() == ["Doctor D", "Nurse N"]
    assert trail["reason"][0] == "typed wrongly"
    assert trail["at"].dtype == pl.Datetime("us", "UTC")
    assert '"weight_kg":"71.5"' in trail["before"][0]
    assert '"weight_kg":"72"' in trail["after"][0]
    assert store.audit_trail(BERT).is_empty()


def test_the_audit_never_holds_an_identity(store):
    text = store.audit_trail().write_json()
    for word in ("Anna", "00123", "S-1", "1950"):
        assert word not in text
    with Store.in_memory() as other:
        samples.with_anna(other)
        ours, theirs = (each.audit_trail().filter(table="identity")["after"][0] for each in (store, other))
    assert ours != theirs


def test_a_bulk_import_keeps_who_and_when_of_each_record_and_a_digest_of_what(store):
    store.save_many([weight("71.5")], request_id="bulk", **BY)
    event = store.audit_trail(limit=1).row(0, named=True)
    assert (event["actor"], event["at"], event["action"], event["version"]) == ("Nurse N", NOW, "added", 1)
    assert event["after"].startswith('{"sha256": ')


def test_a_double_click_from_two_threads_adds_one_record(disk_store):
    together = threading.Barrier(2)
    answers = []

    def press(request_id):
        together.wait()
        answers.append(disk_store.save(weight(), request_id=request_id, **BY))

    for requests in (("same", "same"), ("other 1", "other 2")):
        threads = [threading.Thread(target=press, args=(request,)) for request in requests]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert len({answer.held.record_id for answer in answers}) == 1
    assert _weights(disk_store) == ["71.5"]
    assert len(disk_store.history(answers[0].held.record_id)) == 1


def test_of_eight_corrections_at_once_one_wins(disk_store):
    held = disk_store.save(weight("70"), request_id="r1", **BY).held
    won, lost = [], []

    def press(number):
        try:
            won.append(_correct(disk_store, held, weight(str(71 + number)), request_id=f"c{number}"))
        except StaleVersion as stale:
            lost.append(stale.current)

    threads = [threading.Thread(target=press, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(won) == 1
    assert lost == won * 7


def test_many_threads_read_and_write_one_store_in_memory(store):
    failures = []

    def work(number):
        try:
            for count in range(5):
                day = date(2026, 1, 1) + timedelta(days=10 * number + count)
                store.save(weight(day=day), request_id=f"{number}-{count}", **BY)
                assert isinstance(store.dossier(ANNA).person, Person)
                store.people("anna")
        except Exception as error:  # noqa: BLE001 - carried to the test's own thread
            failures.append(error)

    threads = [threading.Thread(target=work, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert len(_weights(store)) == 40
    assert store.verify() == ()


def test_records_can_be_compared_with_the_store_without_saving(store):
    held = store.save(gas("6.8"), request_id="r1", **BY).held
    gone = store.save(weight(), request_id="r2", **BY).held
    _withdraw(store, gone)
    revision = store.revision()
    asked = [gas("6.80"), gas("7.1"), weight(), gas(drawn_at=NOW + timedelta(hours=1))]
    same, different, withdrawn, new = store.compare(asked)
    assert [each.record for each in (same, different, withdrawn, new)] == asked
    assert (same.known, withdrawn.known, new.known) == (Known.SAME, Known.NEW, Known.NEW)
    assert (different.known, different.held, different.fields) == (Known.DIFFERENT, held, ("pco2",))
    assert store.revision() == revision


def test_the_records_of_who_a_person_is_are_given_to_be_corrected(store):
    mine, who = store.person_records(ANNA)
    assert (mine.record, who.record) == (person(), identity())
    _correct(store, mine, person(tracheostomy=True))
    _withdraw(store, who)
    mine, who = store.person_records(ANNA)
    assert (mine.version, mine.record.tracheostomy, who) == (2, True, None)
    with pytest.raises(UnknownPerson):
        store.person_records(BERT)
