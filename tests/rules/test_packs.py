"""The pack goes by group and age; edits of a service and of a person are named, reasoned and shown."""

import tomllib
from datetime import date
from decimal import Decimal

import pytest

from hvmon.records.meeting import PersonRuleEdit
from hvmon.rules.judge import findings
from hvmon.rules.packs import (
    PackError,
    apply_person_edits,
    apply_service_edits,
    default_pack,
    group_of,
    pack_for,
)
from hvmon.vocabulary import Answer, Dependence, DiagnosisGroup

TODAY = date(2026, 3, 10)
CHILD = date(2015, 1, 1)

EXPECTED = {
    DiagnosisGroup.COPD: {
        "GAS-1", "GAS-8", "GAS-9", "NGT-1", "NGT-3", "NGT-14", "TGT-1", "TGT-2", "FUP-1", "FUP-8", "FUP-11"},
    DiagnosisGroup.OBESITY_HYPOVENTILATION: {
        "GAS-2", "GAS-10", "NGT-1", "NGT-3", "TGT-3", "FUP-8", "FUP-11", "FUP-17"},
    DiagnosisGroup.MOTOR_NEURONE_DISEASE: {"GAS-3", "STA-13", "NGT-8", "NGT-9", "OXI-2", "TGT-5", "FUP-4"},
    DiagnosisGroup.DUCHENNE: {"GAS-3", "NGT-4", "NGT-8", "TGT-5", "FUP-6", "FUP-7"},
    DiagnosisGroup.OTHER_NEUROMUSCULAR: {"GAS-3", "NGT-8", "NGT-13", "TGT-5", "FUP-5"},
    DiagnosisGroup.CHEST_WALL: {"NGT-8", "NGT-13", "TGT-5", "FUP-8", "FUP-11"},
    DiagnosisGroup.TRACHEOSTOMY: {"GAS-3", "GAS-16", "NGT-1", "TGT-7", "FUP-13", "RED-9"},
}  # fmt: skip


def ids(pack) -> set[str]:
    return {each.id for each in pack.rules}


@pytest.mark.parametrize("group", EXPECTED)
def test_each_group_has_its_rules(make, group) -> None:
    pack = default_pack(make.dossier(group=group), TODAY)
    assert pack.name == group
    assert ids(pack) >= EXPECTED[group]


def test_a_disease_rule_is_not_in_another_disease_pack(make) -> None:
    assert "GAS-2" not in ids(default_pack(make.dossier(), TODAY))
    assert "GAS-1" not in ids(default_pack(make.dossier(group=DiagnosisGroup.OBESITY_HYPOVENTILATION), TODAY))


@pytest.mark.parametrize(
    ("born", "group", "name"),
    [
        (date(2008, 3, 10), DiagnosisGroup.OTHER_NEUROMUSCULAR, "other neuromuscular disease"),
        (date(2008, 3, 11), DiagnosisGroup.OTHER_NEUROMUSCULAR, "child"),
        (CHILD, DiagnosisGroup.DUCHENNE, "Duchenne muscular dystrophy"),
        (CHILD, DiagnosisGroup.TRACHEOSTOMY, "tracheostomy ventilation"),
        (CHILD, DiagnosisGroup.UNKNOWN, "unknown"),
        (None, DiagnosisGroup.CHEST_WALL, "chest wall disease"),
    ],
)
def test_a_child_has_the_child_pack_from_birth_to_the_day_before_18(make, born, group, name) -> None:
    assert group_of(make.dossier(born=born, group=group), TODAY) == name


def test_a_study_made_in_childhood_brings_the_child_night_rules_to_an_adult(make) -> None:
    study = make.night(date(2026, 3, 1), tcco2_peak=make.pressure("52", "mmHg"))
    dossier = make.dossier(study, born=date(2008, 3, 5), group=DiagnosisGroup.OTHER_NEUROMUSCULAR)
    assert "NGT-5" in ids(default_pack(dossier, TODAY))


def test_a_tracheostomy_in_any_group_brings_the_window(make) -> None:
    assert {"TGT-7", "RED-9", "FUP-13"} <= ids(default_pack(make.dossier(tracheostomy=True), TODAY))


def test_criteria_for_starting_are_asked_only_before_the_start(make) -> None:
    assert "STA-1" not in ids(default_pack(make.dossier(), TODAY))
    before = make.dossier(dependence=Dependence.NOT_YET_VENTILATED)
    assert {"STA-1", "STA-6"} <= ids(default_pack(before, TODAY))


