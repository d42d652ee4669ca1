"""A home visit is read strictly, asked about, and stored whole or not at all."""

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal

import pytest

from hvmon.records.gas import BloodGas, SpotTranscutaneous
from hvmon.services import visit, visit_form
from hvmon.services.form_read import FormRead, reason_key
from hvmon.services.outcome import Fate
from hvmon.services.visit_records import Context
from hvmon.store.store import Store
from hvmon.vocabulary import NOT_RECORDED, SampleSite
from tests.app.answers import WHOLE_VISIT
from tests.app.invented import ANNA, BRAM


def read(context: Context, **changed: str) -> FormRead:
    return visit.understand(
        WHOLE_VISIT | {key.replace("__", "."): text for key, text in changed.items()}, context
    )


def gas_of(form: FormRead) -> BloodGas:
    return next(record for record in form.records if isinstance(record, BloodGas))


def test_a_whole_visit_becomes_its_five_records(context: Context):
    form = read(context)
    assert (form.missing, form.refused, form.unanswered) == ((), {}, ())
    assert [type(record).__name__ for record in form.records] == [
        "Visit",
        "BloodGas",
        "SymptomReport",
        "SettingsReading",
        "Weight",
    ]


def test_numbers_and_their_unit_are_kept_as_typed(context: Context):
    gas = gas_of(read(context))
    assert (str(gas.pco2), str(gas.ph), gas.site) == ("6.7 kPa", "7.36", SampleSite.EARLOBE)
    assert gas.state.minutes_since_oxygen_change == NOT_RECORDED


def test_times_are_read_on_the_clock_of_the_person(context: Context):
    assert gas_of(read(context)).drawn_at == datetime(2026, 6, 15, 9, 30, tzinfo=UTC)


def test_the_unit_is_never_assumed(context: Context):
    form = read(context, unit="")
    assert "unit" in form.missing
    assert form.refused["sample.pco2"] == "choose the unit first: kPa or mmHg"
    assert form.records == ()


@pytest.mark.parametrize("key", sorted(set(WHOLE_VISIT) - {
    "sample.po2", "sample.hco3_mmol_l", "sample.spo2_pct", "weight.weight_kg", "visit.comment",
}))  # fmt: skip
def test_every_required_answer_left_blank_is_named_and_nothing_is_made(context: Context, key: str):
    form = visit.understand(WHOLE_VISIT | {key: " "}, context)
    assert key in form.missing
    assert form.records == ()


def test_an_impossible_number_is_refused_with_what_is_accepted(context: Context):
    form = read(context, sample__ph="736")
    assert "accepted is 6.5 to 8.0" in form.refused["sample.ph"]
    assert form.records == ()


def test_mmhg_typed_in_a_kpa_field_is_asked_about_and_stored_only_with_a_reason(context: Context):
    asked = read(context, sample__pco2="49")
    assert "sample.pco2" in asked.unlikely
    assert asked.records == ()
    slip = next(question for question in asked.questions if question.field == "pco2")
    assert "mmHg" in slip.words
    reasons = {reason_key(question): "checked the slip twice" for question in asked.questions}
    told = visit.understand(WHOLE_VISIT | {"sample.pco2": "49"} | reasons, context)
    kept = gas_of(told).accepted_warnings
    assert {warning.reason for warning in kept} == {"checked the slip twice"}
    assert slip.words in {warning.shown for warning in kept}


def test_a_reason_given_for_one_value_does_not_pass_another(context: Context):
    asked = read(context, sample__pco2="49")
    reasons = {reason_key(question): "checked" for question in asked.questions}
    other = visit.understand(WHOLE_VISIT | {"sample.pco2": "48"} | reasons, context)
    assert other.unanswered
    assert other.records == ()


def test_a_day_in_the_future_is_refused(context: Context):
    assert "lies in the future" in read(context, date="16062026").refused["date"]


def test_a_clock_time_that_was_skipped_is_refused(context: Context):
    form = read(context, date="29032026", time="0130")
    assert "did not exist" in form.refused["time"]


def test_a_sensor_reading_is_kept_apart_from_blood(context: Context):
    sensor = {
        "sample": "transcutaneous sensor",
        "sample.site": "earlobe",
        "sample.ptcco2": "6.4",
        "sample.minutes_since_applied": "25",
        "sample.drift_correction": "none",
    }
    form = visit.understand(WHOLE_VISIT | sensor, context)
    reading = next(record for record in form.records if isinstance(record, SpotTranscutaneous))
    assert str(reading.ptcco2) == "6.4 kPa"
    assert not any(isinstance(record, BloodGas) for record in form.records)


def test_no_sample_needs_a_reason_and_makes_no_gas(context: Context):
    without = read(context, sample="no sample")
    assert "visit.not_done" in without.missing
    told = read(context, sample="no sample", visit__not_done="refused")
    assert [type(record).__name__ for record in told.records][:2] == ["Visit", "SymptomReport"]


