"""Which readings another reading confirms: two errors of one size are not credible."""

import numpy as np
from numpy.typing import NDArray

from hvmon.stats.cases import Case
from hvmon.stats.priors import Priors

Z = 1.959963984540054

CONFIRM_DAYS = 90.0
"""[days] how near two agreeing readings must lie to confirm each other; project judgement."""


def confirmed(case: Case, priors: Priors) -> NDArray[np.bool_]:
    """Give which used readings agree with another within 90 days, under the same condition.

    Agreement is within the reference change of the two spreads, after the usual offsets; for unlike sources
    the offsets' uncertainty counts too. A confirmed reading is never taken for a gross error: without this
    a true jump shown by two readings would be put down to two errors.
    """
    n = case.day.size
    logs = np.log(case.kpa)
    mean, spread = np.zeros(n), np.zeros(n)
    for name in set(case.offset) - {"arterial"}:
        of = np.array(case.offset) == name
        mean[of], spread[of] = priors.value(f"offset.{name}.mean"), priors.value(f"offset.{name}.sd")
    noise = np.array([priors.value(f"noise.{name}") for name in case.noise])
    answer = np.zeros(n, dtype=bool)
    kinds, conditions = np.array(case.offset), np.array(case.condition)
    for step in range(1, n):
        near = (case.day[step:] - case.day[:-step]) <= CONFIRM_DAYS
        if not near.any():
            break
        unlike = kinds[step:] != kinds[:-step]
        variance = (
            noise[step:] ** 2 + noise[:-step] ** 2 + unlike * (spread[step:] ** 2 + spread[:-step] ** 2)
        )
        gap = (logs - mean)[step:] - (logs - mean)[:-step]
        agree = near & (np.abs(gap) <= Z * np.sqrt(variance)) & (conditions[step:] == conditions[:-step])
        agree &= case.used[step:] & case.used[:-step]
        answer[step:] |= agree
        answer[:-step] |= agree
    return answer
