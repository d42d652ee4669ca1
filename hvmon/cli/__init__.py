"""The command line; thin over services."""

from hvmon.cli import cohort, nights, record, replay
from hvmon.cli.base import app

__all__ = ["cohort", "main", "nights", "record", "replay"]


def main() -> None:
    """Run the command line."""
    app()
