"""Charts of the titration review: valid, readable without colour, one axis for fans side by side."""

import itertools
import json

import altair as alt
import polars as pl
import pytest

from hvmon.charts import acid_base, titration
from hvmon.charts.theme import PALETTES, Look
from hvmon.units import MMHG_PER_KPA, PressureUnit

KPA, MMHG = PressureUnit.KPA, PressureUnit.MMHG


def curve(first, values):
    rows = [{first: x, "paco2_kpa": y} | {
        "low_95_kpa": 0.6 * y, "low_80_kpa": 0.8 * y, "high_80_kpa": 1.2 * y, "high_95_kpa": 1.4 * y}
        for x, y in values]  # fmt: skip
    return pl.DataFrame(rows)


HYPERBOLA = curve("alveolar_l_min", [(2.0 + i / 5, 25.0 / (2.0 + i / 5)) for i in range(40)])
FAN = curve("minute", [(5.0 * i, 7.0 - 0.03 * i) for i in range(37)])


def points(*labels):
    rows = [
        {"label": label, "alveolar_l_min": 4.0 + i, "low_l_min": 3.0 + i, "high_l_min": 5.0 + i,
         "kpa": 25.0 / (4.0 + i), "low_95_kpa": 20.0 / (4.0 + i), "high_95_kpa": 30.0 / (4.0 + i)}
        for i, label in enumerate(labels)
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=titration.POINTS)


def intervals(*labels):
    rows = [
        {"label": label, "words": f"{label}: x", "paco2_kpa": 7.0 - i, "low_80_kpa": 6.0 - i,
         "high_80_kpa": 8.0 - i, "low_95_kpa": 5.5 - i, "high_95_kpa": 8.5 - i}
        for i, label in enumerate(labels)
    ]  # fmt: skip
    return pl.DataFrame(rows, schema=titration.INTERVALS)


def gases(*rows):
    schema = {"order": pl.Int64, "record_id": pl.String, "kind": pl.String, "pco2_kpa": pl.Float64,
              "ph": pl.Float64, "hco3_mmol_l": pl.Float64, "state": pl.String, "chronicity": pl.String,
              "day": pl.String, "ventilator": pl.String, "entered": pl.String}  # fmt: skip
    made = [
        {"order": i, "record_id": f"r{i}", "kind": kind, "pco2_kpa": pco2, "ph": ph, "hco3_mmol_l": 30.0,
         "state": "hypercapnia", "chronicity": "compensated", "day": f"0{i} Jan 2026", "ventilator": state,
         "entered": f"{pco2} kPa"}
        for i, (kind, state, pco2, ph) in enumerate(rows, 1)
    ]  # fmt: skip
    return pl.DataFrame(made, schema=schema)


PATH = gases(
    ("arterial", "off ventilator", 6.4, 7.39),
    ("capillary earlobe", "on ventilator", 7.4, 7.36),
    ("capillary fingertip", "not recorded", 8.0, 7.33),
)
LINES = pl.DataFrame(
    [
        {"line": line, "pco2_kpa": p, "ph": 7.4 - drop * (p - 5.3), "ph_low": 7.36 - drop * (p - 5.3),
         "ph_high": 7.44 - drop * (p - 5.3)}
        for line, drop in (("acute", 0.06), ("chronic", 0.02)) for p in (3.5, 7.0, 14.0)
    ]
)  # fmt: skip
ISOLINES = pl.DataFrame(
    [{"hco3_mmol_l": b, "pco2_kpa": p, "ph": 7.4 + (b - 24) / 100 - 0.05 * (p - 5.3)}
     for b in (24.0, 32.0) for p in (3.5, 7.0, 14.0)]
)  # fmt: skip


def pictures(look, unit=KPA):
    return {
        "hyperbola": titration.draw_hyperbola(HYPERBOLA, points("now", "A", "B"), look=look, unit=unit),
        "intervals": titration.draw_intervals(intervals("now", "A"), title="Next", look=look, unit=unit),
        "fan": titration.draw_fan(
            FAN, label="A", earliest_min=35.0, ends_kpa=(4.0, 9.0), look=look, unit=unit
        ),
        "map": acid_base.draw_map(LINES, ISOLINES, PATH, look=look, unit=unit),
    }


@pytest.mark.parametrize("unit", list(PressureUnit))
@pytest.mark.parametrize("look", list(Look))
def test_every_chart_in_every_look_and_unit_is_valid_and_has_no_hole_left(look, unit):
    for picture in pictures(look, unit).values():
        alt.Chart.from_dict(picture.inline(600), validate=True)
        assert "@" not in json.dumps(picture.spec)
        assert unit.value in json.dumps(picture.spec)


def test_every_chart_tells_in_words_what_it_shows():
    told = {name: picture.words for name, picture in pictures(Look.LIGHT).items()}
    assert "A: 5.0 kPa at 5.0 L/min" in told["hyperbola"]
    assert "80 % 5.0 to 7.0, 95 % 4.5 to 7.5" in told["intervals"]
    assert "not before 35 min" in told["fan"]
    assert "3 gases" in told["map"]


