"""Write the pages that follow from the code: `python docs/make_pages.py`. A test says when one is stale."""

from pathlib import Path

from hvmon.files.table_page import tables_page
from hvmon.rules.page import rules_page
from hvmon.sources import CLINICAL, MEASUREMENT, OVERNIGHT, OWN, PHYSIOLOGY, Source

HERE = Path(__file__).parent


def source_line(source: Source) -> str:
    """Give one work as a row."""
    year = source.year or ""
    cells = (
        f"`{source.key}`",
        source.authors,
        source.title,
        year,
        source.place,
        source.seen,
        source.mark.value,
    )
    return "| " + " | ".join(str(cell).replace("|", "/") for cell in cells) + " |"


def sources_page() -> str:
    """Give docs/sources.md."""
    parts = ["# Works cited", "", "Written from `hvmon/sources.py` by `docs/make_pages.py`.", ""]
    for title, works in (
        ("Clinical", CLINICAL),
        ("Physiology", PHYSIOLOGY),
        ("Measurement and trend", MEASUREMENT),
        ("Overnight", OVERNIGHT),
        ("The project's own", OWN),
    ):
        parts += [f"## {title}", "", "| key | authors | title | year | place | what was read | mark |"]
        parts += ["|---|---|---|---|---|---|---|", *(source_line(work) for work in works), ""]
    return "\n".join(parts)


PAGES = {"sources.md": sources_page, "rules.md": rules_page, "tables.md": tables_page}


def main() -> None:
    """Write every page."""
    for name, page in PAGES.items():
        (HERE / name).write_text(page(), encoding="utf-8")
        print(f"wrote docs/{name}")


if __name__ == "__main__":
    main()
