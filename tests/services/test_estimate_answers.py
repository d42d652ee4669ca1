"""The answers of an estimate: each once, in the order of a review, with a word and a number."""

from collections import Counter
from datetime import timedelta

import pytest

from hvmon.services.estimate_answers import (
    CHANGE,
    LEVEL,
    OWED,
    READINGS,
    RISING,
    VERBAL,
    VERBAL_NOTE,
    answers_table,
    said,
    verbal,
)
from hvmon.services.headline import BOUNDS, chance_words, pressure_words
from hvmon.services.packs_in_use import priors_in_use
from hvmon.services.review import review, risen_since
from hvmon.units import PressureUnit
from tests.app import invented
from tests.services.cohorts import NOW

KPA, MMHG = PressureUnit.KPA, PressureUnit.MMHG


@pytest.fixture(name="seen")
def _seen(store):
    gases = [invented.gas(invented.ANNA, 95 - 8 * step, f"{6.8 + 0.2 * step:.1f}") for step in range(1, 12)]
    store.save_all(gases, actor="N. Invented", request_id="rising", now=NOW)
    return review(store, invented.ANNA, today=invented.TODAY)


def rows(seen, unit=KPA):
    return {row["Question"]: row for row in answers_table(seen, unit)}


def test_the_answers_stand_in_the_order_they_are_asked(seen):
    abouts = [row["About"] for row in answers_table(seen, KPA) if row["About"]]
    assert abouts == [RISING, LEVEL, READINGS, CHANGE, OWED]


def test_no_question_and_no_answer_stands_twice(seen):
    table = answers_table(seen, KPA)
    assert max(Counter(row["Question"] for row in table).values()) == 1
    assert max(Counter((row["Answer"], row["How sure"]) for row in table).values()) == 1


def test_chances_of_every_horizon_stand_in_a_word_and_in_per_cent_beside_the_level_expected(seen):
    made, told = seen.trend.estimate, answers_table(seen, KPA)
    (limit,) = made.limits
    for days, chance in (
        (90, limit.ahead.within_90_days),
        (180, limit.ahead.within_180_days),
        (365, limit.ahead.within_365_days),
    ):
        (row,) = [row for row in told if row["Question"].startswith(f"In {days} days")]
        assert row["How sure"].endswith(f"{verbal(chance)}, {chance_words(chance)}")
        assert "95 %:" in row["Answer"]
    assert seen.trend.limit_words in rows(seen)["Usual level now"]["How sure"]
    (risen,) = [row for row in told if row["Question"].startswith("Has it risen since")]
    assert "by more than 0.3 kPa: " in risen["How sure"]


def test_the_level_stands_without_the_newest_reading_and_its_chance_of_error_beside_it(seen):
    row, newest = rows(seen)["Without the newest reading"], seen.trend.estimate.newest
    assert said(newest.p_gross) in row["How sure"]
    assert "it alone moves the level by" in row["Answer"]


def test_an_odd_newest_reading_is_owed_a_repeat(store):
    gases = [invented.gas(invented.ANNA, 300 - 30 * step, "6.5") for step in range(9)]
    odd = invented.gas(invented.ANNA, 2, "11.5")
    store.save_all([*gases, odd], actor="N. Invented", request_id="odd", now=NOW)
    asked = rows(review(store, invented.ANNA, today=invented.TODAY))["What is owed?"]["Answer"]
    assert asked.startswith("ASK FOR A REPEAT of the newest reading: ")
    newest = review(store, invented.ANNA, today=invented.TODAY).trend.estimate.newest
    told = f"the chance that it is far off what the others say is {chance_words(newest.p_gross)}"
    assert (told in asked) == (newest.p_gross > 0.5)
    assert pressure_words(newest.difference_kpa, KPA, signed=True) in asked


def test_too_few_readings_say_not_enough_in_the_place_of_a_rise(store):
    told = rows(review(store, invented.ANNA, today=invented.TODAY))
    assert told["Has it risen?"]["Answer"].startswith("not enough to tell")
    assert "95 %" in told["Usual level now"]["Answer"]


def test_a_rise_is_told_since_a_chosen_day_and_nothing_else_changes(seen):
    chosen = invented.TODAY - timedelta(days=40)
    before = answers_table(seen, KPA)
    after = answers_table(seen, KPA, risen=risen_since(seen, chosen))
    assert after[0]["Question"] == f"Has it risen since {chosen:%d %b %Y}?"
    assert after[0]["How sure"] != before[0]["How sure"]
    assert after[1:] == before[1:]


def test_a_chosen_day_stands_on_the_priors_in_force(seen):
    chosen = invented.TODAY - timedelta(days=40)
    wide = priors_in_use({"priors": {"noise.capillary_earlobe": 0.3}})
    shipped, edited = risen_since(seen, chosen), risen_since(seen, chosen, priors=wide)
    assert shipped.estimate.rise.p_rise > edited.estimate.rise.p_rise


def test_a_date_is_given_only_when_it_is_likely_and_in_no_pressure_of_another_unit(store):
    gases = [invented.gas(invented.ANNA, 697 - 60 * step, "5.2") for step in range(11)]
    store.save_all(gases, actor="N. Invented", request_id="low", now=NOW)
    told = answers_table(review(store, invented.ANNA, today=invented.TODAY), MMHG)
    (row,) = [row for row in told if row["Question"].startswith("When above")]
    assert row["Answer"] == "no date: not expected within 2 years"
    assert "kPa" not in " ".join(row["Answer"] for row in told)


def test_the_last_settings_change_stands_with_its_modelled_effect(seen):
    (row,) = [row for row in answers_table(seen, KPA) if row["About"] == CHANGE]
    assert seen.around_change.words in row["Question"]
    assert seen.trend.estimate.changes[-1].note in f"{row['Answer']} {row['How sure']}"


def test_the_unit_changes_what_is_shown(seen):
    assert "mmHg" in rows(seen, MMHG)["Usual level now"]["Answer"]


def test_every_chance_has_a_word_and_no_word_is_safe():
    assert [verbal(chance) for chance in (0.99, 0.85, 0.5, 0.1, 0.0)] == [word for _, word in VERBAL]
    assert not any("safe" in word for _, word in VERBAL)
    assert all(f"{100 * bound:.0f} %" in VERBAL_NOTE for bound in BOUNDS)


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.946, "possibly, 94.6 %"),
        (0.9499, "possibly, 94.9 %"),
        (0.95, "likely, 95 %"),
        (0.7951, "open either way, 79.5 %"),
        (0.1999, "rather not, 19.9 %"),
        (0.049, "unlikely, 4.9 %"),
        (0.5, "open either way, 50 %"),
    ],
)
def test_a_number_never_rounds_up_to_the_word_above_its_own(chance, words):
    assert said(chance) == words


def test_without_an_estimate_there_is_no_row(store):
    assert answers_table(review(store, invented.BRAM, today=invented.TODAY), KPA) == []
