"""A stored night as its page shows it: marks of the chart, scores side by side, what two nights share."""

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from hvmon.files.understood import Questions, Understood
from hvmon.nights.comparable import comparable, comparable_tc
from hvmon.nights.patterns import read_patterns
from hvmon.nights.results import DefinitionResult, NightScore, OximetryScore, TcScore
from hvmon.nights.score import Circumstances, score_night
from hvmon.nights.transcutaneous import excluded_seconds
from hvmon.nights.validity import spo2_validity, tc_validity
from hvmon.records.dossier import Dossier
from hvmon.records.held import Held
from hvmon.records.night_signal import MISSING, Int16Array, NightSignal
from hvmon.records.study import NightSummary
from hvmon.rules.packs import Pack
from hvmon.services.drawn_limits import NIGHT_IDS
from hvmon.services.headline import pressure_words
from hvmon.services.nights import NightFacts, OpenedNight, night_files, open_night, save_night
from hvmon.services.outcome import Outcome, attempt
from hvmon.store.store import Store
from hvmon.units import KPA_PER_MMHG, MMHG_PER_KPA, PressureUnit
from hvmon.vocabulary import DriftCorrection

Table = list[dict[str, str]]
FileOutcome = Questions | Understood
"""What reading the file of a night gives: questions first, or the night."""

SHORTEST_SPAN_S = 10
"""[s] shorter stretches without signal are not shaded; scoring bridges them."""

MINUTE_S, HOUR_S = 60, 3600
SPO2_LEVELS = ((90.0, ("OXI-3", "OXI-4", "TGT-11")), (88.0, ("OXI-1", "OXI-2")))
"""[%] the levels below which these rules count time; their limits are minutes and shares."""

DIPS = {"onset_s": pl.Int64, "end_s": pl.Int64, "nadir": pl.Float64, "counted": pl.Boolean}
SPANS = {"lane": pl.String, "from_s": pl.Int64, "to_s": pl.Int64, "what": pl.String}
LEVELS = {"lane": pl.String, "value": pl.Float64, "words": pl.String}


def scored(signal: NightSignal) -> NightScore:
    """Score a night of which nothing but the file is known."""
    return score_night(signal, Circumstances())


def keep_night(
    store: Store,
    store_path: Path,
    person_key: str,
    signal: NightSignal,
    original: bytes,
    facts: NightFacts,
    *,
    request_id: str,
    now: datetime,
) -> Outcome:
    """Store the file, the signal and the summary of a night; the same night again adds nothing."""

    def save() -> tuple[bool, tuple[Held[NightSummary], ...]]:
        saved = save_night(
            store,
            night_files(store_path),
            person_key=person_key,
            signal=signal,
            original=original,
            facts=facts,
            request_id=request_id,
            now=now,
        )
        return saved.added, (saved.held,)

    return attempt(save)


def opened_night(store_path: Path, dossier: Dossier, held: Held[NightSummary]) -> OpenedNight:
    """Read a stored night and score it; a damaged or absent one says so."""
    return open_night(night_files(store_path), dossier, held)


# --- the chart -----------------------------------------------------------------------------------


def dips(score: NightScore) -> pl.DataFrame:
    """Give the events of convention C1 for a fall of 3."""
    rows = [
        {"onset_s": dip.onset_s, "end_s": dip.end_s, "nadir": dip.nadir, "counted": dip.counted}
        for dip in score.dips
    ]
    return pl.DataFrame(rows, schema=DIPS)


def spans(signal: NightSignal) -> pl.DataFrame:
    """Give the stretches without a signal or left out of the scoring, of saturation and of CO2."""
    missing = signal.spo2_tenths == MISSING
    artefact = ~missing & ~spo2_validity(signal.spo2_tenths).valid
    rows = [
        *_runs("spo2", missing, "no saturation signal"),
        *_runs("spo2", artefact, "saturation left out as artefact"),
    ]
    if signal.tcco2_tenths_mmhg is not None:
        rows += _co2_spans(signal, signal.tcco2_tenths_mmhg)
    return pl.DataFrame(rows, schema=SPANS)


def _co2_spans(signal: NightSignal, tenths_mmhg: Int16Array) -> Iterator[dict[str, object]]:
    missing, excluded = tenths_mmhg == MISSING, excluded_seconds(signal)
    artefact = ~missing & ~excluded & ~tc_validity(tenths_mmhg).valid
    yield from _runs("tc", missing & ~excluded, "no transcutaneous signal")
    yield from _runs("tc", excluded, "CO2 left out: warm-up or sensor off")
    yield from _runs("tc", artefact, "CO2 left out as artefact")


