import importlib.util
import math
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest
from breathers import TODAY, change, dossier, gas, nights, program, usual_person

from hvmon.physiology.ventilation import KPA_L_PER_ML, paco2_after_change_sd_kpa
from hvmon.records.dossier import dated
from hvmon.records.held import Held
from hvmon.sources import BY_KEY
from hvmon.stats.anchor import anchor_of_gas, baseline_of
from hvmon.stats.figure import Refused, plain_figure
from hvmon.stats.forecast import forecast
from hvmon.stats.guards import GuardState
from hvmon.stats.machine import MachineSettings, Proposal, after
from hvmon.stats.mechanism import Method, draw_change
from hvmon.stats.own_response import OwnResponse, own_response
from hvmon.stats.steady import robust_sd, steady_state
from hvmon.stats.whatif import Quantity, compare, what_if
from hvmon.vocabulary import Circuit, RecordStatus, SampleKind, VentilatorMode, VentilatorState

STUDY = Path(__file__).parents[2] / "docs" / "studies" / "whatif_coverage.py"


@pytest.fixture(scope="module")
def usual():
    return baseline_of(usual_person(), TODAY)


def volume_mode(base, volume=450.0):
    settings = MachineSettings(
        VentilatorMode.VOLUME_CONTROL,
        tidal_volume_ml=volume,
        backup_rate_min=16.0,
        inspiratory_time_s=1.2,
        circuit=Circuit.DOUBLE_LIMB,
    )
    return replace(base, settings=settings)


def guard(found, name):
    return next(one for one in found.guards if one.name == name)


# --- what it says -------------------------------------------------------------------------------------


def test_more_pressure_support_lowers_the_expected_paco2_step_by_step(usual):
    steps = [20.0, 22.0, 24.0, 26.0]
    found = compare(usual, [Proposal(f"IPAP {ipap:g}", ipap_cmh2o=ipap) for ipap in steps])
    expected = [one.expected_kpa for one in found]
    assert expected == sorted(expected, reverse=True)
    assert expected[0] < usual.anchor.kpa


def test_the_intervals_nest_and_hold_the_expected_value(usual):
    found = what_if(usual, Proposal("more", ipap_cmh2o=22.0))
    assert found.low_95_kpa < found.low_80_kpa < found.expected_kpa < found.high_80_kpa < found.high_95_kpa
    assert found.quantity == Quantity.SAME_READING


def test_the_same_seed_gives_the_same_answer(usual):
    one, other = (what_if(usual, Proposal("more", ipap_cmh2o=22.0), seed=4) for _ in range(2))
    assert (one.expected_kpa, one.low_95_kpa) == (other.expected_kpa, other.low_95_kpa)


def test_before_and_after_lie_on_the_metabolic_hyperbola(usual):
    found = what_if(usual, Proposal("more", ipap_cmh2o=22.0))
    implied = usual.anchor.kpa * found.va_before.value / KPA_L_PER_ML
    assert found.vco2.value == pytest.approx(implied, rel=0.02)
    curve = found.hyperbola
    product = curve["alveolar_l_min"] * curve["paco2_kpa"]
    assert product.to_numpy() == pytest.approx(found.vco2.value * KPA_L_PER_ML, rel=0.02)


def test_the_fan_starts_at_the_reading_and_ends_at_the_new_level(usual):
    fan = what_if(usual, Proposal("more", ipap_cmh2o=24.0)).fan
    assert fan["paco2_kpa"][0] == pytest.approx(usual.anchor.kpa, rel=0.01)
    assert fan["minute"][-1] == 180.0
    assert abs(fan["paco2_kpa"][-1] - fan["paco2_kpa"][-2]) < 0.01


