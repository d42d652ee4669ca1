"""Every limit of every rule at its exact boundary: just below, at, just above; pressures in both units.

Y met, N not met, ? not assessable. A goal is "met" (raised) when it is not reached. The middle value
stands at the limit and must be marked so. The other unit is the one rounding of the limit to the
precision of the reading: 45 mmHg is 6.0 kPa, 6.5 kPa is 49, 7.0 kPa is 53, 7.3 kPa is 55 mmHg.
"""

from collections.abc import Callable
from datetime import date, timedelta
from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import pytest

from hvmon.records.dossier import Dossier
from hvmon.rules.case import Case
from hvmon.rules.catalogue import RULES, rule
from hvmon.rules.judge import judged
from hvmon.rules.owed import owed
from hvmon.rules.packs import Pack
from hvmon.vocabulary import Answer, Dependence, DiagnosisGroup, EventKind, SampleKind, VentilatorState

Driver = Callable[[Any, str, str], Any]
DAY = date(2026, 3, 1)
NEW = {"dependence": Dependence.NOT_YET_VENTILATED}
LETTER = {Answer.MET: "Y", Answer.NOT_MET: "N", Answer.NOT_ASSESSABLE: "?"}
CHILD = date(2015, 1, 1)
MND = DiagnosisGroup.MOTOR_NEURONE_DISEASE


def level(m: Any, value: str, unit: str) -> Dossier:
    return m.dossier(m.gas(value, unit))


def level_before(m: Any, value: str, unit: str) -> Dossier:
    return m.dossier(m.gas(value, unit), **NEW)


def with_ph(ph: str) -> Driver:
    return lambda m, value, unit: m.dossier(m.gas(value, unit, ph=ph))


def ph_at(value: str, unit: str) -> Driver:
    return lambda m, ph, _: m.dossier(m.gas(value, unit, ph=ph))


def pair(first: str, unit: str, last_ph: str = "7.40", **last: Any) -> Driver:
    def driver(m: Any, value: str, _: str) -> Dossier:
        later = str(Decimal(first) + Decimal(value))
        return m.dossier(m.gas(first, unit, date(2026, 2, 1)), m.gas(later, unit, DAY, ph=last_ph, **last))

    return driver


def ph_of_the_second_gas(m: Any, value: str, _: str) -> Dossier:
    return m.dossier(m.gas("6.0", "kPa", date(2026, 2, 1)), m.gas("7.5", "kPa", DAY, ph=value))


def night_of(**fixed: Any) -> Callable[[str], Driver]:
    """A night with one field that varies; pressures from value and unit, seconds as whole numbers."""

    def field(name: str) -> Driver:
        def driver(m: Any, value: str, unit: str) -> Dossier:
            born = fixed.get("born", date(1950, 1, 1))
            given = m.pressure(value, unit) if unit in {"kPa", "mmHg"} else int(value)
            others = {
                k: m.pressure(*v) if isinstance(v, tuple) else v for k, v in fixed.items() if k != "born"
            }
            return m.dossier(m.night(**(others | {name: given})), born=born)

        return driver

    return field


def rise_from(first: str, **fixed: Any) -> Driver:
    def driver(m: Any, value: str, unit: str) -> Dossier:
        top = str(Decimal(first) + Decimal(value))
        study = m.night(tcco2_awake_supine=m.pressure(first, unit), tcco2_peak=m.pressure(top, unit))
        return m.dossier(study, **fixed)

    return driver


def oximetry(field: str, **fixed: Any) -> Driver:
    return lambda m, value, _: m.dossier(m.night(**(fixed | {field: int(value)})))


def dips(m: Any, value: str, _: str) -> Dossier:
    return m.dossier(m.night(dips_per_h=Decimal(value), dip_size_pct=4, dip_convention="own"))


def used(field: str = "usage_h", hours: str = "8") -> Driver:
    def driver(m: Any, value: str, _: str) -> Dossier:
        return m.dossier(m.use(value) if field == "usage_h" else m.use(hours, **{field: value}))

    return driver


def field_of_gas(name: str, **fixed: Any) -> Driver:
    return lambda m, value, _: m.dossier(m.gas(**(fixed | {name: value})))


def venous(m: Any, value: str, unit: str) -> Dossier:
    return m.dossier(m.gas(value, unit, kind=SampleKind.VENOUS))


def overnight(first: str) -> Driver:
    def driver(m: Any, value: str, unit: str) -> Dossier:
        later = str(Decimal(first) + Decimal(value))
        evening = m.gas(first, unit, drawn_at=m.at(DAY, 21))
        return m.dossier(evening, m.gas(later, unit, drawn_at=m.at(DAY + timedelta(days=1), 7)))

    return driver


def day_beside_night(m: Any, value: str, unit: str) -> Dossier:
    """COPD night limb: the daytime value varies, the night limb is met."""
    return m.dossier(m.gas(value, unit), m.night(tcco2_peak=m.pressure("60", "mmHg")))


def night_beside_day(day: str, rise: bool, **who: Any) -> Driver:
    def driver(m: Any, value: str, unit: str) -> Dossier:
        first = "40" if unit == "mmHg" else "5.3"
        peak = str(Decimal(first) + Decimal(value)) if rise else value
        base = m.pressure(first, unit) if rise else m.pressure("50" if unit == "mmHg" else "6.7", unit)
        study = m.night(tcco2_awake_supine=base, tcco2_peak=m.pressure(peak, unit))
        return m.dossier(m.gas(day, "mmHg"), study, **who)

    return driver


