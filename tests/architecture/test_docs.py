"""The documents keep in step with the code."""

import csv
import importlib.util
import re
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).parents[2]


def pages() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_pages", ROOT / "docs" / "make_pages.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("name", ["sources.md", "rules.md", "tables.md"])
def test_a_written_page_is_what_the_code_says(name: str) -> None:
    assert (ROOT / "docs" / name).read_text(encoding="utf-8") == pages().PAGES[name](), (
        f"docs/{name} is out of step; run: python docs/make_pages.py"
    )


def test_every_test_named_in_the_hazard_log_exists() -> None:
    with (ROOT / "docs" / "hazard_log.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows
    assert [row["id"] for row in rows if not (ROOT / row["test"]).is_file()] == []


LINK = re.compile(r"\]\(([^)#]+)(?:#[^)]*)?\)")


@pytest.mark.parametrize(
    "page", [*ROOT.glob("*.md"), *(ROOT / "docs").glob("*.md")], ids=lambda page: page.name
)
def test_every_link_of_a_page_leads_somewhere(page: Path) -> None:
    targets = [target for target in LINK.findall(page.read_text(encoding="utf-8")) if "://" not in target]
    assert [target for target in targets if not (page.parent / target).exists()] == []


def test_the_readme_opens_with_the_job_then_what_it_is_not() -> None:
    lines = [line for line in (ROOT / "README.md").read_text(encoding="utf-8").splitlines() if line.strip()]
    headings = [line for line in lines if line.startswith("## ")]
    assert headings[:2] == ["## What it is not", "## Run it"]
