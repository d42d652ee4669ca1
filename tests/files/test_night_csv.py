"""CSV nights in their dialects. Clock, date, unit and column are asked where the file does not say."""

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from hvmon.files.local_clock import CHANGED, FIRST_TIME, SECOND_TIME, UNCHANGED
from hvmon.files.night_csv import understand_bytes
from hvmon.files.understood import NONE_OF_THESE, Questions, UnreadableNight
from hvmon.records.night_signal import MISSING

LONDON = {"zone": "Europe/London"}
START = dt.datetime(2026, 3, 14, 23, 59, 30)  # noqa: DTZ001 - a clock on the wall
HEADER = "Time,SpO2 (%),Pulse (bpm)"


def rows(stamps, value=lambda k: f"{90 + k % 8},{60 + k % 20}", header=HEADER):
    return "\n".join([header, *(f"{stamp},{value(k)}" for k, stamp in enumerate(stamps))]) + "\n"


def stamps(fmt="%Y-%m-%d %H:%M:%S", start=START, count=60, step=1):
    return [(start + dt.timedelta(seconds=step * k)).strftime(fmt) for k in range(count)]


def in_zone(start_utc, count, zone="Europe/London", fmt="%Y-%m-%d %H:%M:%S", step=1):
    """Clock times of a wall clock that changes as the zone does."""
    moments = (start_utc + dt.timedelta(seconds=step * k) for k in range(count))
    return [moment.astimezone(ZoneInfo(zone)).strftime(fmt) for moment in moments]


def read(text, answers=LONDON):
    return understand_bytes(text if isinstance(text, bytes) else text.encode(), answers)


def night(text, answers=LONDON):
    outcome = read(text, answers)
    assert not isinstance(outcome, Questions), outcome
    return outcome


def questions(text, answers=LONDON):
    outcome = read(text, answers)
    assert isinstance(outcome, Questions), outcome
    return {question.key: question for question in outcome.questions}


def refusal(text, answers=LONDON):
    with pytest.raises(UnreadableNight) as caught:
        read(text, answers)
    return str(caught.value)


@pytest.mark.parametrize(
    ("fmt", "answers"),
    [
        ("%Y-%m-%d %H:%M:%S", {}),
        ("%Y-%m-%dT%H:%M:%S", {}),
        ("%Y-%m-%dT%H:%M:%SZ", {}),
        ("%Y-%m-%dT%H:%M:%S+0000", {}),
        ("%Y/%m/%d %H:%M:%S", {}),
        ("%Y%m%d %H:%M:%S", {}),
        ("%Y-%m-%d %H:%M:%S.500", {}),
        ("%d/%m/%Y %H:%M:%S", {}),
        ("%m/%d/%Y %I:%M:%S %p", {}),
        ("%d.%m.%Y %H:%M:%S", {}),
        ("%d-%b-%Y %H:%M:%S", {}),
        ("%d.%m.%y %H:%M:%S", {"date_format": "day first"}),
        ("%H:%M:%S", {"start_date": "2026-03-14"}),
        ("%I:%M:%S %p", {"start_date": "2026-03-14"}),
    ],
)
def test_clock_texts_of_every_common_form_give_the_same_night_over_midnight(fmt, answers):
    signal = night(rows(stamps(fmt)), LONDON | answers).signal
    assert signal.start_utc.replace(microsecond=0) == START.replace(tzinfo=dt.UTC)
    assert signal.spo2_tenths.tolist() == [900 + 10 * (k % 8) for k in range(60)]
    assert signal.pulse_tenths.tolist() == [600 + 10 * (k % 20) for k in range(60)]
    assert signal.interval_s == 1


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("decimal", [".", ","])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
def test_separator_decimal_mark_encoding_and_line_ends_change_nothing(separator, decimal, encoding, line_end):
    number = f"94{decimal}5"
    cell = f'"{number}"' if separator == decimal else number
    lines = [separator.join(["Zeit", "SpO2 (%)", "Gerät"])]
    lines += [separator.join([stamp, cell, "ä"]) for stamp in stamps()]
    text = line_end.join(lines) + line_end
    signal = night(text.encode(encoding)).signal
    assert set(signal.spo2_tenths.tolist()) == {945}
    assert signal.n_seconds == 60


