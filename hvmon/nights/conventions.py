"""The named, versioned scoring conventions. Their key stands beside every index that follows from them.

There is no standard rule for a desaturation: with the same 3 % fall, the median index of 845 people ran from
0.4 to 12.9 per hour when only the shortest duration and the longest plateau were changed (DipCriteria2022).
So an index without its convention means nothing, and indices of two conventions never share a trend.

C1, the project's own, built from published pieces. Integer tenths of a percent; second i covers [i, i + 1).

* valid: 50.0 to 100.0, and within 4.0 for each second since the last valid value;
* reference: mean of the highest 20 % (rounded up) of the valid values of the 60 s before, at least 30 of
  them valid, frozen at onset; after an event that a gap ended, never above the highest valid value since;
* onset: no event open and value <= reference - drop (3.0 or 4.0);
* end (a): value >= reference - 1.0;
* end (b), a new fall: value <= regained - drop, where regained is the highest value since the nadir and
  regained >= nadir + drop; the next event opens there with reference = regained;
* end (c): 120 s after onset and neither: a step-down, reported apart, not in the index;
* end (d): more than 10 s without a valid value; end = first second without one;
* end (e): end of recording; end = last valid second + 1;
* counted: ends (a), (b), (d), (e) of events of 10 s or longer; per valid hour of recording.

Two points the wording above leaves open are settled here: when a short bridged gap hides the 120th second,
the event is a step-down at that second; and a second that ends an event opens none, other than by (b).

M1, published (MeanReference120): a fall of 3 (or 4) or more below the mean of the valid values of the 120 s
before, for 10 s or longer. What the restatements do not say is settled here: at least 60 of the 120 s valid,
a running mean, an event is an unbroken run of valid seconds, validity as in C1. The mean sinks with the
dips, so this index saturates in exactly the worst nights; it is shown beside C1, never instead.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

CODE_VERSION: Final = "1"
"""Raised when a change of code changes any field of a result; older stored results are re-scored then."""


class ConventionKey(StrEnum):
    """Keys under which results are stored and printed."""

    C1 = "C1"
    M1 = "M1"
    T1 = "T1"


@dataclass(frozen=True, slots=True)
class Convention:
    """Name and origin of one convention."""

    key: ConventionKey
    name: str
    wording: str
    source: str
    """Key of `hvmon.sources`."""


CONVENTIONS: Final[tuple[Convention, ...]] = (
    Convention(
        ConventionKey.C1,
        "C1: top-fifth reference with re-dips",
        "fall of 3 (or 4) below the mean of the highest fifth of the 60 s before, 10 s or longer, closed by "
        "recovery to within 1, by a new fall, or by a gap; per hour of valid recording",
        "Project",
    ),
    Convention(
        ConventionKey.M1,
        "M1: 120 s mean reference",
        "fall of 3 (or 4) below the mean of the 120 s before, 10 s or longer; per hour of valid recording",
        "MeanReference120",
    ),
    Convention(
        ConventionKey.T1,
        "T1: transcutaneous CO2 summary",
        "15 min after application, recalibration or a change of site left out; 15 to 150 mmHg; steps above "
        "10 mmHg a minute left out; sustained maximum is the highest median of any 60 s",
        "Project",
    ),
)


def convention(key: str) -> Convention:
    """Give the convention of a key.

    Raises
    ------
    KeyError
        No such convention; the message lists those there are.
    """
    for each in CONVENTIONS:
        if each.key == key:
            return each
    raise KeyError(f"convention {key!r} is not known; there are {', '.join(c.key for c in CONVENTIONS)}")


# Every number of the conventions, in tenths and seconds.
LOWEST_SPO2: Final = 500
HIGHEST_SPO2: Final = 1000
SLEW_PER_S: Final = 40
DROPS: Final = (30, 40)
RECOVERY: Final = 10
REFERENCE_S: Final = 60
REFERENCE_LEAST_VALID: Final = 30
REFERENCE_SHARE: Final = 5
"""One in five: the highest 20 %, rounded up."""
STEP_DOWN_S: Final = 120
BRIDGED_GAP_S: Final = 10
SHORTEST_EVENT_S: Final = 10
MEAN_REFERENCE_S: Final = 120
MEAN_LEAST_VALID: Final = 60

BELOW_90: Final = 900
BELOW_88: Final = 880
AT_MOST_88: Final = 880
SUSTAINED_S: Final = 300
DELTA_BLOCK_S: Final = 12

LOWEST_PULSE: Final = 200
HIGHEST_PULSE: Final = 2500
PULSE_RISE: Final = 60
PULSE_SETTLED: Final = 30
"""A rise is over when the pulse has come down by half of 6/min from its peak."""
PULSE_BEFORE_S: Final = 30

LOWEST_TC: Final = 150
HIGHEST_TC: Final = 1500
TC_STEP: Final = 100
"""[0.1 mmHg] largest change within a minute taken as real; 10 mmHg (1.3 kPa)."""
TC_STEP_S: Final = 60
TC_WARM_UP_S: Final = 900
TC_SUSTAINED_S: Final = 60
TC_SUSTAINED_LEAST_VALID: Final = 30
TC_RUN_S: Final = 600

FULL_NIGHT_S: Final = 4 * 3600
SHORT_NIGHT_S: Final = 2 * 3600
