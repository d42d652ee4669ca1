"""The timeline: valid to the schema, one sign a kind and state, no line between unlike readings."""

import json
from datetime import UTC, date, datetime, timedelta

import altair as alt
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hvmon.charts import rows as given_rows
from hvmon.charts.draw import draw_timeline
from hvmon.charts.layout import LAYOUTS, MEETING, REVIEW, Lane
from hvmon.charts.picture import fill, hole
from hvmon.charts.theme import GLYPHS, KINDS, PALETTES, STATES, Look, filled, glyph
from hvmon.charts.timeline import RATINGS, timeline_template
from hvmon.units import MMHG_PER_KPA, PressureUnit
from hvmon.vocabulary import SampleKind, VentilatorState

T0 = datetime(2025, 1, 10, 9, tzinfo=UTC)
FIRST, LAST, TODAY = date(2024, 12, 20), date(2026, 3, 1), date(2026, 2, 1)


def reading(day, kind="arterial", ventilator="off ventilator", oxygen="on air", kpa=6.4, entered="6.4 kPa"):
    return {
        "at": T0 + timedelta(days=day),
        "kind": kind,
        "ventilator": ventilator,
        "oxygen": oxygen,
        "beside": "",
        "pco2_kpa": kpa,
        "entered": entered,
        "series": f"{kind}, {ventilator}, {oxygen}",
        "note": "",
    }


def frame(rows, schema):
    return pl.DataFrame(rows, schema=schema)


def full_rows():
    readings = [reading(10 * i, kind, state) for i, kind in enumerate(KINDS) for state in STATES]
    band = {"low80": 6.0, "high80": 6.6, "low95": 5.8, "high95": 6.9, "centre": 6.3}
    limits = [("GAS-1: > 45 mmHg", 5.9995, "co2"), ("NIGHT-1", 7.3, "nights"), ("USE-1", 4.0, "use")]
    night = {"ventilator": "on ventilator", "oxygen": "on air", "mean_kpa": 6.1, "peak_kpa": 7.0}
    week = {
        "median_h": 7.0,
        "low_h": 5.0,
        "high_h": 9.0,
        "nights": 7,
        "leak_l_min": 12.0,
        "leak_kind": "total, mean",
    }
    return given_rows.TimelineRows(
        readings=frame(readings, given_rows.READINGS),
        limits=frame(
            [dict(zip(("words", "kpa", "lane"), row, strict=True)) for row in limits], given_rows.LIMITS
        ),
        trend=frame([{"at": T0 + timedelta(days=d), **band} for d in (0, 200)], given_rows.TREND),
        changes=frame([{"at": T0, "words": "IPAP 16→18", "detail": "x"}], given_rows.CHANGES),
        nights=frame(
            [{"at": T0, **night, "beside": "T90 4 %", "entered": "mean 6.1 kPa"}], given_rows.NIGHTS
        ),
        symptoms=frame(
            [{"at": T0, "rating": name, "value": 4, "flap": True} for name in RATINGS], given_rows.SYMPTOMS
        ),
        use=frame([{"week": T0 + timedelta(days=7 * w), **week} for w in (0, 1, 5)], given_rows.USE),
        events=frame([{"at": T0, "until": None, "words": "infection", "detail": ""}], given_rows.EVENTS),
    )


def draw(rows, layout=REVIEW, look=Look.LIGHT, unit=PressureUnit.KPA):
    return draw_timeline(
        rows, layout=layout, look=look, unit=unit, zone="Europe/London", first=FIRST, last=LAST, today=TODAY
    )


@pytest.mark.parametrize("look", list(Look))
@pytest.mark.parametrize("layout", list(LAYOUTS.values()), ids=lambda layout: layout.name)
def test_every_layout_in_every_look_is_valid_vega_lite(layout, look):
    alt.Chart.from_dict(draw(full_rows(), layout, look).spec, validate=True)


@pytest.mark.parametrize("layout", list(LAYOUTS.values()), ids=lambda layout: layout.name)
def test_an_empty_record_draws_an_empty_course_and_not_an_error(layout):
    picture = draw(given_rows.TimelineRows(), layout)
    alt.Chart.from_dict(picture.spec, validate=True)
    assert "no readings" in picture.words
    lanes = sum(lane != Lane.LEGEND for lane, _ in layout.heights)
    assert picture.frames["silent"].height == lanes  # each empty lane says that nothing was recorded


