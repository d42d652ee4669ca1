"""What goes with CO2 in one person: settings changes with what else moved, bicarbonate, symptoms.

Slower than the rest of a review, so it is worked out apart and after it.
"""

from dataclasses import dataclass
from datetime import date

from hvmon.services.as_of import end_of_day
from hvmon.services.headline import pressure_words, range_words
from hvmon.services.review import Review
from hvmon.stats.bicarbonate import Corroboration, corroborate
from hvmon.stats.discordance import Discordance, discordances
from hvmon.stats.priors import Priors, default_priors
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.settings_changes import BeforeAfter, ChangeReport, change_reports
from hvmon.stats.symptoms import SymptomAnalysis, analyse, pair_with_model
from hvmon.units import PressureUnit
from hvmon.vocabulary import EventKind, MedicineClass

Table = list[dict[str, str]]
SEED = 1
"""Of the permutations of symptoms; the same record gives the same answer."""

ALKALOSIS_CAUSES = {MedicineClass.DIURETIC, MedicineClass.CORTICOSTEROID}
"""Medicines that raise bicarbonate whatever CO2 does."""


@dataclass(frozen=True)
class Relations:
    """What goes with CO2, with the reasons where nothing can be said."""

    changes: tuple[ChangeReport, ...]
    bicarbonate: Corroboration | None
    """None without an estimate."""
    symptoms: SymptomAnalysis
    symptoms_routine: SymptomAnalysis
    """The same on readings taken as routine only, as a check on sampling because of symptoms."""
    discordances: tuple[Discordance, ...]


def relations(review: Review, *, priors: Priors | None = None) -> Relations:
    """Work out what goes with CO2 for the person of a review, under the service's priors where given."""
    table = priors or default_priors()
    dossier, made = review.dossier, review.trend.estimate
    readings = readings_frame(dossier)
    end = end_of_day(review.today, dossier.person.zone)
    pairs = pair_with_model(dossier.symptom_report, readings, changes_frame(dossier), today=end, priors=table)
    causes = _metabolic_causes(review, review.today)
    return Relations(
        changes=change_reports(dossier, made, priors=table),
        bicarbonate=None if made is None else corroborate(readings, made, metabolic_causes=causes),
        symptoms=analyse(pairs, seed=SEED),
        symptoms_routine=analyse(pairs, seed=SEED, routine_only=True),
        discordances=() if made is None else discordances(made, dossier.symptom_report),
    )


def _metabolic_causes(review: Review, today: date) -> tuple[str, ...]:
    """Name the medicines in use that raise bicarbonate: started and not stopped since."""
    running: dict[MedicineClass, date] = {}
    for held in review.dossier.clinical_event:
        event = held.record
        if event.medicine_class not in ALKALOSIS_CAUSES or event.happened_on > today:
            continue
        if event.kind == EventKind.MEDICINE_STARTED:
            running[event.medicine_class] = event.happened_on
        elif event.kind == EventKind.MEDICINE_STOPPED:
            running.pop(event.medicine_class, None)
    return tuple(f"{name.value} since {day:%d %b %Y}" for name, day in running.items())


def changes_table(found: Relations, unit: PressureUnit) -> Table:
    """Give each settings change, newest first: before and after, the model, what else moved."""
    return [
        {
            "Changed": f"{one.changed_at:%d %b %Y}",
            "Change": one.label,
            "Before and after, like for like": _sides(one, unit),
            "What can be said": _said(one, unit),
            "Moved at the same time": "; ".join(f"{each.what}: {each.detail}" for each in one.confounders)
            or "nothing recorded",
            "Not recorded": "; ".join(one.not_recorded),
            "Note": one.regression_note,
        }
        for one in reversed(found.changes)
    ]


def _said(one: ChangeReport, unit: PressureUnit) -> str:
    effect = one.model_effect.effect_kpa if one.model_effect else None
    if not one.told or effect is None:
        return one.in_words
    shown = pressure_words(effect.median, unit, signed=True)
    return one.told_words(f"{shown} (95 %: {range_words(effect.low95, effect.high95, unit)})")


def _sides(one: ChangeReport, unit: PressureUnit) -> str:
    sides: BeforeAfter | None = one.before_after
    if sides is None:
        return one.no_comparison
    step = pressure_words(sides.difference_kpa, unit, signed=True)
    noise = "beyond noise" if sides.beyond_noise else "within noise"
    few = "" if sides.enough else "; fewer than three on a side"
    return f"{step}, {noise} ({sides.key}; {sides.n_before} before, {sides.n_after} after{few})"


def symptoms_lines(found: Relations) -> tuple[str, ...]:
    """Give one sentence a symptom, then what biases them, then where CO2 and symptoms disagree."""
    lines = [relation.in_words for relation in found.symptoms.relations]
    routine = {one.symptom: one.answer for one in found.symptoms_routine.relations}
    changed = [one.symptom for one in found.symptoms.relations if routine.get(one.symptom) != one.answer]
    if changed:
        lines.append(f"on readings taken as routine only, the answer differs for: {', '.join(changed)}")
    lines += [found.symptoms.note] if found.symptoms.note else []
    return (*lines, *(f"{one.kind}: {one.text}" for one in found.discordances))


def bicarbonate_line(found: Relations) -> str:
    """Give what bicarbonate says of the estimate; it never enters it."""
    one = found.bicarbonate
    if one is None:
        return "Bicarbonate: no estimate to hold it against."
    return f"Bicarbonate {one.answer.value}: {one.reason}."
