"""How sure, in words and numbers: every chance has both, every reading is used or told why not."""

import pytest

from hvmon.services.estimate_panel import (
    VERBAL,
    fitted_table,
    provenance_line,
    readings_table,
    sure_table,
    verbal,
)
from hvmon.services.headline import chance_words
from hvmon.services.review import review
from hvmon.units import PressureUnit
from hvmon.vocabulary import TemperatureCorrection
from tests.app import invented
from tests.services.cohorts import NOW

KPA, MMHG = PressureUnit.KPA, PressureUnit.MMHG


@pytest.fixture(name="seen")
def _seen(store):
    gases = [invented.gas(invented.ANNA, 95 - 8 * step, f"{6.8 + 0.2 * step:.1f}") for step in range(1, 12)]
    warm = invented.gas(invented.ANNA, 60, "7.0").model_copy(
        update={"temperature_correction": TemperatureCorrection.CORRECTED}
    )
    store.save_all([*gases, warm], actor="N. Invented", request_id="rising", now=NOW)
    return review(store, invented.ANNA, today=invented.TODAY)


def answers(seen, unit=KPA):
    return {row["Question"]: row["Answer"] for row in sure_table(seen.trend, unit)}


def test_chances_of_every_horizon_stand_in_a_word_and_in_per_cent(seen):
    made, told = seen.trend.estimate, answers(seen)
    (limit,) = made.limits
    words = seen.trend.limit_words
    for days, chance in (
        (90, limit.ahead.within_90_days),
        (180, limit.ahead.within_180_days),
        (365, limit.ahead.within_365_days),
    ):
        asked = f"Above {words} at some month-end within {days} days"
        assert told[asked] == f"{verbal(chance)}, {chance_words(chance)}"
    assert told[f"Usual level above {words} now"].endswith("%")
    assert any(question.startswith("Risen by more than 0.3 kPa since") for question in told)


def test_the_newest_reading_stands_with_and_without_it_and_its_chance_of_error(seen):
    told, newest = answers(seen), seen.trend.estimate.newest
    assert told["Level without it"] != told["Level with the newest reading taken as right"]
    assert chance_words(newest.p_gross) in told["Is the newest reading a gross error?"]
    assert ("ASK FOR A REPEAT" in told["Is the newest reading a gross error?"]) == newest.ask_for_repeat


def test_an_odd_newest_reading_is_asked_to_be_repeated(store):
    gases = [invented.gas(invented.ANNA, 300 - 30 * step, "6.5") for step in range(9)]
    odd = invented.gas(invented.ANNA, 2, "11.5")
    store.save_all([*gases, odd], actor="N. Invented", request_id="odd", now=NOW)
    told = answers(review(store, invented.ANNA, today=invented.TODAY))
    assert "ASK FOR A REPEAT" in told["Is the newest reading a gross error?"]


def test_too_few_readings_say_not_enough_in_the_place_of_a_rise(store):
    told = answers(review(store, invented.ANNA, today=invented.TODAY))
    assert told["Has it risen?"].startswith("not enough to tell")


def test_every_reading_is_listed_as_used_or_with_the_reason_why_not(seen):
    made = seen.trend.estimate
    rows = readings_table(made, KPA)
    assert len(rows) == made.n + len(made.refused) == 14
    refused = [row["Used"] for row in rows if row["Used"].startswith("NOT used")]
    assert len(refused) == 1
    assert "corrected to body temperature" in refused[0]
    assert [row["Used"] for row in rows].count("used, newest") == 1


def test_the_provenance_names_model_priors_and_what_the_service_edited(seen):
    made = seen.trend.estimate
    assert f"{made.model_version}; priors {made.priors_digest}, none edited" in provenance_line(made, None)
    edited = provenance_line(made, {"priors": {"noise.arterial": 0.04}})
    assert "1 edited by this service (noise.arterial; edits" in edited
    assert "1 not used" in edited


def test_the_unit_changes_what_is_shown(seen):
    kpa, mmhg = fitted_table(seen.trend.estimate, KPA), fitted_table(seen.trend.estimate, MMHG)
    assert kpa[1] != mmhg[1]
    assert kpa[0] == mmhg[0]
    assert "mmHg" in answers(seen, MMHG)["Level without it"]


def test_every_chance_has_a_word_and_no_word_is_safe():
    assert [verbal(chance) for chance in (0.99, 0.85, 0.5, 0.1, 0.0)] == [word for _, word in VERBAL]
    assert not any("safe" in word for _, word in VERBAL)


def test_without_an_estimate_there_is_no_row(store):
    assert sure_table(review(store, invented.BRAM, today=invented.TODAY).trend, KPA) == []
