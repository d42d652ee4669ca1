"""The titration review in words: differential, estimates, acid-base reading, rows of a screen or of paper."""

from collections.abc import Iterable
from decimal import Decimal

import polars as pl

from hvmon.records.dossier import local
from hvmon.rules.differential import CauseWeighed, Differential, Question
from hvmon.services.headline import pressure_words
from hvmon.services.titration import TitrationView
from hvmon.stats.acid_base import (
    GasReading,
    bicarbonate_curves,
    compensation_curves,
    path_frame,
)
from hvmon.stats.body import DeadSpace
from hvmon.stats.figure import Answered, Figure, Refused
from hvmon.stats.guards import OVERVENTILATED_KPA
from hvmon.stats.ventilation import Credibility, GasEstimate, volume_per_actual_kg
from hvmon.units import PressureUnit

Table = list[dict[str, str]]

JOIN = " • "
NOT_GIVEN = "not given"
LOW_WORDS = (
    f" The last value is below {OVERVENTILATED_KPA:g} kPa: over-ventilation is the question (Practice)."
)
PER_KG = "tidal volume per kg predicted weight"
PER_ACTUAL_KG = "tidal volume per kg actual weight"
LOWEST_HEIGHT_CM = Decimal(140)
"""[cm] below it predicted weight is used by decision only (ARDSNet2000 did not look there)."""

WHOLE_UNITS = {"mL", "mL/min", "min", "kg"}
"""Units shown without decimals."""


def refusal_words(answer: object) -> str:
    """Say why something is not given and what it needs; empty when it is given."""
    if not isinstance(answer, Refused):
        return ""
    return f"{answer.reason}. Needed: {answer.needs}" if answer.needs else answer.reason


# --- 1. why is CO2 rising ------------------------------------------------------------------------------


def differential_words(view: TitrationView) -> str:
    """Say which two readings are held against one another, and that a rise may be noise."""
    found = view.differential
    if isinstance(found, Refused):
        return refusal_words(found)
    tail = (
        "" if found.rising else " The last value is not above the one before; the causes stand all the same."
    )
    noise = f" The difference: {view.noise}." if view.noise else ""
    low = LOW_WORDS if found.last.kpa < OVERVENTILATED_KPA else ""
    return f"{found.words}.{noise}{tail}{low}"


def overview_table(view: TitrationView) -> Table:
    """Give one row a question, in the team's order: causes with evidence for, against only, nothing known."""
    found = view.differential
    if isinstance(found, Refused):
        return []
    return [
        {"Question": f"{letter(question)} {question.value}", **_sorted_causes(found, question)}
        for question in Question
    ]


def letter(question: Question) -> str:
    """Give the letter of a question, as its causes carry it."""
    return "ABCDE"[list(Question).index(question)]


def _sorted_causes(found: Differential, question: Question) -> dict[str, str]:
    causes = found.of(question)
    told = {
        "Something speaks for": [one for one in causes if one.support],
        "Only against": [one for one in causes if one.against and not one.support],
        "Nothing recorded either way": [one for one in causes if not one.support and not one.against],
    }
    return {
        head: JOIN.join(f"{one.cause.id} {one.cause.title}" for one in part) for head, part in told.items()
    }


def causes_table(view: TitrationView, question: Question) -> Table:
    """Give every cause under one question: evidence for, against, and what is not recorded."""
    found = view.differential
    if isinstance(found, Refused):
        return []
    return [_cause(one) for one in found.of(question)]


def _cause(one: CauseWeighed) -> dict[str, str]:
    return {
        "Cause": f"{one.cause.id} {one.cause.title}",
        "For": JOIN.join(evidence.words for evidence in one.support),
        "Against": JOIN.join(evidence.words for evidence in one.against),
        "Not recorded": JOIN.join(one.not_recorded),
        "A team looks at": one.cause.team_check,
    }


def basis_table(view: TitrationView) -> Table:
    """Give the records each piece of evidence rests on."""
    found = view.differential
    if isinstance(found, Refused):
        return []
    return [
        {"Cause": one.cause.id, "Side": side, "Evidence": evidence.words, "Rests on": _basis(evidence.basis)}
        for one in found.causes
        for side, part in (("for", one.support), ("against", one.against))
        for evidence in part
        if evidence.basis
    ]


def _basis(on: Iterable[object]) -> str:
    return JOIN.join(dict.fromkeys(str(getattr(one, "words", "")) for one in on))


# --- 2. what machine and gases imply -------------------------------------------------------------------


