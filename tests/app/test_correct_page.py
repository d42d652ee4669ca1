"""Corrections keep what was there before, and never overwrite what somebody else changed."""

from datetime import UTC, datetime
from decimal import Decimal

from streamlit.testing.v1 import AppTest

from hvmon.store.store import Store
from hvmon.vocabulary import RecordStatus
from tests.app.invented import ANNA
from tests.app.sight import answer, press, seen

NOW = datetime(2026, 6, 15, 11, 0, tzinfo=UTC)


def last_gas(store: Store):
    return store.dossier(ANNA).blood_gas[-1]


def choose(open_page, store: Store) -> AppTest:
    session = open_page("correct")
    session.selectbox(key="which_record").set_value(last_gas(store).record_id)
    return session.run()


def change_meanwhile(store: Store, ph: str) -> None:
    held = last_gas(store)
    store.correct(
        held.record_id, held.record.model_copy(update={"ph": Decimal(ph)}), expect_version=held.version,
        reason="read the slip", actor="P. Other", request_id="meanwhile", now=NOW,
    )  # fmt: skip


def test_a_correction_keeps_the_old_value_with_who_when_and_why(open_page, store: Store):
    session = choose(open_page, store)
    answer(session, "ph", "7.38")
    answer(session, "why_changed", "digits swapped")
    session = press(session.run(), "Save the correction")
    shown = seen(session)
    assert "Stored as a new version" in shown
    assert "pH: 7.37 → 7.38" in shown
    assert "by Nia Nurse\\: digits swapped" in shown
    assert [str(held.record.ph) for held in store.history(last_gas(store).record_id)] == ["7.37", "7.38"]


def test_a_correction_without_a_reason_is_not_saved(open_page, store: Store):
    session = choose(open_page, store)
    answer(session, "ph", "7.38")
    assert "**NOT saved.**" in seen(press(session.run(), "Save the correction"))
    assert last_gas(store).version == 1


def test_what_somebody_else_changed_meanwhile_is_shown_and_not_overwritten(open_page, store: Store):
    session = choose(open_page, store)
    answer(session, "ph", "7.38")
    answer(session, "why_changed", "digits swapped")
    session.run()
    change_meanwhile(store, "7.40")
    shown = seen(press(session, "Save the correction"))
    assert "someone else changed it" in shown
    assert "pH: **7\\.40**" in shown
    assert str(last_gas(store).record.ph) == "7.40"


def test_a_record_entered_in_error_leaves_the_series_and_stays_in_the_history(open_page, store: Store):
    record_id = last_gas(store).record_id
    session = choose(open_page, store)
    next(widget for widget in session.text_input if widget.label == "Why is it withdrawn").set_value(
        "wrong person"
    )
    session = press(session.run(), "Withdraw as entered in error")
    assert "entered in error" in seen(session)
    assert last_gas(store).record_id != record_id
    assert store.held(record_id).status == RecordStatus.ENTERED_IN_ERROR
