"""The dashboard run from its entry file on a small store of invented people."""

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from hvmon.app import cache
from hvmon.store.store import Store
from tests.app import invented

ROOT = Path(__file__).parents[2]
Open = Callable[..., AppTest]


@pytest.fixture
def store_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    path = invented.build(tmp_path / "invented.sqlite")
    monkeypatch.setenv("HVMON_STORE", str(path))
    monkeypatch.setenv("HVMON_TODAY", invented.TODAY.isoformat())
    st.cache_resource.clear()
    yield path
    cache.store().close()
    st.cache_resource.clear()


@pytest.fixture
def store(store_path: Path) -> Iterator[Store]:
    with Store.open(store_path) as held:
        yield held


@pytest.fixture
def open_page(store_path: Path) -> Open:  # noqa: ARG001 - the page opens the store
    """Give the session of somebody who opened a page, with a person open unless told otherwise."""

    def go(page: str, *, person: str | None = invented.ANNA, actor: str = "Nia Nurse") -> AppTest:
        session = AppTest.from_file(ROOT / "streamlit_app.py", default_timeout=60)
        session.session_state["actor_name"] = actor
        session.session_state["actor_role"] = "nurse" if actor else None
        if person:
            session.session_state["person_key"] = person
        session.switch_page(f"hvmon/app/pages/{page}.py")
        return session.run()

    return go
