"""Which column or signal is which channel, by the words of the trade and the standard texts of EDF+."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from hvmon.files.understood import NONE_OF_THESE, Asking, UnreadableNight
from hvmon.units import PressureUnit


class Channel(StrEnum):
    """The channels of a night."""

    SPO2 = "spo2"
    PULSE = "pulse"
    TCCO2 = "tcco2"


WORDS = {
    Channel.SPO2: "oxygen saturation",
    Channel.PULSE: "pulse rate",
    Channel.TCCO2: "transcutaneous CO2",
}

_EXACT = {
    Channel.SPO2: {
        "spo2", "sao2", "o2sat", "o2saturation", "oxygensaturation", "saturation", "sat", "spo2finger",
        "sao2finger",
        "spo2ear", "sao2ear", "sauerstoffsattigung", "so2", "satspo2",
    },
    Channel.PULSE: {
        "pulse", "pulserate", "hr", "heartrate", "pr", "puls", "pulsrate", "pulsfrequenz", "herzfrequenz",
        "prbpm",
        "pulsebpm", "hrbpm", "frequencecardiaque", "frecuenciacardiaca", "bpm",
    },
    Channel.TCCO2: {
        "tcco2", "ptcco2", "tcpco2", "co2tc", "pco2tc", "tcco2mmhg", "tcco2kpa", "transcutaneousco2",
        "transcutaneouspco2",
    },
}  # fmt: skip
_LIKELY = {
    Channel.SPO2: re.compile(r"spo2|sao2|o2 ?sat|saturation"),
    Channel.PULSE: re.compile(r"\bpulse?\b|\bhr\b|\bpr\b|heart ?rate"),
    Channel.TCCO2: re.compile(r"co2"),
}
_NOT_A_VALUE = re.compile(
    r"quality|status|alarm|flag|event|index|wave|pleth|temp|power|signal|confidence|et ?co2|tidal|vco2"
)
_UNIT = re.compile(r"[\[(]([^\])]*)[\])]")
_ACCENTS = str.maketrans("äöüéèáíó", "aoueeaio")

UNITS = {
    "%": "%", "percent": "%", "pct": "%", "%sat": "%", "%spo2": "%",
    "bpm": "/min", "/min": "/min", "1/min": "/min", "min-1": "/min", "b/min": "/min", "beats/min": "/min",
    "p/min": "/min", "bpm.": "/min",
    "mmhg": "mmHg", "mm[hg]": "mmHg", "mmhg.": "mmHg", "torr": "mmHg", "kpa": "kPa",
}  # fmt: skip
EXPECTED_UNITS = {Channel.SPO2: ("%",), Channel.PULSE: ("/min",), Channel.TCCO2: ("mmHg", "kPa")}


@dataclass(frozen=True, slots=True)
class Candidate:
    """A column or signal that may be a channel."""

    position: int
    label: str
    unit: str
    shown: str
    """The label as questions and messages show it."""


def candidate(position: int, label: str, unit: str, shown: str) -> Candidate:
    """Give a candidate, its unit taken from the label's brackets when the file states none beside it."""
    inside = _UNIT.search(label)
    stated = unit.strip() or (inside[1].strip() if inside else "")
    return Candidate(position, _UNIT.sub(" ", label), stated, shown)


def plain(label: str) -> str:
    """Give a label in lower case without accents, blanks and signs."""
    return re.sub(r"[^a-z0-9%]", "", label.lower().translate(_ACCENTS)).removesuffix("%")


def _is_exact(channel: Channel, label: str) -> bool:
    """Whether a label is one of the channel's names; of an EDF label the type before the sensor counts."""
    first = label.strip().partition(" ")[0]
    names = _EXACT[channel]
    return plain(label) in names or (plain(first) in names and not _NOT_A_VALUE.search(label.lower()))