def fall(first: str, unit: str) -> Driver:
    def driver(m: Any, value: str, _: str) -> Dossier:
        return m.dossier(m.gas(first, unit, date(2024, 12, 1)), m.gas(value, unit, DAY))

    return driver


def spo2(**who: Any) -> Driver:
    return lambda m, value, _: m.dossier(m.visit(DAY, spo2_pct=Decimal(value)), **who)


def more_oxygen(first: str, unit: str) -> Driver:
    def driver(m: Any, value: str, _: str) -> Dossier:
        later = str(Decimal(first) + Decimal(value))
        return m.dossier(m.gas(first, unit, date(2026, 2, 1), oxygen_l_min="1"),
                         m.gas(later, unit, DAY, oxygen_l_min="2"))  # fmt: skip

    return driver


def ratings(gases: tuple[tuple[str, str], ...] = ()) -> Driver:
    def driver(m: Any, value: str, _: str) -> Dossier:
        drawn = [m.gas(v, u, date(2026, 2, 1 + index)) for index, (v, u) in enumerate(gases)]
        return m.dossier(m.report(date(2026, 2, 1)), m.report(DAY, int(value)), *drawn)

    return driver


def level_with_worse(m: Any, value: str, unit: str) -> Dossier:
    return m.dossier(m.gas(value, unit), m.report(date(2026, 2, 1)), m.report(DAY, 5))


def step_without_symptoms(first: str) -> Driver:
    def driver(m: Any, value: str, unit: str) -> Dossier:
        later = str(Decimal(first) + Decimal(value))
        return m.dossier(m.gas(first, unit, date(2026, 2, 1)), m.gas(later, unit, DAY),
                         m.report(date(2026, 2, 1)), m.report(DAY))  # fmt: skip

    return driver


def after_admission(ph: str = "7.40") -> Driver:
    def driver(m: Any, value: str, unit: str) -> Dossier:
        ill = m.event(EventKind.ADMISSION_HYPERCAPNIC, date(2026, 2, 1), until=date(2026, 2, 10))
        drawn = m.gas("9.0", "kPa", DAY, ph=value) if unit == "pH" else m.gas(value, unit, DAY, ph=ph)
        return m.dossier(drawn, ill, **NEW)

    return driver


def starting(**fixed: Any) -> Callable[[str], Driver]:
    """A person not yet ventilated for whom nothing but the varied part points to ventilation."""

    def varied(part: str) -> Driver:
        def driver(m: Any, value: str, unit: str) -> Dossier:
            day = fixed.get("day", ("40", "mmHg"))
            lungs = {"fvc_pct": "90", "snip_cmh2o": "100", "mip_cmh2o": "100"} | fixed.get("lungs", {})
            first = "35" if unit == "mmHg" else "4.7"
            base, peak = ("40", "mmHg"), ("42", "mmHg")
            seconds, below = fixed.get("at_88", 0), 0
            drawn = [m.gas(*day)]
            match part:
                case "day":
                    drawn = [m.gas(value, unit)]
                case "peak":
                    base, peak = (str(Decimal(value) - 1), unit), (value, unit)
                case "rise":
                    base, peak = (first, unit), (str(Decimal(first) + Decimal(value)), unit)
                case "88":
                    seconds, below = int(value), int(value)
                case "90":
                    below = int(value)
                case _:
                    lungs[part] = value
            if fixed.get("overnight"):
                drawn = [m.gas("40", "mmHg", drawn_at=m.at(DAY, 21)),
                         m.gas("40", "mmHg", drawn_at=m.at(DAY + timedelta(days=1), 7))]  # fmt: skip
            study = m.night(
                tcco2_awake_supine=m.pressure(*base), tcco2_peak=m.pressure(*peak), at_or_below_88_s=seconds,
                longest_at_or_below_88_s=seconds, below_90_s=max(below, seconds))  # fmt: skip
            return m.dossier(*drawn, study, m.lung(**lungs), m.report(DAY, fixed.get("rating", 0)), **NEW)

        return driver

    return varied


def both_ends_of_a_night(m: Any, value: str, unit: str) -> Dossier:
    """Evening and morning gas alike, so that only the level speaks; a quiet night and no symptom."""
    morning = m.gas(value, unit, drawn_at=m.at(DAY + timedelta(days=1), 7))
    study = m.night(
        tcco2_awake_supine=m.pressure("40", "mmHg"), tcco2_peak=m.pressure("42", "mmHg"), at_or_below_88_s=0,
        longest_at_or_below_88_s=0, below_90_s=0)  # fmt: skip
    return m.dossier(m.gas(value, unit, drawn_at=m.at(DAY, 21)), morning, study, m.report(DAY), **NEW)


def level_with_poor_sleep(m: Any, value: str, unit: str) -> Dossier:
    return m.dossier(m.gas(value, unit), m.report(DAY, sleep_quality=5), **NEW)


def minutes_since_oxygen(m: Any, value: str, _: str) -> Dossier:
    return m.dossier(m.gas(oxygen_l_min="2", minutes_since_oxygen_change=int(value)))


def minutes_applied(m: Any, value: str, _: str) -> Dossier:
    return m.dossier(m.spot("45", "mmHg", minutes_since_applied=int(value)))


