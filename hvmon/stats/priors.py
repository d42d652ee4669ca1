"""What the CO2 trend model assumes before it sees a reading: one row a quantity, each with its origin.

All values are on the log scale of PaCO2 unless the unit says otherwise: 0.01 is about one per cent.
A service may override rows with a file of its own; `files` parses it, `Priors.override` takes the mapping.
"""

import hashlib
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from hvmon.vocabulary import ChangeKind, Mark

MODEL_VERSION = "trend-1"
"""Version of the equations; raised when the same readings and priors may give another answer."""

REFERENCE_KPA = 6.5
"""[kPa] the level at which a log-scale prior is shown in kPa."""


@dataclass(frozen=True, slots=True)
class Prior:
    """One assumption of the model: its value, what it rests on and how far that was verified."""

    key: str
    value: float | tuple[float, ...]
    unit: str
    meaning: str
    basis: str
    source: str
    mark: Mark

    def numbers(self) -> tuple[float, ...]:
        """Give the value as a tuple, whether it is one number or a grid."""
        return self.value if isinstance(self.value, tuple) else (self.value,)

    def shown_kpa(self) -> str:
        """Give the value in kPa at a level of 6.5 kPa, for log-scale rows; empty for the rest."""
        if not self.unit.startswith("ln"):
            return ""
        return " / ".join(f"{REFERENCE_KPA * number:+.2f}" for number in self.numbers())


LN = "ln kPa"
LN_YEAR = "ln kPa per year"
DAYS = "days"
_HF = "day-to-day variation of healthy people, capillary"
_KERL = "same people on and off the ventilator, night and day"

