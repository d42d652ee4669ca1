"""Scoring one night: counts from an engine, results made of them in one place."""

from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from typing import Final, Literal, Protocol, cast

import numpy as np

from hvmon.nights import counting
from hvmon.nights.conventions import CODE_VERSION, DELTA_BLOCK_S, FULL_NIGHT_S, SHORT_NIGHT_S, ConventionKey
from hvmon.nights.counting import Counted, OximetryCounts, TcCounts
from hvmon.nights.definitions import Night, apply_definitions
from hvmon.nights.dips import Close, Event, is_counted
from hvmon.nights.drift import DEFAULT_LAG_S, PairedGas, correct_drift
from hvmon.nights.results import Adequacy, Dip, NightScore, OximetryScore, Reasons, ScoreC1, ScoreM1, TcScore
from hvmon.nights.transcutaneous import AwakeSupine, awake_supine, excluded_seconds
from hvmon.nights.validity import BoolArray, tc_validity
from hvmon.records.night_signal import Int16Array, NightSignal
from hvmon.units import KPA_PER_MMHG, MMHG_PER_KPA
from hvmon.vocabulary import DriftCorrection

EngineName = Literal["numpy", "compiled"]

LEVEL_6P7_HUNDREDTHS_KPA: Final = 670
LEVEL_6P7_TENTHS_MMHG: Final = int(LEVEL_6P7_HUNDREDTHS_KPA * MMHG_PER_KPA / 10.0)
"""Strictly above 6.7 kPa (50.25 mmHg) is strictly above 50.2 in whole tenths."""

TC_LEVELS: Final = (490, 500, 550, LEVEL_6P7_TENTHS_MMHG)
TENTHS: Final = 10


