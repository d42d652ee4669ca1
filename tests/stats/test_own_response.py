import math
from datetime import UTC, datetime

import polars as pl
import pytest

from hvmon.stats.answers import ChangeEffect
from hvmon.stats.mixture import Estimate
from hvmon.stats.own_response import own_response_of
from hvmon.stats.series import CHANGES_SCHEMA

AT = datetime(2025, 6, 1, tzinfo=UTC)
LEVEL = 7.0


def posterior(own_mean, own_sd, usual=-0.03, usual_sd=0.07):
    """What the trend would say: the person's own data shrunk towards what is usual."""
    information = own_sd**-2 + usual_sd**-2
    mean = (own_mean * own_sd**-2 + usual * usual_sd**-2) / information
    half = 1.96 * information**-0.5
    kpa = [LEVEL * math.expm1(mean + step) for step in (0.0, -half, half, 0.0, 0.0)]
    return Estimate(*kpa)


def effect(estimate, record_id="c1", before=2, after=2):
    return ChangeEffect(record_id, AT, "escalation", "x", estimate, 0.9, before, after, False, "")


def changes(step=4.0, rate=0.0, record_id="c1"):
    row = (record_id, AT, "escalation", step, rate, "x")
    return pl.DataFrame([row], schema=CHANGES_SCHEMA, orient="row")


def test_the_usual_effect_is_taken_out_again():
    found = own_response_of([effect(posterior(-0.20, 0.05))], changes(4.0), LEVEL)
    assert found.mean_ln_per_cmh2o == pytest.approx(-0.05, abs=1e-3)
    assert found.sd_ln_per_cmh2o == pytest.approx(0.05 / 4.0, rel=0.01)


@pytest.mark.parametrize(
    ("effects", "frame"),
    [
        ([effect(None)], changes()),
        ([effect(posterior(-0.2, 0.05), after=0)], changes()),
        ([effect(posterior(-0.2, 5.0))], changes()),  # the readings say next to nothing
        ([effect(posterior(-0.2, 0.05))], changes(0.0)),
        ([effect(posterior(-0.2, 0.05))], changes(4.0, rate=2.0)),  # the rate moved with it
        ([effect(posterior(-0.2, 0.05))], changes(None)),
        ([], changes()),
    ],
)
def test_without_a_change_of_pressure_alone_with_readings_on_both_sides_there_is_none(effects, frame):
    assert own_response_of(effects, frame, LEVEL) is None