DEFAULT_ROWS: tuple[Prior, ...] = (
    Prior("noise.arterial", 0.03, LN, "spread of one arterial reading",
          "1.8 % between immediate repeats and about 2.5 % over minutes", "RepeatGas2015", Mark.DERIVED),
    Prior("noise.capillary_earlobe", 0.045, LN, "spread of one earlobe reading",
          "agreement with arterial", "Murphy2006", Mark.DERIVED),
    Prior("noise.capillary_fingertip", 0.06, LN, "spread of one fingertip reading",
          "agreement with arterial, wider than earlobe", "Zavorsky2007Capillary", Mark.JUDGEMENT),
    Prior("noise.venous", 0.09, LN, "spread of one venous reading, stable outpatient",
          "agreement in exacerbations is wider", "LimKelly2010", Mark.JUDGEMENT),
    Prior("noise.tc_earlobe", 0.055, LN, "spread of one transcutaneous earlobe reading",
          "long-term users, 0.28 kPa, and 44 earlobe studies", "Aarrestad2016", Mark.DERIVED),
    Prior("noise.tc_other", 0.08, LN, "spread of one transcutaneous reading off the earlobe",
          "population limits by site", "Conway2019Transcutaneous", Mark.DERIVED),
    Prior("noise.tc_night", 0.07, LN, "spread of a night median, not corrected for drift",
          "drift 0.14 (SD 0.54) kPa per 8 h", "Aarrestad2016", Mark.DERIVED),
    Prior("noise.tc_night_corrected", 0.055, LN, "spread of a night median corrected at both ends",
          "two-point correction cuts the spread by a third", "Berlowitz2011", Mark.DERIVED),
    Prior("offset.capillary_earlobe.mean", 0.015, LN, "earlobe minus arterial, mean",
          "0.087 kPa and 0.25 kPa in two studies", "Murphy2006", Mark.DERIVED),
    Prior("offset.capillary_earlobe.sd", 0.02, LN, "earlobe minus arterial, spread over people",
          "spread of study means", "Zavorsky2007Capillary", Mark.JUDGEMENT),
    Prior("offset.capillary_fingertip.mean", 0.015, LN, "fingertip minus arterial, mean",
          "bias like the earlobe's (2.2 against 1.9 mmHg)", "Zavorsky2007Capillary", Mark.DERIVED),
    Prior("offset.capillary_fingertip.sd", 0.02, LN, "fingertip minus arterial, spread over people",
          "as the earlobe", "Zavorsky2007Capillary", Mark.JUDGEMENT),
    Prior("offset.venous.mean", 0.085, LN, "venous minus arterial, mean",
          "midpoint of the prediction interval of the bias", "Byrne2014", Mark.DERIVED),
    Prior("offset.venous.sd", 0.065, LN, "venous minus arterial, spread over people and sites",
          "prediction interval of the bias", "Byrne2014", Mark.DERIVED),
    Prior("offset.tc_earlobe.mean", 0.0, LN, "transcutaneous earlobe minus arterial, mean",
          "sign not knowable in advance (-0.23 to +0.72 kPa)", "Hazenberg2011", Mark.DERIVED),
    Prior("offset.tc_earlobe.sd", 0.045, LN, "transcutaneous earlobe minus arterial, spread",
          "spread of study means", "Aarrestad2016", Mark.DERIVED),
    Prior("offset.tc_other.mean", 0.06, LN, "transcutaneous off the earlobe minus arterial, mean",
          "chest and forearm read 4 to 5 mmHg high", "TcSettling2020", Mark.DERIVED),
    Prior("offset.tc_other.sd", 0.06, LN, "transcutaneous off the earlobe minus arterial, spread",
          "population limits by site", "Conway2019Transcutaneous", Mark.JUDGEMENT),
    Prior("condition.day_on.mean", -0.08, LN, "awake on the ventilator minus awake off, mean",
          _KERL, "KerlModes2019", Mark.DERIVED),
    Prior("condition.day_on.sd", 0.08, LN, "awake on the ventilator minus awake off, spread",
          _KERL, "KerlModes2019", Mark.JUDGEMENT),
    Prior("condition.night_on.mean", -0.08, LN, "night on the ventilator minus awake off, mean",
          _KERL, "KerlModes2019", Mark.DERIVED),
    Prior("condition.night_on.sd", 0.08, LN, "night on the ventilator minus awake off, spread",
          _KERL, "KerlModes2019", Mark.JUDGEMENT),
    Prior("condition.night_off.mean", 0.08, LN, "night off the ventilator minus awake off, mean",
          "54.8 against 49.3 mmHg without ventilation, shrunken", "KerlModes2019", Mark.DERIVED),
    Prior("condition.night_off.sd", 0.08, LN, "night off the ventilator minus awake off, spread",
          _KERL, "KerlModes2019", Mark.JUDGEMENT),
    Prior("oxygen.mean", 0.01, "ln kPa per L/min", "effect of one litre of oxygen a minute, mean",
          "no source found", "Project", Mark.JUDGEMENT),
    Prior("oxygen.sd", 0.015, "ln kPa per L/min", "effect of one litre of oxygen a minute, spread",
          "no source found", "Project", Mark.JUDGEMENT),
    Prior("level.mean", math.log(6.3), "log of kPa", "usual level before any reading, mean (6.3 kPa)",
          "between starting and treated levels in trials", "Duiverman2020Start", Mark.JUDGEMENT),
    Prior("level.sd", 0.25, LN, "usual level before any reading, spread",
          "wide enough for 3.9 to 10.3 kPa", "Project", Mark.JUDGEMENT),
    Prior("level.walk", 0.04, "ln kPa per root year", "wandering of the usual level beside its slope",
          "no source found", "Project", Mark.JUDGEMENT),
    Prior("day.sd", 0.04, LN, "day-to-week variation about the usual level", _HF, "HardingFraser1987",
          Mark.DERIVED),
    Prior("day.days", 14.0, DAYS, "how long a good or bad spell lasts", "no source found", "Project",
          Mark.JUDGEMENT),
    Prior("slope.days", 365.25, DAYS, "how long a slope lasts before it fades", "a lasting slope runs away",
          "Project", Mark.JUDGEMENT),
    Prior("slope.sd", (0.03, 0.08, 0.18, 0.35), LN_YEAR, "grid: spread of the slope",
          "stable treated Duchenne to fast decline", "DuchenneNight1990", Mark.JUDGEMENT),
    Prior("slope.weight", (0.25, 0.35, 0.25, 0.15), "share", "grid: weight of each slope spread",
          "raise the last ones for a progressive diagnosis", "Project", Mark.JUDGEMENT),
    Prior("slope.weight_progressive", (0.1, 0.25, 0.35, 0.3), "share",
          "grid: the same for a diagnosis known to progress", "motor neurone disease declines in months",
          "Project", Mark.JUDGEMENT),
    Prior("multiplier", (0.8, 1.0, 1.4), "times", "grid: how noisy this person's readings are",
          "spread between sites", "Project", Mark.JUDGEMENT),
    Prior("multiplier.weight", (0.25, 0.5, 0.25), "share", "grid: weight of each noise multiplier",
          "spread between sites", "Project", Mark.JUDGEMENT),
    Prior("change.days", 28.0, DAYS, "time constant of the response to a settings change",
          "most of the response inside 4 to 6 weeks", "KerlModes2019", Mark.JUDGEMENT),
    Prior("change.initiation.mean", -0.13, LN, "effect of starting ventilation, mean",
          "-0.5 to -2.4 kPa in trials and cohorts", "Duiverman2020Start", Mark.DERIVED),
    Prior("change.initiation.sd", 0.12, LN, "effect of starting ventilation, spread",
          "between-person spread after removing noise", "KerlModes2019", Mark.DERIVED),
    Prior("change.escalation.mean", -0.03, LN, "effect of an escalation, mean", "no source found", "Project",
          Mark.JUDGEMENT),
    Prior("change.escalation.sd", 0.07, LN, "effect of an escalation, spread", "no source found", "Project",
          Mark.JUDGEMENT),
    Prior("change.neutral.mean", 0.0, LN, "effect of a neutral change, mean", "no source found", "Project",
          Mark.JUDGEMENT),
    Prior("change.neutral.sd", 0.05, LN, "effect of a neutral change, spread", "no source found", "Project",
          Mark.JUDGEMENT),
    Prior("change.de-escalation.mean", 0.03, LN, "effect of a de-escalation, mean", "no source found",
          "Project", Mark.JUDGEMENT),
    Prior("change.de-escalation.sd", 0.07, LN, "effect of a de-escalation, spread", "no source found",
          "Project", Mark.JUDGEMENT),
    Prior("gross.share", 0.04, "share", "share of readings with a gross error", "simulation", "TrendStudy",
          Mark.COMPUTED),
    Prior("gross.variance", 36.0, "times", "variance of a gross error over that of a reading", "simulation",
          "TrendStudy", Mark.COMPUTED),
)  # fmt: skip

