"""What the flags rest on, as tables: rules, sources, entry limits, priors; and who changed what."""

from datetime import date

import polars as pl

from hvmon.records.dossier import Dossier
from hvmon.records.limits import ENTRY_LIMITS
from hvmon.rules.catalogue import RULES
from hvmon.services.packs_in_use import pack_in_use
from hvmon.sources import SOURCES
from hvmon.stats.priors import DEFAULT_ROWS
from hvmon.store.store import Store


def rules(dossier: Dossier | None, *, today: date) -> pl.DataFrame:
    """Give every rule with its limits, source and mark; with a person open, whether it is in use."""
    pack = pack_in_use(dossier, today=today) if dossier else None
    rows = [
        {
            "Rule": rule.id,
            "Title": rule.title,
            **({"For this person": "in use" if pack.rule(rule.id) else "not in use"} if pack else {}),
            "Grade": rule.grade.value,
            "Limit": rule.limit_words,
            "Population": rule.population,
            "Condition": rule.condition,
            "Source": rule.source,
            "Place": rule.place,
            "Verified": rule.mark.value,
        }
        for rule in RULES
    ]
    return pl.DataFrame(rows)


def sources() -> pl.DataFrame:
    """Give the bibliography: what each source is and how far it was verified."""
    rows = [
        {
            "Key": source.key,
            "Authors": source.authors,
            "Title": source.title,
            "Year": source.year,
            "Place": source.place,
            "Read": source.seen,
            "Verified": source.mark.value,
        }
        for source in SOURCES
    ]
    return pl.DataFrame(rows)


def entry_limits() -> pl.DataFrame:
    """Give what a typed number may be: refused outside the first range, asked about outside the second."""
    rows = [
        {
            "Field": limit.words,
            "Unit": limit.unit,
            "Refused below": str(limit.low),
            "Refused above": str(limit.high),
            "Asked below": str(limit.ask_low),
            "Asked above": str(limit.ask_high),
            "Why": limit.why,
            "Likely slip": limit.slip,
            "Verified": limit.mark.value,
        }
        for limit in ENTRY_LIMITS
    ]
    return pl.DataFrame(rows)


def priors() -> pl.DataFrame:
    """Give what the CO2 trend assumes before it sees a reading."""
    rows = [
        {
            "Assumption": prior.key,
            "Value": " / ".join(f"{number:g}" for number in prior.numbers()),
            "Unit": prior.unit,
            "About, at 6.5 kPa": prior.shown_kpa(),
            "Meaning": prior.meaning,
            "Basis": prior.basis,
            "Source": prior.source,
            "Verified": prior.mark.value,
        }
        for prior in DEFAULT_ROWS
    ]
    return pl.DataFrame(rows)


def audit_trail(store: Store, person_key: str) -> pl.DataFrame:
    """Give the last 200 changes of one person's record, the newest first."""
    trail = store.audit_trail(person_key, limit=200)
    return trail.select(
        pl.col("seq").alias("No."),
        pl.col("at").alias("When (UTC)"),
        pl.col("actor").alias("Who"),
        pl.col("action").alias("What"),
        pl.col("table").alias("Table"),
        pl.col("version").alias("Version"),
        pl.col("reason").alias("Why"),
    )
