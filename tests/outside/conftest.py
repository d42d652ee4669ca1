"""The runner of published values takes further files of the same form: --check-values FILE."""

import csv
import json
from dataclasses import dataclass
from pathlib import Path

import pytest

OWN_ROWS = Path(__file__).with_name("physiology_checks.csv")
NEEDED = ("topic", "inputs", "expected", "tolerance")


@dataclass(frozen=True)
class CheckRow:
    """One published or computed value: what goes in, what must come out, how near."""

    topic: str
    inputs: dict[str, object]
    expected: dict[str, object]
    tolerance: dict[str, float]
    source: str
    place: str


def read_rows(path: Path) -> list[CheckRow]:
    if not path.is_file():
        raise pytest.UsageError(f"--check-values {path}: there is no such file")
    with path.open(newline="", encoding="utf-8") as handle:
        table = csv.DictReader(handle)
        missing = [name for name in NEEDED if name not in (table.fieldnames or ())]
        if missing:
            raise pytest.UsageError(f"{path}: no column {missing}; a check file has the columns {NEEDED}")
        return [read_row(line, path, number) for number, line in enumerate(table, start=2)]


def read_row(line: dict[str, str], path: Path, number: int) -> CheckRow:
    texts = []
    for column in ("inputs", "expected", "tolerance"):
        try:
            texts.append(dict(json.loads(line[column] or "{}")))
        except (ValueError, TypeError) as error:
            raise pytest.UsageError(f"{path} row {number}, {column}: not a JSON object ({error})") from None
    return CheckRow(line["topic"], *texts, source=line.get("source") or "", place=f"{path.name}:{number}")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--check-values",
        action="append",
        default=[],
        metavar="FILE",
        help="further CSV rows of the form of tests/outside/physiology_checks.csv (may be repeated)",
    )


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "check_row" in metafunc.fixturenames:
        files = [OWN_ROWS, *map(Path, metafunc.config.getoption("--check-values"))]
        rows = [row for path in files for row in read_rows(path)]
        metafunc.parametrize("check_row", rows, ids=[f"{row.topic}-{row.place}" for row in rows])
