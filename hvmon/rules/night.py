"""Checks on night CO2: the newest overnight study, by the definition the rule names."""

from collections.abc import Callable
from decimal import Decimal

from hvmon.records.base import Pressure
from hvmon.records.held import Held
from hvmon.records.study import NightSummary
from hvmon.rules.case import ADULT_FROM_YEARS, LEVEL_HOLDS_DAYS, Case, basis, oxygen_words
from hvmon.rules.compare import Amount, against, compared_words, difference
from hvmon.rules.finding import Part, all_of, any_of, met, unclear
from hvmon.rules.gas import awake_gas, awake_pco2, pco2_part
from hvmon.rules.rule import Ages, Limit, Rule
from hvmon.vocabulary import DriftCorrection, NotRecorded, VentilatorState

SHORTEST_S = 2 * 3600
"""[s] a shorter recording that does not meet a rule does not answer it (CMSL33800 for oximetry, Project)."""
TOTAL_ABOVE = {
    Decimal(49): "tcco2_above_49_mmhg_s",
    Decimal(50): "tcco2_above_50_mmhg_s",
    Decimal(55): "tcco2_above_55_mmhg_s",
}
LONGEST_ABOVE = {Decimal(55): "tcco2_longest_above_55_mmhg_s"}
_CO2_FIELDS = (
    "tcco2_peak",
    "tcco2_mean",
    "tcco2_median",
    "tcco2_longest_risen_10_above_50_mmhg_s",
    *TOTAL_ABOVE.values(),
    *LONGEST_ABOVE.values(),
)
NOT_STAGED = "sleep was not staged: times and shares are of valid recording"


# --- which night answers ------------------------------------------------------------------------


def age_gate(case: Case, held: Held[NightSummary], ages: Ages) -> Part | None:
    """Say why a rule for adults or for children does not fit the age on the study date; None if it fits."""
    if ages == Ages.ANY:
        return None
    age = case.dossier.age_on(held.record.night_of)
    basis_of = (basis(held, study_words(held)),)
    if age is None:
        return unclear("age on the study date not known: adult or child rule cannot be chosen", basis_of)
    if (age < ADULT_FROM_YEARS) == (ages == Ages.CHILD):
        return None
    return unclear(f"aged {age} on the study date: the rule is for {ages.value}", basis_of)


def study(
    case: Case, rule: Rule, wanted: Callable[[NightSummary], bool] | None = None, what: str = "night CO2"
) -> Held[NightSummary] | Part:
    """Give the newest study that holds what is wanted, or why there is none."""
    fits = [held for held in case.nights if (wanted or has_co2)(held.record)]
    if not fits:
        return unclear(f"no overnight study with {what}")
    held = fits[-1]
    age = case.days_ago(held.record.night_of)
    if age > LEVEL_HOLDS_DAYS:
        why = f"the last overnight study with {what} is {age} days old"
        return unclear(why, (basis(held, study_words(held)),))
    return age_gate(case, held, rule.ages) or held


def has_co2(night: NightSummary) -> bool:
    """Whether a study gives any transcutaneous value."""
    return any(getattr(night, field) is not None for field in _CO2_FIELDS)


def on_ventilator(night: NightSummary) -> bool:
    """Whether a study gives night CO2 on the ventilator."""
    return has_co2(night) and night.ventilator == VentilatorState.ON


def study_words(held: Held[NightSummary]) -> str:
    """One study in words."""
    night = held.record
    return f"night of {night.night_of}, {night.ventilator.value}, {oxygen_words(night.oxygen_l_min)}"


def doubts(night: NightSummary) -> tuple[str, ...]:
    """Say what a transcutaneous study leaves open."""
    drift = {
        DriftCorrection.NONE: ("sensor drift was not corrected",),
        DriftCorrection.NOT_RECORDED: ("whether sensor drift was corrected",),
    }.get(night.drift_correction, ())
    state = ("on or off ventilator",) if night.ventilator == VentilatorState.NOT_RECORDED else ()
    length = ("length of valid transcutaneous recording",) if night.tcco2_valid_s is None else ()
    return (NOT_STAGED, *drift, *state, *length)