def choose(candidates: Sequence[Candidate], asking: Asking) -> dict[Channel, Candidate]:
    """Choose the signal of each channel; what is not unique is asked, never guessed.

    Raises
    ------
    UnreadableNight
        An answer names no signal of the file, or none of the signals can be oxygen saturation or
        transcutaneous CO2.
    """
    chosen: dict[Channel, Candidate] = {}
    for channel in Channel:
        found = _of_channel(channel, candidates, asking)
        if found is not None:
            chosen[channel] = found
    taken = [one.position for one in chosen.values()]
    if len(set(taken)) < len(taken):
        raise UnreadableNight(
            "The same column was chosen for two channels; choose another or 'none of these'."
        )
    answered = {f"column.{channel}" for channel in Channel} & set(asking.answers)
    unasked = not any(question.key.startswith("column.") for question in asking.open)
    if Channel.SPO2 not in chosen and Channel.TCCO2 not in chosen and unasked:
        if answered:
            raise UnreadableNight(
                "Neither oxygen saturation nor transcutaneous CO2 was chosen; a night needs one."
            )
        _ask(Channel.SPO2, candidates, asking)
    return chosen


def _of_channel(channel: Channel, candidates: Sequence[Candidate], asking: Asking) -> Candidate | None:
    if f"column.{channel}" in asking.answers:
        return _ask(channel, candidates, asking)
    exact = [one for one in candidates if _is_exact(channel, one.label)]
    if len(exact) == 1:
        return exact[0]
    likely = exact or [one for one in candidates if _is_likely(channel, one.label)]
    return _ask(channel, likely, asking) if likely else None


def _is_likely(channel: Channel, label: str) -> bool:
    words = label.lower().replace("_", " ")
    return bool(_LIKELY[channel].search(words)) and not _NOT_A_VALUE.search(words)


def _ask(channel: Channel, offered: Sequence[Candidate], asking: Asking) -> Candidate | None:
    options = (*(one.shown for one in offered), NONE_OF_THESE)
    text = f"Which column or signal of the file is the {WORDS[channel]}?"
    if channel is Channel.TCCO2:
        text += " A CO2 signal that is not transcutaneous (end-tidal, for example) is none of these."
    key = f"column.{channel}"
    answer = _by_label(asking.answers.get(key), offered)
    asking.used.add(key)
    answer = answer or asking.answer(key, text, options)
    if answer in {None, NONE_OF_THESE}:
        return None
    return next(one for one in offered if one.shown == answer)


def _by_label(given: str | None, offered: Sequence[Candidate]) -> str | None:
    """Give the option whose bare label was answered, when it is one signal's alone; for the command line."""
    if given is None:
        return None
    wanted = given.strip().lower()
    named = [one.shown for one in offered if one.label.strip().lower() == wanted]
    return named[0] if len(named) == 1 else None


def unit_of(channel: Channel, chosen: Candidate, asking: Asking) -> str | None:
    """Give the unit of a channel: as stated, or as answered; None while it is asked.

    Raises
    ------
    UnreadableNight
        The stated unit is none in which this channel is read.
    """
    accepted = EXPECTED_UNITS[channel]
    stated = UNITS.get(chosen.unit.lower().replace(" ", ""))
    if chosen.unit and stated not in accepted:
        raise UnreadableNight(
            f"{chosen.shown}: the unit (physical dimension) {chosen.unit!r} was given for "
            f"{WORDS[channel]}, accepted "
            f"is {' or '.join(accepted)}; choose another column or export the file again."
        )
    if stated is not None:
        return stated
    if channel is not Channel.TCCO2:
        return accepted[0]
    text = f"In which unit is {chosen.shown} written? The file does not say."
    return asking.answer("unit.tcco2", text, tuple(unit.value for unit in PressureUnit))


def is_named(label: str) -> bool:
    """Whether a label names or may name any channel; tells a header from other lines."""
    bare = _UNIT.sub(" ", label)
    return any(_is_exact(channel, bare) or _is_likely(channel, bare) for channel in Channel)
