"""Findings carry rule, values, dates and conditions, what is not known, and where the rule comes from."""

from datetime import date, timedelta
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hvmon.rules.catalogue import RULES
from hvmon.rules.finding import GRADES, Part, all_of, any_of, met, not_reached, unclear
from hvmon.rules.judge import CAUTION, findings, goals
from hvmon.rules.need import need
from hvmon.rules.owed import owed
from hvmon.rules.packs import Pack
from hvmon.sources import source
from hvmon.vocabulary import Answer, DiagnosisGroup, EventKind, Grade, VentilatorState

TODAY = date(2026, 3, 10)
RECENT = date(2026, 3, 9)


def by_id(found):
    return {each.rule_id: each for each in found}


def busy(make, **who):
    return make.dossier(
        make.gas("6.0", "kPa", date(2026, 2, 1)),
        make.gas("7.5", "kPa", RECENT, ph="7.33"),
        make.night(tcco2_peak=make.pressure("56", "mmHg"), tcco2_awake_supine=make.pressure("45", "mmHg")),
        make.report(date(2026, 2, 1)),
        make.report(RECENT, 6),
        make.use("3", leak_l_min="30"),
        **who,
    )


def test_a_finding_shows_its_basis(make) -> None:
    found = by_id(findings(busy(make), today=TODAY))["GAS-1"]
    assert found.answer == Answer.MET
    for part in ("arterial PCO2 7.5 kPa", "pH 7.33", "off ventilator for 60 min", "on air", "2026-03-09"):
        assert part in found.sentence.replace("Arterial", "arterial")
    assert [basis.record_id for basis in found.basis] == ["blood_gas-1"]
    assert found.basis[0].at.date() == RECENT
    assert (found.limit_words, found.source_key) == ("> 45 mmHg", "Macrea2020")
    assert source(found.source_key).title
    assert found.place
    assert found.mark


def test_every_rule_can_be_asked_of_every_person_and_gives_a_sentence(make) -> None:
    everything = Pack("all", RULES)
    for group in DiagnosisGroup:
        for dossier in (make.dossier(group=group), busy(make, group=group)):
            found = findings(dossier, today=TODAY, pack=everything)
            assert len(found) == len(RULES)
            for each in found:
                assert each.sentence.endswith(".")
                assert each.sentence[0].isupper() or not each.sentence[0].isalpha()
                if each.answer == Answer.NOT_ASSESSABLE:
                    assert each.unknown or each.sentence


def test_met_comes_first_and_the_most_pressing_first_of_all(make) -> None:
    found = findings(busy(make), today=TODAY)
    order = [(each.answer == Answer.NOT_MET, each.answer == Answer.NOT_ASSESSABLE, GRADES.index(each.grade))
             for each in found]  # fmt: skip
    assert order == sorted(order)
    assert found[0].grade == Grade.SAME_DAY


def test_only_met_and_not_context_is_raised(make) -> None:
    for each in findings(busy(make), today=TODAY):
        assert each.raised == (each.answer == Answer.MET and each.grade != Grade.CONTEXT)


def test_the_caution_says_that_a_missing_flag_is_not_reassurance() -> None:
    assert "missing flag is not reassurance" in CAUTION
    assert "Goals of care" in CAUTION


# --- adequacy is a set ---


def test_adequacy_is_six_parts_each_at_goal_not_at_goal_or_not_known(make) -> None:
    lines = goals(findings(busy(make), today=TODAY))
    parts = {line.part for line in lines}
    assert parts == {"awake CO2", "night CO2", "oximetry", "use", "leak", "symptoms"}
    answers = {(line.part, line.rule_id): line.answer for line in lines}
    assert answers["awake CO2", "TGT-1"] == Answer.NOT_MET
    assert answers["use", "USE-1"] == Answer.NOT_MET
    assert answers["leak", "USE-3"] == Answer.NOT_MET
    assert answers["oximetry", "TGT-11"] == Answer.NOT_ASSESSABLE


def test_both_copd_goals_are_shown(make) -> None:
    lines = goals(findings(make.dossier(make.gas("6.3", "kPa")), today=TODAY))
    awake = {line.rule_id: line.answer for line in lines if line.part == "awake CO2"}
    assert awake == {"TGT-1": Answer.NOT_MET, "TGT-2": Answer.MET}


def test_without_any_finding_every_part_is_not_known() -> None:
    assert {line.answer for line in goals(())} == {Answer.NOT_ASSESSABLE}


# --- joining conditions ---

ANSWERS = st.lists(st.sampled_from(list(Answer)), min_size=1, max_size=5)


def parts(answers) -> list[Part]:
    return [Part(answer, f"part {index}") for index, answer in enumerate(answers)]


@given(ANSWERS)
def test_any_of_is_met_by_one_and_open_while_one_may_decide(answers) -> None:
    joined = any_of(parts(answers)).answer
    if Answer.MET in answers:
        assert joined == Answer.MET
    else:
        assert joined == (Answer.NOT_ASSESSABLE if Answer.NOT_ASSESSABLE in answers else Answer.NOT_MET)


