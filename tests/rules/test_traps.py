"""The mistakes easiest to make with these rules, each shown not to be made."""

from datetime import date, timedelta
from decimal import Decimal

import pytest

from hvmon.records.symptoms import Instrument, InstrumentTotal
from hvmon.rules.case import Case
from hvmon.rules.catalogue import RULES, rule
from hvmon.rules.judge import findings, goals, judged
from hvmon.rules.owed import owed
from hvmon.vocabulary import (
    NOT_RECORDED,
    ActionState,
    Answer,
    BaseExcessKind,
    BicarbonateKind,
    DiagnosisGroup,
    EventKind,
    FlapTest,
    Grade,
    HeightMethod,
    Informant,
    LeakKind,
    Rest,
    SampleKind,
    TestKind,
    VentilatorState,
    Wakefulness,
)

DAY = date(2026, 3, 1)
EARLIER = date(2026, 2, 1)


def ask(make, rule_id, *records, born=date(1950, 1, 1), **who):
    return judged(Case(make.dossier(*records, born=born, **who), make.today), rule(rule_id))


# 1. inclusive and strict, per disease ---


def test_45_mmhg_is_hypercapnia_in_obesity_hypoventilation_and_not_in_copd(make) -> None:
    assert ask(make, "GAS-2", make.gas("45", "mmHg")).answer == Answer.MET
    assert ask(make, "GAS-1", make.gas("45", "mmHg")).answer == Answer.NOT_MET


# 3. sample kinds ---


def test_a_venous_sample_never_rules_in(make) -> None:
    found = ask(make, "GAS-3", make.gas("8.5", "kPa", kind=SampleKind.VENOUS))
    assert found.answer == Answer.NOT_ASSESSABLE
    assert "venous" in found.sentence


def test_a_venous_sample_raises_no_rule_that_needs_arterial_pco2(make) -> None:
    dossier = make.dossier(
        make.gas("9.0", "kPa", EARLIER), make.gas("12.0", "kPa", DAY, kind=SampleKind.VENOUS)
    )
    case = Case(dossier, make.today)
    for rule_id in ("GAS-9", "RED-4", "TGT-9", "MEA-3"):
        assert judged(case, rule(rule_id)).answer != Answer.MET
    assert "2026-02-01" in judged(case, rule("GAS-3")).sentence


def test_a_low_venous_pco2_rules_out(make) -> None:
    found = ask(make, "GAS-14", make.gas("44", "mmHg", kind=SampleKind.VENOUS))
    assert found.answer == Answer.NOT_MET
    assert "unlikely" in found.sentence


@pytest.mark.parametrize(
    "other",
    [
        {"kind": SampleKind.CAPILLARY_EARLOBE},
        {"ventilator": VentilatorState.ON},
        {"oxygen_l_min": "2"},
        {"ventilator": VentilatorState.NOT_RECORDED},
        {"oxygen_l_min": NOT_RECORDED},
    ],
)
def test_a_step_is_judged_between_like_gases_only(make, other) -> None:
    found = ask(make, "GAS-9", make.gas("6.0", "kPa", EARLIER), make.gas("7.5", "kPa", DAY, **other))
    assert found.answer == Answer.NOT_ASSESSABLE


def test_a_step_is_not_judged_from_a_level_more_than_a_year_old(make) -> None:
    last = make.gas("7.5", "kPa", DAY)
    assert ask(make, "GAS-9", make.gas("6.0", "kPa", DAY - timedelta(days=366)), last).answer == Answer.MET
    found = ask(make, "GAS-9", make.gas("6.0", "kPa", DAY - timedelta(days=367)), last)
    assert found.answer == Answer.NOT_ASSESSABLE


def test_capillary_po2_is_not_used(make) -> None:
    ear = make.gas(kind=SampleKind.CAPILLARY_EARLOBE, po2=make.pressure("6.5", "kPa"))
    found = ask(make, "OXI-7", ear)
    assert found.answer == Answer.NOT_ASSESSABLE
    assert "capillary" in found.sentence


