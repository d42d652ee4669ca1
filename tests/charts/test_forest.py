"""The forest plot: valid in every look, readable in grey, n as words beside every figure."""

import json

import altair as alt
import polars as pl
import pytest

from hvmon.charts.forest import ROWS, draw_forest
from hvmon.charts.theme import Look
from hvmon.units import MMHG_PER_KPA, PressureUnit

KPA, MMHG = PressureUnit.KPA, PressureUnit.MMHG
SOME = pl.DataFrame(
    [
        ("all", -0.08, -0.12, -0.04, "40 people, 71 changes", ""),
        ("COPD", -0.09, -0.14, -0.03, "12 people, 20 changes", ""),
        ("chest wall disease", None, None, None, "fewer than 5 people", "not enough: fewer than 5 people"),
    ],
    schema=ROWS,
    orient="row",
)
NONE = SOME.filter(pl.col("estimate_kpa").is_null())


def draw(rows=SOME, look=Look.LIGHT, unit=KPA):
    return draw_forest(rows, what="pressure support", per="cmH2O", look=look, unit=unit)


@pytest.mark.parametrize("unit", list(PressureUnit))
@pytest.mark.parametrize("look", list(Look))
@pytest.mark.parametrize("rows", [SOME, NONE, SOME.clear()], ids=["some", "none", "no row"])
def test_it_is_valid_in_every_look_and_unit_and_has_no_hole_left(look, unit, rows):
    picture = draw(rows, look, unit)
    alt.Chart.from_dict(picture.inline(700), validate=True)
    assert "@" not in json.dumps(picture.spec)
    assert f"{unit.value} per cmH2O of pressure support" in json.dumps(picture.spec)


def test_every_row_names_its_group_its_n_and_its_figure_in_words():
    picture = draw()
    assert picture.frames["figures"]["row"].to_list() == [
        "all|40 people, 71 changes|-0.080 (-0.120 to -0.040)",
        "COPD|12 people, 20 changes|-0.090 (-0.140 to -0.030)",
    ]
    for words in ("40 people, 71 changes", "COPD: -0.090 (-0.140 to -0.030)", "95 % interval"):
        assert words in picture.words


def test_a_row_without_a_figure_says_why_in_its_place_and_has_no_sign():
    picture = draw()
    assert picture.frames["missing"]["why_none"].to_list() == ["not enough: fewer than 5 people"]
    assert "chest wall disease" not in picture.frames["figures"]["group"]
    assert "chest wall disease: not enough" in picture.words


def test_everybody_and_groups_differ_by_shape_and_filling_and_not_by_colour():
    text = json.dumps(draw(look=Look.PRINT).spec)
    assert '"value": "diamond"' in text
    assert '"value": "square"' in text
    colours = {part[:6] for part in text.split("#")[1:]}
    assert all(len({colour[:2], colour[2:4], colour[4:]}) == 1 for colour in colours), colours


def test_the_axis_holds_every_interval_and_zero_and_never_blows_noise_up():
    wide = SOME.with_columns(high_kpa=pl.when(pl.col("group") == "COPD").then(0.9).otherwise("high_kpa"))
    for rows in (SOME, wide, NONE):
        picture = draw(rows)
        low, high = _domain(picture.spec)
        assert low <= -0.15
        assert high >= 0.15
        shown = picture.frames["figures"]
        assert all(low < value < high for value in [*shown["low"], *shown["high"]])


def _domain(spec):
    text = json.dumps(spec)
    start = text.index('"domain": [') + len('"domain": [')
    while text[start] == '"':
        start = text.index('"domain": [', start) + len('"domain": [')
    return [float(part) for part in text[start : text.index("]", start)].split(",")]


def test_the_unit_moves_figures_and_axis_alike():
    kpa, mmhg = draw().frames["figures"], draw(unit=MMHG).frames["figures"]
    for name in ("estimate", "low", "high"):
        assert mmhg[name].to_list() == pytest.approx([value * MMHG_PER_KPA for value in kpa[name]])
    assert mmhg["said"][0] == "-0.60 (-0.90 to -0.30)"
