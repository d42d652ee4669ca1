"""Which method finds a true rise, at the same rate of false flags?

    python docs/studies/trend_detection.py [--people 300] [--seed 7] [--usual | --tiers]

Two years of readings a person, about a usual level of 6.2 (SD 0.6) kPa, person-specific source offsets,
day-to-week spells, 3 % gross errors. Sampling: arterial only; mixed sources; clinic arterial in year one
then home capillary, venous and transcutaneous in year two; sparse (6 mixed readings). Truth: no change;
a step of 0.5 or 1.0 kPa at a random month 12 to 18; a ramp of 0.5 or 1.0 kPa over months 12 to 24.
Every method looks after each reading of year two; its score is the largest so far. Thresholds are set on
separate people without change so that 5 % of them are flagged at any look. Power = flagged in year two
after the change began; delay = median days from its beginning to the first flag, of those found.
"""

import argparse
from dataclasses import dataclass, replace

import numpy as np
from trend_simulation import KEYS, SHARES, SOURCES, after, changes_frame, frame, ornstein

from hvmon.stats.answers import rise_since, sufficiency
from hvmon.stats.cases import DAYS_PER_YEAR, make_case
from hvmon.stats.inference import posteriors
from hvmon.stats.priors import default_priors
from hvmon.stats.second_opinions import Method, score_raw

FALSE_RATE = 0.05
TRUTHS = ("none", "step 0.5", "step 1.0", "ramp 0.5", "ramp 1.0")
PATTERNS = ("arterial only", "mixed", "clinic then home", "sparse")
PRIORS = default_priors()


@dataclass
class One:
    times: np.ndarray
    sources: np.ndarray
    kpa: np.ndarray
    onset: float


def draw(rng, pattern, truth):
    """One person under a sampling pattern and a truth."""
    n = 6 if pattern == "sparse" else int(rng.integers(8, 17))
    times = np.sort(rng.uniform(0, 2, n))
    times[-1] = 2.0 - rng.uniform(0, 0.05)
    if pattern == "arterial only":
        which = np.zeros(n, dtype=int)
    elif pattern == "clinic then home":
        which = np.where(times < 1, 0, rng.choice([1, 2, 3], n))
    else:
        which = rng.choice(4, n, p=SHARES)
    base, onset = rng.normal(6.2, 0.6), 1.0
    rise = np.zeros(n)
    if truth.startswith("step"):
        onset = rng.uniform(1.0, 1.5)
        rise = float(truth[5:]) * (times >= onset)
    elif truth.startswith("ramp"):
        rise = float(truth[5:]) * np.maximum(times - 1, 0)
    offset = np.array(
        [0.0]
        + [
            PRIORS.value(f"offset.{k}.mean") + PRIORS.value(f"offset.{k}.sd") * rng.standard_normal()
            for k in KEYS[1:]
        ]
    )
    spread = np.array([PRIORS.value(f"noise.{KEYS[k]}") for k in which])
    y = np.log(base + rise) + ornstein(rng, times, PRIORS.value("day.sd"), 14 / DAYS_PER_YEAR)
    y = y + offset[which] + spread * rng.standard_normal(n)
    y = y + (rng.random(n) < 0.03) * rng.choice([-0.35, 0.35], n)
    return One(times, np.array([SOURCES[k] for k in which]), np.exp(y), onset)


def model_scores(people, *, more=False):
    """P(rise since 12 months before), or of a rise > 0.3 kPa, and whether enough, at each look of each person."""
    cases, owner = [], []
    none = changes_frame([], [])
    for index, one in enumerate(people):
        on = np.zeros(one.times.size, dtype=bool)
        readings = frame(one.times, one.sources, one.kpa, on)
        for look in np.flatnonzero(one.times >= 1):
            case, _ = make_case(
                readings[: look + 1],
                none,
                today=after(one.times[look]),
                review=after(max(one.times[look] - 1, 0)),
            )
            cases.append(case)
            owner.append((index, look))
    out = [np.full(one.times.size, -np.inf) for one in people]
    enough = [np.zeros(one.times.size, dtype=bool) for one in people]
    for (index, look), posterior in zip(owner, posteriors(cases, PRIORS), strict=True):
        rise = rise_since(posterior, interval=False)
        out[index][look] = 0.0 if rise is None else rise.p_rise_more if more else rise.p_rise
        enough[index][look] = sufficiency(posterior, PRIORS).enough
    return out, enough


