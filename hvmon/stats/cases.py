"""From frames to the numbers the model needs: one `Case` a person, and what was refused and why."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from hvmon.stats.likeforlike import SOURCE_KEYS
from hvmon.stats.series import REQUIRED_READING_COLUMNS, TC_NIGHT
from hvmon.vocabulary import ChangeKind, SensorSite, VentilatorState

PLAUSIBLE_KPA = (1.5, 25.0)
"""[kPa] a reading outside cannot be a person's PCO2 and is refused; the entry check is narrower."""

RELIABILITY = (
    "arterial",
    "capillary_earlobe",
    "tc_night_corrected",
    "tc_earlobe",
    "capillary_fingertip",
    "tc_night",
    "tc_other",
    "venous",
)
"""Noise rows from least to most spread: of readings at one instant the first kind counts as the newest."""

SECONDS_PER_DAY = 86400.0
DAYS_PER_YEAR = 365.25

END_TIDAL_REFUSAL = (
    "end-tidal CO2 does not stand for PaCO2: arterial minus end-tidal 14.7 mmHg with limits of -6.6 to 36.1 "
    "during ventilation, and even changes differ by 17 mmHg (NasoBuccal2014); shown as context only"
)
FINGERTIP_PO2_REFUSAL = (
    "fingertip PO2 does not stand for PaO2: bias 11.5 mmHg, r2 0.48 (Zavorsky2007Capillary)"
)
EARLOBE_PO2_CAUTION = (
    "earlobe PO2 is at most 'at least this much': PaO2 is 5.99 (SD 6.05) mmHg higher (Magnet2017Capillary)"
)
VENOUS_PO2_REFUSAL = "venous PO2 says nothing of PaO2: 36.9 mmHg lower on average (Byrne2014)"


@dataclass(frozen=True, slots=True)
class RefusedReading:
    """A reading the estimate did not use, and why."""

    record_id: str
    taken_at: datetime
    source: str
    reason: str


@dataclass(frozen=True, slots=True)
class PO2Use:
    """Whether the PO2 of a source may be read as PaO2, and why not."""

    accepted: bool
    reason: str


@dataclass(frozen=True)
class Case:
    """One person's usable readings in order of time; days are counted from the first reading."""

    ids: tuple[str, ...]
    origin: datetime
    day: NDArray[np.float64]
    kpa: NDArray[np.float64]
    source: tuple[str, ...]
    condition: tuple[str, ...]
    """off, day_on, night_on, night_off, unknown."""
    offset: tuple[str, ...]
    """Name of the source offset; "arterial" has none."""
    noise: tuple[str, ...]
    """Name of the noise row in the priors."""
    oxygen: NDArray[np.float64]
    """[L/min] flow minus the reference flow; NaN when not recorded."""
    reference_oxygen_l_min: float | None
    change_ids: tuple[str, ...]
    change_day: NDArray[np.float64]
    change_kind: tuple[str, ...]
    change_label: tuple[str, ...]
    today: float
    review: float | None
    used: NDArray[np.bool_]
    """Which readings this run uses."""
    newest: NDArray[np.bool_]
    """The newest reading; of several at one instant the one of least spread."""
    progressive: bool = False
    with_day: bool = False
    """Ask for the CO2 of the day (level plus day-to-week state) instead of the usual level."""
    newest_wrong: bool = False
    """Suppose the newest reading is a gross error; both suppositions are kept, each with its chance."""

    def moment(self, day: float) -> datetime:
        """Give the moment of a day count."""
        return self.origin + timedelta(days=float(day))

    def supposing_newest_wrong(self) -> "Case":
        """Give the same case on the supposition that the newest reading is a gross error."""
        return replace(self, newest_wrong=True)

    def of_the_day(self) -> "Case":
        """Give the same case asking for the CO2 of the day: what explains a reading or a symptom."""
        return replace(self, with_day=True)

    def using(self, used: NDArray[np.bool_]) -> "Case":
        """Give the same case with only some readings in use."""
        return replace(self, used=used)


def po2_use(source: str) -> PO2Use:
    """Say whether a PO2 of this source may be read as PaO2, with the reason when not."""
    if source == "arterial":
        return PO2Use(True, "")
    reasons = {
        "capillary fingertip": FINGERTIP_PO2_REFUSAL,
        "capillary earlobe": EARLOBE_PO2_CAUTION,
        "venous": VENOUS_PO2_REFUSAL,
    }
    return PO2Use(False, reasons.get(source, f"{source} gives no PO2 of blood"))


def make_case(
    readings: pl.DataFrame,
    changes: pl.DataFrame,
    *,
    today: datetime,
    review: datetime | None = None,
    birth_date: date | None = None,
    progressive: bool = False,
) -> tuple[Case | None, tuple[RefusedReading, ...]]:
    """Sort, check and encode one person's readings.

    Parameters
    ----------
    readings, changes
        Frames of `hvmon.stats.series`; order does not matter.
    today
        Moment of "now"; later readings are refused by name.
    review
        Moment since which a rise is asked for; None takes one year before `today`.
    birth_date
        Readings before it are refused by name.
    progressive
        A diagnosis known to progress; gives fast slopes more weight.

    Returns
    -------
    tuple
        The case, None when no reading is usable, and every refused reading with its reason.

    Raises
    ------
    ValueError
        A required column is missing.
    """
    _check_columns(readings)
    rows = readings.sort("taken_at", maintain_order=True).to_dicts()
    reasons = [_refusal(row, today, birth_date) for row in rows]
    refused = tuple(
        RefusedReading(row["record_id"], row["taken_at"], row["source"], reason)
        for row, reason in zip(rows, reasons, strict=True)
        if reason is not None
    )
    usable = [row for row, reason in zip(rows, reasons, strict=True) if reason is None]
    if not usable:
        return None, refused
    usable.sort(key=lambda row: (row["taken_at"], -RELIABILITY.index(_noise_name(row)), row["record_id"]))
    return _encode(usable, _known_changes(changes, today), today, review, progressive), refused


