from datetime import date, timedelta
from decimal import Decimal

import pytest

from hvmon.rules.differential import CAUSES, Question, differential
from hvmon.sources import BY_KEY
from hvmon.stats.figure import Refused
from hvmon.vocabulary import (
    NOT_RECORDED,
    BicarbonateKind,
    DriftCorrection,
    EventKind,
    FilterKind,
    LeakKind,
    MedicineClass,
    Position,
    SampleKind,
    TestKind,
    VentilatorState,
)

LAST = date(2026, 3, 1)
BEFORE = date(2025, 12, 1)


@pytest.fixture
def rise(make):
    """A rise of 6.2 to 7.4 kPa, like for like, with a quiet record around it."""

    def build(*more, last=None, before=None, **who):
        gases = (
            make.gas("6.2", day=BEFORE, **(before or {})),
            make.gas(*(last or {}).pop("value", ("7.4", "kPa")), day=LAST, **(last or {})),
        )
        return differential(make.dossier(*gases, *more, **who))

    return build


def of(found, cause_id):
    return next(one for one in found.causes if one.cause.id == cause_id)


def support(found, cause_id):
    return " | ".join(one.words for one in of(found, cause_id).support)


def against(found, cause_id):
    return " | ".join(one.words for one in of(found, cause_id).against)


def unknown(found, cause_id):
    return " | ".join(of(found, cause_id).not_recorded)


def month(make, day, **figures):
    """Four weeks of nights up to a day."""
    return make.use(figures.pop("hours", "8"), last=day - timedelta(days=1), **figures)


# --- the whole ----


def test_causes_stand_in_the_teams_order_and_are_never_sorted(rise, make):
    found = rise(make.event(EventKind.INFECTION, LAST - timedelta(days=5)))
    ids = [one.cause.id for one in found.causes]
    assert ids == [f"{letter}{n}" for letter, count in (("A", 5), ("B", 3), ("C", 5), ("D", 4), ("E", 6))
                   for n in range(1, count + 1)]  # fmt: skip
    assert [question for question in Question if found.of(question)] == list(Question)


def test_an_empty_record_supports_nothing_and_says_for_the_other_causes_what_was_not_recorded(rise):
    found = rise()
    silent = [one.cause.id for one in found.causes if not one.not_recorded]
    assert silent == ["A3", "A4"]  # the conditions of both gases are recorded, and a gas has no sensor
    for letter in "BCDE":
        assert not any(one.support for one in found.causes if one.cause.id.startswith(letter))


def test_no_words_order_anything(rise, make):
    found = rise(month(make, LAST), month(make, BEFORE), make.change(date(2025, 6, 1)))
    words = " ".join(
        [one.cause.title + one.cause.team_check for one in found.causes]
        + [piece.words for one in found.causes for piece in (*one.support, *one.against)]
    ).lower()
    assert not any(order in words for order in ("increase the", "reduce the", "should", "you must", "start "))


def test_the_last_two_readings_of_one_kind_and_state_are_compared(rise, make):
    found = rise(make.gas("9.0", day=LAST - timedelta(days=1), kind=SampleKind.VENOUS))
    assert found.like_for_like
    assert (found.previous.kpa, found.last.kpa) == (6.2, 7.4)
    assert found.rising


def test_unlike_readings_are_compared_only_with_the_difference_named(make):
    who = make.dossier(make.gas("6.2", day=BEFORE, ventilator=VentilatorState.ON), make.gas("7.4", day=LAST))
    found = differential(who)
    assert not found.like_for_like
    assert "conditions differ" in support(found, "A3")
    assert "off ventilator, before on ventilator" in support(found, "A3")


def test_fewer_than_two_readings_of_a_kind_are_refused(make):
    assert isinstance(differential(make.dossier()), Refused)
    one = differential(make.dossier(make.gas("7.4", day=LAST)))
    assert "only one arterial reading" in one.reason


