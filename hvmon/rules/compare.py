"""A value against a limit, in the value's own unit and as typed, never across a conversion.

45 mmHg is 5.9995 kPa, so a reading of 6.0 kPa is above 45 mmHg but not above 6.0 kPa. A reading is
therefore compared with the limit in the reading's unit. Where the source gives none, the limit (never
the reading) is converted once, rounded to the precision of the reading, and equality is marked.
"""

from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from hvmon.records.base import Pressure
from hvmon.rules.rule import Comparator, Limit
from hvmon.units import STANDARD_ATMOSPHERE_KPA, STANDARD_ATMOSPHERE_MMHG, PressureUnit

_MMHG_PER_KPA = Decimal(str(STANDARD_ATMOSPHERE_MMHG)) / Decimal(str(STANDARD_ATMOSPHERE_KPA))
_LEAST_DECIMALS: dict[str, int] = {PressureUnit.KPA: 1, PressureUnit.MMHG: 0}
"""A kPa value typed without decimals was printed with one."""


@dataclass(frozen=True, slots=True)
class Amount:
    """A number with its unit, as typed or as the exact difference of two typed numbers."""

    value: Decimal
    unit: str

    @classmethod
    def of(cls, pressure: Pressure) -> "Amount":
        """Give the amount of a pressure as typed."""
        return cls(pressure.value, pressure.unit)

    @property
    def decimals(self) -> int:
        """Precision: decimals as typed, at least one for kPa."""
        exponent = self.value.as_tuple().exponent
        typed = -exponent if isinstance(exponent, int) and exponent < 0 else 0
        return max(typed, _LEAST_DECIMALS.get(self.unit, 0))

    def __str__(self) -> str:
        return f"{self.value} {self.unit}".strip()


@dataclass(frozen=True, slots=True)
class Compared:
    """The outcome of one comparison."""

    holds: bool
    at_threshold: bool
    converted: bool
    limit: Decimal
    """The limit as compared, in the unit of the value."""


def holds(value: Decimal, comparator: Comparator, limit: Decimal) -> bool:
    """Say whether ``value comparator limit`` holds; exact."""
    if comparator == Comparator.ABOVE:
        return value > limit
    if comparator == Comparator.AT_LEAST:
        return value >= limit
    return value < limit if comparator == Comparator.BELOW else value <= limit


def converted(value: Decimal, unit: str, to: str, decimals: int) -> Decimal:
    """Convert a pressure once and round half up to a number of decimals.

    Raises
    ------
    ValueError
        The units are not the two pressure units.
    """
    if {unit, to} != {PressureUnit.KPA.value, PressureUnit.MMHG.value}:
        raise ValueError(f"a limit in {unit} cannot be held against a value in {to}")
    exact = value * _MMHG_PER_KPA if to == PressureUnit.MMHG else value / _MMHG_PER_KPA
    return exact.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)


def against(amount: Amount | Pressure, limit: Limit) -> Compared:
    """Hold an amount against a limit; exact in one unit, marked at equality.

    Raises
    ------
    ValueError
        The units cannot be compared.
    """
    given = Amount.of(amount) if isinstance(amount, Pressure) else amount
    if given.unit == limit.unit:
        value = limit.value
    else:
        value = converted(limit.value, limit.unit, given.unit, given.decimals)
    return Compared(
        holds(given.value, limit.comparator, value), given.value == value, given.unit != limit.unit, value
    )


def difference(later: Pressure, earlier: Pressure) -> Amount:
    """Give later less earlier, in the unit of the later; the earlier is converted once if it must be."""
    if later.unit == earlier.unit:
        return Amount(later.value - earlier.value, later.unit)
    decimals = Amount.of(later).decimals
    return Amount(later.value - converted(earlier.value, earlier.unit, later.unit, decimals), later.unit)


def percent_fall(baseline: Pressure, value: Pressure) -> Decimal:
    """Give the fall from a baseline in percent of the baseline, both in one unit, without floats.

    6.5 to 5.2 kPa is exactly 20 percent; in floating point 0.19999999999999998 of it.

    Raises
    ------
    ValueError
        The two are in different units.
    """
    if baseline.unit != value.unit:
        raise ValueError(f"no percent fall from {baseline} to {value}: two units")
    return (baseline.value - value.value) * 100 / baseline.value


def compared_words(amount: Amount | Pressure, limit: Limit, outcome: Compared) -> str:
    """Say how a value stands to a limit, the conversion included."""
    verb = "is" if outcome.holds else "is not"
    shown = f"{amount} {verb} {limit.comparator} {limit.value} {limit.unit}".rstrip()
    if outcome.converted:
        unit = amount.unit
        shown += f" (limit converted once to {outcome.limit} {unit})"
    return f"{shown}, at threshold" if outcome.at_threshold else shown
