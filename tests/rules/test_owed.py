"""What is owed counts from the last relevant test; only a result closes it; nothing is deleted."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from hvmon.records.meeting import Action, OwedEdit
from hvmon.records.settings import PlannedChange
from hvmon.rules.catalogue import rule
from hvmon.rules.intervals import after, span
from hvmon.rules.judge import findings
from hvmon.rules.owed import owed, recheck_window
from hvmon.rules.packs import apply_service_edits, default_pack
from hvmon.rules.rule import Comparator, Limit
from hvmon.vocabulary import (
    NOT_RECORDED,
    ActionState,
    Answer,
    ChangeUrgency,
    Dependence,
    DiagnosisGroup,
    EventKind,
    SampleKind,
    TestKind,
    VentilatorState,
    Wakefulness,
)

CHANGED = date(2026, 1, 5)
OPENS = CHANGED + timedelta(weeks=4)
DUE = CHANGED + timedelta(weeks=6)
TODAY = date(2026, 3, 10)
KEY = "invented-1"


def recheck(make, *records, today=TODAY, **kind):
    """The recheck of the change made on 5 January."""
    settings = make.change(CHANGED, kind.pop("test", TestKind.DAY_GAS), **kind)
    items = owed(make.dossier(settings, *records), today=today, with_done=True)
    return next(each for each in items if each.owed_id == "recheck:settings_change-0")


def state_of(make, *records, **kind) -> ActionState:
    return recheck(make, *records, **kind).state


# --- opening and closing ---


def test_a_change_opens_a_recheck_from_four_to_six_weeks_by_project_default(make) -> None:
    item = recheck(make, today=CHANGED)
    assert (item.state, item.opens, item.due, item.rule_id) == (ActionState.OPEN, OPENS, DUE, "FUP-9")
    assert "project default" in item.words
    assert item.overdue_days == 0


def test_a_change_that_owes_nothing_opens_nothing(make) -> None:
    items = owed(make.dossier(make.change(CHANGED, TestKind.NONE)), today=TODAY, with_done=True)
    assert [each for each in items if each.owed_id.startswith("recheck")] == []


@pytest.mark.parametrize(("days", "overdue"), [(-1, 0), (0, 0), (1, 1), (30, 30)])
def test_it_is_overdue_from_the_day_after_it_is_due(make, days, overdue) -> None:
    assert recheck(make, today=DUE + timedelta(days=days)).overdue_days == overdue


@pytest.mark.parametrize(
    ("day", "state"),
    [
        (CHANGED, ActionState.OPEN),
        (CHANGED + timedelta(days=1), ActionState.OPEN),
        (OPENS - timedelta(days=1), ActionState.OPEN),
        (OPENS, ActionState.DONE),
        (DUE + timedelta(days=20), ActionState.DONE),
    ],
)
def test_a_gas_closes_it_only_after_the_wait(make, day, state) -> None:
    assert state_of(make, make.gas(day=day)) == state


def test_a_gas_before_the_change_does_not_close_it(make) -> None:
    assert state_of(make, make.gas(day=CHANGED - timedelta(days=1))) == ActionState.OPEN


def test_why_a_result_did_not_close_it_is_said(make) -> None:
    early = recheck(make, make.gas(day=CHANGED + timedelta(days=10)))
    assert "day blood gas of 2026-01-15 does not count: before the wait is over" in early.words


@pytest.mark.parametrize(
    "gas",
    [{"kind": SampleKind.VENOUS}, {"wakefulness": Wakefulness.ASLEEP}],
)
def test_a_venous_sample_or_one_drawn_asleep_does_not_close_it(make, gas) -> None:
    item = recheck(make, make.gas(day=OPENS, **gas))
    assert item.state == ActionState.OPEN
    assert "does not count" in item.words


def test_only_a_result_of_the_kind_named_closes_it(make) -> None:
    study = make.night(OPENS)
    assert state_of(make, study) == ActionState.OPEN
    assert state_of(make, study, test=TestKind.NIGHT_STUDY) == ActionState.DONE
    assert state_of(make, make.gas(day=OPENS), test=TestKind.NIGHT_STUDY) == ActionState.OPEN


@pytest.mark.parametrize("state", [VentilatorState.OFF, VentilatorState.NOT_RECORDED])
def test_a_night_not_known_to_be_on_the_ventilator_does_not_answer_new_settings(make, state) -> None:
    item = recheck(make, make.night(OPENS, ventilator=state), test=TestKind.NIGHT_STUDY)
    assert item.state == ActionState.OPEN
    assert "not known to be on the ventilator" in item.words


def test_both_tests_are_needed_when_both_are_named(make) -> None:
    both = TestKind.DAY_GAS_AND_NIGHT
    assert recheck(make, test=both).test == both
    half = recheck(make, make.gas(day=OPENS), test=both)
    assert (half.state, half.test) == (ActionState.OPEN, TestKind.NIGHT_STUDY)
    assert state_of(make, make.gas(day=OPENS), make.night(OPENS), test=both) == ActionState.DONE


def test_a_later_change_with_its_own_recheck_supersedes_an_open_one(make) -> None:
    later = make.change(date(2026, 2, 20))
    items = owed(make.dossier(make.change(CHANGED), later, make.gas(day=date(2026, 3, 9))), today=TODAY)
    first = next(each for each in items if each.owed_id == "recheck:settings_change-0")
    second = next(each for each in items if each.owed_id == "recheck:settings_change-1")
    assert first.state == ActionState.WITHDRAWN
    assert "superseded by the change of 2026-02-20" in first.words
    assert second.state == ActionState.OPEN


def test_a_result_on_the_old_settings_closed_the_first_recheck(make) -> None:
    later = make.change(date(2026, 2, 20))
    items = owed(make.dossier(make.change(CHANGED), later, make.gas(day=OPENS)), today=TODAY, with_done=True)
    assert (
        next(each for each in items if each.owed_id == "recheck:settings_change-0").state == ActionState.DONE
    )


def test_a_later_change_that_owes_nothing_leaves_the_first_recheck_open(make) -> None:
    later = make.change(date(2026, 2, 20), TestKind.NONE)
    items = owed(make.dossier(make.change(CHANGED), later), today=TODAY)
    assert (
        next(each for each in items if each.owed_id == "recheck:settings_change-0").state == ActionState.OPEN
    )


def test_a_change_for_acidosis_is_rechecked_from_the_next_day_within_a_week(make) -> None:
    item = recheck(make, urgency=ChangeUrgency.URGENT)
    assert (item.rule_id, item.opens, item.due) == (
        "FUP-10", CHANGED + timedelta(days=1), CHANGED + timedelta(days=7))  # fmt: skip
    assert state_of(make, make.gas(day=CHANGED), urgency=ChangeUrgency.URGENT) == ActionState.OPEN
    assert state_of(make, make.gas(day=CHANGED + timedelta(days=1)), urgency=ChangeUrgency.URGENT) == (
        ActionState.DONE
    )


@pytest.mark.parametrize(
    ("ordered", "opens"),
    [(CHANGED + timedelta(days=60), OPENS), (CHANGED + timedelta(days=10), CHANGED + timedelta(days=10)),
     (CHANGED, CHANGED + timedelta(days=1))],
)  # fmt: skip
def test_the_date_ordered_at_the_change_goes_first_but_never_to_the_day_itself(make, ordered, opens) -> None:
    assert recheck_window(make.change(CHANGED, owed_by=ordered), rule("FUP-9")) == (opens, ordered)
    assert "project default" not in recheck(make, owed_by=ordered).words


def test_a_service_may_edit_the_wait(make) -> None:
    dossier = make.dossier(make.change(CHANGED))
    edits = {"rules": {"FUP-9": {"limit": 2, "name": "from", "reason": "our protocol"}}}
    pack = apply_service_edits(default_pack(dossier, TODAY), edits)
    item = next(each for each in owed(dossier, today=TODAY, pack=pack) if each.owed_id.startswith("recheck"))
    assert item.opens == CHANGED + timedelta(weeks=2)


# --- states and notes ---


@pytest.mark.parametrize(
    ("kind", "state"),
    [(EventKind.MISSED_VISIT, ActionState.MISSED), (EventKind.REFUSAL, ActionState.REFUSED)],
)
def test_a_missed_visit_or_refusal_changes_the_state_and_stays_overdue(make, kind, state) -> None:
    item = recheck(make, make.event(kind, DUE))
    assert item.state == state
    assert item.overdue_days == (TODAY - DUE).days


def test_a_result_after_a_missed_visit_closes_it(make) -> None:
    missed = make.event(EventKind.MISSED_VISIT, DUE)
    assert state_of(make, missed, make.gas(day=DUE + timedelta(days=3))) == ActionState.DONE


def test_a_missed_visit_before_it_opened_does_not_touch_it(make) -> None:
    assert state_of(make, make.event(EventKind.MISSED_VISIT, CHANGED + timedelta(days=3))) == ActionState.OPEN


def test_a_stay_in_hospital_is_said_and_deletes_nothing(make) -> None:
    inside = recheck(make, make.event(EventKind.ADMISSION, TODAY - timedelta(days=3)))
    assert inside.state == ActionState.OPEN
    assert "in hospital since 2026-03-07" in inside.words
    home = make.event(EventKind.DISCHARGE, TODAY - timedelta(days=1))
    back = recheck(make, make.event(EventKind.ADMISSION, TODAY - timedelta(days=3)), home)
    assert "in hospital" not in back.words


@pytest.mark.parametrize("kind", [EventKind.DEATH, EventKind.MOVED])
def test_after_death_or_a_move_nothing_is_overdue(make, kind) -> None:
    items = owed(make.dossier(make.change(CHANGED), make.event(kind, TODAY)), today=TODAY)
    assert items
    assert all((each.state, each.overdue_days) == (ActionState.WITHDRAWN, 0) for each in items)


def note(
    owed_id: str, state: ActionState, new_due: date | None = None, day: date = date(2026, 3, 1)
) -> OwedEdit:
    return OwedEdit(person_key=KEY, owed_id=owed_id, noted_on=day, state=state, new_due=new_due,
                    reason="holiday", noted_by="Invented Nurse")  # fmt: skip


def test_a_new_date_needs_a_reason_and_shows_it(make) -> None:
    later = note("recheck:settings_change-0", ActionState.OPEN, TODAY + timedelta(days=5))
    item = recheck(make, later)
    assert (item.due, item.overdue_days) == (TODAY + timedelta(days=5), 0)
    assert "holiday" in item.reason


def test_the_last_note_goes_first(make) -> None:
    missed = note("recheck:settings_change-0", ActionState.MISSED, day=date(2026, 2, 20))
    again = note("recheck:settings_change-0", ActionState.OPEN, day=date(2026, 3, 1))
    assert state_of(make, again, missed) == ActionState.OPEN


def test_a_note_of_another_item_or_of_tomorrow_does_not_count(make) -> None:
    other = note("recheck:settings_change-9", ActionState.REFUSED)
    tomorrow = note("recheck:settings_change-0", ActionState.REFUSED, day=TODAY + timedelta(days=1))
    assert state_of(make, other, tomorrow) == ActionState.OPEN


def test_calling_it_done_without_a_result_does_not_close_it(make) -> None:
    item = recheck(make, note("recheck:settings_change-0", ActionState.DONE))
    assert item.state == ActionState.OPEN
    assert "no result in the record" in item.words


def test_withdrawing_keeps_it_in_the_list_with_its_reason(make) -> None:
    item = recheck(make, note("recheck:settings_change-0", ActionState.WITHDRAWN))
    assert (item.state, item.overdue_days) == (ActionState.WITHDRAWN, 0)
    assert item in owed(
        make.dossier(make.change(CHANGED), note(item.owed_id, ActionState.WITHDRAWN)), today=TODAY
    )


# --- recalls ---


def recall(make, rule_id, *records, today=TODAY, **who):
    items = owed(make.dossier(*records, **who), today=today)
    return next((each for each in items if each.rule_id == rule_id), None)


def test_a_recall_counts_from_the_last_relevant_test_and_not_from_the_last_contact(make) -> None:
    records = (make.gas(day=date(2025, 2, 1)), make.visit(date(2026, 3, 1)), make.report(date(2026, 3, 1)))
    item = recall(make, "FUP-11", *records)
    assert (item.due, item.last_done) == (date(2026, 2, 1), date(2025, 2, 1))
    assert item.overdue_days == 37
    assert recall(make, "FUP-11", *records, make.gas(day=date(2026, 3, 2))).overdue_days == 0


def test_a_venous_sample_does_not_restart_a_recall(make) -> None:
    records = (make.gas(day=date(2025, 2, 1)), make.gas(day=date(2026, 3, 1), kind=SampleKind.VENOUS))
    assert recall(make, "FUP-11", *records).last_done == date(2025, 2, 1)


GROUPS = [
    (DiagnosisGroup.COPD, "FUP-11", TestKind.DAY_GAS, 12),
    (DiagnosisGroup.OBESITY_HYPOVENTILATION, "FUP-11", TestKind.DAY_GAS, 12),
    (DiagnosisGroup.MOTOR_NEURONE_DISEASE, "FUP-4", TestKind.LUNG_FUNCTION, 3),
    (DiagnosisGroup.OTHER_NEUROMUSCULAR, "FUP-5", TestKind.LUNG_FUNCTION, 6),
    (DiagnosisGroup.DUCHENNE, "FUP-6", TestKind.LUNG_FUNCTION, 6),
    (DiagnosisGroup.DUCHENNE, "FUP-7", TestKind.DAY_GAS_AND_NIGHT, 12),
    (DiagnosisGroup.CHEST_WALL, "FUP-11", TestKind.DAY_GAS, 12),
    (DiagnosisGroup.TRACHEOSTOMY, "FUP-13", TestKind.DAY_GAS, 3),
]


@pytest.mark.parametrize(("group", "rule_id", "test", "months"), GROUPS)
def test_each_group_has_its_interval_counted_from_the_start_when_never_tested(
    make, group, rule_id, test, months
) -> None:
    item = recall(make, rule_id, group=group, ventilation_started=date(2025, 1, 1))
    years, month = divmod(months, 12)
    assert (item.test, item.due) == (test, date(2025 + years, 1 + month, 1))
    assert "in the record" in item.words


def test_a_child_is_seen_every_three_to_six_months(make) -> None:
    item = recall(make, "FUP-12", make.gas(day=date(2026, 1, 31)), born=date(2015, 1, 1))
    assert (item.opens, item.due) == (date(2026, 4, 30), date(2026, 7, 31))


def test_of_two_tests_the_older_one_is_owed(make) -> None:
    item = recall(
        make,
        "FUP-7",
        make.gas(day=date(2025, 2, 1)),
        make.night(date(2025, 6, 1)),
        group=DiagnosisGroup.DUCHENNE,
    )
    assert (item.test, item.due) == (TestKind.DAY_GAS, date(2026, 2, 1))
    gas_only = recall(make, "FUP-7", make.gas(day=date(2025, 2, 1)), group=DiagnosisGroup.DUCHENNE)
    assert gas_only.test == TestKind.NIGHT_STUDY


def test_the_first_control_needs_a_gas_and_a_night_from_four_weeks_after_the_start(make) -> None:
    start = date(2026, 1, 5)
    item = recall(make, "FUP-8", make.gas(day=start), ventilation_started=start)
    assert (item.opens, item.due) == (start + timedelta(weeks=4), start + timedelta(weeks=8))
    assert item.test == TestKind.DAY_GAS_AND_NIGHT
    done = (make.gas(day=start), make.gas(day=item.opens), make.night(item.opens))
    assert recall(make, "FUP-8", *done, ventilation_started=start) is None


def test_a_first_control_long_before_the_record_began_is_not_owed(make) -> None:
    assert recall(make, "FUP-8", make.gas(day=date(2026, 1, 5)), ventilation_started=date(2015, 1, 1)) is None


def test_an_acute_admission_is_followed_by_a_gas_two_to_four_weeks_after_it_ended(make) -> None:
    over = date(2026, 2, 1)
    ill = make.event(EventKind.ADMISSION_HYPERCAPNIC, date(2026, 1, 20), until=over)
    item = recall(make, "FUP-1", ill, make.gas(day=date(2026, 2, 3)))
    assert (item.opens, item.due) == (over + timedelta(weeks=2), over + timedelta(weeks=4))
    assert recall(make, "FUP-1", ill, make.gas(day=date(2026, 2, 20))) is None


def test_oxygen_started_is_followed_within_three_months_and_then_yearly(make) -> None:
    started = make.event(EventKind.OXYGEN_CHANGE, date(2026, 1, 1), oxygen_l_min=Decimal(1))
    item = recall(make, "FUP-3", started, make.gas(day=date(2025, 12, 1)), home_oxygen=True)
    assert item.due in {date(2026, 4, 1), date(2026, 12, 1)}
    later = owed(make.dossier(started, make.gas(day=date(2026, 2, 1)), home_oxygen=True), today=TODAY)
    assert [each.due for each in later if each.rule_id == "FUP-3"] == [date(2027, 2, 1)]


def test_an_oxygen_change_on_ventilation_asks_for_a_night_within_two_weeks(make) -> None:
    changed = make.event(EventKind.OXYGEN_CHANGE, date(2026, 3, 1), oxygen_l_min=Decimal(1))
    item = recall(make, "FUP-16", changed)
    assert (item.test, item.due) == (TestKind.NIGHT_STUDY, date(2026, 3, 15))
    assert "project default" in item.words
    untreated = {"dependence": Dependence.NOT_YET_VENTILATED, "ventilation_started": NOT_RECORDED}
    assert recall(make, "FUP-16", changed, **untreated) is None


def test_obesity_hypoventilation_has_a_night_two_to_three_months_after_the_start(make) -> None:
    item = recall(
        make, "FUP-2", group=DiagnosisGroup.OBESITY_HYPOVENTILATION, ventilation_started=date(2026, 1, 31)
    )
    assert (item.test, item.opens, item.due) == (
        TestKind.NIGHT_STUDY, date(2026, 3, 31), date(2026, 4, 30))  # fmt: skip


def test_an_owed_id_of_a_recall_changes_with_the_test_it_counts_from(make) -> None:
    first = recall(make, "FUP-11", make.gas(day=date(2025, 2, 1)))
    second = recall(make, "FUP-11", make.gas(day=date(2025, 2, 1)), make.gas(day=date(2026, 3, 2)))
    assert first.owed_id != second.owed_id


# --- agreed ---


def action(state: ActionState = ActionState.OPEN) -> Action:
    return Action(person_key=KEY, agreed_on=date(2026, 2, 1), what="gas at home", owner="Invented Nurse",
                  due=date(2026, 3, 1), asks_for=TestKind.DAY_GAS, state=state)  # fmt: skip


def test_a_test_agreed_at_a_meeting_is_owed_until_a_result(make) -> None:
    item = recall(make, "FUP-18", action())
    assert (item.due, item.overdue_days) == (date(2026, 3, 1), 9)
    assert recall(make, "FUP-18", action(), make.gas(day=date(2026, 2, 1))) is not None
    assert recall(make, "FUP-18", action(), make.gas(day=date(2026, 2, 2))) is None
    assert recall(make, "FUP-18", action(ActionState.DONE)) is None


def test_a_planned_change_owes_its_recheck_until_the_change_itself_is_recorded(make) -> None:
    plan = PlannedChange(
        person_key=KEY, planned_at=make.at(date(2026, 2, 1)), zone="Europe/London",
        planned_by="Invented Physician", proposal="as talked over", why="night CO2",
        owed_test=TestKind.DAY_GAS, owed_by=date(2026, 3, 1), state=ActionState.OPEN)  # fmt: skip
    assert "not recorded" in recall(make, "FUP-18", plan).words
    assert recall(make, "FUP-18", plan, make.change(date(2026, 2, 2))) is None


def test_a_gas_before_the_planned_change_is_made_does_not_answer_it(make) -> None:
    plan = PlannedChange(
        person_key=KEY, planned_at=make.at(date(2026, 2, 1)), zone="Europe/London",
        planned_by="Invented Physician", proposal="as talked over", why="night CO2",
        owed_test=TestKind.DAY_GAS, owed_by=date(2026, 3, 1), state=ActionState.OPEN)  # fmt: skip
    assert recall(make, "FUP-18", plan, make.gas(day=date(2026, 2, 10))) is not None


# --- intervals and findings ---


@pytest.mark.parametrize(
    ("start", "value", "unit", "end"),
    [
        (date(2026, 1, 31), "1", "months", date(2026, 2, 28)),
        (date(2024, 2, 29), "12", "months", date(2025, 2, 28)),
        (date(2025, 11, 30), "3", "months", date(2026, 2, 28)),
        (date(2026, 3, 28), "2", "weeks", date(2026, 4, 11)),
        (date(2026, 3, 28), "7", "days", date(2026, 4, 4)),
    ],
)
def test_an_interval_ends_by_the_calendar(start, value, unit, end) -> None:
    assert after(start, Limit(Decimal(value), unit, Comparator.AT_MOST, "Project", "x", "by")) == end


def test_a_limit_that_is_no_interval_is_refused() -> None:
    with pytest.raises(ValueError, match="no interval"):
        after(date(2026, 1, 1), rule("GAS-1").limit)


def test_a_rule_without_a_first_day_opens_the_day_after() -> None:
    assert span(rule("FUP-4"), date(2026, 1, 1)) == (date(2026, 1, 2), date(2026, 4, 1))


def test_what_is_overdue_is_also_a_finding_with_its_rule(make) -> None:
    found = findings(make.dossier(make.change(CHANGED)), today=DUE + timedelta(days=1))
    by_id = {each.rule_id: each for each in found}
    assert by_id["FUP-9"].answer == Answer.MET
    on_the_day = {each.rule_id: each for each in findings(make.dossier(make.change(CHANGED)), today=DUE)}
    assert on_the_day["FUP-9"].answer == Answer.NOT_MET


def test_the_longest_overdue_comes_first_and_closed_ones_last(make) -> None:
    items = owed(make.dossier(make.change(CHANGED), action()), today=TODAY, with_done=True)
    open_dues = [each.due for each in items if each.state == ActionState.OPEN]
    assert open_dues == sorted(open_dues)
