"""What the scoring of a night gives. Field names carry the rule; None always has a reason beside it.

Indices are per hour of valid recording, never "of sleep": sleep is not known without staging.
"""

from dataclasses import dataclass
from enum import StrEnum

from hvmon.vocabulary import Answer, DriftCorrection, Mark

Reasons = tuple[tuple[str, str], ...]
"""Pairs of field name and the sentence why it is None."""


class Adequacy(StrEnum):
    """Whether enough of the night is valid for indices (the project's own limits of 2 h and 4 h)."""

    FULL = "4 h or more valid"
    SHORT = "2 to 4 h valid: short, indices with reserve"
    TOO_SHORT = "less than 2 h valid: no indices"
    NO_SIGNAL = "no valid second"


@dataclass(frozen=True, slots=True)
class Dip:
    """One event of convention C1 for a fall of 3, for the chart.

    `onset_s` and `end_s` in seconds from the start of the recording; reference and nadir in percent.
    """

    onset_s: int
    end_s: int
    reference: float
    nadir: float
    close: str
    counted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class OximetryScore:
    """Fields that need no event rule, with what makes two nights comparable."""

    convention: str
    code_version: str
    averaging_s: float | None
    spo2_resolution_tenths: int | None
    adequacy: Adequacy
    clock_s: int
    valid_s: int
    missing_s: int
    artefact_range_s: int
    artefact_slew_s: int
    mean: float | None
    """Time-weighted mean saturation [%]."""
    nadir: float | None
    s_below_90: int | None
    """Seconds strictly below 90 %."""
    pct_below_90: float | None
    """T90: share of valid seconds strictly below 90 % [%]."""
    s_below_88: int | None
    """Seconds strictly below 88 %."""
    s_le_88: int | None
    """Seconds at or below 88 %."""
    pct_le_88: float | None
    longest_le_88_s: int | None
    """Longest unbroken run at or below 88 % [s]: the consecutive reading of "five minutes"."""
    n_runs_le_88_ge_300s: int | None
    cumulative_s_le_88: int | None
    """The cumulative reading of "five minutes at or below 88 %" [s]."""
    area_below_90_pct_min_per_h: float | None
    delta_index_12s: float | None
    """Mean absolute difference between means of neighbouring 12 s blocks [%]."""
    pulse_rise_6_per_h: float | None
    pulse_valid_s: int
    reasons: Reasons

    def reason(self, field: str) -> str | None:
        """Why a field is None, or None when it is not."""
        return dict(self.reasons).get(field)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreC1(OximetryScore):
    """Convention C1."""

    odi3_c1: float | None
    """Events per hour of valid recording, fall of 3 %."""
    odi4_c1: float | None
    n_dips3_c1: int | None
    n_dips4_c1: int | None
    n_stepdown: int | None
    """Falls of 3 % that neither recovered nor fell again within 120 s; not in the index."""
    dip_area_c1_pct_min_per_h: float | None
    """Area of counted events below their reference. Not "hypoxic burden": no airflow is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoreM1(OximetryScore):
    """Convention M1."""

    odi3_m1: float | None
    odi4_m1: float | None
    n_dips3_m1: int | None
    n_dips4_m1: int | None


@dataclass(frozen=True, slots=True)
class DefinitionResult:
    """One published definition of night hypoventilation, applied."""

    key: str
    title: str
    population: str
    source: str
    mark: Mark
    answer: Answer
    numbers: tuple[tuple[str, float], ...]
    """What was compared, by name with unit."""
    reason: str | None
    """Why it is not assessable; None otherwise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TcScore:
    """Summary of a transcutaneous CO2 channel [mmHg, s], warm-up trimmed."""

    code_version: str
    correction: DriftCorrection
    adequacy: Adequacy
    clock_s: int
    valid_s: int
    missing_s: int
    artefact_range_s: int
    artefact_slew_s: int
    excluded_s: int
    """Seconds with a value left out as warm-up or sensor off."""
    tc_awake: float | None
    """Awake supine value, stated or the median of an annotated stretch; never the first value."""
    tc_awake_source: str | None
    tc_mean: float | None
    tc_median: float | None
    tc_max_sustained: float | None
    """Highest median of any 60 s; a raw maximum is an event of the sensor."""
    tc_s_gt_49: int | None
    tc_s_gt_50: int | None
    tc_s_gt_55: int | None
    tc_longest_gt_50_s: int | None
    tc_longest_gt_55_s: int | None
    tc_pct_gt_50: float | None
    """Share of valid recording strictly above 50 mmHg [%]."""
    tc_rise: float | None
    """Sustained maximum minus the awake supine value [mmHg]."""
    tc_longest_gt_50_and_rise_10_s: int | None
    tc_s_gt_50_and_rise_10: int | None
    aasm_sleep_hypoventilation_type: Answer
    """The adult rule; "type" because sleep is not known."""
    definitions: tuple[DefinitionResult, ...]
    reasons: Reasons

    def reason(self, field: str) -> str | None:
        """Why a field is None or not assessable, or None when it is neither."""
        return dict(self.reasons).get(field)

    def definition(self, key: str) -> DefinitionResult:
        """Give the result of one definition by its key.

        Raises
        ------
        KeyError
            No definition has this key.
        """
        return {each.key: each for each in self.definitions}[key]


@dataclass(frozen=True, slots=True)
class DriftReport:
    """How a transcutaneous channel was corrected, and which paired gases were not used."""

    method: DriftCorrection
    offsets_mmhg: tuple[tuple[float, float], ...]
    """Pairs of seconds from the start and offset (transcutaneous minus blood) [mmHg]."""
    residual_slope_mmhg_per_h: float | None
    """None when unknown (no pair, or one)."""
    drift_kpa_per_8h: float | None
    refused: tuple[str, ...]
    """A sentence for each gas not used."""


@dataclass(frozen=True, slots=True)
class NightScore:
    """A night under every convention, side by side."""

    c1: ScoreC1
    m1: ScoreM1
    dips: tuple[Dip, ...]
    tc_raw: TcScore | None
    tc_corrected: TcScore | None
    """None when nothing could be corrected."""
    drift: DriftReport | None
