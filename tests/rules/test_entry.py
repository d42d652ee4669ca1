"""Unlikely is asked, with field, value, accepted range and the likely slip; likely is left in peace."""

import math
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from hvmon.physiology.acid_base import bicarbonate_mmol_l
from hvmon.physiology.base_excess import base_excess_blood_mmol_l
from hvmon.records.settings import PlannedChange, SettingsReading
from hvmon.rules.entry import questions
from hvmon.rules.looks_venous import estimated_so2_pct
from hvmon.vocabulary import (
    NOT_RECORDED,
    ActionState,
    BaseExcessKind,
    BicarbonateKind,
    Dependence,
    SampleKind,
    SensorSite,
    TemperatureCorrection,
    TestKind,
    VentilatorState,
)

NOW = datetime(2026, 3, 10, 12, tzinfo=UTC)
DAY = date(2026, 3, 1)
EARLIER = date(2026, 2, 1)
KEY = "invented-1"


def asked(record, dossier=None, now=NOW):
    return {question.check_id: question for question in questions(record, dossier, now=now)}


def triple(make, ph, value, unit, hco3, **changes):
    return make.gas(value, unit, ph=ph, hco3_mmol_l=hco3, **changes)


# --- the three numbers ---


@pytest.mark.parametrize(
    ("ph", "pco2", "hco3", "check", "slip"),
    [
        ("7.38", "7.3", "31.5", None, ""),
        ("7.36", "9.6", "28.7", "gas.triple", "digit"),
        ("7.63", "6.9", "28.7", "gas.triple", "transposed"),
        ("7.35", "8.0", "29.1", "gas.triple", "standard bicarbonate typed as actual"),
        ("7.36", "52", "28.7", "gas.unit_slip", "mmHg typed as kPa"),
    ],
)
def test_the_published_triples_are_told_apart(make, ph, pco2, hco3, check, slip) -> None:
    """Examples of the consistency rule: 5 % of the implied bicarbonate or 1 mmol/L (Project, computed)."""
    if pco2 == "52":
        gas = make.gas("50", "kPa", ph=ph, hco3_mmol_l=hco3)  # the field itself refuses above 50 kPa
    else:
        gas = triple(make, ph, pco2, "kPa", hco3)
    found = asked(gas)
    about_three = {name for name in found if name in {"gas.triple", "gas.unit_slip"}}
    assert about_three == ({check} if check else set())
    if check:
        assert slip in found[check].slip


def test_a_question_names_field_value_accepted_range_and_slip(make) -> None:
    question = asked(triple(make, "7.35", "8.0", "kPa", "29.1"))["gas.triple"]
    assert question.field == "hco3_mmol_l"
    assert question.given == "29.1"
    assert "32.8 mmol/L" in question.accepted
    for part in ("Bicarbonate 29.1", "32.8", "standard bicarbonate typed as actual"):
        assert part in question.words


def test_a_standard_bicarbonate_called_standard_is_not_asked_about(make) -> None:
    gas = triple(make, "7.35", "8.0", "kPa", "29.1", hco3_kind=BicarbonateKind.STANDARD)
    assert "gas.triple" not in asked(gas)
    actual = triple(make, "7.35", "8.0", "kPa", "32.8", hco3_kind=BicarbonateKind.STANDARD)
    assert "gas.triple" in asked(actual)


@given(
    st.decimals("7.20", "7.50", places=2),
    st.decimals("4.0", "12.0", places=1),
    st.floats(-0.05, 0.05),
)
def test_a_clean_gas_rounded_as_printed_is_never_asked_about_its_three_numbers(
    make, ph, kpa, rounding
) -> None:
    hco3 = bicarbonate_mmol_l(float(ph), float(kpa) + rounding)
    assume(2.1 < hco3 < 69)
    gas = make.gas(str(kpa), "kPa", ph=str(ph), hco3_mmol_l=f"{hco3:.1f}")
    assert not {"gas.triple", "gas.unit_slip"} & set(asked(gas))


