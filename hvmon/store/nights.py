"""Stored nights: the only place that opens their files.

::

    signals/<first two digits>/<sha256>.parquet    one night, int16, zstd, named by the hash of the file
    raw/<first two digits>/<sha256>                the untouched original, named by its hash
    results/convention=<key>/part-<sha256>.parquet one row a night, keyed by signal, convention, code version

A file is written under a temporary name, synced and renamed, so it is there whole or not at all. Its hash is
verified on every read, before anything is parsed: a damaged night is a named state, excluded, never used.
"""

import json
import os
import re
import tempfile
from collections.abc import Iterator
from dataclasses import asdict
from datetime import datetime
from enum import StrEnum
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any

import polars as pl
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from hvmon.records.night_signal import MISSING, Annotation, Int16Array, NightSignal
from hvmon.store.errors import Refused, StoreError
from hvmon.units import PressureUnit
from hvmon.vocabulary import SensorSite

FORMAT = "hvmon night 1"
METADATA_KEY = "hvmon_night"
COMPRESSION_LEVEL = 9
RESULT_KEYS = ("signal_sha256", "convention", "code_version")

_HASH = re.compile(r"[0-9a-f]{64}")
_CONVENTION = re.compile(r"[A-Z][A-Z0-9]{0,7}")
_TEMPORARY = ".part"


class UnknownNight(StoreError):  # noqa: N818 - reads as a sentence where it is caught
    """No file of this hash is stored."""


class DamagedNight(StoreError):  # noqa: N818 - reads as a sentence where it is caught
    """The stored bytes are not those that were written, or are no night; nothing of them was used."""


class NightState(StrEnum):
    """State of one stored night."""

    SOUND = "sound"
    DAMAGED = "damaged: the file does not match its hash"
    ABSENT = "not stored here"