def test_the_reading_now_is_filled_and_each_proposal_carries_its_letter():
    marks = pictures(Look.PRINT)["hyperbola"].frames["points"]
    assert marks["letter"].to_list() == ["", "A", "B"]
    assert marks["beside"].to_list() == ["now", "", ""]


def test_pressures_are_in_the_display_unit_and_ventilation_is_not_touched():
    kpa, mmhg = (pictures(Look.LIGHT, unit)["hyperbola"].frames["points"] for unit in (KPA, MMHG))
    for column in ("kpa", "low_95_kpa", "high_95_kpa"):
        assert mmhg[column].to_list() == pytest.approx([value * MMHG_PER_KPA for value in kpa[column]])
    assert mmhg["alveolar_l_min"].to_list() == kpa["alveolar_l_min"].to_list()


@pytest.mark.parametrize(("name", "frame"), [("intervals", "rows"), ("fan", "fan"), ("hyperbola", "curve")])
def test_every_bound_of_a_band_is_in_the_display_unit(name, frame):
    kpa, mmhg = (pictures(Look.LIGHT, unit)[name].frames[frame] for unit in (KPA, MMHG))
    for column in titration.CURVE:
        assert mmhg[column].to_list() == pytest.approx([value * MMHG_PER_KPA for value in kpa[column]])


def test_fans_side_by_side_have_the_same_axis_whatever_they_show():
    lower = FAN.with_columns(pl.col(titration.CURVE[2]) - 2.0)
    ends = [
        titration.draw_fan(fan, label="A", earliest_min=30.0, ends_kpa=(4.0, 9.0), look=Look.LIGHT, unit=KPA)
        for fan in (FAN, lower)
    ]
    assert json.dumps(ends[0].spec) == json.dumps(ends[1].spec)


def test_a_pressure_axis_never_shows_less_than_three_kilopascal():
    low, high = titration.span([6.0, 6.1], KPA)
    assert high - low == pytest.approx(titration.LEAST_SPAN_KPA, abs=0.02)
    low, high = titration.span([45.0, 46.0], MMHG)
    assert high - low == pytest.approx(titration.LEAST_SPAN_KPA * MMHG_PER_KPA, abs=0.02)


def test_a_pressure_axis_never_falls_below_zero():
    assert titration.span([0.1], KPA)[0] == 0.0


def brightness(colour):
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return 0.299 * red + 0.587 * green + 0.114 * blue


@pytest.mark.parametrize("look", list(Look))
def test_bands_and_signs_differ_in_lightness_so_that_grey_keeps_them_apart(look):
    palette = PALETTES[look]
    levels = [
        brightness(c) for c in (palette.paper, palette.band_wide, palette.band_narrow, palette.modelled)
    ]
    steps = [abs(one - other) for one, other in itertools.pairwise(levels)]
    assert min(steps) > 12
    assert abs(brightness(palette.ink) - brightness(palette.paper)) > 150


def test_the_path_is_drawn_in_order_of_time_with_each_gas_in_its_own_sign():
    path = pictures(Look.PRINT)["map"].frames["path"]
    assert path["order"].to_list() == [1, 2, 3]
    assert path["glyph"].n_unique() == 3
    assert path["fill"][0] != path["fill"][1]  # filled off the ventilator, hollow on it
    assert path["number"].to_list() == ["1", "2", "3"]


def test_the_line_of_the_path_follows_time_and_not_ph_or_pco2():
    layers = pictures(Look.PRINT)["map"].spec["layer"]
    lines = [layer for layer in layers if layer["data"]["name"] == "path" and layer["mark"]["type"] == "line"]
    assert [line["encoding"]["order"]["field"] for line in lines] == ["order"]


def test_only_the_newest_gases_carry_a_number():
    many = gases(*[("arterial", "off ventilator", 6.0 + i / 20, 7.38) for i in range(9)])
    path = acid_base.draw_map(LINES, ISOLINES, many, look=Look.LIGHT, unit=KPA).frames["path"]
    assert path["number"].to_list() == ["", "", "", "4", "5", "6", "7", "8", "9"]


def test_gases_at_one_place_share_one_number_text():
    same = gases(*[("arterial", "off ventilator", 6.0, 7.38)] * 3, ("arterial", "off ventilator", 6.4, 7.38))
    path = acid_base.draw_map(LINES, ISOLINES, same, look=Look.LIGHT, unit=MMHG).frames["path"]
    assert path["number"].to_list() == ["", "", "1, 2, 3", "4"]


def test_a_gas_far_off_widens_the_map_instead_of_leaving_it():
    far = gases(("arterial", "off ventilator", 13.0, 7.05))
    spec = json.dumps(acid_base.draw_map(LINES, ISOLINES, far, look=Look.LIGHT, unit=KPA).spec)
    assert "13.3" in spec
    assert "7.04" in spec


def test_a_person_without_a_gas_gets_an_empty_map_and_not_an_error():
    picture = acid_base.draw_map(LINES, ISOLINES, gases(), look=Look.LIGHT, unit=KPA)
    alt.Chart.from_dict(picture.inline(600), validate=True)
    assert "without a gas" in picture.words


def test_a_chart_of_one_layout_is_built_once():
    titration.hyperbola_template.cache_clear()
    for _ in range(3):
        pictures(Look.LIGHT)
    assert titration.hyperbola_template.cache_info().misses == 1
