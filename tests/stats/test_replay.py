"""Replay: only what was known on a day counts, corrections from the day they were made."""

from datetime import date, timedelta

import polars as pl
import pytest
from trend_people import START, after
from trend_records import gas, held, person, symptoms, use

from hvmon.records.dossier import Dossier
from hvmon.records.kinds import RECORD_KINDS
from hvmon.records.person import Identity, Person
from hvmon.stats.replay import (
    EVENTS_SCHEMA,
    Event,
    PersonReplay,
    ReplayOptions,
    Status,
    Turn,
    _field_of,
    days_to_look,
    events_frame,
    known_at,
    replay_many,
    replay_person,
    trend_moments,
)
from hvmon.stats.replay_scores import score_flags
from hvmon.vocabulary import RecordStatus

OPTIONS = ReplayOptions(limits_kpa=(6.5,))


def rising(n=14, *, step=0.14, gap=45):
    return [
        held(gas(gap * i, 5.7 + step * i), record_id=f"g{i}", seq=i + 1, recorded_day=gap * i)
        for i in range(n)
    ]


def flags(replay, name):
    return [(event.turn, event.on) for event in replay.events if event.flag == name]


def test_nothing_is_known_before_it_was_recorded():
    late = held(gas(10, 6.5), record_id="g", recorded_day=100)
    assert known_at(person(), [late], after(50)).blood_gas == ()
    assert len(known_at(person(), [late], after(101)).blood_gas) == 1


def test_a_correction_counts_from_the_day_it_was_made_and_an_error_until_it_was_withdrawn():
    first = held(gas(10, 6.5), record_id="g", seq=1, recorded_day=10)
    second = held(
        gas(10, 5.6), record_id="g", version=2, status=RecordStatus.CORRECTED, seq=2, recorded_day=60
    )
    third = held(
        gas(10, 5.6), record_id="g", version=3, status=RecordStatus.ENTERED_IN_ERROR, seq=3, recorded_day=90
    )
    versions = [third, first, second]

    def value(day):
        gases = known_at(person(), versions, after(day)).blood_gas
        return [one.record.pco2.kpa for one in gases]

    assert value(20) == [6.5]
    assert value(70) == [5.6]
    assert value(95) == []


def test_other_records_reach_the_watcher_too():
    versions = [held(symptoms(1, headache=3), record_id="s"), held(use(2, 7.5), record_id="u", seq=2)]
    known = known_at(person(), versions, after(10))
    assert len(known.symptom_report) == len(known.nightly_use) == 1


@pytest.mark.parametrize("model", [kind.model for kind in RECORD_KINDS])
def test_every_kind_of_record_finds_its_place_in_the_dossier(model):
    place = _field_of(model.__name__)
    if model in {Person, Identity}:
        assert place is None
    else:
        assert isinstance(getattr(Dossier("k", person()), place), tuple)


def test_days_with_records_and_regular_days_between_are_looked_at():
    moments = days_to_look(rising(2, gap=70), after(120), 30)
    days = [(moment - START).days for moment in moments]
    assert days == [0, 30, 60, 70, 100, 120]
    assert days_to_look([], after(10), 30) == []
    every = days_to_look(rising(2, gap=10), after(12), 1)
    assert len(every) == 13


def test_the_estimate_is_made_anew_only_when_a_reading_or_change_was_recorded_or_time_has_passed():
    nights = [held(use(day, 7.0), record_id=f"u{day}", seq=50 + day, recorded_day=day) for day in range(60)]
    versions = [*rising(2, gap=20), *nights]
    moments = days_to_look(versions, after(59.5), 30)
    due = trend_moments(versions, moments, 30)
    assert len(moments) == 61
    assert sorted((moment - START).days for moment in due) == [0, 20, 50, 59]
    looked = []

    def watcher(known, moment):
        looked.append((moment, len(known.nightly_use)))
        return {}

    replay_person(person(), versions, until=after(59.5), options=OPTIONS, watcher=watcher)
    assert [seen for _, seen in looked][:3] == [1, 2, 3]
    assert len(looked) == 61


def test_daily_use_records_do_not_change_the_flags():
    nights = [
        held(use(day, 7.0), record_id=f"u{day}", seq=50 + day, recorded_day=day) for day in range(0, 600, 3)
    ]
    alone = replay_person(person(), rising(), until=after(640), options=OPTIONS)
    beside = replay_person(person(), [*rising(), *nights], until=after(640), options=OPTIONS)
    assert flags(alone, "trend: rise, likely")[0] == flags(beside, "trend: rise, likely")[0]


