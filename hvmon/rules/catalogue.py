"""Every clinical flag, on one page: limits, check, population, source, place, mark, condition.

A limit is written here once, in the unit and with the comparator of its source; check, sentence, chart line
and `docs/rules.md` take it from here. Ids go by topic: GAS daytime gas, NGT night CO2, OXI oximetry, USE use
of the ventilator, TGT goals, STA criteria for starting, FUP follow-up, RED same-day contact, TRD trend,
MEA measurement, REC the record itself. A rule of a goal is raised when the goal is not reached.
"""

import inspect
import re
from decimal import Decimal
from pathlib import Path

from hvmon.rules import gas, red_flags, trend
from hvmon.rules.rule import Ages, Check, Comparator, Limit, Rule, Sense
from hvmon.vocabulary import Grade, Mark

__all__ = ["RULES", "Limit", "Rule", "rule", "where"]

_LIMIT = re.compile(r"(?:(?P<name>.+?) )?(?P<comparator>>=|<=|>|<) (?P<value>-?[0-9.]+)(?: (?P<unit>.+))?")

TODAY, SOON, REVIEW, CONTEXT = Grade.SAME_DAY, Grade.SOON, Grade.REVIEW, Grade.CONTEXT
SEEN, SEEN_2ND = Mark.SEEN, Mark.SEEN_SECOND_HAND
HIGH, MEDIUM, LOW = Mark.MEMORY_HIGH, Mark.MEMORY_MEDIUM, Mark.MEMORY_LOW
PRACTICE, OWN, DERIVED = Mark.PRACTICE, Mark.JUDGEMENT, Mark.DERIVED
GOAL = Sense.GOAL
ADULT, CHILD, ANY = Ages.ADULT, Ages.CHILD, Ages.ANY


def _limit(text: str, source: str, place: str) -> Limit:
    """Read a limit such as ``rise >= 10 mmHg``."""
    found = _LIMIT.fullmatch(text)
    if found is None:
        raise ValueError(f"{text!r} is no limit; write it as 'name >= 10 unit'")
    return Limit(Decimal(found["value"]), found["unit"] or "", Comparator(found["comparator"]), source, place,
                 found["name"] or "")  # fmt: skip


def _rule(
    key: str, title: str, grade: Grade, limits: tuple[str, ...], check: Check, population: str, source: str,
    place: str, mark: Mark, condition: str = "", sense: Sense = Sense.FLAG, ages: Ages = Ages.ANY,
) -> Rule:  # fmt: skip
    made = tuple(_limit(text, source, place) for text in limits)
    return Rule(key, title, grade, made, check, population, source, place, mark, condition, sense, ages)