def beside(site: str, first: str) -> Driver:
    def driver(m: Any, value: str, unit: str) -> Dossier:
        from hvmon.vocabulary import SensorSite  # noqa: PLC0415

        other = str(Decimal(first) + Decimal(value))
        return m.dossier(m.gas(first, unit), m.spot(other, unit, site=SensorSite(site)))

    return driver


def spot_level(m: Any, value: str, unit: str) -> Dossier:
    return m.dossier(m.spot(value, unit))


def started_days_ago(m: Any, value: str, _: str) -> Dossier:
    return m.dossier(ventilation_started=m.today - timedelta(days=int(value)))


def twice(field: str) -> Driver:
    def driver(m: Any, value: str, unit: str) -> Dossier:
        if field == "apart":
            days = 7 * int(value) if unit == "weeks" else int(value)
            return m.dossier(m.gas("55", "mmHg", DAY - timedelta(days=days)), m.gas("55", "mmHg", DAY))
        return m.dossier(m.gas(value, unit, DAY - timedelta(days=60)), m.gas(value, unit, DAY))

    return driver


def oxygen_step(m: Any, value: str, _: str) -> Dossier:
    flow = str(1 + Decimal(value))
    return m.dossier(m.gas(day=date(2026, 2, 20), oxygen_l_min="1"), m.gas(day=DAY, oxygen_l_min=flow))


def week_of_use(before: str) -> Driver:
    def driver(m: Any, value: str, _: str) -> Dossier:
        last = m.use(value, 7, m.today)
        return m.dossier(last, m.use(before, 28, m.today - timedelta(days=8)))

    return driver


def usual_use(m: Any, value: str, _: str) -> Dossier:
    return m.dossier(m.use("23", 7, m.today), m.use(value, 28, m.today - timedelta(days=8)))


def infected(m: Any, value: str, _: str) -> Dossier:
    return m.dossier(m.event(EventKind.INFECTION, m.today - timedelta(days=int(value))))


def trend_of(name: str) -> Driver:
    def driver(m: Any, value: str, _: str) -> Any:
        chances = {"p_rise": None, "p_rise_0_3": None, "p_above_limit": None} | {name: float(value)}
        return m.dossier(), SimpleNamespace(**chances, model_version="trend-1", readings=())

    return driver


N55 = night_of()
SUPINE_40 = night_of(tcco2_awake_supine=("40", "mmHg"))
SUPINE_6 = night_of(tcco2_awake_supine=("6.0", "kPa"))
CHILD_NIGHT = night_of(born=CHILD)
SICK = starting(day=("46", "mmHg"), rating=5)
WELL = starting()
UNWELL = starting(rating=5)
CONSENSUS = starting(rating=5, lungs={"fvc_pct": "70"}, at_88=600)
WEAK_AND_UNWELL = starting(rating=5, lungs={"fvc_pct": "70"})