def test_unlike_readings_are_named_as_unlike(make) -> None:
    found = ask(make, "MEA-5", make.gas(day=EARLIER), make.gas(day=DAY, ventilator=VentilatorState.ON))
    assert found.answer == Answer.MET
    assert "on ventilator" in found.sentence


# 4. consecutive and cumulative, denominators ---


def test_five_minutes_in_pieces_are_cumulative_and_not_consecutive(make) -> None:
    pieces = make.night(at_or_below_88_s=600, longest_at_or_below_88_s=100)
    assert ask(make, "OXI-1", pieces).answer == Answer.MET
    assert ask(make, "OXI-2", pieces).answer == Answer.NOT_MET


def test_ten_minutes_above_55_in_pieces_split_the_two_readings_of_the_same_limb(make) -> None:
    pieces = make.night(
        tcco2_peak=make.pressure("58", "mmHg"), tcco2_above_55_mmhg_s=700, tcco2_longest_above_55_mmhg_s=120
    )
    assert ask(make, "NGT-1", pieces).answer == Answer.MET
    assert ask(make, "NGT-2", pieces).answer == Answer.NOT_MET


def test_a_share_names_its_denominator(make) -> None:
    found = ask(make, "OXI-3", make.night(below_90_s=4000))
    assert "of valid recording" in found.sentence
    assert any("not staged" in each for each in found.unknown)


def test_without_a_valid_time_there_is_no_share(make) -> None:
    found = ask(make, "OXI-3", make.night(below_90_s=4000, valid_s=NOT_RECORDED))
    assert found.answer == Answer.NOT_ASSESSABLE


def test_a_recording_under_two_hours_does_not_answer(make) -> None:
    assert ask(make, "OXI-1", make.night(valid_s=7199, at_or_below_88_s=0)).answer == Answer.NOT_ASSESSABLE
    assert ask(make, "OXI-1", make.night(valid_s=7200, at_or_below_88_s=0)).answer == Answer.NOT_MET
    short = make.night(tcco2_valid_s=7199, tcco2_peak=make.pressure("45", "mmHg"))
    assert ask(make, "NGT-8", short).answer == Answer.NOT_ASSESSABLE
    met = make.night(tcco2_valid_s=7199, tcco2_peak=make.pressure("60", "mmHg"))
    assert ask(make, "NGT-8", met).answer == Answer.MET


# 5. missing is never normal ---


@pytest.mark.parametrize("rule_id", ["NGT-3", "NGT-11", "NGT-13"])
def test_without_an_awake_supine_baseline_a_rise_is_not_assessable(make, rule_id) -> None:
    study = make.night(tcco2_peak=make.pressure("48", "mmHg"), tcco2_longest_risen_10_above_50_mmhg_s=0)
    found = ask(make, rule_id, study)
    assert found.answer == Answer.NOT_ASSESSABLE
    assert "baseline" in found.sentence


@pytest.mark.parametrize(
    ("condition", "named"),
    [
        ({"wakefulness": Wakefulness.NOT_RECORDED}, "awake or asleep not recorded"),
        ({"rest": Rest.NOT_RECORDED}, "at rest not recorded"),
        ({"ventilator": VentilatorState.NOT_RECORDED}, "on or off ventilator not recorded"),
    ],
)
@pytest.mark.parametrize("rule_id", ["GAS-1", "GAS-2", "GAS-3", "TGT-1"])
def test_a_missing_condition_is_not_assessable_and_is_named(make, rule_id, condition, named) -> None:
    found = ask(make, rule_id, make.gas("7.0", "kPa", **condition))
    assert found.answer == Answer.NOT_ASSESSABLE
    assert named in found.unknown