def test_every_cause_has_its_own_id_and_the_order_is_common_practice():
    assert len({cause.id for cause in CAUSES}) == len(CAUSES) == 23
    assert "Practice" in BY_KEY


# --- A: is it real? ----


def test_a1_a_sample_whose_po2_lies_far_below_the_oximeter_looks_venous(rise, make):
    found = rise(last={"po2": make.pressure("5.0", "kPa"), "spo2_pct": "93", "ph": "7.36"})
    assert "the oximeter showed 93 %" in support(found, "A1")
    fitting = rise(last={"po2": make.pressure("9.5", "kPa"), "spo2_pct": "93", "ph": "7.36"})
    assert "the oximeter showed 93 %" in against(fitting, "A1")
    assert "PO2 of the sample" in unknown(rise(), "A1")


def test_a1_the_po2_of_a_capillary_sample_is_not_held_against_the_oximeter(make):
    ear = {"kind": SampleKind.CAPILLARY_EARLOBE, "po2": make.pressure("5.0", "kPa"), "spo2_pct": "93"}
    found = differential(make.dossier(make.gas("6.6", day=BEFORE, **ear), make.gas("7.4", day=LAST, **ear)))
    assert "does not stand for the arterial" in unknown(found, "A1")
    assert "the oximeter showed" not in support(found, "A1")


@pytest.mark.parametrize(("minutes", "speaks"), [(29, True), (30, False)])
def test_a3_less_than_half_an_hour_in_the_state_speaks_for_other_conditions(rise, minutes, speaks):
    found = rise(last={"minutes_in_state": minutes})
    assert (f"{minutes} min in the state" in support(found, "A3")) is speaks


def test_a_last_value_that_is_not_above_the_one_before_is_no_rise(rise):
    assert rise().rising
    assert not rise(last={"value": ("6.2", "kPa")}).rising
    assert not rise(last={"value": ("5.9", "kPa")}).rising


def test_a2_a_late_analysis_several_attempts_and_numbers_that_do_not_fit(rise, make):
    found = rise(
        last={
            "analysed_at": make.at(LAST, 11, 30), "failed_attempts": 3, "ph": "7.36", "hco3_mmol_l": "24",
            "po2": make.pressure("16.0", "kPa"),
        }
    )  # fmt: skip
    words = support(found, "A2")
    assert "analysed 90 min after" in words
    assert "3 failed attempts" in words
    assert "inconsistent" in words
    assert "cannot be" in words


def test_a3_other_oxygen_position_and_clock_are_named(rise, make):
    found = rise(last={"position": Position.SUPINE, "drawn_at": make.at(LAST, 20), "minutes_in_state": 5})
    words = support(found, "A3")
    assert "position: supine, before sitting" in words
    assert "taken at 20 h, before at 10 h" in words
    assert "5 min in the state" in words
    assert "ventilator: off ventilator both times" in against(found, "A3")


def test_a4_a_transcutaneous_rise_asks_for_drift_and_warmth(make):
    cool = {"drift_correction": DriftCorrection.NONE, "sensor_temperature_c": Decimal(40)}
    who = make.dossier(make.spot("6.0", "kPa", BEFORE), make.spot("7.2", "kPa", LAST, **cool))
    found = differential(who)
    assert "drift correction: none" in support(found, "A4")
    assert "sensor at 40 C" in support(found, "A4")


def test_a5_a_number_of_the_other_unit_is_found_by_its_bicarbonate(make):
    slip = make.gas("48", "kPa", day=LAST, ph="7.38", hco3_mmol_l="27.9", hco3_kind=BicarbonateKind.ACTUAL)
    found = differential(make.dossier(make.gas("6.2", day=BEFORE), slip))
    assert "the other pressure unit" in support(found, "A5")
    assert "7.74 times the one before" in support(found, "A5")


# --- B and C: unwell, received ----


