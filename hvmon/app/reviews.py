"""Reviews and caseloads kept by the store's revision, so that a page asks once."""

import os
from datetime import date
from pathlib import Path

import polars as pl
import streamlit as st
from streamlit.delta_generator import DeltaGenerator

from hvmon.app import cache
from hvmon.app.parts import plain
from hvmon.services import caseload as caseload_service
from hvmon.services import relations as relations_service
from hvmon.services import review as review_service
from hvmon.services.packs_in_use import Edits, Priors, checked_edits, digest, priors_in_use
from hvmon.services.relations import Relations
from hvmon.services.review import Review
from hvmon.services.stores import Store
from hvmon.services.trends import TrendView

EDITS_VARIABLE = "HVMON_SERVICE"
"""Names the TOML file with the service's own edits of the rules."""


@st.cache_resource(show_spinner=False, max_entries=2)
def _edits(path: Path | None, changed_ns: int) -> tuple[Edits, str]:  # noqa: ARG001 - cache key
    return checked_edits(path)


def edits() -> Edits:
    """Give the service's edits, read again when their file changes; a page stops at edits that are wrong."""
    named = os.environ.get(EDITS_VARIABLE)
    path = Path(named) if named else None
    found, wrong = _edits(path, path.stat().st_mtime_ns if path and path.exists() else 0)
    if wrong:
        st.error(f"Nobody is judged: the service's own edits cannot be used. {plain(wrong)}")
        st.stop()
    return found


def priors() -> Priors:
    """Give the priors in force, the service's own rows in place."""
    return priors_in_use(edits())


@st.cache_resource(show_spinner=False, max_entries=64)
def _review(path: Path, revision: int, key: str, day: date, edited: str) -> Review:  # noqa: ARG001 - cache key
    return review_service.review_of(cache.dossier(key), today=day, edits=edits())


def review(person_key: str) -> Review:
    """Give the review of a person as of today and the store's present revision. Never changed in place."""
    held = cache.store()
    return _review(cache.store_path(), held.revision(), person_key, cache.today(), digest(edits()))


@st.cache_resource(show_spinner=False, max_entries=64)
def _relations(_review: Review, path: Path, revision: int, key: str, day: date, edited: str) -> Relations:  # noqa: ARG001
    return relations_service.relations(_review, priors=priors())


def relations(review: Review) -> Relations:
    """Give what goes with CO2 in the person of a review, worked out once a revision and day."""
    key = review.dossier.person_key
    held = cache.store()
    return _relations(review, cache.store_path(), held.revision(), key, review.today, digest(edits()))


@st.cache_resource(show_spinner=False, max_entries=64)
def _risen(_review: Review, since: date, mark: tuple[Path, int, str, date, str]) -> TrendView:  # noqa: ARG001 - cache key
    return review_service.risen_since(_review, since, priors=priors())


def risen_since(review: Review, since: date) -> TrendView:
    """Give the estimate of a review with the rise asked for since a chosen day."""
    mark = (cache.store_path(), cache.store().revision(), review.dossier.person_key)
    return _risen(review, since, (*mark, review.today, digest(edits())))


@st.cache_resource(show_spinner=False, max_entries=4)
def _caseload(_store: Store, path: Path, revision: int, day: date, left: int) -> pl.DataFrame:  # noqa: ARG001
    return caseload_service.caseload(_store, today=day)


@st.cache_data(show_spinner=False, max_entries=8)
def _stale(_store: Store, path: Path, revision: int, day: date, edited: str, waiting: int) -> int:  # noqa: ARG001
    return len(caseload_service.stale(_store, today=day, edits=edits()))


def stale() -> int:
    """Give how many people are not judged for today."""
    held, day = cache.store(), cache.today()
    waiting = len(held.stale_people(day))
    return _stale(held, cache.store_path(), held.revision(), day, digest(edits()), waiting)


def caseload(*, left: int) -> pl.DataFrame:
    """Give the caseload of today; `left` is how many summaries are still to be worked out."""
    held = cache.store()
    return _caseload(held, cache.store_path(), held.revision(), cache.today(), left)


AT_ONCE = 400
"""Stale summaries worked out without asking; more are worked out on request."""


def _work_out(count: int, place: DeltaGenerator) -> None:
    bar = place.progress(0.0, text=f"Judging {count} people for today")
    caseload_service.refresh(
        cache.store(),
        today=cache.today(),
        progress=lambda done, total: bar.progress(done / total, text=f"Judged {done} of {total}"),
        edits=edits(),
    )
    _stale.clear()
    place.empty()


def bring_up_to_date(place: DeltaGenerator) -> int:
    """Judge who is not judged for today, or offer to, in a place that is always there; how many are left."""
    waiting = stale()
    if 0 < waiting <= AT_ONCE:
        _work_out(waiting, place)
        return 0
    if waiting:
        with place.container():
            st.warning(f"{waiting} people are not judged for today and are not in this list.")
            pressed = st.button("Judge them now", type="primary")
        if pressed:
            _work_out(waiting, place)
            st.rerun()
    return waiting
