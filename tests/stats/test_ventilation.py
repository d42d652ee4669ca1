import math
from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
from breathers import TODAY, dossier, gas, nights, usual_person, weight

from hvmon.stats.body import (
    INTERFACE_ML,
    MeasuredDeadSpace,
    body_of,
    measured_dead_space,
    predicted_weight,
    whole_dead_space,
)
from hvmon.stats.breathing import Breathing, breathing_between, night_breathing
from hvmon.stats.figure import Carried, Figure, Refused, Uncertain, plain_figure
from hvmon.stats.ventilation import (
    Credibility,
    alveolar_ventilation,
    expected_vco2,
    gas_estimate,
    judge_vco2,
    ventilation_of_night,
    ventilation_of_period,
    volume_per_actual_kg,
)
from hvmon.vocabulary import (
    NOT_RECORDED,
    HeightMethod,
    Interface,
    LeakKind,
    SampleKind,
    Sex,
    TemperatureCorrection,
)

MONTH_AGO = TODAY - timedelta(days=28)


def breathing(volume, rate, sd_volume=0.0, sd_rate=0.0):
    return Breathing(Uncertain(volume, sd_volume), Uncertain(rate, sd_rate), 5.0, 10, 0, 0.1)


def space(ml, sd=0.0):
    return whole_dead_space(plain_figure(ml, sd, "mL"), 0.0, 0.0)


# --- what is computed -----------------------------------------------------------------------------


def test_alveolar_ventilation_is_the_textbook_one():
    # 500 mL, 14 a minute, 150 mL of dead space: 4.9 L/min (teaching sheet "Calculations")
    found = alveolar_ventilation(breathing(500.0, 14.0), space(150.0))
    assert found.value == pytest.approx(4.9)


@pytest.mark.parametrize(("sd_volume", "sd_space"), [(40.0, 40.0), (25.0, 30.0), (45.0, 20.0)])
def test_its_sd_agrees_with_monte_carlo_within_five_percent(sd_volume, sd_space):
    found = alveolar_ventilation(breathing(500.0, 14.0, sd_volume, 0.5), space(150.0, sd_space))
    draw = np.random.default_rng(5)
    n = 400_000
    values = draw.normal(14.0, 0.5, n) * (draw.normal(500.0, sd_volume, n) - draw.normal(150.0, sd_space, n))
    assert found.carried == Carried.FIRST_ORDER
    assert np.std(values) / 1000 == pytest.approx(found.sd, rel=0.05)


def test_it_is_sampled_when_dead_space_is_a_large_part_of_an_uncertain_volume():
    found = alveolar_ventilation(breathing(300.0, 20.0, 45.0), space(180.0, 45.0))
    assert found.carried == Carried.SAMPLED
    assert found.low_95 >= 0.0


def test_it_is_refused_when_dead_space_is_not_smaller_than_tidal_volume():
    found = alveolar_ventilation(breathing(150.0, 20.0), space(180.0))
    assert isinstance(found, Refused)
    assert "not smaller than tidal volume" in found.reason


def test_a_period_takes_medians_and_keeps_the_machines_own_error():
    found = breathing_between(usual_person(), MONTH_AGO, TODAY)
    assert found.tidal_volume_ml.value == pytest.approx(458.0)
    assert found.tidal_volume_ml.sd > 0.1 * 458.0
    assert found.nights == 28


def test_a_night_and_a_period_give_minute_and_alveolar_ventilation_and_volume_per_kg():
    who = usual_person()
    body = body_of(who, TODAY, interface=Interface.NASAL_MASK)
    period = ventilation_of_period(who, MONTH_AGO, TODAY, body)
    night = ventilation_of_night(who.nightly_use[-1].record, body)
    assert period.minute_ventilation.value == pytest.approx(16 * 458 / 1000)
    assert night.minute_ventilation.value == pytest.approx(16 * 450 / 1000)
    assert 0.0 < period.alveolar_ventilation.value < period.minute_ventilation.value
    assert period.volume_per_kg.value == pytest.approx(458 / 70.566, rel=1e-6)
    assert "height 175 cm by standing" in period.volume_per_kg.assumes


