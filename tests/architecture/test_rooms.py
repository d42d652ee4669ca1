"""The architecture diagram: two tables, checked against every import in the tree."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2] / "hvmon"
GROUND = {"units", "vocabulary", "sources"}

MAY_USE: dict[str, set[str]] = {
    "units": set(),
    "vocabulary": set(),
    "sources": {"vocabulary"},
    "records": {"units", "vocabulary"},
    "physiology": {"units"},
    "stats": {"records", "physiology"} | GROUND,
    "nights": {"records", "physiology"} | GROUND,
    "rules": {"records", "physiology", "stats", "nights"} | GROUND,
    "charts": {"units", "vocabulary", "records"},
    "store": {"units", "vocabulary", "records"},
    "files": {"units", "vocabulary", "records"},
    "services": {"store", "files", "rules", "stats", "nights", "physiology", "records"} | GROUND,
    "app": {"services", "charts", "rules", "records", "units", "vocabulary"},
    "cli": {"services", "charts", "rules", "records", "units", "vocabulary"},
}
"""Room -> rooms it may import, itself always."""

ONLY_IN: dict[str, set[str]] = {
    "streamlit": {"app"},
    "altair": {"charts"},
    "sqlalchemy": {"store"},
    "alembic": {"store"},
    "sqlite3": {"store"},
    "statsmodels": {"stats"},
    "pymannkendall": {"stats"},
    "edfio": {"files"},
    "csv": {"files"},
    "tomllib": {"files"},
    "numba": {"nights"},
    "pyarrow": {"store"},
    "distributed": {"services"},
    "typer": {"cli"},
    "rich": {"cli"},
}
"""Library -> rooms that may hold it."""

NOT_IN_PURE = {"time", "random", "os", "pathlib", "io", "socket", "subprocess", "sqlite3", "tempfile"}
"""Pure rooms have no clock, no file, no database, no unseeded randomness."""

PURE = GROUND | {"records", "physiology", "stats", "nights", "rules", "charts"}
CLOCK_CALLS = {"now", "today", "utcnow"}
FILES = sorted(ROOT.rglob("*.py"))


def room_of(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def imports(path: Path) -> Iterator[tuple[int, str]]:
    """Every imported module of a file, lazy imports counted."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            if node.module == "hvmon":
                yield from ((node.lineno, f"hvmon.{alias.name}") for alias in node.names)
            else:
                yield node.lineno, node.module


def checked(path: Path) -> bool:
    return room_of(path) in MAY_USE


@pytest.mark.parametrize(
    "path", [path for path in FILES if checked(path)], ids=lambda path: str(path.relative_to(ROOT))
)
def test_a_room_imports_only_the_rooms_below_it(path: Path) -> None:
    room = room_of(path)
    for line, module in imports(path):
        parts = module.split(".")
        if parts[0] == "hvmon" and len(parts) > 1 and parts[1] != "__version__":
            assert parts[1] in MAY_USE[room] | {room}, (
                f"{path}:{line} imports {module}: {room} may use {sorted(MAY_USE[room])}"
            )


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.relative_to(ROOT)))
def test_a_library_stays_in_its_room(path: Path) -> None:
    room = room_of(path)
    for line, module in imports(path):
        library = module.split(".")[0]
        if library in ONLY_IN:
            assert room in ONLY_IN[library], (
                f"{path}:{line} imports {library}: only {sorted(ONLY_IN[library])} may"
            )
        if room in PURE and path.name != "where.py":
            assert library not in NOT_IN_PURE, f"{path}:{line} imports {library}: {room} is a pure room"


@pytest.mark.parametrize(
    "path", [path for path in FILES if room_of(path) in PURE], ids=lambda path: str(path.relative_to(ROOT))
)
def test_a_pure_room_has_no_clock(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            owner = node.func.value
            named = isinstance(owner, ast.Name) and owner.id in {"datetime", "date", "time", "dt"}
            assert not (named and node.func.attr in CLOCK_CALLS), f"{path}:{node.lineno} reads the clock"


def test_every_room_of_the_tree_stands_in_the_table() -> None:
    rooms = {room_of(path) for path in FILES} - {"__init__", "__main__"}
    assert rooms <= set(MAY_USE)


def test_the_table_has_no_circle() -> None:
    def reachable(room: str, seen: frozenset[str]) -> frozenset[str]:
        for below in MAY_USE[room] - seen:
            seen |= reachable(below, seen | {below})
        return seen

    for room in MAY_USE:
        assert room not in reachable(room, frozenset())