def figures_table(view: TitrationView) -> Table:
    """Give each estimate of the period, of the last night and of the body, with its SD or its refusal."""
    last, period = view.last_night, view.period
    pairs: list[tuple[str, Answered, Answered | None]] = [
        ("alveolar ventilation", period.alveolar_ventilation, last.alveolar_ventilation if last else None),
        ("minute ventilation", period.minute_ventilation, last.minute_ventilation if last else None),
        (PER_KG, period.volume_per_kg, last.volume_per_kg if last else None),
    ]
    if isinstance(view.body.predicted_weight, Refused) and isinstance(period.minute_ventilation, Figure):
        night = volume_per_actual_kg(last.breathing, view.body) if last else None
        pairs.append((PER_ACTUAL_KG, volume_per_actual_kg(period.breathing, view.body), night))
    reasons = {refusal_words(answer) for _, answer, _ in pairs}
    if len(reasons) == 1 and reasons != {""}:  # one reason for all: said once
        pairs = [(", ".join(name for name, _, _ in pairs), pairs[0][1], pairs[0][2])]
    heads = (
        f"Nights {view.period_start:%d %b} to {view.today:%d %b %Y}",
        last.label.capitalize() if last else "Last night",
    )
    space = view.body.dead_space
    total: Answered = space.total if isinstance(space, DeadSpace) else space
    rows = [(name, answer, _night_words(night, recorded=last is not None)) for name, answer, night in pairs]
    rows += [("dead space with interface", total, ""), ("predicted weight", view.body.predicted_weight, "")]
    return [
        {
            "Figure": name,
            heads[0]: _both(answer),
            heads[1]: night,
            "Taken for granted, or why not given": assumed_words(answer),
        }
        for name, answer, night in rows
    ]


def _both(answer: Answered) -> str:
    """Give value, SD and 95 percent interval in one text."""
    if isinstance(answer, Refused):
        return NOT_GIVEN
    return f"{figure_words(answer)} (95 %: {interval_words(answer)})"


def _night_words(night: Answered | None, *, recorded: bool) -> str:
    if not recorded or night is None:
        return "no night is recorded"
    return f"{NOT_GIVEN}: {night.reason}" if isinstance(night, Refused) else _both(night)


def figure_words(answer: Answered | None) -> str:
    """Give a value with its SD and unit; "not given" for a refusal."""
    if not isinstance(answer, Figure):
        return NOT_GIVEN
    digits = 0 if answer.unit in WHOLE_UNITS else 1
    return f"{answer.value:.{digits}f} ± {answer.sd:.{digits}f} {answer.unit}"


def interval_words(answer: Answered | None) -> str:
    """Give the 95 percent interval of a figure; empty for a refusal."""
    if not isinstance(answer, Figure):
        return ""
    digits = 0 if answer.unit in WHOLE_UNITS else 1
    return f"{answer.low_95:.{digits}f} to {answer.high_95:.{digits}f}"


def assumed_words(answer: Answered) -> str:
    """Give what a figure takes for granted with its sources, or why it is not given."""
    if isinstance(answer, Refused):
        return refusal_words(answer)
    sources = f" ({', '.join(dict.fromkeys(answer.sources))})" if answer.sources else ""
    carried = f"; SD by {answer.carried.value}"
    return f"{'; '.join(dict.fromkeys(answer.assumes))}{sources}{carried}".removeprefix("; ")


def gases_table(view: TitrationView, unit: PressureUnit) -> Table:
    """Give what each gas implies beside the ventilation around it, newest first."""
    held = {one.record_id: one.record for one in view.dossier.blood_gas}
    rows = []
    for one in view.gases:
        gas = held[one.record_id]
        rows.append(
            {
                "Drawn": f"{one.day:%d %b %Y}",
                "Sample": f"{gas.kind.value}, {gas.state.ventilator.value}",
                "PCO2": f"{gas.pco2}" if gas.pco2.unit == unit else pressure_words(one.paco2_kpa, unit),
                "CO2 output implied": _or_reason(one.implied_vco2),
                "CO2 output expected": figure_words(one.expected_vco2),
                "Can it be believed?": _credible(one),
                "Alveolar ventilation at the sample": _or_reason(one.implied_alveolar_ventilation),
            }
        )
    return rows


def _or_reason(answer: Answered) -> str:
    return answer.reason if isinstance(answer, Refused) else figure_words(answer)