def test_the_honest_recheck_is_later_after_less_ventilation_than_after_more(usual):
    more = what_if(usual, Proposal("more", ipap_cmh2o=22.0)).steady
    less = what_if(usual, Proposal("less", ipap_cmh2o=14.0)).steady
    assert more.earliest_on_ventilator_min >= 30.0
    assert less.earliest_on_ventilator_min >= 60.0
    assert less.t95_min.value > more.t95_min.value


def test_the_recheck_on_the_ventilator_waits_for_95_percent_where_that_takes_longer():
    # 2.5 L/min and a store of 35 to 60 mL/mmHg: tau 12 to 21 min, three of them 36 to 62, middle 49
    found = steady_state(np.full(20_000, 2.5), -0.1, 1)
    assert found.t95_min.value == pytest.approx(3.0 * 0.863 * 47.5 / 2.5, rel=0.01)
    assert found.earliest_on_ventilator_min == 50.0
    assert steady_state(np.full(20_000, 8.0), -0.1, 1).earliest_on_ventilator_min == 30.0


def test_the_wait_for_the_full_effect_never_stands_alone_where_somebody_is_drowsy_or_oxygen_changes(usual):
    more = what_if(usual, Proposal("more", ipap_cmh2o=22.0)).steady
    assert more.earliest_day_gas_days == 28
    assert "acidosis or drowsiness a look within 1 to 7 days comes first" in more.words
    oxygen = what_if(usual, Proposal("oxygen", oxygen_l_min=2.0)).steady
    assert oxygen.earliest_day_gas_days == 1
    assert "28 days" not in oxygen.words


def test_it_says_what_would_make_it_wrong_and_orders_nothing(usual):
    found = what_if(usual, Proposal("more", ipap_cmh2o=22.0))
    words = " ".join((*found.wrong_if, *(one.words for one in found.guards), found.steady.words)).lower()
    assert "effort" in words
    assert not any(order in words for order in ("increase ", "reduce ", "should", "recommend", "must "))


# --- how it is worked out ---------------------------------------------------------------------------


def test_minute_volume_scaling_is_not_used_when_tidal_volume_changes(usual):
    base = volume_mode(usual)
    passive = draw_of(base, Proposal("more", tidal_volume_ml=550.0))
    open_ratio = float(np.exp(np.median(passive.ln_open)))
    assert open_ratio < 450.0 / 550.0 - 0.05  # dead space makes the change larger than that of volumes


def draw_of(base, proposal):
    return draw_change(
        base.settings,
        after(base.settings, proposal),
        base.breathing,
        base.body.dead_space,
        proposal.dead_space_change_ml,
        seed=1,
    )


def test_a_change_of_rate_only_does_not_depend_on_dead_space(usual):
    base = volume_mode(usual)
    small = replace(base.body.dead_space, total=plain_figure(90.0, 1.0, "mL"))
    large = replace(base.body.dead_space, total=plain_figure(220.0, 1.0, "mL"))
    answers = [
        what_if(
            replace(base, body=replace(base.body, dead_space=one)), Proposal("rate", backup_rate_min=20.0)
        )
        for one in (small, large)
    ]
    assert answers[0].expected_kpa == pytest.approx(answers[1].expected_kpa, rel=1e-9)


def test_where_the_first_order_form_holds_the_samples_agree_with_it_within_five_percent(usual):
    # volume mode, one common gain of the machine: only dead space and that gain make the open ratio uncertain
    base = volume_mode(usual)
    proposal = Proposal("a little more", tidal_volume_ml=480.0)
    narrow = replace(base.body.dead_space, total=plain_figure(150.0, 30.0, "mL"))
    quiet = replace(base.breathing, tidal_volume_ml=replace(base.breathing.tidal_volume_ml, sd=1e-6))
    draws = draw_of(replace(base, body=replace(base.body, dead_space=narrow), breathing=quiet), proposal)
    volume = quiet.tidal_volume_ml.value
    more = volume * 480.0 / 450.0
    first = paco2_after_change_sd_kpa(1.0, volume, 16.0, more, 16.0, 150.0, 0.0, 0.0, 0.04 * more, 30.0)
    ratio = np.exp(draws.ln_open)
    low, high = np.quantile(ratio, [0.158655, 0.841345])
    assert (high - low) / 2 == pytest.approx(first, rel=0.05)


