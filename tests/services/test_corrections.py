"""Corrections: what can be corrected, what a version changed, and who may win."""

from dataclasses import replace

from hvmon.records.flat import flatten
from hvmon.services import corrections
from hvmon.services.asked import Answers
from hvmon.services.outcome import Fate
from hvmon.services.visit_records import Context
from hvmon.store.store import Store
from tests.app.invented import ANNA


def as_drawn(held) -> dict[str, str]:
    """What the form holds before anybody types."""
    return {ask.key: ask.default for part in corrections.sections(held) for ask in part.asks}


def read(context: Context, held, answers: Answers):
    return corrections.understand(answers, held, dossier=context.dossier, now=context.now)


def test_every_record_of_a_person_is_listed_newest_first(context: Context):
    listed = corrections.choices(context.dossier)
    assert len(listed) == 3
    assert "blood gas" in listed[0].words
    assert "6.7 kPa" in listed[0].words


def test_an_untouched_form_gives_the_record_back(context: Context):
    for held in (*context.dossier.blood_gas, *context.dossier.settings_change):
        form = read(context, held, as_drawn(held) | {"why_changed": "looked again"})
        assert (form.refused, form.missing) == ({}, ())
        assert flatten(form.records[0]) == flatten(held.record)


def test_the_second_of_two_corrections_of_one_version_is_told_what_is_stored(store: Store, context: Context):
    held = context.dossier.blood_gas[-1]
    first = read(context, held, as_drawn(held) | {"ph": "7.38", "why_changed": "swapped"})
    second = read(context, held, as_drawn(held) | {"ph": "7.39", "why_changed": "swapped"})
    more = {"actor": "N", "now": context.now}
    assert corrections.correct(store, held, first, "swapped", request_id="a", **more).fate == Fate.SAVED
    lost = corrections.correct(store, held, second, "swapped", request_id="b", **more)
    assert lost.fate == Fate.CONFLICT
    assert str(lost.held[0].record.ph) == "7.38"
    assert [version.changes for version in corrections.history(store, held.record_id)] == [
        (),
        (("ph", "7.37", "7.38"),),
    ]


def test_a_withdrawal_without_a_reason_is_refused(store: Store, context: Context):
    held = context.dossier.blood_gas[-1]
    outcome = corrections.withdraw(store, held, " ", actor="N", request_id="w", now=context.now)
    assert outcome.fate == Fate.NOT_SAVED
    assert len(store.dossier(ANNA).blood_gas) == 2


def test_a_record_is_held_against_the_others_and_not_against_itself(context: Context):
    held = context.dossier.blood_gas[-1]
    alone = replace(context, dossier=replace(context.dossier, blood_gas=(held,)))
    typed = as_drawn(held) | {"pco2": "9.9", "hco3_mmol_l": "", "why_changed": "swapped"}
    asked, unasked = (
        [question for question in read(one, held, typed).questions if "last like reading" in question.words]
        for one in (context, alone)
    )
    assert asked
    assert not unasked


def test_a_second_program_is_corrected_under_its_own_heading_and_can_be_taken_away(context: Context):
    held = context.dossier.settings_change[-1]
    two = replace(held, record=held.record.model_copy(update={"program_2": held.record.program_1}))
    titles = [part.title for part in corrections.sections(two)]
    assert titles[1:] == ["Program 1", "Program 2", "Reason"]
    typed = as_drawn(two) | {"second_program": "no", "why_changed": "was never set"}
    form = read(context, two, typed)
    assert (form.refused, form.missing) == ({}, ())
    assert form.records[0].program_2 is None


def test_a_second_program_added_by_a_correction_needs_all_that_a_program_has(context: Context):
    held = context.dossier.settings_change[-1]
    form = read(context, held, as_drawn(held) | {"second_program": "yes", "why_changed": "left out"})
    assert form.records == ()
    assert {"program_2_mode", "program_2_interface", "program_2_oxygen_l_min"} <= set(form.missing)
