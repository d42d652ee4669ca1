"""Do the trend model's intervals cover the truth, and are its probabilities reliable?

    python docs/studies/trend_coverage.py [--people 600] [--seed 2026]

Prints a Markdown table: coverage of the 80 % and 95 % intervals of the level now, the slope, the change
over six months and the forecast six months ahead, with the median width of the 95 % interval in kPa
beside it, for truth drawn from the model and for misfits; then reliability of P(level > 6.5 kPa).
"""

import argparse
import itertools

import numpy as np
from trend_simulation import after, person

from hvmon.stats.answers import level_at, rise_since, slope_estimate
from hvmon.stats.cases import DAYS_PER_YEAR, make_case
from hvmon.stats.inference import posteriors
from hvmon.stats.mixture import chance_above
from hvmon.stats.priors import default_priors

ARMS = {
    "model": {},
    "straight line": {"truth": "line"},
    "noise x 1.4": {"noise": 1.4},
    "offsets wrong by 3 to 5 %": {"offset_error": 0.05},
    "6 % gross errors": {"gross": 0.06},
    "late hinge": {"truth": "hinge"},
}
LIMIT_KPA = 6.5


def covered(estimate, value):
    """Whether the 80 % and 95 % intervals hold the value."""
    return estimate.low80 <= value <= estimate.high80, estimate.low95 <= value <= estimate.high95


def run(arm, people, seed):
    """Coverage rows of one arm and its (probability, truth, last reading) triples."""
    rng = np.random.default_rng(seed)
    priors = default_priors()
    truths = [person(rng, **ARMS[arm]) for _ in range(people)]
    cases = [
        make_case(t.readings, t.changes, today=after(t.now), review=after(t.now - 0.5))[0] for t in truths
    ]
    ahead = [np.array([case.today + 0.5 * DAYS_PER_YEAR]) for case in cases]
    hits = {name: [] for name in ("level", "slope", "change", "forecast")}
    widths = {name: [] for name in hits}
    chances = []
    for truth, posterior in zip(truths, posteriors(cases, priors, asked=ahead), strict=True):
        level = level_at(posterior, posterior.case.today).level
        found = {
            "level": (level, np.exp(truth.level["now"])),
            "slope": (slope_estimate(posterior), truth.slope),
            "change": (
                rise_since(posterior).change_kpa,
                np.exp(truth.level["now"]) - np.exp(truth.level["then"]),
            ),
            "forecast": (
                level_at(posterior, posterior.case.today + 0.5 * DAYS_PER_YEAR).level,
                np.exp(truth.level["ahead"]),
            ),
        }
        for name, (estimate, value) in found.items():
            hits[name].append(covered(estimate, value))
            widths[name].append(estimate.width95 * (level.median if name == "slope" else 1.0))
        row = posterior.rows.now
        chance = chance_above(
            np.log(LIMIT_KPA), posterior.weight, posterior.level_mean[row], posterior.level_variance[row]
        )
        chances.append((chance, truth.level["now"] > np.log(LIMIT_KPA), truth.values[-1] > LIMIT_KPA))
    return hits, widths, np.array(chances, dtype=float)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--people", type=int, default=600)
    parser.add_argument("--seed", type=int, default=2026)
    args = parser.parse_args()
    print(
        f"n = {args.people} people an arm, seed {args.seed}; 80 %/95 % coverage [%], w = median 95 % width [kPa]\n"
    )
    print(
        "| Truth | level now | slope | change over 6 months | forecast 6 months ahead | Brier model / last reading |"
    )
    print("|---|---|---|---|---|---|")
    every = []
    for index, arm in enumerate(ARMS):
        hits, widths, chances = run(arm, args.people, args.seed + index)
        cells = []
        for name in hits:
            low, high = 100 * np.mean(hits[name], axis=0)
            cells.append(f"{low:.1f}/{high:.1f} w {np.median(widths[name]):.2f}")
        brier, naive = (
            np.mean((chances[:, 0] - chances[:, 1]) ** 2),
            np.mean((chances[:, 2] - chances[:, 1]) ** 2),
        )
        print(
            f"| {arm} | {' | '.join(cells)} | {brier:.3f} / {naive:.3f} = {brier / naive:.2f} |", flush=True
        )
        every.append(chances)
    model = every[0]
    print("\nReliability of P(level > 6.5 kPa) on the model's truth: stated -> happened (n)")
    edges = np.array([0, 0.02, 0.2, 0.4, 0.6, 0.8, 0.98, 1.0001])
    for low, high in itertools.pairwise(edges):
        inside = (model[:, 0] >= low) & (model[:, 0] < high)
        if inside.any():
            print(f"  {model[inside, 0].mean():.2f} -> {model[inside, 1].mean():.2f} ({inside.sum()})")


if __name__ == "__main__":
    main()
