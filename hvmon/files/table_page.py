"""The page that describes every record table, written from the record types: ``docs/tables.md``."""

from hvmon.records.flat import Column, Kind, columns
from hvmon.records.kinds import RECORD_KINDS, RecordKind

HOW_WRITTEN = {
    Kind.TEXT: "text",
    Kind.WHOLE: "whole number",
    Kind.DECIMAL: "decimal number, point",
    Kind.YES_NO: "yes, no",
    Kind.INSTANT: "moment with offset",
    Kind.DATE: "date",
    Kind.WORD: "one word of",
    Kind.LIST: "list (JSON)",
}


def tables_page() -> str:
    """Give docs/tables.md."""
    written = "Written from the record types by `hvmon.files.table_page`."
    opening = ["# Record tables", "", f"{written} How cells are written: [files.md](files.md).", ""]
    return "\n".join(opening + [line for kind in RECORD_KINDS for line in _table(kind)])


def _table(kind: RecordKind) -> list[str]:
    key = ", ".join(f"`{name}`" for name in kind.model.natural_key)
    return [
        f"## `{kind.table}.csv`: {kind.words}",
        "",
        f"{_first_line(kind)} One row for each {key}.",
        "",
        "| column | written as | required |",
        "|---|---|---|",
        *(_row(column) for column in columns(kind.model)),
        "",
    ]


def _first_line(kind: RecordKind) -> str:
    return (kind.model.__doc__ or "").strip().partition("\n")[0]


def _row(column: Column) -> str:
    words = ", ".join(f"`{word}`" for word in column.words)
    written = f"{HOW_WRITTEN[column.kind]}: {words}" if words else HOW_WRITTEN[column.kind]
    written += ", or `not recorded`" if column.may_be_not_recorded else ""
    return f"| `{column.name}` | {written} | {'yes' if column.required else ''} |"