TABLE: tuple[tuple[str, str, Driver, str, str, str], ...] = (
    ("GAS-1", "", level, "mmHg", "44.9 45 45.1", "NNY"),
    ("GAS-1", "", level, "kPa", "5.9 6.0 6.1", "NNY"),
    ("GAS-2", "", level, "mmHg", "44.9 45 45.1", "NYY"),
    ("GAS-2", "", level, "kPa", "5.9 6.0 6.1", "NYY"),
    ("GAS-3", "", level, "kPa", "5.9 6.0 6.1", "NNY"),
    ("GAS-3", "", level, "mmHg", "44 45 46", "NNY"),
    ("GAS-4", "", level, "kPa", "6.4 6.5 6.6", "NYY"),
    ("GAS-4", "", level, "mmHg", "48 49 50", "NYY"),
    ("GAS-5", "mild", level, "mmHg", "45 46 47", "NYY"),
    ("GAS-5", "mild", level, "kPa", "6.0 6.1 6.2", "NYY"),
    ("GAS-6", "", level, "mmHg", "34.9 35 35.1", "YNN"),
    ("GAS-6", "", level, "kPa", "4.6 4.7 4.8", "YNN"),
    ("GAS-7", "", with_ph("7.30"), "kPa", "6.4 6.5 6.6", "NNY"),
    ("GAS-7", "", with_ph("7.30"), "mmHg", "48 49 50", "NNY"),
    ("GAS-7", "pH", ph_at("9.0", "kPa"), "", "7.34 7.35 7.36", "YNN"),
    ("GAS-8", "", level, "kPa", "6.9 7.0 7.1", "NNY"),
    ("GAS-8", "", level, "mmHg", "52 53 54", "NNY"),
    ("GAS-8", "pH", ph_at("9.0", "kPa"), "", "7.29 7.30 7.31", "NYY"),
    ("GAS-9", "", pair("50", "mmHg"), "mmHg", "4.9 5 5.1", "NYY"),
    ("GAS-9", "", pair("6.5", "kPa"), "kPa", "0.6 0.7 0.8", "NYY"),
    ("GAS-10", "", field_of_gas("hco3_mmol_l"), "", "26.9 27 27.1", "NYY"),
    ("GAS-11", "", field_of_gas("hco3_mmol_l"), "", "26.9 27 27.1", "NNY"),
    ("GAS-12", "", field_of_gas("be_mmol_l"), "", "3.9 4 4.1", "NYY"),
    ("GAS-13", "", level, "mmHg", "44.9 45 45.1", "NNY"),
    ("GAS-13", "", level, "kPa", "5.9 6.0 6.1", "NNY"),
    ("GAS-14", "", venous, "mmHg", "44.9 45 45.1", "NYY"),
    ("GAS-14", "", venous, "kPa", "5.9 6.0 6.1", "NYY"),
    ("GAS-15", "rise", field_of_gas("hco3_mmol_l", value="60", unit="mmHg"), "", "30.9 31.0 31.1", "YNN"),
    ("GAS-16", "", level, "kPa", "4.4 4.5 4.6", "YNN"),
    ("GAS-16", "", level, "mmHg", "33 34 35", "YNN"),
    ("NGT-1", "", N55("tcco2_peak"), "mmHg", "54.9 55 55.1", "NN?"),
    ("NGT-1", "", N55("tcco2_peak"), "kPa", "7.2 7.3 7.4", "NN?"),
    ("NGT-1", "run", N55("tcco2_above_55_mmhg_s"), "s", "599 600 601", "NYY"),
    ("NGT-2", "", N55("tcco2_peak"), "mmHg", "54.9 55 55.1", "NN?"),
    ("NGT-2", "", N55("tcco2_peak"), "kPa", "7.2 7.3 7.4", "NN?"),
    ("NGT-2", "run", N55("tcco2_longest_above_55_mmhg_s"), "s", "599 600 601", "NYY"),
    ("NGT-3", "run", SUPINE_40("tcco2_longest_risen_10_above_50_mmhg_s"), "s",
     "599 600 601", "NYY"),
    ("NGT-4", "", CHILD_NIGHT("tcco2_peak"), "mmHg", "49.9 50 50.1", "NN?"),
    ("NGT-4", "", CHILD_NIGHT("tcco2_peak"), "kPa", "6.6 6.7 6.8", "NN?"),
    ("NGT-4", "share", CHILD_NIGHT("tcco2_above_50_mmhg_s"), "s", "7199 7200 7201", "NNY"),
    ("NGT-5", "", CHILD_NIGHT("tcco2_peak"), "mmHg", "49.9 50 50.1", "NNY"),
    ("NGT-5", "", CHILD_NIGHT("tcco2_peak"), "kPa", "6.6 6.7 6.8", "NNY"),
    ("NGT-6", "", CHILD_NIGHT("tcco2_peak"), "mmHg", "49.9 50 50.1", "NN?"),
    ("NGT-6", "share", CHILD_NIGHT("tcco2_above_50_mmhg_s"), "s", "575 576 577", "NNY"),
    ("NGT-7", "", rise_from("40", born=CHILD), "mmHg", "9.9 10 10.1", "NNY"),
    ("NGT-7", "", rise_from("5.3", born=CHILD), "kPa", "1.2 1.3 1.4", "NNY"),
    ("NGT-8", "", N55("tcco2_peak"), "mmHg", "48.9 49 49.1", "NYY"),
    ("NGT-8", "", N55("tcco2_peak"), "kPa", "6.4 6.5 6.6", "NYY"),
    ("NGT-9", "", N55("tcco2_peak"), "kPa", "6.4 6.5 6.6", "NNY"),
    ("NGT-9", "", N55("tcco2_peak"), "mmHg", "48 49 50", "NNY"),
    ("NGT-10", "", overnight("45"), "mmHg", "7.9 8 8.1", "NYY"),
    ("NGT-10", "", overnight("6.0"), "kPa", "1.0 1.1 1.2", "NYY"),
    ("NGT-11", "", rise_from("40"), "mmHg", "7.9 8 8.1", "NYY"),
    ("NGT-11", "", rise_from("5.3"), "kPa", "1.0 1.1 1.2", "NYY"),
    ("NGT-12", "", N55("tcco2_peak"), "mmHg", "49.9 50 50.1", "NN?"),
    ("NGT-12", "share", N55("tcco2_above_50_mmhg_s"), "s", "14399 14400 14401", "NNY"),
    ("NGT-13", "", rise_from("40"), "mmHg", "9.9 10 10.1", "NYY"),
    ("NGT-13", "", rise_from("5.3"), "kPa", "1.2 1.3 1.4", "NYY"),
    ("NGT-14", "peak", night_beside_day("47", rise=False), "mmHg", "54.9 55 55.1", "NYY"),
    ("NGT-14", "peak", night_beside_day("47", rise=False), "kPa", "7.2 7.3 7.4", "NYY"),
    ("NGT-14", "rise", night_beside_day("47", rise=True), "mmHg", "9.9 10 10.1", "NYY"),
    ("NGT-14", "rise", night_beside_day("47", rise=True), "kPa", "1.2 1.3 1.4", "NYY"),
    ("NGT-14", "day from", day_beside_night, "mmHg", "44.9 45 45.1", "NYY"),
    ("NGT-14", "day to", day_beside_night, "mmHg", "49.9 50 50.1", "YYN"),
    ("NGT-14", "day to", day_beside_night, "kPa", "6.6 6.7 6.8", "YYN"),
    ("NGT-15", "", level, "mmHg", "49.9 50 50.1", "?YY"),
    ("NGT-15", "", level, "kPa", "6.6 6.7 6.8", "?YY"),
    ("NGT-16", "peak", SUPINE_6("tcco2_peak"), "kPa", "6.6 6.7 6.8", "NYY"),
    ("NGT-16", "rise", rise_from("5.0"), "kPa", "0.8 0.9 1.0", "NYY"),
    ("NGT-16", "rise", rise_from("40"), "mmHg", "6 7 8", "NYY"),
    ("NGT-17", "", N55("tcco2_peak"), "kPa", "6.9 7.0 7.1", "NNY"),
    ("NGT-17", "", N55("tcco2_peak"), "mmHg", "52 53 54", "NNY"),
    ("NGT-18", "", N55("tcco2_peak"), "kPa", "7.2 7.3 7.4", "NNY"),
    ("NGT-18", "", N55("tcco2_peak"), "mmHg", "54 55 56", "NNY"),
    ("OXI-1", "", oximetry("at_or_below_88_s"), "s", "299 300 301", "NYY"),
    ("OXI-2", "", oximetry("longest_at_or_below_88_s"), "s", "299 300 301", "NYY"),
    ("OXI-3", "", oximetry("below_90_s"), "s", "2879 2880 2881", "NNY"),
    ("OXI-4", "", oximetry("below_90_s"), "s", "8639 8640 8641", "NNY"),
    ("OXI-5", "", dips, "", "4.9 5.0 5.1", "NYY"),
    ("OXI-6", "low", dips, "", "4.9 5.0 5.1", "NYY"),
    ("OXI-7", "", lambda m, v, u: m.dossier(m.gas(po2=m.pressure(v, u))), "kPa", "7.2 7.3 7.4", "YY?"),
    ("OXI-7", "", lambda m, v, u: m.dossier(m.gas(po2=m.pressure(v, u))), "mmHg", "54 55 56", "YY?"),
    ("OXI-7", "with oedema, polycythaemia or pulmonary hypertension",
     lambda m, v, u: m.dossier(m.gas(po2=m.pressure(v, u))), "kPa", "7.9 8.0 8.1", "??N"),
    ("USE-1", "", used(), "h", "3.9 4.0 4.1", "YNN"),
    ("USE-2", "", used(), "h", "4.9 5.0 5.1", "YNN"),
    ("USE-3", "", used("leak_l_min"), "", "23.9 24 24.1", "NNY"),
    ("USE-4", "", used("residual_events_per_h"), "", "9.9 10 10.1", "NNY"),
    ("USE-6", "low", used("tidal_volume_ml"), "", "299 300 301", "YNN"),
    ("USE-6", "high", used("tidal_volume_ml"), "", "499 500 501", "NNY"),
    ("TGT-1", "", level, "mmHg", "44.9 45 45.1", "NNY"),
    ("TGT-1", "", level, "kPa", "5.9 6.0 6.1", "NNY"),
    ("TGT-2", "fall", fall("10.0", "kPa"), "kPa", "7.9 8.0 8.1", "NNY"),
    ("TGT-2", "fall", fall("75", "mmHg"), "mmHg", "59 60 61", "NNY"),
    ("TGT-2", "or", fall("6.6", "kPa"), "kPa", "6.4 6.5 6.6", "NYY"),
    ("TGT-2", "or", fall("50", "mmHg"), "mmHg", "48 49 50", "NYY"),
    ("TGT-3", "", level, "mmHg", "44.9 45 45.1", "NYY"),
    ("TGT-3", "", level, "kPa", "5.9 6.0 6.1", "NYY"),
    ("TGT-4", "", field_of_gas("hco3_mmol_l"), "", "26.9 27 27.1", "NYY"),
    ("TGT-5", "", N55("tcco2_peak"), "mmHg", "48.9 49 49.1", "NYY"),
    ("TGT-5", "", N55("tcco2_peak"), "kPa", "6.4 6.5 6.6", "NYY"),
    ("TGT-6", "", N55("tcco2_mean"), "mmHg", "49.9 50 50.1", "NYY"),
    ("TGT-6", "", N55("tcco2_mean"), "kPa", "6.6 6.7 6.8", "NYY"),
    ("TGT-7", "low", level, "kPa", "4.4 4.5 4.6", "YNN"),
    ("TGT-7", "low", level, "mmHg", "33 34 35", "YNN"),
    ("TGT-7", "high", level, "mmHg", "44.9 45 45.1", "NNY"),
    ("TGT-7", "high", level, "kPa", "5.9 6.0 6.1", "NNY"),
    ("TGT-8", "", spo2(home_oxygen=True), "", "91 92 93", "NNY"),
    ("TGT-9", "", more_oxygen("6.0", "kPa"), "kPa", "0.9 1.0 1.1", "NNY"),
    ("TGT-9", "", more_oxygen("45", "mmHg"), "mmHg", "7 8 9", "NNY"),
    ("TGT-10", "", level, "mmHg", "44.9 45 45.1", "NNY"),
    ("TGT-10", "", level, "kPa", "5.9 6.0 6.1", "NNY"),
    ("TGT-11", "", oximetry("below_90_s"), "s", "2879 2880 2881", "NYY"),
    ("SYM-1", "", ratings(), "", "1 2 3", "NYY"),
    ("SYM-2", "", step_without_symptoms("50"), "mmHg", "4.9 5 5.1", "NYY"),
    ("SYM-2", "", step_without_symptoms("6.5"), "kPa", "0.6 0.7 0.8", "NYY"),
    ("SYM-2", "rating", ratings((("50", "mmHg"), ("60", "mmHg"))), "", "1 2 3", "YNN"),
    ("SYM-3", "", level_with_worse, "kPa", "5.9 6.0 6.1", "YYN"),
    ("SYM-3", "", level_with_worse, "mmHg", "44 45 46", "YYN"),
    ("SYM-3", "rating", ratings((("5.0", "kPa"),)), "", "1 2 3", "NYY"),
    ("STA-1", "", level_before, "mmHg", "44.9 45 45.1", "NNY"),
    ("STA-1", "", level_before, "kPa", "5.9 6.0 6.1", "NNY"),
    ("STA-2", "", after_admission(), "kPa", "6.9 7.0 7.1", "NNY"),
    ("STA-2", "", after_admission(), "mmHg", "52 53 54", "NNY"),
    ("STA-2", "pH", after_admission(), "pH", "7.29 7.30 7.31", "NYY"),
    ("STA-3", "", starting(at_88=400)("day"), "mmHg", "51.9 52 52.1", "NYY"),
    ("STA-3", "", starting(at_88=400)("day"), "kPa", "6.8 6.9 7.0", "NYY"),
    ("STA-3", "88 %", starting(day=("60", "mmHg"))("88"), "s", "299 300 301", "NYY"),
    ("STA-4", "", WELL("day"), "mmHg", "49.9 50 50.1", "NYY"),
    ("STA-4", "", WELL("day"), "kPa", "6.6 6.7 6.8", "NYY"),
    ("STA-4", "peak", night_beside_day("47", rise=False, **NEW), "mmHg", "54.9 55 55.1", "NYY"),
    ("STA-4", "rise", night_beside_day("47", rise=True, **NEW), "mmHg", "9.9 10 10.1", "NYY"),
    ("STA-5", "", level_before, "kPa", "6.9 7.0 7.1", "NYY"),
    ("STA-5", "", level_before, "mmHg", "52 53 54", "NYY"),
    ("STA-5", "pH", lambda m, v, _: m.dossier(m.gas("9.0", "kPa", ph=v), **NEW), "", "7.34 7.35 7.36", "NNY"),
    ("STA-6", "", level_before, "kPa", "5.9 6.0 6.1", "NNY"),
    ("STA-6", "", level_before, "mmHg", "44 45 46", "NNY"),
    ("STA-7", "", level_before, "mmHg", "44.9 45 45.1", "NYY"),
    ("STA-7", "", level_before, "kPa", "5.9 6.0 6.1", "NYY"),
    ("STA-8", "", WELL("day"), "mmHg", "44.9 45 45.1", "NYY"),
    ("STA-8", "", WELL("day"), "kPa", "5.9 6.0 6.1", "NYY"),
    ("STA-8", "night peak", WELL("peak"), "mmHg", "54.9 55 55.1", "NYY"),
    ("STA-8", "night peak", WELL("peak"), "kPa", "7.2 7.3 7.4", "NYY"),
    ("STA-8", "night rise", WELL("rise"), "mmHg", "9.9 10 10.1", "NYY"),
    ("STA-9", "PCO2", WELL("day"), "mmHg", "44.9 45 45.1", "NNY"),
    ("STA-9", "PCO2", WELL("day"), "kPa", "5.9 6.0 6.1", "NNY"),
    ("STA-9", "FVC with symptoms", UNWELL("fvc_pct"), "", "79 80 81", "YNN"),
    ("STA-9", "FVC", WELL("fvc_pct"), "", "49 50 51", "YNN"),
    ("STA-9", "SNIP", WELL("snip_cmh2o"), "", "39 40 41", "YNN"),
    ("STA-9", "MIP", WELL("mip_cmh2o"), "", "39 40 41", "YNN"),
    ("STA-10", "", WELL("day"), "mmHg", "44.9 45 45.1", "NYY"),
    ("STA-10", "", WELL("day"), "kPa", "5.9 6.0 6.1", "NYY"),
    ("STA-10", "88 %", WELL("88"), "s", "299 300 301", "NYY"),
    ("STA-10", "MIP", WELL("mip_cmh2o"), "", "59 60 61", "YNN"),
    ("STA-10", "FVC", WELL("fvc_pct"), "", "49 50 51", "YNN"),
    ("STA-11", "", both_ends_of_a_night, "mmHg", "44.9 45 45.1", "NYY"),
    ("STA-11", "night rise", starting(overnight=True)("rise"), "mmHg", "7.9 8 8.1", "NYY"),
    ("STA-11", "night rise", starting(overnight=True)("rise"), "kPa", "1.0 1.1 1.2", "NYY"),
    ("STA-11", "88 %", starting(overnight=True)("88"), "s", "299 300 301", "NYY"),
    ("STA-11", "below 90 %", starting(overnight=True)("90"), "s", "2879 2880 2881", "NNY"),
    ("STA-12", "", WEAK_AND_UNWELL("day"), "kPa", "6.4 6.5 6.6", "NYY"),
    ("STA-12", "", WEAK_AND_UNWELL("day"), "mmHg", "48 49 50", "NYY"),
    ("STA-12", "FVC", starting(rating=5, at_88=600)("fvc_pct"), "", "79 80 81", "YYN"),
    ("STA-12", "SNIP", starting(rating=5, at_88=600)("snip_cmh2o"), "", "39 40 41", "YYN"),
    ("STA-12", "88 %", WEAK_AND_UNWELL("88"), "s", "299 300 301", "NYY"),
    ("STA-13", "", level_before, "kPa", "5.9 6.0 6.1", "NNY"),
    ("STA-13", "", level_before, "mmHg", "44 45 46", "NNY"),
    ("STA-14", "without lung disease", spo2(**NEW), "", "93 94 95", "YYN"),
    ("STA-14", "with lung disease", spo2(has_lung_disease=True, **NEW), "", "91 92 93", "YYN"),
    ("STA-15", "", level_with_poor_sleep, "kPa", "5.9 6.0 6.1", "YYN"),
    ("STA-15", "", level_with_poor_sleep, "mmHg", "44 45 46", "YYN"),
    ("STA-16", "FVC", WELL("fvc_pct"), "", "49 50 51", "YNN"),
    ("STA-16", "SNIP", WELL("snip_cmh2o"), "", "39 40 41", "YNN"),
    ("STA-17", "FVC", WELL("fvc_pct"), "", "49 50 51", "YNN"),
    ("STA-17", "MIP", WELL("mip_cmh2o"), "", "59 60 61", "YNN"),
    ("STA-17", "awake", WELL("day"), "mmHg", "44.9 45 45.1", "NNY"),
    ("STA-17", "awake", WELL("day"), "kPa", "5.9 6.0 6.1", "NNY"),
    ("STA-17", "asleep", WELL("peak"), "mmHg", "49.9 50 50.1", "NNY"),
    ("STA-17", "asleep", WELL("peak"), "kPa", "6.6 6.7 6.8", "NNY"),
    ("STA-17", "88 %", WELL("88"), "s", "299 300 301", "NYY"),
    ("STA-18", "", UNWELL("day"), "mmHg", "44.9 45 45.1", "NYY"),
    ("STA-18", "", UNWELL("day"), "kPa", "5.9 6.0 6.1", "NYY"),
    ("STA-18", "night rise", WELL("rise"), "mmHg", "9.9 10 10.1", "NYY"),
    ("STA-18", "night peak", WELL("peak"), "mmHg", "48.9 49 49.1", "NYY"),
    ("STA-18", "night peak", WELL("peak"), "kPa", "6.4 6.5 6.6", "NYY"),
    ("MEA-1", "", minutes_since_oxygen, "", "29 30 31", "YNN"),
    ("MEA-2", "", minutes_applied, "", "14 15 16", "YNN"),
    ("MEA-3", "other sites", beside("chest", "50"), "mmHg", "14.9 15 15.1", "NNY"),
    ("MEA-3", "other sites", beside("chest", "6.5"), "kPa", "1.9 2.0 2.1", "NNY"),
    ("MEA-3", "ear lobe", beside("earlobe", "50"), "mmHg", "5.9 6 6.1", "NNY"),
    ("MEA-3", "ear lobe", beside("earlobe", "6.5"), "kPa", "0.7 0.8 0.9", "NNY"),
    ("MEA-4", "", spot_level, "mmHg", "59.9 60 60.1", "NNY"),
    ("MEA-4", "", spot_level, "kPa", "7.9 8.0 8.1", "NNY"),
    ("FUP-14", "", started_days_ago, "", "60 61 62", "YNN"),
    ("FUP-15", "", twice("level"), "mmHg", "49.9 50 50.1", "NYY"),
    ("FUP-15", "", twice("level"), "kPa", "6.6 6.7 6.8", "NYY"),
    ("FUP-15", "apart", twice("apart"), "days", "41 42 43", "NYY"),
    ("RED-2", "", with_ph("7.30"), "kPa", "5.9 6.0 6.1", "NNY"),
    ("RED-2", "", with_ph("7.30"), "mmHg", "44.9 45 45.1", "NNY"),
    ("RED-2", "pH", ph_at("9.0", "kPa"), "", "7.34 7.35 7.36", "YNN"),
    ("RED-3", "pH", ph_at("5.0", "kPa"), "", "7.29 7.30 7.31", "YNN"),
    ("RED-4", "", pair("50", "mmHg", "7.36"), "mmHg", "4.9 5 5.1", "NYY"),
    ("RED-4", "", pair("6.5", "kPa", "7.36"), "kPa", "0.6 0.7 0.8", "NYY"),
    ("RED-4", "pH fall", ph_of_the_second_gas, "", "7.37 7.38 7.39", "YYN"),
    ("RED-5", "", spo2(), "", "87 88 89", "YNN"),
    ("RED-6", "rise", oxygen_step, "", "-0.5 0 0.5", "NNY"),
    ("RED-7", "last week", week_of_use("8"), "", "19.9 20 20.1", "NYY"),
    ("RED-7", "usual", usual_use, "", "15.9 16 16.1", "YNN"),
    ("RED-8", "", infected, "", "13 14 15", "YYN"),
    ("TRD-1", "", trend_of("p_rise"), "", "0.799 0.80 0.801", "NYY"),
    ("TRD-2", "", trend_of("p_rise"), "", "0.949 0.95 0.951", "NYY"),
    ("TRD-3", "", trend_of("p_rise_0_3"), "", "0.799 0.80 0.801", "NYY"),
    ("TRD-4", "", trend_of("p_rise_0_3"), "", "0.949 0.95 0.951", "NYY"),
    ("TRD-5", "", trend_of("p_above_limit"), "", "0.799 0.80 0.801", "NYY"),
    ("TRD-6", "", trend_of("p_above_limit"), "", "0.949 0.95 0.951", "NYY"),
)  # fmt: skip


