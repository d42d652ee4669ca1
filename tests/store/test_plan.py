"""Records to SQL and back, for every record type."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hvmon.records.flat import columns, flatten
from hvmon.records.kinds import RECORD_KINDS
from hvmon.records.limits import ENTRY_LIMITS
from hvmon.records.meeting import PersonRuleEdit
from hvmon.store.errors import Damaged, Refused, Unsaved
from hvmon.store.plan import from_us, plan_of, to_us
from hvmon.store.specs import specs_of
from hvmon.store.store import Store
from hvmon.vocabulary import NOT_RECORDED
from tests import strategies
from tests.store import samples
from tests.store.samples import BY, NOW

EVERY_KIND = pytest.mark.parametrize("kind", RECORD_KINDS, ids=lambda kind: kind.table)
PATIENT = settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)


@EVERY_KIND
@PATIENT
@given(data=st.data())
def test_every_record_comes_back_from_the_database_with_the_digits_as_typed(kind, data):
    person_key = data.draw(strategies.person_key_texts)
    record = data.draw(strategies.record_of(kind.model, st.just(person_key)))
    with Store.in_memory() as store:
        if kind.table != "person":
            store.save(samples.person(person_key), request_id="person", **BY)
        saved = store.save(record, request_id="record", **BY)
        back = store.held(saved.held.record_id).record
        found = store.dossier(person_key)
        assert store.verify() == ()
    assert back == record
    assert strategies.digits(back) == strategies.digits(record)
    part = getattr(found, kind.table)
    assert record == (part if kind.table in {"person", "identity"} else part[0].record)


@EVERY_KIND
@PATIENT
@given(data=st.data())
def test_the_stored_columns_are_those_of_the_flat_form_with_the_nearest_float_beside(kind, data):
    record = data.draw(strategies.record_of(kind.model))
    flat, row = flatten(record), plan_of(kind).row(record)
    _check_shadows(kind, flat, plan_of(kind).shadows(row))
    assert list(row) == list(flat) == [column.name for column in columns(kind.model)]
    for name, value in flat.items():
        if isinstance(value, Decimal):
            assert Decimal(row[name]).as_tuple() == value.as_tuple()
        elif isinstance(value, bool):
            assert row[name] == ("yes" if value else "no")
        elif isinstance(value, datetime):
            assert from_us(row[name]) == value
        elif value is None or value == NOT_RECORDED:
            assert row[name] == value


def _check_shadows(kind, flat, shadows):
    for spec in specs_of(kind.model):
        if spec.has_shadow:
            value, shadow = flat[spec.name], shadows[f"{spec.name}_number"]
            assert shadow == (None if value is None or value == NOT_RECORDED else float(value))


@given(st.datetimes(datetime(1900, 1, 1), datetime(2199, 1, 1), timezones=st.just(UTC)))  # noqa: DTZ001
def test_moments_keep_their_microseconds(moment):
    assert from_us(to_us(moment)) == moment
    assert to_us(moment + timedelta(microseconds=1)) == to_us(moment) + 1


def _limited():
    for kind in RECORD_KINDS:
        for spec in specs_of(kind.model):
            for unit, low, high in spec.ranges:
                yield pytest.param(kind, spec.name, unit, low, high, id=f"{kind.table}-{spec.name}-{unit}")


def _takes(store, table, row):
    names = ", ".join(row)
    marks = ", ".join("?" for _ in row)
    statement = f"INSERT INTO {table}_version ({names}) VALUES ({marks})"  # noqa: S608
    try:
        with store._database.write() as connection:
            connection.exec_driver_sql(statement, tuple(row.values()))
    except Unsaved as refusal:
        return "own checks" not in str(refusal)
    return True


@pytest.mark.parametrize(("kind", "name", "unit", "low", "high"), list(_limited()))
def test_the_database_itself_takes_the_limits_and_refuses_what_is_beyond(kind, name, unit, low, high, store):
    plan = plan_of(kind)
    head = store.save(samples.weight(), request_id="w", **BY).held
    held = {
        "record_id": head.record_id, "seq": 99, "held_status": "corrected", "held_reason": "why",
        "held_us": 0, "held_by": "N", "request_id": "r",
    }  # fmt: skip
    row = held | plan.row(_example(kind))
    if unit:
        row[f"{name}_unit"] = unit
    values = (low, high, *_beyond(low, high))
    rows = [row | {"version": count, name: value} for count, value in enumerate(values, start=2)]
    taken = [_takes(store, kind.table, full | plan.shadows(full)) for full in rows]
    assert taken == [True, True, False, False]


def _beyond(low, high):
    tiny = Decimal("0.000001")
    return str(Decimal(low) - tiny), str(Decimal(high) + tiny)


_EXAMPLES = {}


def _example(kind):
    """Give one record of a kind, drawn once."""
    if kind not in _EXAMPLES:
        found = []

        @settings(max_examples=1, database=None, deadline=None, derandomize=True)
        @given(strategies.record_of(kind.model, st.just(samples.ANNA)))
        def draw(record):
            found.append(record)

        draw()
        _EXAMPLES[kind] = found[0]
    return _EXAMPLES[kind]


def test_every_entry_limit_that_a_record_uses_is_also_a_check_of_the_database():
    used = {spec.name for kind in RECORD_KINDS for spec in specs_of(kind.model) if spec.ranges}
    unlimited = {
        spec.name
        for kind in RECORD_KINDS
        for spec in specs_of(kind.model)
        if spec.kind == "decimal number" and not spec.ranges
    }
    assert len(used) > 30
    assert unlimited == {
        "dips_per_h", "limit_value", "meter_h", "expected_paco2_kpa", "expected_low_kpa", "expected_high_kpa",
    }  # fmt: skip
    assert len(ENTRY_LIMITS) > 30


def test_a_number_beyond_any_float_is_refused_in_words(store):
    edit = PersonRuleEdit(
        person_key=samples.ANNA,
        rule_id="GAS-1",
        in_use=True,
        limit_value=Decimal("1E+400"),
        reason="slip",
        edited_by="N",
        edited_on=NOW.date(),
    )
    with pytest.raises(Refused, match="limit_value 1E\\+400 is too large"):
        store.save(edit, request_id="edit", **BY)


def test_a_stored_value_the_door_refuses_is_not_shown():
    plan = plan_of(next(kind for kind in RECORD_KINDS if kind.table == "weight"))
    row = plan.row(samples.weight()) | {"weight_kg": "4000"}
    with pytest.raises(Damaged, match=r"stored weight cannot be read back \(weight_kg\)"):
        plan.record([row[name] for name in plan.names])
