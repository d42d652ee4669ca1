"""The bibliography: one Source a key, with how far it was verified.

A docstring, a rule or a prior names a key; `hvmon source KEY` and docs/sources.md print the rest.
"""

from dataclasses import dataclass

from hvmon.vocabulary import Mark


@dataclass(frozen=True, slots=True)
class Source:
    """One published work or stated project judgement."""

    key: str
    authors: str
    title: str
    year: int | None
    place: str
    seen: str
    """What was read of it: abstract, table, restatement, nothing (from memory)."""
    mark: Mark


# --- clinical: definitions, guidelines, trials ---------------------------------------------
CLINICAL: tuple[Source, ...] = ()

# --- physiology: equations and constants -----------------------------------------------------
PHYSIOLOGY: tuple[Source, ...] = ()

# --- measurement: agreement, variation, trend model ------------------------------------------
MEASUREMENT: tuple[Source, ...] = ()

# --- overnight: scoring and formats ----------------------------------------------------------
OVERNIGHT: tuple[Source, ...] = ()

# --- the project's own judgement and the custom of the trade ---------------------------------
OWN: tuple[Source, ...] = (
    Source(
        "Project",
        "hvmon developers",
        "Design choice of this project",
        None,
        "docs/decisions.md",
        "stated with its reason in docs/decisions.md",
        Mark.JUDGEMENT,
    ),
    Source(
        "Practice",
        "",
        "Common practice of home-ventilation teams",
        None,
        "no published source found",
        "nothing",
        Mark.PRACTICE,
    ),
)

SOURCES: tuple[Source, ...] = CLINICAL + PHYSIOLOGY + MEASUREMENT + OVERNIGHT + OWN
BY_KEY: dict[str, Source] = {source.key: source for source in SOURCES}


def source(key: str) -> Source:
    """Give the source of a key, for example ``source("Mokhlesi2019")``.

    Raises
    ------
    KeyError
        No such key; the message lists where keys stand.
    """
    try:
        return BY_KEY[key]
    except KeyError:
        raise KeyError(f"no source {key!r}; the keys are those of hvmon/sources.py") from None