def answers(make: Any, rule_id: str, driver: Driver, unit: str, values: str) -> list[Any]:
    found = []
    for value in values.split():
        built = driver(make, value, unit)
        dossier, trend = built if isinstance(built, tuple) else (built, None)
        case = Case(dossier, make.today, trend, owed(dossier, today=make.today, pack=Pack("all", RULES)))
        found.append(judged(case, rule(rule_id)))
    return found


@pytest.mark.parametrize(
    ("rule_id", "name", "driver", "unit", "values", "expected"),
    TABLE,
    ids=[f"{row[0]}-{row[1] or 'limit'}-{row[3]}-{index}" for index, row in enumerate(TABLE)],
)
def test_each_limit_is_exact_at_its_boundary(make, rule_id, name, driver, unit, values, expected) -> None:
    found = answers(make, rule_id, driver, unit, values)
    assert "".join(LETTER[each.answer] for each in found) == expected, [each.sentence for each in found]
    assert not name or rule(rule_id).named(name)
    above_is_open = expected.endswith(
        "?"
    )  # only "never above" is told from a peak; the time decides beyond it
    if found[1].answer != Answer.NOT_ASSESSABLE and not above_is_open:
        assert found[1].at_threshold, found[1].sentence


UNTESTED_HERE = {
    ("GAS-5", "moderate"), ("GAS-5", "severe"), ("OXI-6", "middle"), ("OXI-6", "high"),  # bands, below
    ("NGT-3", "level"), ("NGT-3", "rise"),  # inside the scored run
    ("NGT-15", "below 88 %"), ("NGT-15", "below 90 %"),  # below
    ("STA-4", "day from"), ("STA-4", "day to"),  # same check as NGT-14
    ("STA-19", ""), ("STA-19", "share"),  # same check as NGT-4, below
    ("USE-5", ""),  # not held in the record
}  # fmt: skip


