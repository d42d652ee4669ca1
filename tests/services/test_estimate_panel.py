"""The panel to check an estimate: every reading is used or told why not, and where the numbers come from."""

import pytest

from hvmon.services.estimate_panel import fitted_table, opinions_table, provenance_line, readings_table
from hvmon.services.review import review
from hvmon.stats.second_opinions import WEAKNESS, Method
from hvmon.units import PressureUnit
from hvmon.vocabulary import TemperatureCorrection
from tests.app import invented
from tests.services.cohorts import NOW

KPA, MMHG = PressureUnit.KPA, PressureUnit.MMHG


@pytest.fixture(name="seen")
def _seen(store):
    gases = [invented.gas(invented.ANNA, 95 - 8 * step, f"{6.8 + 0.2 * step:.1f}") for step in range(1, 12)]
    warm = invented.gas(invented.ANNA, 60, "7.0").model_copy(
        update={"temperature_correction": TemperatureCorrection.CORRECTED}
    )
    store.save_all([*gases, warm], actor="N. Invented", request_id="rising", now=NOW)
    return review(store, invented.ANNA, today=invented.TODAY)


def test_every_reading_is_listed_as_used_or_with_the_reason_why_not(seen):
    made = seen.trend.estimate
    rows = readings_table(made, KPA)
    assert len(rows) == made.n + len(made.refused) == 14
    refused = [row["Used"] for row in rows if row["Used"].startswith("NOT used")]
    assert len(refused) == 1
    assert "corrected to body temperature" in refused[0]
    assert [row["Used"] for row in rows].count("used, newest") == 1


def test_the_provenance_names_model_priors_and_what_the_service_edited(seen):
    made = seen.trend.estimate
    assert f"{made.model_version}; priors {made.priors_digest}, none edited" in provenance_line(made, None)
    edited = provenance_line(made, {"priors": {"noise.arterial": 0.04}})
    assert "1 edited by this service (noise.arterial; edits" in edited
    assert "1 not used" in edited


def test_the_unit_changes_what_is_shown(seen):
    kpa, mmhg = fitted_table(seen.trend.estimate, KPA), fitted_table(seen.trend.estimate, MMHG)
    assert kpa[1] != mmhg[1]
    assert kpa[0] == mmhg[0]


def test_every_older_method_stands_with_its_weakness(seen):
    rows = opinions_table(seen, KPA)
    assert len(rows) == len(Method)
    assert [row["Known weakness"] for row in rows] == [WEAKNESS[method] for method in Method]


def test_an_older_method_speaks_in_the_unit_of_display(seen):
    kpa, mmhg = ("\n".join(row["What it says"] for row in opinions_table(seen, unit)) for unit in (KPA, MMHG))
    assert "kPa a year (" in kpa
    assert "mmHg a year (" in mmhg
    assert "kPa" not in mmhg


def test_a_method_with_too_few_readings_says_so_and_claims_no_weakness(store):
    rows = opinions_table(review(store, invented.ANNA, today=invented.TODAY), KPA)
    few = [row for row in rows if "are needed" in row["What it says"]]
    assert len(few) == len(Method) - 1
    assert {row["Known weakness"] for row in few} == {"not asked"}
