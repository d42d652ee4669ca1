"""A service's own TOML (edits of rule packs, overrides of priors); errors name table and key."""

import datetime as dt
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

MAX_TOML_BYTES = 1_000_000
LARGEST = 1e300

Toml = dict[str, Any]


class BadToml(ValueError):  # noqa: N818 - a fact about the file, told to its reader
    """The file is no TOML, or a key holds something that is not accepted; the message names the place."""


def read_toml(path: Path) -> Toml:
    """Read a TOML file.

    Raises
    ------
    BadToml
        The file cannot be opened, is larger than 1 MB, is no UTF-8 or no TOML; the line is named.
    """
    try:
        with path.open("rb") as file:
            content = file.read(MAX_TOML_BYTES + 1)
    except OSError as error:
        raise BadToml(f"{path.name}: cannot be opened ({error.strerror}); check the path.") from None
    return parse_toml(content, path.name)


def parse_toml(content: bytes, name: str) -> Toml:
    """Read TOML from bytes; `name` is how messages call the file.

    Raises
    ------
    BadToml
        As `read_toml`.
    """
    if len(content) > MAX_TOML_BYTES:
        raise BadToml(f"{name}: larger than {MAX_TOML_BYTES} bytes; a file of settings is a few lines.")
    try:
        return tomllib.loads(content.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise BadToml(f"{name}, line {line}: is no UTF-8 text; save the file as UTF-8.") from None
    except tomllib.TOMLDecodeError as error:
        raise BadToml(
            f"{name}: {error}; a text needs quotes, a table a line such as [rules.GAS-2]."
        ) from None
    except (RecursionError, ValueError):
        raise BadToml(
            f"{name}: holds a value too long or too deeply nested for a file of settings."
        ) from None


def table_at(toml: Mapping[str, Any], *path: str, name: str = "TOML") -> Toml:
    """Give the table at a path, empty when it is absent.

    Raises
    ------
    BadToml
        Something that is no table stands there.
    """
    found: Any = toml
    for depth, key in enumerate(path, start=1):
        found = found.get(key, {})
        if not isinstance(found, dict):
            where = ".".join(path[:depth])
            raise BadToml(f"{name}, [{where}]: {found!r} was given, accepted is a table of keys.")
    return dict(found)


def only_keys(table: Mapping[str, Any], accepted: tuple[str, ...], where: str, *, name: str = "TOML") -> None:
    """Refuse keys that mean nothing, so that a slip of the pen never passes for an edit.

    Raises
    ------
    BadToml
        The first unknown key, with those that are accepted.
    """
    for key in table:
        if key not in accepted:
            raise BadToml(
                f"{name}, [{where}], key {key!r}: is not known; accepted are {', '.join(accepted)}."
            )


def number_at(table: Mapping[str, Any], key: str, where: str, *, name: str = "TOML") -> float | None:
    """Give a finite number, None when the key is absent.

    Raises
    ------
    BadToml
        Anything else; a number in quotes too.
    """
    value = table.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < LARGEST:
        raise _refused(name, where, key, value, "a plain number without quotes, such as 6.0")
    return float(value)


def flag_at(table: Mapping[str, Any], key: str, where: str, *, name: str = "TOML") -> bool | None:
    """Give true or false, None when the key is absent.

    Raises
    ------
    BadToml
        Anything else.
    """
    value = table.get(key)
    if value is None or isinstance(value, bool):
        return value
    raise _refused(name, where, key, value, "true or false without quotes")


def text_at(
    table: Mapping[str, Any], key: str, where: str, words: tuple[str, ...] = (), *, name: str = "TOML"
) -> str | None:
    """Give a text, one of `words` where some are given; None when the key is absent.

    Raises
    ------
    BadToml
        Anything else, or a text of blanks.
    """
    value = table.get(key)
    if value is None:
        return None
    if not isinstance(value, str) or not value.strip():
        raise _refused(name, where, key, value, "a text in quotes")
    if words and value not in words:
        raise _refused(name, where, key, value, "one of " + ", ".join(repr(word) for word in words))
    return value


def texts_at(table: Mapping[str, Any], key: str, where: str, *, name: str = "TOML") -> tuple[str, ...] | None:
    """Give a list of texts, None when the key is absent.

    Raises
    ------
    BadToml
        Anything else.
    """
    value = table.get(key)
    if value is None:
        return None
    if not isinstance(value, list) or not all(isinstance(item, str) and item.strip() for item in value):
        raise _refused(name, where, key, value, 'a list of texts, such as ["GAS-2", "NIGHT-1"]')
    return tuple(value)


def date_at(table: Mapping[str, Any], key: str, where: str, *, name: str = "TOML") -> dt.date | None:
    """Give a date, None when the key is absent.

    Raises
    ------
    BadToml
        Anything else; a date in quotes too.
    """
    value = table.get(key)
    if value is None or (isinstance(value, dt.date) and not isinstance(value, dt.datetime)):
        return value
    raise _refused(name, where, key, value, "a date without quotes, such as 2026-03-01")


def _refused(name: str, where: str, key: str, value: object, accepted: str) -> BadToml:
    shown = repr(value) if len(repr(value)) <= 80 else repr(value)[:77] + "..."  # noqa: PLR2004 - one line
    return BadToml(f"{name}, [{where}], key {key!r}: {shown} was given, accepted is {accepted}.")