@given(st.decimals("7.25", "7.48", places=2), st.integers(30, 110))
def test_mmhg_in_a_kpa_field_is_always_caught(make, ph, mmhg) -> None:
    """The triple check, or refusal above 50 kPa, or the ask range catch every one; no hard limit could."""
    hco3 = bicarbonate_mmol_l(float(ph), mmhg * 0.133322)
    assume(2.1 < hco3 < 69)
    if mmhg > 50:
        return  # refused at the door
    with_three = asked(make.gas(str(mmhg), "kPa", ph=str(ph), hco3_mmol_l=f"{hco3:.1f}"))
    assert with_three["gas.unit_slip"].slip == "mmHg typed as kPa"
    alone = asked(make.gas(str(mmhg), "kPa", ph=str(ph)))
    assert alone["gas.unit_slip"].slip == "mmHg typed as kPa"


@given(st.decimals("7.25", "7.48", places=2), st.decimals("7.0", "14.0", places=1))
def test_kpa_in_an_mmhg_field_is_always_caught(make, ph, kpa) -> None:
    hco3 = bicarbonate_mmol_l(float(ph), float(kpa))
    assume(2.1 < hco3 < 69)
    found = asked(make.gas(str(kpa), "mmHg", ph=str(ph), hco3_mmol_l=f"{hco3:.1f}"))
    assert found["gas.unit_slip"].slip == "kPa typed as mmHg"
    assert set(asked(make.gas(str(kpa), "mmHg", ph=str(ph)))) & {"gas.unit_slip", "range.paco2_mmhg"}


def test_a_unit_slip_is_one_question_and_not_three(make) -> None:
    dossier = make.dossier(make.gas("6.0", "kPa", EARLIER))
    slipped = make.gas(
        "48", "kPa", DAY, ph="7.36", hco3_mmol_l="27.1", be_mmol_l="2", po2=make.pressure("9.0", "kPa")
    )
    found = asked(slipped, dossier)
    assert list(found) == ["gas.unit_slip"]
    assert "6.4 kPa" in found["gas.unit_slip"].accepted


@pytest.mark.parametrize(
    ("given_be", "kind", "asks"),
    [
        ("5.4", BaseExcessKind.BLOOD, False),
        ("7.2", BaseExcessKind.EXTRACELLULAR, False),
        ("-5.4", BaseExcessKind.BLOOD, True),
        ("12", BaseExcessKind.EXTRACELLULAR, True),
        ("7.2", BaseExcessKind.NOT_RECORDED, False),
    ],
)
def test_base_excess_is_asked_about_beyond_3_from_its_own_kind(make, given_be, kind, asks) -> None:
    """PH 7.35, bicarbonate 32.76, Hb 15: blood 5.14, extracellular 7.15 mmol/L (CLSI-C46)."""
    gas = make.gas("8.0", "kPa", ph="7.35", hb_g_dl="15", be_mmol_l=given_be, be_kind=kind)
    assert ("gas.base_excess" in asked(gas)) == asks
    if given_be == "-5.4":
        assert "minus sign" in asked(gas)["gas.base_excess"].slip


# --- oxygen ---


@pytest.mark.parametrize(
    ("po2", "unit", "changes", "asks"),
    [
        ("10.0", "kPa", {}, False),
        ("75", "kPa", {}, True),  # mmHg typed as kPa, on air
        ("16.0", "kPa", {}, True),
        ("16.0", "kPa", {"oxygen_l_min": "2"}, False),
        ("120", "mmHg", {}, True),
        ("25.0", "kPa", {"fio2": Decimal("0.28"), "oxygen_l_min": "2"}, True),
        ("20.0", "kPa", {"fio2": Decimal("0.28"), "oxygen_l_min": "2"}, False),
        ("16.0", "kPa", {"kind": SampleKind.VENOUS}, False),
    ],
)
def test_a_po2_that_the_inspired_oxygen_cannot_give_is_asked(make, po2, unit, changes, asks) -> None:
    found = asked(make.gas("6.0", "kPa", po2=make.pressure(po2, unit), **changes))
    assert ("gas.po2_impossible" in found) == asks


def test_an_inspired_fraction_above_air_without_oxygen_is_asked(make) -> None:
    assert "gas.fio2_on_air" in asked(make.gas(fio2=Decimal("0.28")))
    assert "gas.fio2_on_air" not in asked(make.gas(fio2=Decimal("0.21")))


