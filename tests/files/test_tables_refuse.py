"""What a table of records may not be, and what its reader is told."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from hvmon.files import table_text
from hvmon.files.tables import read_folder, read_table, read_table_bytes
from hvmon.records.flat import columns
from hvmon.records.kinds import KIND_OF_TABLE, RECORD_KINDS

WEIGHT = KIND_OF_TABLE["weight"]
HEADER = "person_key,weighed_on,weight_kg,estimated,visit_id\n"
ROW = "person-0001,2026-03-01,80.5,no,\n"


def problem_of(content):
    report = read_table_bytes(content if isinstance(content, bytes) else content.encode(), WEIGHT)
    assert report.problems, "nothing was refused"
    assert all(p.table == "weight" and p.accepted and p.advice for p in report.problems)
    return report.problems[0]


def cell_problem(cell, column="weight_kg"):
    cells = dict(zip(HEADER.strip().split(","), ROW.strip("\n").split(","), strict=True)) | {column: cell}
    problem = problem_of(HEADER + ROW.replace("0001", "0009") + ",".join(cells.values()) + "\n")
    assert (problem.row, problem.column) == (3, column)
    return problem


def test_a_good_table_is_read():
    report = read_table_bytes((HEADER + ROW).encode(), WEIGHT)
    assert report.problems == ()
    assert str(report.good[0].record.weight_kg) == "80.5"
    assert report.good[0].row == 2


@pytest.mark.parametrize(
    "content", [b"", b"\n\n", b"\xef\xbb\xbf", HEADER.encode(), HEADER.encode() + b"\n\n"]
)
def test_a_file_without_rows_says_so(content):
    assert "no rows" in problem_of(content).given


@pytest.mark.parametrize(
    ("header", "column", "given"),
    [
        ("person_key,weighed_on,weight,estimated", "weight", "weight"),
        ("person_key,weighed_on,weight_kg,estimated,weight_kg", "weight_kg", "weight_kg twice"),
        ("person_key,weighed_on,,estimated", "(no name)", "column 3 without a name"),
        ("person_key,weighed_on,estimated", "weight_kg", "no such column"),
    ],
)
def test_a_wrong_header_names_row_one_and_the_column(header, column, given):
    problem = problem_of(f"{header}\nx,y,z\n")
    assert (problem.row, problem.column, problem.given) == (1, column, given)


def test_a_ragged_row_tells_cells_found_and_expected():
    problem = problem_of(HEADER + ROW + "person-0002,2026-03-02,6,8,no,\n")
    assert (problem.row, problem.given) == (3, "6 cells")
    assert problem.accepted.startswith("5 cells")


def test_a_quote_that_is_never_closed_names_its_row():
    problem = problem_of(HEADER + ROW + 'person-0002,2026-03-02,80,no,"open\n')
    assert problem.row == 3
    assert "closed" in problem.advice


def test_a_file_of_semicolons_and_decimal_commas_is_named_and_never_read():
    problem = problem_of(HEADER.replace(",", ";") + "person-0001;2026-03-01;6,8;no;\n")
    assert "semicolons" in problem.given
    assert "decimal commas" in problem.given


def test_latin_1_names_the_byte_and_the_row_and_utf_16_is_named_and_a_mark_is_accepted():
    problem = problem_of((HEADER + ROW + "person-0002,2026-03-02,80,no,caf\xe9\n").encode("latin-1"))
    assert problem.row == 3
    assert "0xE9" in problem.given
    assert problem_of((HEADER + ROW).encode("utf-16")).given == "UTF-16 text"
    assert problem_of((HEADER + ROW).encode("utf-16-le")).given == "UTF-16 text"
    assert not read_table_bytes((HEADER + ROW).encode("utf-8-sig"), WEIGHT).problems


def test_too_many_rows_and_too_many_bytes_are_refused_with_the_limit(monkeypatch, tmp_path):
    assert "20000000" in problem_of(b"x" * 20_000_001).accepted
    sparse = tmp_path / "weight.csv"
    with sparse.open("wb") as file:
        file.truncate(21_000_000)
    assert "20000000" in read_table(sparse, WEIGHT).problems[0].accepted
    monkeypatch.setattr(table_text, "MAX_TABLE_ROWS", 3)
    assert "at most 3" in problem_of(HEADER + ROW * 4).accepted
    rows = "".join(ROW.replace("0001", f"000{n}") for n in range(3))
    assert len(read_table_bytes((HEADER + rows).encode(), WEIGHT).good) == 3


@pytest.mark.parametrize("cut", range(1, len("person-0002,2026-03-02,80.5,no,")))
def test_a_torn_last_line_is_named_and_gives_no_record(cut):
    torn = "person-0002,2026-03-02,80.5,no,"[:cut]
    report = read_table_bytes((HEADER + ROW + torn).encode(), WEIGHT)
    whole = torn.count(",") == 4
    assert [problem.row for problem in report.problems] == ([] if whole else [3])


def test_an_export_whose_last_line_end_is_missing_was_torn():
    note = "# hvmon table weight\n"
    assert problem_of(note + HEADER + ROW.strip()).row == 3
    assert not read_table_bytes((note + HEADER + ROW).encode(), WEIGHT).problems


@pytest.mark.parametrize(
    "number",
    [
        "NaN",
        "Inf",
        "-inf",
        "1e1",
        "1e400",
        "0x10",
        "1_0",
        "+6.8",
        "６.８",
        "1 000",
        "1,000.5",
        "80kg",
        ".",
        "--1",
        "8.",
        "=80",
    ],
)
def test_only_plain_decimals_are_numbers(number):
    quoted = f'"{number}"' if "," in number else number
    assert cell_problem(quoted).given == number


def test_a_decimal_comma_in_quotes_is_refused_and_never_read_as_68():
    assert "comma" in cell_problem('"6,8"').advice


@pytest.mark.parametrize(
    "day",
    [
        "03/04/2026",
        "3.4.2026",
        "2026-3-4",
        "20260304",
        "2026-W10-1",
        "2026-02-30",
        "0026-03-01",
        "1899-12-31",
        "2199-01-01",
    ],
)
def test_only_a_date_that_exists_in_one_order_is_a_date(day):
    cell_problem(day, "weighed_on")


@pytest.mark.parametrize(
    "moment",
    [
        "2026-03-01T10:30",
        "2026-03-01",
        "03/04/2026 10:30+00:00",
        "2026-03-01T25:00Z",
        "2026-03-01T10:30+99:00",
    ],
)
def test_a_moment_without_offset_or_out_of_range_is_refused(moment):
    kind = KIND_OF_TABLE["meeting_decision"]
    text = f"person_key,met_at,zone,decision,decided_by\nperson-0001,{moment},Europe/London,go on,the team\n"
    problem = read_table_bytes(text.encode(), kind).problems[0]
    assert (problem.row, problem.column, problem.given) == (2, "met_at", moment)


def test_a_word_outside_the_set_shows_the_set():
    kind = KIND_OF_TABLE["spot_transcutaneous"]
    text = "person_key,read_at,zone,site\n"
    report = read_table_bytes((text + "person-0001,2026-03-01T10:30Z,UTC,ear\n").encode(), kind)
    assert {problem.column for problem in report.problems} >= {"state_position", "ptcco2", "recorded_by"}
    assert {problem.row for problem in report.problems} == {1}
    problem = cell_problem("maybe", "estimated")
    assert problem.accepted == "yes or no"


def test_a_value_the_door_refuses_names_row_column_and_range():
    problem = cell_problem("900")
    assert "2 to 350 kg" in problem.accepted


def test_a_required_cell_left_empty_is_named():
    assert cell_problem("").accepted == "is required"


def test_a_person_number_keeps_its_zeros():
    kind = KIND_OF_TABLE["identity"]
    text = "person_key,local_id,second_identifier,name,date_of_birth\nperson-0001,00123,0456,A B,1950-01-01\n"
    assert read_table_bytes(text.encode(), kind).good[0].record.local_id == "00123"


@pytest.mark.parametrize(
    "items", ["{", "3", "[NaN]", "[" * 30 + "]" * 30, '[{"x": 1}]', '["x"]', "[1e999]", "null"]
)
def test_a_list_that_does_not_hold_is_refused(items):
    kind = KIND_OF_TABLE["symptom_report"]
    asked = "person_key,asked_at,zone,morning_headache,daytime_sleepiness,sleep_quality,breathlessness"
    rest = ",poor_concentration,pins_and_needles,answered_by,flap"
    rest += ",new_drowsiness_or_confusion,recorded_by,instruments\n"
    row = (
        "person-0001,2026-03-01T10:30Z,UTC,1,2,3,4,5,6,self,not tested,not recorded,A,"
        '"' + items.replace('"', '""') + '"\n'
    )
    report = read_table_bytes((asked + rest + row).encode(), kind)
    assert [problem.row for problem in report.problems][:1] == [2]
    assert report.good == ()


def test_the_same_reading_twice_is_repeated_and_another_value_for_it_is_refused():
    report = read_table_bytes((HEADER + ROW + ROW).encode(), WEIGHT)
    assert (len(report.good), report.repeated_rows, report.problems) == (1, (3,), ())
    report = read_table_bytes((HEADER + ROW + ROW.replace("80.5", "81")).encode(), WEIGHT)
    assert (report.problems[0].row, report.problems[0].given) == (3, "the same as row 2")


def test_good_rows_are_kept_apart_from_bad_ones_and_all_bad_ones_are_counted():
    rows = [ROW.replace("0001", f"{n:04d}").replace("80.5", "x" if n < 1500 else "70") for n in range(1600)]
    report = read_table_bytes((HEADER + "".join(rows)).encode(), WEIGHT)
    assert (report.rows_in_file, report.bad_rows, len(report.good)) == (1600, 1500, 100)
    assert report.problems_not_listed


def test_rows_of_empty_cells_are_no_rows():
    report = read_table_bytes((HEADER + ROW + ",,,,\n" + ",,,,\n").encode(), WEIGHT)
    assert (report.rows_in_file, len(report.good), report.problems) == (1, 1, ())
    assert problem_of(HEADER + ",,,,\n").given == "no rows"


def test_a_folder_names_files_that_are_no_table(tmp_path):
    assert "no CSV file" in read_folder(tmp_path).problems[0].given
    (tmp_path / "weights.csv").write_text(HEADER + ROW)
    (tmp_path / "weight.csv").write_text(HEADER + ROW)
    report = read_folder(tmp_path)
    assert [problem.given for problem in report.problems] == ["weights.csv"]
    assert not report.is_clean
    assert report.summary == "1 tables, 1 rows: 1 accepted, 0 refused."
    assert not read_folder(tmp_path / "absent").is_clean


@given(st.sampled_from(RECORD_KINDS), st.binary(max_size=300))
def test_any_bytes_are_records_or_named_problems(kind, content):
    report = read_table_bytes(content, kind)
    assert report.good or report.problems
    assert all(problem.accepted and problem.advice for problem in report.problems)
    assert read_table_bytes(content, kind) == report


cells = st.one_of(
    st.text(max_size=12),
    st.sampled_from(["person-0001", "2026-03-01", "80", "no", "", "not recorded", '"', "[]", "\x00"]),
)


@given(st.sampled_from(RECORD_KINDS), st.data())
def test_any_cells_under_a_right_header_are_records_or_problems_with_row_and_column(kind, data):
    names = [column.name for column in columns(kind.model)]
    rows = data.draw(
        st.lists(st.lists(cells, min_size=len(names), max_size=len(names)), min_size=1, max_size=3)
    )
    quoted = "\n".join(
        ",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in [names, *rows]
    )
    report = read_table_bytes(quoted.encode("utf-8", "replace"), kind)
    assert all(
        (problem.row or problem.given == "no rows") and problem.accepted for problem in report.problems
    )
    assert report.bad_rows + len(report.good) + len(report.repeated_rows) == report.rows_in_file


GAS = KIND_OF_TABLE["blood_gas"]
GAS_HEADER = (
    "person_key,drawn_at,zone,kind,site,state_ventilator,state_minutes_in_state,state_oxygen_l_min,"
    "state_minutes_since_oxygen_change,state_position,state_rest,state_wakefulness,state_reason,ph,pco2,"
    "pco2_unit,hco3_kind,be_kind,temperature_correction,failed_attempts,recorded_by\n"
)


def gas_at(moment, zone="Europe/London"):
    return read_table_bytes(
        (
            f"{GAS_HEADER}person-0001,{moment},{zone},capillary earlobe,earlobe,off ventilator,60,0,"
            "not recorded,sitting,at rest,awake,routine,7.38,6.4,kPa,actual,blood,none (37 C),0,N. Invented\n"
        ).encode(),
        GAS,
    )


@pytest.mark.parametrize(
    "moment",
    [
        "2026-07-01T10:30+01:00",
        "2026-07-01T09:30Z",
        "2026-07-01T09:30+00:00",
        "2026-01-01T10:30+00:00",
        "2026-10-25T01:30+01:00",  # the hour that comes twice, first pass
        "2026-10-25T01:30+00:00",  # and second pass
    ],
)
def test_a_moment_is_read_with_the_offset_of_its_zone_or_in_utc(moment):
    assert gas_at(moment).problems == ()


@pytest.mark.parametrize("moment", ["2026-07-01T10:30+05:00", "2026-01-01T10:30+01:00"])
def test_an_offset_that_the_zone_of_the_row_did_not_have_then_is_refused(moment):
    [problem] = gas_at(moment).problems
    assert (problem.row, problem.column) == (2, "drawn_at")
    assert "Europe/London" in problem.accepted


def test_a_zone_that_does_not_exist_is_told_once_and_by_name():
    [problem] = gas_at("2026-07-01T10:30+01:00", "Mars").problems
    assert problem.column == "zone"
    assert str(problem).startswith("blood_gas, row 2, column zone: 'Mars' was given; 'Mars' is no time zone")


def test_a_file_that_is_no_text_is_not_called_utf_16():
    program = bytes([0x7F, 0x45, 0x4C, 0x46, 2, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 3, 0, 0x3E, 0]) * 20
    assert problem_of(program).given == "no text"


def test_a_refusal_of_the_record_reads_as_a_sentence():
    told = str(problem_of(HEADER + ROW.replace("80.5", "961.8")))
    assert "'961.8' was given; weight 961.8 is not possible; accepted is 2 to 350 kg" in told


def test_a_summary_counts_rows_that_repeat_and_names_tables_refused_whole(tmp_path):
    (tmp_path / "weight.csv").write_text(HEADER + ROW + ROW)
    (tmp_path / "visit.csv").write_text("no;such;header\n1;2;3\n")
    summary = read_folder(tmp_path).summary
    assert summary == "2 tables, 2 rows: 1 accepted, 0 refused, 1 repeated. Refused as a whole: visit."