def _runs(lane: str, mask: NDArray[np.bool_], what: str) -> Iterator[dict[str, object]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(np.int8), [0]))))
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        if end - start >= SHORTEST_SPAN_S:
            what_s = f"{what}, {end - start} s"
            yield {"lane": lane, "from_s": int(start), "to_s": int(end), "what": what_s}


def levels(pack: Pack) -> pl.DataFrame:
    """Give the limits of the rules in force that have a height on the chart."""
    rows: list[dict[str, object]] = [
        {"lane": "spo2", "value": value, "words": f"{value:.0f} % ({', '.join(found)})"}
        for value, ids in SPO2_LEVELS
        if (found := [rule_id for rule_id in ids if pack.rule(rule_id) is not None])
    ]
    for rule in (rule for rule_id in NIGHT_IDS if (rule := pack.rule(rule_id)) is not None):
        limit = rule.limit
        factor = MMHG_PER_KPA if limit.unit == PressureUnit.KPA else 1.0
        words = f"{rule.id} {limit.comparator} {limit.value} {limit.unit}"
        rows.append({"lane": "tc", "value": float(limit.value) * factor, "words": words})
    return _joined(pl.DataFrame(rows, schema=LEVELS))


def _joined(frame: pl.DataFrame) -> pl.DataFrame:
    """Join the words of limits that fall on one line (within half a mmHg)."""
    by_height = (pl.col("value") * 2).round()
    return (
        frame.group_by("lane", by_height.alias("_"), maintain_order=True)
        .agg(pl.col("value").first(), pl.col("words").str.join(", "))
        .select("lane", "value", "words")
    )


# --- scores side by side -------------------------------------------------------------------------


def _number(value: float | None, unit: str, digits: int = 1) -> str:
    return "not given" if value is None else f"{value:.{digits}f} {unit}".strip()


def _minutes(seconds: int | None) -> str:
    return "not given" if seconds is None else f"{seconds / MINUTE_S:.1f} min"


_SHARED: tuple[tuple[str, str, str], ...] = (
    ("mean", "Mean saturation", "%"),
    ("nadir", "Lowest saturation", "%"),
    ("pct_below_90", "Below 90 %, share of valid time", "%"),
    ("pct_le_88", "At or below 88 %, share of valid time", "%"),
    ("area_below_90_pct_min_per_h", "Area below 90 %", "% min/h"),
    ("delta_index_12s", "Delta index of 12 s", "%"),
    ("pulse_rise_6_per_h", "Pulse rises of 6/min", "/h"),
)


def oximetry_table(score: NightScore) -> Table:
    """Give the saturation scores; indices under both conventions, each by its name."""
    c1, m1 = score.c1, score.m1
    rows = [_row(words, _number(getattr(c1, field), unit), _why(c1, field)) for field, words, unit in _SHARED]
    rows += [
        _row("Longest run at or below 88 %", _minutes(c1.longest_le_88_s), _why(c1, "longest_le_88_s")),
        _row(
            "Runs of 5 min or more at or below 88 %",
            _number(c1.n_runs_le_88_ge_300s, "", 0),
            _why(c1, "nadir"),
        ),
        _row("All time at or below 88 %", _minutes(c1.cumulative_s_le_88), _why(c1, "cumulative_s_le_88")),
        _row("Falls of 3 % per h of recording, C1", _number(c1.odi3_c1, "/h"), _why(c1, "odi3_c1")),
        _row("Falls of 3 % per h of recording, M1", _number(m1.odi3_m1, "/h"), _why(m1, "odi3_m1")),
        _row("Falls of 4 % per h of recording, C1", _number(c1.odi4_c1, "/h"), _why(c1, "odi4_c1")),
        _row("Falls of 4 % per h of recording, M1", _number(m1.odi4_m1, "/h"), _why(m1, "odi4_m1")),
        _row(
            "Falls of 120 s without recovery, C1, not in the index",
            _number(c1.n_stepdown, "", 0),
            _why(c1, "n_stepdown"),
        ),
        _row(
            "Area of the falls of 3 %, C1",
            _number(c1.dip_area_c1_pct_min_per_h, "% min/h"),
            _why(c1, "dip_area_c1_pct_min_per_h"),
        ),
        _row(
            "Valid, of the recording", f"{_minutes(c1.valid_s)} of {_minutes(c1.clock_s)}", c1.adequacy.value
        ),
        _row("Missing", _minutes(c1.missing_s), ""),
        _row("Artefact: range, steps", f"{c1.artefact_range_s} s, {c1.artefact_slew_s} s", ""),
        _row("Averaging of the oximeter, its smallest step", _device(c1), ""),
    ]
    return rows


def _device(score: OximetryScore) -> str:
    """Say what makes indices of two devices unlike."""
    averaging = "not recorded" if score.averaging_s is None else f"{score.averaging_s:g} s"
    step = score.spo2_resolution_tenths
    return f"{averaging}, {'not recorded' if step is None else f'{step / 10:g} %'}"