def _marks(spec, named=""):
    own = spec.get("data", {}).get("name", named)
    for layer in spec.get("layer", ()):
        yield from _marks(layer, own)
    if "mark" in spec:
        yield own, spec["mark"]


@pytest.mark.parametrize("layout", [REVIEW, MEETING], ids=lambda one: one.name)
def test_a_mark_without_a_row_is_not_a_picture_without_words_to_a_screen_reader(layout):
    for rows in (given_rows.TimelineRows(), full_rows()):
        drawn = draw(rows, layout)
        marks = list(_marks(drawn.spec))
        assert {name for name, _ in marks} <= set(drawn.frames)
        for name, mark in marks:
            assert (mark.get("aria") is False) == drawn.frames[name].is_empty(), (name, mark)


def test_a_lane_with_records_does_not_say_that_nothing_was_recorded():
    assert draw(full_rows()).frames["silent"].is_empty()


def test_no_hole_is_left_in_a_filled_chart():
    assert "@" not in json.dumps(draw(full_rows()).spec)


def test_filling_a_hole_that_is_not_there_is_refused_by_name():
    with pytest.raises(KeyError, match="no hole named 'nothing'"):
        fill(json.dumps({"a": hole("something")}), {"nothing": 1})


def test_every_kind_and_state_has_its_own_sign():
    signs = {(GLYPHS[glyph(kind, state)], filled(kind, state)) for kind in KINDS for state in STATES}
    assert len(signs) == len(KINDS) * len(STATES)


def test_kinds_differ_by_outline_and_not_only_by_colour():
    outlines = {GLYPHS[glyph(kind, VentilatorState.OFF.value)] for kind in KINDS}
    assert len(outlines) == len(KINDS)


def test_off_the_ventilator_is_filled_and_on_it_is_hollow_for_every_kind_with_an_inside():
    for kind in KINDS:
        assert filled(kind, VentilatorState.OFF.value) == (kind != SampleKind.VENOUS.value)
        assert not filled(kind, VentilatorState.ON.value)


def test_a_line_joins_only_readings_of_one_kind_state_and_oxygen():
    links = draw(full_rows_with_pairs()).frames["links"]
    assert links.height > 0
    alike = links.group_by("series").agg(pl.col("kind").n_unique(), pl.col("ventilator").n_unique())
    assert alike["kind"].max() == 1
    assert alike["ventilator"].max() == 1


def full_rows_with_pairs():
    readings = [
        reading(day, kind, state, oxygen)
        for day in (0, 50, 90)
        for kind in KINDS
        for state in STATES
        for oxygen in ("on air", "oxygen 2 L/min")
    ]
    return given_rows.TimelineRows(readings=frame(readings, given_rows.READINGS))


def _lines(spec):
    """Every mark that joins points, with the data it reads and what separates its lines."""
    found = []

    def walk(node, data):
        if isinstance(node, list):
            for value in node:
                walk(value, data)
        if not isinstance(node, dict):
            return
        data = node.get("data", data)
        mark = node.get("mark")
        if (mark.get("type") if isinstance(mark, dict) else mark) in {"line", "trail"}:
            found.append((data["name"], node["encoding"].get("detail", {}).get("field")))
        for value in node.values():
            walk(value, data)

    walk(spec, None)
    return found


def test_no_line_mark_reads_the_readings_and_the_joining_one_is_split_by_series():
    lines = _lines(json.loads(timeline_template("review", Look.LIGHT)))
    assert ("links", "series") in lines
    assert "readings" not in {name for name, _ in lines}


def test_a_single_reading_of_a_series_gets_no_line():
    rows = given_rows.TimelineRows(readings=frame([reading(0), reading(5, "venous")], given_rows.READINGS))
    assert draw(rows).frames["links"].is_empty()