class NightFiles:
    """Nights, originals and results below one folder, which is made when the first is saved."""

    def __init__(self, root: Path) -> None:
        self.root = root

    # --- signals ---------------------------------------------------------------------------

    def save(self, signal: NightSignal) -> str:
        """Store a night and give its hash. Storing it again changes nothing; a damaged copy is made whole."""
        data = encode_night(signal)
        key = sha256(data).hexdigest()
        self._put(self._signal_path(key), data, key)
        return key

    def load(self, key: str) -> NightSignal:
        """Give a night.

        Raises
        ------
        UnknownNight, DamagedNight
            It is not stored, or its file is damaged.
        """
        return decode_night(self._verified(self._signal_path(key), key))

    def state(self, key: str) -> NightState:
        """Verify one night."""
        try:
            self._verified(self._signal_path(key), key)
        except UnknownNight:
            return NightState.ABSENT
        except DamagedNight:
            return NightState.DAMAGED
        return NightState.SOUND

    def keys(self) -> list[str]:
        """Hashes of the stored nights, sorted, damaged ones included."""
        found = (path.stem for path in self.root.glob("signals/??/*.parquet"))
        return sorted(key for key in found if _HASH.fullmatch(key))

    # --- originals -------------------------------------------------------------------------

    def save_original(self, data: bytes) -> str:
        """Store an original file untouched and give its hash."""
        key = sha256(data).hexdigest()
        self._put(self._original_path(key), data, key)
        return key

    def load_original(self, key: str) -> bytes:
        """Give an original file.

        Raises
        ------
        UnknownNight, DamagedNight
            It is not stored, or its file is damaged.
        """
        return self._verified(self._original_path(key), key)

    def has_original(self, key: str) -> bool:
        """Whether an original of this hash is stored: the same file was imported before."""
        return self._original_path(key).is_file()

    # --- results ---------------------------------------------------------------------------

    def save_results(self, convention: str, rows: pl.DataFrame) -> None:
        """Store rows of results of one convention; each row carries `RESULT_KEYS`.

        Raises
        ------
        Refused
            A key column is missing, empty, or names another convention.
        """
        folder = self._results_folder(convention)
        absent = [name for name in RESULT_KEYS if name not in rows.columns or rows[name].null_count()]
        if absent:
            raise Refused(f"results: the columns {', '.join(absent)} are needed in every row")
        if (rows["convention"] != convention).any():
            raise Refused(f"results: every row must be of convention {convention}")
        data = _parquet(rows)
        key = sha256(data).hexdigest()
        self._put(folder / f"part-{key}.parquet", data, key)

    def results(self, convention: str, code_version: str | None = None) -> pl.DataFrame:
        """Give the stored results of a convention, one row a key; an empty frame when there are none.

        A damaged part is left out, so that its nights are scored again.
        """
        parts = [pl.read_parquet(BytesIO(data)) for data in self._sound_parts(convention)]
        if not parts:
            return pl.DataFrame(schema=dict.fromkeys(RESULT_KEYS, pl.String))
        rows = pl.concat(parts, how="diagonal_relaxed").unique(RESULT_KEYS, maintain_order=True)
        return rows if code_version is None else rows.filter(pl.col("code_version") == code_version)

    def scored(self, convention: str, code_version: str) -> set[str]:
        """Hashes of the nights that have a result of this convention and code version."""
        return set(self.results(convention, code_version)["signal_sha256"].to_list())

    def damaged_parts(self, convention: str) -> list[Path]:
        """Paths of the results files that do not match their hash."""
        return [
            path for path, data in self._parts(convention) if _part_hash(path) != sha256(data).hexdigest()
        ]

    # --- housekeeping ----------------------------------------------------------------------

    def sweep_temporary(self, older_than: datetime) -> int:
        """Remove temporary files left by a killed process before a moment; give their number."""
        left = self.root.glob(f"**/.*{_TEMPORARY}")
        old = [path for path in left if path.stat().st_mtime < older_than.timestamp()]
        for path in old:
            path.unlink(missing_ok=True)
        return len(old)

    # --- within ----------------------------------------------------------------------------

    def _signal_path(self, key: str) -> Path:
        return self.root / "signals" / _checked(key)[:2] / f"{key}.parquet"

    def _original_path(self, key: str) -> Path:
        return self.root / "raw" / _checked(key)[:2] / key

    def _results_folder(self, convention: str) -> Path:
        if not _CONVENTION.fullmatch(convention):
            raise Refused(f"convention: {convention!r} was given; a short key such as 'C1' is accepted")
        return self.root / "results" / f"convention={convention}"

    def _parts(self, convention: str) -> Iterator[tuple[Path, bytes]]:
        for path in sorted(self._results_folder(convention).glob("part-*.parquet")):
            yield path, path.read_bytes()

    def _sound_parts(self, convention: str) -> Iterator[bytes]:
        return (
            data for path, data in self._parts(convention) if _part_hash(path) == sha256(data).hexdigest()
        )

    @staticmethod
    def _verified(path: Path, key: str) -> bytes:
        try:
            data = path.read_bytes()
        except FileNotFoundError:
            raise UnknownNight(f"night {key[:12]}: no such file is stored here") from None
        if sha256(data).hexdigest() != key:
            raise DamagedNight(
                f"night {key[:12]}: the stored file does not match its hash and is not used; restore it from "
                "a backup or import the original again"
            )
        return data

    @staticmethod
    def _put(path: Path, data: bytes, key: str) -> None:
        """Write whole or not at all; nothing when the same bytes are there already."""
        if path.is_file() and sha256(path.read_bytes()).hexdigest() == key:
            return
        _make_folder(path.parent)
        handle, name = tempfile.mkstemp(prefix=".", suffix=_TEMPORARY, dir=path.parent)
        temporary = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            temporary.replace(path)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise
        _sync_folder(path.parent)