def test_lines_before_the_header_and_trailing_separators_are_passed_over():
    text = "Export of a recorder;;\nPerson;;\n\n" + rows(stamps(), header="Time,SpO2,Pulse").replace(
        ",", ";"
    ).replace("\n", ";\n")
    outcome = night(text)
    assert outcome.signal.n_seconds == 60
    assert any("header in row 4" in line for line in outcome.summary)


def test_date_and_time_in_two_columns_are_joined():
    text = "Date,Time,SpO2\n" + "".join(f"{stamp.replace(' ', ',')},94\n" for stamp in stamps())
    assert night(text).signal.start_utc == START.replace(tzinfo=dt.UTC)


def test_a_date_with_day_and_month_of_twelve_or_less_is_asked_and_never_guessed():
    start = dt.datetime(2026, 4, 3, 22, 0)  # noqa: DTZ001 - a clock on the wall
    text = rows(stamps("%d/%m/%Y %H:%M:%S", start))
    question = questions(text)["date_format"]
    assert question.options == ("day first", "month first")
    assert "03 April 2026" in question.text
    assert "04 March 2026" in question.text
    april = night(text, LONDON | {"date_format": "day first"}).signal.start_utc
    march = night(text, LONDON | {"date_format": "month first"}).signal.start_utc
    assert (april.month, april.hour, march.month, march.hour) == (4, 21, 3, 22)
    assert "not accepted" in refusal(text, LONDON | {"date_format": "guess"})


def test_an_ambiguous_date_stays_asked_when_the_night_runs_over_midnight():
    start = dt.datetime(2026, 4, 3, 23, 59, 50)  # noqa: DTZ001 - a clock on the wall
    assert "date_format" in questions(rows(stamps("%d/%m/%Y %H:%M:%S", start)))


def test_a_date_that_reads_the_same_either_way_is_not_asked():
    start = dt.datetime(2026, 4, 4, 22, 0)  # noqa: DTZ001 - a clock on the wall
    assert night(rows(stamps("%d/%m/%Y %H:%M:%S", start))).signal.start_utc.day == 4


@pytest.mark.parametrize(
    "date", ["32/03/2026", "2026-02-30", "14/14/2026", "1926-03-14", "2026-13-14", "14-Mai-2026"]
)
def test_a_date_that_does_not_exist_names_its_row(date):
    assert "Row 2" in refusal(rows([f"{date} 22:00:00", f"{date} 22:00:01"]))


def test_clock_times_without_a_date_are_asked_for_their_date_and_run_over_midnight():
    text = rows(stamps("%H:%M:%S", count=120))
    assert "start_date" in questions(text)
    assert night(text, LONDON | {"start_date": "2026-03-14"}).signal.n_seconds == 120
    assert "year-month-day" in refusal(text, LONDON | {"start_date": "14.03.2026"})


@pytest.mark.parametrize(
    ("header", "count"),
    [("Elapsed (s)", "{k}"), ("Time", "{k}.0"), ("Seconds", "{k},000"), ("Elapsed time", "00:0{m}:{s:02d}")],
)
def test_rows_that_count_from_the_start_are_asked_for_it_and_know_no_clock_change(header, count):
    text = f"{header};SpO2\n" + "".join(
        f"{count.format(k=k, m=k // 60, s=k % 60)};9{k % 8}\n" for k in range(120)
    )
    assert "start" in questions(text)
    signal = night(text, LONDON | {"start": "2026-10-25 00:59:30"}).signal
    assert signal.start_utc == dt.datetime(2026, 10, 24, 23, 59, 30, tzinfo=dt.UTC)
    assert signal.spo2_tenths.tolist() == [900 + 10 * (k % 8) for k in range(120)]
    assert "2026-03-01 22:15:00" in refusal(text, LONDON | {"start": "01.03.2026 22:15"})
    assert "Row 122" in refusal(text + "soon;94\n", LONDON | {"start": "2026-10-25 00:59:30"})


AUTUMN = dt.datetime(2026, 10, 24, 23, 59, tzinfo=dt.UTC)
SPRING = dt.datetime(2026, 3, 29, 0, 30, tzinfo=dt.UTC)