def test_an_untested_flap_is_not_an_absent_one(make) -> None:
    untested = make.report(date(2026, 3, 9), flap=FlapTest.NOT_TESTED)
    found = ask(make, "RED-1", untested)
    assert found.answer == Answer.NOT_ASSESSABLE
    assert "not absent" in found.sentence


def test_a_new_flap_is_met_and_an_old_one_is_not(make) -> None:
    old = make.report(date(2026, 2, 1), flap=FlapTest.PRESENT)
    again = make.report(date(2026, 3, 9), flap=FlapTest.PRESENT)
    assert ask(make, "RED-1", again).answer == Answer.MET
    assert ask(make, "RED-1", old, again).answer == Answer.NOT_MET


def test_a_gas_asleep_or_after_exertion_is_passed_over(make) -> None:
    found = ask(
        make,
        "GAS-3",
        make.gas("5.5", "kPa", EARLIER),
        make.gas("7.5", "kPa", DAY, wakefulness=Wakefulness.ASLEEP),
        make.gas("7.0", "kPa", date(2026, 3, 2), rest=Rest.AFTER_EXERTION),
    )
    assert found.answer == Answer.NOT_MET


def test_an_old_gas_says_nothing_of_today(make) -> None:
    assert ask(make, "GAS-3", make.gas("7.5", "kPa", make.today - timedelta(days=366))).answer == Answer.MET
    found = ask(make, "GAS-3", make.gas("7.5", "kPa", make.today - timedelta(days=367)))
    assert found.answer == Answer.NOT_ASSESSABLE
    assert "367 days old" in found.sentence


def test_a_later_record_is_not_looked_at(make) -> None:
    tomorrow = make.today + timedelta(days=1)
    assert ask(make, "GAS-3", make.gas("9.0", "kPa", tomorrow)).answer == Answer.NOT_ASSESSABLE


# 6. oximetry on oxygen ---


@pytest.mark.parametrize("rule_id", ["OXI-2", "OXI-3", "OXI-4", "OXI-5", "OXI-6", "TGT-11"])
def test_on_oxygen_oximetry_is_not_evidence_of_ventilation(make, rule_id) -> None:
    study = make.night(
        oxygen_l_min=Decimal(1), below_90_s=0, longest_at_or_below_88_s=0, dips_per_h=Decimal(1),
        dip_size_pct=4, dip_convention="own")  # fmt: skip
    found = ask(make, rule_id, study)
    assert found.answer == Answer.NOT_ASSESSABLE
    assert "not valid as hypoventilation evidence" in found.sentence


def test_the_payer_rule_on_usual_oxygen_says_that_it_says_nothing_of_co2(make) -> None:
    found = ask(make, "OXI-1", make.night(oxygen_l_min=Decimal(1), at_or_below_88_s=0))
    assert found.answer == Answer.NOT_MET
    assert any("nothing of CO2" in each for each in found.unknown)


def test_an_index_of_3_percent_dips_does_not_answer_a_rule_of_4(make) -> None:
    study = make.night(dips_per_h=Decimal(13), dip_size_pct=3, dip_convention="own")
    assert ask(make, "OXI-5", study).answer == Answer.NOT_ASSESSABLE


# 7. percent fall ---


def test_the_fall_is_from_the_own_baseline_not_from_the_last_value(make) -> None:
    found = ask(
        make,
        "TGT-2",
        make.gas("8.0", "kPa", date(2024, 12, 1)),
        make.gas("10.0", "kPa", EARLIER),
        make.gas("8.0", "kPa", DAY),
    )
    assert found.answer == Answer.MET
    assert "fall 0.0 %" in found.sentence


@pytest.mark.parametrize(
    "baseline",
    [
        {"kind": SampleKind.CAPILLARY_EARLOBE},
        {"ventilator": VentilatorState.ON},
        {"wakefulness": Wakefulness.NOT_RECORDED},
    ],
)
def test_a_baseline_of_another_kind_or_state_is_no_baseline(make, baseline) -> None:
    first = make.gas("10.0", "kPa", date(2024, 12, 1), **baseline)
    assert ask(make, "TGT-2", first, make.gas("7.0", "kPa", DAY)).answer == Answer.NOT_ASSESSABLE


