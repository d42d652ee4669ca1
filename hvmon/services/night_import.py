"""Files of nights: read an upload, score a file for the command line, import a folder by its manifest."""

import re
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, is_dataclass
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from hvmon.files.child import understand_in_child
from hvmon.files.manifest import ManifestRow, read_manifest
from hvmon.files.understood import Outcome, Question, Questions, UnreadableNight, read_file
from hvmon.nights.score import Circumstances, score_night
from hvmon.records.base import Pressure
from hvmon.records.number_text import parse_decimal
from hvmon.services.nights import NightFacts, evening_of, save_night
from hvmon.store.errors import StoreError
from hvmon.store.nights import NightFiles
from hvmon.store.store import Store
from hvmon.units import PressureUnit

__all__ = ["Question", "Questions", "UnreadableNight", "import_folder", "read_upload", "score_file"]


def read_upload(name: str, content: bytes, answers: Mapping[str, str]) -> Outcome:
    """Read the file of a night in a child process; give the night, or what must be asked first.

    Raises
    ------
    UnreadableNight
        The file is no night that can be read; the message says where and what is accepted.
    """
    with TemporaryDirectory(prefix="hvmon-night-") as folder:
        path = Path(folder) / f"upload{Path(name).suffix[:8]}"
        path.write_bytes(content)
        return understand_in_child(path, answers)


def score_file(path: Path, answers: Mapping[str, str], stated: Circumstances) -> dict[str, Any]:
    """Read and score one file; give plain values whose keys are the field names of the scores.

    Raises
    ------
    UnreadableNight
        It cannot be read, or a question is open; the message names question, text and accepted answers.
    """
    outcome = understand_in_child(path, answers)
    if isinstance(outcome, Questions):
        raise UnreadableNight("\n".join(_question_words(question) for question in outcome.questions))
    score = score_night(outcome.signal, stated)
    return {
        "file": path.name,
        "start_utc": outcome.signal.start_utc.isoformat(),
        "zone": outcome.signal.zone,
        "night_of": evening_of(outcome.signal).isoformat(),
        "understood": list(outcome.summary),
        "warnings": list(outcome.warnings),
        **_plain(score),
    }


def _question_words(question: Question) -> str:
    accepted = f" Accepted: {', '.join(question.options)}." if question.options else ""
    return f"{question.key}: {question.text}{accepted}"


def _plain(value: Any) -> Any:  # noqa: ANN401 - any field of a result record
    """Give a result record as plain values; words as text, moments as ISO 8601."""
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, StrEnum):
        return value.value
    return value.isoformat() if isinstance(value, datetime | date) else value


@dataclass(frozen=True, slots=True)
class ImportedNight:
    """What became of one file of a folder import."""

    file: str
    words: str
    stored: bool


def import_folder(
    store: Store, files: NightFiles, folder: Path, manifest: Path, *, actor: str, now: datetime
) -> Iterator[ImportedNight]:
    """Import the nights a manifest lists; a file that cannot be read is named, the others go on.

    Each night is stored whole or not at all; one that is already there adds nothing.

    Raises
    ------
    BadManifest
        A row of the manifest is not as it should be; nothing was stored.
    """
    for row in read_manifest(manifest):
        yield _import_row(store, files, folder, row, actor, now)


def _import_row(
    store: Store, files: NightFiles, folder: Path, row: ManifestRow, actor: str, now: datetime
) -> ImportedNight:
    try:
        person = next((line for line in store.people(row.local_id) if line.local_id == row.local_id), None)
        if person is None:
            return ImportedNight(row.file, f"nobody has the local id {row.local_id!r}", stored=False)
        content = read_file(folder / row.file)
        outcome = read_upload(row.file, content, row.answers)
        if isinstance(outcome, Questions):
            asked = "; ".join(_question_words(question) for question in outcome.questions)
            return ImportedNight(row.file, f"needs an answer in the manifest: {asked}", stored=False)
        facts = NightFacts(row.ventilator, row.oxygen_l_min, row.reason, actor, row.awake_supine)
        saved = save_night(
            store, files, person_key=person.person_key, signal=outcome.signal, original=content, facts=facts,
            request_id=uuid.uuid4().hex, now=now,
        )  # fmt: skip
    except (UnreadableNight, StoreError) as error:
        return ImportedNight(row.file, str(error), stored=False)
    return ImportedNight(row.file, "stored" if saved.added else "already there", stored=True)


_STATED = re.compile(r"\s*([0-9.,]+)\s*(kPa|mmHg)\s*")


def stated(awake_supine: str | None) -> Circumstances:
    """Give the circumstances of a scoring from a stated awake supine value such as ``45mmHg``.

    Raises
    ------
    ValueError
        The text is no number with its unit.
    """
    if awake_supine is None:
        return Circumstances()
    found = _STATED.fullmatch(awake_supine)
    if not found:
        raise ValueError(
            f"awake supine {awake_supine!r}: accepted is a number and kPa or mmHg, such as 45mmHg"
        )
    value = Pressure(value=parse_decimal(found.group(1)), unit=PressureUnit(found.group(2)))
    return Circumstances(awake_supine_mmhg=value.mmhg)


def only_convention(result: dict[str, Any], key: str | None) -> dict[str, Any]:
    """Leave one convention of a scored file; all of them without a key.

    Raises
    ------
    ValueError
        No such convention.
    """
    if key is None:
        return result
    conventions = {"C1": "m1", "M1": "c1"}
    if key not in conventions:
        raise ValueError(f"--convention {key!r}: accepted are {', '.join(conventions)}")
    return {name: value for name, value in result.items() if name != conventions[key]}