@pytest.mark.parametrize(
    "zone", ["Europe/London", "Europe/Berlin", "Australia/Lord_Howe", "America/St_Johns"]
)
@pytest.mark.parametrize("season", ["autumn", "spring"])
@pytest.mark.parametrize("fmt", ["%Y-%m-%d %H:%M:%S", "%H:%M:%S"])
def test_both_daylight_saving_nights_keep_exact_spacing_in_every_zone(zone, season, fmt):
    start = _before_change(zone, season)
    clock = in_zone(start, 4 * 3600, zone, fmt)
    answers = {"zone": zone, "start_date": start.astimezone(ZoneInfo(zone)).date().isoformat()}
    signal = night(rows(clock), answers).signal
    assert signal.start_utc == start
    assert signal.n_seconds == 4 * 3600
    assert not (signal.spo2_tenths == MISSING).any()


def _before_change(zone, season):
    """Give the moment two hours before a change of the clock in 2026."""
    moment = dt.datetime(2026, 1, 1, tzinfo=dt.UTC)
    step = dt.timedelta(minutes=30)
    while True:
        before, after = (one.astimezone(ZoneInfo(zone)).utcoffset() for one in (moment, moment + step))
        if (after < before) if season == "autumn" else (after > before):
            return moment + step - dt.timedelta(hours=2)
        moment += step


def test_a_file_that_begins_in_the_repeated_hour_is_asked():
    clock = in_zone(dt.datetime(2026, 10, 25, 1, 30, tzinfo=dt.UTC), 3600)
    question = questions(rows(clock))["clock_change"]
    assert question.options == (FIRST_TIME, SECOND_TIME, UNCHANGED)
    assert night(rows(clock), LONDON | {"clock_change": SECOND_TIME}).signal.start_utc.hour == 1
    first = night(rows(clock), LONDON | {"clock_change": FIRST_TIME}).signal
    assert (first.start_utc.hour, first.n_seconds) == (0, 3600 + 3600)
    assert night(rows(clock), LONDON | {"clock_change": UNCHANGED}).signal.n_seconds == 3600


def test_a_recorder_that_never_changes_its_clock_is_asked_about_in_autumn_and_spring():
    autumn = rows(stamps(start=dt.datetime(2026, 10, 25, 0, 30), count=3 * 3600))  # noqa: DTZ001
    assert UNCHANGED in questions(autumn)["clock_change"].options
    signal = night(autumn, LONDON | {"clock_change": UNCHANGED}).signal
    assert signal.n_seconds == 3 * 3600
    assert signal.start_utc == dt.datetime(2026, 10, 24, 23, 30, tzinfo=dt.UTC)
    spring = rows(stamps(start=dt.datetime(2026, 3, 29, 0, 30), count=3 * 3600))  # noqa: DTZ001
    assert questions(spring)["clock_change"].options == (UNCHANGED,)
    assert night(spring, LONDON | {"clock_change": UNCHANGED}).signal.n_seconds == 3 * 3600


@pytest.mark.parametrize(("start", "gap"), [(AUTUMN, "autumn"), (SPRING, "spring")])
def test_a_hole_over_the_change_is_asked(start, gap):
    clock = in_zone(start, 4 * 3600)
    inside = [stamp for stamp in clock if not (stamp[11:13] in {"01", "02"} and stamp[11:16] < "02:30")]
    question = questions(rows(inside))["clock_change"]
    assert question.options == (CHANGED, UNCHANGED)
    changed = night(rows(inside), LONDON | {"clock_change": CHANGED}).signal
    unchanged = night(rows(inside), LONDON | {"clock_change": UNCHANGED}).signal
    assert changed.n_seconds - unchanged.n_seconds == (3600 if gap == "autumn" else -3600)


def test_a_file_that_ends_in_the_repeated_hour_without_stepping_back_is_in_its_first_pass():
    signal = night(rows(in_zone(AUTUMN, 1800))).signal
    assert signal.start_utc == AUTUMN
    assert signal.n_seconds == 1800


def test_a_file_that_lies_in_the_repeated_hour_or_reaches_it_over_a_hole_is_asked_for_the_pass():
    clock = in_zone(AUTUMN, 3600)
    inside, after_a_hole = clock[600:1200], clock[:30] + clock[600:1200]
    for part, first_utc in ((inside, 0), (after_a_hole, 23)):
        assert questions(rows(part))["clock_change"].options == (FIRST_TIME, SECOND_TIME)
        first = night(rows(part), LONDON | {"clock_change": FIRST_TIME}).signal
        second = night(rows(part), LONDON | {"clock_change": SECOND_TIME}).signal
        assert first.start_utc.hour == first_utc
        assert second.end_utc - first.end_utc == dt.timedelta(hours=1)