def answered(case: Case, held: Held[NightSummary], holds: bool, words: str, *, at: bool = False) -> Part:
    """Give the part of one study; a short study that does not meet a rule does not answer it."""
    night, basis_of = held.record, (basis(held, study_words(held)),)
    shown = f"{study_words(held)}: {words}"
    if not holds and night.tcco2_valid_s is not None and night.tcco2_valid_s < SHORTEST_S:
        return unclear(f"{shown}; less than 2 h of valid transcutaneous recording", basis_of)
    age = case.days_ago(night.night_of)
    return met(holds, shown, basis_of, unknown=doubts(night), at_threshold=at, age_days=age)


def _lacks(held: Held[NightSummary], what: str) -> Part:
    return unclear(f"{study_words(held)}: {what}", (basis(held, study_words(held)),))


# --- level -----------------------------------------------------------------------------------------


def level_part(
    case: Case, held: Held[NightSummary], pressure: Pressure | None, name: str, limit: Limit
) -> Part:
    """Hold a night pressure against a limit."""
    if pressure is None:
        return _lacks(held, f"{name} not given")
    outcome = against(pressure, limit)
    words = f"{name} {compared_words(pressure, limit, outcome)}"
    return answered(case, held, outcome.holds, words, at=outcome.at_threshold)


def peak(case: Case, rule: Rule) -> Part:
    """Peak of the newest study against the main limit."""
    held = study(case, rule)
    if isinstance(held, Part):
        return held
    return level_part(case, held, held.record.tcco2_peak, "peak tcCO2", rule.limit)


def mean_part(case: Case, held: Held[NightSummary], limit: Limit) -> Part:
    """Mean of a study against a limit."""
    return level_part(case, held, held.record.tcco2_mean, "mean tcCO2", limit)


# --- rise over the awake supine baseline ---------------------------------------------------------


def rise_part(case: Case, held: Held[NightSummary], limit: Limit) -> Part:
    """Peak less the awake supine baseline; without a baseline it cannot be assessed."""
    night = held.record
    if night.tcco2_awake_supine is None:
        return _lacks(held, "no awake supine baseline, so a rise cannot be judged")
    if night.tcco2_peak is None:
        return _lacks(held, "peak tcCO2 not given")
    rise = difference(night.tcco2_peak, night.tcco2_awake_supine)
    outcome = against(rise, limit)
    words = f"rise from awake supine {night.tcco2_awake_supine} to peak {night.tcco2_peak}: "
    words += compared_words(rise, limit, outcome)
    return answered(case, held, outcome.holds, words, at=outcome.at_threshold)


def rise(case: Case, rule: Rule) -> Part:
    """Rise over awake supine against the main limit."""
    held = study(case, rule)
    return held if isinstance(held, Part) else rise_part(case, held, rule.limit)


def sustained_rise(case: Case, rule: Rule) -> Part:
    """Longest run risen from awake supine and above the level, both needed together."""
    held = study(case, rule)
    if isinstance(held, Part):
        return held
    night = held.record
    if night.tcco2_awake_supine is None:
        return _lacks(held, "no awake supine baseline, so a rise cannot be judged")
    published = (rule.named("rise").published, rule.named("level").published)
    if published != (None, None):
        return _lacks(held, "the run at an edited rise or level is not scored")
    seconds = night.tcco2_longest_risen_10_above_50_mmhg_s
    if seconds is None:
        return _lacks(held, "longest run risen 10 mmHg and above 50 mmHg not given")
    return _duration(case, held, seconds, "longest run risen and above 50 mmHg", rule.named("run"))


# --- time above a level ---------------------------------------------------------------------------


def _duration(case: Case, held: Held[NightSummary], seconds: int, what: str, limit: Limit) -> Part:
    amount = Amount(Decimal(seconds) / 60, "min")
    outcome = against(amount, limit)
    words = f"{what} {minutes_words(seconds)}, limit {limit.words}"
    return answered(case, held, outcome.holds, words, at=outcome.at_threshold)


def minutes_words(seconds: int) -> str:
    """Seconds as minutes and seconds."""
    return f"{seconds // 60} min" + (f" {seconds % 60} s" if seconds % 60 else "")


def _seconds_above(held: Held[NightSummary], limit: Limit, scored: dict[Decimal, str]) -> int | None:
    """Seconds above a scored level; zero when the peak never passed it; None when not known."""
    night = held.record
    field = scored.get(limit.value) if limit.unit == "mmHg" else None
    seconds = getattr(night, field) if field else None
    if seconds is not None:
        return int(seconds)
    passed = night.tcco2_peak is None or against(night.tcco2_peak, limit).holds
    return None if passed else 0


def total_above(case: Case, rule: Rule) -> Part:
    """Total time above the level against the run limit."""
    return _time(case, rule, TOTAL_ABOVE, "in total")