def test_a_rise_raises_watch_before_likely_and_names_its_readings():
    replay = replay_person(person(), rising(), until=after(640), options=OPTIONS)
    watch, likely = flags(replay, "trend: rise, watch"), flags(replay, "trend: rise, likely")
    assert watch[0][0] == likely[0][0] == Turn.RAISED
    assert watch[0][1] <= likely[0][1]
    first = next(event for event in replay.events if event.flag == "trend: rise, likely")
    assert first.score >= first.threshold == 0.95
    assert set(first.reading_ids) <= {f"g{i}" for i in range(14)}
    assert first.on >= after(45 * (len(first.reading_ids) - 1)).date()
    assert first.priors_digest


def test_all_second_opinions_are_replayed():
    replay = replay_person(person(), rising(), until=after(640), options=OPTIONS)
    named = {event.flag for event in replay.events}
    assert {
        "second opinion: EWMA chart",
        "second opinion: CUSUM chart",
        "second opinion: Theil-Sen slope",
    } <= named
    assert {"second opinion: Mann-Kendall test", "last reading above the limit (6.5 kPa)"} <= named


def test_a_corrected_typing_error_clears_the_flag_and_a_later_rise_raises_it_again():
    versions = [held(gas(40 * i, 6.0), record_id=f"g{i}", seq=i + 1, recorded_day=40 * i) for i in range(5)]
    wrong = held(gas(200, 9.0), record_id="w", seq=20, recorded_day=200)
    right = held(
        gas(200, 6.0), record_id="w", version=2, status=RecordStatus.CORRECTED, seq=21, recorded_day=203
    )
    again = held(gas(260, 7.2), record_id="z", seq=30, recorded_day=260)
    replay = replay_person(person(), [*versions, wrong, right, again], until=after(261), options=OPTIONS)
    assert [turn for turn, _ in flags(replay, "last reading above the limit (6.5 kPa)")] == [
        Turn.RAISED, Turn.CLEARED, Turn.RAISED_AGAIN,
    ]  # fmt: skip


def test_a_watchers_findings_are_followed_and_cleared_when_no_longer_spoken_of():
    def watcher(known, moment):
        ids = tuple(held.record_id for held in known.blood_gas)
        return {"RULE-1": Status(1.0, 1.0, ids)} if moment < after(100) else {}

    replay = replay_person(person(), rising(4), until=after(150), options=OPTIONS, watcher=watcher)
    assert [turn for turn, _ in flags(replay, "RULE-1")] == [Turn.RAISED, Turn.CLEARED]


def test_thresholds_move_the_flags():
    slow = rising(step=0.05)
    lenient = replay_person(person(), slow, until=after(640), options=ReplayOptions(watch=0.81, likely=0.9))
    strict = replay_person(person(), slow, until=after(640), options=ReplayOptions(watch=0.9, likely=0.99))
    assert flags(lenient, "trend: rise, watch")[0][1] < flags(strict, "trend: rise, watch")[0][1]


@pytest.mark.parametrize(
    ("options", "said"), [({"watch": 1.2}, "watch 1.2"), ({"every_days": 0}, "every_days 0")]
)
def test_impossible_options_are_refused(options, said):
    with pytest.raises(ValueError, match=said):
        ReplayOptions(**options)


def test_nothing_recorded_gives_no_replay_and_others_go_on():
    assert replay_person(person(), [], until=after(1)) is None
    people = iter([(person(), []), (person(), rising(5))])
    assert len(list(replay_many(people, until=after(300), options=OPTIONS))) == 1


def test_events_make_a_frame():
    replay = replay_person(person(), rising(), until=after(640), options=OPTIONS)
    frame = events_frame([replay])
    assert frame.schema == EVENTS_SCHEMA
    assert frame.height == len(replay.events)
    assert frame.filter(pl.col("turn") == "raised").height > 0


def made(key, *turns, days=731):
    """A replay with turns of (flag, turn, day)."""
    first = date(2024, 1, 1)
    events = tuple(
        Event(key, flag, turn, first + timedelta(days=day), 1.0, 1.0, (), "trend-1", "d")
        for flag, turn, day in turns
    )
    return PersonReplay(key, first, first + timedelta(days=days), 10, events)


def test_false_flags_and_delay_are_counted_against_turning_points():
    replays = [
        made("never", ("f", Turn.RAISED, 100), ("f", Turn.CLEARED, 130), ("f", Turn.RAISED_AGAIN, 400)),
        made("turned", ("f", Turn.RAISED, 430)),
        made("early", ("f", Turn.RAISED, 300)),
        made("missed"),
        made("unknown", ("f", Turn.RAISED, 5)),
    ]
    turn = date(2024, 1, 1) + timedelta(days=366)
    points = {"never": None, "turned": turn, "early": turn, "missed": turn}
    (score,) = score_flags(replays, points)
    assert score.false_flags == 3
    assert score.person_years_at_risk == pytest.approx((731 + 3 * 366) / 365.25)
    assert score.per_person_year == pytest.approx(3 / score.person_years_at_risk)
    assert (score.turned, score.caught, score.already_raised) == (3, 1, 1)
    assert score.median_delay_days == 64