def test_tidal_volume_follows_pressure_support_less_than_in_a_passive_lung_and_with_doubt(usual):
    # same inspiratory time and rate: only the power of pressure support is left, 0.88 with an SD of 0.20
    draws = draw_of(usual, Proposal("more", ipap_cmh2o=24.0))
    steps = np.log(draws.volume_after_ml / draws.volume_before_ml)
    step = math.log(18.0 / 12.0)
    leak_and_delivery = 0.04 + 0.15 * math.log(24.0 / 18.0)
    assert np.median(steps) == pytest.approx(0.88 * step, rel=0.03)
    assert robust_sd(steps) == pytest.approx(math.hypot(0.20 * step, leak_and_delivery), rel=0.05)


def test_a_target_volume_is_followed_with_the_same_power(usual):
    settings = MachineSettings(
        VentilatorMode.VOLUME_TARGETED_PRESSURE, target_volume_ml=450.0, backup_rate_min=14.0, epap_cmh2o=5.0
    )
    draws = draw_of(replace(usual, settings=settings), Proposal("target", target_volume_ml=520.0))
    step = math.log(520.0 / 450.0)
    assert np.median(np.log(draws.volume_after_ml / draws.volume_before_ml)) == pytest.approx(
        0.88 * step, rel=0.03
    )


def test_a_longer_inspiration_fills_a_lung_that_had_not_filled_and_a_shorter_one_less(usual):
    longer, shorter = (draw_of(usual, Proposal("x", inspiratory_time_s=time)) for time in (1.5, 0.8))
    assert np.median(longer.volume_after_ml / longer.volume_before_ml) > 1.01
    assert np.median(shorter.volume_after_ml / shorter.volume_before_ml) < 0.97


def test_a_lower_backup_rate_takes_away_at_most_the_breaths_the_machine_gave(usual):
    # 16 breaths, 60 of 100 triggered: of the 8 a minute lower at most 40 in 100 are lost
    rates = draw_of(usual, Proposal("lower", backup_rate_min=8.0)).rate_after_min
    assert np.all(rates <= 16.0)
    assert np.min(rates) >= 16.0 - 8.0 * 0.4 - 1e-9
    assert np.min(rates) < 13.0


def test_breathing_answers_a_rise_more_than_a_fall_and_softens_both(usual):
    rise, fall = (draw_of(usual, Proposal("x", dead_space_change_ml=change)) for change in (50.0, -50.0))
    up, down = rise.ln_open > 0.0, fall.ln_open < 0.0
    assert min(np.mean(up), np.mean(down)) > 0.9  # the rest had its dead space held at a bound
    assert np.allclose(rise.answer[up], 2.5 * rise.answer_to_fall[up])
    assert np.allclose(fall.answer[down], fall.answer_to_fall[down])
    for draws in (rise, fall):
        assert np.all(np.abs(draws.ln_ratio) <= np.abs(draws.ln_open))
        assert np.median(np.abs(draws.ln_ratio)) < 0.8 * np.median(np.abs(draws.ln_open))


def test_the_next_reading_holds_both_readings_and_the_spread_of_co2_output():
    off = baseline_of(dossier(SETTINGS, nights(), GAS_OFF), TODAY)
    found = forecast(off, Proposal("oxygen", oxygen_l_min=1.0))
    reading = off.anchor.sd_ln
    assert robust_sd(np.log(found.level)) == pytest.approx(reading, rel=0.03)
    assert robust_sd(np.log(found.reached / found.level) - found.ln_ratio) == pytest.approx(0.08, rel=0.03)
    assert robust_sd(np.log(found.reading / found.reached)) == pytest.approx(reading, rel=0.03)