def test_absent_rows_stay_gaps_and_are_told():
    clock = stamps(count=300)
    outcome = night(rows(clock[:100] + clock[220:]))
    spo2 = outcome.signal.spo2_tenths
    assert len(spo2) == 300
    assert (spo2[100:220] == MISSING).all()
    assert (np.delete(spo2, np.s_[100:220]) != MISSING).all()
    assert any("1 gaps without rows, 120 s" in warning for warning in outcome.warnings)


@pytest.mark.parametrize("step", [1, 2, 3, 4])
def test_values_are_held_over_their_interval_and_not_over_a_gap(step):
    clock = stamps(count=50, step=step)
    spo2 = night(rows(clock[:20] + clock[30:])).signal
    assert spo2.interval_s == step
    assert spo2.spo2_tenths[: 20 * step].tolist() == [900 + 10 * (k // step % 8) for k in range(20 * step)]
    assert (spo2.spo2_tenths[20 * step : 30 * step] == MISSING).all()
    assert spo2.n_seconds == 50 * step


def test_slower_rows_are_refused_and_faster_ones_give_the_first_of_each_second():
    assert "5 s apart" in refusal(rows(stamps(step=5)))
    clock = [f"{stamp}.{part}" for stamp in stamps() for part in ("000", "250", "500", "750")]
    signal = night(rows(clock)).signal
    assert signal.spo2_tenths.tolist() == [900 + 10 * (4 * k % 8) for k in range(60)]


def test_codes_for_no_reading_are_missing_but_a_pulse_of_127_is_a_pulse():
    cells = ["95,60", "0,0", "127,127", "255,255", "96,127", "--,--", ",", "NA,NaN", "96.5,61"]
    outcome = night(rows(stamps(count=len(cells)), lambda k: cells[k]))
    assert outcome.signal.spo2_tenths.tolist() == [950, *[MISSING] * 3, 960, *[MISSING] * 3, 965]
    assert outcome.signal.pulse_tenths.tolist() == [600, *[MISSING] * 3, 1270, *[MISSING] * 3, 610]
    assert any("no reading" in warning for warning in outcome.warnings)


def test_a_repeated_block_is_used_once_and_told():
    lines = rows(stamps()).splitlines()
    text = "\n".join(lines[:41] + lines[21:41] + lines[41:])
    outcome = night(text)
    assert outcome.signal.n_seconds == 60
    assert any("20 rows repeat earlier rows" in warning for warning in outcome.warnings)


def test_the_same_time_with_another_reading_names_both_rows():
    lines = rows(stamps()).splitlines()
    message = refusal("\n".join([*lines[:41], lines[20].replace(",9", ",8"), *lines[41:]]))
    assert "Rows 21 and 42" in message


def test_rows_out_of_order_name_the_row():
    lines = rows(stamps()).splitlines()
    assert "Row 43" in refusal("\n".join([lines[0], *lines[20:], *lines[1:20]]))


def test_times_without_seconds_are_refused_with_what_to_do():
    assert "seconds" in refusal(rows(stamps("%Y-%m-%d %H:%M")))


TCCO2 = "Time,SpO2,tcCO2{}"


@pytest.mark.parametrize(
    ("unit", "value", "field"),
    [("mmHg", "45.3", "tcco2_tenths_mmhg"), ("kPa", "6.03", "tcco2_hundredths_kpa")],
)
def test_the_unit_in_the_header_is_used_when_the_numbers_agree(unit, value, field):
    text = rows(stamps(), lambda _: f"94,{value}", TCCO2.format(f" ({unit})"))
    expected = round(float(value) * (100 if unit == "kPa" else 10))
    assert set(getattr(night(text).signal, field).tolist()) == {expected}


@pytest.mark.parametrize(("unit", "value"), [("kPa", "45.3"), ("mmHg", "6.03")])
def test_a_unit_in_the_header_that_the_numbers_contradict_stops_the_import(unit, value):
    text = rows(stamps(), lambda _: f"94,{value}", TCCO2.format(f" [{unit}]"))
    assert "nothing was converted" in refusal(text)


def test_a_unit_that_no_header_states_is_asked():
    text = rows(stamps(), lambda _: "94,45.3", TCCO2.format(""))
    assert questions(text)["unit.tcco2"].options == ("kPa", "mmHg")
    assert "nothing was converted" in refusal(text, LONDON | {"unit.tcco2": "kPa"})


def test_a_line_of_units_below_the_header_is_read_as_units():
    lines = rows(stamps(), lambda _: "94,60,6.03", "Time,SpO2,Pulse,tcCO2").splitlines()
    signal = night("\n".join([lines[0], "hh:mm:ss,%,1/min,[kPa]", *lines[1:]])).signal
    assert set(signal.tcco2_hundredths_kpa.tolist()) == {603}
    assert signal.n_seconds == 60
    assert "Row 3" in refusal("\n".join([lines[0], "hh:mm:ss,%,1/min,[kPa]", "x" + lines[1], *lines[2:]]))


def test_columns_that_are_not_unique_are_asked():
    text = rows(stamps(), lambda _: "94,93", "Time,SpO2 left,SpO2 right")
    assert questions(text)["column.spo2"].options == ("SpO2 left", "SpO2 right", NONE_OF_THESE)
    assert set(night(text, LONDON | {"column.spo2": "SpO2 right"}).signal.spo2_tenths.tolist()) == {930}
    two = rows(stamps(), lambda _: "2026-03-14 22:00:00,94", "Time,Timestamp,SpO2")
    assert questions(two)["column.time"].options == ("Time", "Timestamp", "SpO2")
    assert night(two, LONDON | {"column.time": "Time"}).signal.has_spo2


def test_a_file_without_a_header_asks_what_its_columns_are():
    text = rows(stamps()).split("\n", 1)[1]
    asked = questions(text)
    assert asked["column.time"].options == ("column 1", "column 2", "column 3")
    answers = LONDON | {"column.time": "column 1", "column.spo2": "column 2", "column.pulse": "column 3"}
    assert night(text, answers).signal.spo2_tenths[0] == 900


def test_marks_are_kept_where_they_begin():
    marks = ["", "oxygen change: 2 L/min", "oxygen change: 2 L/min", "", "awake"]
    text = rows(stamps(count=5), lambda k: f"94,{marks[k]}", "Time,SpO2,Event")
    signal = night(text).signal
    assert [(one.onset_s, one.text) for one in signal.annotations] == [(1.0, marks[1]), (4.0, "awake")]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("\n\n", "empty"),
        (HEADER, "no rows"),
        ("hello world", "No table"),
        (rows(stamps(count=1)), "single row"),
        (rows(stamps()) + "2026-03-15 00:00:30,9", "Row 62 has 2 cells, accepted are 3"),
        (rows(stamps()) + "2026-03-15 00:0,94,60", "Row 62, time"),
        (rows(stamps()) + "2026-03-15 00:00:30,97,5,60,5\n", "decimal comma"),
        (rows(stamps(), lambda _: "9x,60"), "Row 2, SpO2 (%)"),
        (rows(stamps(), lambda _: "1e2,60"), "Row 2, SpO2 (%)"),
        (rows(stamps(), lambda _: "９４,60"), "Row 2, SpO2 (%)"),
        (rows(stamps(), lambda _: "Inf,60"), "Row 2, SpO2 (%)"),
        (rows(stamps(), lambda _: '"94,60'), "quote"),
        (rows(["2026-03-14 25:00:00"]), "no time a clock can show"),
        (rows(["2026-03-14 22:00:00", "22:00:01"]), "no date"),
        (rows(["2026-03-14T22:00:00Z", "2026-03-14T22:00:01"]), "no offset"),
        (rows(stamps(), lambda _: "0,0"), "No second"),
        (rows(stamps(), lambda _: "0.94,60"), "fractions"),
        (
            rows([*stamps(), "2026-03-18 22:00:00"]),
            "accepted are at most 72 h",
        ),
    ],
)
def test_a_broken_file_is_refused_by_row_and_reason(text, says):
    assert says in refusal(text)


def test_too_many_rows_are_refused():
    assert "at most 400000" in refusal("Time,SpO2\n" + "1\n" * 400_001)


def test_binary_data_is_named():
    assert "binary" in refusal(b"\x00\xff\xfe\x01" * 8 + b"Time,SpO2\n")
