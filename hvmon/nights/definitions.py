# ruff: noqa: PLR2004 - the limits of a published definition stand in its wording beside its check
"""Published definitions of hypoventilation at night, each by its name, side by side.

Eight definitions applied to the same 232 people gave prevalences from 10.3 to 61.2 %, kappa 0.27 (Ogna2016).
Hiding that disagreement would be the error, so none is preferred here. A definition that asks for a share of
sleep is applied to the share of valid recording, which its numbers say. "Peak" is the sustained maximum.
A definition met by what was recorded is met however short the night; one not met by a short night is not
assessable.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from hvmon.nights.conventions import TC_RUN_S
from hvmon.nights.results import DefinitionResult
from hvmon.vocabulary import Answer, Mark

ADULT: Final = "adults"
CHILD: Final = "children"
NEUROMUSCULAR: Final = "neuromuscular disease"


@dataclass(frozen=True, slots=True)
class Night:
    """What the definitions look at; None where the recording does not give it."""

    valid_s: int
    long_enough: bool
    max_mmhg: float | None
    max_kpa: float | None
    mean_mmhg: float | None
    s_gt_50: int
    s_gt_6p7_kpa: int
    longest_gt_55_s: int
    awake_mmhg: float | None
    rise_mmhg: float | None
    rise_kpa: float | None
    longest_rise_limb_s: int | None
    awake_reason: str | None
    evening_mmhg: float | None
    morning_mmhg: float | None
    spo2_long_enough: bool
    s_below_88: int | None
    pct_below_90: float | None


@dataclass(frozen=True, slots=True)
class Finding:
    """Truth of one limb: True, False or None (not known), with numbers and the reason for None."""

    met: bool | None
    numbers: tuple[tuple[str, float], ...] = ()
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class Definition:
    """One published definition."""

    key: str
    title: str
    population: str
    source: str
    mark: Mark
    check: Callable[[Night], Finding]


def apply_definitions(night: Night) -> tuple[DefinitionResult, ...]:
    """Apply every definition to one night, in the order of `DEFINITIONS`."""
    return tuple(_applied(each, night) for each in DEFINITIONS)


def _applied(definition: Definition, night: Night) -> DefinitionResult:
    finding = definition.check(night)
    answer, reason = Answer.NOT_ASSESSABLE, finding.reason
    if finding.met:
        answer, reason = Answer.MET, None
    elif finding.met is False and night.long_enough:
        answer, reason = Answer.NOT_MET, None
    elif finding.met is False:
        reason = "less than 2 h of valid transcutaneous recording: not being met means nothing"
    return DefinitionResult(
        definition.key,
        definition.title,
        definition.population,
        definition.source,
        definition.mark,
        answer,
        finding.numbers,
        reason,
    )


def _either(*findings: Finding) -> Finding:
    """Met when any limb is met; not known when none is met and one is not known."""
    numbers = tuple(dict(pair for finding in findings for pair in finding.numbers).items())
    if any(finding.met for finding in findings):
        return Finding(True, numbers)
    unknown = [finding.reason for finding in findings if finding.met is None]
    return Finding(None, numbers, unknown[0]) if unknown else Finding(False, numbers)


def _both(*findings: Finding) -> Finding:
    """Met when every limb is met; not met when any is not; otherwise not known."""
    numbers = tuple(dict(pair for finding in findings for pair in finding.numbers).items())
    if any(finding.met is False for finding in findings):
        return Finding(False, numbers)
    unknown = [finding.reason for finding in findings if finding.met is None]
    return Finding(None, numbers, unknown[0]) if unknown else Finding(True, numbers)


def _compared(name: str, value: float | None, met: Callable[[float], bool], reason: str | None) -> Finding:
    """Compare a number that may not be there."""
    if value is None:
        return Finding(None, (), reason or f"{name} is not known")
    return Finding(met(value), ((name, value),))


def _peak(night: Night, met: Callable[[float], bool]) -> Finding:
    return _compared("sustained maximum [mmHg]", night.max_mmhg, met, "no sustained value in this recording")


def _peak_kpa(night: Night, met: Callable[[float], bool]) -> Finding:
    return _compared("sustained maximum [kPa]", night.max_kpa, met, "no sustained value in this recording")


def _rise(night: Night, met: Callable[[float], bool]) -> Finding:
    reason = night.awake_reason or "no sustained value in this recording"
    return _compared("rise over awake supine [mmHg]", night.rise_mmhg, met, reason)


def _share(name: str, seconds: int, night: Night, over_pct: float) -> Finding:
    """Share of valid recording above a limit, strictly over so many percent; needs 2 h valid."""
    if not night.long_enough:
        return Finding(None, (), "less than 2 h of valid transcutaneous recording: no share of the night")
    value = 100.0 * seconds / night.valid_s
    return Finding(value > over_pct, ((name, value),))


def _over_50(night: Night, over_pct: float) -> Finding:
    return _share("share of valid recording above 50 mmHg [%]", night.s_gt_50, night, over_pct)


def _adult_limb_a(night: Night) -> Finding:
    longest = float(night.longest_gt_55_s)
    return Finding(longest >= TC_RUN_S, (("longest run above 55 mmHg [s]", longest),))


def _adult_limb_b(night: Night) -> Finding:
    seconds = None if night.longest_rise_limb_s is None else float(night.longest_rise_limb_s)
    name = "longest run above 50 mmHg and 10 mmHg above awake supine [s]"
    return _compared(name, seconds, lambda longest: longest >= TC_RUN_S, night.awake_reason)


def _gas_rise(night: Night) -> Finding:
    if night.evening_mmhg is None or night.morning_mmhg is None:
        return Finding(None, (), "an evening and a morning blood gas are needed")
    rise = round(night.morning_mmhg - night.evening_mmhg, 6)
    return Finding(rise >= 8.0, (("morning minus evening PCO2 [mmHg]", rise),))


def _with_low_spo2(night: Night) -> Finding:
    if night.s_below_88 is None or night.pct_below_90 is None or not night.spo2_long_enough:
        return Finding(None, (), "less than 2 h of valid saturation beside it")
    numbers = (
        ("below 88 % [s]", float(night.s_below_88)),
        ("share of valid recording below 90 % [%]", night.pct_below_90),
    )
    return Finding(night.s_below_88 >= 3600 or night.pct_below_90 > 30.0, numbers)


DEFINITIONS: Final[tuple[Definition, ...]] = (
    Definition(
        "adult-rule",
        "above 55 mmHg for 10 min, or above 50 mmHg and 10 mmHg above awake supine for 10 min",
        ADULT,
        "Berry2012",
        Mark.SEEN_SECOND_HAND,
        lambda night: _either(_adult_limb_a(night), _adult_limb_b(night)),
    ),
    Definition(
        "adult-limb-a", "above 55 mmHg for 10 min", ADULT, "Berry2012", Mark.SEEN_SECOND_HAND, _adult_limb_a
    ),
    Definition(
        "adult-limb-b",
        "above 50 mmHg and 10 mmHg or more above awake supine, for 10 min",
        ADULT,
        "Berry2012",
        Mark.SEEN_SECOND_HAND,
        _adult_limb_b,
    ),
    Definition(
        "child-rule",
        "above 50 mmHg for more than 25 % of the night",
        CHILD,
        "Withers2023",
        Mark.SEEN,
        lambda night: _over_50(night, 25.0),
    ),
    Definition(
        "child-peak-50",
        "peak above 50 mmHg",
        CHILD,
        "ChildTcCO2221",
        Mark.SEEN,
        lambda night: _peak(night, lambda value: value > 50.0),
    ),
    Definition(
        "child-50-2pct",
        "above 50 mmHg for more than 2 % of the recording",
        CHILD,
        "ChildTcCO2221",
        Mark.SEEN,
        lambda night: _over_50(night, 2.0),
    ),
    Definition(
        "child-rise-10",
        "rise of more than 10 mmHg over the waking value",
        CHILD,
        "ChildTcCO2221",
        Mark.SEEN,
        lambda night: _rise(night, lambda value: value > 10.0),
    ),
    Definition(
        "peak-49",
        "peak of 49 mmHg or more",
        NEUROMUSCULAR,
        "Orlikowski2017",
        Mark.SEEN,
        lambda night: _peak(night, lambda value: value >= 49.0),
    ),
    Definition(
        "peak-6.5-kpa",
        "peak above 6.5 kPa",
        "neuromuscular and chest wall disease",
        "Practice",
        Mark.MEMORY_HIGH,
        lambda night: _peak_kpa(night, lambda value: value > 6.5),
    ),
    Definition(
        "morning-rise-8",
        "PCO2 8 mmHg or more higher in the morning than in the evening",
        ADULT,
        "ACI2012",
        Mark.SEEN_SECOND_HAND,
        _gas_rise,
    ),
    Definition(
        "rise-8",
        "peak rise of 8 mmHg or more",
        ADULT,
        "ACI2012",
        Mark.SEEN_SECOND_HAND,
        lambda night: _rise(night, lambda value: value >= 8.0),
    ),
    Definition(
        "50-half-night",
        "above 50 mmHg for more than half of the night",
        ADULT,
        "ACI2012",
        Mark.SEEN_SECOND_HAND,
        lambda night: _over_50(night, 50.0),
    ),
    Definition(
        "rise-10",
        "rise of 10 mmHg or more over awake",
        "neuromuscular, chest wall disease, obesity hypoventilation",
        "Windisch2018",
        Mark.MEMORY_HIGH,
        lambda night: _rise(night, lambda value: value >= 10.0),
    ),
    Definition(
        "copd-55-or-rise-10",
        "55 mmHg or more, or a rise of 10 mmHg or more; its authors ask for 45 to 50 mmHg by day besides",
        "COPD",
        "Windisch2018",
        Mark.MEMORY_HIGH,
        lambda night: _either(
            _peak(night, lambda value: value >= 55.0), _rise(night, lambda value: value >= 10.0)
        ),
    ),
    Definition(
        "50-with-low-spo2",
        "50 mmHg or more, with saturation below 88 % for 1 h or below 90 % for more than 30 % of the night",
        "chronic respiratory failure",
        "BelgianReimbursement",
        Mark.SEEN,
        lambda night: _both(_peak(night, lambda value: value >= 50.0), _with_low_spo2(night)),
    ),
    Definition(
        "6.7-kpa-quarter",
        "above 6.7 kPa for more than 25 % of the study",
        "cystic fibrosis",
        "CFCentres",
        Mark.SEEN,
        lambda night: _share("share of valid recording above 6.7 kPa [%]", night.s_gt_6p7_kpa, night, 25.0),
    ),
    Definition(
        "6.7-kpa-or-rise-0.9",
        "peak above 6.7 kPa, or a rise of 0.9 kPa or more",
        "cystic fibrosis",
        "CFCentres",
        Mark.SEEN,
        lambda night: _either(
            _peak_kpa(night, lambda value: value > 6.7),
            _compared(
                "rise over awake supine [kPa]", night.rise_kpa, lambda value: value >= 0.9, night.awake_reason
            ),
        ),
    ),
    Definition(
        "peak-7-kpa",
        "peak above 7 kPa",
        "cystic fibrosis",
        "CFCentres",
        Mark.SEEN,
        lambda night: _peak_kpa(night, lambda value: value > 7.0),
    ),
    Definition(
        "peak-7.3-kpa",
        "peak above 7.3 kPa: the adult rule's level without its duration",
        ADULT,
        "Project",
        Mark.MEMORY_MEDIUM,
        lambda night: _peak_kpa(night, lambda value: value > 7.3),
    ),
    Definition(
        "mean-50",
        "mean of 50 mmHg or more",
        "on ventilation",
        "Georges2020",
        Mark.SEEN,
        lambda night: _compared(
            "mean [mmHg]",
            night.mean_mmhg if night.long_enough else None,
            lambda value: value >= 50.0,
            "less than 2 h of valid transcutaneous recording: no mean of the night",
        ),
    ),
)