@given(ANSWERS)
def test_all_of_is_the_mirror_of_any_of(answers) -> None:
    mirrored = any_of(not_reached(part) for part in parts(answers))
    assert not_reached(mirrored).answer == all_of(parts(answers)).answer


def test_a_joined_part_keeps_words_and_what_is_not_known() -> None:
    joined = all_of((met(holds=True, words="one", unknown=("a",)), unclear("two")))
    assert joined.words == "one; two"
    assert joined.unknown == ("a", "two")


# --- trend ---


def estimate(p_rise=None, p_rise_0_3=None, p_above_limit=None):
    return SimpleNamespace(p_rise=p_rise, p_rise_0_3=p_rise_0_3, p_above_limit=p_above_limit,
                           model_version="trend-1 abcd", readings=("blood_gas-0", "blood_gas-1"))  # fmt: skip


def test_the_two_tiers_say_model_and_readings(make) -> None:
    found = by_id(findings(busy(make), today=TODAY, trend=estimate(0.9, 0.97, 0.5)))
    assert (found["TRD-1"].answer, found["TRD-2"].answer) == (Answer.MET, Answer.NOT_MET)
    assert (found["TRD-3"].answer, found["TRD-4"].answer) == (Answer.MET, Answer.MET)
    assert (found["TRD-5"].answer, found["TRD-6"].answer) == (Answer.NOT_MET, Answer.NOT_MET)
    assert "trend-1 abcd, 2 readings" in found["TRD-1"].sentence
    assert [basis.record_id for basis in found["TRD-1"].basis] == ["blood_gas-0", "blood_gas-1"]


def test_a_likely_rise_is_soon_and_a_level_long_above_the_limit_is_for_review(make) -> None:
    found = by_id(findings(busy(make), today=TODAY, trend=estimate(0.99, 0.99, 0.99)))
    assert found["TRD-2"].grade == found["TRD-4"].grade == Grade.SOON
    assert found["TRD-5"].grade == found["TRD-6"].grade == Grade.REVIEW


def test_not_enough_to_tell_is_an_answer_of_its_own(make) -> None:
    found = by_id(findings(busy(make), today=TODAY, trend=estimate()))
    assert found["TRD-1"].answer == Answer.NOT_ASSESSABLE
    assert "Not enough to tell" in found["TRD-1"].sentence


# --- need ---


def need_of(make, *records, **who):
    dossier = make.dossier(*records, ventilation_started=date(2026, 3, 1), **who)
    return need(findings(dossier, today=TODAY), owed(dossier, today=TODAY))


def test_need_sorts_same_day_above_soon_above_overdue_above_review(make) -> None:
    acute = need_of(make, make.gas("8.0", "kPa", RECENT, ph="7.30"))
    stepped = need_of(make, make.gas("5.0", "kPa", date(2026, 2, 1)), make.gas("5.9", "kPa", RECENT))
    overdue = need_of(make, make.change(date(2026, 1, 1)))
    review = need_of(make, make.gas("6.3", "kPa", RECENT))
    calm = need_of(make, make.gas("5.5", "kPa", RECENT))
    ranks = [each.rank for each in (acute, stepped, overdue, review, calm)]
    assert ranks == sorted(ranks, reverse=True)
    assert len(set(ranks)) == len(ranks)


def test_need_says_why_and_never_that_nothing_is_wrong(make) -> None:
    acute = need_of(make, make.gas("8.0", "kPa", RECENT, ph="7.30"))
    assert acute.words.startswith("same day: ")
    assert "(RED-2)" in acute.words
    calm = need_of(make, make.gas("5.5", "kPa", RECENT))
    assert "not reassurance" in calm.words


def test_of_two_quiet_people_the_one_of_whom_less_is_known_comes_first(make) -> None:
    known = need_of(make, make.gas("5.5", "kPa", RECENT), make.report(RECENT))
    unknown = need_of(make)
    assert unknown.rank > known.rank


def test_the_dead_need_no_recall(make) -> None:
    gone = need_of(make, make.change(date(2026, 1, 1)), make.event(EventKind.DEATH, RECENT))
    assert "overdue" not in gone.words


# --- as of a day ---


@pytest.mark.parametrize("day", [date(2026, 2, 1), date(2026, 2, 15), TODAY])
def test_findings_of_a_day_are_those_of_the_record_cut_at_that_day(make, day) -> None:
    dossier = busy(make)
    cut = dossier.until(make.at(day + timedelta(days=1), 0) - timedelta(seconds=1))
    whole = [(each.rule_id, each.answer, each.sentence) for each in findings(dossier, today=day)]
    assert whole == [(each.rule_id, each.answer, each.sentence) for each in findings(cut, today=day)]


def test_the_condition_of_a_night_is_in_its_sentence(make) -> None:
    study = make.night(tcco2_peak=make.pressure("56", "mmHg"), ventilator=VentilatorState.OFF)
    found = by_id(findings(make.dossier(study), today=TODAY))["NGT-18"]
    assert "off ventilator" in found.sentence
