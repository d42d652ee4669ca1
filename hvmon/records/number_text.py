"""Numbers as people type them. Nothing is guessed: plain digits, one point or comma, an optional minus."""

import re
from decimal import Decimal

_PLAIN = re.compile(r"-?[0-9]{1,7}(?:[.,][0-9]{1,6})?", re.ASCII)
_SPACES = " \t\u00a0\u202f\u2007"


class BadNumber(ValueError):  # noqa: N818 - reads as a sentence where it is caught
    """A text that is no plain number; the message says what was given and what is accepted."""


def parse_decimal(text: str, *, comma: bool = True) -> Decimal:
    """Read a number exactly as typed, keeping its trailing zeros.

    Accepts ``6.8``, ``6,8`` (unless `comma` is off), ``-3``; refuses signs other than minus, exponents,
    thousands separators, digits of other scripts, NaN and infinity.

    Raises
    ------
    BadNumber
        Says what was given and what is accepted.
    """
    trimmed = text.strip(_SPACES).replace("\u2212", "-")
    if not _PLAIN.fullmatch(trimmed) or (not comma and "," in trimmed):
        mark = "a point or a comma" if comma else "a point"
        raise BadNumber(f"{text!r} is no plain number; type digits with {mark}, such as 6.8")
    return Decimal(trimmed.replace(",", "."))


def parse_whole(text: str) -> int:
    """Read a whole number as typed.

    Raises
    ------
    BadNumber
        The text is no number, or has decimals.
    """
    number = parse_decimal(text)
    if number != number.to_integral_value() or "." in str(number):
        raise BadNumber(f"{text!r} is no whole number; type digits only")
    return int(number)
