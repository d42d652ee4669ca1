"""Checks on night oximetry. On oxygen a good saturation says nothing of CO2."""

from decimal import Decimal

from hvmon.records.base import Pressure
from hvmon.records.gas import BloodGas
from hvmon.records.held import Held
from hvmon.records.study import NightSummary
from hvmon.rules import night
from hvmon.rules.case import LEVEL_HOLDS_DAYS, Case, basis, gas_basis, gas_day, gas_words
from hvmon.rules.compare import Amount, against, compared_words
from hvmon.rules.finding import Part, any_of, met, not_reached, unclear
from hvmon.rules.gas import missing_conditions
from hvmon.rules.rule import Limit, Rule
from hvmon.vocabulary import NotRecorded, SampleKind

OVER_READ = "oximeters over-read in darker skin: a margin of 1 to 2 % is no hard gate"
FOUR_PERCENT = 4


def has_oximetry(summary: NightSummary) -> bool:
    """Whether a study gives any saturation figure."""
    fields = ("below_90_s", "at_or_below_88_s", "longest_at_or_below_88_s", "dips_per_h", "spo2_mean_pct")
    return any(getattr(summary, field) is not None for field in fields)


def usable(case: Case, rule: Rule, *, on_air: bool) -> Held[NightSummary] | Part:
    """Give the newest study with enough oximetry, on air if asked, or why there is none."""
    held = night.study(case, rule, has_oximetry, "oximetry")
    if isinstance(held, Part):
        return held
    basis_of = (basis(held, night.study_words(held)),)
    valid = held.record.valid_s
    if isinstance(valid, NotRecorded):
        return unclear(f"{night.study_words(held)}: length of valid recording not recorded", basis_of)
    if valid < night.SHORTEST_S:
        return unclear(f"{night.study_words(held)}: less than 2 h of valid recording", basis_of)
    return (_not_on_air(held) if on_air else None) or held


def _not_on_air(held: Held[NightSummary]) -> Part | None:
    flow, basis_of = night.oxygen_flow(held.record), (basis(held, night.study_words(held)),)
    if flow is None:
        return unclear(f"{night.study_words(held)}: oxygen or air not recorded", basis_of)
    if flow > 0:
        return unclear(
            f"{night.study_words(held)}: on oxygen, not valid as hypoventilation evidence", basis_of
        )
    return None


def _part(
    case: Case, held: Held[NightSummary], holds: bool, words: str, *, at: bool = False,
    unknown: tuple[str, ...] = (),
) -> Part:  # fmt: skip
    flow = night.oxygen_flow(held.record)
    oxygen = ("on oxygen it says nothing of CO2",) if flow else ()
    unsure = ("oxygen or air",) if flow is None else ()
    return met(
        holds,
        f"{night.study_words(held)}: {words}",
        (basis(held, night.study_words(held)),),
        unknown=(*unknown, *oxygen, *unsure, OVER_READ),
        at_threshold=at,
        age_days=case.days_ago(held.record.night_of),
    )


def total_at_or_below_88(case: Case, rule: Rule) -> Part:
    """Cumulative time at or below 88 %, on usual oxygen."""
    return _time(case, rule, "at_or_below_88_s", "cumulative", on_air=False)


def longest_at_or_below_88(case: Case, rule: Rule) -> Part:
    """Longest unbroken time at or below 88 %, on air."""
    return _time(case, rule, "longest_at_or_below_88_s", "consecutive", on_air=True)


def _time(case: Case, rule: Rule, field: str, how: str, *, on_air: bool) -> Part:
    held = usable(case, rule, on_air=on_air)
    if isinstance(held, Part):
        return held
    seconds = getattr(held.record, field)
    if seconds is None:
        what = f"{how} time at or below 88 % not given"
        return unclear(f"{night.study_words(held)}: {what}", (basis(held, night.study_words(held)),))
    limit = rule.limit
    outcome = against(Amount(Decimal(seconds) / 60, "min"), limit)
    words = f"at or below 88 % for {night.minutes_words(seconds)} {how}, limit {limit.words}"
    return _part(case, held, outcome.holds, words, at=outcome.at_threshold)


def below_90_part(case: Case, held: Held[NightSummary], limit: Limit) -> Part:
    """Share of valid recording below 90 % against a limit."""
    percent = held.record.below_90_pct
    if percent is None:
        return unclear(f"{night.study_words(held)}: time below 90 % not given",
                       (basis(held, night.study_words(held)),))  # fmt: skip
    outcome = against(Amount(percent, limit.unit), limit)
    words = f"below 90 % for {percent:.1f} % of valid recording, limit {limit.words}"
    return _part(case, held, outcome.holds, words, at=outcome.at_threshold, unknown=(night.NOT_STAGED,))


