"""The titration view: ordered evidence, figures or refusals, proposals refused by name, plans owed."""

import math
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hvmon.charts import titration as charts
from hvmon.records.base import Pressure
from hvmon.rules.differential import Question
from hvmon.services import caseload, titration_tables, whatif_tables
from hvmon.services.dead_space_form import read_measured
from hvmon.services.outcome import Fate
from hvmon.services.plan_form import read_plan
from hvmon.services.proposals import DEAD_SPACE, Proposal, change_words, fields_of, read_proposal
from hvmon.services.titration import (
    earliest_recheck,
    free_moment,
    save_plan,
    starting_cautions,
    titration,
    titration_of,
    try_proposals,
)
from hvmon.stats.body import MeasuredDeadSpace
from hvmon.stats.figure import Refused
from hvmon.store.store import Store
from hvmon.units import PressureUnit
from hvmon.vocabulary import ActionState, DiagnosisGroup, SampleKind, SampleSite, TestKind, VentilatorMode
from tests.app import invented, rising
from tests.app.rising import CARA
from tests.services.conftest import NOW

TODAY, KPA = invented.TODAY, PressureUnit.KPA
WHY = {"why": "nights too short", "owed_test": TestKind.DAY_GAS, "owed_by": TODAY + timedelta(days=28)}


def opened(*records):
    held = Store.in_memory()
    held.save_all(records, actor="N. Invented", request_id="rising", now=NOW)
    return held


@pytest.fixture
def cara():
    with opened(*rising.records()) as held:
        yield held


@pytest.fixture(scope="module")
def view():
    with opened(*rising.records()) as held:
        return titration(held, CARA, today=TODAY)


def seen(*records, **more):
    with opened(*records) as held:
        return titration_of(held.dossier(CARA), today=TODAY, **more)


def one(view, **changes):
    return try_proposals(view, (Proposal("A", **changes),))[0]


def plan(store, **more):
    found = one(titration(store, CARA, today=TODAY), ipap_cmh2o=20.0).answer
    said = WHY | {"actor": "P. Invented", "now": NOW, "request_id": "plan"} | more
    return save_plan(store, CARA, found, **said)


# --- 1. why -------------------------------------------------------------------------------------------


def test_the_differential_stands_in_the_teams_order_whatever_the_evidence(view):
    rows = [row for question in Question for row in titration_tables.causes_table(view, question)]
    ids = [row["Cause"].split()[0] for row in rows]
    assert ids == sorted(ids)
    assert len(ids) == 23
    assert [row["Question"][0] for row in titration_tables.overview_table(view)] == list("ABCDE")


def test_every_cause_stands_once_in_the_overview(view):
    rows = titration_tables.overview_table(view)
    told = [text for row in rows for head, text in row.items() if head != "Question"]
    listed = [part.split()[0] for text in told for part in text.split(" • ") if part]
    assert len(listed) == len(set(listed)) == 23


def test_short_nights_speak_for_under_use_and_rest_on_records(view):
    row = next(
        row for row in titration_tables.causes_table(view, Question.RECEIVED) if row["Cause"].startswith("C1")
    )
    assert "use" in row["For"]
    assert any(row["Cause"] == "C1" for row in titration_tables.basis_table(view))


def test_the_difference_is_held_against_noise_in_words(view):
    assert "no change is shown or excluded" in titration_tables.differential_words(view)
    beyond = seen(*rising.records(), rising.gas(9, "8.6", on=True))
    assert "by more than repeat measurement" in titration_tables.differential_words(beyond)


def test_a_low_value_asks_about_over_ventilation():
    low = seen(*rising.records(), rising.gas(9, "4.6", on=True), rising.gas(8, "4.4", on=True))
    assert "over-ventilation" in titration_tables.differential_words(low)
    at_limit = seen(*rising.records(), rising.gas(9, "4.6", on=True), rising.gas(8, "4.5", on=True))
    assert "over-ventilation" not in titration_tables.differential_words(at_limit)


