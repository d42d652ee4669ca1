"""A new person, what is known of one, and the small records around the readings."""

from datetime import UTC, date, datetime

import pytest
from streamlit.testing.v1 import AppTest

from hvmon.records.meeting import Action
from hvmon.store.store import Store
from hvmon.vocabulary import ActionState, TestKind
from tests.app.invented import ANNA
from tests.app.sight import answer, press, seen

NEW = {
    "local_id": "H2001",
    "second_identifier": "NHS-2001",
    "name": "Cora Invented",
    "date_of_birth": "01041960",
    "sex": "female",
    "diagnosis_group": "COPD",
    "dependence": "night only",
    "height_cm": "n",
    "height_method": "not recorded",
    "has_lung_disease": "yes",
    "ventilation_started": "n",
    "home_oxygen": "no",
    "tracheostomy": "no",
    "zone": "Europe/London",
}


def part(session: AppTest, title: str) -> AppTest:
    session.segmented_control(key="person_part").set_value(title)
    return session.run()


def fill(session: AppTest, answers: dict[str, str]) -> AppTest:
    for key, text in answers.items():
        answer(session, key, text)
    return session.run()


def test_a_new_person_is_stored_with_identity_and_opened(open_page, store: Store):
    session = press(fill(open_page("person", person=None), NEW), "Save the person")
    line = store.people("Cora")[0]
    assert (line.local_id, line.invented) == ("H2001", False)
    assert session.session_state["person_key"] == line.person_key


def test_the_same_identifier_twice_is_refused(open_page, store: Store):
    session = fill(open_page("person", person=None), NEW | {"second_identifier": "H2001"})
    assert "second\\, independent identifier is needed" in seen(session)
    assert store.people("Cora") == ()


def test_what_is_known_can_be_corrected(open_page):
    session = open_page("person")
    assert "Diagnosis group: **COPD**" in seen(session)
    assert sum(button.label == "Correct" for button in session.button) == 2


@pytest.mark.parametrize(
    ("title", "answers", "table"),
    [
        ("Weight", {"weight_kg": "70.5", "estimated": "no"}, "weight"),
        ("Event", {"kind": "respiratory infection", "detail": "antibiotics from the GP"}, "clinical_event"),
        ("Lung function", {"fvc_l": "1.2"}, "lung_function"),
    ],
)
def test_a_small_record_is_stored(open_page, store: Store, title: str, answers: dict[str, str], table: str):
    session = fill(part(open_page("person"), title), answers)
    press(session, f"Save: {title.lower()}")
    assert len(getattr(store.dossier(ANNA), table)) == 1


def test_a_rule_is_edited_for_one_person_with_a_reason(open_page, store: Store):
    session = part(open_page("person"), "Rule for this person")
    rule = next(box for box in session.selectbox if (box.key or "").endswith("|rule"))
    chosen = next(option for option in rule.options if option.startswith("GAS-1 "))
    fill(session, {"rule": chosen, "in_use": "no", "reason": "palliative, no gases wanted"})
    press(session, "Save: rule for this person")
    edit = store.dossier(ANNA).rule_edit[0].record
    assert (edit.rule_id, edit.in_use, edit.edited_by) == ("GAS-1", False, "Nia Nurse")


def test_hidden_names_are_hidden_here_too(open_page):
    session = open_page("person")
    session.toggle(key="hide_names").set_value(True)
    shown = seen(session.run())
    assert "Anna" not in shown
    assert "H1001" not in shown


def test_what_became_of_something_owed_is_noted(open_page, store: Store):
    session = part(open_page("person"), "Owed and agreed")
    assert "FUP\\-" in seen(session)
    line = next(box for box in session.selectbox if (box.key or "").endswith("|owed_line"))
    fill(session, {"owed_line": line.options[0], "became": "refused", "owed.reason": "does not want needles"})
    session = press(session, "Save the note")
    assert not session.exception
    assert {one.record.reason for one in store.dossier(ANNA).owed_edit} == {"does not want needles"}
    assert "does not want needles" in seen(session)


def test_an_open_action_is_closed(open_page, store: Store):
    action = Action(
        person_key=ANNA, agreed_on=date(2026, 6, 1), what="Order a second mask", owner="Nia Nurse",
        due=date(2026, 6, 10), asks_for=TestKind.NONE, state=ActionState.OPEN,
    )  # fmt: skip
    store.save(action, actor="P", request_id="action", now=datetime(2026, 6, 1, tzinfo=UTC))
    session = part(open_page("person"), "Owed and agreed")
    line = next(box for box in session.selectbox if (box.key or "").endswith("|action_line"))
    fill(session, {"action_line": line.options[0], "action.state": "done", "why_closed": "delivered"})
    session = press(session, "Save the end of the action")
    assert not session.exception
    held = store.dossier(ANNA).action[-1]
    assert (held.record.state, held.version, held.reason) == (ActionState.DONE, 2, "delivered")


def test_opening_somebody_while_a_new_person_is_typed_shows_the_one_opened(open_page):
    session = part(open_page("person", person=None), "New person")
    session.text_input(key="find-0").set_value("Anna").run()
    session = (
        next(button for button in session.button if (button.key or "").startswith("pick-")).click().run()
    )
    assert "Diagnosis group: **COPD**" in seen(session)


def test_an_untouched_form_is_told_what_it_needs_and_not_refused(open_page):
    session = part(open_page("person"), "Lung function")
    shown = seen(session).replace("\\", "")
    assert "at least one of FVC [L], FVC [% predicted], SNIP [cmH2O]" in shown
    assert "Refused" not in shown
    assert "Refused" in seen(fill(session, {"comment": "could not seal the lips"}))


@pytest.mark.parametrize(
    ("rule", "limit", "told"),
    [("GAS-3", "48", "mmHg typed as kPa"), ("RED-1", "1", "has no limit"), ("GAS-3", "7,5", "")],
)
def test_a_persons_own_limit_is_held_against_the_published_one_before_it_is_stored(
    open_page, store: Store, rule: str, limit: str, told: str
):
    session = part(open_page("person"), "Rule for this person")
    named = next(word for box in session.selectbox for word in box.options if word.startswith(f"{rule} "))
    answers = {"rule": named, "in_use": "yes", "limit_value": limit, "reason": "agreed with her"}
    session = press(fill(session, answers), "Save: rule for this person")
    assert (told in seen(session).replace("\\", "")) or not told
    assert len(store.dossier(ANNA).rule_edit) == (0 if told else 1)
