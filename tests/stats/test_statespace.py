"""The filter and smoother against statsmodels, and the transition against a matrix exponential."""

from decimal import Decimal, localcontext

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from scipy.linalg import expm
from statsmodels.tsa.statespace.mlemodel import MLEModel
from trend_people import SOURCES, after, changes, readings

from hvmon.stats.cases import DAYS_PER_YEAR, make_case
from hvmon.stats.design import Grid, build, layout_of, make_rows
from hvmon.stats.priors import default_priors
from hvmon.stats.statespace import (
    filter_forward,
    integrated_slope_variance,
    make_steps,
    smooth_backward,
)

PRIORS = default_priors()
TOLERANCE = 1e-8


def random_case(seed):
    """Irregular days, some at the same instant, some readings not in use, on and off, settings changes."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 25))
    days = np.sort(rng.uniform(0, 900, n))
    if n > 3:
        days[1], days[-1] = days[0], days[-2]
    rows = [
        (day, rng.choice(SOURCES), np.exp(1.9 + 0.1 * rng.standard_normal()), kind, oxygen)
        for day, kind, oxygen in zip(
            days,
            rng.choice(["on ventilator", "off ventilator", "not recorded"], n),
            rng.choice([0.0, 1.0, 2.0], n),
            strict=True,
        )
    ]
    moves = changes((200, "initiation"), (500, "escalation"), (860, "de-escalation"))
    case, _ = make_case(readings(*rows), moves, today=after(950))
    return case.using(rng.random(n) > 0.2)


def oracle(system, member):
    """The same member through statsmodels: log-likelihood, smoothed state means and covariances."""
    rows, states = system.design.shape[:2]
    seen = system.observed[:, member] > 0
    model = MLEModel(
        np.where(seen, system.reading[:, member], np.nan)[:, None], k_states=states, k_posdef=states
    )
    model.ssm["design"] = system.design[:, :, member].T[None]
    model.ssm["obs_cov"] = system.noise_variance[:, member][None, None]
    transition = np.tile(np.eye(states)[..., None], rows)
    noise, shift = np.zeros((states, states, rows)), np.zeros((states, rows))
    steps = system.steps
    for row in range(1, rows):
        transition[:3, :3, row - 1] = [
            [1, steps.slope_into_level[row, member], 0],
            [0, steps.slope_kept[row, member], 0],
            [0, 0, steps.day_kept[row, member]],
        ]
        noise[:2, :2, row - 1] = [
            [steps.level_variance[row, member], steps.level_slope_covariance[row, member]],
            [steps.level_slope_covariance[row, member], steps.slope_variance[row, member]],
        ]
        noise[2, 2, row - 1] = steps.day_variance[row, member]
        shift[0, row - 1] = steps.level_shift[row, member]
    model.ssm["transition"], model.ssm["state_cov"], model.ssm["state_intercept"] = transition, noise, shift
    model.ssm["selection"] = np.eye(states)
    model.ssm.initialize_known(system.mean[:, member], np.diag(system.variance[:, member]))
    found = model.ssm.smooth()
    return found.llf, found.smoothed_state, found.smoothed_state_cov


@pytest.mark.parametrize("seed", range(12))
def test_filter_and_smoother_equal_statsmodels_on_random_irregular_series(seed):
    case = random_case(seed)
    layout = layout_of([case])
    rows = make_rows(case, np.array([100.0, 480.0, 1200.0]))
    system = build([case], [rows], layout, PRIORS, probe=True)
    filtered = filter_forward(system)
    smoothed = smooth_backward(system, filtered)
    for member in (0, 5, 11):
        likelihood, state, cov = oracle(system, member)
        assert filtered.log_likelihood[member] == pytest.approx(likelihood, abs=TOLERANCE)
        for row in range(rows.day.size):
            probe, design = system.probe[row, :, member], system.design[row, :, member]
            p, x = cov[:, :, row], state[:, row]
            assert smoothed.level_mean[row, member] == pytest.approx(probe @ x, abs=TOLERANCE)
            assert smoothed.level_variance[row, member] == pytest.approx(probe @ p @ probe, abs=TOLERANCE)
            assert smoothed.signal_mean[row, member] == pytest.approx(design @ x, abs=TOLERANCE)
            assert smoothed.signal_variance[row, member] == pytest.approx(design @ p @ design, abs=TOLERANCE)
        assert filtered.now_mean[:, member] == pytest.approx(state[:, rows.now], abs=TOLERANCE)
        assert filtered.now_covariance[..., member] == pytest.approx(cov[..., rows.now], abs=TOLERANCE)


@pytest.mark.parametrize("seed", range(6))
def test_covariance_with_now_and_reading_weights_equal_the_joint_normal(seed):
    case = random_case(seed)
    rows = make_rows(case, np.array([50.0, 300.0]))
    system = build([case], [rows], layout_of([case]), PRIORS, probe=True)
    filtered = filter_forward(system)
    smoothed = smooth_backward(system, filtered)
    member = 4
    joint, signal = joint_covariance(system, member)
    seen = np.flatnonzero(system.observed[:, member] > 0)
    data = signal[np.ix_(seen, seen)] + np.diag(system.noise_variance[seen, member])
    cross = joint["level_signal"][:, seen]
    weights = np.linalg.solve(data, cross.T).T
    posterior = joint["level"] - weights @ cross.T
    now = rows.now
    assert smoothed.covariance_with_now[: now + 1, member] == pytest.approx(
        posterior[: now + 1, now], abs=TOLERANCE
    )
    assert smoothed.weight_in_now[seen, member] == pytest.approx(weights[now], abs=TOLERANCE)


def joint_covariance(system, member):
    """Prior covariance of levels and signals by multiplying out the transitions, no recursion shared."""
    rows, states = system.design.shape[:2]
    steps = system.steps
    cov = np.diag(system.variance[:, member])
    blocks = {(0, 0): cov}
    moves = []
    for row in range(rows):
        move = np.eye(states)
        if row:
            move[0, 1], move[1, 1] = steps.slope_into_level[row, member], steps.slope_kept[row, member]
            move[2, 2] = steps.day_kept[row, member]
            noise = np.zeros((states, states))
            noise[0, 0], noise[1, 1] = steps.level_variance[row, member], steps.slope_variance[row, member]
            noise[0, 1] = noise[1, 0] = steps.level_slope_covariance[row, member]
            noise[2, 2] = steps.day_variance[row, member]
            blocks[row, row] = move @ blocks[row - 1, row - 1] @ move.T + noise
        moves.append(move)
    for row in range(rows):
        for later in range(row + 1, rows):
            blocks[row, later] = blocks[row, later - 1] @ moves[later].T
    h, w = system.design[..., member], system.probe[..., member]

    def of(left, right):
        full = np.empty((rows, rows))
        for a in range(rows):
            for b in range(rows):
                block = blocks[a, b] if a <= b else blocks[b, a].T
                full[a, b] = left[a] @ block @ right[b]
        return full

    return {"level": of(w, w), "level_signal": of(w, h)}, of(h, h)


@settings(max_examples=60, deadline=None)
@given(delta=st.floats(1e-5, 5.0), theta=st.floats(0.05, 4.0))
@example(delta=2.0, theta=3.75)
def test_the_transition_matches_the_matrix_exponential_of_van_loan(delta, theta):
    assume(theta * delta <= 8)
    slope_sd, walk = 0.2, 0.04
    drift = np.array([[0.0, 1.0], [0.0, -theta]])
    shock = np.diag([walk**2, 2 * theta * slope_sd**2])
    block = expm(np.block([[-drift, shock], [np.zeros((2, 2)), drift.T]]) * delta)
    move = block[2:, 2:].T
    noise = move @ block[:2, 2:]
    flat = np.full((1, 1), delta)
    steps = make_steps(
        flat,
        slope_years=1 / theta,
        slope_sd=np.array([slope_sd]),
        walk_sd=walk,
        day_years=0.04,
        day_sd=0.04,
        shift=0 * flat,
        shift_variance=0 * flat,
    )
    # the block holds exp(theta delta) beside exp(-theta delta): its own rounding grows with it
    rounding = 1e-15 * np.exp(2 * theta * delta)
    for own, reference in (
        (steps.slope_into_level, move[0, 1]),
        (steps.slope_kept, move[1, 1]),
        (steps.level_variance, noise[0, 0]),
        (steps.level_slope_covariance, noise[0, 1]),
        (steps.slope_variance, noise[1, 1]),
    ):
        assert own[0, 0] == pytest.approx(reference, rel=1e-8, abs=rounding)


@given(x=st.floats(1e-9, 0.02))
def test_series_and_closed_form_of_the_level_variance_agree_to_nine_digits(x):
    with localcontext(prec=60):
        d = Decimal(x)
        exact = 2 * (d + 2 * ((-d).exp() - 1) - ((-2 * d).exp() - 1) / 2)
        assert float(integrated_slope_variance(x, 1.0)) == pytest.approx(float(exact), rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), day=st.floats(0, 900))
def test_one_more_reading_never_widens_the_level_at_its_time_on_a_fixed_grid(seed, day):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 8))
    rows = [(d, rng.choice(SOURCES), 6.5) for d in rng.uniform(0, 900, n)]
    full = readings(*rows, (day, rng.choice(SOURCES), 9.0))
    case, _ = make_case(full, changes((400, "escalation")), today=after(950))
    added = np.array([one == f"r{n}" for one in case.ids])
    spread = []
    for used in (~added, case.used):
        run = case.using(used)
        each = make_rows(run, None)
        system = build([run], [each], layout_of([run]), PRIORS, probe=True)
        smoothed = smooth_backward(system, filter_forward(system))
        at = int(np.flatnonzero(each.reading == np.flatnonzero(added)[0])[0])
        spread.append(smoothed.level_variance[at])
    assert (spread[1] <= spread[0] * (1 + 1e-9)).all()


def test_a_time_step_of_zero_changes_nothing():
    zero = np.zeros((1, 1))
    steps = make_steps(
        zero,
        slope_years=1.0,
        slope_sd=np.array([0.1]),
        walk_sd=0.04,
        day_years=0.04,
        day_sd=0.04,
        shift=zero,
        shift_variance=zero,
    )
    assert steps.slope_kept == 1
    assert steps.day_kept == 1
    for part in (steps.level_variance, steps.slope_variance, steps.day_variance, steps.slope_into_level):
        assert part == 0


def test_the_grid_weights_sum_to_one_and_pair_every_slope_with_every_multiplier():
    grid = Grid.of(PRIORS)
    assert grid.size == 12
    assert grid.weight.sum() == pytest.approx(1)
    assert len(set(zip(grid.slope_sd, grid.multiplier, strict=True))) == 12
    assert DAYS_PER_YEAR == 365.25