def test_a_baseline_in_an_exacerbation_is_no_baseline(make) -> None:
    ill = make.event(EventKind.ADMISSION_HYPERCAPNIC, date(2024, 11, 25), until=date(2024, 12, 5))
    first = make.gas("10.0", "kPa", date(2024, 12, 1))
    assert ask(make, "TGT-2", ill, first, make.gas("7.0", "kPa", DAY)).answer == Answer.NOT_ASSESSABLE


@pytest.mark.parametrize(("now", "told"), [("5.2", True), ("5.3", False), ("5.1", False)])
def test_a_fall_that_the_rounding_of_the_printed_values_may_decide_says_so(make, now, told) -> None:
    found = ask(make, "TGT-2", make.gas("6.5", "kPa", date(2024, 12, 1)), make.gas(now, "kPa", DAY))
    assert any("rounding may decide" in each for each in found.unknown) == told


def test_a_value_below_the_cut_reaches_the_goal_without_a_baseline(make) -> None:
    assert ask(make, "TGT-2", make.gas("6.4", "kPa", DAY)).answer == Answer.NOT_MET


# 8. questionnaires ---


def total(instrument: Instrument, value: str) -> tuple[InstrumentTotal, ...]:
    return (InstrumentTotal(instrument=instrument, total=Decimal(value), completed_by=Informant.SELF),)


@pytest.mark.parametrize(
    ("instrument", "before", "after", "worse"),
    [
        (Instrument.EPWORTH, "10", "12", True),
        (Instrument.EPWORTH, "12", "10", False),
        (Instrument.EPWORTH, "10", "11", False),
        (Instrument.S3_NIV, "7.0", "6.2", True),
        (Instrument.S3_NIV, "6.2", "7.0", False),
        (Instrument.SRI, "60", "55", True),
        (Instrument.SRI, "55", "60", False),
        (Instrument.CAT, "20", "22", True),
        (Instrument.CCQ, "2.0", "2.4", True),
        (Instrument.SGRQ, "40", "44", True),
        (Instrument.MMRC, "2", "3", True),
    ],
)
def test_a_questionnaire_is_worse_in_its_own_direction_and_by_its_own_change(
    make, instrument, before, after, worse
) -> None:
    found = ask(
        make,
        "SYM-4",
        make.report(EARLIER, instruments=total(instrument, before)),
        make.report(DAY, instruments=total(instrument, after)),
    )
    assert (found.answer == Answer.MET) == worse


def test_grades_of_two_dyspnoea_scales_are_never_compared(make) -> None:
    found = ask(
        make,
        "SYM-4",
        make.report(EARLIER, instruments=total(Instrument.MRC, "3")),
        make.report(DAY, instruments=total(Instrument.MMRC, "4")),
    )
    assert found.answer == Answer.NOT_ASSESSABLE


# 9. before and after a change ---


def test_a_gas_of_the_same_day_does_not_close_the_recheck_whatever_its_hour(make) -> None:
    for hour in (8, 20):
        dossier = make.dossier(
            make.change(EARLIER, TestKind.DAY_GAS), make.gas(drawn_at=make.at(EARLIER, hour)))  # fmt: skip
        item = next(each for each in owed(dossier, today=make.today) if each.owed_id.startswith("recheck"))
        assert item.state == ActionState.OPEN
        assert "the day of the change" in item.words


# 10. no single verdict ---


