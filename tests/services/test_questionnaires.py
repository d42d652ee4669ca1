"""Questionnaire totals are asked by name, held to their range, and never hold an item."""

from datetime import UTC, datetime
from decimal import Decimal

import pytest

from hvmon.records.symptoms import INSTRUMENTS, SymptomReport
from hvmon.services import corrections, questionnaires, visit, visit_form
from hvmon.services.form_read import FormRead
from hvmon.services.visit_records import Context
from hvmon.store.store import Store
from hvmon.vocabulary import NOT_RECORDED, FlapTest, Informant
from tests.app.answers import WHOLE_VISIT
from tests.app.invented import ANNA

EPWORTH = {"questionnaire_1": "Epworth Sleepiness Scale", "total_1": "11", "completed_by_1": "self"}
MORE = WHOLE_VISIT | {"more": visit_form.MORE}


def asked(answers: dict[str, str]) -> list:
    return [ask for part in questionnaires.sections(answers) for ask in part.asks]


def report_of(form: FormRead) -> SymptomReport:
    return next(record for record in form.records if isinstance(record, SymptomReport))


@pytest.mark.parametrize("facts", INSTRUMENTS, ids=lambda facts: facts.instrument.name)
def test_range_and_direction_of_every_instrument_are_shown_before_the_total_is_typed(facts):
    asks = asked({"questionnaire_1": facts.instrument.value})
    hint = next(ask.hint for ask in asks if ask.key == "total_1")
    assert f"{facts.low} to {facts.high}" in hint
    assert ("high is worse" in hint) == facts.high_is_worse
    assert facts.mark.value in hint


@pytest.mark.parametrize("facts", INSTRUMENTS, ids=lambda facts: facts.instrument.name)
def test_both_ends_of_every_range_are_taken_and_a_total_beyond_is_refused(facts):
    answers = {"questionnaire_1": facts.instrument.value, "completed_by_1": "self"}
    for end in (facts.low, facts.high):
        assert questionnaires.read(answers | {"total_1": str(end)}).totals[0].total == end
    beyond = questionnaires.read(answers | {"total_1": str(facts.high + 1)})
    assert beyond.totals == []
    assert "outside" in beyond.refused["total_1"]


def test_a_visit_asks_for_no_questionnaire_unless_there_is_more_to_record(context: Context):
    form = visit.understand(WHOLE_VISIT | EPWORTH, context)
    assert report_of(form).instruments == ()


def test_a_total_is_stored_with_the_symptoms_of_the_visit(context: Context):
    form = visit.understand(MORE | EPWORTH | {"version_1": "1997"}, context)
    total = report_of(form).instruments[0]
    assert (total.total, total.version, total.completed_by) == (Decimal(11), "1997", Informant.SELF)
    assert form.words["total_1"].startswith("11 of 0 to 24, high is worse")


def test_totals_alone_make_a_report_whose_ratings_say_not_recorded(context: Context):
    form = visit.understand(MORE | EPWORTH | {"symptoms": "not asked"}, context)
    report = report_of(form)
    assert (report.morning_headache, report.flap) == (NOT_RECORDED, FlapTest.NOT_TESTED)
    assert report.instruments[0].total == 11


def test_the_next_questionnaire_is_asked_for_once_one_is_named():
    first = {ask.key for ask in asked({})}
    assert "questionnaire_2" not in first
    assert "questionnaire_2" in {ask.key for ask in asked(EPWORTH)}


def test_a_named_questionnaire_needs_its_total_and_who_completed_it(context: Context):
    form = visit.understand(MORE | {"questionnaire_1": "S3-NIV"}, context)
    assert {"total_1", "completed_by_1"} <= set(form.missing)
    assert form.records == ()


@pytest.mark.parametrize(
    ("answers", "key", "words"),
    [
        ({"total_1": "11"}, "questionnaire_1", "choose which"),
        (EPWORTH | {"total_1": "eleven"}, "total_1", "eleven"),
        (
            EPWORTH | {"questionnaire_2": "Epworth Sleepiness Scale", "total_2": "9"},
            "questionnaire_2",
            "twice",
        ),
    ],
)
def test_a_total_that_cannot_be_read_is_refused_and_nothing_is_stored(
    context: Context, answers: dict[str, str], key: str, words: str
):
    form = visit.understand(MORE | answers, context)
    assert words in form.refused[key]
    assert form.records == ()


def test_a_stored_total_is_corrected_and_the_old_one_kept(store: Store, context: Context):
    visit.save(store, visit.understand(MORE | EPWORTH, context), context)
    held = store.dossier(ANNA).symptom_report[-1]
    start = {ask.key: ask.default for part in corrections.sections(held) for ask in part.asks}
    answers = start | {"total_1": "17", "why_changed": "digits swapped"}
    form = corrections.understand(answers, held, dossier=store.dossier(ANNA), now=context.now)
    corrections.correct(
        store, held, form, "digits swapped", actor="N", request_id="c", now=datetime(2026, 6, 16, tzinfo=UTC)
    )
    last = corrections.history(store, held.record_id)[-1]
    assert [(column, before[:27], after[:27]) for column, before, after in last.changes] == [
        ("instruments", "Epworth Sleepiness Scale 11", "Epworth Sleepiness Scale 17")
    ]