def encode_night(signal: NightSignal) -> bytes:
    """Give the Parquet bytes of a night: recorded channels as int16 with nulls, the rest as metadata.

    Neighbouring seconds differ little, so the columns are delta-packed before they are compressed: a fifth
    smaller than plain, and every Parquet reader undoes it.
    """
    channels = {
        "spo2_tenths": signal.spo2_tenths,
        "pulse_tenths": signal.pulse_tenths,
        "tcco2_tenths_mmhg": None if signal.tcco2_hundredths_kpa is not None else signal.tcco2_tenths_mmhg,
        "tcco2_hundredths_kpa": signal.tcco2_hundredths_kpa,
    }
    columns = {name: pa.array(v, mask=v == MISSING) for name, v in channels.items() if v is not None}
    described = json.dumps(_described(signal), sort_keys=True)
    table = pa.table(columns).replace_schema_metadata({METADATA_KEY: described})
    buffer = BytesIO()
    pq.write_table(
        table,
        buffer,
        compression="zstd",
        compression_level=COMPRESSION_LEVEL,
        use_dictionary=False,
        column_encoding=dict.fromkeys(columns, "DELTA_BINARY_PACKED"),
        write_statistics=False,
    )
    return buffer.getvalue()


def decode_night(data: bytes) -> NightSignal:
    """Give the night of Parquet bytes.

    Raises
    ------
    DamagedNight
        The bytes are not a night of this format.
    """
    try:
        table = pq.ParquetFile(pa.BufferReader(data)).read(use_threads=False)
        described = json.loads(table.schema.metadata[METADATA_KEY.encode()])
        if described.pop("format") != FORMAT:
            raise DamagedNight("the file is a night of a format this hvmon does not know; update hvmon")
        return _night(described, {name: _array(table.column(name)) for name in table.column_names})
    except (pa.ArrowException, KeyError, ValueError, TypeError, OSError) as error:
        raise DamagedNight(f"the file is not a stored night ({type(error).__name__})") from None


def _described(signal: NightSignal) -> dict[str, Any]:
    """Everything but the channels, as plain values."""
    return {
        "format": FORMAT,
        "start_utc": signal.start_utc.isoformat(),
        "zone": signal.zone,
        "interval_s": signal.interval_s,
        "annotations": [asdict(mark) for mark in signal.annotations],
        "averaging_s": signal.averaging_s,
        "spo2_resolution_tenths": signal.spo2_resolution_tenths,
        "device_kind": signal.device_kind,
        "sensor_site": str(signal.sensor_site),
        "tcco2_unit": None if signal.tcco2_unit is None else str(signal.tcco2_unit),
        "source_sha256": signal.source_sha256,
    }


def _night(described: dict[str, Any], channels: dict[str, Int16Array]) -> NightSignal:
    """Build the night again; the record checks every field."""
    unit = described.pop("tcco2_unit")
    return NightSignal(
        start_utc=datetime.fromisoformat(described.pop("start_utc")),
        annotations=tuple(Annotation(**mark) for mark in described.pop("annotations")),
        sensor_site=SensorSite(described.pop("sensor_site")),
        tcco2_unit=None if unit is None else PressureUnit(unit),
        **(described | channels),
    )


def _array(column: Any) -> Int16Array:  # noqa: ANN401 - pyarrow ships no types
    """Give the int16 array of a column, missing seconds as the sentinel."""
    if column.type != pa.int16():
        raise TypeError("a channel is not int16")
    filled = pc.fill_null(column, pa.scalar(MISSING, pa.int16())) if column.null_count else column
    values: Int16Array = filled.to_numpy()
    return values


def _parquet(rows: pl.DataFrame) -> bytes:
    buffer = BytesIO()
    rows.write_parquet(buffer, compression="zstd", compression_level=COMPRESSION_LEVEL)
    return buffer.getvalue()


def _part_hash(path: Path) -> str:
    return path.stem.removeprefix("part-")


def _checked(key: str) -> str:
    """Refuse anything but a sha256 in hexadecimal, so that no path can be made of it."""
    if not _HASH.fullmatch(key):
        raise Refused(f"night: {key[:80]!r} was given; the hash of a stored night (64 digits) is accepted")
    return key


def _make_folder(folder: Path) -> None:
    """Make a folder and its parents, each synced into its own parent."""
    if not folder.is_dir():
        _make_folder(folder.parent)
        folder.mkdir(exist_ok=True)
        _sync_folder(folder.parent)


def _sync_folder(folder: Path) -> None:
    """Make a rename last through a power cut; Windows has no such call and needs none."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
