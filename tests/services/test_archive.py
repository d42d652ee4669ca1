import polars as pl
import pytest
from distributed import LocalCluster
from polars.testing import assert_frame_equal

from hvmon.nights.conventions import ConventionKey
from hvmon.nights.synthetic import demo_nights, later
from hvmon.services import archive
from hvmon.store.nights import NightFiles

N_NIGHTS = 24


@pytest.fixture(scope="module")
def signals():
    nights = [signal for _, signal in demo_nights(11)]
    return [later(nights[i % len(nights)], i) for i in range(N_NIGHTS)]


@pytest.fixture
def files(tmp_path, signals):
    files = NightFiles(tmp_path)
    for signal in signals:
        files.save(signal)
    return files


def all_results(files):
    return {key: archive.results(files, key) for key in ConventionKey}


def emptied(files):
    for path in files.root.glob("results/**/*.parquet"):
        path.unlink()


@pytest.fixture
def expected(files):
    archive.rescore(files, engine_name="numpy")
    found = all_results(files)
    emptied(files)
    return found


def same(files, expected):
    for key, frame in all_results(files).items():
        assert_frame_equal(frame, expected[key], check_exact=True)
    return True


def test_the_compiled_loops_give_the_rows_of_numpy_to_the_bit(files, expected):
    assert archive.rescore(files, engine_name="compiled").scored == N_NIGHTS
    assert same(files, expected)


def test_two_processes_give_the_rows_of_one_to_the_bit(files, expected):
    seen = []
    done = archive.rescore(files, workers=2, progress=lambda *step: seen.append(step))
    assert done == archive.Rescored(N_NIGHTS, 0, ())
    assert same(files, expected)
    assert [step[0] for step in seen] == sorted(step[0] for step in seen)
    assert seen[-1] == (N_NIGHTS, N_NIGHTS)


def test_a_cluster_gives_the_rows_of_one_machine_to_the_bit(files, expected):
    with LocalCluster(n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None) as cluster:
        archive.rescore(files, scheduler=cluster.scheduler_address)
    assert same(files, expected)


def test_a_run_that_was_stopped_goes_on_where_it_stopped(files, expected, monkeypatch):
    monkeypatch.setattr(archive, "CHUNK_NIGHTS", 5)

    def stop(done, _):
        if done >= 10:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        archive.rescore(files, progress=stop)
    assert archive.results(files, ConventionKey.C1).height == 10
    assert archive.rescore(files) == archive.Rescored(N_NIGHTS - 10, 10, ())
    assert same(files, expected)


def test_a_run_with_nothing_to_do_scores_and_stores_nothing(files):
    archive.rescore(files)
    before = sorted(files.root.glob("results/**/*.parquet"))
    assert archive.rescore(files) == archive.Rescored(0, N_NIGHTS, ())
    assert sorted(files.root.glob("results/**/*.parquet")) == before


def test_a_new_version_of_the_scoring_scores_everything_again_and_keeps_the_old_rows(files, monkeypatch):
    archive.rescore(files)
    monkeypatch.setattr(archive, "CODE_VERSION", "next")
    assert archive.rescore(files).scored == N_NIGHTS
    assert files.results("C1").height == 2 * N_NIGHTS
    assert archive.results(files, ConventionKey.C1).height == N_NIGHTS


def test_a_convention_that_was_never_scored_is_all_that_is_scored(files):
    archive.rescore(files, conventions=[ConventionKey.C1])
    assert archive.results(files, ConventionKey.M1).is_empty()
    assert archive.rescore(files, conventions=[ConventionKey.C1]).scored == 0
    assert archive.rescore(files).scored == N_NIGHTS
    assert archive.results(files, ConventionKey.C1).height == N_NIGHTS


def test_a_damaged_night_is_named_and_has_no_row(files):
    key = files.keys()[3]
    (path,) = files.root.rglob(f"{key}.parquet")
    path.write_bytes(path.read_bytes()[:-9])
    done = archive.rescore(files)
    assert done.damaged == (key,)
    assert done.scored == N_NIGHTS - 1
    assert key not in archive.results(files, ConventionKey.C1)["signal_sha256"]


def test_rows_carry_the_field_names_with_null_and_a_reason_for_what_is_not_known(files):
    archive.rescore(files)
    rows = archive.results(files, ConventionKey.C1)
    assert rows.schema["odi3_c1"] == pl.Float64
    assert rows.schema["s_le_88"] == pl.Int64
    short = rows.filter(pl.col("valid_s") < 7200)
    assert short["odi3_c1"].null_count() == short.height > 0
    assert short["reasons"].str.contains("odi3_c1").all()
    answers = archive.results(files, ConventionKey.T1)["answer_adult-rule"].unique().to_list()
    assert set(answers) <= {"met", "not met", "not assessable"}
    assert len(answers) > 1


def test_less_than_one_worker_is_refused(files):
    with pytest.raises(ValueError, match="workers"):
        archive.rescore(files, workers=0)