@pytest.mark.parametrize(
    ("po2", "spo2", "kind", "asks"),
    [
        ("5.0", "94", SampleKind.ARTERIAL, True),
        ("8.0", "91", SampleKind.ARTERIAL, False),
        ("5.0", "94", SampleKind.VENOUS, False),
        ("5.0", "94", SampleKind.CAPILLARY_EARLOBE, False),
        ("5.0", "72", SampleKind.ARTERIAL, False),
        # a true arterial sample of somebody very short of oxygen: the curve is steep and the oximeter unsure
        ("5.6", "86", SampleKind.ARTERIAL, False),
        ("4.2", "80", SampleKind.ARTERIAL, True),
    ],
)
def test_an_arterial_sample_that_looks_venous_beside_the_oximeter_is_asked(
    make, po2, spo2, kind, asks
) -> None:
    found = asked(make.gas(kind=kind, po2=make.pressure(po2, "kPa"), spo2_pct=spo2))
    assert ("gas.looks_venous" in found) == asks


def test_hypercapnic_acidosis_alone_does_not_make_an_arterial_sample_look_venous(make) -> None:
    # COPD on oxygen at target: PO2 7.6 kPa at pH 7.28 is 84 %, at pH 7.40 it would be 89 %
    copd = {"ph": "7.28", "po2": make.pressure("7.6", "kPa")}
    assert "gas.looks_venous" not in asked(make.gas("9.6", spo2_pct="91", **copd))
    assert "gas.looks_venous" in asked(make.gas("9.6", spo2_pct="95", **copd))


def test_the_saturation_of_a_sample_takes_ph_and_base_excess(make) -> None:
    chronic = make.gas("9.1", ph="7.35", po2=make.pressure("8.0", "kPa"))
    excess = base_excess_blood_mmol_l(7.35, bicarbonate_mmol_l(7.35, 9.1), 15.0)
    # bicarbonate 37.26: 0.79 x (37.26 - 24.8 - 29.15 x 0.05)
    assert excess == pytest.approx(8.69, abs=0.01)
    shift = 1.04 * 0.05 + 0.005 * excess
    x = math.log(8.0) - 1.946 - shift
    y = 1.875 + x + (3.5 + shift) * math.tanh(0.5343 * x)
    assert estimated_so2_pct(chronic) == pytest.approx(100 / (1 + math.exp(-y)), abs=0.01)
    assert estimated_so2_pct(make.gas("9.1", ph="7.35")) is None


def test_a_gas_corrected_to_an_unknown_body_temperature_is_not_asked_whether_it_is_venous(make) -> None:
    warm = make.gas(
        po2=make.pressure("5.0", "kPa"), spo2_pct="94", temperature_correction=TemperatureCorrection.CORRECTED
    )
    assert "gas.looks_venous" not in asked(warm)


def test_a_sample_saturation_far_below_the_oximeter_is_asked(make) -> None:
    assert "gas.looks_venous" in asked(make.gas(so2_pct="75", spo2_pct="94"))
    assert "gas.looks_venous" not in asked(make.gas(so2_pct="92", spo2_pct="94"))


# --- the person's own past ---


@pytest.mark.parametrize(
    ("before", "now", "asks"),
    [("6.5", "7.4", False), ("6.5", "7.5", True), ("6.5", "5.7", False), ("6.5", "5.6", True)],
)
def test_a_reading_beyond_the_reference_change_of_its_kind_is_asked(make, before, now, asks) -> None:
    """Arterial against arterial: +14.9 and -12.9 % (reference change at the default priors)."""
    dossier = make.dossier(make.gas(before, "kPa", EARLIER))
    assert ("own.far" in asked(make.gas(now, "kPa", DAY), dossier)) == asks


@pytest.mark.parametrize(
    "other",
    [
        {"kind": SampleKind.CAPILLARY_EARLOBE},
        {"ventilator": VentilatorState.ON},
        {"ventilator": VentilatorState.NOT_RECORDED},
        {"oxygen_l_min": "2"},
    ],
)
def test_unlike_readings_are_not_held_against_each_other(make, other) -> None:
    dossier = make.dossier(make.gas("6.0", "kPa", EARLIER, **other))
    assert "own.far" not in asked(make.gas("9.0", "kPa", DAY), dossier)


def test_venous_samples_have_the_wider_limit_of_their_kind(make) -> None:
    dossier = make.dossier(make.gas("6.5", "kPa", EARLIER, kind=SampleKind.VENOUS))
    assert "own.far" not in asked(make.gas("8.0", "kPa", DAY, kind=SampleKind.VENOUS), dossier)
    assert "own.far" in asked(make.gas("9.0", "kPa", DAY, kind=SampleKind.VENOUS), dossier)


