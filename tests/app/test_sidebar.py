"""Who is working comes back after a refresh; what else a browser may send does no harm."""

import json

import pytest

from hvmon.app import sidebar


@pytest.fixture
def session(monkeypatch: pytest.MonkeyPatch) -> dict[str, object]:
    held: dict[str, object] = {}
    monkeypatch.setattr(sidebar.st, "session_state", held)
    return held


def test_name_role_and_hidden_names_come_back(session: dict[str, object]):
    sidebar._restore(json.dumps({"name": "Nia Nurse", "role": "nurse", "hidden": True}))
    assert session == {"actor_name": "Nia Nurse", "actor_role": "nurse", "hide_names": True}


@pytest.mark.parametrize("sent", ["", "{", "[1]", "null", '"Nia"'])
def test_what_is_no_such_text_is_let_be(session: dict[str, object], sent: str):
    sidebar._restore(sent)
    assert session == {}


def test_a_name_too_long_is_cut_and_an_unknown_role_is_left_open(session: dict[str, object]):
    sidebar._restore(json.dumps({"name": "x" * 5000, "role": "king", "hidden": "yes"}))
    assert session == {"actor_name": "x" * sidebar.NAME_LENGTH, "hide_names": False}