def longest_above(case: Case, rule: Rule) -> Part:
    """Longest unbroken time above the level against the run limit."""
    return _time(case, rule, LONGEST_ABOVE, "in one run")


def _time(case: Case, rule: Rule, scored: dict[Decimal, str], how: str) -> Part:
    held = study(case, rule)
    if isinstance(held, Part):
        return held
    limit = rule.limit
    seconds = _seconds_above(held, limit, scored)
    if seconds is None:
        return _lacks(held, f"time above {limit.value} {limit.unit} {how} not given")
    return _duration(case, held, seconds, f"above {limit.value} {limit.unit} {how}", rule.named("run"))


def share_part(case: Case, held: Held[NightSummary], level: Limit, share: Limit) -> Part:
    """Share of valid recording above a level; the denominator is named."""
    seconds = _seconds_above(held, level, TOTAL_ABOVE)
    whole = held.record.tcco2_valid_s
    if seconds is None:
        return _lacks(held, f"time above {level.value} {level.unit} not given")
    if seconds == 0 and not whole:
        return answered(case, held, holds=False, words=f"never above {level.value} {level.unit}")
    if not whole:
        return _lacks(held, "length of valid transcutaneous recording not given: no share without it")
    percent = Amount(Decimal(100 * seconds) / Decimal(whole), share.unit)
    outcome = against(percent, share)
    words = f"above {level.value} {level.unit} for {minutes_words(seconds)} of {minutes_words(whole)} "
    words += f"valid recording ({percent.value:.1f} %), limit {share.words}"
    return answered(case, held, outcome.holds, words, at=outcome.at_threshold)


def share_above(case: Case, rule: Rule) -> Part:
    """Share of the recording above the level against the share limit."""
    held = study(case, rule)
    return held if isinstance(held, Part) else share_part(case, held, rule.limit, rule.named("share"))


# --- several limbs ---------------------------------------------------------------------------------


def peak_or_rise(case: Case, rule: Rule) -> Part:
    """Either the peak at the level or the rise over awake supine."""
    held = study(case, rule)
    if isinstance(held, Part):
        return held
    top = level_part(case, held, held.record.tcco2_peak, "peak tcCO2", rule.named("peak"))
    return any_of((top, rise_part(case, held, rule.named("rise"))))


def peak_or_rise_with_day(case: Case, rule: Rule) -> Part:
    """Night limb that counts only beside a daytime PCO2 within a range."""
    held = awake_gas(case)
    if isinstance(held, Part):
        return all_of((peak_or_rise(case, rule), held))
    low = pco2_part(case, held, rule.named("day from"))
    high = pco2_part(case, held, rule.named("day to"))
    return all_of((peak_or_rise(case, rule), low, high))


def level_with_desaturation(case: Case, rule: Rule) -> Part:
    """Night level together with long desaturation, or the daytime level alone."""
    held = study(case, rule)
    day = awake_pco2(case, rule)
    if isinstance(held, Part):
        return any_of((all_of((held,)), day))
    night = held.record
    top = level_part(case, held, night.tcco2_peak, "peak tcCO2", rule.limit)
    return any_of((all_of((top, any_of((_long_below_88(held, rule), _share_below_90(held, rule))))), day))


def _long_below_88(held: Held[NightSummary], rule: Rule) -> Part:
    seconds, limit = held.record.at_or_below_88_s, rule.named("below 88 %")
    if seconds is None:
        return unclear("time below 88 % not given")
    if against(Amount(Decimal(seconds) / 3600, "h"), limit).holds:
        return unclear("time at or below 88 % is given, time below 88 % is not")
    return met(holds=False, words=f"at or below 88 % for {minutes_words(seconds)}")


def _share_below_90(held: Held[NightSummary], rule: Rule) -> Part:
    percent, limit = held.record.below_90_pct, rule.named("below 90 %")
    if percent is None:
        return unclear("share of the night below 90 % not known")
    outcome = against(Amount(percent, limit.unit), limit)
    return met(outcome.holds, f"below 90 % for {percent:.1f} % of valid recording, limit {limit.words}",
               at_threshold=outcome.at_threshold)  # fmt: skip


def oxygen_flow(night: NightSummary) -> Decimal | None:
    """Oxygen flow of a study [L/min]; None when not recorded."""
    return None if isinstance(night.oxygen_l_min, NotRecorded) else night.oxygen_l_min