def test_a_single_reading_gives_no_differential_and_says_what_it_needs():
    records = [one for one in rising.records() if type(one).__name__ != "BloodGas"]
    found = seen(*records, rising.gas(12, "7.3"))
    assert titration_tables.overview_table(found) == []
    assert "Needed: a second reading" in titration_tables.differential_words(found)


# --- 2. figures ---------------------------------------------------------------------------------------


def test_each_figure_has_its_sd_its_interval_and_what_it_takes_for_granted(view):
    rows = titration_tables.figures_table(view)
    assert rows[0]["Figure"] == "alveolar ventilation"
    for row in rows:
        assert "±" in list(row.values())[1]
        assert "95 %" in list(row.values())[1]
        assert row["Taken for granted, or why not given"]


def test_leak_above_the_limit_gives_no_volume_and_says_so_once():
    rows = titration_tables.figures_table(seen(*rising.records(leak="40")))
    assert list(rows[0].values())[1] == "not given"
    assert "above 24 L/min in 28 of 28 nights" in rows[0]["Taken for granted, or why not given"]
    assert sum("above 24" in row["Taken for granted, or why not given"] for row in rows) == 1


def test_the_limit_of_leak_is_the_teams_own():
    edits = {"rules": {"USE-3": {"limit": 50, "reason": "local agreement"}}}
    found = seen(*rising.records(leak="40"), edits=edits)
    assert found.leak_limit_l_min == 50
    assert one(found, ipap_cmh2o=20.0).answer is not None
    assert "±" in list(titration_tables.figures_table(found)[0].values())[1]


def test_a_gas_off_the_ventilator_gives_no_co2_output_and_says_why(view):
    rows = titration_tables.gases_table(view, KPA)
    by_state = {row["Sample"]: row for row in rows}
    off, on = by_state["capillary earlobe, off ventilator"], by_state["capillary earlobe, on ventilator"]
    assert off["CO2 output implied"].startswith("taken off the ventilator")
    assert off["Can it be believed?"] == "not judged"
    assert "±" in on["CO2 output implied"]
    assert rows[0]["Drawn"] == "04 Jun 2026"


def test_a_gas_keeps_its_unit_of_entry_where_it_is_shown_in_it(view):
    assert titration_tables.gases_table(view, KPA)[0]["PCO2"] == "7.1 kPa"
    assert titration_tables.gases_table(view, PressureUnit.MMHG)[0]["PCO2"] == "53 mmHg"


@pytest.mark.parametrize(("height", "said"), [("138", "below 140 cm"), ("100", "below 140 cm")])
def test_predicted_weight_below_140_cm_is_refused(height, said):
    found = seen(*rising.records(height_cm=Decimal(height)))
    assert titration_tables.height_is_short(found)
    assert said in titration_tables.figures_table(found)[-1]["Taken for granted, or why not given"]


def test_a_decision_uses_predicted_weight_below_140_cm():
    found = seen(*rising.records(height_cm=Decimal(138)), below_140_cm=True)
    assert "±" in list(titration_tables.figures_table(found)[-1].values())[1]


def test_a_measured_dead_space_replaces_the_estimate():
    # Bohr-Enghoff: 500 x (6.0 - 4.0) / 6.0 = 166.7 mL (Enghoff1938)
    found = seen(*rising.records(), measured=MeasuredDeadSpace(6.0, 4.0, 500.0))
    assert list(titration_tables.figures_table(found)[3].values())[1].startswith("167 ±")


@pytest.mark.parametrize(
    ("texts", "field", "said"),
    [
        ({"paco2_kpa": "6,0x"}, "paco2_kpa", "no plain number"),
        ({"paco2_kpa": "6.0"}, "record", "mixed expired PCO2, tidal volume"),
        (
            {"paco2_kpa": "4", "mixed_expired_pco2_kpa": "6", "tidal_volume_ml": "500"},
            "record",
            "not between",
        ),
        ({"paco2_kpa": "6", "mixed_expired_pco2_kpa": "4", "tidal_volume_ml": "0"}, "record", "not above 0"),
    ],
)
def test_a_measured_dead_space_that_cannot_be_is_refused_by_name(texts, field, said):
    read = read_measured(texts)
    assert read.measured is None
    assert said in read.refused[field]