def test_b1_an_infection_and_a_faster_rate_support_an_acute_illness(rise, make):
    found = rise(
        make.event(EventKind.INFECTION, LAST - timedelta(days=6)),
        month(make, LAST, rate_min="21"),
        month(make, BEFORE, rate_min="16"),
    )
    words = support(found, "B1")
    assert "respiratory infection on 2026-02-23" in words
    assert "rate 21 /min" in words


def test_b2_a_new_opioid_between_the_readings_supports_and_silence_does_not_exclude(rise, make):
    opioid = make.event(
        EventKind.MEDICINE_STARTED, date(2026, 1, 10), medicine_class=MedicineClass.OPIOID, detail="invented"
    )
    old = make.event(EventKind.MEDICINE_STARTED, date(2025, 3, 1), medicine_class=MedicineClass.OPIOID)
    assert "opioid on 2026-01-10" in support(rise(opioid), "B2")
    silent = of(rise(old), "B2")
    assert not silent.support
    assert not silent.against
    assert "no sedating medicine is recorded" in silent.not_recorded[0]


def test_b3_more_oxygen_and_saturation_above_target(make):
    last = make.gas("7.4", day=LAST, oxygen_l_min="2", spo2_pct="97")
    found = differential(make.dossier(make.gas("6.2", day=BEFORE, oxygen_l_min="1", spo2_pct="91"), last))
    assert "oxygen 2 L/min, before 1" in support(found, "B3")
    assert "SpO2 97 % on oxygen" in support(found, "B3")


@pytest.mark.parametrize(("spo2", "speaks"), [("92", False), ("93", True)])
def test_b3_without_a_target_of_the_person_it_is_92(make, spo2, speaks):
    gases = [
        make.gas(kpa, day=day, oxygen_l_min="1", spo2_pct=spo2)
        for kpa, day in (("6.2", BEFORE), ("7.4", LAST))
    ]
    found = differential(make.dossier(*gases))
    assert (f"SpO2 {spo2} % on oxygen" in support(found, "B3")) is speaks


@pytest.mark.parametrize(("days", "told"), [(25, True), (26, False)])
def test_c1_three_nights_of_28_without_a_record_are_told(rise, make, days, told):
    found = rise(make.use("8", days=days, last=LAST - timedelta(days=1)))
    assert ("of 28 nights" in unknown(found, "C1")) is told


def test_nights_are_those_of_the_four_weeks_before_the_reading(rise, make):
    long = make.use("8", days=400, last=LAST - timedelta(days=1))
    assert "(median of 28 nights)" in against(rise(long), "C1")


def test_a_difference_within_the_scatter_of_nights_is_no_move(rise, make):
    # medians a tenth apart with nights a whole one apart: neither beyond scatter nor outside the own range
    def scattered(night, n):
        step = Decimal(n % 3 - 1)
        return night.model_copy(
            update={"usage_h": night.usage_h + step, "leak_l_min": night.leak_l_min + step}
        )

    nights = [
        scattered(night, n)
        for hours, leak, day in (("7.9", "8.1", LAST), ("8.0", "8.0", BEFORE))
        for n, night in enumerate(month(make, day, hours=hours, leak_l_min=leak))
    ]
    found = rise(nights)
    assert not of(found, "C1").support
    assert not of(found, "C2").support
    assert "8.1 L/min" in against(found, "C2")


def test_d1_leak_that_rose_comes_before_too_little_support(rise, make):
    small = {"tidal_volume_ml": "260", "rate_min": "16"}
    found = rise(
        make.change(date(2025, 6, 1)),
        month(make, LAST, leak_l_min="20", **small),
        month(make, BEFORE, leak_l_min="6", **small),
    )
    assert "use fell or leak rose, which come first" in against(found, "D1")


def test_c1_fewer_hours_support_under_use_and_the_same_hours_speak_against(rise, make):
    fell = rise(month(make, LAST, hours="4.5"), month(make, BEFORE, hours="8"))
    assert "use 4.5 h" in support(fell, "C1")
    same = rise(month(make, LAST), month(make, BEFORE))
    assert "use 8 h" in against(same, "C1")
    assert "fewer than 5 nights" in unknown(rise(), "C1")


