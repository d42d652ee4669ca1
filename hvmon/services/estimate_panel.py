"""How sure the trend estimate is, in words and numbers, and all that a statistician asks of it."""

from hvmon.services.estimate_words import Table
from hvmon.services.headline import chance_words, pressure_words, range_words
from hvmon.services.packs_in_use import Edits, digest, priors_in_use
from hvmon.services.trends import TrendView
from hvmon.stats.crossing import DRAWS
from hvmon.stats.mixture import Estimate
from hvmon.stats.priors import default_priors
from hvmon.stats.trend import LimitChance, TrendResult
from hvmon.units import PressureUnit

VERBAL = (
    (0.95, "likely"),
    (0.80, "possibly"),
    (0.20, "open either way"),
    (0.05, "rather not"),
    (0.0, "unlikely"),
)
"""Chance from which a word is used; the upper two are the tiers the trend rules ship with."""

VERBAL_NOTE = (
    "Words: likely from 95 %, possibly from 80 %, open either way between, rather not below 20 %, unlikely "
    "below 5 %. The chances hold if the assumptions of the model hold; “unlikely” is not “safe”."
)

EQUATIONS = (
    "ln PCO2_i  = mu + sum_k w_k(t_i) delta_k + u + b_source + g_condition + beta (O2_i - usual O2) + e_i\n"
    "w_k(t)     = 1 - exp(-(t - t_k) / change.days) after settings change k, 0 before\n"
    "usual level = mu + sum_k w_k delta_k               (this is the band and what limits refer to)\n"
    "d mu       = nu dt + walk dW,  d nu = -nu/tau dt + s sqrt(2/tau) dW     (tau = slope.days: damped)\n"
    "u          = day-to-week state, Ornstein-Uhlenbeck with day.sd and day.days\n"
    "e_i        ~ N(0, c^2 r_source^2), a share gross.share of gross errors with gross.variance times it\n"
    "grid       = 4 spreads s of the slope x 3 noise multipliers c, x newest reading right or wrong;\n"
    "             exact Gaussian filter and smoother at each point, answers are mixtures over the grid"
)
"""The model in eight lines, numbers by their name in the table of priors; `docs/trend.md` has all of it."""


def verbal(chance: float) -> str:
    """Give the word for a chance."""
    return next(word for least, word in VERBAL if chance >= least)


def _said(chance: float) -> str:
    return f"{verbal(chance)}, {chance_words(chance)}"


def _interval(estimate: Estimate, unit: PressureUnit) -> str:
    low_to_high = range_words(estimate.low95, estimate.high95, unit)
    return f"{pressure_words(estimate.median, unit)} (95 %: {low_to_high})"


def sure_table(view: TrendView, unit: PressureUnit) -> Table:
    """Give each chance of the estimate in a word and in per cent, and what hangs on the newest reading."""
    made = view.estimate
    if made is None:
        return []
    rows = [row for limit in made.limits for row in _limit_rows(view.limit_words, limit)]
    rows += _rise_rows(made, unit)
    rows += _newest_rows(made, unit)
    rows.append(("Level from arterial and capillary readings alone", _blood(made, unit)))
    return [{"Question": question, "Answer": answer} for question, answer in rows]


def _limit_rows(words: str, limit: LimitChance) -> list[tuple[str, str]]:
    ahead = limit.ahead
    within = ((90, ahead.within_90_days), (180, ahead.within_180_days), (365, ahead.within_365_days))
    rows = [(f"Usual level above {words} now", _said(limit.now))]
    rows += [
        (f"Above {words} at some month-end within {days} days", _said(chance)) for days, chance in within
    ]
    return rows


def _rise_rows(made: TrendResult, unit: PressureUnit) -> list[tuple[str, str]]:
    if made.rise is None or not made.enough:
        return [("Has it risen?", made.sufficiency.in_words)]
    since = f"{made.rise.since:%d %b %Y}"
    return [
        (f"Risen at all since {since}", _said(made.rise.p_rise)),
        (f"Risen by more than {pressure_words(0.3, unit)} since {since}", _said(made.rise.p_rise_more)),
    ]