RULES: tuple[Rule, ...] = (
    # --- daytime gas ---------------------------------------------------------------------------
    _rule("GAS-1", "Awake hypercapnia, stable COPD", REVIEW, ("> 45 mmHg",), gas.stable_awake_pco2,
          "COPD, FEV1/FVC below 0.70", "Macrea2020", "definition", SEEN,
          "resting, awake, not in an exacerbation"),
    _rule("GAS-2", "Awake hypercapnia, obesity hypoventilation", REVIEW, (">= 45 mmHg",), gas.awake_pco2,
          "obesity hypoventilation", "Mokhlesi2019", "definition", SEEN,
          "awake, resting, at sea level; BMI 30 or more; sleep-disordered breathing; other causes excluded"),
    _rule("GAS-3", "Awake hypercapnia, kPa countries", REVIEW, ("> 6.0 kPa",), gas.awake_pco2,
          "adults", "Macavei2013", "definition used; also the action level of NICE2010", SEEN, "awake"),
    _rule("GAS-4", "Awake hypercapnia, stricter research cut", CONTEXT, (">= 6.5 kPa",), gas.awake_pco2,
          "COPD, n 1224", "HypercapniaCOPD2021", "definition used", SEEN, "awake"),
    _rule("GAS-5", "Severity of obesity hypoventilation", CONTEXT,
          ("mild >= 46 mmHg", "moderate >= 51 mmHg", "severe >= 56 mmHg"), gas.severity,
          "obesity hypoventilation", "Damiani2017", "proposal, retrospective", SEEN,
          "awake; whole-number bins 46 to 50, 51 to 55, 56 and more: values between bins fall in none"),
    _rule("GAS-6", "PCO2 below the normal range", REVIEW, ("< 35 mmHg",), gas.awake_pco2,
          "adults", "Textbook", "normal range 35 to 45 mmHg", HIGH,
          "awake arterial; a low value is also abnormal"),
    _rule("GAS-7", "Acute (decompensated) hypercapnia", TODAY, ("> 6.5 kPa", "pH < 7.35"),
          red_flags.acute_hypercapnia, "adults with acute hypercapnic failure", "Davidson2016",
          "level for acute ventilation", HIGH, "both in one gas"),
    _rule("GAS-8", "Stable enough to call the hypercapnia chronic", CONTEXT, ("> 7.0 kPa", "pH >= 7.30"),
          gas.stable_gate, "COPD", "Murphy2017", "trial entry", SEEN,
          "2 weeks or more after acidosis; another trial asked for pH above 7.35 (StableGate2017)"),
    _rule("GAS-9", "Step up from a stable level", SOON, (">= 5 mmHg",), gas.step,
          "chronic hypercapnic lung disease", "MorrisAHRF", "chapter opening", SEEN,
          "from the person's own stable level, same sample kind and conditions"),
    _rule("GAS-10", "Bicarbonate marks chronic CO2 retention", CONTEXT, (">= 27 mmol/L",), gas.bicarbonate,
          "obesity with sleep-disordered breathing", "Mokhlesi2019", "screening", SEEN,
          "not diagnostic: below 27 makes obesity hypoventilation unlikely, from 27 PaCO2 is measured"),
    _rule("GAS-11", "Bicarbonate marker as tested for accuracy", CONTEXT, ("> 27 mmol/L",), gas.bicarbonate,
          "525 people of a sleep clinic", "Macavei2013", "sensitivity 85.7 %, specificity 89.5 %", SEEN,
          "calculated, from a capillary gas"),
    _rule("GAS-12", "Base excess marks hypoventilation", CONTEXT, (">= 4 mmol/L",), gas.base_excess,
          "neuromuscular disease", "Ogna2016", "one of eight criteria; the number from memory", MEDIUM,
          "daytime"),
    _rule("GAS-13", "Obesity hypoventilation, stage IV (awake hypercapnia)", CONTEXT, ("> 45 mmHg",),
          gas.awake_pco2, "obesity hypoventilation", "Randerath2017", "staging", MEDIUM,
          "stages I to III rest on sleep CO2 and a bicarbonate of 27"),
    _rule("GAS-14", "Venous PCO2 leaves hypercapnia open", CONTEXT, ("< 45 mmHg",), gas.venous_leaves_open,
          "COPD in the emergency department", "Kelly2005", "negative predictive value 100 % (30 of 30)", SEEN,
          "venous rules out, never in; specificity of the reverse 47 %", GOAL),
    _rule("GAS-15", "Bicarbonate below the line of chronic compensation", CONTEXT,
          ("rise < 3.5 mmol/L per 10 mmHg",), gas.below_chronic_line, "adults", "Textbook",
          "chronic 3.5 to 4, acute 1 per 10 mmHg", HIGH,
          "after a fall of PCO2 bicarbonate lags by days; pH tells acute from chronic"),
    _rule("GAS-16", "PCO2 below the window of controlled ventilation", REVIEW, ("< 4.5 kPa",), gas.awake_pco2,
          "all ventilated, tracheostomy above all", "Practice", "low side", MEDIUM,
          "with pH above 7.45: alkalosis from over-ventilation, or after a fast correction"),
    # --- same-day contact ------------------------------------------------------------------------
    _rule("RED-1", "New drowsiness, confusion or flap", TODAY, (), red_flags.drowsy_or_flap,
          "all", "Practice", "signs of CO2 narcosis", HIGH, "flap not tested is not absent"),
    _rule("RED-2", "Acidosis with raised PCO2", TODAY, ("> 6.0 kPa", "> 45 mmHg", "pH < 7.35"),
          red_flags.acidosis_with_raised_pco2, "all", "Davidson2016", "respiratory acidosis", HIGH,
          "PCO2 judged in its own unit; both in one gas"),
    _rule("RED-3", "Acidosis of any cause", TODAY, ("pH < 7.30",), red_flags.acidosis,
          "all", "Practice", "texts give 7.25 to 7.30; the upper is used", HIGH, "any sample"),
    _rule("RED-4", "Step up of PCO2 with falling pH", TODAY, (">= 5 mmHg",), red_flags.step_with_ph_fall,
          "chronic hypercapnic lung disease", "MorrisAHRF", "chapter opening", SEEN,
          "same sample kind and conditions"),
    _rule("RED-5", "SpO2 below the person's own target", TODAY, ("< 88 %",),
          red_flags.saturation_below_target, "at risk of hypercapnia", "ODriscoll2017",
          "lower end of the target range; the person's own where recorded", HIGH,
          "despite usual oxygen and ventilator"),
    _rule("RED-6", "Oxygen flow rising", SOON, ("rise > 0 L/min",), red_flags.oxygen_rising,
          "all", "Practice", "failure, plug or pneumonia", HIGH, "between the last two recorded flows"),
    _rule("RED-7", "Use jumps to near 24 h", TODAY, ("last week >= 20 h", "usual < 16 h"),
          red_flags.use_near_all_day, "all but near-continuous users", "Project",
          "cannot take the ventilator off for the usual free time; the numbers are a project default", OWN,
          "median of the last 7 nights against the 28 before"),
    _rule("RED-8", "Respiratory infection", TODAY, ("<= 14 d",), red_flags.infection, "all", "Practice",
          "fever with more sputum, secretions, choking; the days are a project default", HIGH,
          "recorded and not over"),
    _rule("RED-9", "Tracheostomy blocked, dislodged or bleeding", TODAY, (), red_flags.not_held,
          "tracheostomy", "Practice", "airway emergency", HIGH, "tube, catheter passage, bleeding"),
    _rule("RED-10", "Ventilator, power or alarm failure", TODAY, (), red_flags.not_held,
          "little or no ventilator-free time", "Practice", "life support", HIGH, "ventilator, power, alarms"),
    _rule("RED-11", "Exhalation port missing or blocked, wrong mask", TODAY, (), red_flags.not_held,
          "single-limb circuits", "Practice", "rebreathing", HIGH, "port and mask as found"),
    _rule("RED-12", "Chest pain, collapse, one-sided breathlessness", TODAY, (), red_flags.not_held,
          "all", "Practice", "pneumothorax, embolus, cardiac", HIGH, "chest pain and collapse"),
    # --- trend -----------------------------------------------------------------------------------
    _rule("TRD-1", "CO2 trend up: watch", REVIEW, (">= 0.80 probability",), trend.rise, "all", "TrendStudy",
          "about 5 % false alarms at 0.80 to 0.85", Mark.COMPUTED, "usual level since the review date"),
    _rule("TRD-2", "CO2 trend up: likely", SOON, (">= 0.95 probability",), trend.rise, "all", "TrendStudy",
          "second tier", Mark.COMPUTED, "usual level since the review date"),
    _rule("TRD-3", "CO2 up by more than 0.3 kPa: watch", REVIEW, (">= 0.80 probability",),
          trend.rise_above_0_3, "all", "TrendStudy", "first tier", Mark.COMPUTED,
          "usual level since the review date"),
    _rule("TRD-4", "CO2 up by more than 0.3 kPa: likely", SOON, (">= 0.95 probability",),
          trend.rise_above_0_3, "all", "TrendStudy", "second tier", Mark.COMPUTED,
          "usual level since the review date"),
    _rule("TRD-5", "Usual CO2 above the limit: watch", REVIEW, (">= 0.80 probability",), trend.above_limit,
          "all", "TrendStudy", "first tier", Mark.COMPUTED, "the person's own limit"),
    _rule("TRD-6", "Usual CO2 above the limit: likely", SOON, (">= 0.95 probability",), trend.above_limit,
          "all", "TrendStudy", "second tier", Mark.COMPUTED, "the person's own limit"),
    # --- the record itself -----------------------------------------------------------------------
    _rule("REC-1", "Diagnosis group not coded: no verdict", REVIEW, (), red_flags.group_not_coded,
          "all", "Project", "the group chooses the rules", OWN),
)  # fmt: skip

_BY_ID = {each.id: each for each in RULES}


def rule(rule_id: str) -> Rule:
    """Give the rule of an id, as published.

    Raises
    ------
    KeyError
        No such rule; the message names the nearest place to look.
    """
    try:
        return _BY_ID[rule_id]
    except KeyError:
        raise KeyError(f"no rule {rule_id!r}; the ids stand in hvmon/rules/catalogue.py") from None


def where(rule_id: str) -> str:
    """Say where a rule lives: file and line of its row and of its check.

    Raises
    ------
    KeyError
        No such rule.
    """
    check = rule(rule_id).check
    page = inspect.getsource(inspect.getmodule(_rule) or inspect)
    row = 1 + page[: page.index(f'_rule("{rule_id}"')].count("\n")
    line = inspect.getsourcelines(check)[1]
    code = Path(inspect.getfile(check))
    here = Path(__file__)
    root = here.parents[2]
    return f"{here.relative_to(root)}:{row} (row)\n{code.relative_to(root)}:{line} (check {check.__name__})"
