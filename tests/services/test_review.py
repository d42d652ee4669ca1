"""The review: what a page shows of one person, and that it never says more than it knows."""

import dataclasses
from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import polars as pl
import pytest

from hvmon.charts import rows as charts_rows
from hvmon.records.base import Pressure
from hvmon.rules.catalogue import rule
from hvmon.services import drawn_limits, estimate_answers, review_tables
from hvmon.services.comparisons import around_last_change
from hvmon.services.headline import chance_words, headline, pressure_words
from hvmon.services.packs_in_use import checked_edits, pack_in_use
from hvmon.services.review import review
from hvmon.services.use_summary import use_summary
from hvmon.stats.likeforlike import series
from hvmon.stats.second_opinions import Method
from hvmon.units import PressureUnit
from hvmon.vocabulary import NOT_RECORDED, SampleKind, SampleSite, VentilatorState
from tests.app import invented
from tests.services.conftest import NOW

TODAY = invented.TODAY
KPA, MMHG = PressureUnit.KPA, PressureUnit.MMHG


def save(store, *records):
    for record in records:
        store.save(record, actor="N. Invented", request_id=uuid4().hex, now=NOW)


def gas(
    days_ago, pco2, *, ventilator=VentilatorState.OFF, kind=SampleKind.CAPILLARY_EARLOBE, unit=KPA, **state
):
    made = invented.gas(invented.ANNA, days_ago, "6.5")
    sites = {
        SampleKind.VENOUS: SampleSite.ARM_VEIN,
        SampleKind.ARTERIAL: SampleSite.RADIAL,
        SampleKind.CAPILLARY_FINGERTIP: SampleSite.FINGERTIP,
    }
    return made.model_copy(
        update={
            "kind": kind,
            "site": sites.get(kind, SampleSite.EARLOBE),
            "pco2": Pressure(value=Decimal(pco2), unit=unit),
            "state": made.state.model_copy(update={"ventilator": ventilator, **state}),
        }
    )


def seen(store, **more):
    return review(store, invented.ANNA, today=TODAY, **more)


def test_frames_of_the_course_have_the_columns_that_charts_ask_for(store):
    course = seen(store).course
    for frame, schema in (
        (course.readings, charts_rows.READINGS),
        (course.limits, charts_rows.LIMITS),
        (course.changes, charts_rows.CHANGES),
        (course.nights, charts_rows.NIGHTS),
        (course.symptoms, charts_rows.SYMPTOMS),
        (course.use, charts_rows.USE),
        (course.events, charts_rows.EVENTS),
    ):
        assert set(schema) <= set(frame.columns)
        assert all(frame.schema[name] == schema[name] for name in schema)


def test_the_band_has_the_columns_that_charts_ask_for(store):
    save(store, *(gas(day, f"{6.5 + day / 500:.1f}") for day in (10, 40, 70)))
    band = seen(store).trend.band
    assert set(charts_rows.TREND) == set(band.columns)
    assert (
        band.select((pl.col("low95") <= pl.col("low80")) & (pl.col("high80") <= pl.col("high95")))
        .to_series()
        .all()
    )


def test_limits_drawn_are_those_of_the_catalogue_for_the_persons_group(store):
    limits = seen(store).course.limits.filter(pl.col("lane") == "co2")
    assert "GAS-1 > 45 mmHg" in limits["words"][0]
    own = drawn_limits.own_limit(seen(store).pack)
    assert own[1] == pytest.approx(float(rule("GAS-1").limit.value) * 101.325 / 760)


def test_an_edited_limit_moves_the_line_and_says_so(store):
    edits = {"rules": {"GAS-1": {"limit": 50, "reason": "local agreement"}}}
    pack = pack_in_use(store.dossier(invented.ANNA), today=TODAY, edits=edits)
    words, kpa = drawn_limits.own_limit(pack)
    assert words == "GAS-1 > 50 mmHg (edited)"
    assert kpa == pytest.approx(50 * 101.325 / 760)


def test_readings_keep_value_and_unit_as_entered(store):
    save(store, gas(5, "52", unit=MMHG))
    assert "52 mmHg" in seen(store).course.readings["entered"].to_list()
    assert review_tables.readings_table(store.dossier(invented.ANNA))[0]["PCO2"] == "52 mmHg"


