"""Published criteria for starting ventilation, asked only of people not yet ventilated.

Most say "symptom and physiology" or "any of": the connective is part of the criterion, so each is built
from parts joined by `all_of` and `any_of`, and stays open while a deciding part is not known.
"""

from dataclasses import replace
from datetime import date, timedelta

from hvmon.records.course import LungFunction
from hvmon.rules import gas, night, oximetry
from hvmon.rules.case import Case, basis, gas_day
from hvmon.rules.compare import Amount, against, compared_words
from hvmon.rules.finding import Part, all_of, any_of, met, unclear
from hvmon.rules.rule import Check, Limit, Rule
from hvmon.rules.symptoms import RETENTION
from hvmon.vocabulary import Dependence, EventKind, Rating

SYMPTOMATIC_FROM = 4
"""[0 to 10] a rating from which a criterion's "symptoms" is taken as present (Project)."""
ALREADY = "already ventilated: a criterion for starting is not asked"


def asked(check: Check) -> Check:
    """Ask a criterion only of people who are not yet ventilated."""

    def guarded(case: Case, rule: Rule) -> Part:
        dependence = case.dossier.person.dependence
        if dependence == Dependence.NOT_RECORDED:
            return unclear("whether the person is ventilated is not recorded")
        if dependence != Dependence.NOT_YET_VENTILATED:
            return unclear(ALREADY)
        return check(case, rule)

    guarded.__name__ = check.__name__
    guarded.__wrapped__ = check  # type: ignore[attr-defined]
    return guarded


def _only(rule: Rule, *limits: Limit) -> Rule:
    return replace(rule, limits=limits)


# --- parts ----------------------------------------------------------------------------------------


def day_part(case: Case, rule: Rule, name: str = "") -> Part:
    """Awake PCO2 against the limit of that name."""
    return gas.awake_pco2(case, _only(rule, rule.named(name)))


def symptom_part(case: Case, which: tuple[Rating, ...] = RETENTION) -> Part:
    """Whether a symptom of night or day CO2 retention is present at the last report."""
    if not case.reports:
        return unclear("symptoms were never asked for")
    held = case.reports[-1]
    ratings = [(rating, held.record.rating(rating)) for rating in which]
    present = [f"{rating.value} {value}" for rating, value in ratings if value is not None
               and value >= SYMPTOMATIC_FROM]  # fmt: skip
    basis_of = (basis(held, f"symptoms asked {held.record.asked_at.date()}"),)
    if present:
        return met(holds=True, words=f"symptoms: {', '.join(present)}", basis=basis_of)
    if any(value is None for _, value in ratings):
        return unclear("not every symptom was rated", basis_of)
    return met(holds=False, words=f"no symptom rated {SYMPTOMATIC_FROM} or more", basis=basis_of)


def strength_part(case: Case, field: str, limit: Limit) -> Part:
    """Newest value of one lung function or muscle test against a limit."""
    held = next(
        (each for each in reversed(case.dossier.lung_function) if _given(case, each.record, field)), None
    )
    if held is None:
        return unclear(f"{field.split('_', maxsplit=1)[0].upper()} not recorded")
    amount = Amount(getattr(held.record, field), limit.unit)
    outcome = against(amount, limit)
    words = f"{field.split('_', maxsplit=1)[0].upper()} of {held.record.tested_on}: "
    words += compared_words(amount, limit, outcome)
    return met(outcome.holds, words, (basis(held, words),), at_threshold=outcome.at_threshold,
               age_days=case.days_ago(held.record.tested_on))  # fmt: skip


def _given(case: Case, record: LungFunction, field: str) -> bool:
    return record.tested_on <= case.today and getattr(record, field) is not None


def after_acute_failure(case: Case, rule: Rule) -> Part:
    """Gas 2 to 4 weeks after an acute hypercapnic admission was over, above the limit."""
    over = _last_resolution(case)
    if over is None:
        return unclear("no acute hypercapnic admission with an end in the record")
    low, high = (over + timedelta(weeks=weeks) for weeks in (2, 4))
    fits = [held for held in case.awake if low <= gas_day(held) <= high and not gas.missing_conditions(held)]
    if not fits:
        return unclear(f"no awake gas from {low} to {high}, 2 to 4 weeks after the admission ended on {over}")
    return all_of((gas.pco2_part(case, fits[-1], rule.limit), gas.ph_part(case, fits[-1], rule.named("pH"))))


def _last_resolution(case: Case) -> date | None:
    ends = [
        held.record.until
        for held in case.dossier.clinical_event
        if held.record.kind == EventKind.ADMISSION_HYPERCAPNIC and held.record.until is not None
    ]
    return max((day for day in ends if day <= case.today), default=None)


def stable_with_ph(case: Case, rule: Rule) -> Part:
    """Stable awake PCO2 and pH against their limits."""
    return gas.stable_gate(case, rule)


