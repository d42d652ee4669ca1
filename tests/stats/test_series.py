"""Frames from a dossier: what enters, what is refused and why."""

from decimal import Decimal

import pytest
from trend_people import after
from trend_records import change, dossier, gas, night, spot

from hvmon.stats.series import CHANGES_SCHEMA, READINGS_SCHEMA, changes_frame, readings_frame, utc
from hvmon.stats.trend import fit
from hvmon.vocabulary import NOT_RECORDED, ChangeKind, Rest, SampleKind, SensorSite, VentilatorState


def test_every_reading_is_there_in_order_of_time_with_its_circumstances():
    frame = readings_frame(
        dossier(
            gas(50, 6.6),
            gas(10, 6.4, kind=SampleKind.VENOUS, oxygen_l_min=Decimal("1.5")),
            spot(30, 6.1),
            night(40, 5.9),
        )
    )
    assert frame.schema == READINGS_SCHEMA
    assert list(frame["source"]) == ["venous", "tc earlobe", "tc night", "arterial"]
    assert list(frame["oxygen_l_min"]) == [1.5, 0.0, 0.0, 0.0]
    assert frame["refusal"].null_count() == 4


def test_a_flow_not_recorded_is_null_and_never_zero():
    frame = readings_frame(dossier(gas(1, 6.5, oxygen_l_min=NOT_RECORDED)))
    assert list(frame["oxygen_l_min"]) == [None]


@pytest.mark.parametrize(
    ("record", "said"),
    [
        (gas(1, 6.5, corrected=True), "37 °C"),
        (gas(1, 6.5, rest=Rest.AFTER_EXERTION), "after exertion"),
        (night(1, 6.0, valid_s=3600), "only 1.0 h"),
        (night(1, 6.0, valid_s=None), "not recorded"),
        (night(1, 6.0, ventilator=VentilatorState.NOT_RECORDED), "neither condition"),
    ],
)
def test_what_the_trend_may_not_use_is_kept_with_its_reason(record, said):
    frame = readings_frame(dossier(record))
    assert said in frame["refusal"][0]
    result = fit(frame, changes_frame(dossier()), today=after(30))
    assert said in result.refused[0].reason


def test_a_sensor_off_the_earlobe_is_another_source():
    assert list(readings_frame(dossier(spot(1, 6.0, site=SensorSite.CHEST)))["source"]) == ["tc other"]


def test_changes_carry_the_difference_from_the_settings_before():
    frame = changes_frame(
        dossier(
            change(0, ChangeKind.INITIATION, ipap="16", epap="6", rate="12"),
            change(90, ipap="20", epap="6", rate="14"),
        )
    )
    assert frame.schema == CHANGES_SCHEMA
    assert list(frame["pressure_support_cmh2o"]) == [None, 4.0]
    assert list(frame["backup_rate"]) == [None, 2.0]
    assert frame["label"][1] == "escalation, pressure support +4 cmH2O, backup rate +2/min"


def test_an_empty_dossier_gives_empty_frames():
    assert readings_frame(dossier()).height == 0
    assert changes_frame(dossier()).height == 0


def test_a_moment_without_offset_is_refused():
    with pytest.raises(ValueError, match="no offset"):
        utc(after(1).replace(tzinfo=None))