def test_an_unknown_group_gives_no_verdict_but_keeps_the_acute_flags(make) -> None:
    dossier = make.dossier(
        make.gas("9.0", "kPa", date(2026, 3, 9), ph="7.28"), make.night(), group=DiagnosisGroup.UNKNOWN
    )
    found = findings(dossier, today=make.today)
    assert {each.rule_id.split("-")[0] for each in found} == {"RED", "GAS", "REC"}
    met = {each.rule_id for each in found if each.answer == Answer.MET}
    assert {"REC-1", "RED-2", "RED-3", "GAS-7"} <= met
    assert not [each for each in found if each.rule_id in {"GAS-1", "GAS-2", "GAS-3"}]


def test_low_co2_is_also_abnormal(make) -> None:
    dossier = make.dossier(make.gas("4.2", "kPa", ph="7.48"))
    met = {each.rule_id for each in findings(dossier, today=make.today) if each.answer == Answer.MET}
    assert {"GAS-6", "GAS-16"} <= met


def test_several_definitions_stand_side_by_side_and_may_disagree(make) -> None:
    study = make.night(
        tcco2_peak=make.pressure("52", "mmHg"), tcco2_awake_supine=make.pressure("44", "mmHg"),
        tcco2_above_50_mmhg_s=900, tcco2_above_55_mmhg_s=0)  # fmt: skip
    answers = {
        each: ask(make, each, study).answer for each in ("NGT-1", "NGT-8", "NGT-11", "NGT-12", "NGT-13")
    }
    assert set(answers.values()) == {Answer.MET, Answer.NOT_MET}


def test_an_empty_record_is_mostly_unknown_and_nothing_is_called_safe(make) -> None:
    found = findings(make.dossier(), today=make.today)
    assert [each.rule_id for each in found if each.raised and not each.rule_id.startswith("FUP")] == []
    assert sum(each.answer == Answer.NOT_ASSESSABLE for each in found) > len(found) / 2
    assert all(line.answer != Answer.MET for line in goals(found) if line.part != "oximetry")
    words = " ".join(each.sentence.lower() for each in found)
    assert "safe" not in words
    assert "normal ventilation" not in words


# also watch ---


def test_standard_bicarbonate_does_not_answer_a_rule_of_actual_bicarbonate(make) -> None:
    for kind in (BicarbonateKind.STANDARD, BicarbonateKind.NOT_RECORDED):
        found = ask(make, "GAS-10", make.gas(hco3_mmol_l="30", hco3_kind=kind))
        assert found.answer == Answer.NOT_ASSESSABLE


def test_a_high_bicarbonate_with_a_high_ph_is_first_a_metabolic_alkalosis(make) -> None:
    found = ask(make, "GAS-10", make.gas(hco3_mmol_l="32", ph="7.46"))
    assert "metabolic alkalosis" in found.sentence
    assert "metabolic alkalosis" not in ask(make, "GAS-10", make.gas(hco3_mmol_l="32", ph="7.45")).sentence


def test_base_excess_of_an_unknown_kind_is_not_assessable(make) -> None:
    found = ask(make, "GAS-12", make.gas(be_mmol_l="6", be_kind=BaseExcessKind.NOT_RECORDED))
    assert found.answer == Answer.NOT_ASSESSABLE


@pytest.mark.parametrize(
    ("born", "adult", "child"),
    [
        (date(2008, 3, 1), Answer.MET, Answer.NOT_ASSESSABLE),  # 18 on the study date
        (date(2008, 3, 2), Answer.NOT_ASSESSABLE, Answer.MET),  # 17 on the study date, 18 today
        (None, Answer.NOT_ASSESSABLE, Answer.NOT_ASSESSABLE),
    ],
)
def test_adult_or_child_rule_goes_by_the_age_on_the_study_date(make, born, adult, child) -> None:
    study = make.night(DAY, tcco2_peak=make.pressure("52", "mmHg"))
    assert ask(make, "NGT-8", study, born=born).answer == adult
    assert ask(make, "NGT-5", study, born=born).answer == child


@pytest.mark.parametrize("kind", [LeakKind.TOTAL_MEDIAN, LeakKind.UNINTENTIONAL_P95, LeakKind.NOT_RECORDED])
def test_only_unintended_leak_of_one_kind_answers(make, kind) -> None:
    assert ask(make, "USE-3", make.use(leak_l_min="60", leak_kind=kind)).answer == Answer.NOT_ASSESSABLE


