"""How a person's PaCO2 answered to pressure support so far."""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class OwnResponse:
    """How this person's PaCO2 answered to pressure support so far."""

    mean_ln_per_cmh2o: float
    sd_ln_per_cmh2o: float
    words: str = ""


def own_response(effects: Sequence[tuple[float, float, float]]) -> OwnResponse | None:
    """Give the person's own response to pressure support from past settings changes.

    Parameters
    ----------
    effects
        One triple a change: difference of pressure support [cmH2O], effect on ln PaCO2, its SD. Changes
        that left pressure support as it was say nothing and are passed over.

    Returns
    -------
    OwnResponse or None
        A line through the origin by weighted least squares; None without a change of pressure support.
    """
    used = [(step, effect, sd) for step, effect, sd in effects if step and sd > 0.0]
    information = sum(step**2 / sd**2 for step, _, sd in used)
    if not used:
        return None
    mean = sum(step * effect / sd**2 for step, effect, sd in used) / information
    noun = "change" if len(used) == 1 else "changes"
    return OwnResponse(mean, information**-0.5, f"{len(used)} past {noun} of pressure support")