def payer_copd(case: Case, rule: Rule) -> Part:
    """Awake PCO2 on usual oxygen, and night saturation at or below 88 % for the minutes asked."""
    return all_of(
        (day_part(case, rule), oximetry.total_at_or_below_88(case, _only(rule, rule.named("88 %"))))
    )


def day_or_night(case: Case, rule: Rule) -> Part:
    """Daytime level, or night peak, or night rise."""
    return any_of((day_part(case, rule), _night_peak(case, rule, "night peak"), _night_rise(case, rule)))


def symptoms_with_day_or_night(case: Case, rule: Rule) -> Part:
    """Symptoms with daytime hypercapnia, or night rise, or night peak."""
    day = all_of((symptom_part(case), day_part(case, rule)))
    return any_of((day, _night_rise(case, rule), _night_peak(case, rule, "night peak")))


def _night_peak(case: Case, rule: Rule, name: str) -> Part:
    return night.peak(case, _only(rule, rule.named(name)))


def _night_rise(case: Case, rule: Rule) -> Part:
    return night.rise(case, _only(rule, rule.named("night rise")))


def copd_day_or_night(case: Case, rule: Rule) -> Part:
    """Daytime level, or a night limb beside a milder daytime level."""
    return any_of((day_part(case, rule), night.peak_or_rise_with_day(case, rule)))


def any_weakness(case: Case, rule: Rule) -> Part:
    """FVC below one level with symptoms, below another without, weak SNIP or MIP, or hypercapnia."""
    with_symptoms = all_of(
        (strength_part(case, "fvc_pct", rule.named("FVC with symptoms")), symptom_part(case))
    )
    return any_of((
        with_symptoms,
        strength_part(case, "fvc_pct", rule.named("FVC")),
        strength_part(case, "snip_cmh2o", rule.named("SNIP")),
        strength_part(case, "mip_cmh2o", rule.named("MIP")),
        day_part(case, rule, "PCO2"),
    ))  # fmt: skip


def payer_restrictive(case: Case, rule: Rule) -> Part:
    """Awake PCO2, or night desaturation, or weak muscles."""
    return any_of((
        day_part(case, rule),
        oximetry.total_at_or_below_88(case, _only(rule, rule.named("88 %"))),
        strength_part(case, "mip_cmh2o", rule.named("MIP")),
        strength_part(case, "fvc_pct", rule.named("FVC")),
    ))  # fmt: skip


def state_consensus(case: Case, rule: Rule) -> Part:
    """Daytime level, or any of the night rules of the same consensus, or symptoms."""
    return any_of((
        day_part(case, rule),
        gas.overnight_rise(case, _only(rule, rule.named("night rise"))),
        _night_rise(case, rule),
        oximetry.longest_at_or_below_88(case, _only(rule, rule.named("88 %"))),
        oximetry.below_90(case, _only(rule, rule.named("below 90 %"))),
        symptom_part(case),
    ))  # fmt: skip


def european_consensus(case: Case, rule: Rule) -> Part:
    """Ask for a symptom, and weak FVC or SNIP, and night desaturation or a raised morning PCO2."""
    weak = any_of((
        strength_part(case, "fvc_pct", rule.named("FVC")),
        strength_part(case, "snip_cmh2o", rule.named("SNIP")),
    ))  # fmt: skip
    desaturation = oximetry.longest_at_or_below_88(case, _only(rule, rule.named("88 %")))
    return all_of((symptom_part(case), weak, any_of((desaturation, day_part(case, rule)))))


def normal_gas_with_symptoms(case: Case, rule: Rule) -> Part:
    """Awake PCO2 not raised, with symptoms of sleep or breathlessness."""
    sleep = (Rating.SLEEP_QUALITY, Rating.DAYTIME_SLEEPINESS, Rating.BREATHLESSNESS)
    return all_of((day_part(case, rule), symptom_part(case, sleep)))


def weak_fvc_or_snip(case: Case, rule: Rule) -> Part:
    """FVC or SNIP below their levels."""
    return any_of((
        strength_part(case, "fvc_pct", rule.named("FVC")),
        strength_part(case, "snip_cmh2o", rule.named("SNIP")),
    ))  # fmt: skip


def duchenne(case: Case, rule: Rule) -> Part:
    """Any of weak muscles, daytime level, night level, night desaturation, symptoms."""
    return any_of((
        strength_part(case, "fvc_pct", rule.named("FVC")),
        strength_part(case, "mip_cmh2o", rule.named("MIP")),
        day_part(case, rule, "awake"),
        _night_peak(case, rule, "asleep"),
        oximetry.longest_at_or_below_88(case, _only(rule, rule.named("88 %"))),
        symptom_part(case),
    ))  # fmt: skip


def isolated_night(case: Case, rule: Rule) -> Part:
    """Night hypoventilation of a child, whatever the day."""
    return night.share_above(case, rule)