def test_the_band_of_the_hyperbola_is_as_wide_as_the_co2_output_is_unsure(usual):
    found = what_if(usual, Proposal("more", ipap_cmh2o=22.0))
    share = found.hyperbola["high_95_kpa"][0] / found.hyperbola["paco2_kpa"][0]
    assert share == pytest.approx(found.vco2.high_95 / found.vco2.value, rel=0.02)
    assert share > 1.2


def test_own_response_and_mechanism_are_weighed_by_their_precision(usual):
    proposal = Proposal("more", ipap_cmh2o=22.0)
    alone = what_if(usual, proposal)
    sure = what_if(usual, proposal, own=OwnResponse(-0.03, 0.002, "two past changes"))
    unsure = what_if(usual, proposal, own=OwnResponse(-0.03, 0.5, "one past change"))
    weights = {part.method: part.weight for part in sure.parts}
    assert weights[Method.OWN] > 0.9
    assert sum(weights.values()) == pytest.approx(1.0)
    assert unsure.expected_kpa == pytest.approx(alone.expected_kpa, rel=0.01)
    assert sure.expected_kpa == pytest.approx(usual.anchor.kpa * math.exp(-0.12), rel=0.03)


def test_own_response_is_silent_where_more_than_pressure_support_changes(usual):
    found = what_if(
        usual, Proposal("two", ipap_cmh2o=22.0, backup_rate_min=18.0), own=OwnResponse(-0.03, 0.002)
    )
    assert Method.OWN not in {part.method for part in found.parts}


def test_two_methods_that_disagree_are_both_widened(usual):
    proposal = Proposal("more", ipap_cmh2o=22.0)
    agreeing = what_if(usual, proposal, own=OwnResponse(-0.06, 0.03, ""))
    opposed = what_if(usual, proposal, own=OwnResponse(0.20, 0.03, ""))
    assert opposed.sd_ln > agreeing.sd_ln


def test_own_response_is_a_weighted_line_through_the_origin():
    found = own_response([(4.0, -0.12, 0.04), (0.0, 0.5, 0.01), (-2.0, 0.06, 0.04)])
    assert found.mean_ln_per_cmh2o == pytest.approx(-0.03)
    assert found.sd_ln_per_cmh2o == pytest.approx(0.04 / math.sqrt(20.0))
    assert own_response([(0.0, 0.1, 0.1)]) is None


def test_added_dead_space_raises_and_a_higher_backup_rate_below_the_own_rate_does_nothing(usual):
    added = what_if(usual, Proposal("filter", dead_space_change_ml=60.0))
    idle = what_if(usual, Proposal("backup 15", backup_rate_min=15.0))
    assert added.expected_kpa > usual.anchor.kpa
    assert idle.expected_kpa == pytest.approx(usual.anchor.kpa, rel=0.01)


def test_oxygen_has_its_usual_small_effect_and_says_it_is_an_assumption(usual):
    found = what_if(usual, Proposal("oxygen", oxygen_l_min=2.0))
    assert found.expected_kpa == pytest.approx(usual.anchor.kpa * math.exp(0.02), rel=0.01)
    assert [part.method for part in found.parts] == [Method.OXYGEN]
    assert "no source" in found.parts[0].words


def test_hours_give_the_mean_over_the_day_from_both_levels():
    both = usual_person(gas(8.0, TODAY - timedelta(days=3), on=False))
    found = what_if(baseline_of(both, TODAY), Proposal("hours", hours_per_day=14.0))
    assert found.quantity == Quantity.DAY_MEAN
    assert found.expected_kpa == pytest.approx((14 * 7.0 + 10 * 8.0) / 24, rel=0.01)


