"""The template of a timeline: every lane on one time axis, as layers of one view.

All lanes are layers of one view with their own vertical scale, so that there is one time axis and not
several that agree. Readings are drawn from the frame `readings`; lines come only from the frame `links`,
whose rows never join unlike readings.
"""

from functools import lru_cache
from typing import Any

import altair as alt

from hvmon.charts.layout import LAYOUTS, Lane, Layout
from hvmon.charts.picture import hole, template
from hvmon.charts.theme import GLYPHS, PALETTES, Look, Palette
from hvmon.vocabulary import Rating

SILENT_PX = 300
"""[px from the left] where an empty lane says so: right of the words of its limits."""

RATINGS: tuple[str, ...] = tuple(rating.value for rating in Rating)


def _x(field: str = "t", *, with_ends: bool = False) -> alt.X:
    """Give the one time axis: milliseconds on the wall clock of the person's zone, ticks set by the caller.

    A number and not a date type: no browser zone can bend it. One layer states the ends for all.
    """
    ends: Any = [hole("x_from"), hole("x_to")] if with_ends else alt.Undefined
    scale = alt.Scale(nice=False, zero=False, domain=ends)
    shown = alt.Axis(
        title=None,
        values=[hole("x_values")],
        labelExpr=hole("x_label"),
        grid=False,
        labelOverlap=True,
        labelFlush=False,
    )
    return alt.X(f"{field}:Q", scale=scale, axis=shown)


def _title(layout: Layout, words: list[str], middle: float) -> dict[str, Any]:
    rows = len(words) * layout.row_px
    return {
        "title": words,
        "titleAngle": 0,
        "titleAlign": "left",
        "titleBaseline": "top",
        "titleX": -layout.margin_px,
        "titleY": middle - rows / 2,
        "orient": "left",
        "minExtent": layout.margin_px,
    }


def _y(
    layout: Layout,
    lane: Lane,
    field: str,
    domain: list[Any],
    words: list[str],
    **axis: Any,  # noqa: ANN401
) -> alt.Y:
    """Give the vertical axis of a numeric lane."""
    place = layout.place(lane)
    scale = alt.Scale(domain=domain, range=[place.bottom, place.top], nice=False, zero=False)
    shown = alt.Axis(**{**_title(layout, words, place.middle), "tickCount": 5, "grid": False, **axis})
    return alt.Y(f"{field}:Q", scale=scale, axis=shown)


def _rows(layout: Layout, lane: Lane, words: list[str]) -> alt.Y:
    """Give the vertical place of a lane of texts: rows counted from its top."""
    place = layout.place(lane)
    count = (place.bottom - place.top) / layout.row_px
    scale = alt.Scale(domain=[0, count], range=[place.top, place.bottom], nice=False, zero=False)
    shown = alt.Axis(
        **_title(layout, words, place.middle), labels=False, ticks=False, domain=False, grid=False
    )
    return alt.Y("row:Q", scale=scale, axis=shown)


def _named(name: str) -> alt.Chart:
    chart: alt.Chart = alt.Chart(alt.NamedData(name))
    return chart


def _layers(*charts: alt.Chart | alt.LayerChart) -> alt.LayerChart:
    """Lay charts over one another, on one vertical axis."""
    lane: alt.LayerChart = alt.layer(*charts).resolve_scale(y="shared")
    return lane


def _on_paper(text: alt.Chart, palette: Palette, layout: Layout) -> list[alt.Chart]:
    """Give a text with a rim of paper behind it, so that lines and signs do not run through it."""
    rim = text.copy()
    rim.mark = rim.mark.copy()
    rim.mark.stroke, rim.mark.strokeWidth, rim.mark.fill = palette.paper, layout.font_px / 3, palette.paper
    return [rim, text]


def _rules_of_changes(layout: Layout, palette: Palette) -> alt.Chart:
    """Draw a thin dashed line down all lanes at each settings change."""
    top = layout.place(Lane.SETTINGS).top if layout.shows(Lane.SETTINGS) else 0
    mark = _named("changes").mark_rule(
        strokeDash=[2, 3], stroke=palette.muted, strokeWidth=layout.line_px, clip=True
    )
    rules: alt.Chart = mark.encode(x=_x(), y=alt.value(top), y2=alt.value(layout.height_px))
    return rules


def _today(layout: Layout, palette: Palette) -> alt.LayerChart:
    """Draw the line of today; what lies right of the last reading is not known."""
    place = layout.place(Lane.CO2)
    rule = _named("today").mark_rule(stroke=palette.ink, strokeWidth=layout.line_px, clip=True)
    text = _named("today").mark_text(
        align="right", baseline="top", dx=-4, dy=1, fontSize=layout.font_px, fill=palette.muted
    )
    return _layers(
        rule.encode(x=_x(with_ends=True), y=alt.value(place.top), y2=alt.value(layout.height_px)),
        text.encode(x=_x(), y=alt.value(place.top), text="words:N"),
    )