def test_every_limit_of_every_rule_has_a_boundary_test() -> None:
    tested = {(row[0], row[1] or rule(row[0]).limit.name) for row in TABLE}
    limits = {
        (each.id, limit.name) for each in RULES for limit in each.limits if each.check.__name__ != "overdue"
    }
    assert limits - tested - UNTESTED_HERE == set()


@pytest.mark.parametrize(
    ("value", "band"),
    [("46", "mild"), ("50", "mild"), ("51", "moderate"), ("55", "moderate"), ("56", "severe")],
)
def test_gas_5_places_whole_numbers_in_their_bin(make, value, band) -> None:
    assert f"bin: {band}" in answers(make, "GAS-5", level, "mmHg", value)[0].sentence


@pytest.mark.parametrize("value", ["45.1", "45.9", "50.1", "50.9", "55.1", "55.9"])
def test_gas_5_leaves_the_gaps_between_whole_number_bins_open(make, value) -> None:
    assert answers(make, "GAS-5", level, "mmHg", value)[0].answer == Answer.NOT_ASSESSABLE


@pytest.mark.parametrize(
    ("value", "band"), [("5", "low"), ("14.9", "low"), ("15", "middle"), ("29.9", "middle"), ("30", "high")]
)
def test_oxi_6_names_the_band_and_the_dip_size(make, value, band) -> None:
    sentence = answers(make, "OXI-6", dips, "", value)[0].sentence
    assert band in sentence
    assert "4 % dips" in sentence


