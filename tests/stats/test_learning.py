"""Learning from a cohort: what was put in comes out, small cohorts are refused, the file carries n."""

import numpy as np
import pytest
from trend_people import OFF, after, changes, readings

from hvmon.stats.cases import make_case
from hvmon.stats.learning import Learned, TooFew, count_pairs, learn
from hvmon.stats.priors import default_priors
from hvmon.stats.trend import PersonInput


def cohort(n_people, *, offset=0.16, noise=0.09, pairs=3, seed=0):
    """People with arterial and venous readings on the same days; venous this much higher."""
    rng = np.random.default_rng(seed)
    people = []
    for person in range(n_people):
        level = rng.normal(1.85, 0.12)
        own = offset + 0.03 * rng.standard_normal()
        rows = []
        for visit in range(pairs):
            day = 90.0 * visit
            state = level + 0.04 * rng.standard_normal()
            rows.append((day, "arterial", np.exp(state + 0.03 * rng.standard_normal()), OFF, 0.0))
            rows.append((day, "venous", np.exp(state + own + noise * rng.standard_normal()), OFF, 0.0))
        people.append(PersonInput(f"p{person}", readings(*rows), changes(), after(90 * pairs)))
    return people


@pytest.fixture(scope="module")
def learned():
    return learn(cohort(60), max_evaluations=80)


def test_an_offset_twice_the_default_is_learned_most_of_the_way(learned):
    assert isinstance(learned, Learned)
    row = next(one for one in learned.rows if one.key == "offset.venous.mean")
    assert row.before == 0.085
    assert 0.13 < row.after < 0.18
    assert row.n_pairs == 180
    assert learned.log_likelihood_after > learned.log_likelihood_before


def test_the_mapping_is_a_priors_file_with_before_after_and_n(learned):
    mapping = learned.mapping()
    assert mapping["offset.venous.mean"]["before"] == 0.085
    assert mapping["offset.venous.mean"]["n"] == 180
    table = default_priors().override(mapping)
    assert table.value("offset.venous.mean") == pytest.approx(mapping["offset.venous.mean"]["value"])
    assert "60 people" in table.rows["offset.venous.mean"].basis


def test_fewer_than_fifty_people_are_refused_with_their_number():
    found = learn(cohort(49, pairs=1))
    assert isinstance(found, TooFew)
    assert "49 people" in found.reason


def test_a_source_with_fewer_than_thirty_arterial_pairs_keeps_its_default_and_is_named():
    people = cohort(50, pairs=1)
    alone = [
        PersonInput(one.person_key, one.readings[:1], one.changes, one.today) if i >= 20 else one
        for i, one in enumerate(people)
    ]
    found = learn(alone, max_evaluations=10)
    assert not any("venous" in row.key for row in found.rows)
    assert found.not_learned == ("venous: 20 arterial pairs, at least 30 are needed",)


def test_pairs_are_readings_within_two_days_of_an_arterial_one():
    frame = readings((0, "arterial", 6.0), (1.5, "venous", 6.5), (5, "venous", 6.5), (6, "tc earlobe", 6.1))
    case, _ = make_case(frame, changes(), today=after(10))
    assert count_pairs([case]) == {"venous": 1}


def test_progress_counts_evaluations_up_to_the_most_allowed():
    told = []
    learn(cohort(50, pairs=1), max_evaluations=12, progress=lambda done, most: told.append((done, most)))
    assert [done for done, _ in told] == sorted(done for done, _ in told)
    assert {most for _, most in told} == {12}
    assert told[-1] == (12, 12)
    assert len(told) > 10


def test_the_order_of_people_does_not_matter():
    people = cohort(50)
    one, other = learn(people, max_evaluations=10), learn(people[::-1], max_evaluations=10)
    assert one.log_likelihood_before == pytest.approx(other.log_likelihood_before, rel=1e-12)
    assert [row.after for row in one.rows] == [pytest.approx(row.after, rel=1e-9) for row in other.rows]