def _credible(one: GasEstimate) -> str:
    if isinstance(one.credibility, Credibility):
        return f"{one.credibility.value}: {one.credibility_words}"
    return "not judged"


def start_table(view: TitrationView) -> Table:
    """Give what a what-if starts from: settings, breathing, reading, own past response."""
    base = view.baseline
    if isinstance(base, Refused):
        return []
    breathing = base.breathing
    if isinstance(breathing, Refused):
        shown = f"not used: {breathing.reason}"
    else:
        left = f", {breathing.nights_left_out} left out for leak" if breathing.nights_left_out else ""
        shown = (
            f"{breathing.tidal_volume_ml.value:.0f} mL at {breathing.rate_min.value:.0f} a minute, "
            f"medians of {breathing.nights} nights{left}"
        )
    own = view.own.words if view.own else "nothing that this person's readings tell apart from no response"
    other = base.other_state.words if base.other_state else "none"
    return [
        {"Starts from": "reading", "": base.anchor.words},
        {"Starts from": "reading in the other state", "": other},
        {"Starts from": "settings since", "": f"{base.settings_since:%d %b %Y}"},
        {"Starts from": "breathing shown by the machine", "": shown},
        {"Starts from": "own past response to pressure support", "": own},
    ]


# --- 4. acid-base ---------------------------------------------------------------------------------------


def acid_base_table(view: TitrationView) -> Table:
    """Give the reading of each gas, newest first, with its number on the map."""
    order = dict(acid_base_path(view).select("record_id", "order").rows())
    pairs = zip(view.dossier.blood_gas, view.readings, strict=True)
    rows = []
    for held, read in reversed(list(pairs)):
        gas = held.record
        rows.append(
            {
                "No.": str(order.get(held.record_id, "")),
                "Drawn": f"{local(gas.drawn_at, gas.zone):%d %b %Y}",
                "Sample": f"{gas.kind.value}, {gas.state.ventilator.value}",
                "pH": str(gas.ph),
                "PCO2": str(gas.pco2),
                "Bicarbonate": _bicarbonate(read),
                "Chronicity index": _index(read),
                "Reads as": refusal_words(read) or (read.words if isinstance(read, GasReading) else ""),
            }
        )
    return rows


def _bicarbonate(read: GasReading | Refused) -> str:
    if isinstance(read, Refused):
        return ""
    entered = "" if read.hco3_entered_mmol_l is None else f" (entered {read.hco3_entered_mmol_l:g})"
    return f"{read.hco3_mmol_l:.1f}{entered}"


def _index(read: GasReading | Refused) -> str:
    if isinstance(read, Refused):
        return ""
    return read.chronicity.value if read.index is None else f"{read.index:.2f}"


def acid_base_path(view: TitrationView) -> pl.DataFrame:
    """Give the path of the map: columns of the reading with day, ventilator state and value as entered."""
    held = {one.record_id: one.record for one in view.dossier.blood_gas}
    path = path_frame(view.readings)
    gases = [held[record_id] for record_id in path["record_id"]]
    return path.drop("at").with_columns(
        pl.Series("day", [f"{local(gas.drawn_at, gas.zone):%d %b %Y}" for gas in gases], dtype=pl.String),
        pl.Series("ventilator", [gas.state.ventilator.value for gas in gases], dtype=pl.String),
        pl.Series("entered", [str(gas.pco2) for gas in gases], dtype=pl.String),
    )


def acid_base_curves() -> tuple[pl.DataFrame, pl.DataFrame]:
    """Give the acute and chronic lines with their bands, and the lines of equal bicarbonate."""
    return compensation_curves(), bicarbonate_curves()


def plans_table(view: TitrationView, unit: PressureUnit) -> Table:
    """Give the planned changes that are still open, newest first."""
    return [
        {
            "Planned": f"{local(plan.planned_at, plan.zone):%d %b %Y}, {plan.planned_by}",
            "Change": plan.proposal,
            "Why": plan.why,
            "Expected then": ""
            if plan.expected_paco2_kpa is None
            else pressure_words(float(plan.expected_paco2_kpa), unit),
            "Owes": f"{plan.owed_test.value} by {plan.owed_by:%d %b %Y}",
        }
        for plan in (held.record for held in view.plans)
    ]


def height_is_short(view: TitrationView) -> bool:
    """Whether predicted weight was refused, or used by decision, for a height below 140 cm."""
    height = view.dossier.person.height_cm
    return isinstance(height, Decimal) and height < LOWEST_HEIGHT_CM
