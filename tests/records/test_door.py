"""Refusals name the field, what was given and what is accepted."""

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from pydantic import ValidationError

from hvmon.records.door import Problem, problems
from hvmon.records.flat import unflatten
from hvmon.records.gas import BloodGas
from hvmon.records.settings import SettingsChange
from hvmon.records.symptoms import SymptomReport


def good_gas() -> dict[str, Any]:
    return {
        "person_key": "a" * 32,
        "drawn_at": datetime(2026, 1, 2, 10, 0, tzinfo=UTC),
        "zone": "Europe/London",
        "kind": "arterial",
        "site": "radial",
        "state_ventilator": "off ventilator",
        "state_minutes_in_state": 90,
        "state_oxygen_l_min": "not recorded",
        "state_minutes_since_oxygen_change": "not recorded",
        "state_position": "sitting",
        "state_rest": "at rest",
        "state_wakefulness": "awake",
        "state_reason": "routine",
        "ph": Decimal("7.38"),
        "pco2": Decimal("6.70"),
        "pco2_unit": "kPa",
        "hco3_kind": "not recorded",
        "be_kind": "not recorded",
        "temperature_correction": "none (37 C)",
        "failed_attempts": 0,
        "recorded_by": "N. Invented",
    }


def refused(changes: dict[str, Any]) -> dict[str, Problem]:
    with pytest.raises(ValidationError) as caught:
        unflatten(BloodGas, good_gas() | changes)
    return {problem.field: problem for problem in problems(caught.value, BloodGas)}


def test_the_good_gas_passes_and_keeps_its_digits() -> None:
    gas = unflatten(BloodGas, good_gas())
    assert str(gas.pco2) == "6.70 kPa"
    assert gas.pco2.decimals == 2


@pytest.mark.parametrize(
    ("field", "given", "words"),
    [
        ("ph", "73.6", "accepted is 6.5 to 8.0"),
        ("ph", "40", "hydrogen ion"),
        ("hco3_mmol_l", "71", "accepted is 2 to 70"),
        ("so2_pct", "0.92", "fraction"),
    ],
)
def test_the_impossible_is_refused_with_its_range_and_likely_slip(field: str, given: str, words: str) -> None:
    problem = refused({field: Decimal(given)})[field]
    assert words in problem.accepted
    assert problem.given == given


def test_kpa_typed_as_mmhg_is_refused_in_the_unit_of_entry() -> None:
    problem = refused({"pco2": Decimal("6.1"), "pco2_unit": "mmHg"})["pco2"]
    assert "7 to 375 mmHg" in problem.accepted
    assert "kPa typed as mmHg" in problem.accepted


def test_an_unknown_word_is_answered_with_the_accepted_words() -> None:
    problem = refused({"site": "arterail"})["site"]
    assert problem.given == "'arterail'"
    assert "radial, brachial, femoral" in problem.accepted


def test_a_missing_condition_says_that_not_recorded_is_a_value() -> None:
    assert "not recorded" in refused({"state_minutes_in_state": None})["state_minutes_in_state"].accepted


def test_a_missing_result_does_not_offer_not_recorded() -> None:
    assert refused({"pco2": None, "pco2_unit": None})["pco2"].accepted == "is required"


def test_an_arterial_sample_from_the_earlobe_is_refused() -> None:
    assert "does not fit" in refused({"site": "earlobe"})["record"].accepted


def test_a_naive_moment_asks_for_its_offset() -> None:
    naive = datetime(2026, 1, 2, 10, 0)  # noqa: DTZ001 - the naive moment is the point
    assert "needs its offset" in refused({"drawn_at": naive})["drawn_at"].accepted


def test_every_problem_of_a_row_is_told_at_once() -> None:
    found = refused({"ph": Decimal(9), "site": "nowhere", "pco2": Decimal("0.1")})
    assert {"ph", "site", "pco2"} <= set(found)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"program_1_ipap_cmh2o": "10", "program_1_epap_cmh2o": "12"}, "not below ipap_cmh2o"),
        ({"program_1_mode": "assisted volume control"}, "needs tidal_volume_ml"),
        (
            {"program_1_backup_rate_min": "30", "program_1_inspiratory_time_s": "2.0"},
            "not shorter than the cycle of 2.0 s",
        ),
    ],
)
def test_settings_that_cannot_be_are_refused_by_name(changes: dict[str, str], words: str) -> None:
    numbers = {key: Decimal(value) if value[0].isdigit() else value for key, value in changes.items()}
    row = {
        "person_key": "a" * 32,
        "changed_at": datetime(2026, 1, 2, 10, 0, tzinfo=UTC),
        "zone": "UTC",
        "changed_by": "Dr Invented",
        "role": "physician",
        "why": "invented",
        "kind": "escalation",
        "urgency": "elective",
        "owed_test": "none",
        "program_1_mode": "bilevel spontaneous-timed",
        "program_1_trigger": "not recorded",
        "program_1_oxygen_l_min": "not recorded",
        "program_1_interface": "nasal mask",
        "program_1_circuit": "not recorded",
        "program_1_filter_kind": "none",
    }
    with pytest.raises(ValidationError) as caught:
        unflatten(SettingsChange, row | numbers)
    assert any(words in problem.accepted for problem in problems(caught.value, SettingsChange))


@pytest.mark.parametrize(
    ("name", "total", "words"),
    [
        # ranges: Epworth 0-24, S3-NIV 0-10, ALSFRS-R 0-48 (published instruments; totals only)
        ("Epworth Sleepiness Scale", "25", "outside 0 to 24 (high is worse)"),
        ("S3-NIV", "11", "outside 0 to 10 (high is better)"),
        ("ALSFRS-R", "49", "outside 0 to 48 (high is better)"),
    ],
)
def test_a_total_out_of_its_range_names_range_and_direction(name: str, total: str, words: str) -> None:
    row = {
        "person_key": "a" * 32,
        "asked_at": datetime(2026, 1, 2, 10, 0, tzinfo=UTC),
        "zone": "UTC",
        **dict.fromkeys(
            (
                "morning_headache",
                "daytime_sleepiness",
                "sleep_quality",
                "breathlessness",
                "poor_concentration",
                "pins_and_needles",
                "new_drowsiness_or_confusion",
            ),
            "not recorded",
        ),
        "answered_by": "self",
        "flap": "not tested",
        "instruments": f'[{{"instrument": "{name}", "total": "{total}", "completed_by": "self"}}]',
        "recorded_by": "N. Invented",
    }
    with pytest.raises(ValidationError) as caught:
        unflatten(SymptomReport, row)
    assert any(words in problem.accepted for problem in problems(caught.value, SymptomReport))
