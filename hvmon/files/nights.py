"""One door for the file of a night, whatever its format."""

from collections.abc import Mapping
from pathlib import Path

from hvmon.files import night_csv, night_edf
from hvmon.files.edf_header import is_24_bit
from hvmon.files.understood import Outcome, UnreadableNight, read_file

_OTHER_FORMATS = {
    b"PK\x03\x04": "a zip archive or a spreadsheet; export CSV or EDF",
    b"PAR1": "a Parquet file; export CSV or EDF",
    b"%PDF": "a PDF; export CSV or EDF",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet; export CSV or EDF",
    b"\x1f\x8b": "a compressed file; unpack it first",
}


def understand(path: Path, answers: Mapping[str, str]) -> Outcome:
    """Read the file of a night, EDF or CSV by its content, or say what must be asked first.

    Raises
    ------
    UnreadableNight
        The file is damaged, too large, of another format, or holds no night.
    """
    return understand_bytes(read_file(path), answers)


def understand_bytes(content: bytes, answers: Mapping[str, str]) -> Outcome:
    """As `understand`, from the bytes of the file."""
    for start, words in _OTHER_FORMATS.items():
        if content.startswith(start):
            raise UnreadableNight(f"The file is {words}.")
    if content.startswith(b"0       ") or is_24_bit(content):
        return night_edf.understand_bytes(content, answers)
    return night_csv.understand_bytes(content, answers)