def test_hours_say_which_reading_is_missing_and_which_two_they_join(usual):
    alone = what_if(usual, Proposal("hours", hours_per_day=14.0))
    assert alone.needs == "the missing reading: one off it"
    both = usual_person(gas(8.0, TODAY - timedelta(days=3), on=False, kind=SampleKind.CAPILLARY_EARLOBE))
    found = what_if(baseline_of(both, TODAY), Proposal("hours", hours_per_day=14.0))
    assert found.parts[0].method == Method.DAY_MEAN
    assert "off the ventilator" in found.parts[0].words
    assert any("different kinds of reading" in one for one in found.wrong_if)
    # a pH belongs to a reading, not to a mean over the day
    assert not {"post-hypercapnic alkalosis", "over-ventilation"} & {one.name for one in found.guards}


def test_a_reading_whose_state_was_not_recorded_stands_for_neither_state():
    unknown = gas(8.0, TODAY - timedelta(days=3), on=False)
    state = unknown.state.model_copy(update={"ventilator": VentilatorState.NOT_RECORDED})
    base = baseline_of(usual_person(unknown.model_copy(update={"state": state})), TODAY)
    assert base.other_state is None
    gas_of = unknown.model_copy(update={"state": state})
    kept = Held("g", 1, RecordStatus.FINAL, 0, dated(gas_of), "Invented", "", gas_of)
    assert anchor_of_gas(kept).place == ("on or off the ventilator not recorded")


def test_in_a_timed_mode_the_rate_is_the_one_that_is_set(usual):
    settings = replace(usual.settings, mode=VentilatorMode.TIMED, backup_rate_min=16.0)
    timed = replace(usual, settings=settings)
    draws = draw_of(timed, Proposal("fewer", backup_rate_min=12.0))
    assert set(draws.rate_after_min) == {12.0}


def test_a_target_volume_is_followed_in_part(usual):
    settings = MachineSettings(
        VentilatorMode.VOLUME_TARGETED_PRESSURE, target_volume_ml=450.0, backup_rate_min=14.0, epap_cmh2o=5.0
    )
    found = what_if(replace(usual, settings=settings), Proposal("target", target_volume_ml=520.0))
    assert found.expected_kpa < usual.anchor.kpa
    assert found.parts[0].method == Method.RATIO


# --- guards -------------------------------------------------------------------------------------------


def test_guards_are_facts_with_a_known_source(usual):
    found = what_if(usual, Proposal("more", ipap_cmh2o=34.0))
    assert {one.source for one in found.guards} <= BY_KEY.keys()
    assert guard(found, "pressure support").state == GuardState.OUTSIDE
    assert guard(found, "over-ventilation").state == GuardState.OUTSIDE
    assert guard(found, "pressure against leak").words.startswith("leak 8 L/min would be 11")


def test_a_long_inspiration_against_a_fast_rate_is_named(usual):
    found = what_if(usual, Proposal("long", inspiratory_time_s=2.0, backup_rate_min=22.0))
    assert guard(found, "inspiratory time against rate").state == GuardState.OUTSIDE
    assert "0.7 s to breathe out" in guard(found, "inspiratory time against rate").words
    assert guard(found, "trapped pressure").state == GuardState.OUTSIDE


def test_the_limits_of_the_facts_are_those_that_are_written_down(usual):
    assert "below 4.5 kPa" in guard(what_if(usual, Proposal("x", ipap_cmh2o=20.0)), "over-ventilation").words
    names = {ipap: what_if(usual, Proposal("x", ipap_cmh2o=ipap)).guards for ipap in (31.0, 31.5)}
    assert "pressure support" not in {one.name for one in names[31.0]}  # 25 cmH2O itself is not above 25
    assert "pressure support" in {one.name for one in names[31.5]}


def test_a_port_that_cannot_clear_a_fast_breath_is_named_though_the_floor_is_kept(usual):
    name = "expiratory pressure against washout of the port"
    fast = what_if(usual, Proposal("x", backup_rate_min=28.0, epap_cmh2o=4.5))
    assert guard(fast, name).state == GuardState.OUTSIDE
    slow = what_if(usual, Proposal("x", epap_cmh2o=4.5))
    assert guard(slow, name).state == GuardState.WITHIN