def test_a_leak_without_hours_of_use_is_not_dropped(context: Context):
    form = read(context, use__leak_l_min="20", use__leak_kind="total, mean")
    assert "is needed" in form.refused["use.usage_h"]


def test_settings_different_from_those_ordered_are_stored_as_read(context: Context):
    program = {
        f"machine.program_1_{name}": text
        for name, text in {
            "mode": "bilevel spontaneous-timed", "ipap_cmh2o": "20", "epap_cmh2o": "6", "trigger": "medium",
            "oxygen_l_min": "1", "interface": "oronasal mask",
            "circuit": "single limb, exhalation port in the circuit", "filter_kind": "bacterial filter",
        }.items()
    }  # fmt: skip
    asked = visit.understand(WHOLE_VISIT | {"machine": "different"} | program, context)
    reasons = {reason_key(question): "as read" for question in asked.questions}
    form = visit.understand(WHOLE_VISIT | {"machine": "different"} | program | reasons, context)
    reading = next(record for record in form.records if type(record).__name__ == "SettingsReading")
    assert reading.program_1.ipap_cmh2o == Decimal(20)


def test_a_person_without_ordered_settings_cannot_be_same_as_ordered(store: Store, context: Context):
    other = replace(context, dossier=store.dossier(BRAM))
    form = visit.understand(WHOLE_VISIT, other)
    assert form.records == ()


def test_a_double_click_stores_one_visit(store: Store, context: Context):
    form = read(context)
    first, second = visit.save(store, form, context), visit.save(store, form, context)
    assert (first.fate, first.stored, second.stored) == (Fate.SAVED, True, True)
    assert len(store.dossier(ANNA).visit) == 1
    assert [held.record_id for held in first.held] == [held.record_id for held in second.held]


def test_the_same_form_saved_again_with_other_values_is_refused_and_the_first_kept(
    store: Store, context: Context
):
    visit.save(store, read(context), context)
    outcome = visit.save(store, read(context, sample__ph="7.35"), context)
    assert not outcome.stored
    assert str(store.dossier(ANNA).blood_gas[-1].record.ph) == "7.36"


def test_a_second_visit_of_the_same_moment_with_other_values_is_refused_whole(store: Store, context: Context):
    visit.save(store, read(context), context)
    other = Context(context.dossier, context.actor, context.role, "token-2", context.now)
    outcome = visit.save(store, visit.understand(WHOLE_VISIT | {"sample.ph": "7.35"}, other), other)
    assert outcome.fate == Fate.DIFFERENT
    assert len(store.dossier(ANNA).symptom_report) == 1


def test_without_a_name_nothing_is_saved(store: Store, context: Context):
    nameless = replace(context, actor="")
    outcome = visit.save(store, visit.understand(WHOLE_VISIT, nameless), nameless)
    assert not outcome.stored
    assert store.dossier(ANNA).visit == ()


def test_a_second_program_read_as_different_is_asked_and_never_taken_from_the_order(
    store: Store, context: Context
):
    order = store.dossier(ANNA).settings_change[-1].record
    moment = {"changed_at": order.changed_at.replace(hour=10), "program_2": order.program_1}
    store.save(order.model_copy(update=moment), actor="P", request_id="two", now=context.now)
    two = Context(store.dossier(ANNA), context.actor, context.role, context.token, context.now)
    form = visit.understand(WHOLE_VISIT | {"machine": "different"}, two)
    assert "machine.program_1_mode" in form.missing
    assert "program_2_mode" in " ".join([*form.missing, *form.refused])


MORE = {"more": visit_form.MORE}


def test_what_the_ordinary_visit_does_not_bring_is_recorded_behind_one_answer(context: Context):
    more = {
        "analysed_time": "1042", "sample.analyser": "clinic 2", "sample.comment": "small bubble",
        "sample.state_fio2": "0.28", "sample.state_oxygen_l_min": "n",
        "visit.not_done": "lung function: too tired", "machine.comment": "humidifier dry",
    }  # fmt: skip
    form = visit.understand(WHOLE_VISIT | MORE | more, context)
    gas = gas_of(form)
    assert (gas.analysed_at, gas.analyser) == (datetime(2026, 6, 15, 9, 42, tzinfo=UTC), "clinic 2")
    assert (gas.state.fio2, gas.state.oxygen_l_min, gas.comment) == (
        Decimal("0.28"),
        NOT_RECORDED,
        "small bubble",
    )
    assert form.records[0].not_done == "lung function: too tired"
    assert next(r for r in form.records if type(r).__name__ == "SettingsReading").comment == "humidifier dry"


def test_a_sample_analysed_before_it_was_drawn_is_refused(context: Context):
    form = visit.understand(WHOLE_VISIT | MORE | {"analysed_time": "1020"}, context)
    assert "before" in form.refused["analysed_time"]
    assert form.records == ()


def test_fio2_in_percent_is_refused_with_what_is_accepted(context: Context):
    form = visit.understand(WHOLE_VISIT | MORE | {"sample.state_fio2": "28"}, context)
    assert "accepted is" in form.refused["sample.state_fio2"]
