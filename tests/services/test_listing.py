"""Findings as rows: the same rules, edits and trend as the dashboard."""

from pathlib import Path

import pytest

from hvmon.services.caseload import caseload, refresh
from hvmon.services.listing import NoSuchPerson, findings_of
from hvmon.services.packs_in_use import pack_in_use, priors_in_use, service_edits
from hvmon.store.store import Store
from hvmon.vocabulary import Answer
from tests.app import invented

SERVICE = """
[rules.GAS-3]
limit = 20.0
reason = "invented: nobody reaches it"

[priors]
"noise.arterial" = 0.05
"""


@pytest.fixture(name="service")
def _service(tmp_path: Path) -> Path:
    path = tmp_path / "service.toml"
    path.write_text(SERVICE, encoding="utf-8")
    return path


def test_a_service_limit_reaches_the_list_and_the_caseload(store: Store, service: Path) -> None:
    plain = {line.rule_id for line in findings_of(store, today=invented.TODAY)}
    edited = {line.rule_id for line in findings_of(store, today=invented.TODAY, edits=service_edits(service))}
    assert "GAS-3" in plain
    assert "GAS-3" not in edited
    refresh(store, today=invented.TODAY, edits=service_edits(service))
    assert not any("GAS-3" in why for row in caseload(store, today=invented.TODAY)["why"] for why in row)


def test_priors_of_a_service_are_used_and_named(service: Path) -> None:
    edits = service_edits(service)
    assert priors_in_use(edits).value("noise.arterial") == 0.05
    assert priors_in_use(edits).digest() != priors_in_use(None).digest()


def test_priors_do_not_disturb_the_rules(store: Store, service: Path) -> None:
    dossier = store.dossier(invented.ANNA)
    assert pack_in_use(dossier, today=invented.TODAY, edits=service_edits(service))


def test_a_wrong_prior_names_the_row() -> None:
    with pytest.raises(ValueError, match=r"noise\.nothing"):
        priors_in_use({"priors": {"noise.nothing": 1.0}})


def test_every_answer_is_listed_when_asked_for(store: Store) -> None:
    lines = list(findings_of(store, today=invented.TODAY, answers=frozenset(Answer)))
    assert {"met", "not met", "not assessable"} <= {line.answer for line in lines}


def test_nobody_by_that_id_is_said(store: Store) -> None:
    with pytest.raises(NoSuchPerson, match="NOBODY"):
        list(findings_of(store, today=invented.TODAY, local_id="NOBODY"))
