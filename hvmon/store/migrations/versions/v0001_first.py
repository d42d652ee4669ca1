"""The first schema.

Its columns are frozen in `v0001_columns.json`, so that a later change of a record type cannot change
what this migration makes.
"""

import json
from pathlib import Path

from alembic import op

from hvmon.store import sqlite_only, tables
from hvmon.store.specs import Spec

revision = "v0001"
down_revision = None
branch_labels = None
depends_on = None

COLUMNS = Path(__file__).with_name("v0001_columns.json")


def upgrade() -> None:
    """Make every table and its protections, and mark the file as ours."""
    frozen = json.loads(COLUMNS.read_text(encoding="utf-8"))
    specs = {table: tuple(Spec.from_plain(plain) for plain in plains) for table, plains in frozen.items()}
    connection = op.get_bind()
    tables.build(specs).create_all(connection, checkfirst=False)
    for trigger in tables.protections(specs):
        op.execute(trigger)
    sqlite_only.mark_as_ours(connection)