@given(
    st.lists(
        st.tuples(st.integers(0, 380), st.sampled_from(KINDS), st.sampled_from(STATES), st.floats(2.0, 20.0)),
        max_size=25,
    )
)
@settings(max_examples=40, deadline=None)
def test_no_reading_is_lost_between_record_and_chart(drawn):
    readings = [reading(day, kind, state, kpa=kpa) for day, kind, state, kpa in drawn]
    picture = draw(given_rows.TimelineRows(readings=frame(readings, given_rows.READINGS)))
    shown = picture.frames["readings"]
    assert sorted(shown["y"]) == sorted(kpa for *_, kpa in drawn)
    low, high = _co2_domain(picture.spec)
    assert all(low <= value <= high for value in shown["y"])


def _co2_domain(spec):
    place = REVIEW.place(Lane.CO2)
    text = json.dumps(spec)
    start = text.index(f'"range": [{place.bottom}, {place.top}]')
    domain = text.rindex('"domain": [', 0, start) + len('"domain": [')
    return [float(part) for part in text[domain : text.index("]", domain)].split(",")]


def test_the_unit_moves_the_axis_and_never_the_value_as_entered():
    rows = given_rows.TimelineRows(
        readings=frame([reading(0, kpa=6.4, entered="48 mmHg")], given_rows.READINGS)
    )
    kpa, mmhg = draw(rows).frames["readings"], draw(rows, unit=PressureUnit.MMHG).frames["readings"]
    assert mmhg["y"][0] == pytest.approx(kpa["y"][0] * MMHG_PER_KPA)
    assert kpa["entered"].to_list() == mmhg["entered"].to_list() == ["48 mmHg"]


def test_the_axis_shows_the_wall_clock_on_both_sides_of_a_clock_change():
    night = datetime(2025, 3, 30, 0, 30, tzinfo=UTC)  # London: 00:30 before, 02:30 two hours later by the sun
    readings = [{**reading(0), "at": night}, {**reading(0), "at": night + timedelta(hours=1)}]
    shown = draw(given_rows.TimelineRows(readings=frame(readings, given_rows.READINGS))).frames["readings"]
    assert shown["when"].to_list() == ["30 Mar 2025 00:30", "30 Mar 2025 02:30"]


def test_the_legend_names_only_what_the_chart_holds():
    rows = given_rows.TimelineRows(readings=frame([reading(0, "venous")], given_rows.READINGS))
    words = " ".join(draw(rows).frames["legend_texts"]["words"])
    assert "venous" in words
    assert "arterial" not in words
    assert "modelled" not in words
    assert "modelled" in " ".join(draw(full_rows()).frames["legend_texts"]["words"])


def test_the_use_line_breaks_where_no_night_was_recorded():
    assert draw(full_rows()).frames["use"]["run"].n_unique() == 2


def test_a_rating_not_recorded_draws_no_tile():
    symptoms = [{"at": T0, "rating": "breathlessness", "value": None, "flap": False}]
    rows = given_rows.TimelineRows(symptoms=frame(symptoms, given_rows.SYMPTOMS))
    assert draw(rows).frames["ratings"].is_empty()


def test_meeting_text_is_large_enough_to_read_at_three_metres():
    spec = draw(full_rows(), MEETING).spec
    assert MEETING.font_px >= 28
    assert spec["config"]["axis"]["labelFontSize"] >= 28


def test_no_chart_asks_another_machine():
    text = json.dumps(draw(full_rows()).inline())
    assert "url" not in text.replace("$schema", "")
    assert "http" not in json.dumps({k: v for k, v in draw(full_rows()).inline().items() if k != "$schema"})


# --- colours: contrast as defined by WCAG 2.1, 1.4.3 and 1.4.11 ---------------------------------------


def _luminance(colour):
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    lighter, darker = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


@pytest.mark.parametrize("look", list(Look))
def test_texts_and_signs_stand_out_from_paper_and_band(look):
    palette = PALETTES[look]
    for text in (palette.ink, palette.muted, palette.limit):
        assert contrast(text, palette.paper) >= 4.5
    for sign in (*palette.kinds.values(), palette.modelled, palette.warm, palette.cool):
        assert contrast(sign, palette.paper) >= 3
        assert contrast(sign, palette.band_narrow) >= 3
