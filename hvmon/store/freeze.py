"""Write the stored columns as they are now into a frozen list for a migration.

``python -m hvmon.store.freeze hvmon/store/migrations/versions/v0001_columns.json`` is right only before
the schema was first released; later a column needs a migration of its own.
"""

import json
import sys
from pathlib import Path

from hvmon.store.tables import current_specs


def frozen_columns() -> str:
    """Give the stored columns of every record type as JSON."""
    plain = {table: [spec.as_plain() for spec in specs] for table, specs in current_specs().items()}
    return json.dumps(plain, indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(frozen_columns(), encoding="utf-8")
