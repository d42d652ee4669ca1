# ruff: noqa: C901 - one literal state machine
"""A second scorer, from the wording of the conventions, in plain Python: slow, literal, shares no code.

It exists to be compared with; every second is looked at on its own and every window is built anew.
"""

from fractions import Fraction
from statistics import median_low

MISSING = -32768


def gate(values, lowest, highest, allowed):
    """Valid values as a dict second -> value, and counts of (missing, out of range, too steep)."""
    valid, last = {}, None
    missing = out_of_range = steep = 0
    for i, x in enumerate(values):
        if x == MISSING:
            missing += 1
        elif not lowest <= x <= highest:
            out_of_range += 1
        elif last is not None and abs(x - valid[last]) > allowed(i - last):
            steep += 1
        else:
            valid[i] = x
            last = i
    return valid, (missing, out_of_range, steep)


def spo2_gate(values):
    return gate(values, 500, 1000, lambda elapsed: 40 * elapsed)


def tc_gate(values):
    return gate(values, 150, 1500, lambda elapsed: Fraction(100 * max(elapsed, 60), 60))


def reference_at(valid, i):
    """Mean of the highest 20 % of the valid values of the 60 s before, or None with fewer than 30."""
    window = sorted((valid[j] for j in range(i - 60, i) if j in valid), reverse=True)
    if len(window) < 30:
        return None
    k = -(-len(window) // 5)
    return Fraction(sum(window[:k]), k)


def c1_events(valid, drop):
    """Events (onset, end, reference, nadir, letter) of convention C1."""
    events, now, since_gap, last = [], None, None, None
    for i in sorted(valid):
        x = valid[i]
        gap = last is not None and i - last - 1 > 10
        was_open = now is not None
        if was_open and gap:
            events.append((now["onset"], last + 1, now["reference"], now["nadir"], "d"))
            now, since_gap = None, i
        elif was_open and i - now["onset"] > 120:
            events.append((now["onset"], now["onset"] + 120, now["reference"], now["nadir"], "c"))
            now = None
        elif was_open and x >= now["reference"] - 10:
            events.append((now["onset"], i, now["reference"], now["nadir"], "a"))
            now = None
        elif was_open:
            regained = max(valid[j] for j in range(now["nadir_at"], i) if j in valid)
            if regained >= now["nadir"] + drop and x <= regained - drop:
                events.append((now["onset"], i, now["reference"], now["nadir"], "b"))
                now = {"onset": i, "reference": Fraction(regained), "nadir": x, "nadir_at": i}
            elif i - now["onset"] == 120:
                events.append((now["onset"], i, now["reference"], now["nadir"], "c"))
                now = None
            elif x < now["nadir"]:
                now |= {"nadir": x, "nadir_at": i}
        if not was_open:
            reference = reference_at(valid, i)
            if reference is not None and since_gap is not None:
                since = [valid[j] for j in range(max(since_gap, i - 400), i) if j in valid]
                reference = min(reference, max(since)) if since else None
            if reference is not None and x <= reference - drop:
                now = {"onset": i, "reference": reference, "nadir": x, "nadir_at": i}
        last = i
    if now is not None:
        events.append((now["onset"], last + 1, now["reference"], now["nadir"], "e"))
    return events


def counted(events):
    return [e for e in events if e[4] != "c" and e[1] - e[0] >= 10]


def dip_area(valid, events):
    return sum(
        (max(e[2] - valid[j], Fraction(0)) for e in counted(events) for j in range(e[0], e[1]) if j in valid),
        Fraction(0),
    )


def m1_count(valid, n, drop):
    """Runs of 10 s or more at least `drop` below the mean of the 120 s before."""
    count = run = 0
    for i in range(n + 1):
        window = [valid[j] for j in range(i - 120, i) if j in valid]
        low = i in valid and len(window) >= 60 and valid[i] <= Fraction(sum(window), len(window)) - drop
        if not low and run >= 10:
            count += 1
        run = run + 1 if low else 0
    return count


def runs(valid, n, test):
    """Lengths of unbroken runs of valid seconds that pass a test."""
    lengths, run = [], 0
    for i in range(n + 1):
        if i in valid and test(valid[i]):
            run += 1
        elif run:
            lengths.append(run)
            run = 0
    return lengths


def delta(valid, n):
    """Sum of absolute differences of 12 s sums and their number, complete neighbouring blocks only."""
    total = number = 0
    for start in range(12, n - 11, 12):
        before, after = range(start - 12, start), range(start, start + 12)
        if all(j in valid for j in before) and all(j in valid for j in after):
            total += abs(sum(valid[j] for j in before) - sum(valid[j] for j in after))
            number += 1
    return total, number


def pulse(values):
    """Valid seconds and rises of 6/min."""
    if values is None:
        return 0, 0
    valid = {i: x for i, x in enumerate(values) if 200 <= x <= 2500}
    rises, risen, start, last = 0, None, 0, None
    for i in sorted(valid):
        if last is not None and i - last - 1 > 10:
            risen, start = None, i
        if risen is not None:
            peak = max(valid[j] for j in range(risen, i) if j in valid)
            if i - risen >= 30 or valid[i] <= peak - 30:
                risen, start = None, i
        else:
            before = [valid[j] for j in range(max(start, i - 30), i) if j in valid]
            if before and valid[i] >= min(before) + 60:
                rises += 1
                risen = i
        last = i
    return len(valid), rises


def oximetry(spo2, pulse_values):
    """Every field of `OximetryCounts`, by name."""
    n = len(spo2)
    valid, (missing, out_of_range, steep) = spo2_gate(spo2)
    events3, events4 = c1_events(valid, 30), c1_events(valid, 40)
    le_88 = runs(valid, n, lambda x: x <= 880)
    delta_total, delta_n = delta(valid, n)
    pulse_valid, rises = pulse(pulse_values)
    return {
        "clock_s": n,
        "valid_s": len(valid),
        "missing_s": missing,
        "artefact_range_s": out_of_range,
        "artefact_slew_s": steep,
        "total": sum(valid.values()),
        "nadir": min(valid.values(), default=0),
        "s_below_90": sum(x < 900 for x in valid.values()),
        "s_below_88": sum(x < 880 for x in valid.values()),
        "s_le_88": sum(le_88),
        "longest_le_88_s": max(le_88, default=0),
        "n_runs_le_88_ge_300s": sum(length >= 300 for length in le_88),
        "area_below_90": sum(900 - x for x in valid.values() if x < 900),
        "delta_total": delta_total,
        "delta_n": delta_n,
        "reference_s": sum(reference_at(valid, i) is not None for i in valid),
        "pulse_valid_s": pulse_valid,
        "pulse_rises": rises,
        "n_dips3_c1": len(counted(events3)),
        "n_dips4_c1": len(counted(events4)),
        "n_stepdown": sum(e[4] == "c" for e in events3),
        "dip_area_c1": float(dip_area(valid, events3)),
        "n_dips3_m1": m1_count(valid, n, 30),
        "n_dips4_m1": m1_count(valid, n, 40),
    }, events3


def transcutaneous(values, excluded, levels):
    """Every field of `TcCounts`, by name."""
    n = len(values)
    gated, (missing, out_of_range, steep) = tc_gate(values)
    valid = {i: x for i, x in gated.items() if not excluded[i]}
    ranked = sorted(valid.values())
    highest = -1
    for start in range(n - 59):
        window = [valid[j] for j in range(start, start + 60) if j in valid]
        if len(window) >= 30:
            highest = max(highest, median_low(window))
    above = [runs(valid, n, lambda x, level=level: x > level) for level in levels]
    return {
        "clock_s": n,
        "valid_s": len(valid),
        "missing_s": missing,
        "artefact_range_s": out_of_range,
        "artefact_slew_s": steep,
        "excluded_s": len(gated) - len(valid),
        "total": sum(ranked),
        "twice_median": ranked[(len(ranked) - 1) // 2] + ranked[len(ranked) // 2] if ranked else 0,
        "max_sustained": highest,
        "s_above": tuple(map(sum, above)),
        "longest_above_s": tuple(max(lengths, default=0) for lengths in above),
    }