def _row(what: str, value: str, note: str) -> dict[str, str]:
    return {"Score": what, "Value": value, "Note": note}


def _why(score: OximetryScore, field: str) -> str:
    return score.reason(field) or ""


def co2_table(score: NightScore, unit: PressureUnit) -> Table:
    """Give the transcutaneous summary, uncorrected and corrected for drift side by side."""
    raw, corrected = score.tc_raw, score.tc_corrected
    if raw is None:
        return []
    return [
        {
            "Score": words,
            "Uncorrected": _tc(raw, field, kind, unit),
            "Corrected for drift": "not corrected"
            if corrected is None
            else _tc(corrected, field, kind, unit),
        }
        for field, words, kind in _TC_FIELDS
    ]


_TC_FIELDS: tuple[tuple[str, str, str], ...] = (
    ("tc_awake", "Awake supine", "pressure"),
    ("tc_mean", "Mean", "pressure"),
    ("tc_median", "Median", "pressure"),
    ("tc_max_sustained", "Sustained maximum (60 s)", "pressure"),
    ("tc_rise", "Rise over awake supine", "pressure"),
    ("tc_s_gt_49", "Above 49 mmHg", "time"),
    ("tc_s_gt_50", "Above 50 mmHg", "time"),
    ("tc_pct_gt_50", "Above 50 mmHg, share of valid time", "share"),
    ("tc_longest_gt_50_s", "Longest run above 50 mmHg", "time"),
    ("tc_s_gt_55", "Above 55 mmHg", "time"),
    ("tc_longest_gt_55_s", "Longest run above 55 mmHg", "time"),
    ("valid_s", "Valid", "time"),
    ("missing_s", "Missing", "time"),
    ("excluded_s", "Left out as warm-up or sensor off", "time"),
    ("artefact_range_s", "Artefact: range", "time"),
    ("artefact_slew_s", "Artefact: steps", "time"),
)


def _tc(score: TcScore, field: str, kind: str, unit: PressureUnit) -> str:
    value = getattr(score, field)
    if value is None:
        return score.reason(field) or "not given"
    if kind == "pressure":
        return pressure_words(value * KPA_PER_MMHG, unit)
    return f"{value:.1f} %" if kind == "share" else _minutes(int(value))


def drift_lines(score: NightScore, unit: PressureUnit) -> tuple[str, ...]:
    """Say how CO2 was corrected for drift, and which gases were not used and why."""
    drift = score.drift
    if drift is None:
        return ()
    offsets = ", ".join(
        f"{pressure_words(offset * KPA_PER_MMHG, unit)} at {seconds / HOUR_S:.1f} h"
        for seconds, offset in drift.offsets_mmhg
    )
    how = {
        DriftCorrection.ONE_POINT: f"Corrected by one gas: sensor minus blood {offsets}; slope not known.",
        DriftCorrection.TWO_POINT: f"Corrected between paired gases: sensor minus blood {offsets}.",
    }.get(drift.method, "Not corrected for drift: no paired gas was used.")
    return (how, *drift.refused)


def definitions_table(score: NightScore) -> Table:
    """Give every published definition of night hypoventilation with its answer; none stands for all.

    Corrected for drift, both answers stand side by side, and what was compared is the corrected channel.
    """
    raw, corrected = score.tc_raw, score.tc_corrected
    if raw is None:
        return []
    return [
        {
            "Definition": one.title,
            "For": one.population,
            **_answers(one, raw, corrected),
            "Compared": ", ".join(f"{name} {value:.3g}" for name, value in one.numbers),
            "Why not": one.reason or "",
            "Source": f"{one.source} ({one.mark.value})",
        }
        for one in (corrected or raw).definitions
    ]


def _answers(one: DefinitionResult, raw: TcScore, corrected: TcScore | None) -> dict[str, str]:
    if corrected is None:
        return {"Answer": one.answer.value}
    return {"Uncorrected": raw.definition(one.key).answer.value, "Corrected for drift": one.answer.value}


def pattern_lines(signal: NightSignal, score: NightScore) -> tuple[str, ...]:
    """Give what the shape of the night suggests, each with its numbers."""
    return tuple(
        f"suggests {one.suggests} ({', '.join(f'{name} {value:.3g}' for name, value in one.numbers)})"
        for one in read_patterns(signal, score)
    )


def not_comparable(one: NightScore, other: NightScore) -> tuple[str, ...]:
    """Say why two nights may not be set beside each other; empty when nothing speaks against it."""
    reasons = [comparable(one.c1, other.c1)]
    if one.tc_raw is not None and other.tc_raw is not None:
        reasons.append(comparable_tc(one.tc_raw, other.tc_raw))
    return tuple(reason for reason in reasons if reason)
