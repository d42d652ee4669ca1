"""How the trend was estimated, in tables a statistician accepts and sentences a nurse reads."""

from hvmon.services.headline import chance_words, pressure_words, range_words
from hvmon.services.trends import TrendView
from hvmon.stats.mixture import Estimate
from hvmon.stats.priors import Priors, default_priors
from hvmon.stats.trend import LimitChance, TrendResult
from hvmon.units import PressureUnit

Table = list[dict[str, str]]

MORE_LIKELY = 0.5

MODEL_WORDS = (
    "One usual awake PaCO2 off the ventilator is estimated in continuous time on the logarithm of the "
    "pressure: a level with a damped slope, a day-to-week state, an offset of each sample kind for this "
    "person, an offset on the ventilator, oxygen, and a shrunken response to each settings change with a "
    "four-week time constant. Spread and slope are averaged over a grid; gross errors have a share of their "
    "own. It is a modelled quantity beside the readings, never a conversion of one into another."
)


def _interval(estimate: Estimate, unit: PressureUnit) -> str:
    low_to_high = range_words(estimate.low95, estimate.high95, unit)
    return f"{pressure_words(estimate.median, unit)} (95 %: {low_to_high})"


def _percent(estimate: Estimate | None) -> str:
    if estimate is None:
        return "reference"
    return f"{estimate.median:+.1f} % ({estimate.low95:+.1f} to {estimate.high95:+.1f})"


def answers_table(view: TrendView, unit: PressureUnit) -> Table:
    """Give the answers of the estimate, each with its interval or chance."""
    made = view.estimate
    if made is None:
        return []
    rows = [("Usual level now", _interval(made.level, unit))]
    rows += _rise_rows(made, unit)
    rows += [(f"Chance above {view.limit_words}, now", chance_words(limit.now)) for limit in made.limits]
    rows += [(f"Above {view.limit_words}, ahead", _ahead(limit)) for limit in made.limits]
    rows += [(f"Expected {each.at:%b %Y}", _interval(each.level, unit)) for each in made.forecast]
    rows.append(("From arterial and capillary alone", _blood(made, unit)))
    rows.append(("Without the newest reading", _without(made, unit)))
    return [{"Question": question, "Answer": answer} for question, answer in rows]


def _ahead(limit: LimitChance) -> str:
    """Say when the level may cross a limit; above it already, there is nothing to cross."""
    return "more likely above it already than not" if limit.now > MORE_LIKELY else limit.ahead.in_words


def _rise_rows(made: TrendResult, unit: PressureUnit) -> list[tuple[str, str]]:
    if made.rise is None or not made.enough:
        return [("Rise and slope", made.sufficiency.in_words)]
    slope = made.slope_kpa_per_year
    rows = [
        ("Slope a year", _interval(slope, unit)),
        (f"Chance of a rise since {made.rise.since:%d %b %Y}", chance_words(made.rise.p_rise)),
        (f"Chance of a rise of more than {pressure_words(0.3, unit)}", chance_words(made.rise.p_rise_more)),
    ]
    if made.rise.change_kpa is not None:
        rows.insert(1, (f"Change since {made.rise.since:%d %b %Y}", _interval(made.rise.change_kpa, unit)))
    return rows


def _blood(made: TrendResult, unit: PressureUnit) -> str:
    return "no such reading" if made.blood_only is None else _interval(made.blood_only, unit)


def _without(made: TrendResult, unit: PressureUnit) -> str:
    newest = made.newest
    if newest.without_it is None:
        return newest.why
    ask = f"; ask for a repeat: {newest.why}" if newest.ask_for_repeat else ""
    return _interval(newest.without_it, unit) + ask


def sources_table(made: TrendResult) -> Table:
    """Give what each kind of reading carries of the level, and this person's offset from arterial."""
    return [
        {
            "Kind of reading": each.source,
            "Readings": str(each.n),
            "Share of the level now": f"{100 * each.share:.0f} %",
            "This person's offset from arterial": _percent(each.offset_pct),
        }
        for each in made.sources
    ]


def effects_table(made: TrendResult, unit: PressureUnit) -> Table:
    """Give the modelled effect of each settings change; "not enough to tell" is the usual answer."""
    return [
        {
            "Changed": f"{each.changed_at:%d %b %Y}",
            "Change": each.label,
            "Readings before, after": f"{each.n_before}, {each.n_after}",
            "Modelled effect": "part of the level"
            if each.effect_kpa is None
            else _effect(each.effect_kpa, unit),
            "Chance CO2 is lower": "" if each.p_lower is None else chance_words(each.p_lower),
            "Note": each.note,
        }
        for each in reversed(made.changes)
    ]


def _effect(estimate: Estimate, unit: PressureUnit) -> str:
    shown = pressure_words(estimate.median, unit, signed=True)
    return f"{shown} (95 %: {range_words(estimate.low95, estimate.high95, unit)})"


def doubtful_table(made: TrendResult, unit: PressureUnit) -> Table:
    """Give the readings that are more likely than not gross errors, and those that were not used."""
    rows = [
        {
            "Taken": f"{each.taken_at:%d %b %Y}",
            "Kind": each.source,
            "What": (
                f"chance of a gross error {100 * each.p_gross:.0f} %; "
                f"expected {pressure_words(each.expected_kpa, unit)}"
            ),
        }
        for each in made.readings
        if each.doubtful and each.p_gross is not None
    ]
    rows += [
        {"Taken": f"{each.taken_at:%d %b %Y}", "Kind": each.source, "What": f"not used: {each.reason}"}
        for each in made.refused
    ]
    return rows


def priors_table(priors: Priors | None = None) -> Table:
    """Give every assumption with its value, basis, source and mark."""
    return [
        {
            "Assumption": row.meaning,
            "Value": f"{' / '.join(str(number) for number in row.numbers())} {row.unit}",
            "At 6.5 kPa": row.shown_kpa(),
            "Rests on": row.basis,
            "Source": row.source,
            "Mark": row.mark.value,
        }
        for row in (priors or default_priors())
    ]
