"""Records to flat rows and back, and what the columns say of themselves."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hvmon.records.flat import Kind, columns, flatten, unflatten
from hvmon.records.kinds import RECORD_KINDS, RecordKind
from tests.strategies import record_of


@pytest.mark.parametrize("kind", RECORD_KINDS, ids=lambda kind: kind.table)
@given(data=st.data())
def test_a_record_comes_back_equal_from_its_flat_row(kind: RecordKind, data: st.DataObject) -> None:
    record = data.draw(record_of(kind.model))
    row = flatten(record)
    assert tuple(row) == tuple(column.name for column in columns(kind.model))
    assert unflatten(kind.model, row) == record


@pytest.mark.parametrize("kind", RECORD_KINDS, ids=lambda kind: kind.table)
def test_column_names_are_unique_and_words_stand_only_with_closed_sets(kind: RecordKind) -> None:
    described = columns(kind.model)
    assert len({column.name for column in described}) == len(described)
    assert all(bool(column.words) == (column.kind == Kind.WORD) for column in described)


@pytest.mark.parametrize("kind", RECORD_KINDS, ids=lambda kind: kind.table)
def test_the_natural_key_and_the_date_are_fields_of_the_record(kind: RecordKind) -> None:
    fields = set(kind.model.model_fields)
    assert set(kind.model.natural_key) <= fields
    assert kind.model.natural_key
    assert kind.dated_by is None or kind.dated_by in fields