def _legend(layout: Layout, palette: Palette) -> alt.LayerChart:
    """Draw the legend: only signs that this person's chart holds, with their words."""
    x = alt.X("px:Q", scale=None, axis=None)
    y = alt.Y("py:Q", scale=None, axis=None)
    signs = _named("legend_signs").mark_point(
        size=layout.sign_px2, strokeWidth=layout.line_px * 1.4, opacity=1
    )
    boxes = _named("legend_boxes").mark_rect()
    texts = _named("legend_texts").mark_text(align="left", baseline="middle", fontSize=layout.font_px)
    return _layers(
        boxes.encode(
            x=x,
            x2="px2:Q",
            y=y,
            y2="py2:Q",
            fill=alt.Fill("fill:N", scale=None),
            stroke=alt.Stroke("stroke:N", scale=None),
        ),
        signs.encode(
            x=x,
            y=y,
            shape=_shape(),
            fill=alt.Fill("fill:N", scale=None),
            stroke=alt.Stroke("stroke:N", scale=None),
        ),
        texts.encode(x=x, y=y, text="words:N", color=alt.value(palette.ink)),
    )


def _shape() -> alt.Shape:
    scale = alt.Scale(domain=list(GLYPHS), range=list(GLYPHS.values()))
    return alt.Shape("glyph:N", scale=scale, legend=None)


def _settings(layout: Layout, palette: Palette) -> alt.LayerChart:
    """Draw the lane of settings changes: a tick at the moment, words beside it."""
    y = _rows(layout, Lane.SETTINGS, ["Settings"])
    marks = _named("change_words").mark_text(
        align=alt.expr("datum.side"), dx=alt.expr("datum.dx"), baseline="middle", fontSize=layout.font_px
    )
    fill = alt.value(palette.ink)
    tooltip = [alt.Tooltip("when:N", title="changed"), alt.Tooltip("detail:N", title="settings")]
    return _layers(marks.encode(x=_x(), y=y, text="words:N", fill=fill, tooltip=tooltip))


_READING_TOOLTIP = [
    alt.Tooltip("when:N", title="taken"),
    alt.Tooltip("kind:N", title="sample"),
    alt.Tooltip("entered:N", title="as entered"),
    alt.Tooltip("ventilator:N", title="ventilator"),
    alt.Tooltip("oxygen:N", title="oxygen"),
    alt.Tooltip("note:N", title="note"),
]


def _band(layout: Layout, palette: Palette, y: alt.Y) -> list[alt.Chart]:
    """Draw the modelled usual level: two bands and a dashed middle, apart from the readings."""
    wide = _named("trend").mark_area(fill=palette.band_wide, clip=True)
    narrow = _named("trend").mark_area(fill=palette.band_narrow, clip=True)
    middle = _named("trend").mark_line(
        stroke=palette.modelled, strokeDash=[6, 3], strokeWidth=layout.line_px * 1.3, clip=True
    )
    return [
        wide.encode(x=_x(), y=_as(y, "low95"), y2="high95:Q"),
        narrow.encode(x=_x(), y=_as(y, "low80"), y2="high80:Q"),
        middle.encode(x=_x(), y=_as(y, "centre")),
    ]


def _as(y: alt.Y, field: str) -> alt.Y:
    """Give the same axis for another field."""
    copy = y.copy()
    copy.shorthand = f"{field}:Q"
    return copy


def _readings(layout: Layout, palette: Palette, y: alt.Y) -> list[alt.Chart]:
    """Draw thin lines within like series, then every reading as its sign, then the oxygen beside it."""
    links = _named("links").mark_line(
        strokeWidth=layout.line_px, opacity=0.75, interpolate="linear", clip=True
    )
    signs = _named("readings").mark_point(
        size=layout.sign_px2, strokeWidth=layout.line_px * 1.4, opacity=1, strokeJoin="round"
    )
    beside = _named("readings").mark_text(
        align="left", dx=layout.font_px * 0.75, dy=-layout.font_px * 0.6, fontSize=layout.font_px * 0.85
    )
    stroke = alt.Stroke("stroke:N", scale=None)
    return [
        links.encode(x=_x(), y=y, detail="series:N", stroke=stroke),
        signs.encode(
            x=_x(),
            y=y,
            shape=_shape(),
            fill=alt.Fill("fill:N", scale=None),
            stroke=stroke,
            tooltip=_READING_TOOLTIP,
        ),
        beside.encode(x=_x(), y=y, text="beside:N", fill=alt.value(palette.muted)),
    ]