def test_a_measured_dead_space_replaces_every_estimate():
    # Bohr-Enghoff: PaCO2 40, mixed expired 27, 500 mL gives 162.5 mL
    found = measured_dead_space(MeasuredDeadSpace(5.333, 3.6, 500.0))
    assert found.measured
    assert found.total.value == pytest.approx(162.5, abs=0.2)


@pytest.mark.parametrize("mixed", [0.0, 6.0])
def test_an_impossible_measurement_is_refused_by_name(mixed):
    found = measured_dead_space(MeasuredDeadSpace(5.3, mixed, 500.0))
    assert "mixed_expired_pco2_kpa" in found.reason


def test_the_apparatus_enters_as_a_range_and_a_tracheostomy_halves_the_airway():
    low, high = INTERFACE_ML[Interface.ORONASAL_MASK]
    face = body_of(dossier(), TODAY, interface=Interface.ORONASAL_MASK).dead_space
    tube = body_of(dossier(tracheostomy=True), TODAY, interface=Interface.TRACHEOSTOMY_CUFFED).dead_space
    assert (face.apparatus_low_ml, face.apparatus_high_ml) == (low, high)
    assert face.total.value == pytest.approx(face.airway.value + (low + high) / 2)
    assert face.total.sd > face.airway.sd
    assert tube.airway.value == pytest.approx(1.03 * 70.566)


def test_where_predicted_weight_is_refused_tidal_volume_is_given_per_kg_of_actual_weight():
    child = dossier(nights(volume="180"), weight(TODAY, "20"), born=date(2020, 1, 1), height_cm=Decimal(115))
    body = body_of(child, TODAY, interface=Interface.NASAL_MASK)
    breathed = breathing_between(child, MONTH_AGO, TODAY)
    found = volume_per_actual_kg(breathed, body)
    assert found.value == pytest.approx(188 / 20)
    assert found.relative_sd == pytest.approx(math.hypot(breathed.tidal_volume_ml.sd / 188, 0.03), rel=1e-3)
    light = dossier(born=date(2020, 1, 1))
    assert volume_per_actual_kg(breathed, body_of(light, TODAY)).reason == "weight not recorded"
    assert "weight" in body.predicted_weight.needs


def test_a_dead_space_that_is_refused_asks_for_a_measured_one():
    short = body_of(dossier(height_cm=Decimal(130)), TODAY).dead_space
    assert short.needs == "a decision to use it there, or a measured dead space"


def test_no_interval_of_a_dead_space_is_negative():
    # below a tracheostomy: 1.03 x 47.8 + 8.5 = 58 mL with an SD of 40, which alone would reach below none
    who = dossier(tracheostomy=True, height_cm=Decimal(150))
    total = body_of(who, TODAY, interface=Interface.TRACHEOSTOMY_CUFFED).dead_space.total
    assert total.value - 1.96 * total.sd < 0.0
    assert total.low_95 == 0.0


def test_a_refusal_names_the_first_and_the_last_night_looked_at():
    start, end = date(2026, 3, 1), date(2026, 3, 11)
    few = breathing_between(dossier(nights(days=2)), start, end)
    assert "from 2026-03-01 to 2026-03-10;" in few.reason
    leaking = breathing_between(dossier(nights(leak="30")), start, end)
    assert "nights from 2026-03-01 to 2026-03-10;" in leaking.reason
    period = ventilation_of_period(dossier(nights()), start, end, body_of(dossier(), TODAY))
    assert period.label == "nights from 2026-03-01 to 2026-03-10"


