"""Summaries of nights over time, on the review."""

import streamlit as st

from hvmon.app.parts import plain
from hvmon.app.pictures import look, show
from hvmon.charts.night_trend import draw_night_trend
from hvmon.records.dossier import Dossier
from hvmon.services import night_trend
from hvmon.units import PressureUnit

LEAST_NIGHTS = 2


def summaries_over_time(dossier: Dossier) -> None:
    """Draw the summaries of the nights over time and name their conventions; nothing for a single night."""
    unit = PressureUnit(st.session_state.get("show_unit") or PressureUnit.KPA)
    rows = night_trend.trend_rows(dossier, unit)
    if rows["night_of"].n_unique() < LEAST_NIGHTS:
        return
    show(draw_night_trend(rows, look=look(), unit=unit), key=f"night-trend-{dossier.person_key}-{unit}")
    named = "; ".join(night_trend.conventions(dossier))
    counted = f" Counted: {plain(named)}." if named else ""
    st.caption(
        "Filled: off the ventilator or not recorded; hollow: on it. Joined only within one state (ventilator "
        "and oxygen), averaging time and drift correction; falls are not joined, since a summary does not "
        f"hold the resolution of the oximeter.{counted}"
    )