def test_own_usual_range_and_not_a_norm_decides(rise, make):
    always_short = make.use("4.5", days=400, last=LAST - timedelta(days=1))
    found = rise(always_short)
    assert not of(found, "C1").support
    assert "own usual 4.5 to 4.5" in against(found, "C1")


def test_c2_leak_counts_only_within_one_kind(rise, make):
    up = rise(month(make, LAST, leak_l_min="28"), month(make, BEFORE, leak_l_min="8"))
    assert "leak (unintentional, median) 28" in support(up, "C2")
    other = rise(
        month(make, LAST, leak_l_min="28", leak_kind=LeakKind.TOTAL_MEDIAN),
        month(make, BEFORE, leak_l_min="8"),
    )
    assert not of(other, "C2").support
    assert "not comparable" in unknown(other, "C2")


def test_c3_a_new_filter_and_a_volume_that_moved_without_a_change_of_settings(rise, make):
    first = make.change(date(2025, 6, 1))
    moved = rise(first, month(make, LAST, tidal_volume_ml="380"), month(make, BEFORE, tidal_volume_ml="480"))
    assert "settings unchanged" in support(moved, "C3")
    filtered = make.change(date(2026, 1, 5), program_1=make.program(filter_kind=FilterKind.HEAT_MOISTURE))
    assert "filter heat and moisture exchanger, before none" in support(rise(first, filtered), "C3")
    equipment = make.event(EventKind.EQUIPMENT, date(2026, 2, 10), detail="new tubing")
    assert "equipment changed on 2026-02-10" in support(rise(first, equipment), "C3")


def test_c4_a_change_between_the_readings_is_named_and_settings_never_read_are_not_recorded(rise, make):
    first = make.change(date(2025, 6, 1))
    second = make.change(date(2026, 1, 5), test=TestKind.DAY_GAS, program_1=make.program("16"))
    assert "settings were changed between the readings" in support(rise(first, second), "C4")
    assert "settings read at the machine" in unknown(rise(first), "C4")


@pytest.mark.parametrize(("hour", "counts"), [(9, True), (12, False)])
def test_c4_a_change_later_on_the_day_of_the_reading_was_not_yet_in_force(rise, make, hour, counts):
    # the gas is of 10 o'clock
    found = rise(make.change(date(2025, 6, 1)), make.change(LAST, hour=hour))
    assert ("settings were changed between" in support(found, "C4")) is counts


def test_c5_a_triggered_share_far_from_usual(rise, make):
    found = rise(month(make, LAST, triggered_pct="20"), month(make, BEFORE, triggered_pct="75"))
    assert "triggered breaths 20 %" in support(found, "C5")


# --- D and E: enough, changed ----


def test_d1_a_low_volume_with_good_use_and_leak(rise, make):
    small = {"tidal_volume_ml": "260", "rate_min": "16", "leak_l_min": "6"}
    found = rise(make.change(date(2025, 6, 1)), month(make, LAST, **small), month(make, BEFORE, **small))
    words = support(found, "D1")
    assert "5.2 mL per kg of predicted weight (height 152 cm by standing)" in words  # 152.4 cm, man: 50.0 kg
    assert "use did not fall and leak did not rise" in words


def test_d1_use_and_leak_that_hold_alone_do_not_speak_for_too_little_support(rise, make):
    good = {"tidal_volume_ml": "400", "rate_min": "16", "leak_l_min": "6"}
    found = rise(make.change(date(2025, 6, 1)), month(make, LAST, **good), month(make, BEFORE, **good))
    assert support(found, "D1") == ""
    assert "8.0 mL per kg" in against(found, "D1")


