"""Every record type goes to CSV and back unchanged; new columns and types are covered by themselves."""

import csv
import io
import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from hvmon.files.tables import read_folder, read_table_bytes, table_text, write_folder
from hvmon.records.flat import Column, Kind, columns, unflatten
from hvmon.records.kinds import RECORD_KINDS, RecordKind
from hvmon.records.limits import entry_limit
from hvmon.vocabulary import NOT_RECORDED, SampleKind

ZONES = ("Europe/London", "Europe/Berlin", "America/St_Johns", "Australia/Lord_Howe", "UTC", "Asia/Kolkata")
HOSTILE = (
    "=1+1",
    "+44",
    "-5",
    "@SUM(A1)",
    "'quoted",
    "'=1",
    " =x",
    "＝1",
    "a,b",
    'a "b"',
    "line\nbreak",
    "\r\n",
    "# x",
    "00123",
    "1e5",
    "Ünïcödé 漢字",
    "not recorded",
    "\ttab",
    ";",
    "<script>",
    "nan",
)
texts = st.one_of(
    st.sampled_from(HOSTILE),
    st.text(st.characters(codec="utf-8", exclude_characters="\x00"), min_size=1, max_size=30),
)
names = texts.filter(lambda text: text.strip() != "")
days = st.dates(date(1935, 1, 1), date(2035, 12, 31))
instants = st.datetimes(datetime(1990, 1, 1), datetime(2035, 12, 31), timezones=st.just(UTC))  # noqa: DTZ001
LIMIT_OF = {
    "residual_events_per_h": "events_per_h",
    "pco2": "paco2_kpa",
    "po2": "pao2_kpa",
    "ptcco2": "ptcco2_kpa",
    "spo2_mean_pct": "spo2_pct",
    "spo2_nadir_pct": "spo2_pct",
    "daytime_h": "usage_h",
    "target_volume_ml": "tidal_volume_ml",
    "ipap_max_cmh2o": "ipap_cmh2o",
}
LISTS = {
    "instruments": [
        {
            "instrument": "Epworth Sleepiness Scale",
            "version": "1",
            "language": "",
            "total": "7",
            "completed_by": "self",
            "subscores": [{"name": "=a,b", "value": "1.50"}],
        },
        {"instrument": "mMRC dyspnoea (0 to 4)", "total": "2", "completed_by": "staff"},
    ],
    "accepted_warnings": [{"check_id": "X-1", "shown": 'shown, "quoted"\n=1', "reason": "as printed"}],
}


def _number(stem: str) -> st.SearchStrategy[Decimal]:
    field = LIMIT_OF.get(stem, stem)
    try:
        limit = entry_limit(field)
        low, high = limit.low, limit.high
    except KeyError:
        low, high = (Decimal(1), Decimal(15)) if stem.startswith("tcco2") else (Decimal(0), Decimal(100))
    places = st.integers(0, 3)
    return places.flatmap(lambda n: st.decimals(low, high, places=n, allow_nan=False, allow_infinity=False))


def _stem(name: str) -> str:
    for prefix in ("state_", "program_1_", "program_2_"):
        name = name.removeprefix(prefix)
    return name


def _whole(stem: str) -> st.SearchStrategy[int]:
    bounds = {
        "failed_attempts": (0, 20),
        "pulse_min": (20, 250),
        "dip_size_pct": (2, 5),
        "averaging_s": (1, 60),
        "spo2_target_low_pct": (50, 80),
        "spo2_target_high_pct": (81, 100),
        "flaps_per_30_s": (0, 60),
        "valid_s": (20_000, 40_000),
    }
    return st.integers(*bounds.get(stem, (0, 10)))


def _values(column: Column) -> st.SearchStrategy[object]:
    stem = _stem(column.name)
    if column.name == "zone":
        return st.sampled_from(ZONES)
    if column.name == "person_key":
        return st.from_regex(r"[a-z0-9-]{8,40}", fullmatch=True)
    if column.name == "signal_hash":
        return st.from_regex(r"[0-9a-f]{64}", fullmatch=True)
    return {
        Kind.TEXT: names if column.required or column.name == "visit_id" else texts,
        Kind.WORD: st.sampled_from([str(word) for word in column.words]),
        Kind.DECIMAL: _number(stem),
        Kind.WHOLE: _whole(stem),
        Kind.YES_NO: st.booleans(),
        Kind.INSTANT: instants,
        Kind.DATE: days,
        Kind.LIST: st.lists(st.sampled_from(LISTS.get(stem, [])), max_size=2).map(json.dumps),
    }[column.kind]


def _column(column: Column) -> st.SearchStrategy[object]:
    values = _values(column)
    if column.may_be_not_recorded:
        values |= st.just(NOT_RECORDED.value)
    return values if column.required else st.none() | values


SITES = {
    SampleKind.ARTERIAL: "radial",
    SampleKind.CAPILLARY_EARLOBE: "earlobe",
    SampleKind.CAPILLARY_FINGERTIP: "fingertip",
    SampleKind.VENOUS: "arm vein",
}


