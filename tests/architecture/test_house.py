"""The house rules a machine can check: lint, format, types, constraints, no host of a package index."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCES = ["hvmon", "tests", "data_demo", "docs", "streamlit_app.py"]


def run(*words: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *words], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout[-4000:] + done.stderr[-2000:]


def test_every_ruff_rule_holds() -> None:
    run("ruff", "check", "--no-cache", *SOURCES)


def test_the_formatter_has_nothing_to_do() -> None:
    run("ruff", "format", "--no-cache", "--check", *SOURCES)


def test_the_type_checker_is_content() -> None:
    run("mypy", "hvmon")


def tracked_texts() -> list[Path]:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout: the list of tracked files is not known")
    names = [name for name in listed.stdout.split("\0") if name]
    suffixes = {".py", ".md", ".toml", ".txt", ".csv", ".yml", ".json", ""}
    return [ROOT / name for name in names if Path(name).suffix in suffixes and (ROOT / name).is_file()]


INDEX_HOST = re.compile(r"pypi\.org|pythonhosted|--index-url|extra-index|registry\.npmjs", re.IGNORECASE)


def test_no_file_names_a_package_index() -> None:
    hits = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in tracked_texts()
        if path != Path(__file__)
        for number, line in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), 1)
        if INDEX_HOST.search(line)
    ]
    assert hits == []


def test_constraints_pin_exact_versions() -> None:
    lines = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    loose = [line for line in lines if line and not line.startswith("#") and "==" not in line.split(";")[0]]
    assert loose == []