def test_a_childs_dead_space_goes_by_age_and_weight():
    # 6 years: 2.190 mL/kg (Numa and Newth 1996)
    child = dossier(weight(TODAY, "20"), born=date(2020, 1, 1), height_cm=Decimal(115))
    found = body_of(child, TODAY, interface=Interface.TRACHEOSTOMY_CUFFED).dead_space
    assert found.airway.value == pytest.approx(2.190 * 20, abs=0.02)
    assert found.airway.sd == pytest.approx(found.airway.value / 3)  # an adult's 40 mL would be all of it


# --- what is refused ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("height", "sex", "age", "words"),
    [
        (None, Sex.MALE, 60, "height not recorded"),
        (139.0, Sex.MALE, 60, "below 140 cm"),
        (17.5, Sex.MALE, 60, "height_cm 17.5 is outside"),
        (350.0, Sex.MALE, 60, "height_cm 350 is outside"),
        (170.0, Sex.NOT_RECORDED, 60, "sex not recorded"),
        (150.0, Sex.MALE, 12, "made for adults"),
    ],
)
def test_predicted_weight_is_refused_with_its_reason(height, sex, age, words):
    found = predicted_weight(height, HeightMethod.STANDING, sex, age)
    assert isinstance(found, Refused)
    assert words in found.reason
    assert found.needs


def test_below_140_cm_an_override_gives_it_but_never_a_weight_without_meaning():
    # 139 cm, man: 50 + 0.91 (139 - 152.4) = 37.8 kg; at 100 cm a woman would get minus 2
    assert predicted_weight(
        139.0, HeightMethod.STANDING, Sex.MALE, 60, below_140_cm=True
    ).value == pytest.approx(37.806)
    assert isinstance(
        predicted_weight(100.0, HeightMethod.STANDING, Sex.FEMALE, 60, below_140_cm=True), Refused
    )


def test_displayed_volume_under_leak_is_not_used():
    leaking = dossier(nights(leak="30"))
    found = breathing_between(leaking, MONTH_AGO, TODAY)
    assert isinstance(found, Refused)
    assert "leak was above 24 L/min in 28 of 28 nights" in found.reason
    night = night_breathing(leaking.nightly_use[-1].record)
    assert "displayed volume is not the person's" in night.reason
    assert isinstance(breathing_between(leaking, MONTH_AGO, TODAY, leak_limit_l_min=40.0), Breathing)


def test_nights_that_leak_are_left_out_and_counted():
    mixed = dossier(nights(days=10), nights(leak="40", days=5, last=TODAY - timedelta(days=11)))
    found = breathing_between(mixed, MONTH_AGO, TODAY)
    assert (found.nights, found.nights_left_out) == (10, 5)


def test_a_leak_that_is_not_the_unintentional_one_widens_the_volume():
    total = breathing_between(dossier(nights(leak_kind=LeakKind.TOTAL_MEDIAN)), MONTH_AGO, TODAY)
    own = breathing_between(dossier(nights()), MONTH_AGO, TODAY)
    assert total.tidal_volume_ml.sd > 2.0 * own.tidal_volume_ml.sd
    assert "not known" in total.assumes[0]


def estimate(gas_record, **who):
    found = dossier(nights(), gas_record, **who)
    body = body_of(found, TODAY, interface=Interface.NASAL_MASK)
    return gas_estimate(found, found.blood_gas[0], body)


def test_a_daytime_gas_off_the_ventilator_says_nothing_about_night_ventilation():
    found = estimate(gas(7.0, TODAY - timedelta(days=2), on=False))
    assert isinstance(found.implied_vco2, Refused)
    assert "says nothing about ventilation during the night" in found.implied_vco2.reason
    assert isinstance(found.credibility, Refused)
    # its own alveolar ventilation at the sample can still be estimated
    assert isinstance(found.implied_alveolar_ventilation, Figure)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"minutes": 10}, "only 10 min"),
        ({"minutes": 29}, "only 29 min"),
        ({"temperature_correction": TemperatureCorrection.CORRECTED}, "corrected to body temperature"),
        ({"minutes": NOT_RECORDED}, "not recorded"),
        ({"kind": SampleKind.VENOUS}, "venous"),
    ],
)
def test_a_gas_that_is_not_steady_or_not_arterial_implies_no_co2_output(changes, words):
    found = estimate(gas(7.0, TODAY - timedelta(days=2), **changes))
    assert words in found.implied_vco2.reason