def test_a_transcutaneous_value_a_factor_off_names_the_unit(make) -> None:
    dossier = make.dossier(make.spot("6.0", "kPa", EARLIER))
    question = asked(make.spot("8.0", "mmHg", DAY), dossier)["own.far"]
    assert "near 7.5" in question.slip
    assert "near 7.5" not in asked(make.spot("9.0", "kPa", DAY), dossier)["own.far"].slip


def test_transcutaneous_values_of_two_sites_are_not_compared(make) -> None:
    dossier = make.dossier(make.spot("6.0", "kPa", EARLIER, site=SensorSite.CHEST))
    assert "own.far" not in asked(make.spot("9.0", "kPa", DAY), dossier)


def test_a_weight_far_from_the_last_is_asked(make) -> None:
    dossier = make.dossier(make.weight(EARLIER, "80"))
    assert "own.weight" not in asked(make.weight(DAY, "88"), dossier)
    assert "own.weight" in asked(make.weight(DAY, "88.1"), dossier)
    assert "own.weight" in asked(make.weight(DAY, "71.9"), dossier)


# --- conditions and times ---


@pytest.mark.parametrize(("minutes", "asks"), [(19, True), (20, False), (NOT_RECORDED, False)])
def test_a_short_time_in_state_is_asked(make, minutes, asks) -> None:
    assert ("state.not_steady" in asked(make.gas(minutes_in_state=minutes))) == asks


@pytest.mark.parametrize(
    ("flow", "minutes", "asks"),
    [("2", 29, True), ("2", 30, False), ("0", 5, False), ("2", NOT_RECORDED, False)],
)
def test_a_short_time_since_the_oxygen_change_is_asked_on_oxygen(make, flow, minutes, asks) -> None:
    found = asked(make.gas(oxygen_l_min=flow, minutes_since_oxygen_change=minutes))
    assert ("state.oxygen_not_steady" in found) == asks


@pytest.mark.parametrize(("minutes", "asks"), [(30, False), (31, True)])
def test_a_long_wait_before_analysis_is_asked(make, minutes, asks) -> None:
    gas = make.gas(analysed_at=make.at(DAY) + timedelta(minutes=minutes))
    assert ("gas.delay" in asked(gas)) == asks


@pytest.mark.parametrize(("hour", "word"), [(9, "before"), (15, "after")])
def test_a_gas_of_the_day_of_a_change_is_asked_before_or_after(make, hour, word) -> None:
    dossier = make.dossier(make.change(DAY, hour=12))
    question = asked(make.gas(drawn_at=make.at(DAY, hour)), dossier)["gas.same_day_as_change"]
    assert word in question.slip
    assert "gas.same_day_as_change" not in asked(make.gas(day=date(2026, 3, 2)), dossier)


def test_an_unsettled_sensor_is_asked(make) -> None:
    assert "tc.not_settled" in asked(make.spot("45", "mmHg", minutes_since_applied=14))
    assert "tc.not_settled" not in asked(make.spot("45", "mmHg", minutes_since_applied=15))


def test_a_future_date_is_asked(make) -> None:
    assert "date.future" in asked(make.gas(drawn_at=NOW + timedelta(minutes=11)))
    assert "date.future" not in asked(make.gas(drawn_at=NOW + timedelta(minutes=9)))
    assert "date.future" in asked(make.weight(date(2026, 3, 12), "80"))
    assert "date.future" not in asked(make.weight(date(2026, 3, 10), "80"))


def test_a_date_before_birth_is_asked(make) -> None:
    dossier = make.dossier(born=date(1990, 5, 1))
    assert "date.before_birth" in asked(make.weight(date(1990, 4, 30), "80"), dossier)
    assert "date.before_birth" not in asked(make.weight(date(1990, 5, 1), "80"), dossier)


def test_a_very_early_date_is_asked(make) -> None:
    assert "date.early" in asked(make.weight(date(1926, 3, 1), "80"))


def test_a_birth_in_the_future_or_long_ago_is_asked(make) -> None:
    assert "identity.future_birth" in asked(make.identity(date(2026, 3, 11)))
    assert "identity.very_old" in asked(make.identity(date(1915, 1, 1)))
    assert asked(make.identity(date(1950, 1, 1))) == {}


# --- settings ---


def test_a_change_dated_before_the_last_one_is_asked(make) -> None:
    dossier = make.dossier(make.change(DAY))
    assert "settings.back_dated" in asked(make.change(EARLIER), dossier)
    later = make.change(date(2026, 3, 5), program_1=make.program("24"))
    assert "settings.back_dated" not in asked(later, dossier)