def _check_columns(readings: pl.DataFrame) -> None:
    missing = [name for name in REQUIRED_READING_COLUMNS if name not in readings.columns]
    if missing:
        raise ValueError(
            f"readings frame lacks {', '.join(missing)}; required are {', '.join(REQUIRED_READING_COLUMNS)}"
        )


def _refusal(row: Mapping[str, object], today: datetime, birth_date: date | None) -> str | None:
    """Give why a reading may not enter the trend; None when it may."""
    if row.get("refusal") is not None:
        return str(row["refusal"])
    return _source_refusal(str(row["source"]), row["pco2_kpa"]) or _date_refusal(
        row["taken_at"], today, birth_date
    )


def _source_refusal(source: str, kpa: object) -> str | None:
    low, high = PLAUSIBLE_KPA
    if source.startswith("end-tidal"):
        return END_TIDAL_REFUSAL
    if source not in SOURCE_KEYS:
        return f"source {source!r} is not one the trend knows: {', '.join(SOURCE_KEYS)}"
    if not isinstance(kpa, float) or not low <= kpa <= high:
        return f"PCO2 {kpa} kPa is outside {low:g} to {high:g} kPa; check value and unit"
    return None


def _date_refusal(taken_at: object, today: datetime, birth_date: date | None) -> str | None:
    if not isinstance(taken_at, datetime):
        return "no date"
    if taken_at > today:
        return f"taken after {today:%Y-%m-%d %H:%M} UTC, the moment of the estimate"
    if birth_date is not None and taken_at < datetime.combine(birth_date, time(), UTC):
        return f"dated before the date of birth {birth_date}; check both dates"
    return None


def _known_changes(changes: pl.DataFrame, today: datetime) -> list[dict[str, object]]:
    known = changes.filter(pl.col("changed_at") <= today).sort("changed_at", maintain_order=True)
    return known.to_dicts()


def _days(moment: object, origin: datetime) -> float:
    assert isinstance(moment, datetime)  # noqa: S101 - a Datetime column
    return (moment - origin).total_seconds() / SECONDS_PER_DAY


def _encode(
    rows: Sequence[Mapping[str, object]],
    changes: Sequence[Mapping[str, object]],
    today: datetime,
    review: datetime | None,
    progressive: bool,
) -> Case:
    origin = rows[0]["taken_at"]
    assert isinstance(origin, datetime)  # noqa: S101 - checked by `_refusal`
    day = np.array([_days(row["taken_at"], origin) for row in rows])
    flows = np.array(
        [np.nan if row["oxygen_l_min"] is None else row["oxygen_l_min"] for row in rows], dtype=float
    )
    reference = float(np.nanmedian(flows)) if np.isfinite(flows).any() else None
    now = _days(today, origin)
    asked = now - DAYS_PER_YEAR if review is None else _days(review, origin)
    return Case(
        ids=tuple(str(row["record_id"]) for row in rows),
        origin=origin,
        day=day,
        kpa=np.array([row["pco2_kpa"] for row in rows], dtype=float),
        source=tuple(str(row["source"]) for row in rows),
        condition=tuple(_condition(row) for row in rows),
        offset=tuple(_offset_name(row) for row in rows),
        noise=tuple(_noise_name(row) for row in rows),
        oxygen=flows - (reference or 0.0),
        reference_oxygen_l_min=reference,
        change_ids=tuple(str(change["record_id"]) for change in changes),
        change_day=np.array([_days(change["changed_at"], origin) for change in changes], dtype=float),
        change_kind=tuple(ChangeKind(str(change["kind"])).value for change in changes),
        change_label=tuple(str(change["label"]) for change in changes),
        today=now,
        review=max(asked, 0.0) if asked < now else None,
        used=np.ones(len(rows), dtype=bool),
        newest=np.arange(len(rows)) == len(rows) - 1,
        progressive=progressive,
    )


def _condition(row: Mapping[str, object]) -> str:
    night, state = row["source"] == TC_NIGHT, row["ventilator"]
    if state == VentilatorState.ON.value:
        return "night_on" if night else "day_on"
    if state == VentilatorState.OFF.value:
        return "night_off" if night else "off"
    return "unknown"


def _offset_name(row: Mapping[str, object]) -> str:
    if row["source"] != TC_NIGHT:
        return SOURCE_KEYS[str(row["source"])]
    site = row.get("sensor_site")
    elsewhere = site not in {None, SensorSite.EARLOBE.value, SensorSite.NOT_RECORDED.value}
    return "tc_other" if elsewhere else "tc_earlobe"


def _noise_name(row: Mapping[str, object]) -> str:
    name = SOURCE_KEYS[str(row["source"])]
    if name == "tc_night" and row.get("drift_correction") == "two-point":
        return "tc_night_corrected"
    return name
