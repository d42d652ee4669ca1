"""The page of the record tables says what the code reads and writes."""

from pathlib import Path

from hvmon.files.table_page import tables_page
from hvmon.records.flat import columns
from hvmon.records.kinds import RECORD_KINDS

PAGE = Path(__file__).parents[2] / "docs" / "tables.md"


def test_the_page_of_the_record_tables_is_in_step_with_the_code():
    assert PAGE.read_text(encoding="utf-8") == tables_page(), (
        "docs/tables.md is out of step; write hvmon.files.table_page.tables_page() to it"
    )


def test_every_column_of_every_table_stands_on_the_page():
    page = tables_page()
    assert all(f"| `{column.name}` |" in page for kind in RECORD_KINDS for column in columns(kind.model))