def below_90(case: Case, rule: Rule) -> Part:
    """Share below 90 %, on air."""
    held = usable(case, rule, on_air=True)
    return held if isinstance(held, Part) else below_90_part(case, held, rule.limit)


def below_90_goal(case: Case, rule: Rule) -> Part:
    """Whether the share below 90 % on the ventilator and on air is not below the goal."""
    held = usable(case, rule, on_air=True)
    if isinstance(held, Part):
        return held
    if held.record.ventilator != held.record.ventilator.ON:
        return unclear(f"{night.study_words(held)}: not a night on the ventilator",
                       (basis(held, night.study_words(held)),))  # fmt: skip
    return not_reached(below_90_part(case, held, rule.limit))


def dips_of_4(case: Case, rule: Rule) -> Part:
    """Index of dips of 4 %, on air; an index of 3 % dips does not answer."""
    held = usable(case, rule, on_air=True)
    if isinstance(held, Part):
        return held
    size = held.record.dip_size_pct
    if held.record.dips_per_h is not None and size != FOUR_PERCENT:
        why = f"index of {size} % dips given; the rule counts 4 % dips"
        return unclear(f"{night.study_words(held)}: {why}", (basis(held, night.study_words(held)),))
    return _dips(case, held, rule.limit)


def dip_bands(case: Case, rule: Rule) -> Part:
    """Band of the dip index, its dip size stated, on air."""
    held = usable(case, rule, on_air=True)
    if isinstance(held, Part):
        return held
    index = held.record.dips_per_h
    if index is None:
        return _dips(case, held, rule.limit)
    reached = [limit for limit in rule.limits if against(Amount(index, limit.unit), limit).holds]
    return _dips(case, held, reached[-1] if reached else rule.limit)


def _dips(case: Case, held: Held[NightSummary], limit: Limit) -> Part:
    index, size = held.record.dips_per_h, held.record.dip_size_pct
    if index is None:
        return unclear(f"{night.study_words(held)}: dip index not given",
                       (basis(held, night.study_words(held)),))  # fmt: skip
    amount = Amount(index, limit.unit)
    outcome = against(amount, limit)
    words = f"{size} % dips: {compared_words(amount, limit, outcome)} {limit.name}".rstrip()
    return _part(case, held, outcome.holds, words, at=outcome.at_threshold,
                 unknown=("indices of 3 % and 4 % dips do not compare",))  # fmt: skip


def _arterial_po2(held: Held[BloodGas]) -> bool:
    return held.record.kind == SampleKind.ARTERIAL and held.record.po2 is not None


def oxygen_gate(case: Case, rule: Rule) -> Part:
    """Arterial PO2 at rest on air against the two levels; capillary PO2 is not used."""
    held = next((each for each in reversed(case.awake) if _arterial_po2(each)), None)
    po2 = held.record.po2 if held else None
    if held is None or po2 is None:
        return unclear("no arterial PO2 (capillary PO2 does not stand in for it)")
    flow, missing = held.record.state.oxygen_l_min, missing_conditions(held)
    age = case.days_ago(gas_day(held))
    if isinstance(flow, NotRecorded) or flow > 0 or missing or age > LEVEL_HOLDS_DAYS:
        why = "a resting arterial sample on air within a year is asked for"
        return unclear(f"{gas_words(held)}: {why}", gas_basis(held))
    low = _po2(case, held, po2, rule.limit)
    higher = _po2(case, held, po2, rule.named("with oedema, polycythaemia or pulmonary hypertension"))
    if higher.answer == higher.answer.MET and low.answer != low.answer.MET:
        higher = unclear(f"{higher.words}; counts only {rule.limits[1].name}, which is not recorded",
                         higher.basis)  # fmt: skip
    return any_of((low, higher))


def _po2(case: Case, held: Held[BloodGas], po2: Pressure, limit: Limit) -> Part:
    outcome = against(po2, limit)
    words = f"arterial PO2 on air {gas_day(held)}: {compared_words(po2, limit, outcome)}"
    age = case.days_ago(gas_day(held))
    return met(outcome.holds, words, gas_basis(held), at_threshold=outcome.at_threshold, age_days=age)