def test_on_and_off_the_ventilator_are_never_one_series(store):
    save(store, gas(50, "5.8", ventilator=VentilatorState.ON), gas(20, "5.9", ventilator=VentilatorState.ON))
    course = seen(store).course.readings
    per_series = course.group_by("series").agg(pl.col("ventilator").n_unique().alias("states"))
    assert per_series["states"].max() == 1
    assert course["series"].n_unique() == 2


def test_a_reading_whose_state_was_not_recorded_stands_alone(store):
    unknown = VentilatorState.NOT_RECORDED
    save(store, gas(50, "5.8", ventilator=unknown), gas(20, "5.9", ventilator=unknown))
    alone = seen(store).course.readings.filter(pl.col("ventilator") == unknown.value)
    assert alone["series"].n_unique() == 2


def test_last_against_previous_is_told_only_like_for_like(store):
    save(store, gas(3, "7.9", kind=SampleKind.VENOUS))
    first = seen(store).compared[0]
    assert first.key.source == "venous"
    assert first.noise == "not comparable"
    assert first.difference_kpa is None


def test_a_small_step_is_within_noise_and_a_large_one_beyond_it(store):
    save(store, gas(3, "7.0"))
    assert seen(store).compared[0].noise == "within noise"
    save(store, gas(1, "9.5"))
    assert seen(store).compared[0].noise == "beyond noise"


def test_the_services_own_priors_decide_what_is_noise(store):
    change = invented.change(invented.ANNA, 6).model_copy(update={"why": "second change"})
    save(store, change, gas(10, "6.8"), gas(3, "8.2"))
    own = {"priors": {"noise.capillary_earlobe": 0.2}}
    shipped, edited = seen(store), seen(store, edits=own)
    assert shipped.compared[0].noise == "beyond noise"
    assert edited.compared[0].noise == "within noise"
    assert edited.compared[0].outcome.up_limit_kpa > shipped.compared[0].outcome.up_limit_kpa
    assert (shipped.around_change.beyond_noise, edited.around_change.beyond_noise) == (True, False)


def test_the_services_own_priors_move_the_second_opinions(store, tmp_path):
    save(store, *(gas(60 - 10 * step, f"{6.6 + 0.35 * step:.2f}") for step in range(6)))
    file = tmp_path / "service.toml"
    file.write_text('[priors]\n"noise.capillary_earlobe" = 0.3\n', encoding="utf-8")
    edits, wrong = checked_edits(file)
    assert not wrong
    shipped, edited = seen(store).opinions, seen(store, edits=edits).opinions
    scores = {one.method: (one.score, other.score) for one, other in zip(shipped, edited, strict=True)}
    assert scores[Method.THEIL_SEN][0] == scores[Method.THEIL_SEN][1]  # needs no prior
    for method in (Method.REFERENCE_CHANGE, Method.EWMA, Method.CUSUM):
        assert scores[method][0] > scores[method][1]
    by_method = {one.method: one for one in edited}
    assert not by_method[Method.EWMA].raised


def test_readings_of_the_day_of_a_change_are_on_neither_side_of_it(store):
    change = invented.change(invented.ANNA, 50).model_copy(update={"why": "second change"})
    save(store, change, gas(50, "6.0"))
    around = around_last_change(store.dossier(invented.ANNA), series(store.dossier(invented.ANNA)))
    assert around.key is None
    save(store, gas(20, "6.1"))
    around = around_last_change(store.dossier(invented.ANNA), series(store.dossier(invented.ANNA)))
    assert (around.before_kpa, around.after_kpa) == (6.7, 6.1)


def test_with_two_readings_the_headline_says_not_enough_to_tell(store):
    tile = headline(seen(store), KPA)[0]
    assert tile.words == "Not enough to tell"


def test_without_any_reading_nothing_is_estimated_and_the_reason_is_given(store):
    found = review(store, invented.BRAM, today=TODAY)
    tiles = headline(found, KPA)
    assert tiles[0].words == "Not estimated"
    assert tiles[1].words == "No CO2 reading"
    assert found.trend.band is None


def test_a_steep_rise_is_told_by_the_id_of_its_rule(store):
    save(store, *(gas(100 - 9 * step, f"{6.7 + 0.25 * step:.2f}") for step in range(1, 12)))
    tile = headline(seen(store), KPA)[0]
    assert "rising (TRD-" in tile.words
    assert "Chance of a rise since" in tile.detail