@pytest.mark.parametrize(("seconds", "expected"), [("8640", "N"), ("8641", "Y")])
def test_ngt_15_needs_more_than_30_percent_below_90_beside_the_night_level(make, seconds, expected) -> None:
    def driver(m: Any, value: str, _: str) -> Dossier:
        study = m.night(tcco2_peak=m.pressure("50", "mmHg"), below_90_s=int(value), at_or_below_88_s=0)
        return m.dossier(m.gas("40", "mmHg"), study)

    assert LETTER[answers(make, "NGT-15", driver, "s", seconds)[0].answer] == expected


@pytest.mark.parametrize(("seconds", "expected"), [("3599", "N"), ("3600", "?")])
def test_ngt_15_cannot_tell_below_88_from_at_or_below_88(make, seconds, expected) -> None:
    def driver(m: Any, value: str, _: str) -> Dossier:
        study = m.night(tcco2_peak=m.pressure("50", "mmHg"), below_90_s=4000, at_or_below_88_s=int(value))
        return m.dossier(m.gas("40", "mmHg"), study)

    assert LETTER[answers(make, "NGT-15", driver, "s", seconds)[0].answer] == expected


@pytest.mark.parametrize(("seconds", "expected"), [(7200, "N"), (7201, "Y")])
def test_sta_19_asks_the_share_of_the_recording_in_children_not_yet_ventilated(
    make, seconds, expected
) -> None:
    study = make.night(tcco2_above_50_mmhg_s=seconds)
    dossier = make.dossier(study, born=CHILD, **NEW)
    assert LETTER[judged(Case(dossier, make.today), rule("STA-19")).answer] == expected


@pytest.mark.parametrize("rating", [3, 4])
def test_sta_15_needs_a_symptom_beside_the_normal_gas(make, rating) -> None:
    dossier = make.dossier(make.gas("6.0", "kPa"), make.report(DAY, sleep_quality=rating), **NEW)
    met = judged(Case(dossier, make.today), rule("STA-15")).answer == Answer.MET
    assert met == (rating == 4)


def test_a_night_off_the_ventilator_does_not_answer_a_goal_on_it(make) -> None:
    study = make.night(tcco2_peak=make.pressure("45", "mmHg"), ventilator=VentilatorState.OFF)
    assert judged(Case(make.dossier(study), make.today), rule("TGT-5")).answer == Answer.NOT_ASSESSABLE
