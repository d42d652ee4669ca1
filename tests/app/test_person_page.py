"""A new person, what is known of one, and the small records around the readings."""

import pytest
from streamlit.testing.v1 import AppTest

from hvmon.store.store import Store
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