def test_no_pack_holds_a_rule_twice(make) -> None:
    for group in DiagnosisGroup:
        pack = default_pack(make.dossier(group=group, tracheostomy=True), TODAY)
        assert len(ids(pack)) == len(pack.rules)


# --- edits of a service ---


def edited(make, text: str, **who):
    return apply_service_edits(default_pack(make.dossier(**who), TODAY), tomllib.loads(text))


def test_a_service_edits_a_limit_and_the_finding_shows_it_with_its_reason(make) -> None:
    pack = edited(make, '[rules.GAS-3]\nlimit = 6.5\nreason = "agreed in March"')
    assert pack.rule("GAS-3").limit.value == Decimal("6.5")
    found = {
        each.rule_id: each for each in findings(make.dossier(make.gas("6.4", "kPa")), today=TODAY, pack=pack)
    }
    assert found["GAS-3"].answer == Answer.NOT_MET
    assert "edited from 6.0 kPa: service: agreed in March" in found["GAS-3"].limit_words
    assert found["GAS-3"].edited
    assert not found["GAS-1"].edited


def test_a_service_edits_one_of_several_limits_by_name(make) -> None:
    pack = edited(make, '[rules.NGT-1]\nname = "run"\nlimit = 5\nreason = "ours"')
    assert [limit.value for limit in pack.rule("NGT-1").limits] == [Decimal(55), Decimal(5)]


def test_an_edited_level_that_no_night_is_scored_at_is_not_assessable(make) -> None:
    pack = edited(make, '[rules.NGT-1]\nlimit = 53\nreason = "ours"')
    study = make.night(tcco2_peak=make.pressure("58", "mmHg"), tcco2_above_55_mmhg_s=900)
    found = {each.rule_id: each for each in findings(make.dossier(study), today=TODAY, pack=pack)}
    assert found["NGT-1"].answer == Answer.NOT_ASSESSABLE


def test_a_service_switches_a_rule_off_and_another_on(make) -> None:
    pack = edited(
        make,
        '[rules.USE-3]\nin_use = false\nreason = "total leak only"\n[rules.NGT-17]\nreason = "CF clinic"',
    )
    assert "USE-3" not in ids(pack)
    assert pack.switched_off == (("USE-3", "service: total leak only"),)
    assert "NGT-17" in ids(pack)


def test_an_edit_for_another_group_leaves_the_pack_alone(make) -> None:
    pack = edited(make, '[rules.GAS-3]\nlimit = 7\nreason = "x"\ngroups = ["chest wall disease"]')
    assert pack.rule("GAS-3").limit.value == Decimal("6.0")


BAD = [
    ("[rules.GAS-99]\nreason = 'x'", r"\[rules.GAS-99\]: no such rule"),
    ("[rules.GAS-1]\nlimit = 46", r"\[rules.GAS-1\] reason: None"),
    ("[rules.GAS-1]\nlimit = 46\nreason = ' '", r"\[rules.GAS-1\] reason"),
    ("[rules.GAS-1]\nlimit = 'high'\nreason = 'x'", r"\[rules.GAS-1\] limit: 'high'"),
    ("[rules.GAS-1]\nlimit = true\nreason = 'x'", r"\[rules.GAS-1\] limit: True"),
    ("[rules.GAS-1]\nlimit = nan\nreason = 'x'", r"\[rules.GAS-1\] limit: nan"),
    ("[rules.GAS-1]\nlimit = inf\nreason = 'x'", r"\[rules.GAS-1\] limit: inf"),
    ("[rules.GAS-1]\nlimit = -1\nreason = 'x'", r"\[rules.GAS-1\] limit: -1"),
    ("[rules.GAS-1]\nlimit = 6.0\nunit = 'kPa'\nreason = 'x'", r"\[rules.GAS-1\] unit: 'kPa'; .* 'mmHg'"),
    ("[rules.GAS-3]\nlimit = 48\nreason = 'x'", r"\[rules.GAS-3\] limit: 48; .* mmHg typed as kPa"),
    ("[rules.GAS-1]\nlimit = 6.0\nreason = 'x'", r"\[rules.GAS-1\] limit: 6.0; .* kPa typed as mmHg"),
    ("[rules.GAS-1]\nlimits = 46\nreason = 'x'", r"\[rules.GAS-1\] limits: no such key"),
    ("[rules.GAS-1]\nin_use = 'no'\nreason = 'x'", r"\[rules.GAS-1\] in_use: 'no'"),
    ("[rules.GAS-1]\nlimit = 46\nname = 'run'\nreason = 'x'", r"\[rules.GAS-1\] name: 'run'"),
    ("[rules.RED-1]\nlimit = 1\nreason = 'x'", r"\[rules.RED-1\] name: ''"),
    ("[rules.GAS-1]\ngroups = ['asthma']\nreason = 'x'", r"\[rules.GAS-1\] groups"),
    ("[rules]\nGAS-1 = 46", r"\[rules.GAS-1\] is 46; a table is needed"),
    ("[rule.GAS-1]\nlimit = 46", r"table \[rule\] is not known"),
    ("rules = 3", r"\[rules\] is 3"),
]