def test_a_change_that_changes_nothing_is_asked(make) -> None:
    dossier = make.dossier(make.change(EARLIER))
    assert "settings.unchanged" in asked(make.change(DAY), dossier)
    assert "settings.unchanged" not in asked(make.change(DAY, program_1=make.program("22")), dossier)


@pytest.mark.parametrize(("ipap", "asks"), [("30", False), ("31", True)])
def test_a_pressure_support_above_25_is_asked(make, ipap, asks) -> None:
    assert ("settings.support" in asked(make.change(DAY, program_1=make.program(ipap)))) == asks


def read_at_the_machine(make, program, meter="100", day=DAY) -> SettingsReading:
    return SettingsReading(
        person_key=KEY, read_at=make.at(day), zone="Europe/London", program_1=program, meter_h=Decimal(meter),
        backup_device_tested=NOT_RECORDED, recorded_by="Invented Nurse")  # fmt: skip


def test_settings_that_are_not_those_ordered_are_asked_by_name(make) -> None:
    dossier = make.dossier(make.change(EARLIER))
    question = asked(read_at_the_machine(make, make.program("18")), dossier)["settings.not_as_ordered"]
    assert question.field == "program_1_ipap_cmh2o"
    assert "20 as ordered" in question.accepted
    assert asked(read_at_the_machine(make, make.program()), dossier) == {}


def test_a_usage_meter_that_ran_back_is_asked(make) -> None:
    dossier = make.dossier(read_at_the_machine(make, make.program(), "500", EARLIER))
    assert "settings.meter_back" in asked(read_at_the_machine(make, make.program(), "499"), dossier)
    assert "settings.meter_back" not in asked(read_at_the_machine(make, make.program(), "500"), dossier)


def test_an_expected_effect_with_its_ends_exchanged_is_asked(make) -> None:
    plan = PlannedChange(
        person_key=KEY, planned_at=make.at(DAY), zone="Europe/London", planned_by="Invented",
        proposal="x", why="y",
        expected_paco2_kpa=Decimal(6), expected_low_kpa=Decimal("6.5"), expected_high_kpa=Decimal("5.5"),
        owed_test=TestKind.DAY_GAS, owed_by=date(2026, 4, 1), state=ActionState.OPEN)  # fmt: skip
    assert "planned.order" in asked(plan)


# --- nights and use ---


@pytest.mark.parametrize(
    "changes",
    [
        {"spo2_nadir_pct": Decimal(95), "spo2_mean_pct": Decimal(90)},
        {"at_or_below_88_s": 100, "longest_at_or_below_88_s": 200},
        {"below_90_s": 100, "at_or_below_88_s": 200},
        {"tcco2_above_50_mmhg_s": 100, "tcco2_above_55_mmhg_s": 200},
        {"tcco2_above_50_mmhg_s": 30000},
    ],
)
def test_parts_of_a_night_that_cannot_go_together_are_asked(make, changes) -> None:
    assert "night.order" in asked(make.night(**changes))


def test_a_mean_above_its_peak_is_asked_in_either_unit(make) -> None:
    mixed = make.night(tcco2_mean=make.pressure("7.0", "kPa"), tcco2_peak=make.pressure("50", "mmHg"))
    assert "night.order" in asked(mixed)
    fine = make.night(tcco2_mean=make.pressure("6.0", "kPa"), tcco2_peak=make.pressure("50", "mmHg"))
    assert "night.order" not in asked(fine)


def test_a_night_dated_by_its_morning_is_asked(make) -> None:
    start = make.at(DAY, 23)
    assert "night.evening" in asked(make.night(date(2026, 3, 2), started_at=start))
    assert "night.evening" not in asked(make.night(DAY, started_at=start))
    after_midnight = make.at(date(2026, 3, 2), 1)
    late = make.night(DAY, started_at=after_midnight, ended_at=after_midnight + timedelta(hours=6))
    assert "night.evening" not in asked(late)


@pytest.mark.parametrize(("hours", "asks"), [(1, True), (2, False), (14, False), (15, True)])
def test_a_very_short_or_long_night_is_asked(make, hours, asks) -> None:
    start = make.at(DAY, 22)
    study = make.night(ended_at=start + timedelta(hours=hours), valid_s=3600, tcco2_valid_s=3600)
    assert ("night.length" in asked(study)) == asks