SIGNED = ("mean",)
"""Rows whose key ends so may be negative; every other row must be above zero."""


@dataclass(frozen=True)
class Priors:
    """The table of assumptions, looked up by key."""

    rows: Mapping[str, Prior]

    def __iter__(self) -> Iterator[Prior]:
        """Iterate over the rows in table order."""
        return iter(self.rows.values())

    def value(self, key: str) -> float:
        """Give a single-number row.

        Raises
        ------
        TypeError
            The row is a grid; use `grid`.
        """
        number = self.rows[key].value
        if isinstance(number, tuple):
            raise TypeError(f"prior {key} is a grid of {len(number)} values, not one number")
        return number

    def grid(self, key: str) -> tuple[float, ...]:
        """Give a row as a tuple of numbers."""
        return self.rows[key].numbers()

    def digest(self) -> str:
        """Give twelve hex digits that name exactly these values."""
        text = ";".join(f"{row.key}={row.numbers()!r}" for row in self)
        return hashlib.sha256(text.encode()).hexdigest()[:12]

    def override(self, mapping: Mapping[str, object]) -> "Priors":
        """Give a table with some rows replaced by a service's own values.

        Parameters
        ----------
        mapping
            Keys as in the table, flat (``"noise.arterial": 0.04``) or nested (``{"noise": {"arterial":
            0.04}}``). A value is a number, a list for a grid, or a mapping with ``value`` and, if wanted,
            ``basis`` and ``source``.

        Raises
        ------
        ValueError
            Unknown key, value that is not a number, out of range, or a grid whose weights do not match.
        """
        rows = dict(self.rows)
        for key, given in _flatten(mapping):
            if key not in rows:
                raise ValueError(f"priors: no row {key!r}; accepted are {', '.join(rows)}")
            rows[key] = _overridden(rows[key], given)
        _check_grids(rows)
        return Priors(rows)


def default_priors() -> Priors:
    """Give the table hvmon ships with."""
    return Priors({row.key: row for row in DEFAULT_ROWS})


def change_key(kind: str) -> str:
    """Give the key stem of a settings-change kind, for example ``change.initiation``.

    Raises
    ------
    ValueError
        Not a kind of `hvmon.vocabulary.ChangeKind`.
    """
    return f"change.{ChangeKind(kind).value}"


def _flatten(mapping: Mapping[str, object], stem: str = "") -> Iterator[tuple[str, object]]:
    for key, given in mapping.items():
        full = f"{stem}.{key}" if stem else key
        if isinstance(given, Mapping) and "value" not in given:
            yield from _flatten(given, full)
        else:
            yield full, given


def _overridden(row: Prior, given: object) -> Prior:
    basis, source = "set by this service", "Project"
    if isinstance(given, Mapping):
        unknown = set(given) - {"value", "basis", "source", "before", "n"}
        if unknown:
            raise ValueError(
                f"priors: row {row.key}: unknown field {', '.join(sorted(unknown))}; "
                "accepted are value, basis, source"
            )
        basis, source = str(given.get("basis", basis)), str(given.get("source", source))
        given = given["value"]
    numbers = given if isinstance(given, (list, tuple)) else (given,)
    clean = tuple(_checked_number(row, number) for number in numbers)
    if len(clean) != 1 and not isinstance(row.value, tuple):
        raise ValueError(f"priors: row {row.key} takes one number, {len(clean)} given")
    value = clean if isinstance(row.value, tuple) else clean[0]
    return replace(row, value=value, basis=basis, source=source, mark=Mark.JUDGEMENT)


def _checked_number(row: Prior, number: object) -> float:
    if isinstance(number, bool) or not isinstance(number, (int, float)) or not math.isfinite(number):
        raise ValueError(f"priors: row {row.key}: {number!r} is not a number ({row.unit})")
    if number <= 0 and not row.key.endswith(SIGNED):
        raise ValueError(f"priors: row {row.key}: {number} must be above 0 ({row.unit})")
    if row.key == "gross.share" and number >= 1:
        raise ValueError(f"priors: row {row.key}: {number} must be below 1")
    return float(number)


def _check_grids(rows: Mapping[str, Prior]) -> None:
    pairs = (
        ("slope.sd", "slope.weight"),
        ("slope.sd", "slope.weight_progressive"),
        ("multiplier", "multiplier.weight"),
    )
    for values, weights in pairs:
        if len(rows[values].numbers()) != len(rows[weights].numbers()):
            raise ValueError(
                f"priors: {values} has {len(rows[values].numbers())} values but {weights} has "
                f"{len(rows[weights].numbers())}; give as many weights as values"
            )
