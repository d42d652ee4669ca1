"""EDF and EDF+ as nights: every record at its own onset, every damage named, nothing guessed."""

import dataclasses
import datetime as dt

import numpy as np
import pytest

from hvmon.files.night_edf import understand, understand_bytes
from hvmon.files.understood import NONE_OF_THESE, Questions, UnreadableNight
from hvmon.records.night_signal import MISSING, AnnotationKind

LONDON = {"zone": "Europe/London"}


@dataclasses.dataclass
class Signal:
    """One signal of a file made by hand, its fields as they stand in the header."""

    label: str = "SaO2 finger"
    values: object = None
    dimension: str = "%"
    physical: tuple = ("0", "100")
    digital: tuple = ("0", "1000")
    samples: int = 10
    transducer: str = ""
    prefiltering: str = ""


def edf(
    *signals,
    records=6,
    onsets=None,
    seconds="10",
    reserved=None,
    date="02.03.26",
    time="22.15.00",
    recording="Startdate 02-MAR-2026 X X X",
    patient="X X X X",
    count=None,
    marks=None,
):
    """Give the bytes of a file written by hand from the standard: no writer vouches for our reader."""
    plus = onsets is not None
    blocks = [_samples(signal, records) for signal in signals]
    headers = list(signals)
    if plus:
        blocks.append([_tal(onset, (marks or {}).get(k, b"")) for k, onset in enumerate(onsets)])
        headers.append(
            Signal("EDF Annotations", None, "", ("-1", "1"), ("-32768", "32767"), len(blocks[-1][0]) // 2)
        )
    reserved = ("EDF+C" if plus else "") if reserved is None else reserved
    fixed = [
        ("0", 8), (patient, 80), (recording, 80), (date, 8), (time, 8), (str(256 * (1 + len(headers))), 8),
        (reserved, 44), (str(records if count is None else count), 8), (seconds, 8), (str(len(headers)), 4),
    ]  # fmt: skip
    columns = (
        ("label", 16), ("transducer", 80), ("dimension", 8), ("physical", 8), ("digital", 8),
        ("prefiltering", 80), ("samples", 8), ("", 32),
    )  # fmt: skip
    for name, width in columns:
        texts = [getattr(signal, name, "") for signal in headers]
        ranges = [one if isinstance(one, tuple) else (one,) for one in texts]
        fixed += [(str(one[k]), width) for k in range(len(ranges[0])) for one in ranges]
    head = b"".join(text.encode("latin-1").ljust(width)[:width] for text, width in fixed)
    return head + b"".join(block[k] for k in range(records) for block in blocks)


def _samples(signal, records):
    values = signal.values
    values = (
        np.arange(records * signal.samples) % 50 + 900
        if values is None
        else np.resize(values, records * signal.samples)
    )
    return [part.astype("<i2").tobytes() for part in np.split(np.asarray(values), records)]


def _tal(onset, marks):
    return (f"+{onset:g}".encode() + b"\x14\x14\x00" + marks).ljust(60, b"\x00")


PULSE = Signal("Pulse", np.array([61, 62]), "/min", ("0", "255"), ("0", "255"), 10)
TCCO2 = Signal("tcCO2", np.array([450, 451]), "mmHg", ("0", "200"), ("0", "2000"), 10)


def night(content, answers=LONDON):
    outcome = understand_bytes(content, answers)
    assert not isinstance(outcome, Questions), outcome
    return outcome


def questions(content, answers=LONDON):
    outcome = understand_bytes(content, answers)
    assert isinstance(outcome, Questions), outcome
    return {question.key: question for question in outcome.questions}


def refusal(content, answers=LONDON):
    with pytest.raises(UnreadableNight) as caught:
        understand_bytes(content, answers)
    return str(caught.value)


def test_a_plain_file_gives_its_numbers_in_exact_tenths_and_its_start_in_utc():
    outcome = night(edf(Signal(), PULSE, TCCO2, time="22.15.00"))
    signal = outcome.signal
    assert signal.start_utc == dt.datetime(2026, 3, 2, 22, 15, tzinfo=dt.UTC)
    assert signal.spo2_tenths.tolist() == [900 + k % 50 for k in range(60)]
    assert set(signal.pulse_tenths.tolist()) == {610, 620}
    assert set(signal.tcco2_tenths_mmhg.tolist()) == {450, 451}
    assert outcome.warnings == ()
    assert any("22:15:00" in line for line in outcome.summary)


def test_summer_time_of_the_site_is_taken_off():
    content = edf(Signal(), date="02.07.26", recording="Startdate 02-JUL-2026 X X X")
    assert night(content).signal.start_utc == dt.datetime(2026, 7, 2, 21, 15, tzinfo=dt.UTC)


@pytest.mark.parametrize("reserved", ["EDF+D", "EDF+C"])
def test_records_after_a_hole_stand_at_their_own_onset_whatever_the_header_calls_the_file(reserved):
    onsets = [0, 10, 20, 150, 160, 170]
    mark = {3: b"+155.5\x152\x14oxygen change: 1 L/min\x14\x00"}
    outcome = night(edf(Signal(), records=6, onsets=onsets, reserved=reserved, marks=mark))
    spo2 = outcome.signal.spo2_tenths
    assert len(spo2) == 180
    assert spo2[:30].tolist() == [900 + k for k in range(30)]
    assert (spo2[30:150] == MISSING).all()
    assert spo2[150:].tolist() == [900 + (30 + k) % 50 for k in range(30)]
    (annotation,) = outcome.signal.annotations
    assert (annotation.onset_s, annotation.duration_s, annotation.detail) == (155.5, 2.0, "1 L/min")
    assert annotation.kind == AnnotationKind.OXYGEN_CHANGE
    assert any("1 holes, 120 s" in warning for warning in outcome.warnings)
    assert any("calls the file continuous" in warning for warning in outcome.warnings) == (
        reserved == "EDF+C"
    )


def test_a_start_with_a_fraction_of_a_second_is_kept():
    outcome = night(
        edf(Signal(), onsets=[0.25 + 10 * k for k in range(6)], marks={0: b"+3.25\x14awake\x14\x00"})
    )
    assert outcome.signal.start_utc.microsecond == 250_000
    assert outcome.signal.n_seconds == 60
    assert outcome.signal.annotations[0].onset_s == 3.0


def test_several_texts_at_one_onset_and_texts_beside_the_time_keeping_are_all_kept():
    marks = {
        0: b"+1\x14awake\x14note: a\x14\x00",
        5: "+51\x14né\x14\x00".encode(),
        2: "+22\x14né\x14\x00".encode("latin-1"),
    }
    outcome = night(edf(Signal(), onsets=[10 * k for k in range(6)], marks=marks))
    assert [one.text for one in outcome.signal.annotations] == ["awake", "note: a", "né", "né"]
    assert any("Latin-1" in warning for warning in outcome.warnings)


@pytest.mark.parametrize(("samples", "interval"), [(40, 1), (10, 1), (5, 2), (3, 4)])
def test_fast_signals_give_the_first_value_of_a_second_and_slow_ones_are_held(samples, interval):
    seconds = "12" if samples == 3 else "10"
    values = np.arange(6 * samples) % 90 + 900
    signal = night(edf(Signal(values=values, samples=samples), seconds=seconds)).signal
    assert signal.interval_s == interval
    per_second = samples / float(seconds)
    assert signal.spo2_tenths.tolist() == [
        values[int(k * per_second + 1e-9)] for k in range(signal.n_seconds)
    ]


def test_records_shorter_than_a_second_give_the_first_value_of_a_second():
    values = np.arange(60) % 90 + 900
    plain = night(edf(Signal(values=values, samples=1), records=60, seconds="0.5")).signal
    assert plain.spo2_tenths.tolist() == values[::2].tolist()
    onsets = [0.5 * k + (10 if k >= 30 else 0) for k in range(60)]
    holed = night(edf(Signal(values=values, samples=1), records=60, seconds="0.5", onsets=onsets)).signal
    assert holed.spo2_tenths.tolist() == [*values[:30:2], *[MISSING] * 10, *values[30::2]]


@pytest.mark.parametrize(
    ("physical", "digital", "raw"),
    [
        (("0", "200"), ("-1000", "1000"), -60),
        (("-20", "120"), ("-700", "700"), 440),
        (("100", "0"), ("0", "1000"), 60),
    ],
)
def test_any_linear_scale_gives_the_same_percent(physical, digital, raw):
    signal = night(edf(Signal(values=np.array([raw]), physical=physical, digital=digital))).signal
    assert set(signal.spo2_tenths.tolist()) == {940}


def test_a_possible_number_outside_the_digital_range_is_still_missing():
    spo2 = Signal(values=np.array([850, 950]), physical=("0", "90"), digital=("0", "900"))
    assert night(edf(spo2)).signal.spo2_tenths[:4].tolist() == [850, MISSING, 850, MISSING]


def test_slower_signals_are_refused_by_their_field():
    assert "number of samples in a data record" in refusal(edf(Signal(samples=2)))


def test_codes_for_no_reading_and_numbers_outside_the_digital_range_are_missing_and_told():
    spo2 = Signal(
        values=np.array([95, 0, 127, 255, 96, 300, -5]),
        physical=("0", "255"),
        digital=("0", "255"),
        samples=7,
    )
    pulse = Signal("Pulse", np.array([60, 0, 127, 255, 127, 61, 62]), "bpm", ("0", "255"), ("0", "255"), 7)
    outcome = night(edf(spo2, pulse, seconds="7"))
    assert outcome.signal.spo2_tenths[:7].tolist() == [950, MISSING, MISSING, MISSING, 960, MISSING, MISSING]
    assert outcome.signal.pulse_tenths[:7].tolist() == [600, MISSING, MISSING, MISSING, 1270, 610, 620]
    assert any("18 s with a code" in warning for warning in outcome.warnings)
    assert any("12 s outside the digital range" in warning for warning in outcome.warnings)


def test_kilopascal_is_kept_in_hundredths():
    signal = night(
        edf(Signal(), Signal("PtcCO2", np.array([601, 655]), "kPa", ("0", "20"), ("0", "2000"), 10))
    ).signal
    assert set(signal.tcco2_hundredths_kpa.tolist()) == {601, 655}


@pytest.mark.parametrize(("dimension", "raw", "looks"), [("mmHg", 60, "kPa"), ("kPa", 450, "mmHg")])
def test_a_unit_that_the_numbers_contradict_stops_the_import(dimension, raw, looks):
    tcco2 = Signal("tcCO2", np.array([raw, raw + 1]), dimension, ("0", "200"), ("0", "2000"), 10)
    assert f"look like {looks}" in refusal(edf(Signal(), tcco2))


def test_saturation_as_a_fraction_stops_the_import():
    assert "fractions" in refusal(edf(Signal(values=np.array([950, 960]), physical=("0", "1"))))


def test_a_unit_that_is_not_stated_is_asked_and_the_answer_is_held_against_the_numbers():
    content = edf(Signal(), Signal("tcCO2", np.array([450, 451]), "", ("0", "200"), ("0", "2000"), 10))
    assert questions(content)["unit.tcco2"].options == ("kPa", "mmHg")
    assert night(content, LONDON | {"unit.tcco2": "mmHg"}).signal.tcco2_tenths_mmhg[0] == 450
    assert "look like mmHg" in refusal(content, LONDON | {"unit.tcco2": "kPa"})


def test_co2_alone_is_never_taken_for_transcutaneous():
    content = edf(Signal(), Signal("CO2", np.array([450, 451]), "mmHg", ("0", "200"), ("0", "2000"), 10))
    question = questions(content)["column.tcco2"]
    assert question.options == ("CO2 (signal 2)", NONE_OF_THESE)
    assert night(content, LONDON | {"column.tcco2": NONE_OF_THESE}).signal.tcco2_tenths_mmhg is None
    assert night(content, LONDON | {"column.tcco2": "CO2 (signal 2)"}).signal.tcco2_tenths_mmhg[0] == 450


def test_two_saturations_are_asked_and_the_chosen_one_is_read():
    content = edf(Signal("SpO2 finger"), Signal("SpO2 ear", np.array([930]), samples=10))
    assert questions(content)["column.spo2"].options == (
        "SpO2 finger (signal 1)",
        "SpO2 ear (signal 2)",
        NONE_OF_THESE,
    )
    answers = LONDON | {"column.spo2": "SpO2 ear (signal 2)"}
    assert set(night(content, answers).signal.spo2_tenths.tolist()) == {930}
    assert "not accepted" in refusal(content, LONDON | {"column.spo2": "the left one"})


def test_a_signal_may_be_answered_by_its_bare_label_and_a_needless_answer_is_told():
    content = edf(Signal("SpO2 finger"), Signal("SpO2 ear", np.array([930])))
    answers = LONDON | {"column.spo2": "spo2 ear", "start_date": "2026-01-01"}
    outcome = night(content, answers)
    assert set(outcome.signal.spo2_tenths.tolist()) == {930}
    assert outcome.warnings == ("The answer to 'start_date' was not used; the file says it itself.",)


@pytest.mark.parametrize("label", ["SaO2", "SpO2", "SPO2", "sao2 finger", "SaO2 ear", "SpO2 [%]"])
def test_labels_of_the_standard_texts_and_of_the_trade_are_known_in_any_case(label):
    assert night(edf(Signal(label))).signal.has_spo2


def test_a_file_without_any_known_label_asks_which_signal_it_is():
    content = edf(Signal("EEG Fpz-Cz", dimension="uV"), Signal("Chan 2", dimension=""))
    assert questions(content)["column.spo2"].options == (
        "EEG Fpz-Cz (signal 1)",
        "Chan 2 (signal 2)",
        NONE_OF_THESE,
    )
    assert night(content, LONDON | {"column.spo2": "Chan 2 (signal 2)"}).signal.has_spo2
    assert "physical dimension" in refusal(content, LONDON | {"column.spo2": "EEG Fpz-Cz (signal 1)"})
    assert "needs one" in refusal(content, LONDON | {"column.spo2": NONE_OF_THESE})


def test_the_zone_is_asked_for_and_must_exist():
    assert "zone" in questions(edf(Signal()), {})
    assert "not known" in refusal(edf(Signal()), {"zone": "Europe/Atlantis"})
    assert "not known" in refusal(edf(Signal()), {"zone": "../../etc/passwd"})


@pytest.mark.parametrize("recording", ["Startdate X X X X", ""])
def test_a_date_made_anonymous_is_asked(recording):
    content = edf(Signal(), date="01.01.85", recording=recording)
    assert questions(content)["start_date"].options == ()
    start = night(content, LONDON | {"start_date": "2026-03-02"}).signal.start_utc
    assert start == dt.datetime(2026, 3, 2, 22, 15, tzinfo=dt.UTC)
    for wrong in ("02/03/2026", "2026-02-30", "20260302"):
        assert "year-month-day" in refusal(content, LONDON | {"start_date": wrong})


def test_two_dates_that_disagree_are_asked():
    content = edf(Signal(), date="03.03.26")
    assert questions(content)["start_date"].options == ("2026-03-02", "2026-03-03")


def test_a_start_in_the_repeated_hour_is_asked_and_one_in_the_skipped_hour_is_refused():
    autumn = edf(Signal(), date="25.10.26", time="01.30.00", recording="Startdate 25-OCT-2026 X X X")
    first, second = questions(autumn)["clock_change"].options
    assert night(autumn, LONDON | {"clock_change": first}).signal.start_utc.hour == 0
    assert night(autumn, LONDON | {"clock_change": second}).signal.start_utc.hour == 1
    spring = edf(Signal(), date="29.03.26", time="01.30.00", recording="Startdate 29-MAR-2026 X X X")
    assert "does not exist" in refusal(spring)


def test_a_recording_of_more_than_a_day_is_asked_and_of_more_than_three_refused():
    spo2 = Signal(samples=3600)
    question = questions(edf(spo2, records=25, seconds="3600"))["long_recording"]
    assert "25.0 h" in question.text
    assert night(
        edf(spo2, records=25, seconds="3600"), LONDON | {"long_recording": question.options[0]}
    ).signal.has_spo2
    assert "longer than 72 h" in refusal(edf(spo2, records=73, seconds="3600"))


GOOD = edf(Signal(), PULSE, onsets=[10 * k for k in range(6)])


@pytest.mark.parametrize(
    ("start", "text", "field"),
    [
        (0, "1", "version"),
        (0, "\xffTWOFOUR", "version"),
        (88, "Startdate 31-FEB-2026 X X X", "recording identification"),
        (88, "Startdate 02-MRZ-2026 X X X", "recording identification"),
        (176, "25.00.00", "start time"),
        (176, "half ten", "start time"),
        (184, "512", "number of header bytes"),
        (236, "-7", "number of data records"),
        (236, "many", "number of data records"),
        (244, "0", "duration of a data record"),
        (244, "-1", "duration of a data record"),
        (244, "nan", "duration of a data record"),
        (244, "inf", "duration of a data record"),
        (244, "1e99", "duration of a data record"),
        (252, "0", "number of signals"),
        (252, "-1", "number of signals"),
        (252, "9999", "number of signals"),
        (252, "", "number of signals"),
        (256 + 3 * 104, "100", "physical maximum"),
        (256 + 3 * 104, "x", "physical minimum"),
        (256 + 3 * 120, "1000", "digital minimum"),
        (256 + 3 * 120, "0.5", "digital minimum"),
        (256 + 3 * 128, "70000", "digital maximum"),
        (256 + 3 * 216, "0", "number of samples in a data record"),
        (256 + 3 * 216, "ten", "number of samples in a data record"),
    ],
)
def test_a_damaged_header_field_is_named(start, text, field):
    width = {88: 80, 252: 4}.get(start, 8)
    content = GOOD[:start] + text.encode("latin-1").ljust(width)[:width] + GOOD[start + width :]
    message = refusal(content)
    assert f"'{field}" in message
    assert "accepted is" in message


def test_an_impossible_date_in_both_fields_is_named():
    assert "'start date'" in refusal(edf(Signal(), date="31.02.26", recording=""))


@pytest.mark.parametrize("size", [0, 1, 7, 8, 100, 200, 255, 256, 300, 767, 1023])
def test_a_header_that_was_cut_is_named(size):
    message = refusal(GOOD[:size])
    assert "EDF header, field" in message or "empty" in message


def test_a_header_without_data_is_named():
    assert "no whole data record" in refusal(GOOD[: 256 * 4 + 30])


@pytest.mark.parametrize("count", [-1, 3, 60])
def test_the_number_of_records_is_taken_from_the_size_and_told(count):
    outcome = night(edf(Signal(), records=6, count=count))
    assert outcome.signal.n_seconds == 60
    assert any("the file holds 6" in warning for warning in outcome.warnings)


@pytest.mark.parametrize("cut", [1, 20, 25])
def test_a_file_cut_inside_a_record_keeps_the_whole_records_and_says_so(cut):
    outcome = night(edf(Signal(), count=6)[:-cut])
    assert outcome.signal.n_seconds == 50 if cut != 25 else 40
    assert any("records" in warning for warning in outcome.warnings)


def test_trailing_bytes_are_told():
    assert any("3 bytes after record 6" in warning for warning in night(edf(Signal()) + b"abc").warnings)


def test_a_damaged_time_keeping_entry_names_the_record():
    damaged = GOOD.replace(b"+30\x14\x14", b"x30\x14\x14")
    assert "data record 4" in refusal(damaged)
    assert "data record 4: it begins at 10 s" in refusal(edf(Signal(), onsets=[0, 10, 20, 10, 40, 50]))
    assert "one night" in refusal(edf(Signal(), onsets=[0, 10, 20, 30, 40, 500_000]))
    torn = edf(Signal(), onsets=[0, 10, 20, 30, 40, 50], marks={2: b"+20\x14torn"})
    assert "data record 3" in refusal(torn)


def test_plus_without_annotations_and_annotations_without_signals_are_refused():
    assert "EDF Annotations" in refusal(edf(Signal(), reserved="EDF+D"))
    assert "annotations only" in refusal(edf(onsets=[0, 10, 20, 30, 40, 50]))


def test_older_files_with_latin_1_labels_free_text_and_decimal_commas_are_read():
    spo2 = Signal("SaO2 \xe9", physical=("0", "100,0"))
    outcome = night(edf(spo2, recording="free text", patient="Jos\xe9"))
    assert outcome.signal.spo2_tenths[0] == 900
    assert any("José" in line for line in outcome.summary)


def test_a_file_over_the_limit_is_refused_before_it_is_read(tmp_path):
    path = tmp_path / "large.edf"
    with path.open("wb") as file:
        file.truncate(20_000_001)
    with pytest.raises(UnreadableNight, match="at most 20000000"):
        understand(path, LONDON)
    with pytest.raises(UnreadableNight, match="cannot be opened"):
        understand(tmp_path / "absent.edf", LONDON)