class Engine(Protocol):
    """What an engine gives: `hvmon.nights.counting` (numpy) and `hvmon.nights.compiled` (numba)."""

    def count_oximetry(
        self, spo2_tenths: Int16Array, pulse_tenths: Int16Array | None, *, with_events: bool = True
    ) -> Counted:
        """Count saturation and pulse."""
        ...

    def count_tc(self, tc_tenths: Int16Array, excluded: BoolArray, levels: tuple[int, ...]) -> TcCounts:
        """Count transcutaneous CO2."""
        ...


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What the file of a night cannot say.

    Attributes
    ----------
    awake_supine_mmhg : float or None
        Transcutaneous CO2 awake and supine, stated [mmHg].
    gases : tuple of PairedGas
        Blood gases drawn while the sensor was on.
    earlobe_allowed : bool
        Whether earlobe gases may correct the channel.
    lag_s : float
        The sensor shows the blood of this long ago [s].
    evening_pco2_mmhg, morning_pco2_mmhg : float or None
        Blood gases before and after the night [mmHg].
    """

    awake_supine_mmhg: float | None = None
    gases: tuple[PairedGas, ...] = ()
    earlobe_allowed: bool = False
    lag_s: float = DEFAULT_LAG_S
    evening_pco2_mmhg: float | None = None
    morning_pco2_mmhg: float | None = None


NOTHING_KNOWN: Final = Circumstances()


def engine(name: EngineName) -> Engine:
    """Give an engine by name; "compiled" needs the extra `fast`.

    Raises
    ------
    ModuleNotFoundError
        numba is not installed; the message says what to install.
    """
    if name == "numpy":
        return counting
    try:
        return cast("Engine", import_module("hvmon.nights.compiled"))
    except ModuleNotFoundError as error:
        raise ModuleNotFoundError("the compiled engine needs numba: pip install 'hvmon[fast]'") from error


def fastest_engine() -> EngineName:
    """Give "compiled" when numba is installed, otherwise "numpy"; the results are the same."""
    return "numpy" if find_spec("numba") is None else "compiled"


def score_night(
    signal: NightSignal,
    circumstances: Circumstances = NOTHING_KNOWN,
    *,
    engine_name: EngineName = "numpy",
    with_dips: bool = True,
) -> NightScore:
    """Score a night under every convention, side by side.

    Parameters
    ----------
    with_dips : bool
        Whether the single events are wanted, for the chart; an archive does without.

    Raises
    ------
    ModuleNotFoundError
        The compiled engine was asked for and numba is not installed.

    References
    ----------
    Conventions: `hvmon.nights.conventions`. Definitions: `hvmon.nights.definitions`.
    """
    chosen = engine(engine_name)
    counted = chosen.count_oximetry(signal.spo2_tenths, signal.pulse_tenths, with_events=with_dips)
    c1, m1 = _score_c1(signal, counted.counts), _score_m1(signal, counted.counts)
    dips = tuple(_dip(event) for event in counted.events)
    if signal.tcco2_tenths_mmhg is None:
        return NightScore(c1, m1, dips, None, None, None)
    excluded = excluded_seconds(signal)
    raw = _Channel(signal.tcco2_tenths_mmhg, signal.tcco2_hundredths_kpa, DriftCorrection.NONE)
    corrected = correct_drift(
        raw.tenths_mmhg,
        circumstances.gases,
        tcco2_hundredths_kpa=raw.hundredths_kpa,
        usable=~excluded,
        earlobe_allowed=circumstances.earlobe_allowed,
        lag_s=circumstances.lag_s,
    )
    tc_raw = _score_tc(chosen, signal, raw, excluded, circumstances, c1)
    tc_corrected = None
    if corrected.tcco2_tenths_mmhg is not None:
        channel = _Channel(
            corrected.tcco2_tenths_mmhg, corrected.tcco2_hundredths_kpa, corrected.report.method
        )
        tc_corrected = _score_tc(chosen, signal, channel, excluded, circumstances, c1)
    return NightScore(c1, m1, dips, tc_raw, tc_corrected, corrected.report)


def adequacy(valid_s: int) -> Adequacy:
    """Judge the valid seconds: 4 h in full, 2 to 4 h short, below that no indices (Project)."""
    if valid_s == 0:
        return Adequacy.NO_SIGNAL
    if valid_s < SHORT_NIGHT_S:
        return Adequacy.TOO_SHORT
    return Adequacy.SHORT if valid_s < FULL_NIGHT_S else Adequacy.FULL


_CLOSES: Final = tuple(close.name.lower() for close in Close)


def _dip(event: Event) -> Dip:
    return Dip(
        event.onset,
        event.end,
        event.reference_sum / event.reference_n / TENTHS,
        event.nadir / TENTHS,
        _CLOSES[event.close],
        is_counted(event),
    )


_FACTS = (
    "mean",
    "nadir",
    "s_below_90",
    "s_below_88",
    "s_le_88",
    "longest_le_88_s",
    "n_runs_le_88_ge_300s",
    "cumulative_s_le_88",
)
_SHARES = ("pct_below_90", "pct_le_88", "area_below_90_pct_min_per_h", "delta_index_12s")
_EVENTS = {
    ConventionKey.C1: (
        "odi3_c1",
        "odi4_c1",
        "n_dips3_c1",
        "n_dips4_c1",
        "n_stepdown",
        "dip_area_c1_pct_min_per_h",
    ),
    ConventionKey.M1: ("odi3_m1", "odi4_m1", "n_dips3_m1", "n_dips4_m1"),
}


def _score_c1(signal: NightSignal, n: OximetryCounts) -> ScoreC1:
    hours = n.valid_s / 3600.0 or 1.0
    values: dict[str, float | int | None] = {
        "odi3_c1": n.n_dips3_c1 / hours,
        "odi4_c1": n.n_dips4_c1 / hours,
        "n_dips3_c1": n.n_dips3_c1,
        "n_dips4_c1": n.n_dips4_c1,
        "n_stepdown": n.n_stepdown,
        "dip_area_c1_pct_min_per_h": n.dip_area_c1 / (TENTHS * 60.0) / hours,
    }
    fields, reasons = _common(signal, n, ConventionKey.C1, values)
    return ScoreC1(**fields, reasons=reasons)  # type: ignore[arg-type]


def _score_m1(signal: NightSignal, n: OximetryCounts) -> ScoreM1:
    hours = n.valid_s / 3600.0 or 1.0
    values: dict[str, float | int | None] = {
        "odi3_m1": n.n_dips3_m1 / hours,
        "odi4_m1": n.n_dips4_m1 / hours,
        "n_dips3_m1": n.n_dips3_m1,
        "n_dips4_m1": n.n_dips4_m1,
    }
    fields, reasons = _common(signal, n, ConventionKey.M1, values)
    return ScoreM1(**fields, reasons=reasons)  # type: ignore[arg-type]


def _common(
    signal: NightSignal, n: OximetryCounts, key: ConventionKey, events: dict[str, float | int | None]
) -> tuple[dict[str, object], Reasons]:
    """Fields shared by both conventions, with None and a reason wherever a figure would mislead."""
    seconds = n.valid_s or 1
    figures: dict[str, float | int | None] = events | {
        "mean": n.total / (TENTHS * seconds),
        "nadir": n.nadir / TENTHS,
        "s_below_90": n.s_below_90,
        "pct_below_90": 100.0 * n.s_below_90 / seconds,
        "s_below_88": n.s_below_88,
        "s_le_88": n.s_le_88,
        "pct_le_88": 100.0 * n.s_le_88 / seconds,
        "longest_le_88_s": n.longest_le_88_s,
        "n_runs_le_88_ge_300s": n.n_runs_le_88_ge_300s,
        "cumulative_s_le_88": n.s_le_88,
        "area_below_90_pct_min_per_h": n.area_below_90 * 3600.0 / (TENTHS * 60.0) / seconds,
        "delta_index_12s": n.delta_total / (DELTA_BLOCK_S * TENTHS * (n.delta_n or 1)),
        "pulse_rise_6_per_h": n.pulse_rises * 3600.0 / (n.pulse_valid_s or 1),
    }
    reasons = _oximetry_reasons(signal, n, key)
    figures |= dict.fromkeys((name for name, _ in reasons), None)
    described: dict[str, object] = {
        "convention": str(key),
        "code_version": CODE_VERSION,
        "averaging_s": signal.averaging_s,
        "spo2_resolution_tenths": signal.spo2_resolution_tenths,
        "adequacy": adequacy(n.valid_s),
        "clock_s": n.clock_s,
        "valid_s": n.valid_s,
        "missing_s": n.missing_s,
        "artefact_range_s": n.artefact_range_s,
        "artefact_slew_s": n.artefact_slew_s,
        "pulse_valid_s": n.pulse_valid_s,
    }
    return described | figures, reasons


def _oximetry_reasons(signal: NightSignal, n: OximetryCounts, key: ConventionKey) -> Reasons:
    """Why which fields are None, in a fixed order."""
    reasons: dict[str, str] = {}
    judged = adequacy(n.valid_s)
    if judged == Adequacy.NO_SIGNAL:
        reasons |= dict.fromkeys((*_FACTS, *_SHARES, *_EVENTS[key]), "no valid second of saturation")
    elif judged == Adequacy.TOO_SHORT:
        why = f"only {n.valid_s} valid seconds of saturation; {SHORT_NIGHT_S} are the least for an index"
        reasons |= dict.fromkeys((*_SHARES, *_EVENTS[key]), why)
    elif 2 * n.reference_s < n.valid_s:
        why = (
            "a reference of 30 valid seconds in the minute before exists for less than half of the recording"
        )
        reasons |= dict.fromkeys(_EVENTS[key], why)
    if not n.delta_n:
        reasons.setdefault("delta_index_12s", "no two neighbouring blocks of 12 s are without a gap")
    if signal.pulse_tenths is None:
        reasons["pulse_rise_6_per_h"] = "the recording has no pulse"
    elif n.pulse_valid_s < SHORT_NIGHT_S:
        reasons["pulse_rise_6_per_h"] = (
            f"only {n.pulse_valid_s} valid seconds of pulse; {SHORT_NIGHT_S} are the least for an index"
        )
    return tuple(reasons.items())


@dataclass(frozen=True, slots=True)
class _Channel:
    """A transcutaneous channel as recorded or corrected."""

    tenths_mmhg: Int16Array
    hundredths_kpa: Int16Array | None
    correction: DriftCorrection


def _score_tc(
    chosen: Engine,
    signal: NightSignal,
    channel: _Channel,
    excluded: BoolArray,
    circumstances: Circumstances,
    oximetry: OximetryScore,
) -> TcScore:
    awake = awake_supine(signal, channel.tenths_mmhg, excluded, circumstances.awake_supine_mmhg)
    levels = TC_LEVELS if awake.tenths_mmhg is None else (*TC_LEVELS, _rise_level(awake.tenths_mmhg))
    n = chosen.count_tc(channel.tenths_mmhg, excluded, levels)
    night = _night(n, awake, channel, excluded, circumstances, oximetry)
    definitions = apply_definitions(night)
    adult = definitions[0]
    reasons = _tc_reasons(n, awake)
    if adult.reason is not None:
        reasons = (*reasons, ("aasm_sleep_hypoventilation_type", adult.reason))
    nothing = n.valid_s == 0
    knows_awake = awake.tenths_mmhg is not None and not nothing
    return TcScore(
        code_version=CODE_VERSION,
        correction=channel.correction,
        adequacy=adequacy(n.valid_s),
        clock_s=n.clock_s,
        valid_s=n.valid_s,
        missing_s=n.missing_s,
        artefact_range_s=n.artefact_range_s,
        artefact_slew_s=n.artefact_slew_s,
        excluded_s=n.excluded_s,
        tc_awake=night.awake_mmhg,
        tc_awake_source=awake.origin,
        tc_mean=night.mean_mmhg,
        tc_median=None if nothing else n.twice_median / (2.0 * TENTHS),
        tc_max_sustained=night.max_mmhg,
        tc_s_gt_49=None if nothing else n.s_above[0],
        tc_s_gt_50=None if nothing else n.s_above[1],
        tc_s_gt_55=None if nothing else n.s_above[2],
        tc_longest_gt_50_s=None if nothing else n.longest_above_s[1],
        tc_longest_gt_55_s=None if nothing else n.longest_above_s[2],
        tc_pct_gt_50=100.0 * n.s_above[1] / n.valid_s if night.long_enough else None,
        tc_rise=night.rise_mmhg,
        tc_longest_gt_50_and_rise_10_s=n.longest_above_s[-1] if knows_awake else None,
        tc_s_gt_50_and_rise_10=n.s_above[-1] if knows_awake else None,
        aasm_sleep_hypoventilation_type=adult.answer,
        definitions=definitions,
        reasons=reasons,
    )


def _rise_level(awake_tenths: int) -> int:
    """Level [0.1 mmHg] strictly above which a value is above 50 and 10 or more above awake."""
    return max(500, awake_tenths + 99)


def _night(
    n: TcCounts,
    awake: AwakeSupine,
    channel: _Channel,
    excluded: BoolArray,
    circumstances: Circumstances,
    oximetry: OximetryScore,
) -> Night:
    """Gather what the definitions look at."""
    max_mmhg = None if n.max_sustained < 0 else n.max_sustained / TENTHS
    max_kpa, s_gt_6p7_kpa = _in_kpa(n, channel, excluded)
    awake_mmhg = None if awake.tenths_mmhg is None else awake.tenths_mmhg / TENTHS
    rise = None
    if awake.tenths_mmhg is not None and n.max_sustained >= 0:
        rise = (n.max_sustained - awake.tenths_mmhg) / TENTHS
    return Night(
        valid_s=n.valid_s,
        long_enough=n.valid_s >= SHORT_NIGHT_S,
        max_mmhg=max_mmhg,
        max_kpa=max_kpa,
        mean_mmhg=n.total / (TENTHS * n.valid_s) if n.valid_s else None,
        s_gt_50=n.s_above[1],
        s_gt_6p7_kpa=s_gt_6p7_kpa,
        longest_gt_55_s=n.longest_above_s[2],
        awake_mmhg=awake_mmhg,
        rise_mmhg=rise,
        rise_kpa=None if rise is None else round(rise * KPA_PER_MMHG, 6),
        longest_rise_limb_s=None if awake.tenths_mmhg is None else n.longest_above_s[-1],
        awake_reason=awake.reason,
        evening_mmhg=circumstances.evening_pco2_mmhg,
        morning_mmhg=circumstances.morning_pco2_mmhg,
        spo2_long_enough=oximetry.valid_s >= SHORT_NIGHT_S,
        s_below_88=oximetry.s_below_88,
        pct_below_90=oximetry.pct_below_90,
    )


def _in_kpa(n: TcCounts, channel: _Channel, excluded: BoolArray) -> tuple[float | None, int]:
    """Sustained maximum [kPa] and seconds above 6.7 kPa: from the recorded kPa where there are any."""
    if channel.hundredths_kpa is None:
        maximum = None if n.max_sustained < 0 else n.max_sustained / TENTHS * KPA_PER_MMHG
        return maximum, n.s_above[3]
    valid = tc_validity(channel.tenths_mmhg).valid & ~excluded
    highest = counting.highest_sustained(channel.hundredths_kpa, valid)
    above = valid & (channel.hundredths_kpa > LEVEL_6P7_HUNDREDTHS_KPA)
    return None if highest < 0 else highest / 100.0, int(np.count_nonzero(above))


def _tc_reasons(n: TcCounts, awake: AwakeSupine) -> Reasons:
    """Why which fields of a transcutaneous summary are None."""
    reasons: dict[str, str] = {}
    if n.valid_s == 0:
        names = (
            "tc_mean tc_median tc_s_gt_49 tc_s_gt_50 tc_s_gt_55 tc_longest_gt_50_s tc_longest_gt_55_s "
            "tc_longest_gt_50_and_rise_10_s tc_s_gt_50_and_rise_10"
        )
        reasons |= dict.fromkeys(names.split(), "no valid second of transcutaneous CO2 after the warm-up")
    if n.valid_s < SHORT_NIGHT_S:
        reasons["tc_pct_gt_50"] = "less than 2 h of valid transcutaneous recording: no share of the night"
    if n.max_sustained < 0:
        reasons |= dict.fromkeys(("tc_max_sustained", "tc_rise"), "no 60 s with 30 valid seconds")
    if awake.reason is not None:
        names = "tc_awake tc_awake_source tc_rise tc_longest_gt_50_and_rise_10_s tc_s_gt_50_and_rise_10"
        reasons |= dict.fromkeys(names.split(), awake.reason)
    return tuple(reasons.items())
