"""The plain scorer, numpy and the compiled loops agree on every field of hostile nights."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hvmon.nights import compiled, counting
from hvmon.records.night_signal import MISSING

LEVELS = (490, 500, 550, 517)
LETTERS = "abcde"


def hostile_spo2(rng, n):
    """Plateaus, saw-teeth, spikes, holes and nonsense, with values that sit on the limits of the rules."""
    x = np.full(n, int(rng.integers(900, 1000)))
    for _ in range(int(rng.integers(1, 12))):
        start, length = (
            int(rng.integers(0, n)),
            int(rng.choice([3, 9, 10, 11, 30, 59, 119, 120, 121, 180, 299, 300, 301])),
        )
        x[start : start + length] -= int(rng.choice([10, 29, 30, 31, 39, 40, 41, 60, 120]))
    if rng.random() < 0.5:
        x += rng.integers(-6, 7, n) if rng.random() < 0.5 else 10 * rng.integers(-1, 2, n)
    if rng.random() < 0.3:
        x += (30 * np.sin(np.arange(n) / rng.uniform(3, 15))).astype(int)
    return with_holes(rng, x)


def with_holes(rng, x):
    """Add gaps around the bridged length, zeros, spikes and values outside int16's useful part."""
    n = len(x)
    for _ in range(int(rng.integers(0, 8))):
        start, length = int(rng.integers(0, n)), int(rng.choice([1, 2, 9, 10, 11, 12, 40]))
        x[start : start + length] = int(
            rng.choice([MISSING, MISSING, MISSING, 0, 1270, 2550, 499, 1001, 32767, -1])
        )
    for _ in range(int(rng.integers(0, 4))):
        x[int(rng.integers(0, n))] += int(rng.choice([-200, -41, -40, 40, 41, 90]))
    return np.clip(x, MISSING, 32767).astype(np.int16)


def hostile_pulse(rng, n):
    x = np.full(n, 700) + 10 * rng.integers(-3, 4, n)
    for _ in range(int(rng.integers(0, 10))):
        start, length = int(rng.integers(0, n)), int(rng.choice([1, 5, 29, 30, 31, 60]))
        x[start : start + length] += int(rng.choice([29, 30, 59, 60, 61, 200]))
    return with_holes(rng, x)


def hostile_tc(rng, n):
    x = 480 + np.cumsum(rng.integers(-2, 3, n))
    for _ in range(int(rng.integers(0, 5))):
        start, length = int(rng.integers(0, n)), int(rng.choice([5, 30, 60, 200]))
        x[start : start + length] += int(rng.choice([60, 100, 101, 150, -99, -101]))
    return with_holes(rng, x)


def agree(plain, spo2, pulse):
    expected, events = plain.oximetry(spo2.tolist(), None if pulse is None else pulse.tolist())
    found = counting.count_oximetry(spo2, pulse)
    assert found == compiled.count_oximetry(spo2, pulse)
    counts = found.counts._asdict()
    assert counts.pop("dip_area_c1") == pytest.approx(expected.pop("dip_area_c1"), rel=1e-12, abs=1e-9)
    assert counts == expected
    assert [(e.onset, e.end, e.reference_sum, e.nadir, LETTERS[e.close]) for e in found.events] == [
        (o, e, r * found.events[i].reference_n, nadir, how) for i, (o, e, r, nadir, how) in enumerate(events)
    ]


@pytest.mark.parametrize("block", range(10))
def test_three_scorers_agree_on_every_field_of_a_thousand_hostile_nights(plain, block):
    rng = np.random.default_rng(4000 + block)
    for _ in range(100):
        n = int(rng.integers(1, 700))
        agree(plain, hostile_spo2(rng, n), hostile_pulse(rng, n) if rng.random() < 0.8 else None)
        tc, excluded = hostile_tc(rng, n), rng.random(n) < rng.choice([0.0, 0.2])
        expected = plain.transcutaneous(tc.tolist(), excluded.tolist(), LEVELS)
        assert counting.count_tc(tc, excluded, LEVELS)._asdict() == expected
        assert compiled.count_tc(tc, excluded, LEVELS)._asdict() == expected


VALUES = st.sampled_from(
    [MISSING, 0, 499, 500, 850, 880, 881, 899, 900, 920, 930, 950, 960, 1000, 1001, 32767]
)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(VALUES, st.integers(1, 130)), min_size=1, max_size=8))
def test_three_scorers_agree_on_staircases_of_any_values(plain, steps):
    spo2 = np.concatenate([np.full(length, value, dtype=np.int16) for value, length in steps])
    agree(plain, spo2, spo2[::-1].copy())


def test_a_whole_long_night_agrees_between_numpy_and_the_compiled_loops():
    rng = np.random.default_rng(7)
    for _ in range(5):
        spo2 = np.concatenate([hostile_spo2(rng, 700) for _ in range(45)])
        pulse = np.concatenate([hostile_pulse(rng, 700) for _ in range(45)])
        assert counting.count_oximetry(spo2, pulse) == compiled.count_oximetry(spo2, pulse)