@pytest.mark.parametrize(("older", "on"), [(180, True), (181, False)])
def test_a_reading_on_the_ventilator_goes_first_within_half_a_year_of_the_newest(older, on):
    newest = gas(7.4, TODAY - timedelta(days=2), on=False)
    past = gas(7.0, TODAY - timedelta(days=2 + older))
    base = baseline_of(dossier(change(TODAY - timedelta(days=400)), nights(), past, newest), TODAY)
    assert base.anchor.on_ventilator is on


@pytest.mark.parametrize(("days", "counts"), [(180, True), (181, False)])
def test_the_level_in_the_other_state_counts_for_half_a_year(days, counts):
    records = (gas(7.0, TODAY - timedelta(days=2)), gas(8.0, TODAY - timedelta(days=days), on=False))
    base = baseline_of(dossier(change(TODAY - timedelta(days=400)), nights(), *records), TODAY)
    assert (base.other_state is not None) is counts


def test_nights_before_the_settings_in_force_are_not_counted():
    recent = dossier(change(TODAY - timedelta(days=6)), nights(), gas(7.0, TODAY - timedelta(days=2)))
    assert baseline_of(recent, TODAY).breathing.nights == 6


@pytest.mark.parametrize(
    ("volume_ml", "state"),
    [(300.0, GuardState.OUTSIDE), (450.0, GuardState.WITHIN), (900.0, GuardState.OUTSIDE)],
)
def test_tidal_volume_per_kg_is_held_against_6_to_10(usual, volume_ml, state):
    # 70.6 kg predicted: 423 to 706 mL
    found = what_if(volume_mode(usual, 460.0), Proposal("x", tidal_volume_ml=volume_ml))
    assert guard(found, "tidal volume per kg").state == state


def test_tidal_volume_per_kg_says_how_far_it_can_be_off_and_a_change_beyond_those_tried_is_named(usual):
    small = what_if(usual, Proposal("more", ipap_cmh2o=22.0))
    assert "80 of 100 between" in guard(small, "tidal volume per kg").words
    assert "size of the change" not in {one.name for one in small.guards}
    large = what_if(usual, Proposal("huge", ipap_cmh2o=50.0))
    assert guard(large, "size of the change").state == GuardState.OUTSIDE
    assert "pH about 7.8 or more" in guard(large, "post-hypercapnic alkalosis").words


def test_a_low_expiratory_pressure_with_a_port_is_named_and_without_a_port_is_not_asked(usual):
    name = "expiratory pressure against washout of the port"
    low = what_if(usual, Proposal("less EPAP", epap_cmh2o=3.0))
    assert guard(low, name).state == GuardState.OUTSIDE
    double = replace(usual, settings=replace(usual.settings, circuit=Circuit.DOUBLE_LIMB))
    assert not [
        one for one in what_if(double, Proposal("less EPAP", epap_cmh2o=3.0)).guards if one.name == name
    ]


def test_a_fast_fall_before_bicarbonate_moves_is_named_as_post_hypercapnic():
    high = dossier(
        change(TODAY - timedelta(days=60)), nights(), gas(8.0, TODAY - timedelta(days=2), ph="7.41")
    )
    found = what_if(baseline_of(high, TODAY), Proposal("much more", ipap_cmh2o=28.0))
    assert guard(found, "post-hypercapnic alkalosis").state == GuardState.OUTSIDE


