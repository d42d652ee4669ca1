"""The rules in force: group, service, person; edits that are wrong are told and judge nobody."""

from pathlib import Path

import pytest

from hvmon.services.packs_in_use import checked_edits, digest, fault, pack_in_use, priors_in_use
from tests.app import invented


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "service.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_without_a_file_the_published_rules_stand(store):
    edits, wrong = checked_edits(None)
    assert (edits, wrong, digest(edits)) == ({}, "", "")
    pack = pack_in_use(store.dossier(invented.ANNA), today=invented.TODAY, edits=edits)
    assert pack.rule("GAS-1").limit.published is None


def test_an_edit_moves_the_limit_for_the_groups_it_names_and_keeps_its_reason(store, tmp_path):
    text = (
        '[rules.GAS-3]\nlimit = 6.5\ngroups = ["Duchenne muscular dystrophy"]\nreason = "local agreement"\n'
    )
    edits, wrong = checked_edits(written(tmp_path, text))
    assert wrong == ""
    anna = pack_in_use(store.dossier(invented.ANNA), today=invented.TODAY, edits=edits)
    bram = pack_in_use(store.dossier(invented.BRAM), today=invented.TODAY, edits=edits)
    assert f"{anna.rule('GAS-3').limit.value}" == "6.0"
    assert bram.rule("GAS-3").limit.words.endswith("local agreement)")


def test_priors_of_the_service_take_their_place(tmp_path):
    edits, wrong = checked_edits(written(tmp_path, "[priors]\n'noise.arterial' = 0.05\n"))
    assert wrong == ""
    assert priors_in_use(edits).value("noise.arterial") == 0.05
    assert digest(edits) != ""


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("[rules.GAS-99]\nreason = 'x'\n", "GAS-99"),
        ("[rules.GAS-1]\nlimit = 50\n", "reason"),
        ("[rules.GAS-1]\nlimit = 'high'\nreason = 'x'\n", "limit"),
        ("[priors]\n'noise.nothing' = 0.05\n", "noise.nothing"),
        ("[rules.GAS-1\n", "service.toml"),
    ],
)
def test_edits_that_are_wrong_are_named(tmp_path, text, named):
    _, wrong = checked_edits(written(tmp_path, text))
    assert named in wrong
    assert wrong.startswith("service.toml")


def test_a_file_that_is_not_there_is_named(tmp_path):
    edits, wrong = checked_edits(tmp_path / "nowhere.toml")
    assert edits == {}
    assert "nowhere.toml" in wrong


def test_no_edits_have_no_fault():
    assert fault({}) == ""