def test_a_steady_gas_on_the_ventilator_implies_a_co2_output_and_its_credibility():
    found = estimate(gas(7.0, TODAY - timedelta(days=2)))
    expected = 7.0 * 16 * (458 - (2.2 * 70.566 + 55)) / 1000 / 0.11505
    assert found.implied_vco2.value == pytest.approx(expected, rel=1e-3)
    assert found.credibility in set(Credibility)


def test_half_an_hour_on_the_ventilator_is_steady():
    assert isinstance(estimate(gas(7.0, TODAY - timedelta(days=2), minutes=30)).implied_vco2, Figure)


@pytest.mark.parametrize(
    ("implied", "verdict"),
    [
        # ln(implied / 137) in units of the joint SD of 16 and 25 percent: 0.5, 1.1, 2.1
        (158.0, Credibility.CREDIBLE),
        (190.0, Credibility.DOUBTFUL),
        (255.0, Credibility.NOT_CREDIBLE),
        (73.0, Credibility.NOT_CREDIBLE),
    ],
)
def test_credibility_is_judged_by_the_errors_of_both_outputs(implied, verdict):
    found = plain_figure(implied, 0.158 * implied, "mL/min")
    assert judge_vco2(found, plain_figure(137.0, 34.0, "mL/min"))[0] == verdict


def test_an_impossible_co2_output_is_called_so():
    # PaCO2 7.0, 450 mL at 16 over 150 mL implies 292 mL/min: too high for most with a weak chest
    implied = plain_figure(292.0, 40.0, "mL/min")
    verdict, words = judge_vco2(implied, plain_figure(137.0, 34.0, "mL/min"))
    assert verdict == Credibility.NOT_CREDIBLE
    assert "over-read" in words


def test_expected_co2_output_carries_an_sd_of_a_quarter():
    found = expected_vco2(body_of(dossier(), TODAY))
    assert found.sd / found.value == pytest.approx(0.25)


def test_without_a_height_volume_per_kg_and_dead_space_are_refused_but_minute_ventilation_is_not():
    who = dossier(nights(), height_cm=NOT_RECORDED, height_method=HeightMethod.NOT_RECORDED)
    found = ventilation_of_period(who, MONTH_AGO, TODAY, body_of(who, TODAY))
    assert isinstance(found.minute_ventilation, Figure)
    assert isinstance(found.volume_per_kg, Refused)
    assert isinstance(found.alveolar_ventilation, Refused)


def test_an_ulna_stands_in_for_a_height_that_was_not_recorded_and_is_named():
    who = dossier(height_cm=NOT_RECORDED, height_method=HeightMethod.NOT_RECORDED, ulna_cm=Decimal(25))
    found = body_of(who, TODAY)
    assert found.height_method == HeightMethod.ULNA
    # 86.3 + 3.15 x 25 = 165.05 cm for a man of 66
    assert found.predicted_weight.assumes == (
        "height 165 cm by ulna length (MUST2003 equations, from memory: to be checked)",
    )
    # limits of agreement of -19.8 to 5.7 cm: SD 6.5 about a mean of -7.05, both counted
    spread = math.hypot((5.7 + 19.8) / (2 * 1.96), (5.7 - 19.8) / 2)
    assert found.predicted_weight.sd == pytest.approx(0.91 * spread, rel=0.01)


def test_a_height_that_was_recorded_from_an_ulna_is_not_called_ours_but_is_as_uncertain():
    who = dossier(height_cm=Decimal(165), height_method=HeightMethod.ULNA)
    found = body_of(who, TODAY).predicted_weight
    assert found.assumes == ("height 165 cm by ulna length",)
    assert found.sd == pytest.approx(0.91 * 9.6)