# --- what is refused --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("proposal", "words"),
    [
        (Proposal("x", inspiratory_time_s=0.0), "inspiratory_time_s"),
        (Proposal("x", inspiratory_time_s=-1.0), "inspiratory_time_s"),
        (Proposal("x", inspiratory_time_s=3.0, backup_rate_min=24.0), "not shorter than the cycle"),
        (Proposal("x", epap_cmh2o=19.0), "epap_cmh2o 19 is not below ipap_cmh2o 18"),
        (Proposal("x", ipap_cmh2o=80.0), "ipap_cmh2o"),
        (Proposal("x", backup_rate_min=-4.0), "backup_rate_min"),
        (Proposal("x", tidal_volume_ml=500.0), "tidal_volume_ml is not set in mode"),
        (Proposal("x", hours_per_day=30.0), "hours_per_day"),
        (Proposal("x", hours_per_day=9.0, ipap_cmh2o=22.0), "asked alone"),
        (Proposal("x"), "changes nothing"),
        (Proposal("x", ipap_cmh2o=float("nan")), "ipap_cmh2o"),
        (Proposal("x", dead_space_change_ml=float("nan")), "dead_space_change_ml nan"),
        (Proposal("x", ipap_cmh2o=18.0), "changes nothing: ipap_cmh2o 18 as it is now"),
    ],
)
def test_an_impossible_proposal_is_refused_by_name(usual, proposal, words):
    with pytest.raises(ValueError, match=words):
        what_if(usual, proposal)


@pytest.mark.parametrize(
    ("mode", "words"),
    [
        (VentilatorMode.VOLUME_CONTROL, "tidal_volume_ml: mode"),
        (VentilatorMode.VOLUME_TARGETED_PRESSURE, "target_volume_ml: mode"),
    ],
)
def test_a_volume_mode_without_a_volume_is_refused_by_name(mode, words):
    with pytest.raises(ValueError, match=words):
        MachineSettings(mode)


@pytest.mark.parametrize(
    ("mode", "proposal", "words"),
    [
        (VentilatorMode.SPONTANEOUS, Proposal("x", backup_rate_min=20.0), "the machine times no breath"),
        (VentilatorMode.SPONTANEOUS, Proposal("x", inspiratory_time_s=1.5), "the machine times no breath"),
        (VentilatorMode.TIMED, Proposal("x", backup_rate_min=0.0), "gives every breath"),
        (VentilatorMode.VOLUME_TARGETED_PRESSURE, Proposal("x", ipap_cmh2o=24.0), "ask target_volume_ml"),
    ],
)
def test_a_setting_that_does_not_belong_to_the_mode_is_refused_by_name(usual, mode, proposal, words):
    settings = replace(usual.settings, mode=mode, target_volume_ml=450.0, backup_rate_min=14.0)
    with pytest.raises(ValueError, match=words):
        what_if(replace(usual, settings=settings), proposal)


@pytest.mark.parametrize(
    ("proposal", "words"),
    [
        # breathed at 22 a minute the cycle is 2.7 s, whatever the backup rate would leave room for
        (Proposal("x", inspiratory_time_s=2.8), "shorter than the cycle of 2.7 s at the 22 breaths"),
        (Proposal("x", dead_space_change_ml=-500.0), "would leave none of the"),
        (Proposal("x", dead_space_change_ml=300.0), "hardly clear a dead space"),
        (Proposal("x", ipap_cmh2o=10.0, epap_cmh2o=9.5), "hardly clear a dead space"),
    ],
)
def test_a_breath_that_cannot_be_is_refused_with_the_reason(usual, proposal, words):
    fast = replace(usual.breathing, rate_min=replace(usual.breathing.rate_min, value=22.0))
    found = what_if(replace(usual, breathing=fast), proposal)
    assert isinstance(found, Refused)
    assert words in found.reason