def test_a_measured_dead_space_is_read_with_a_comma_and_blank_is_none():
    texts = {"paco2_kpa": "6,0", "mixed_expired_pco2_kpa": "4.0", "tidal_volume_ml": "500"}
    assert read_measured(texts).measured == MeasuredDeadSpace(6.0, 4.0, 500.0)
    assert read_measured({"paco2_kpa": " "}).measured is None


# --- 3. proposals -------------------------------------------------------------------------------------


def test_proposals_are_answered_in_the_order_given_with_nested_intervals(view):
    tried = try_proposals(view, (Proposal("A", ipap_cmh2o=22.0), Proposal("B", backup_rate_min=18.0)))
    assert [one.label for one in tried] == ["A", "B"]
    for found in whatif_tables.answered(tried):
        assert (
            found.low_95_kpa < found.low_80_kpa < found.expected_kpa < found.high_80_kpa < found.high_95_kpa
        )


def test_a_proposal_does_not_depend_on_those_beside_it(view):
    alone, beside = one(view, ipap_cmh2o=22.0), try_proposals(
        view, (Proposal("A", backup_rate_min=20.0), Proposal("A", ipap_cmh2o=22.0))
    )[1]  # fmt: skip
    assert alone.answer.expected_kpa == beside.answer.expected_kpa


def test_a_refused_proposal_leaves_the_others_alone(view):
    tried = try_proposals(view, (Proposal("A", epap_cmh2o=19.0), Proposal("B", ipap_cmh2o=20.0)))
    assert "epap_cmh2o 19 is not below ipap_cmh2o 18" in tried[0].refused
    assert tried[1].answer is not None


@pytest.mark.parametrize(
    ("texts", "field"),
    [
        ({"inspiratory_time_s": "0"}, "inspiratory_time_s"),
        ({"inspiratory_time_s": "-1"}, "inspiratory_time_s"),
        ({"ipap_cmh2o": "64,x"}, "ipap_cmh2o"),
        ({"ipap_cmh2o": "1e1"}, "ipap_cmh2o"),
        ({"ipap_cmh2o": "90"}, "ipap_cmh2o"),
        ({"oxygen_l_min": "n"}, "oxygen_l_min"),
        ({"hours_per_day": "25"}, "hours_per_day"),
        ({DEAD_SPACE: "900"}, DEAD_SPACE),
        ({DEAD_SPACE: "-250"}, DEAD_SPACE),
    ],
)
def test_a_setting_that_cannot_be_is_refused_by_name_and_value(texts, field):
    read = read_proposal("A", texts, dead_space_ml=200.0)
    assert read.proposal is None
    assert list(read.refused) == [field]
    assert texts[field] in read.refused[field]


def test_inspiration_not_shorter_than_the_cycle_is_refused(view):
    found = one(view, inspiratory_time_s=2.0, backup_rate_min=30.0)
    assert "inspiratory_time_s 2 is not shorter than the cycle of 2.0 s" in found.refused


def test_a_blank_leaves_a_setting_as_it_is_and_all_blank_is_no_proposal():
    assert read_proposal("A", {"ipap_cmh2o": "22", "epap_cmh2o": " "}).proposal == Proposal(
        "A", ipap_cmh2o=22.0
    )
    assert read_proposal("A", {"ipap_cmh2o": ""}).proposal is None
    assert read_proposal("A", {"ipap_cmh2o": ""}).refused == {}


def test_a_comma_is_a_decimal_and_an_unusual_value_is_asked_about():
    read = read_proposal("A", {"inspiratory_time_s": "1,3", "ipap_cmh2o": "40"})
    assert read.proposal == Proposal("A", inspiratory_time_s=1.3, ipap_cmh2o=40.0)
    assert list(read.unlikely) == ["ipap_cmh2o"]