def _limits(layout: Layout, palette: Palette, y: alt.Y) -> list[alt.Chart]:
    """Draw the limits of the rules in force, each with its id and native value."""
    rule = _named("limits").mark_rule(
        stroke=palette.limit, strokeDash=[10, 4], strokeWidth=layout.line_px * 1.2, clip=True
    )
    text = _named("limits").mark_text(
        align="left",
        baseline="bottom",
        dx=4,
        dy=-2,
        fill=palette.limit,
        fontSize=layout.font_px,
        fontWeight=600,
    )
    return [rule.encode(y=y), *_on_paper(text.encode(x=alt.value(0), y=y, text="words:N"), palette, layout)]


def _co2(layout: Layout, palette: Palette) -> alt.LayerChart:
    ends = [hole("co2_low"), hole("co2_high")]
    y = _y(layout, Lane.CO2, "y", ends, ["PCO2", hole("unit")], grid=True)
    return _layers(
        *_band(layout, palette, y),
        *_limits(layout, palette, y),
        *_readings(layout, palette, y),
    )


def _nights(layout: Layout, palette: Palette) -> alt.LayerChart:
    """Draw each night's transcutaneous CO2 from its mean to its peak; hollow on the ventilator."""
    words = ["Night tcCO2", "mean to peak", hole("unit")]
    y = _y(layout, Lane.NIGHTS, "mean", [hole("night_low"), hole("night_high")], words, tickCount=3)
    tooltip = [
        alt.Tooltip("when:N", title="night of"),
        alt.Tooltip("entered:N", title="as entered"),
        alt.Tooltip("ventilator:N", title="ventilator"),
        alt.Tooltip("oxygen:N", title="oxygen"),
        alt.Tooltip("beside:N", title="SpO2"),
    ]
    bars = _named("nights").mark_bar(width=7, strokeWidth=1.2, clip=True)
    stroke, fill = alt.Stroke("stroke:N", scale=None), alt.Fill("fill:N", scale=None)
    texts = _named("nights").mark_text(
        align="left", dx=8, baseline="top", fontSize=layout.font_px * 0.85, fill=palette.muted
    )
    limit = _named("night_limits").mark_rule(
        stroke=palette.limit, strokeDash=[10, 4], strokeWidth=layout.line_px
    )
    limit_text = _named("night_limits").mark_text(
        align="left", baseline="bottom", dx=4, dy=-1, fill=palette.limit, fontSize=layout.font_px * 0.9
    )
    return _layers(
        limit.encode(y=_as(y, "y")),
        bars.encode(x=_x(), y=y, y2="peak:Q", stroke=stroke, fill=fill, tooltip=tooltip),
        *_on_paper(limit_text.encode(x=alt.value(0), y=_as(y, "y"), text="words:N"), palette, layout),
        *_on_paper(texts.encode(x=_x(), y=y, text="beside:N"), palette, layout),
    )


def _symptoms(layout: Layout, palette: Palette) -> alt.LayerChart:
    """Draw the ratings: one row a symptom, a tile that darkens with the rating, its number inside."""
    place = layout.place(Lane.SYMPTOMS)
    step = (place.bottom - place.top) / len(RATINGS)
    scale = alt.Scale(domain=[0, len(RATINGS)], range=[place.top, place.bottom], nice=False, zero=False)
    names = "[" + ",".join(f"'{name}'" for name in RATINGS) + "]"
    axis = alt.Axis(
        title=None,
        orient="left",
        values=[index + 0.5 for index in range(len(RATINGS))],
        labelExpr=f"{names}[floor(datum.value)]",
        labelAlign="left",
        labelPadding=layout.margin_px - 4,
        labelLimit=layout.margin_px,
        ticks=False,
        domain=False,
        grid=False,
    )
    y = alt.Y("low:Q", scale=scale, axis=axis)
    tooltip = [
        alt.Tooltip("when:N", title="asked"),
        alt.Tooltip("rating:N", title="symptom"),
        alt.Tooltip("said:N", title="rating, 0 none to 10 worst"),
    ]
    base = _named("ratings")
    tiles = base.mark_bar(width=alt.expr("datum.width"), fill=palette.bar, clip=True)
    texts = base.mark_text(fontSize=min(layout.font_px, step * 0.85), baseline="middle", fill=palette.ink)
    flap = _named("flaps").mark_text(
        fontSize=layout.font_px, baseline="bottom", fill=palette.limit, fontWeight=600
    )
    return _layers(
        tiles.encode(x=_x(), y=y, y2="high:Q", opacity=alt.Opacity("tint:Q", scale=None), tooltip=tooltip),
        texts.encode(x=_x(), y=_as(y, "middle"), text="words:N", tooltip=tooltip),
        flap.encode(x=_x(), y=_as(y, "low"), text="words:N"),
    )


