"""All that a statistician asks of a trend estimate: equations, every reading, what was fitted, its origin."""

from hvmon.services.estimate_answers import interval
from hvmon.services.estimate_words import Table
from hvmon.services.headline import chance_words, pressure_words, range_words
from hvmon.services.packs_in_use import Edits, digest, priors_in_use
from hvmon.services.review import Review
from hvmon.stats.crossing import DRAWS
from hvmon.stats.likeforlike import NotComparable
from hvmon.stats.priors import default_priors
from hvmon.stats.second_opinions import SecondOpinion
from hvmon.stats.trend import TrendResult
from hvmon.units import PressureUnit

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


COVERAGE = (
    "Tried on 2,000 invented people a case: when the model holds, 95 % intervals of level, slope, change and "
    "forecast covered 95 to 96 %; with more noise, wrong offsets, gross errors or a late bend at least 93 %. "
    "A bend of the last months is seen late: 80 % intervals then covered 68 to 75 %. The flag “likely” for a "
    "rise was false in 1 % of stable people at one look, in about 4 % over a year of looks. This shows that "
    "the machinery is right, not that the assumptions fit patients."
)
"""What `docs/studies/trend_coverage.py` and `trend_detection.py` found; tables in `docs/trend.md`."""


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
            ("slope now, a year", interval(made.slope_kpa_per_year, unit, signed=True)),
            (
                "awake on the ventilator minus off",
                "no reading tells" if on is None else interval(on, unit, signed=True),
            ),
            ("oxygen the level refers to", "not recorded" if oxygen is None else f"{oxygen:g} L/min"),
            ("noise multiplier, posterior mean", f"{made.noise_multiplier:.2f}"),
            ("spread of the slope, posterior mean, ln kPa a year", f"{made.slope_spread:.3f}"),
        )
    ]


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


def opinions_table(review: Review, unit: PressureUnit) -> Table:
    """Give what each older method says of the like-for-like series, with its known weakness beside it."""
    return [
        {"What it says": one.reason, "Known weakness": "not asked"}
        if isinstance(one, NotComparable)
        else {"What it says": _opinion_words(one, unit), "Known weakness": one.weakness}
        for one in review.opinions
    ]


def _opinion_words(one: SecondOpinion, unit: PressureUnit) -> str:
    if one.estimate is None or one.low is None or one.high is None:
        return one.in_words
    slope = pressure_words(one.estimate, unit, signed=True)
    return f"{one.verdict}; {slope} a year ({range_words(one.low, one.high, unit)})"
