"""What the whole cohort shows, as a table: the command `cohort`."""

from datetime import date
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import Progress

from hvmon.cli.base import CAUTION, AsOf, Service, StorePath, app, day_of, fail, opened, say, screen
from hvmon.services import cohort_tables
from hvmon.services.cohort import CohortView, cohort
from hvmon.services.packs_in_use import Edits, checked_edits
from hvmon.services.stores import Store


@app.command("cohort")
def cohort_command(
    *,
    out: Annotated[Path, typer.Option("--out", help="CSV of the pooled effects of settings changes.")],
    store: StorePath = None,
    as_of: AsOf = None,
    service: Service = None,
) -> None:
    """Pool settings changes and symptoms over everybody, and write the effects with the n behind each."""
    edits, wrong = checked_edits(service)
    if wrong:
        raise fail(wrong)
    day = day_of(as_of)
    if not out.parent.is_dir():
        raise fail(f"--out {out}: the folder {out.parent} is not there; make it or name another")
    with opened(store) as record:
        view = _with_progress(record, day, edits)
    frame = cohort_tables.forest_frame(view)
    try:
        frame.write_csv(out)
    except OSError as error:
        raise fail(f"--out {out}: cannot be written ({error.strerror or error})") from None
    figures = frame["estimate_kpa"].count()
    say(f"{figures} figures of {frame.height} rows written to {out}. {cohort_tables.version_line(view)}")
    for line in _lines(view):
        say(line)
    say(CAUTION)


def _with_progress(record: Store, day: date, edits: Edits) -> CohortView:
    with Progress(console=screen) as progress:
        task = progress.add_task("Estimating the cohort", total=None)

        def tick(done: int, total: int) -> None:
            progress.update(task, completed=done, total=total)

        return cohort(record, today=day, edits=edits, progress=tick)


def _lines(view: CohortView) -> tuple[str, ...]:
    return (
        cohort_tables.gone_line(view),
        cohort_tables.changes_line(view),
        *view.effects.notes,
        *cohort_tables.symptom_lines(view),
        *cohort_tables.disagreement_lines(view),
    )
