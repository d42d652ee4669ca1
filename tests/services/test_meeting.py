"""The meeting: the list in order of need, and a decision stored once with its owner and date."""

from datetime import timedelta

import pytest

from hvmon.services import caseload, meeting
from hvmon.services.meeting import Decided
from hvmon.services.outcome import Fate
from hvmon.vocabulary import ActionState, TestKind
from tests.app import invented
from tests.services.conftest import NOW

TODAY = invented.TODAY
DUE = TODAY + timedelta(days=28)


def decided(**more):
    given = {
        "question": "Is the rise real?",
        "decision": "Repeat the gas on the new mask",
        "owner": "N. Invented",
        "due": DUE,
        "asks_for": TestKind.DAY_GAS,
    }
    return Decided(**{**given, **more})


def save(store, what, *, request_id="form-1", met_at=NOW):
    return meeting.save_decision(
        store,
        store.dossier(invented.ANNA),
        what,
        met_at=met_at,
        actor="P. Invented",
        request_id=request_id,
        now=NOW,
    )


def test_a_decision_and_its_action_are_stored_together(store):
    assert save(store, decided()).fate == Fate.SAVED
    dossier = store.dossier(invented.ANNA)
    decision, action = dossier.meeting_decision[0].record, dossier.action[0].record
    assert decision.decision == action.what == "Repeat the gas on the new mask"
    assert (action.owner, action.due, action.state) == ("N. Invented", DUE, ActionState.OPEN)


def test_a_double_click_stores_one_decision(store):
    assert save(store, decided()).fate == Fate.SAVED
    assert save(store, decided()).stored
    dossier = store.dossier(invented.ANNA)
    assert len(dossier.meeting_decision) == len(dossier.action) == 1


def test_the_same_form_with_a_new_token_adds_nothing_either(store):
    save(store, decided())
    assert save(store, decided(), request_id="form-2").fate == Fate.ALREADY
    assert len(store.dossier(invented.ANNA).meeting_decision) == 1


def test_a_decision_without_an_action_is_a_decision(store):
    assert save(store, decided(owner="", due=None, asks_for=TestKind.NONE)).fate == Fate.SAVED
    assert store.dossier(invented.ANNA).action == ()


@pytest.mark.parametrize(
    ("what", "field"),
    [
        ({"decision": "  "}, "decision"),
        ({"owner": ""}, "owner"),
        ({"due": None}, "due"),
        ({"due": TODAY - timedelta(days=1)}, "due"),
        ({"owner": "", "due": None}, "owner"),
    ],
)
def test_what_is_missing_is_named_by_field(what, field):
    found = dict(meeting.problems(decided(**what), today=TODAY))
    assert field in found
    assert found[field].endswith(".")


def test_a_whole_decision_has_no_problem():
    assert meeting.problems(decided(), today=TODAY) == ()


def test_what_was_decided_makes_its_test_owed(store):
    save(store, decided())
    caseload.refresh(store, today=DUE + timedelta(days=3))
    frame = caseload.caseload(store, today=DUE + timedelta(days=3))
    owed = " ".join(text for row in frame["owed"] for text in row)
    assert f"{TestKind.DAY_GAS.value} by {DUE:%d %b %Y}, 3 d overdue" in owed


def test_the_list_is_the_caseload_in_its_order_without_who_asks_for_nothing(store):
    caseload.refresh(store, today=TODAY)
    frame = caseload.caseload(store, today=TODAY)
    listed = meeting.agenda(frame)
    order = [key for key in frame["person_key"] if key in listed]
    assert list(listed) == order
    assert len(meeting.agenda(frame, length=1)) <= 1


def test_decisions_are_told_newest_first_and_open_actions_by_date(store):
    save(store, decided())
    later = decided(decision="Look at the mask", due=DUE - timedelta(days=7))
    save(store, later, request_id="form-3", met_at=NOW + timedelta(hours=1))
    dossier = store.dossier(invented.ANNA)
    assert meeting.last_decisions(dossier)[0].decision == "Look at the mask"
    assert [one.due for one in meeting.open_actions(dossier)] == [DUE - timedelta(days=7), DUE]
