"""The strategies cover every record type and draw only what the door accepts."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hvmon.records.flat import flatten, unflatten
from hvmon.records.kinds import RECORD_KINDS
from tests import strategies


def test_every_record_type_has_a_strategy():
    assert set(strategies.STRATEGY_OF) == {kind.model for kind in RECORD_KINDS}


@pytest.mark.parametrize("kind", RECORD_KINDS, ids=lambda kind: kind.table)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_every_record_comes_back_from_its_flat_row_with_the_digits_as_typed(kind, data):
    record = data.draw(strategies.record_of(kind.model))
    back = unflatten(kind.model, flatten(record))
    assert back == record
    assert strategies.digits(back) == strategies.digits(record)
