"""One person's lines for the meeting: what is said in two minutes, each a few words."""

from collections.abc import Iterator
from statistics import median

from hvmon.records.dossier import Dossier
from hvmon.records.symptoms import SymptomReport
from hvmon.services.headline import Tile, pressure_words, rising_tile
from hvmon.services.review import Review
from hvmon.services.use_summary import UseSummary, use_summary
from hvmon.units import PressureUnit
from hvmon.vocabulary import NotRecorded, Rating

SHOWN_FLAGS = 2
SHOWN_RATINGS = 1


def why_listed(review: Review) -> str:
    """Say why the person is on the list, by rule; never that all is well."""
    raised = [finding for finding in review.met if finding.raised]
    told = [f"{one.rule_id} {one.title}" for one in raised[:SHOWN_FLAGS]]
    more = len(raised) - SHOWN_FLAGS
    told += [f"{more} more"] if more > 0 else []
    return "; ".join(told) or f"No rule met; {len(review.not_assessable)} could not be assessed"


def lines(review: Review, unit: PressureUnit) -> tuple[Tile, ...]:
    """Give the four facts beside the chart."""
    return (
        _co2(review, unit),
        _use(use_summary(review.dossier, today=review.today)),
        Tile("Symptoms, course", symptoms_words(review.dossier), progress_words(review.dossier)),
        _owed(review),
    )


def _co2(review: Review, unit: PressureUnit) -> Tile:
    last = review.compared[0] if review.compared else None
    if last is None or last.difference_kpa is None:
        pair = "no like-for-like pair"
    else:
        pair = f"{pressure_words(last.difference_kpa, unit, signed=True)} like for like, {last.noise}"
    return Tile("CO2", rising_tile(review, unit).words, pair)


def _use(summary: UseSummary) -> Tile:
    named = {line.measure: line for line in summary.lines}
    use, leak = named.get("use"), named.get("leak")
    words = "Use not recorded" if use is None or use.now is None else f"{use.now:.1f} h, {_usual(use.words)}"
    if leak is None or leak.now is None:
        return Tile("Use, leak: 28 nights", words, "leak not recorded")
    return Tile("Use, leak: 28 nights", words, f"leak {leak.now:.0f} L/min, {_usual(leak.words)}")


def _usual(words: str) -> str:
    """Shorten "within own usual range" for a wall."""
    return words.removesuffix(" range").replace("within own usual", "as usual")


def symptoms_words(dossier: Dossier) -> str:
    """Say which ratings went up or down between the last two reports."""
    if not dossier.symptom_report:
        return "Symptoms not recorded"
    if len(dossier.symptom_report) == 1:
        return "One symptom report only"
    before, last = (held.record for held in dossier.symptom_report[-2:])
    steps = [(now - then, f"{rating.value} {then}→{now}") for rating, then, now in _pairs(before, last)]
    moved = sorted((step for step in steps if step[0]), key=lambda step: -abs(step[0]))
    told = ", ".join(words for _, words in moved[:SHOWN_RATINGS])
    more = f" and {len(moved) - SHOWN_RATINGS} more" if len(moved) > SHOWN_RATINGS else ""
    return f"{told}{more}".capitalize() or "Ratings unchanged"


def _pairs(before: SymptomReport, last: SymptomReport) -> Iterator[tuple[Rating, int, int]]:
    for rating in Rating:
        then, now = before.rating(rating), last.rating(rating)
        if then is not None and now is not None:
            yield rating, then, now


def progress_words(dossier: Dossier) -> str:
    """Give the marker of progression: vital capacity or sniff pressure, else weight, first to last."""
    for field, label, unit in (("fvc_l", "FVC", "L"), ("snip_cmh2o", "SNIP", "cmH2O")):
        values = [getattr(held.record, field) for held in dossier.lung_function]
        known = [value for value in values if value is not None]
        if known:
            return (
                f"{label} {known[0]}→{known[-1]} {unit}" if len(known) > 1 else f"{label} {known[0]} {unit}"
            )
    weights = [held.record.weight_kg for held in dossier.weight]
    if not weights:
        return "no lung function or weight recorded"
    return f"weight {weights[0]}→{weights[-1]} kg" if len(weights) > 1 else f"weight {weights[0]} kg"


def _owed(review: Review) -> Tile:
    lines = review.owed_lines
    late = [line for line in lines if line.overdue_days > 0]
    words = f"{len(late)} overdue, {len(lines)} owed"
    if not late:
        return Tile("Owed", words, f"{len(review.not_assessable)} rules not assessable")
    return Tile("Owed", words, f"{late[0].test}, {late[0].overdue_days} d overdue")


def hours_words(dossier: Dossier) -> str:
    """Give hours of use in words for the headline: median of the last four recorded weeks."""
    nights = [float(held.record.usage_h) for held in dossier.nightly_use[-28:]]
    return f"{median(nights):.0f} h a night" if nights else "use not recorded"


def who_words(review: Review) -> str:
    """Give age, group and hours: the second half of the headline."""
    age = review.dossier.age_on(review.today)
    told = "age not known" if age is None else f"{age} y"
    started = review.dossier.person.ventilation_started
    since = "" if isinstance(started, NotRecorded) else f", ventilated since {started:%Y}"
    return f"{told}, {review.dossier.person.diagnosis_group.value}, {hours_words(review.dossier)}{since}"