def test_a_volume_mode_is_asked_for_its_volume_and_no_other_is():
    assert "tidal_volume_ml" in fields_of(VentilatorMode.VOLUME_CONTROL)
    assert "ipap_cmh2o" not in fields_of(VentilatorMode.VOLUME_CONTROL)
    assert "target_volume_ml" in fields_of(VentilatorMode.VOLUME_TARGETED_PRESSURE)
    assert not {"tidal_volume_ml", "target_volume_ml"} & set(fields_of(VentilatorMode.SPONTANEOUS_TIMED))


@settings(max_examples=200, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(st.dictionaries(st.sampled_from(fields_of(VentilatorMode.SPONTANEOUS_TIMED)), st.text(max_size=12)))
def test_whatever_is_typed_is_read_or_refused_by_name(texts):
    read = read_proposal("A", texts, dead_space_ml=200.0)
    typed = {name for name, text in texts.items() if text.strip()}
    assert set(read.refused) <= typed
    if read.proposal is not None:
        assert set(read.proposal.changed) <= typed


def test_no_settings_or_no_reading_on_them_gives_no_what_if_but_a_reason():
    bare = seen(*(one for one in rising.records() if type(one).__name__ != "SettingsChange"))
    assert "no ventilator settings are recorded" in titration_tables.refusal_words(bare.baseline)
    assert one(bare, ipap_cmh2o=20.0).answer is None
    assert "no ventilator settings" in one(bare, ipap_cmh2o=20.0).refused


def test_leak_above_the_limit_refuses_pressure_but_not_hours():
    leaky = seen(*rising.records(leak="40"))
    assert "unintentional leak was above" in one(leaky, ipap_cmh2o=20.0).refused
    assert one(leaky, hours_per_day=9.0).answer.quantity.startswith("mean PaCO2 over 24 h")


def test_side_by_side_each_proposal_names_reading_intervals_methods_and_recheck(view):
    tried = try_proposals(view, (Proposal("A", ipap_cmh2o=22.0), Proposal("B", epap_cmh2o=19.0)))
    rows = {row[""]: row for row in whatif_tables.compared_table(tried, KPA, TODAY)}
    assert rows["Would change"]["A"] == "IPAP 18 → 22 cmH2O"
    assert rows["Would change"]["B"].startswith("no estimate: ")
    assert "11 days ago" in rows["Expected value is of"]["A"]
    assert "not before 28 days" in rows["Earliest honest recheck"]["A"]
    assert "weight 100 %" in rows["Methods and weights"]["A"]
    assert "kPa" in rows["80 % interval"]["A"]


def test_facts_beside_a_proposal_carry_a_source_and_what_is_outside_is_said_in_words(view):
    tried = (one(view, inspiratory_time_s=2.5),)
    rows = {row["Fact"]: row for row in whatif_tables.guards_table(tried)}
    assert all(row["Source"] for row in rows.values())
    assert rows["inspiratory time against rate"]["A"].startswith("OUTSIDE the range")


def test_what_would_make_it_wrong_names_the_proposals(view):
    tried = try_proposals(view, (Proposal("A", ipap_cmh2o=22.0), Proposal("B", hours_per_day=9.0)))
    lines = whatif_tables.wrong_lines(tried)
    assert any(line.startswith("A: ") and "effort" in line for line in lines)
    assert any(line.startswith("B: ") for line in lines)


def test_nothing_shown_of_a_proposal_orders_a_setting(view):
    tried = try_proposals(view, (Proposal("A", ipap_cmh2o=24.0), Proposal("B", oxygen_l_min=2.0)))
    tables = (
        whatif_tables.compared_table(tried, KPA, TODAY),
        whatif_tables.guards_table(tried),
        titration_tables.start_table(view),
        *(titration_tables.causes_table(view, question) for question in Question),
    )
    text = " ".join(cell for table in tables for row in table for cell in row.values()).lower()
    for order in ("increase ", "decrease ", "raise the", "lower the", "should", "recommended", "must "):
        assert order not in text


def test_an_old_reading_is_told_with_its_age():
    records = [one for one in rising.records() if type(one).__name__ != "BloodGas"]
    old, young = rising.gas(250, "6.0", on=True), rising.gas(170, "6.0", on=True)
    assert "250 days old" in " ".join(starting_cautions(seen(*records, old)))
    assert starting_cautions(seen(*records, young)) == ()


def test_a_newer_reading_off_the_ventilator_is_told_beside_the_one_that_is_used():
    records = [one for one in rising.records() if type(one).__name__ != "BloodGas"]
    found = seen(*records, rising.gas(90, "6.0", on=True), rising.gas(5, "7.9"))
    assert "7.90 kPa of 2026-06-10" in " ".join(starting_cautions(found))


def test_the_time_to_the_new_level_stands_with_its_spread(view):
    found = one(view, ipap_cmh2o=20.0)
    rows = {row[""]: row for row in whatif_tables.compared_table((found,), KPA, TODAY)}
    time = found.answer.steady.t95_min
    told = rows["Time to 95 % of the new level"]["A"]
    assert told.startswith(f"{time.value:.0f} ± {time.sd:.0f} min (95 %: {time.low_95:.0f} to")
    hours = whatif_tables.compared_table((one(view, hours_per_day=9.0),), KPA, TODAY)
    assert {row[""]: row for row in hours}["Time to 95 % of the new level"]["A"] == "not estimated"


def test_the_row_of_now_shows_how_far_a_repeat_of_that_reading_scatters(view):
    now = whatif_tables.interval_rows(whatif_tables.answered((one(view, ipap_cmh2o=22.0),))).row(
        0, named=True
    )
    anchor = view.baseline.anchor
    steps = {name: math.log(now[f"{name}_kpa"] / anchor.kpa) / anchor.sd_ln for name in ("low_80", "high_95")}
    assert steps == pytest.approx({"low_80": -1.2816, "high_95": 1.96}, abs=1e-3)


def test_decisions_reach_the_what_if_and_not_only_the_estimates():
    short = seen(*rising.records(height_cm=Decimal(130)))
    assert "below 140 cm" in one(short, ipap_cmh2o=20.0).refused
    used = seen(*rising.records(height_cm=Decimal(130)), below_140_cm=True)
    assert one(used, ipap_cmh2o=20.0).answer is not None
    measured = seen(*rising.records(), measured=MeasuredDeadSpace(5.3, 3.2, 480.0))
    assert measured.baseline.body.dead_space.measured


def test_a_refusal_says_which_reading_it_is_of_and_oxygen_alone_has_its_own_recheck():
    records = [made for made in rising.records() if type(made).__name__ != "BloodGas"]
    off = seen(*records, rising.gas(5, "7.9"))
    assert one(off, ipap_cmh2o=20.0).refused.startswith(
        "the reading it starts from, capillary earlobe of 2026-06-10"
    )
    oxygen = one(off, oxygen_l_min=2.0)
    rows = {row[""]: row for row in whatif_tables.compared_table((oxygen,), KPA, TODAY)}
    assert rows["Earliest honest recheck"]["A"].startswith("Oxygen alone has no weeks to wait for")


def test_an_oxygen_flow_at_the_newest_gas_that_is_not_the_programs_is_told():
    records = [one for one in rising.records() if type(one).__name__ != "BloodGas"]
    drawn = rising.gas(5, "6.0", on=True)
    state = drawn.state.model_copy(update={"oxygen_l_min": Decimal(3)})
    words = " ".join(starting_cautions(seen(*records, drawn.model_copy(update={"state": state}))))
    assert "drawn on oxygen 3 L/min" in words
    assert "starts from the program" in words


# --- rows of the charts -------------------------------------------------------------------------------


def test_rows_of_the_charts_have_the_columns_that_charts_ask_for(view):
    answers = whatif_tables.answered((one(view, ipap_cmh2o=22.0),))
    rows = whatif_tables.interval_rows(answers)
    curve, points = whatif_tables.hyperbola_rows(answers)
    assert dict(rows.schema) == {name: kind() for name, kind in charts.INTERVALS.items()}
    assert dict(points.schema) == {name: kind() for name, kind in charts.POINTS.items()}
    assert set(charts.CURVE) < set(curve.columns)
    assert rows["label"].to_list() == ["now", "A"]


def test_the_reading_before_lies_on_the_hyperbola_of_its_own_co2_output(view):
    # PaCO2 = 0.11505 x CO2 output / alveolar ventilation (BTPS and STPD; docs/ventilation.md)
    found = one(view, ipap_cmh2o=22.0).answer
    before = 0.11505 * found.vco2.value / found.va_before.value
    assert before == pytest.approx(found.anchor.kpa, rel=0.02)


def test_points_stand_at_the_ventilation_before_and_after(view):
    found = one(view, ipap_cmh2o=22.0).answer
    _, points = whatif_tables.hyperbola_rows((found,))
    assert points["alveolar_l_min"].to_list() == [found.va_before.value, found.va_after.value]
    assert points["kpa"].to_list() == [found.anchor.kpa, found.expected_kpa]
    assert found.va_after.value > found.va_before.value


def test_a_mean_over_the_day_is_not_put_beside_readings(view):
    tried = try_proposals(view, (Proposal("A", ipap_cmh2o=22.0), Proposal("B", hours_per_day=9.0)))
    kept = whatif_tables.same_kind(whatif_tables.answered(tried))
    assert [one.proposal.label for one in kept] == ["A"]


# --- 4. acid-base -------------------------------------------------------------------------------------


def test_each_gas_is_read_newest_first_and_numbered_as_on_the_map(view):
    rows = titration_tables.acid_base_table(view)
    assert [row["No."] for row in rows] == ["6", "5", "4", "3", "2", "1"]
    assert all(row["Reads as"] for row in rows)
    assert titration_tables.acid_base_path(view)["order"].to_list() == [1, 2, 3, 4, 5, 6]


def test_a_venous_gas_stands_in_the_table_with_its_reason_and_not_on_the_map():
    venous = rising.gas(3, "8.0").model_copy(update={"kind": SampleKind.VENOUS, "site": SampleSite.ARM_VEIN})
    found = seen(*rising.records(), venous)
    newest = titration_tables.acid_base_table(found)[0]
    assert newest["No."] == ""
    assert "venous" in newest["Reads as"]
    assert titration_tables.acid_base_path(found).height == 6


def test_the_table_keeps_what_was_entered(view):
    records = [*rising.records(), rising.gas(2, "7.0").model_copy(
        update={"pco2": Pressure(value=Decimal("53.0"), unit=PressureUnit.MMHG)})]  # fmt: skip
    assert titration_tables.acid_base_table(seen(*records))[0]["PCO2"] == "53.0 mmHg"
    assert "entered 30.1" in titration_tables.acid_base_table(view)[0]["Bicarbonate"]


# --- a plan -------------------------------------------------------------------------------------------


def owed_in_caseload(store):
    caseload.refresh(store, today=TODAY)
    return caseload.caseload(store, today=TODAY).filter(person_key=CARA)["owed"].to_list()[0]


def test_a_saved_plan_is_owed_in_the_caseload_with_its_date(cara):
    recheck = "day blood gas by 13 Jul 2026"
    assert recheck not in owed_in_caseload(cara)
    assert plan(cara).fate == Fate.SAVED
    assert recheck in owed_in_caseload(cara)


def test_a_plan_keeps_its_expected_value_interval_and_what_it_is_of(cara):
    held = plan(cara).held[0].record
    assert held.proposal == "IPAP 18 → 20 cmH2O"
    answer = one(titration(cara, CARA, today=TODAY), ipap_cmh2o=20.0).answer
    kept = (held.expected_low_kpa, held.expected_paco2_kpa, held.expected_high_kpa)
    shown = (answer.low_95_kpa, answer.expected_kpa, answer.high_95_kpa)
    assert [float(kpa) for kpa in kept] == pytest.approx(shown, abs=0.005)
    assert "on the ventilator" in held.comment
    assert held.state == ActionState.OPEN
    assert titration_tables.plans_table(titration(cara, CARA, today=TODAY), KPA)[0]["Why"] == WHY["why"]


def test_the_same_request_again_adds_nothing(cara):
    assert plan(cara).fate == Fate.SAVED
    assert plan(cara).stored
    assert len(cara.dossier(CARA).planned_change) == 1


def test_a_second_plan_of_the_same_moment_gets_a_second_of_its_own(cara):
    plan(cara)
    later = free_moment(cara.dossier(CARA), NOW)
    assert later == NOW + timedelta(seconds=1)
    assert plan(cara, now=later, request_id="other").fate == Fate.SAVED
    assert len(cara.dossier(CARA).planned_change) == 2


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"owed_test": TestKind.NONE}, "owed_test"),
        ({"owed_by": TODAY - timedelta(days=1)}, "lies before the plan"),
    ],
)
def test_a_plan_that_owes_nothing_or_owes_it_in_the_past_is_refused_by_name(cara, more, said):
    with pytest.raises(ValueError, match=said):
        plan(cara, **more)
    assert cara.dossier(CARA).planned_change == ()