def test_two_kinds_of_leak_in_the_window_are_not_joined(make) -> None:
    last = make.use(leak_l_min="30", days=14)
    before = make.use(
        leak_l_min="30", days=14, last=make.today - timedelta(days=15), leak_kind=LeakKind.UNINTENTIONAL_MEAN
    )
    assert ask(make, "USE-3", last, before).answer == Answer.NOT_ASSESSABLE


def test_few_nights_of_use_do_not_answer_and_missing_nights_are_told(make) -> None:
    assert ask(make, "USE-1", make.use("2", 13)).answer == Answer.NOT_ASSESSABLE
    found = ask(make, "USE-1", make.use("2", 14))
    assert found.answer == Answer.MET
    assert "14 nights without a value" in found.unknown


def test_an_exacerbation_takes_the_stable_gas_away(make) -> None:
    ill = make.event(EventKind.INFECTION, date(2026, 2, 20))
    assert ask(make, "GAS-1", ill, make.gas("7.0", "kPa", DAY)).answer == Answer.NOT_ASSESSABLE
    assert ask(make, "GAS-1", ill, make.gas("7.0", "kPa", date(2026, 3, 7))).answer == Answer.MET


def test_symptoms_do_not_change_a_co2_finding(make) -> None:
    drawn = make.gas("7.0", "kPa")
    silent = ask(make, "GAS-3", drawn)
    loud = ask(make, "GAS-3", drawn, make.report(DAY, 10))
    assert (silent.answer, silent.sentence) == (loud.answer, loud.sentence)


def test_pins_and_needles_are_no_sign_of_retention(make) -> None:
    found = ask(make, "SYM-1", make.report(EARLIER), make.report(DAY, pins_and_needles=9))
    assert found.answer == Answer.NOT_MET


def test_a_same_day_flag_gives_the_general_wording_and_no_order(make) -> None:
    found = ask(make, "RED-2", make.gas("8.0", "kPa", date(2026, 3, 9), ph="7.30"))
    assert (
        "same-day contact with the ventilation team or emergency services, by local protocol"
        in found.sentence
    )


def test_what_raised_a_same_day_flag_long_ago_stays_raised_as_soon(make) -> None:
    found = ask(make, "RED-2", make.gas("8.0", "kPa", date(2026, 1, 1), ph="7.30"))
    assert (found.answer, found.grade) == (Answer.MET, Grade.SOON)
    assert "no later result answers it" in found.sentence


def test_an_old_normal_gas_does_not_answer_an_acute_question(make) -> None:
    assert ask(make, "RED-2", make.gas("5.0", "kPa", date(2026, 1, 1))).answer == Answer.NOT_ASSESSABLE


def test_no_sentence_of_any_rule_orders_treatment(make) -> None:
    drawn = [make.gas("6.0", "kPa", EARLIER), make.gas("9.0", "kPa", date(2026, 3, 9), ph="7.25")]
    case = Case(make.dossier(*drawn, make.night(), make.report(DAY, 8), make.use("2")), make.today)
    words = " ".join(judged(case, each).sentence.lower() for each in RULES)
    for order in ("increase the", "decrease the", "raise the", "reduce the", "start ventilation", "must "):
        assert order not in words


def test_a_height_that_was_not_measured_standing_is_named_beside_tidal_volume_per_kilogram(make) -> None:
    nights = make.use("8", tidal_volume_ml="250")
    measured = ask(make, "USE-6", nights)
    worked_out = ask(make, "USE-6", nights, height_method=HeightMethod.ULNA)
    assert measured.answer == worked_out.answer == Answer.MET
    assert not any("ulna length" in text for text in measured.unknown)
    assert any("ulna length" in text for text in worked_out.unknown)
