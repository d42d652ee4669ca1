"""One module opens the database file, and one holds the SQL that only SQLite understands."""

import ast
import re
from pathlib import Path

import hvmon.store

ROOM = Path(hvmon.store.__file__).parent
MODULES = sorted(ROOM.rglob("*.py"))
ONLY_SQLITE = re.compile(
    r"PRAGMA|sqlite_master|RAISE\(|BEGIN IMMEDIATE|WITHOUT ROWID|sqlite_strict|INSERT OR"
)


def _names(paths):
    return {str(path.relative_to(ROOM)) for path in paths}


def _imports(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield str(node.module)


def _texts(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docs = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
            yield node.value


def test_only_the_engine_opens_the_database():
    with_driver = [path for path in MODULES if "sqlite3" in set(_imports(path))]
    with_engine = [path for path in MODULES if "create_engine(" in path.read_text(encoding="utf-8")]
    assert _names(with_driver) == _names(with_engine) == {"engine.py"}


def test_only_one_module_holds_sql_of_sqlite_alone():
    found = [path for path in MODULES if any(ONLY_SQLITE.search(text) for text in _texts(path))]
    dialect = [path for path in MODULES if "sqlalchemy.dialects.sqlite" in set(_imports(path))]
    assert _names(found) == _names(dialect) == {"sqlite_only.py"}


def test_no_statement_is_put_together_from_values():
    for path in MODULES:
        assert not re.search(r"\btext\(f[\"']", path.read_text(encoding="utf-8")), path