@pytest.mark.parametrize(("volume_ml", "speaks"), [("298", True), ("301", False)])
def test_d1_a_volume_is_low_below_6_ml_per_kg(rise, make, volume_ml, speaks):
    # 50.0 kg predicted: 300 mL is 6 mL/kg
    small = {"tidal_volume_ml": volume_ml, "rate_min": "16", "leak_l_min": "6"}
    found = rise(make.change(date(2025, 6, 1)), month(make, LAST, **small), month(make, BEFORE, **small))
    assert ("mL per kg" in support(found, "D1")) is speaks


@pytest.mark.parametrize(("mmhg", "speaks"), [("50", True), ("49.9", False)])
def test_d1_a_night_on_the_ventilator_is_high_from_a_mean_of_50_mmhg(rise, make, mmhg, speaks):
    night = make.night(LAST - timedelta(days=4), tcco2_mean=make.pressure(mmhg, "mmHg"))
    assert ("night mean" in support(rise(night), "D1")) is speaks


def test_d2_more_dips_of_the_same_size_between_two_studies(rise, make):
    def study(day, dips):
        return make.night(day, dips_per_h=Decimal(dips), dip_size_pct=4, dip_convention="fall of 4 %")

    found = rise(study(BEFORE - timedelta(days=3), "5"), study(LAST - timedelta(days=3), "18"))
    assert "4 % dips 18/h" in support(found, "D2")


def test_d3_over_ventilation_between_the_readings(make):
    low = make.gas("4.1", day=date(2026, 1, 15), ventilator=VentilatorState.ON)
    found = differential(make.dossier(make.gas("6.2", day=BEFORE), low, make.gas("7.4", day=LAST)))
    assert "PCO2 4.1 kPa" in support(found, "D3")


def test_d4_day_course_is_said_to_be_missing(rise):
    assert "on waking and late on the same day" in unknown(rise(), "D4")


def test_e1_falling_lung_function_supports_progression(rise, make):
    found = rise(make.lung(BEFORE, fvc_l="2.0"), make.lung(LAST, fvc_l="1.5"))
    assert "vital capacity 1.5 L" in support(found, "E1")
    assert "sniff pressure before each reading" in unknown(found, "E1")


def test_e2_a_change_of_weight_either_way(rise, make):
    gained = rise(make.weight(BEFORE, "80"), make.weight(LAST, "90"))
    assert "weight 90 kg" in support(gained, "E2")
    assert "weight 81 kg" in against(rise(make.weight(BEFORE, "80"), make.weight(LAST, "81")), "E2")


def test_e4_alkalaemia_and_a_diuretic_support_a_metabolic_cause(rise, make):
    diuretic = make.event(
        EventKind.MEDICINE_STARTED, date(2026, 1, 10), medicine_class=MedicineClass.DIURETIC
    )
    found = rise(diuretic, last={"ph": "7.47"})
    assert "pH 7.47" in support(found, "E4")
    assert "diuretic on 2026-01-10" in support(found, "E4")
    assert "potassium and chloride" in unknown(found, "E4")


@pytest.mark.parametrize(("ph", "told"), [("7.39", True), ("7.36", False)])
def test_e4_a_rise_of_bicarbonate_without_alkalaemia_is_said_to_go_with_co2(rise, ph, told):
    # 28.5 mmol/L before; 33.2 and 31.0 now, and 2.6 is more than readings scatter
    found = rise(last={"ph": ph})
    assert ("a rise without alkalaemia goes with CO2" in against(found, "E4")) is told


@pytest.mark.parametrize("cause", ["E3", "E5", "E6"])
def test_what_the_record_does_not_hold_is_said_for_the_rest(rise, cause):
    assert of(rise(), cause).not_recorded


def test_conditions_that_were_not_recorded_are_said_so(rise):
    found = rise(last={"position": Position.NOT_RECORDED, "minutes_in_state": NOT_RECORDED})
    assert "position at one of the readings" in unknown(found, "A3")
    assert "minutes on or off the mask" in unknown(found, "A3")
