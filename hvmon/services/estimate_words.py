"""How the trend was estimated, in tables a statistician accepts and sentences a nurse reads."""

from hvmon.services.headline import chance_words, pressure_words, range_words
from hvmon.stats.mixture import Estimate
from hvmon.stats.priors import Priors, default_priors
from hvmon.stats.trend import TrendResult
from hvmon.units import PressureUnit

Table = list[dict[str, str]]

MODEL_WORDS = (
    "One usual awake PaCO2 off the ventilator is estimated in continuous time on the logarithm of the "
    "pressure: a level with a damped slope, a day-to-week state, an offset of each sample kind for this "
    "person, an offset on the ventilator, oxygen, and a shrunken response to each settings change with a "
    "four-week time constant. Spread and slope are averaged over a grid; gross errors have a share of their "
    "own. It is a modelled quantity beside the readings, never a conversion of one into another."
)


def _percent(estimate: Estimate | None) -> str:
    if estimate is None:
        return "reference"
    return f"{estimate.median:+.1f} % ({estimate.low95:+.1f} to {estimate.high95:+.1f})"


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
