"""Checks on the use of the ventilator over the last four weeks."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from statistics import mean, median

from hvmon.physiology.body_size import PBW_LOWEST_HEIGHT_CM, predicted_body_weight_kg
from hvmon.records.course import NightlyUse
from hvmon.records.dossier import Dossier
from hvmon.records.held import Held
from hvmon.rules.case import ADULT_FROM_YEARS, USE_WINDOW_DAYS, Case, bases
from hvmon.rules.compare import Amount, against, compared_words
from hvmon.rules.finding import Part, all_of, met, not_reached, unclear
from hvmon.rules.rule import Limit, Rule
from hvmon.vocabulary import HeightMethod, LeakKind, NotRecorded, Sex

FEWEST_NIGHTS = 14
"""[nights] of the last 28 with a value; fewer do not answer (Project)."""
_UNINTENDED = (LeakKind.UNINTENTIONAL_MEDIAN, LeakKind.UNINTENTIONAL_MEAN)
_ONE_PLACE = Decimal("0.1")

Value = Callable[[NightlyUse], Decimal | None]


def _nights(case: Case, value: Value, what: str) -> tuple[Held[NightlyUse], ...] | Part:
    given = tuple(held for held in case.recent_use if value(held.record) is not None)
    if len(given) < FEWEST_NIGHTS:
        return unclear(
            f"{what} on {len(given)} of the last {USE_WINDOW_DAYS} nights; {FEWEST_NIGHTS} are needed",
            bases(given, f"{what}, {len(given)} nights"),
        )
    return given


def _values(nights: tuple[Held[NightlyUse], ...], value: Value) -> list[Decimal]:
    return [given for held in nights if (given := value(held.record)) is not None]


def _part(case: Case, nights: tuple[Held[NightlyUse], ...], amount: Amount, limit: Limit, what: str) -> Part:
    outcome = against(amount, limit)
    shown = Amount(amount.value.quantize(_ONE_PLACE), amount.unit)
    span = f"{len(nights)} of the last {USE_WINDOW_DAYS} nights to {nights[-1].record.night_of}"
    missing = USE_WINDOW_DAYS - len(nights)
    return met(
        outcome.holds,
        f"{what} over {span}: {compared_words(shown, limit, outcome)}",
        bases(nights, f"{what}, {len(nights)} nights"),
        unknown=(f"{missing} nights without a value",) if missing else (),
        at_threshold=outcome.at_threshold,
        age_days=case.days_ago(nights[-1].record.night_of),
    )


def hours_a_day(case: Case, rule: Rule) -> Part:
    """Whether average use in 24 h does not reach the goal."""
    nights = _nights(case, _use, "use")
    if isinstance(nights, Part):
        return nights
    amount = Amount(mean(_values(nights, _use)), rule.limit.unit)
    return not_reached(_part(case, nights, amount, rule.limit, "average use"))


def hours_a_night(case: Case, rule: Rule) -> Part:
    """Whether average use at night does not reach the goal; daytime hours are taken off where given."""
    nights = _nights(case, _use, "use")
    if isinstance(nights, Part):
        return nights
    amount = Amount(mean(_values(nights, _night_use)), rule.limit.unit)
    part = not_reached(_part(case, nights, amount, rule.limit, "average use at night"))
    if all(held.record.daytime_h is not None for held in nights):
        return part
    unknown = (*part.unknown, "daytime hours are not told apart on every night")
    return Part(part.answer, part.words, part.basis, unknown, part.at_threshold, part.age_days)


def _use(night: NightlyUse) -> Decimal | None:
    return night.usage_h


def _night_use(night: NightlyUse) -> Decimal | None:
    return night.usage_h - (night.daytime_h or 0)


def _leak(night: NightlyUse) -> Decimal | None:
    return night.leak_l_min if night.leak_kind in _UNINTENDED else None


def leak(case: Case, rule: Rule) -> Part:
    """Median unintended leak; total leak and 95th centiles do not answer."""
    nights = _nights(case, _leak, "unintended leak (median or mean)")
    if isinstance(nights, Part):
        return nights
    kinds = {held.record.leak_kind for held in nights}
    if len(kinds) > 1:
        return unclear("two kinds of leak in the last four weeks: not comparable", bases(nights, "leak"))
    amount = Amount(median(_values(nights, _leak)), rule.limit.unit)
    return _part(case, nights, amount, rule.limit, f"leak ({kinds.pop().value})")


def _events(night: NightlyUse) -> Decimal | None:
    return night.residual_events_per_h


def residual_events(case: Case, rule: Rule) -> Part:
    """Median residual event index as the device reports it."""
    nights = _nights(case, _events, "residual events")
    if isinstance(nights, Part):
        return nights
    amount = Amount(median(_values(nights, _events)), rule.limit.unit)
    part = _part(case, nights, amount, rule.limit, "residual events")
    unknown = (*part.unknown, "devices score events differently; one scored none on the bench")
    return Part(part.answer, part.words, part.basis, unknown, part.at_threshold, part.age_days)


def _volume(night: NightlyUse) -> Decimal | None:
    return night.tidal_volume_ml


def tidal_volume(case: Case, rule: Rule) -> Part:
    """Whether the median tidal volume per kilogram predicted weight is outside the window."""
    weight = predicted_weight_kg(case.dossier, case.today)
    if weight is None:
        return unclear("no predicted weight: it needs sex, and the height of an adult of 140 cm or more")
    nights = _nights(case, _volume, "tidal volume")
    if isinstance(nights, Part):
        return nights
    per_kg = median(_values(nights, _volume)) / weight
    parts = [_part(case, nights, Amount(per_kg, limit.unit), limit, "tidal volume") for limit in rule.limits]
    part = not_reached(all_of(parts))
    unknown = (*part.unknown, "leak makes the device's tidal volume an estimate", *_height_unsure(case))
    return Part(part.answer, part.words, part.basis, unknown, part.at_threshold, part.age_days)


def _height_unsure(case: Case) -> tuple[str, ...]:
    method = case.dossier.person.height_method
    if method == HeightMethod.STANDING:
        return ()
    return (f"predicted weight comes from a height by way of: {method.value}",)


def predicted_weight_kg(dossier: Dossier, day: date) -> Decimal | None:
    """Give the predicted weight [kg] of an adult of known height and sex; None where it has no meaning.

    References
    ----------
    ARDSNet2000.
    """
    person, age = dossier.person, dossier.age_on(day)
    if isinstance(person.height_cm, NotRecorded) or person.sex == Sex.NOT_RECORDED:
        return None
    if age is None or age < ADULT_FROM_YEARS or person.height_cm < Decimal(str(PBW_LOWEST_HEIGHT_CM)):
        return None
    male = person.sex == Sex.MALE
    return Decimal(str(round(predicted_body_weight_kg(float(person.height_cm), male=male), 1)))
