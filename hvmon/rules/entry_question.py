"""One question about a typed value: what is unlikely is asked, never refused."""

from dataclasses import dataclass

from hvmon.records.limits import ENTRY_LIMITS

_LABELS = {
    **{limit.field: limit.words for limit in ENTRY_LIMITS},
    "pco2": "PCO2",
    "po2": "PO2",
    "ptcco2": "transcutaneous PCO2",
    "kind": "sample kind",
}
_PREFIXES = ("state_", "program_1_", "program_2_")


def label_of(field: str) -> str:
    """Give the words for a flat column."""
    name = field
    for prefix in _PREFIXES:
        name = name.removeprefix(prefix)
    return _LABELS.get(name, name.replace("_", " "))


@dataclass(frozen=True, slots=True)
class EntryQuestion:
    """A question that the recorder answers by correcting the value or by accepting it with a reason."""

    check_id: str
    field: str
    """Flat column it is about."""
    given: str
    accepted: str
    """What would not be asked about."""
    slip: str
    """The likely slip."""
    words: str
    """The whole question in words: field, value, accepted range, likely slip."""


def question(
    check_id: str, field: str, given: object, accepted: str, slip: str, why: str = ""
) -> EntryQuestion:
    """Make a question; its words say field, value, accepted range and likely slip."""
    shown = label_of(field)
    words = f"{shown[:1].upper() + shown[1:]} {given}: {why or 'is unusual'}; usual is {accepted}."
    words += f" Likely slip: {slip}." if slip else ""
    return EntryQuestion(check_id, field, str(given), accepted, slip, words)