@pytest.mark.parametrize(
    ("unknown", "proposal"),
    [
        ("backup_rate_min", Proposal("x", backup_rate_min=22.0)),
        ("inspiratory_time_s", Proposal("x", inspiratory_time_s=1.5)),
        ("oxygen_l_min", Proposal("x", oxygen_l_min=2.0)),
        ("hours_per_day", Proposal("x", hours_per_day=12.0)),
    ],
)
def test_a_change_from_a_setting_that_is_not_recorded_is_refused(usual, unknown, proposal):
    settings = replace(usual.settings, **{unknown: None})
    found = what_if(replace(usual, settings=settings), proposal)
    assert isinstance(found, Refused)
    assert "not recorded" in found.reason


def refused(*records, proposal=None, own=None, **who):
    base = baseline_of(dossier(*records, **who), TODAY)
    if isinstance(base, Refused):
        return base
    return what_if(base, proposal or Proposal("more", ipap_cmh2o=22.0), own=own)


SETTINGS = change(TODAY - timedelta(days=60))
GAS_ON = gas(7.0, TODAY - timedelta(days=2))
GAS_OFF = gas(7.0, TODAY - timedelta(days=2), on=False)


def test_a_daytime_gas_off_the_ventilator_foresees_nothing_from_night_volumes():
    found = refused(SETTINGS, nights(), GAS_OFF)
    assert "off the ventilator" in found.reason


def test_off_the_ventilator_only_the_persons_own_response_speaks():
    found = refused(SETTINGS, nights(), GAS_OFF, own=OwnResponse(-0.02, 0.01, "one past change"))
    assert [part.method for part in found.parts] == [Method.OWN]
    assert found.va_before is None
    assert found.hyperbola.is_empty()


@pytest.mark.parametrize(
    ("records", "words"),
    [
        ((nights(), GAS_ON), "no ventilator settings"),
        ((SETTINGS, nights()), "no arterial, capillary or night"),
        ((SETTINGS, nights(leak="40"), GAS_ON), "leak was above 24"),
        ((SETTINGS, GAS_ON), "at least 3 are needed"),
        ((SETTINGS, nights(), gas(7.0, TODAY - timedelta(days=90))), "since the settings of"),
        ((SETTINGS, nights(), gas(7.0, TODAY, kind=SampleKind.VENOUS)), "no arterial"),
        ((SETTINGS, nights(volume="120"), GAS_ON), "dead space"),
    ],
)
def test_without_the_needed_record_it_is_refused_with_the_reason(records, words):
    assert words in refused(*records).reason


def test_a_missing_height_is_refused_and_says_what_would_help():
    found = refused(SETTINGS, nights(), GAS_ON, height_cm=Decimal(130))
    assert "below 140 cm" in found.reason
    assert "decision to use it there" in found.needs


def test_continuous_pressure_alone_foresees_nothing():
    steady = change(TODAY - timedelta(days=60), program_1=program(mode=VentilatorMode.CPAP))
    found = refused(steady, nights(), GAS_ON, proposal=Proposal("filter", dead_space_change_ml=40.0))
    assert "can be foreseen" in found.reason


# --- whether its intervals are honest -------------------------------------------------------------------


def study():
    spec = importlib.util.spec_from_file_location("whatif_coverage", STUDY)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.study


def test_in_invented_people_with_hidden_lungs_the_intervals_hold_what_they_promise():
    table, _ = study()(450, 11)
    assert 78.0 <= table["all"]["cover_80"] <= 86.0
    assert 93.0 <= table["all"]["cover_95"] <= 98.0


def test_an_old_reading_on_the_ventilator_does_not_go_before_a_new_one_off_it():
    first = TODAY - timedelta(days=900)
    old = gas(5.2, first + timedelta(days=30), on=True)
    new = gas(6.7, TODAY - timedelta(days=5), on=False)
    base = baseline_of(dossier(change(first), old, new, nights()), TODAY)
    assert base.anchor.kpa == pytest.approx(6.7)
    near = gas(5.9, TODAY - timedelta(days=60), on=True)
    base = baseline_of(dossier(change(first), old, near, new, nights()), TODAY)
    assert base.anchor.kpa == pytest.approx(5.9)
