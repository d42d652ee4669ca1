"""What goes with CO2: worked out the same every time, and silent where the record is."""

from datetime import date

from hvmon.records.course import ClinicalEvent
from hvmon.services import relations as service
from hvmon.services.relations import relations
from hvmon.services.review import review
from hvmon.stats.bicarbonate import Corroborates
from hvmon.units import PressureUnit
from hvmon.vocabulary import EventKind, MedicineClass
from tests.app import invented
from tests.services.conftest import NOW

TODAY, KPA = invented.TODAY, PressureUnit.KPA


def event(kind, medicine, day):
    return ClinicalEvent(
        person_key=invented.ANNA,
        happened_on=day,
        kind=kind,
        medicine_class=medicine,
        recorded_by="N. Invented",
    )


def found(store):
    return relations(review(store, invented.ANNA, today=TODAY))


def save(store, *records):
    for number, record in enumerate(records):
        store.save(
            record, actor="N. Invented", request_id=f"relations-{number}-{record.happened_on}", now=NOW
        )


def test_the_same_record_gives_the_same_answer(store):
    one, other = found(store), found(store)
    assert service.symptoms_lines(one) == service.symptoms_lines(other)
    assert service.changes_table(one, KPA) == service.changes_table(other, KPA)


def test_a_change_without_readings_on_both_sides_is_not_enough_to_tell(store):
    rows = service.changes_table(found(store), KPA)
    assert len(rows) == 1
    assert rows[0]["What can be said"].startswith("not enough to tell")


def test_an_effect_that_is_told_stands_in_the_unit_of_display(store):
    change = invented.change(invented.ANNA, 350).model_copy(update={"why": "second change"})
    gases = [invented.gas(invented.ANNA, 399 - 6 * step, "9.6") for step in range(8)]
    gases += [invented.gas(invented.ANNA, 320 - 9 * step, "6.4") for step in range(20)]
    store.save_all([change, *gases], actor="N. Invented", request_id="told", now=NOW)
    one = found(store)
    assert one.changes[-1].told
    kpa, mmhg = (service.changes_table(one, unit)[0]["What can be said"] for unit in (KPA, PressureUnit.MMHG))
    assert "kPa (95 %:" in kpa
    assert "mmHg (95 %:" in mmhg
    assert "kPa" not in mmhg
    assert "this does not say the change did it" in mmhg


def test_without_symptom_reports_every_symptom_says_not_enough_data(store):
    lines = service.symptoms_lines(found(store))
    assert lines
    assert all("not enough data" in line for line in lines)


def test_a_diuretic_in_use_makes_bicarbonate_unusable(store):
    save(store, event(EventKind.MEDICINE_STARTED, MedicineClass.DIURETIC, date(2026, 1, 5)))
    one = found(store).bicarbonate
    assert one.answer == Corroborates.NOT_USABLE
    assert "diuretic since 05 Jan 2026" in one.reason


def test_a_diuretic_stopped_again_does_not(store):
    save(
        store,
        event(EventKind.MEDICINE_STARTED, MedicineClass.DIURETIC, date(2026, 1, 5)),
        event(EventKind.MEDICINE_STOPPED, MedicineClass.DIURETIC, date(2026, 2, 5)),
    )
    assert "diuretic" not in found(store).bicarbonate.reason


def test_without_an_estimate_bicarbonate_has_nothing_to_be_held_against(store):
    none = relations(review(store, invented.BRAM, today=TODAY))
    assert service.bicarbonate_line(none) == "Bicarbonate: no estimate to hold it against."
    assert none.changes == ()