def _use(layout: Layout, palette: Palette) -> alt.LayerChart:
    """Draw hours of use: the week's median, from its shortest to its longest night."""
    y = _y(layout, Lane.USE, "median", [0, hole("use_top")], ["Use, h/night", "week's median"], tickCount=3)
    tooltip = [
        alt.Tooltip("when:N", title="week from"),
        alt.Tooltip("said:N", title="hours a night"),
        alt.Tooltip("nights:Q", title="nights recorded"),
    ]
    base = _named("use")
    span = base.mark_rule(stroke=palette.bar, strokeWidth=3, clip=True)
    line = base.mark_line(
        stroke=palette.cool, strokeWidth=layout.line_px * 1.4, interpolate="step", clip=True
    )
    point = base.mark_point(filled=True, fill=palette.cool, size=14, opacity=1, clip=True)
    limit = _named("use_limits").mark_rule(
        stroke=palette.limit, strokeDash=[10, 4], strokeWidth=layout.line_px
    )
    return _layers(
        span.encode(x=_x(), y=_as(y, "low"), y2="high:Q", tooltip=tooltip),
        line.encode(x=_x(), y=y, detail="run:N"),
        point.encode(x=_x(), y=y, tooltip=tooltip),
        limit.encode(y=_as(y, "y")),
    )


def _leak(layout: Layout, palette: Palette) -> alt.LayerChart:
    """Draw the leak: the week's median of one kind of leak a line."""
    y = _y(layout, Lane.LEAK, "leak", [0, hole("leak_top")], ["Leak, L/min", "week's median"], tickCount=2)
    base = _named("leak")
    line = base.mark_line(
        stroke=palette.warm, strokeWidth=layout.line_px * 1.4, interpolate="step", clip=True
    )
    point = base.mark_point(filled=True, fill=palette.warm, size=12, opacity=1, clip=True)
    tooltip = [alt.Tooltip("when:N", title="week from"), alt.Tooltip("said:N", title="leak")]
    return _layers(
        line.encode(x=_x(), y=y, detail="run:N"),
        point.encode(x=_x(), y=y, tooltip=tooltip),
    )


def _events(layout: Layout, palette: Palette) -> alt.LayerChart:
    """Draw the lane of events: a bar for its span, words beside it."""
    y = _rows(layout, Lane.EVENTS, ["Events"])
    spans = _named("events").mark_rule(stroke=palette.warm, strokeWidth=6, clip=True)
    ticks = _named("events").mark_tick(
        orient="vertical", color=palette.warm, thickness=2, size=layout.row_px * 0.8
    )
    texts = _named("events").mark_text(
        align=alt.expr("datum.side"), dx=alt.expr("datum.dx"), baseline="middle", fontSize=layout.font_px
    )
    tooltip = [alt.Tooltip("when:N", title="on"), alt.Tooltip("detail:N", title="event")]
    return _layers(
        spans.encode(x=_x(), x2="t2:Q", y=y),
        ticks.encode(x=_x(), y=y, tooltip=tooltip),
        texts.encode(x=_x("tx"), y=y, text="words:N", fill=alt.value(palette.ink), tooltip=tooltip),
    )


def _silent(layout: Layout, palette: Palette) -> alt.Chart:
    """Say in an empty lane that nothing was recorded; an empty lane alone could be a fault."""
    text = _named("silent").mark_text(
        align="left", baseline="middle", fill=palette.muted, fontSize=layout.font_px
    )
    said: alt.Chart = text.encode(
        x=alt.value(SILENT_PX),
        y=alt.Y("y:Q", scale=None, axis=None),
        text=alt.value("nothing recorded in this period"),
    )
    return said


_DRAWN = {
    Lane.LEGEND: _legend,
    Lane.SETTINGS: _settings,
    Lane.CO2: _co2,
    Lane.NIGHTS: _nights,
    Lane.SYMPTOMS: _symptoms,
    Lane.USE: _use,
    Lane.LEAK: _leak,
    Lane.EVENTS: _events,
}


@lru_cache(maxsize=8)
def timeline_template(layout_name: str, look: Look) -> str:
    """Give the template text of a layout in a look; built once."""
    layout, palette = LAYOUTS[layout_name], PALETTES[look]
    lanes = [_DRAWN[lane](layout, palette) for lane, _ in layout.heights]
    chart = alt.layer(
        _rules_of_changes(layout, palette), _today(layout, palette), _silent(layout, palette), *lanes
    )
    whole = chart.resolve_scale(y="independent", x="shared").properties(height=layout.height_px)
    return template(whole.to_dict(validate=False), look, layout.font_px)
