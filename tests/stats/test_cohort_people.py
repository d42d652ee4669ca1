"""What each person adds to a cohort equals what the person alone gets, in any block."""

from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from trend_people import after
from trend_records import dossier, gas, held, symptoms

from hvmon.records.symptoms import Instrument, InstrumentTotal
from hvmon.stats import cohort_people as room
from hvmon.stats.cohort_people import CohortInput, cohort_people
from hvmon.stats.discordance import CO2_UP, discordances
from hvmon.stats.priors import default_priors
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.symptoms import SYMPTOMS, pair_with_model
from hvmon.stats.trend import fit
from hvmon.vocabulary import Informant

MMRC = InstrumentTotal(instrument=Instrument.MMRC, total=Decimal(3), completed_by=Informant.SELF)
RISING = np.linspace(5.6, 7.4, 14)


def given(values, reports, key="someone"):
    whole = dossier(*[gas(45 * place, value) for place, value in enumerate(values)])
    return CohortInput(key, readings_frame(whole), changes_frame(whole), reports, after(45 * len(values)))


def reports(*rows):
    return [held(symptoms(day, headache=value), record_id=f"s{day}") for day, value in rows]


def alone(one):
    return next(cohort_people([one], priors=default_priors()))


def test_pairs_are_those_of_the_person_alone():
    one = given(RISING, reports((10, 1), (300, 2), (600, 1)))
    wide = pair_with_model(one.reports, one.readings, one.changes, today=one.today)
    long = alone(one).pairs
    for symptom in SYMPTOMS:
        mine = long.filter(symptom=symptom)
        theirs = wide.drop_nulls(symptom)
        assert mine["co2_kpa"].to_list() == pytest.approx(theirs["co2_kpa"].to_list(), abs=1e-9)
        assert mine["value"].to_list() == theirs[symptom].to_list()


def test_rise_disagreement_and_sufficiency_are_those_of_the_full_estimate():
    one = given(RISING, reports((10, 1), (600, 1)))
    whole = fit(one.readings, one.changes, today=one.today)
    found = alone(one)
    assert found.told == whole.enough
    assert found.compared
    assert found.disagreement == discordances(whole, one.reports)[0].kind == CO2_UP


def test_the_last_level_is_that_at_the_last_reading_and_not_later():
    one = given(RISING, ())
    at_last = fit(one.readings, one.changes, today=one.readings["taken_at"][-1])
    found = alone(one)
    assert found.last_reading == one.readings["taken_at"][-1]
    later = alone(replace(one, today=after(2000)))
    assert found.last_level_kpa == pytest.approx(at_last.level.median, rel=0.01)
    assert later.last_level_kpa == pytest.approx(found.last_level_kpa, abs=1e-9)


def test_totals_of_ordered_scales_stand_beside_the_ratings_of_the_same_occasion():
    record = symptoms(90, headache=2).model_copy(update={"instruments": (MMRC,)})
    rows = alone(given(RISING, [held(record, record_id="a")])).pairs
    assert rows.filter(symptom=Instrument.MMRC.value)["value"].to_list() == [3.0]


def test_nobody_is_lost_and_the_order_stays_whatever_the_block(monkeypatch):
    people = [
        given(RISING, reports((10, 1), (600, 1)), key="a"),
        given([], (), key="no reading"),
        given([6.2], reports((3, 4)), key="one reading"),
        given(RISING[::-1], reports((10, 1), (600, 5)), key="falling"),
        given(RISING, (), key="no report"),
    ]
    together = list(cohort_people(people, priors=default_priors()))
    monkeypatch.setattr(room, "BLOCK", 2)
    apart = list(cohort_people(people, priors=default_priors()))
    assert [one.person_key for one in together] == [one.person_key for one in people]
    for one, other in zip(together, apart, strict=True):
        assert one.pairs["co2_kpa"].to_list() == pytest.approx(other.pairs["co2_kpa"].to_list(), abs=1e-9)
        assert (one.told, one.disagreement) == (other.told, other.disagreement)
    assert together[1].last_reading is None
    assert together[1].pairs.is_empty()
    assert together[2].pairs["value"].to_list()[0] == 4.0
