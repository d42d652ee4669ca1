"""General tools that know nothing of nights, as outside checks."""

import duckdb
import numpy as np
import polars as pl
import pytest
from scipy.signal import find_peaks

from hvmon.nights.counting import count_oximetry
from hvmon.nights.synthetic import demo_nights
from hvmon.nights.validity import spo2_validity

HOUR = 3600


def night_of_dips(rng, per_hour, hours=6):
    """Noisy falls of 4 to 8 over 15 to 30 s with quick recovery, about so many an hour; their true number."""
    n = hours * HOUR
    x = 960 + np.convolve(rng.normal(0, 5, n), np.ones(3) / 3, "same")
    spacing = HOUR / per_hour
    starts = np.arange(120, n - 120, spacing).astype(int)
    for start in starts:
        depth, length = rng.uniform(40, 80), int(rng.integers(15, 30))
        x[start : start + length] -= np.linspace(0, depth, length)
        x[start + length : start + length + 8] -= np.linspace(depth, 0, 8)
    return np.rint(np.clip(x, 0, 1000)).astype(np.int16), len(starts)


@pytest.mark.parametrize("per_hour", [6, 31, 60])
def test_a_general_peak_finder_counts_dips_of_the_same_order(per_hour):
    spo2, true = night_of_dips(np.random.default_rng(per_hour), per_hour)
    peaks, _ = find_peaks(-spo2 / 10.0, prominence=3.0, width=(8, 120))
    counts = count_oximetry(spo2, None).counts
    assert 0.75 * true <= counts.n_dips3_c1 <= 1.1 * true
    assert 0.75 * len(peaks) <= counts.n_dips3_c1 <= 1.25 * len(peaks)


def test_the_mean_reference_saturates_where_the_top_fifth_stays_proportional():
    # counted / true of the mean of 120 s falls with the index: the reason why C1 stands beside it
    share = {}
    for per_hour in (6, 60):
        spo2, true = night_of_dips(np.random.default_rng(per_hour), per_hour)
        counts = count_oximetry(spo2, None).counts
        share[per_hour] = (counts.n_dips3_c1 / true, counts.n_dips3_m1 / true)
    assert abs(share[60][0] - share[6][0]) < 0.15
    assert share[60][1] < 0.5 * share[6][1]


RUNS = """
with numbered as (
    select s, x, ok, s - row_number() over (partition by ok and x <= 880 order by s) as island
    from night
), runs as (
    select count(*) as length from numbered where ok and x <= 880 group by island
)
select
    (select count(*) from night where ok),
    (select count(*) from night where ok and x < 900),
    (select count(*) from night where ok and x < 880),
    (select count(*) from night where ok and x <= 880),
    (select sum(x) from night where ok),
    (select coalesce(sum(900 - x), 0) from night where ok and x < 900),
    (select coalesce(max(length), 0) from runs),
    (select count(*) from runs where length >= 300)
"""


@pytest.mark.parametrize("seed", [0, 1])
def test_a_database_engine_finds_the_same_times_areas_and_run_lengths(seed):
    for _, signal in demo_nights(seed):
        counts = count_oximetry(signal.spo2_tenths, None).counts
        night = pl.DataFrame(
            {
                "s": np.arange(signal.n_seconds),
                "x": signal.spo2_tenths.astype(np.int64),
                "ok": spo2_validity(signal.spo2_tenths).valid,
            }
        )
        with duckdb.connect() as connection:
            connection.register("night", night.to_arrow())
            found = connection.execute(RUNS).fetchone()
        assert found == (
            counts.valid_s,
            counts.s_below_90,
            counts.s_below_88,
            counts.s_le_88,
            counts.total,
            counts.area_below_90,
            counts.longest_le_88_s,
            counts.n_runs_le_88_ge_300s,
        )