def _newest_rows(made: TrendResult, unit: PressureUnit) -> list[tuple[str, str]]:
    newest = made.newest
    if newest.without_it is None or newest.difference_kpa is None or newest.p_gross is None:
        return [("Newest reading", newest.why)]
    repeat = f"ASK FOR A REPEAT: {newest.why}" if newest.ask_for_repeat else "no repeat is asked for by this"
    return [
        ("Level with the newest reading taken as right", _interval(newest.with_it, unit)),
        ("Level without it", _interval(newest.without_it, unit)),
        ("It alone moves the level by", pressure_words(newest.difference_kpa, unit, signed=True)),
        ("Is the newest reading a gross error?", f"{_said(newest.p_gross)}; {repeat}"),
    ]


def _blood(made: TrendResult, unit: PressureUnit) -> str:
    return "no such reading" if made.blood_only is None else _interval(made.blood_only, unit)


def readings_table(made: TrendResult, unit: PressureUnit) -> Table:
    """Give every reading, the newest first: used with its weight and chance of a gross error, or why not."""
    rows = [
        (
            each.taken_at,
            {
                "Taken": f"{each.taken_at:%d %b %Y}",
                "Kind": each.source,
                "Reading": pressure_words(each.pco2_kpa, unit),
                "The model expects of it": pressure_words(each.expected_kpa, unit),
                "Weight in the level now": f"{each.weight:+.2f}",
                "Gross error?": "not known" if each.p_gross is None else chance_words(each.p_gross),
                "Used": "used, newest" if each.newest else "used",
            },
        )
        for each in made.readings
    ]
    rows += [
        (
            each.taken_at,
            {
                "Taken": f"{each.taken_at:%d %b %Y}",
                "Kind": each.source,
                "Reading": "",
                "The model expects of it": "",
                "Weight in the level now": "",
                "Gross error?": "",
                "Used": f"NOT used: {each.reason}",
            },
        )
        for each in made.refused
    ]
    return [row for _, row in sorted(rows, key=lambda pair: pair[0], reverse=True)]


def fitted_table(made: TrendResult, unit: PressureUnit) -> Table:
    """Give what the readings said of this person beside the level, each with its 95 % interval."""
    slope = made.slope_ln_per_year
    on, oxygen = made.on_ventilator_kpa, made.reference_oxygen_l_min
    return [
        {"What": what, "Estimate": text}
        for what, text in (
            (
                "slope now, ln kPa a year",
                f"{slope.median:+.3f} (95 %: {slope.low95:+.3f} to {slope.high95:+.3f})",
            ),
            ("slope now, a year", _signed(made.slope_kpa_per_year, unit)),
            ("awake on the ventilator minus off", "no reading tells" if on is None else _signed(on, unit)),
            ("oxygen the level refers to", "not recorded" if oxygen is None else f"{oxygen:g} L/min"),
            ("noise multiplier, posterior mean", f"{made.noise_multiplier:.2f}"),
            ("spread of the slope, posterior mean, ln kPa a year", f"{made.slope_spread:.3f}"),
        )
    ]


def _signed(estimate: Estimate, unit: PressureUnit) -> str:
    middle = pressure_words(estimate.median, unit, signed=True)
    return f"{middle} (95 %: {range_words(estimate.low95, estimate.high95, unit)})"


def provenance_line(made: TrendResult, edits: Edits | None) -> str:
    """Say what is needed to get the same numbers again."""
    shipped = {row.key: row.numbers() for row in default_priors()}
    own = [row.key for row in priors_in_use(edits) if row.numbers() != shipped[row.key]]
    edited = (
        f"{len(own)} edited by this service ({', '.join(own)}; edits {digest(edits)})"
        if own
        else "none edited"
    )
    return (
        f"Model {made.model_version}; priors {made.priors_digest}, {edited}; as of {made.today:%d %b %Y}; "
        f"{made.n} readings used over {made.span_days:.0f} days, {len(made.refused)} not used; chances ahead "
        f"from {DRAWS} simulated paths of fixed seed, so the same record gives the same numbers."
    )
