"""Tables as frames: types are fixed, values are those of the records in force."""

from datetime import date

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hvmon.records.flat import Kind, columns, flatten
from hvmon.records.kinds import RECORD_KINDS
from hvmon.store.errors import Refused
from hvmon.store.store import Store
from hvmon.vocabulary import NOT_RECORDED
from tests import strategies
from tests.store.samples import ANNA, BERT, BY, NOW, gas, person, weight

TYPES = {
    Kind.TEXT: pl.String,
    Kind.WORD: pl.String,
    Kind.LIST: pl.String,
    Kind.WHOLE: pl.Int64,
    Kind.DECIMAL: pl.Float64,
    Kind.YES_NO: pl.Boolean,
    Kind.INSTANT: pl.Datetime("us", "UTC"),
    Kind.DATE: pl.Date,
}


@pytest.mark.parametrize("kind", RECORD_KINDS, ids=lambda kind: kind.table)
def test_an_empty_table_has_the_types_of_a_full_one(kind, empty_store):
    schema = empty_store.frame(kind.table).schema
    assert {column.name: schema[column.name] for column in columns(kind.model)} == {
        column.name: TYPES[column.kind] for column in columns(kind.model)
    }
    assert list(schema)[:4] == ["person_key", "record_id", "version", "seq"]


@pytest.mark.parametrize("kind", RECORD_KINDS, ids=lambda kind: kind.table)
@settings(
    max_examples=8,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(data=st.data())
def test_a_frame_holds_the_values_of_the_records(kind, data):
    record = data.draw(strategies.record_of(kind.model, st.just(ANNA)))
    with Store.in_memory() as store:
        if kind.table != "person":
            store.save(person(), request_id="p", **BY)
        store.save(record, request_id="r", **BY)
        row = store.frame(kind.table, ANNA).row(0, named=True)
        assert row == store.frame(kind.table).row(0, named=True)
    for name, value in flatten(record).items():
        if value == NOT_RECORDED:
            assert row[name] in {None, "not recorded"}
        elif columns(kind.model)[0].kind == Kind.LIST or name in {"accepted_warnings", "instruments"}:
            assert row[name].startswith("[")
        else:
            column = next(column for column in columns(kind.model) if column.name == name)
            wanted = float(value) if column.kind == Kind.DECIMAL and value is not None else value
            assert row[name] == wanted


def test_a_frame_holds_only_what_is_in_force_sorted_by_person_and_time(store):
    store.save(person(BERT), request_id="b", **BY)
    days = [date(2026, 2, day) for day in (3, 1, 2)]
    held = [store.save(weight("70", day), request_id=str(day), **BY).held for day in days]
    store.save(weight("60", person_key=BERT), request_id="w", **BY)
    change = {"reason": "typed wrongly", "expect_version": 1, **BY}
    store.correct(held[0].record_id, weight("80", date(2026, 2, 4)), request_id="c", **change)
    store.withdraw(held[1].record_id, request_id="x", **change)
    frame = store.frame("weight")
    assert frame["weight_kg"].to_list() == [70.0, 80.0, 60.0]
    assert frame["version"].to_list() == [1, 2, 1]
    assert store.frame("weight", BERT)["person_key"].to_list() == [BERT]


def test_what_was_not_recorded_is_null_and_moments_are_utc(store):
    store.save(gas("6.8"), request_id="g", **BY)
    row = store.frame("blood_gas").row(0, named=True)
    assert (row["pco2"], row["pco2_unit"], row["drawn_at"]) == (6.8, "kPa", NOW)
    assert row["state_oxygen_l_min"] is None
    assert row["state_minutes_since_oxygen_change"] == 30


def test_an_unknown_table_is_refused_with_the_list(store):
    with pytest.raises(Refused, match="no table 'gases'; accepted: identity, person, visit, blood_gas"):
        store.frame("gases")