@pytest.mark.parametrize(("text", "message"), BAD)
def test_a_bad_edit_is_refused_with_table_and_key(make, text, message) -> None:
    with pytest.raises(PackError, match=message):
        edited(make, text)


def test_a_bad_edit_is_refused_whatever_the_group_of_the_person(make) -> None:
    with pytest.raises(PackError, match="no such rule"):
        edited(make, "[rules.GAS-99]\nreason = 'x'", group=DiagnosisGroup.UNKNOWN)


# --- edits for a person ---


def own(rule_id: str, limit: str | None = None, *, in_use: bool = True, day: date = date(2026, 1, 1)):
    return PersonRuleEdit(
        person_key="invented-1", rule_id=rule_id, in_use=in_use,
        limit_value=Decimal(limit) if limit else None,
        reason="agreed with her", edited_by="Invented Physician", edited_on=day)  # fmt: skip


def test_a_persons_own_limit_goes_first_and_is_shown_with_its_reason(make) -> None:
    dossier = make.dossier(make.gas("7.0", "kPa"), own("GAS-3", "7.5"))
    pack = pack_for(dossier, TODAY, {"rules": {"GAS-3": {"limit": 6.5, "reason": "ours"}}})
    limit = pack.rule("GAS-3").limit
    assert (limit.value, limit.published) == (Decimal("7.5"), Decimal("6.0"))
    found = {each.rule_id: each for each in findings(dossier, today=TODAY, pack=pack)}
    assert found["GAS-3"].answer == Answer.NOT_MET
    assert "agreed with her" in found["GAS-3"].edited


def test_a_rule_is_switched_off_for_a_person_and_the_reason_kept(make) -> None:
    pack = pack_for(make.dossier(own("USE-1", in_use=False)), TODAY)
    assert "USE-1" not in ids(pack)
    assert pack.switched_off[0][0] == "USE-1"
    assert "agreed with her" in pack.switched_off[0][1]


def test_the_default_findings_heed_the_persons_own_edits(make) -> None:
    found = findings(make.dossier(make.gas("7.0", "kPa"), own("GAS-3", "7.5")), today=TODAY)
    assert next(each for each in found if each.rule_id == "GAS-3").answer == Answer.NOT_MET


def test_an_edit_of_tomorrow_does_not_count_today(make) -> None:
    pack = pack_for(make.dossier(own("GAS-3", "7.5", day=date(2026, 3, 11))), TODAY)
    assert pack.rule("GAS-3").limit.value == Decimal("6.0")


@pytest.mark.parametrize(("rule_id", "limit"), [("GAS-99", None), ("RED-1", "3"), ("GAS-3", "-4")])
def test_a_persons_edit_that_fits_no_rule_becomes_a_note_and_changes_nothing(make, rule_id, limit) -> None:
    dossier = make.dossier(own(rule_id, limit))
    pack = apply_person_edits(default_pack(dossier, TODAY), dossier)
    assert ids(pack) == ids(default_pack(dossier, TODAY))
    assert rule_id in pack.notes[0]


def test_a_persons_own_limit_in_the_other_unit_is_no_limit_and_is_told(make) -> None:
    pack = pack_for(make.dossier(own("GAS-3", "48")), TODAY)
    assert pack.rule("GAS-3").limit.value == Decimal("6.0")
    assert "mmHg typed as kPa" in " ".join(pack.notes)