def test_more_valid_time_than_recording_is_asked(make) -> None:
    assert "night.valid_longer" in asked(make.night(valid_s=28801))
    assert "night.valid_longer" not in asked(make.night(valid_s=28800))


def test_more_daytime_use_than_use_is_asked(make) -> None:
    assert "use.daytime_more" in asked(make.use("6", 1, daytime_h="7")[0])
    assert "use.daytime_more" not in asked(make.use("6", 1, daytime_h="6")[0])


@pytest.mark.parametrize(("volume", "asks"), [("199", True), ("200", False), ("600", False), ("601", True)])
def test_a_tidal_volume_outside_4_to_12_ml_per_kg_is_asked_of_an_adult(make, volume, asks) -> None:
    """A man of 152.4 cm has a predicted weight of 50.0 kg (ARDSNet2000)."""
    one = make.use("8", 1, tidal_volume_ml=volume)[0]
    assert ("own.volume" in asked(one, make.dossier())) == asks
    assert "own.volume" not in asked(one, make.dossier(height_cm=NOT_RECORDED))
    assert "own.volume" not in asked(one, make.dossier(born=date(2015, 1, 1)))


def test_use_above_20_hours_is_asked_unless_usual_for_the_person(make) -> None:
    long = make.use("21", 1)[0]
    assert "range.usage_h" in asked(long, make.dossier())
    assert "range.usage_h" not in asked(long, make.dossier(dependence=Dependence.NEAR_CONTINUOUS))


# --- the table of ranges ---


@pytest.mark.parametrize(
    ("field", "inside", "outside"),
    [
        ("ph", ["7.20", "7.55"], ["7.19", "7.56"]),
        ("hco3_mmol_l", ["18", "45"], ["17.9", "45.1"]),
        ("be_mmol_l", ["-5", "18"], ["-5.1", "18.1"]),
        ("hb_g_dl", ["7", "20"], ["6.9", "20.1"]),
    ],
)
def test_the_ask_range_is_inclusive_and_names_its_row(make, field, inside, outside) -> None:
    for value in inside:
        assert f"range.{field}" not in asked(make.gas(**{field: value}))
    for value in outside:
        question = asked(make.gas(**{field: value}))[f"range.{field}"]
        assert (question.field, question.given) == (field, value)
        assert question.words


@pytest.mark.parametrize(
    ("value", "unit", "asks"),
    [("3.5", "kPa", False), ("3.4", "kPa", True), ("14", "kPa", False), ("14.1", "kPa", True),
     ("26", "mmHg", False), ("25", "mmHg", True), ("105", "mmHg", False), ("106", "mmHg", True)],
)  # fmt: skip
def test_a_pressure_is_asked_in_its_own_unit(make, value, unit, asks) -> None:
    found = {question.check_id for question in questions(make.spot(value, unit), None, now=NOW)}
    assert bool(found & {"range.ptcco2_kpa", "range.ptcco2_mmhg"}) == asks


def test_settings_and_conditions_are_asked_under_their_own_column(make) -> None:
    fields = {
        question.field
        for question in questions(make.change(DAY, program_1=make.program("36")), None, now=NOW)
    }
    assert "program_1_ipap_cmh2o" in fields
    flow = questions(make.gas(oxygen_l_min="7"), None, now=NOW)
    assert "state_oxygen_l_min" in {question.field for question in flow}


def test_sizes_of_a_child_are_not_asked_about(make) -> None:
    dossier = make.dossier(born=date(2015, 1, 1))
    assert "range.weight_kg" not in asked(make.weight(DAY, "20"), dossier)
    assert "range.weight_kg" in asked(make.weight(DAY, "20"), make.dossier())


def test_a_usual_gas_is_not_asked_anything(make) -> None:
    dossier = make.dossier(make.gas("6.4", "kPa", EARLIER))
    gas = make.gas(
        "6.6", "kPa", DAY, ph="7.38", hco3_mmol_l="29.0", po2=make.pressure("9.0", "kPa"), spo2_pct="93"
    )
    assert questions(gas, dossier, now=NOW) == ()


def test_every_record_of_the_builders_can_be_asked_about(make) -> None:
    for record in (make.visit(DAY), make.report(DAY), make.lung(fvc_pct="50"), make.person()):
        assert isinstance(questions(record, make.dossier(), now=NOW), tuple)
