"""The CO2 trend of many people as the rules read it, a batch at a time."""

from collections.abc import Sequence
from datetime import date

import polars as pl

from hvmon.records.dossier import Dossier
from hvmon.rules.packs import Pack
from hvmon.services.as_of import end_of_day
from hvmon.services.drawn_limits import own_limit
from hvmon.services.trends import RuleTrend
from hvmon.stats.priors import Priors
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.trend import PROGRESSIVE, PersonInput, TrendRefused, TrendSummary, fit_many


def rule_trends(
    known: Sequence[Dossier], packs: Sequence[Pack], *, today: date, priors: Priors
) -> list[RuleTrend | None]:
    """Estimate the trend of a batch; None where no reading is usable."""
    limits = [own_limit(pack) for pack in packs]
    asked = sorted({limit[1] for limit in limits if limit is not None})
    made = fit_many((_person_input(dossier, today) for dossier in known), limits_kpa=asked, priors=priors)
    return [
        _rule_trend(dossier, one, None if limit is None else asked.index(limit[1]))
        for dossier, one, limit in zip(known, made, limits, strict=True)
    ]


def _person_input(dossier: Dossier, today: date) -> PersonInput:
    return PersonInput(
        person_key=dossier.person_key,
        readings=readings_frame(dossier),
        changes=changes_frame(dossier),
        today=end_of_day(today, dossier.person.zone),
        birth_date=dossier.identity.date_of_birth if dossier.identity else None,
        progressive=dossier.person.diagnosis_group in PROGRESSIVE,
    )


def _rule_trend(
    dossier: Dossier, made: TrendSummary | TrendRefused, limit_place: int | None
) -> RuleTrend | None:
    if isinstance(made, TrendRefused):
        return None
    usable = readings_frame(dossier).filter(pl.col("refusal").is_null())
    return RuleTrend(
        p_rise=made.p_rise if made.enough else None,
        p_rise_0_3=made.p_rise_more if made.enough else None,
        p_above_limit=None if limit_place is None else made.p_above[limit_place],
        model_version=f"{made.model_version}, priors {made.priors_digest}",
        readings=tuple(usable["record_id"]),
    )
