"""How fast is the trend, and is its memory flat?

    python docs/studies/trend_speed.py [--people 5000] [--oracle 3]
    python docs/studies/trend_speed.py --learn 2000

One person (median of 15 runs), a cohort of 20 readings a person, the ratio to the same passes of the same
model through statsmodels in the same run, cost against the number of readings, and peak memory against the
number of people. Times are processor times of one core, so that other programs do not count.
"""

import argparse
import resource
import subprocess
import sys
import time

import numpy as np
from trend_simulation import after, changes_frame, frame

from hvmon.stats.cases import make_case
from hvmon.stats.design import build, layout_of, make_rows
from hvmon.stats.inference import ROBUST_PASSES, posteriors
from hvmon.stats.learning import learn
from hvmon.stats.priors import default_priors
from hvmon.stats.trend import PersonInput, fit, fit_many

PRIORS = default_priors()
KINDS = ("arterial", "capillary earlobe", "venous", "tc earlobe")


def one(seed, n=20):
    """Readings and changes of one invented person."""
    rng = np.random.default_rng(seed)
    times = np.sort(rng.uniform(0, 2, n))
    kpa = np.exp(1.87 + 0.07 * rng.standard_normal(n))
    return frame(times, rng.choice(KINDS, n), kpa, rng.random(n) < 0.2), changes_frame([0.9], ["escalation"])


def people(count):
    """An endless-memory-free cohort."""
    made = [one(seed) for seed in range(50)]
    for index in range(count):
        readings, changes = made[index % 50]
        yield PersonInput(str(index), readings, changes, after(2.02))


def timed(call, repeats):
    """Median processor seconds of a call: does not count what other programs take meanwhile."""
    spent = []
    for _ in range(repeats):
        start = time.process_time()
        call()
        spent.append(time.process_time() - start)
    return float(np.median(spent))


def through_statsmodels(case):
    """Every pass of one person's grid through statsmodels; the matrices are set once per grid point."""
    from statsmodels.tsa.statespace.mlemodel import MLEModel

    both = [case, case.supposing_newest_wrong()]
    for run in both:
        rows = make_rows(run, None)
        system = build([run], [rows], layout_of([run]), PRIORS, probe=False)
        height, states, members = system.design.shape
        for member in range(members):
            seen = system.observed[:, member] > 0
            model = MLEModel(
                np.where(seen, system.reading[:, member], np.nan)[:, None], k_states=states, k_posdef=states
            )
            model.ssm["design"] = system.design[:, :, member].T[None]
            transition, noise = np.tile(np.eye(states)[..., None], height), np.zeros((states, states, height))
            steps = system.steps
            transition[0, 1, :-1] = steps.slope_into_level[1:, member]
            transition[1, 1, :-1] = steps.slope_kept[1:, member]
            transition[2, 2, :-1] = steps.day_kept[1:, member]
            noise[0, 0, :-1], noise[1, 1, :-1] = (
                steps.level_variance[1:, member],
                steps.slope_variance[1:, member],
            )
            noise[0, 1, :-1] = noise[1, 0, :-1] = steps.level_slope_covariance[1:, member]
            noise[2, 2, :-1] = steps.day_variance[1:, member]
            model.ssm["transition"], model.ssm["state_cov"] = transition, noise
            model.ssm["selection"] = np.eye(states)
            model.ssm.initialize_known(system.mean[:, member], np.diag(system.variance[:, member]))
            for _ in range(ROBUST_PASSES + 1):
                model.ssm["obs_cov"] = system.noise_variance[:, member][None, None]
                model.ssm.smooth()


def learning(count):
    """Processor time of `learn`, and how often it asked for the likelihood of the cohort."""
    asked = []
    spent = timed(lambda: learn(people(count), progress=lambda done, _most: asked.append(done)), 1)
    print(
        f"learning from {count} people x 20 readings: {spent:.0f} s of one processor, {len(asked)} evaluations"
    )


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--people", type=int, default=5000)
    parser.add_argument("--oracle", type=int, default=3)
    parser.add_argument("--learn", type=int, default=0, help="only learning, from so many people")
    parser.add_argument("--memory-of", type=int, default=0, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.memory_of:
        for _ in fit_many(people(args.memory_of)):
            pass
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        return
    if args.learn:
        learning(args.learn)
        return
    readings, changes = one(1)
    limits = (("a", 6.5), ("b", 7.5))
    single = timed(lambda: fit(readings, changes, today=after(2.02), limits_kpa=limits), 15)
    print(f"one person, 20 readings, everything a page shows: {1000 * single:.0f} ms (aim < 60 ms)")
    cases = [make_case(*one(seed), today=after(2.02))[0] for seed in range(200)]
    batch = timed(lambda: list(posteriors(cases, PRIORS)), 3) / len(cases)
    alone = timed(lambda: list(posteriors(cases[:1], PRIORS)), 9)
    oracle = timed(lambda: [through_statsmodels(case) for case in cases[: args.oracle]], 1) / args.oracle
    print(
        f"the same passes a person: statsmodels {1000 * oracle:.0f} ms; here {1000 * alone:.1f} ms alone, "
        f"{1000 * batch:.2f} ms in a batch: {oracle / alone:.0f} and {oracle / batch:.0f} times faster (aim >= 7)"
    )
    for n in (20, 200, 2000):
        case = make_case(*one(1, n), today=after(2.02))[0]
        spent = timed(lambda case=case: list(posteriors([case], PRIORS)), 3)
        print(f"{n} readings: {1000 * spent:.0f} ms, {1e6 * spent / n:.0f} us a reading")
    start, wall = time.process_time(), time.perf_counter()
    count = sum(1 for _ in fit_many(people(args.people), limits_kpa=(6.5,)))
    print(
        f"{count} people x 20 readings re-estimated in {time.process_time() - start:.1f} s of one "
        f"processor, {time.perf_counter() - wall:.1f} s by the clock (aim < 90 s on two)"
    )
    for size in (500, 1000, 4000):
        peak = subprocess.run(
            [sys.executable, __file__, "--memory-of", str(size)], capture_output=True, text=True, check=True
        )
        print(f"peak memory for {size} people: {float(peak.stdout):.0f} MB")


if __name__ == "__main__":
    main()