def _fits(flat: dict[str, object], table: str) -> dict[str, object]:
    """Bring columns that depend on each other into an order the door accepts."""
    _fit_dates(flat, table)
    for unit in [name for name in flat if name.endswith("_unit")]:
        flat[unit] = None if flat[unit.removesuffix("_unit")] is None else "kPa"
    for program in ("program_1", "program_2"):
        _fit_program(flat, program)
    if flat.get("dips_per_h") is not None:
        flat.update(dip_size_pct=4, dip_convention="C1")
    if flat.get("flaps_per_30_s") is not None:
        flat["flap"] = "present"
    return flat | _companions(flat, table)


def _fit_dates(flat: dict[str, object], table: str) -> None:
    pairs = (
        ("analysed_at", "drawn_at"), ("ended_at", "started_at"), ("until", "happened_on"),
        ("due", "agreed_on"),
    )  # fmt: skip
    for later, earlier in pairs:
        if flat.get(later) is not None and earlier in flat:
            flat[later] = flat[earlier] + timedelta(days=1)
    for name in ("owed_by", "new_due"):
        owed = flat.get(name) is not None and flat.get("owed_test") != "none"
        flat[name] = date(2036, 1, 1) if owed or table == "planned_change" else None


def _companions(flat: dict[str, object], table: str) -> dict[str, object]:
    """Columns that another column of the same table requires."""
    if table == "identity":
        return {"second_identifier": f"2nd {flat['local_id']}"}
    if table == "blood_gas":
        return {"site": SITES[flat["kind"]]}
    if table == "lung_function":
        return {"fvc_l": Decimal("2.50")}
    if table == "clinical_event" and "medicine" in str(flat["kind"]):
        return {"medicine_class": "opioid"}
    if table != "person":
        return {}
    pair = flat["spo2_target_low_pct"] is not None and flat["spo2_target_high_pct"] is not None
    target = {} if pair else {"spo2_target_low_pct": None, "spo2_target_high_pct": None}
    return target | ({} if flat["height_cm"] == NOT_RECORDED.value else {"height_method": "standing"})


PROGRAM = {
    "ipap_cmh2o": Decimal("20.5"), "ipap_max_cmh2o": Decimal(26), "epap_cmh2o": Decimal("6.0"),
    "tidal_volume_ml": Decimal(450), "target_volume_ml": Decimal(500), "backup_rate_min": Decimal(14),
    "inspiratory_time_s": Decimal("1.1"), "trigger": "medium", "interface": "nasal mask",
    "circuit": "not recorded", "filter_kind": "none",
}  # fmt: skip
ALWAYS = {"tidal_volume_ml", "target_volume_ml", "trigger", "interface", "circuit", "filter_kind"}


def _fit_program(flat: dict[str, object], program: str) -> None:
    mode = f"{program}_mode"
    if mode not in flat:
        return
    if program == "program_2" and flat[mode] is None:
        flat.update({name: None for name in flat if name.startswith(program)})
        return
    for name, value in PROGRAM.items():
        if flat[f"{program}_{name}"] is not None or name in ALWAYS:
            flat[f"{program}_{name}"] = value
    if flat[f"{program}_oxygen_l_min"] is None:
        flat[f"{program}_oxygen_l_min"] = NOT_RECORDED.value


def _record(kind: RecordKind, flat: dict[str, object]) -> object:
    try:
        return unflatten(kind.model, _fits(flat, kind.table))
    except ValidationError as error:
        message = f"the strategy of {kind.table} no longer fits its record type: {error}"
        raise AssertionError(message) from error


def records(kind: RecordKind) -> st.SearchStrategy[object]:
    """Records of one type, hostile texts included."""
    described = columns(kind.model)
    return st.fixed_dictionaries({column.name: _column(column) for column in described}).map(
        lambda flat: _record(kind, flat)
    )


@pytest.mark.parametrize("kind", RECORD_KINDS, ids=lambda kind: kind.table)
@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(data=st.data())
def test_records_written_as_a_table_come_back_equal(kind, data):
    written = data.draw(st.lists(records(kind), min_size=1, max_size=3, unique_by=_natural_key(kind)))
    report = read_table_bytes(table_text(kind, written).encode(), kind)
    assert report.problems == ()
    assert [row.record for row in report.good] == written


@pytest.mark.parametrize("kind", RECORD_KINDS, ids=lambda kind: kind.table)
@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(data=st.data())
def test_no_text_cell_of_an_export_begins_like_a_formula(kind, data):
    text = table_text(kind, [data.draw(records(kind))])
    _, header, row = csv.reader(io.StringIO(text, newline=""), strict=True)
    kinds = {column.name: column.kind for column in columns(kind.model)}
    cells = [cell for name, cell in zip(header, row, strict=True) if kinds[name] == Kind.TEXT]
    assert not [
        cell for cell in cells if cell.strip(" \u00a0")[:1] in set("=+-@\t\r\n＝＋－＠") and cell.strip(" ")
    ]


@settings(
    max_examples=5, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)
@given(data=st.data())
def test_a_folder_of_all_tables_comes_back_equal(data, tmp_path_factory):
    written = {kind.table: [data.draw(records(kind))] for kind in RECORD_KINDS}
    folder = tmp_path_factory.mktemp("tables")
    write_folder(folder, written)
    report = read_folder(folder)
    assert report.is_clean
    assert list(report.records) == [record for rows in written.values() for record in rows]


def _natural_key(kind):
    return lambda record: tuple(getattr(record, name) for name in kind.model.natural_key)
