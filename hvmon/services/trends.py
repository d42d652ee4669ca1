"""The CO2 trend of one person for screens and rules: the estimate, its band, or why there is none."""

from dataclasses import dataclass
from datetime import date

import polars as pl

from hvmon.records.dossier import Dossier
from hvmon.services.as_of import end_of_day
from hvmon.stats.priors import Priors
from hvmon.stats.series import changes_frame, readings_frame
from hvmon.stats.trend import TrendRefused, TrendResult, fit


@dataclass(frozen=True)
class RuleTrend:
    """What the trend rules read of an estimate; None is "cannot be told"."""

    p_rise: float | None
    p_rise_0_3: float | None
    p_above_limit: float | None
    model_version: str
    readings: tuple[str, ...]


@dataclass(frozen=True)
class TrendView:
    """An estimate with its band for drawing, or the reason why there is none."""

    estimate: TrendResult | None
    reason: str
    """Why there is no estimate; empty when there is one."""
    limit_words: str = ""
    """The person's limit that the chance refers to; empty without one."""

    @property
    def result(self) -> RuleTrend | None:
        """The part that the rules read; None without an estimate."""
        made = self.estimate
        if made is None:
            return None
        rise = made.rise if made.enough else None
        return RuleTrend(
            p_rise=rise.p_rise if rise else None,
            p_rise_0_3=rise.p_rise_more if rise else None,
            p_above_limit=made.limits[0].now if made.limits else None,
            model_version=f"{made.model_version}, priors {made.priors_digest}",
            readings=made.reading_ids,
        )

    @property
    def band(self) -> pl.DataFrame | None:
        """The usual level with its intervals [kPa] by date; None without an estimate."""
        if self.estimate is None:
            return None
        intervals = {f"{side}{share}": f"{side}{share}_kpa" for side in ("low", "high") for share in (80, 95)}
        return self.estimate.band.select(
            "at", *(pl.col(column).alias(name) for name, column in intervals.items()), centre="median_kpa"
        )


def no_trend(reason: str) -> TrendView:
    """Give the view without an estimate."""
    return TrendView(None, reason)


def trend_view(
    dossier: Dossier,
    *,
    today: date,
    limit: tuple[str, float] | None,
    priors: Priors | None = None,
    since: date | None = None,
) -> TrendView:
    """Estimate the usual PaCO2 of one person as of the end of a day.

    Parameters
    ----------
    dossier : Dossier
        The record.
    today : date
        As of the end of this day on the person's clock.
    limit : tuple of str and float, or None
        The person's own limit, in words and in kPa, whose chance is asked for.
    priors : Priors, optional
        The table of priors; None takes the one hvmon ships with.
    since : date, optional
        Day of the review since whose end a rise is asked for; None takes one year before `today`.
    """
    made = fit(
        readings_frame(dossier),
        changes_frame(dossier),
        today=end_of_day(today, dossier.person.zone),
        review=None if since is None else end_of_day(since, dossier.person.zone),
        limits_kpa=[limit] if limit else [],
        priors=priors,
        birth_date=dossier.identity.date_of_birth if dossier.identity else None,
        group=dossier.person.diagnosis_group,
    )
    if isinstance(made, TrendRefused):
        refused = "; ".join(sorted({each.reason for each in made.refused}))
        return no_trend(": ".join(part for part in (made.reason, refused) if part))
    return TrendView(made, "", limit[0] if limit else "")
