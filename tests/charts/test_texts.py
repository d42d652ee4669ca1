"""Texts of a lane: no two lie on one another, none vanishes without a sign."""

import itertools

from hypothesis import given
from hypothesis import strategies as st

from hvmon.charts.texts import set_out, width_px

FONT, PLOT = 12.0, 800.0
places = st.lists(st.floats(0, PLOT), min_size=1, max_size=30).map(sorted)


def extent(at, placed):
    width = width_px(placed.words.split(" +", maxsplit=1)[0], FONT)
    return (at - width, at) if placed.side == "right" else (at, at + width)


@given(places)
def test_two_texts_of_one_row_never_overlap(at):
    placed = set_out(at, [f"change {i}" for i in range(len(at))], plot_px=PLOT, font_px=FONT, rows=2)
    for row in (0, 1):
        spans = [extent(x, p) for x, p in zip(at, placed, strict=True) if p.words and p.row == row]
        for (_, end), (start, _) in itertools.pairwise(spans):
            assert end <= start


@given(places)
def test_what_has_no_room_is_counted_beside_its_neighbour(at):
    words = [f"change {i}" for i in range(len(at))]
    placed = set_out(at, words, plot_px=PLOT, font_px=FONT, rows=2)
    shown = [p.words for p in placed if p.words]
    counted = sum(int(text.split(" +")[1]) for text in shown if " +" in text)
    assert len(shown) + counted == len(words)


def test_a_text_at_the_right_edge_is_written_to_the_left():
    placed = set_out([790.0], ["IPAP 18→20"], plot_px=PLOT, font_px=FONT, rows=1)
    assert placed[0].side == "right"
