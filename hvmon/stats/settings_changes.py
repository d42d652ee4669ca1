"""One settings change: before and after under the same condition, the model's effect, what else moved."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np
import polars as pl

from hvmon.records.dossier import Dossier
from hvmon.records.settings import SettingsChange
from hvmon.stats.answers import ChangeEffect
from hvmon.stats.likeforlike import LikeForLike, reference_change, series_of_frame
from hvmon.stats.priors import Priors
from hvmon.stats.series import readings_frame
from hvmon.stats.trend import TrendResult
from hvmon.vocabulary import EventKind, LeakKind, SampleReason

WINDOW_DAYS = 90
SETTLE_DAYS = 28
"""[days] readings in the first four weeks after a change are not counted as "after"."""

MIN_EACH_SIDE = 3
USE_HOURS = 1.0
"""[h] difference of mean use that is named as a confounder; project judgement."""

LEAK_L_MIN = 8.0
"""[L/min] difference of mean leak that is named as a confounder; project judgement."""

WEIGHT_SHARE = 0.05
"""Share of body weight that is named as a confounder; project judgement."""

SOLVABLE_KPA = 0.7
"""[kPa] below this no ordinary pattern of readings tells an effect in one person (TrendStudy)."""

EVENT_TEXTS = {
    EventKind.INFECTION: "respiratory infection",
    EventKind.ADMISSION: "admission",
    EventKind.ADMISSION_HYPERCAPNIC: "admission with acute hypercapnic failure",
    EventKind.MEDICINE_STARTED: "medicine started",
    EventKind.MEDICINE_STOPPED: "medicine stopped",
    EventKind.OXYGEN_CHANGE: "oxygen changed",
    EventKind.EQUIPMENT: "equipment changed",
}


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """Median of like-for-like readings within 90 days on each side of a change."""

    key: LikeForLike
    n_before: int
    n_after: int
    before_kpa: float
    after_kpa: float
    difference_kpa: float
    beyond_noise: bool
    """Outside the two-sided 95 % reference change of medians of this many readings."""
    enough: bool
    """At least three readings on each side."""
    reading_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Confounder:
    """Something else that moved in the window and may explain a change of CO2."""

    what: str
    detail: str


@dataclass(frozen=True)
class ChangeReport:
    """All that can honestly be said of one settings change."""

    record_id: str
    changed_at: datetime
    label: str
    model_effect: ChangeEffect | None
    before_after: BeforeAfter | None
    no_comparison: str
    """Why there is no before-and-after; empty when there is one."""
    confounders: tuple[Confounder, ...]
    not_recorded: tuple[str, ...]
    """What could not be checked because it was not written down."""
    regression_note: str
    told: bool

    @property
    def in_words(self) -> str:
        """The answer in one sentence; "not enough to tell" is the usual one."""
        if not self.told:
            least = f"{SOLVABLE_KPA} kPa (5 mmHg)"
            return f"not enough to tell; effects below about {least} cannot be told in one person"
        effect = self.model_effect
        assert effect is not None  # noqa: S101 - told needs an effect
        assert effect.effect_kpa is not None  # noqa: S101 - the same
        estimate = effect.effect_kpa
        effect_words = f"{estimate.median:+.1f} kPa ({estimate.low95:+.1f} to {estimate.high95:+.1f})"
        return self.told_words(effect_words)

    def told_words(self, effect: str) -> str:
        """Give the sentence of an effect that is told, around the effect in a unit of display."""
        also = f"; {len(self.confounders)} other things moved at the same time" if self.confounders else ""
        return f"the usual level went with the change by {effect}{also}; this does not say the change did it"


def change_reports(
    dossier: Dossier, result: TrendResult | None, *, priors: Priors
) -> tuple[ChangeReport, ...]:
    """Report every settings change of a person, oldest first.

    Parameters
    ----------
    result
        The trend of the same dossier; None when it was refused.
    """
    readings = readings_frame(dossier)
    effects = {} if result is None else {effect.record_id: effect for effect in result.changes}
    held = sorted(dossier.settings_change, key=lambda each: each.record.changed_at)
    return tuple(
        _report(dossier, readings, each.record_id, each.record, effects.get(each.record_id), priors)
        for each in held
    )


def _report(
    dossier: Dossier,
    readings: pl.DataFrame,
    record_id: str,
    change: SettingsChange,
    effect: ChangeEffect | None,
    priors: Priors,
) -> ChangeReport:
    compared = before_after(readings, change.changed_at, priors=priors)
    found, unknown = confounders(dossier, readings, record_id, change.changed_at)
    return ChangeReport(
        record_id=record_id,
        changed_at=change.changed_at,
        label=change.kind.value if effect is None else effect.label,
        model_effect=effect,
        before_after=None if isinstance(compared, str) else compared,
        no_comparison=compared if isinstance(compared, str) else "",
        confounders=found,
        not_recorded=unknown,
        regression_note=regression_note(readings, change.changed_at),
        told=effect is not None and effect.told,
    )


def _sides(readings: pl.DataFrame, moment: datetime, settle_days: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    window, settle = timedelta(days=WINDOW_DAYS), timedelta(days=settle_days)
    before = readings.filter((pl.col("taken_at") >= moment - window) & (pl.col("taken_at") < moment))
    after = readings.filter(
        (pl.col("taken_at") >= moment + settle) & (pl.col("taken_at") <= moment + settle + window)
    )
    return before, after


def before_after(
    readings: pl.DataFrame,
    changed_at: datetime,
    *,
    priors: Priors | None = None,
    settle_days: int = SETTLE_DAYS,
) -> BeforeAfter | str:
    """Compare medians before and after a change under one condition; the reason when that cannot be done.

    Before: the 90 days up to the moment of the change. After: the 90 days that begin `settle_days` after
    it, so a reading of the same day is never "after". Of several conditions the one with most readings on
    its thinner side is taken.
    """
    before, after = (series_of_frame(side) for side in _sides(readings, changed_at, settle_days))
    shared = [key for key in before if key in after and key.complete]
    if not shared:
        return "no condition was measured on both sides within 90 days"
    key = max(shared, key=lambda each: (min(before[each].height, after[each].height), before[each].height))
    return _compare_sides(key, before[key], after[key], priors)


def _compare_sides(
    key: LikeForLike, before: pl.DataFrame, after: pl.DataFrame, priors: Priors | None
) -> BeforeAfter:
    early, late = float(np.median(before["pco2_kpa"])), float(np.median(after["pco2_kpa"]))
    one = reference_change(key.source, priors=priors).sd_ln / np.sqrt(2)
    spread = one * np.sqrt(1 / before.height + 1 / after.height)
    return BeforeAfter(
        key=key,
        n_before=before.height,
        n_after=after.height,
        before_kpa=early,
        after_kpa=late,
        difference_kpa=late - early,
        beyond_noise=bool(abs(np.log(late / early)) > 1.959963984540054 * spread),
        enough=min(before.height, after.height) >= MIN_EACH_SIDE,
        reading_ids=(*before["record_id"], *after["record_id"]),
    )


def confounders(
    dossier: Dossier, readings: pl.DataFrame, record_id: str, changed_at: datetime
) -> tuple[tuple[Confounder, ...], tuple[str, ...]]:
    """Give what else moved within 90 days on either side, and what was not recorded and so not checked."""
    found: list[Confounder] = []
    unknown: list[str] = []
    found += _other_changes(dossier, record_id, changed_at)
    found += _events(dossier, changed_at)
    found += _sample_kinds(readings, changed_at)
    for name, answer in (
        ("oxygen flow at the readings", _oxygen(readings, changed_at)),
        ("hours of use", _use(dossier, changed_at)),
        ("leak", _leak(dossier, changed_at)),
        ("weight", _weight(dossier, changed_at)),
    ):
        if answer is None:
            unknown.append(name)
        else:
            found += answer
    return tuple(found), tuple(unknown)


def _near(moment: datetime | date, changed_at: datetime) -> bool:
    day = moment.date() if isinstance(moment, datetime) else moment
    return abs((day - changed_at.date()).days) <= WINDOW_DAYS


def _other_changes(dossier: Dossier, record_id: str, changed_at: datetime) -> list[Confounder]:
    return [
        Confounder(
            "another settings change", f"{held.record.kind.value} on {held.record.changed_at:%Y-%m-%d}"
        )
        for held in dossier.settings_change
        if held.record_id != record_id and _near(held.record.changed_at, changed_at)
    ]


def _events(dossier: Dossier, changed_at: datetime) -> list[Confounder]:
    return [
        Confounder(EVENT_TEXTS[held.record.kind], f"{held.record.happened_on} {held.record.detail}".strip())
        for held in dossier.clinical_event
        if held.record.kind in EVENT_TEXTS and _near(held.record.happened_on, changed_at)
    ]


def _sample_kinds(readings: pl.DataFrame, changed_at: datetime) -> list[Confounder]:
    before, after = _sides(readings, changed_at, 0)
    kinds = [sorted(set(side["source"])) for side in (before, after)]
    if not kinds[0] or not kinds[1] or set(kinds[0]) & set(kinds[1]):
        return []
    detail = f"{', '.join(kinds[0])} before, {', '.join(kinds[1])} after; only a pair would tell"
    return [Confounder("kind of sample changed at the same time", detail)]


def _oxygen(readings: pl.DataFrame, changed_at: datetime) -> list[Confounder] | None:
    flows = [side["oxygen_l_min"].drop_nulls() for side in _sides(readings, changed_at, 0)]
    if any(flow.is_empty() for flow in flows):
        return None
    early, late = (float(np.median(flow)) for flow in flows)
    if early == late:
        return []
    return [Confounder("oxygen flow", f"{early:g} L/min before, {late:g} L/min after")]


def _means(values: Sequence[tuple[date, float]], changed_at: datetime) -> tuple[float, float] | None:
    """Mean before and after within the window, None when a side is empty."""
    day = changed_at.date()
    before = [value for when, value in values if 0 < (day - when).days <= WINDOW_DAYS]
    after = [value for when, value in values if 0 <= (when - day).days <= WINDOW_DAYS]
    return (float(np.mean(before)), float(np.mean(after))) if before and after else None


def _use(dossier: Dossier, changed_at: datetime) -> list[Confounder] | None:
    means = _means([(h.record.night_of, float(h.record.usage_h)) for h in dossier.nightly_use], changed_at)
    if means is None:
        return None
    if abs(means[1] - means[0]) < USE_HOURS:
        return []
    return [Confounder("hours of use", f"{means[0]:.1f} h before, {means[1]:.1f} h after")]


def _leak(dossier: Dossier, changed_at: datetime) -> list[Confounder] | None:
    kinds = {held.record.leak_kind for held in dossier.nightly_use} - {LeakKind.NOT_RECORDED}
    known = False
    found = []
    for kind in sorted(kinds):
        values = [
            (held.record.night_of, float(held.record.leak_l_min))
            for held in dossier.nightly_use
            if held.record.leak_kind == kind and held.record.leak_l_min is not None
        ]
        means = _means(values, changed_at)
        known |= means is not None
        if means is not None and abs(means[1] - means[0]) >= LEAK_L_MIN:
            found.append(
                Confounder(f"leak ({kind.value})", f"{means[0]:.0f} before, {means[1]:.0f} L/min after")
            )
    return found if known else None


def _weight(dossier: Dossier, changed_at: datetime) -> list[Confounder] | None:
    means = _means([(h.record.weighed_on, float(h.record.weight_kg)) for h in dossier.weight], changed_at)
    if means is None:
        return None
    if abs(means[1] - means[0]) < WEIGHT_SHARE * means[0]:
        return []
    return [Confounder("weight", f"{means[0]:.0f} kg before, {means[1]:.0f} kg after")]


def regression_note(readings: pl.DataFrame, changed_at: datetime) -> str:
    """Say when the reading before a change was an extreme or was taken because of symptoms; else empty."""
    before = readings.filter(pl.col("taken_at") < changed_at).sort("taken_at")
    if before.is_empty():
        return ""
    last = before.row(-1, named=True)
    alike = before.filter(pl.col("source") == last["source"])
    why = []
    if last["reason"] == SampleReason.SYMPTOM_LED.value:
        why.append("was taken because of symptoms")
    if alike.height >= MIN_EACH_SIDE and last["pco2_kpa"] >= alike["pco2_kpa"].max():
        why.append("was the highest of its kind so far")
    if not why:
        return ""
    return (
        f"the reading before the change {' and '.join(why)}; part of any fall after it is expected without "
        "any effect (regression to the mean)"
    )