def tier_looks(people):
    """Looks of year two: person, time, P(rise), P(rise > 0.3 kPa), both others as in `LIKELY`, enough to tell."""
    cases, owner = [], []
    none = changes_frame([], [])
    for index, one in enumerate(people):
        on = np.zeros(one.times.size, dtype=bool)
        readings = frame(one.times, one.sources, one.kpa, on)
        for look in range(max(0, int((one.times < 1).sum()) - 1), one.times.size):
            case, _ = make_case(
                readings[: look + 1],
                none,
                today=after(one.times[look]),
                review=after(max(one.times[look] - 1, 0)),
            )
            cases.append(case)
            owner.append((index, one.times[look]))
    rows, before = [], (-1, 0.0)
    for (index, time), posterior in zip(owner, posteriors(cases, PRIORS), strict=True):
        rise = rise_since(posterior, interval=False)
        chance = 0.0 if rise is None else rise.p_rise
        if time >= 1 and rise is not None:
            wrong = posterior.weight.copy()
            wrong[: wrong.size // 2] = 0.0
            apart = replace(posterior, weight=wrong / wrong.sum()) if wrong.sum() > 0 else posterior
            without = rise_since(apart, interval=False).p_rise
            earlier = before[1] if before[0] == index else 0.0
            told = sufficiency(posterior, PRIORS).enough
            rows.append((index, time, chance, rise.p_rise_more, without, earlier, told))
        before = (index, chance)
    return np.array(rows, dtype=float)


LIKELY = {
    "P(rise) >= 0.95": (0.95, 0.0, 0.0, 0.0),
    "P(rise) >= 0.96": (0.96, 0.0, 0.0, 0.0),
    "P(rise) >= 0.97": (0.97, 0.0, 0.0, 0.0),
    "0.95, and 0.80 at the look before": (0.95, 0.0, 0.0, 0.80),
    "0.95, and 0.90 at the look before": (0.95, 0.0, 0.0, 0.90),
    "0.95 at two looks running": (0.95, 0.0, 0.0, 0.95),
    "0.95, and 0.90 with the newest wrong": (0.95, 0.0, 0.90, 0.0),
    "0.95, and 0.84 for more than 0.3 kPa": (0.95, 0.84, 0.0, 0.0),
}
"""Ways to call a rise likely: least chance now, of more than 0.3 kPa, with the newest wrong, a look before."""


def tiers(people_count, seed):
    """False flags over a year of looks, and power, of each way to call a rise likely."""
    print(f"n = {people_count} people a cell ({3 * people_count} without change), seed {seed}\n")
    for place, pattern in enumerate(PATTERNS):
        print(f"| {pattern}: likely is | last / any look, no change | {' | '.join(TRUTHS[1:])} |")
        print("|---|---|" + "---|" * len(TRUTHS[1:]))
        cells = {name: [] for name in LIKELY}
        for turn, truth in enumerate(TRUTHS):
            rng = np.random.default_rng([seed, 200 + place, turn])
            size = people_count if turn else 3 * people_count
            people = [draw(rng, pattern, truth) for _ in range(size)]
            looks = tier_looks(people)
            owner, onset = looks[:, 0].astype(int), np.array([one.onset for one in people])
            last = np.append(owner[1:] != owner[:-1], True)
            for name, least in LIKELY.items():
                hit = (looks[:, 2:6] >= least).all(axis=1) & (looks[:, 6] > 0)
                if turn == 0:
                    shares = (hit & last).sum() / size, np.unique(owner[hit]).size / size
                    cells[name].append(f"{100 * shares[0]:.1f} / {100 * shares[1]:.1f} %")
                    continue
                hit &= looks[:, 1] >= onset[owner]
                found, first = np.unique(owner[hit], return_index=True)
                delay = np.median((looks[hit, 1][first] - onset[found]) * DAYS_PER_YEAR) if found.size else 0
                cells[name].append(f"{100 * found.size / size:.0f} %, {delay:.0f} d")
        for name, row in cells.items():
            print(f"| {name} | " + " | ".join(row) + " |")
        print(flush=True)


def ols_t(years, kpa):
    """t of a straight line."""
    if years.size < 4:
        return -np.inf
    x = years - years.mean()
    slope = x @ kpa / (x @ x)
    rest = kpa - kpa.mean() - slope * x
    return slope / np.sqrt(max(rest @ rest, 1e-12) / (years.size - 2) / (x @ x))


def segmented_t(years, kpa):
    """t of the slope after the best of the inner break points."""
    best = -np.inf, np.inf
    for bend in years[2:-2]:
        design = np.column_stack([np.ones(years.size), np.maximum(years - bend, 0)])
        coef, rest, rank, _ = np.linalg.lstsq(design, kpa, rcond=None)
        cost = float(rest[0]) if rest.size else np.inf
        if rank == 2 and cost < best[1]:
            inverse = np.linalg.inv(design.T @ design)
            best = coef[1] / np.sqrt(max(cost, 1e-12) / (years.size - 2) * inverse[1, 1]), cost
    return best[0]


def classic_scores(people):
    """Scores of every other method at each look: pooled over sources, and on the newest reading's source."""
    names = [
        "fixed threshold",
        *(f"{m.value}, any source" for m in Method),
        *(f"{m.value}, same source" for m in Method),
    ]
    names += ["straight line t, any source", "segmented regression, any source"]
    out = {name: [np.full(one.times.size, -np.inf) for one in people] for name in names}
    for index, one in enumerate(people):
        for look in np.flatnonzero(one.times >= 1):
            t, kpa, sources = one.times[: look + 1], one.kpa[: look + 1], one.sources[: look + 1]
            same = sources == sources[-1]
            out["fixed threshold"][index][look] = kpa[-1]
            for method in Method:
                for label, mask in (("any", np.ones(t.size, dtype=bool)), ("same", same)):
                    score = score_raw(method, t[mask], kpa[mask], sources[-1], PRIORS)
                    if score is not None:
                        out[f"{method.value}, {label} source"][index][look] = score
            out["straight line t, any source"][index][look] = ols_t(t, kpa)
            if t.size >= 6:
                out["segmented regression, any source"][index][look] = segmented_t(t, kpa)
    return out


def usual(people_count, seed):
    """False flags at usual thresholds: people without change, at the last look and at any look of year two."""
    print(
        "| No true change, usual thresholds: % flagged at the last look / at any look of year two | "
        + " | ".join(PATTERNS)
        + " |"
    )
    print("|---|" + "---|" * len(PATTERNS))
    rows = {}
    for place, pattern in enumerate(PATTERNS):
        rng = np.random.default_rng([seed, 100 + place])
        people = [draw(rng, pattern, "none") for _ in range(people_count)]
        for label, more in (("P(rise)", False), ("P(rise > 0.3 kPa)", True)):
            scores, enough = model_scores(people, more=more)
            for tier, cut in (("watch, >= 0.80", 0.8), ("likely, >= 0.95", 0.95)):
                told = [(s >= cut) & e for s, e in zip(scores, enough, strict=True)]
                rows.setdefault(f"hvmon {label} {tier}", []).append(told)
        classic = classic_scores(people)
        cuts = {
            Method.REFERENCE_CHANGE: 1.645,
            Method.THEIL_SEN: 1.96,
            Method.MANN_KENDALL: 1.96,
            Method.EWMA: 3.0,
            Method.CUSUM: 4.0,
        }
        for method, cut in cuts.items():
            for kind in ("any source", "same source"):
                rows.setdefault(f"{method.value}, {kind}", []).append(
                    [s >= cut for s in classic[f"{method.value}, {kind}"]]
                )
        rows.setdefault("last reading above 6.5 kPa", []).append(
            [s > 6.5 for s in classic["fixed threshold"]]
        )
    for name, cells in rows.items():
        print(
            f"| {name} | "
            + " | ".join(
                f"{100 * np.mean([f[-1] for f in told]):.1f} / {100 * np.mean([f.any() for f in told]):.1f}"
                for told in cells
            )
            + " |"
        )


def main():
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--people", type=int, default=300)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--usual", action="store_true", help="only the false flags at usual thresholds")
    parser.add_argument("--tiers", action="store_true", help="only other ways to call a rise likely")
    args = parser.parse_args()
    if args.tiers:
        tiers(args.people, args.seed)
        return
    if args.usual:
        usual(args.people, args.seed)
        return
    print(
        f"n = {args.people} people a cell ({2 * args.people} without change to set thresholds), seed {args.seed}\n"
    )
    for place, pattern in enumerate(PATTERNS):
        table, default, charts = {}, {}, {}
        for turn, truth in enumerate(("none", *TRUTHS)):
            rng = np.random.default_rng([args.seed, place, turn])
            size = 2 * args.people if turn == 0 else args.people
            people = [draw(rng, pattern, truth) for _ in range(size)]
            model, enough = model_scores(people)
            scores = {"hvmon model": model, **classic_scores(people)}
            if turn == 0:
                limits = {
                    name: np.quantile([each.max() for each in values], 1 - FALSE_RATE, method="higher")
                    for name, values in scores.items()
                }
                continue
            for name, values in scores.items():
                caught, delays = 0, []
                for one, value in zip(people, values, strict=True):
                    hits = np.flatnonzero((value > limits[name]) & (one.times >= one.onset))
                    caught += hits.size > 0
                    if hits.size:
                        delays.append((one.times[hits[0]] - one.onset) * DAYS_PER_YEAR)
                table.setdefault(name, []).append(
                    (100 * caught / size, np.median(delays) if delays else np.nan)
                )
            if truth == "none":
                for tier, cut in (("watch", 0.8), ("likely", 0.95)):
                    last = [m[-1] > cut and e[-1] for m, e in zip(model, enough, strict=True)]
                    ever = [((m > cut) & e).any() for m, e in zip(model, enough, strict=True)]
                    default[tier] = (100 * np.mean(last), 100 * np.mean(ever))
                cuts = {
                    Method.EWMA: 3.0,
                    Method.CUSUM: 4.0,
                    Method.REFERENCE_CHANGE: 1.645,
                    Method.MANN_KENDALL: 1.96,
                    Method.THEIL_SEN: 1.96,
                }
                for method, cut in cuts.items():
                    values = scores[f"{method.value}, any source"]
                    charts[method.value] = (
                        100 * np.mean([v[-1] >= cut for v in values]),
                        100 * np.mean([(v >= cut).any() for v in values]),
                    )
        print(f"### {pattern}\n")
        print(
            "Usual thresholds, no true change, % flagged at the last reading / at any look of year two: "
            + ", ".join(f"model {tier} {a:.1f}/{b:.1f}" for tier, (a, b) in default.items())
            + "; any source: "
            + ", ".join(f"{name} {a:.0f}/{b:.0f}" for name, (a, b) in charts.items())
            + "\n"
        )
        print("| Method at 5 % false flags | " + " | ".join(TRUTHS) + " |\n|---|" + "---|" * len(TRUTHS))
        for name, cells in sorted(table.items(), key=lambda item: -sum(power for power, _ in item[1][1:])):
            print(
                f"| {name} | "
                + " | ".join(
                    f"{p:.0f} %" + ("" if i == 0 or np.isnan(d) else f", {d:.0f} d")
                    for i, (p, d) in enumerate(cells)
                )
                + " |"
            )
        print(flush=True)


if __name__ == "__main__":
    main()