def test_no_screen_text_of_the_review_says_safe_or_orders_treatment(store):
    found = seen(store)
    texts = [text for tile in headline(found, KPA) for text in dataclasses.astuple(tile)]
    texts += [finding.sentence for finding in found.findings]
    texts += [value for row in estimate_answers.answers_table(found, KPA) for value in row.values()]
    joined = " ".join(texts).lower()
    assert " safe" not in joined
    assert "increase the" not in joined


def test_what_could_not_be_assessed_is_counted_in_the_headline(store):
    found = seen(store)
    assert found.not_assessable
    assert f"{len(found.not_assessable)} rules could not be assessed" in headline(found, KPA)[3].detail


def test_the_display_unit_changes_numbers_shown_and_not_the_answer(store):
    found = seen(store)
    kpa, mmhg = headline(found, KPA), headline(found, MMHG)
    assert [tile.words for tile in kpa] == [tile.words for tile in mmhg]
    assert "mmHg" in mmhg[0].detail


@pytest.mark.parametrize(
    ("chance", "words"), [(1.0, "over 99 %"), (0.0, "under 1 %"), (0.5, "50 %"), (0.99, "99 %")]
)
def test_a_chance_is_never_told_as_certain(chance, words):
    assert chance_words(chance) == words


@pytest.mark.parametrize(
    ("kpa", "unit", "words"), [(6.5, KPA, "6.5 kPa"), (6.5, MMHG, "49 mmHg"), (-0.01, KPA, "0.0 kPa")]
)
def test_pressures_are_shown_to_the_precision_of_their_unit(kpa, unit, words):
    assert pressure_words(kpa, unit) == words


def test_a_record_as_of_an_earlier_day_knows_nothing_later(store):
    early = review(store, invented.ANNA, today=TODAY - timedelta(days=150))
    assert early.course.readings.height == 1
    assert all(held.record.drawn_at.date() <= early.today for held in early.dossier.blood_gas)


def test_settings_read_otherwise_than_ordered_are_named(store):
    assert all(
        row["At the machine"] == "not read"
        for row in review_tables.settings_now(store.dossier(invented.ANNA))
    )


def test_conditions_not_recorded_are_written_out(store):
    save(store, gas(2, "6.6", oxygen_l_min=NOT_RECORDED, minutes_in_state=NOT_RECORDED))
    row = review_tables.readings_table(store.dossier(invented.ANNA))[0]
    assert row["Oxygen"] == "oxygen not recorded"
    assert "not recorded" in row["Conditions"]


def test_a_po2_that_is_not_arterial_says_so_with_the_reason(store):
    po2 = Pressure(value=Decimal("9.1"), unit=KPA)
    kinds = (
        SampleKind.CAPILLARY_FINGERTIP,
        SampleKind.CAPILLARY_EARLOBE,
        SampleKind.VENOUS,
        SampleKind.ARTERIAL,
    )
    made = [gas(8 - 2 * place, "6.6", kind=kind) for place, kind in enumerate(kinds)]
    save(store, *(one.model_copy(update={"po2": po2}) for one in made))
    dossier = store.dossier(invented.ANNA)
    told = {row["Sample"]: row["PO2"] for row in reversed(review_tables.readings_table(dossier))}
    assert told[SampleKind.ARTERIAL] == "9.1 kPa"
    assert told[SampleKind.CAPILLARY_EARLOBE] == "9.1 kPa (PaO2 at least this)"
    assert told[SampleKind.CAPILLARY_FINGERTIP] == told[SampleKind.VENOUS] == "9.1 kPa (not PaO2)"
    notes = "; ".join(review_tables.po2_notes(dossier))
    for source in ("Zavorsky2007Capillary", "Magnet2017Capillary", "Byrne2014"):
        assert source in notes


def test_use_without_a_record_is_not_shown_as_no_use(store):
    summary = use_summary(store.dossier(invented.ANNA), today=TODAY)
    assert summary.lines == ()
    assert summary.nights == 0


def test_the_course_is_never_shorter_than_four_months(store):
    found = review(store, invented.BRAM, today=TODAY)
    assert (found.today - found.first_day).days == 120


def test_the_trend_can_be_left_out_and_the_page_says_so(store):
    found = seen(store, trend=False)
    assert found.trend.estimate is None
    assert "no estimate was asked for" in found.trend.reason