def test_the_earliest_recheck_of_an_awake_gas_is_four_weeks_on(view):
    assert earliest_recheck(one(view, ipap_cmh2o=20.0).answer, TODAY) == TODAY + timedelta(days=28)
    assert earliest_recheck(one(view, hours_per_day=9.0).answer, TODAY) is None


def test_the_form_of_a_plan_reads_strictly_and_names_what_is_missing():
    read = read_plan({"why": " ", "owed_by": "31022026"}, day=TODAY, zone="Europe/London")
    assert read.read.missing == ("why", "owed_test")
    assert "31022026" in read.read.refused["owed_by"]
    past = read_plan({"owed_by": "14062026"}, day=TODAY, zone="Europe/London")
    assert "lies before today" in past.read.refused["owed_by"]
    whole = read_plan(
        {"why": "short nights", "owed_test": "day blood gas", "owed_by": "13/07/2026"}, day=TODAY, zone="UTC"
    )
    assert whole.whole
    assert (whole.owed_test, whole.owed_by) == (TestKind.DAY_GAS, date(2026, 7, 13))


def test_a_plan_of_a_missing_day_is_not_whole():
    assert not read_plan({"why": "x", "owed_test": "day blood gas"}, day=TODAY, zone="UTC").whole


def test_only_what_was_measured_up_to_the_day_counts():
    with opened(*rising.records()) as held:
        before = titration(held, CARA, today=TODAY - timedelta(days=30))
    assert not isinstance(before.differential, Refused)
    assert before.differential.last.kpa < 7.0
    assert len(before.gases) == 4


def test_words_of_a_change_name_dead_space_and_what_was_not_recorded(view):
    assert change_words(one(view, dead_space_change_ml=-40.0).answer) == "dead space -40 mL"


def test_a_child_has_no_predicted_weight_but_a_dead_space_by_weight():
    identity = invented.identity(CARA, "Cara Invented", "H1003", date(2014, 5, 4))
    group = {"diagnosis_group": DiagnosisGroup.DUCHENNE}
    found = seen(identity, *rising.records(**group)[1:])
    assert "for adults" in titration_tables.figures_table(found)[-1]["Taken for granted, or why not given"]


def test_moments_of_a_plan_are_whole_seconds_in_utc(cara):
    odd = datetime(2026, 6, 15, 14, 0, 0, 123, tzinfo=UTC)
    assert free_moment(cara.dossier(CARA), odd) == odd.replace(microsecond=0)
