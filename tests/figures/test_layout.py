"""Nothing written in a figure is cut off, lies over other writing, or is too small to read."""

import functools
import itertools

import pytest
from matplotlib import style
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from qualify.figures.page import spread, text_width_mm, wrap
from qualify.figures.palette import SMALL_PT, STYLE
from tests.figures.examples import EVENTS, FIGURES


def texts_of(figure):
    """Visible texts with their boxes in pixels, as the Agg renderer lays them out."""
    with style.context(STYLE, after_reset=True):  # as `render` does
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        renderer = canvas.get_renderer()
        seen = [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]
        return [(text, text.get_window_extent(renderer)) for text in seen]


@functools.cache
def example(name):
    figure = FIGURES[name]()
    return figure, texts_of(figure)


@pytest.mark.parametrize("name", FIGURES)
def test_no_text_is_cut_off_or_lies_over_another(name):
    figure, found = example(name)
    assert found
    sheet = figure.bbox
    outside = [
        text.get_text()
        for text, box in found
        if box.x0 < 0 or box.y0 < 0 or box.x1 > sheet.x1 or box.y1 > sheet.y1
    ]
    assert outside == []
    over = [
        (a.get_text(), b.get_text())
        for (a, one), (b, other) in itertools.combinations(found, 2)
        if min(one.x1, other.x1) - max(one.x0, other.x0) > 0.5
        and min(one.y1, other.y1) - max(one.y0, other.y0) > 1.5
    ]
    assert over == []


@pytest.mark.parametrize("name", FIGURES)
def test_no_text_is_smaller_than_six_and_a_half_points(name):
    assert min(text.get_fontsize() for text, _ in example(name)[1]) >= SMALL_PT == 6.5


@pytest.mark.parametrize("name", FIGURES)
def test_synthetic_is_printed_at_the_edge_where_asked_and_nowhere_else(name):
    marks = [box for text, box in example(name)[1] if text.get_text() == "SYNTHETIC"]
    assert len(marks) == (
        name
        in {
            "ladder",
            "coupon without targets",
            "coupon compact",
            "pod six",
            "pod none",
            "sizing six",
            "sizing errors six",
            "false calls",
            "events",
            "modes on one plot",
            "size and depth",
            "methods",
            "beside twins, one",
            "modes covered",
        }
    )
    assert all(box.y1 < 4.6 / 25.4 * 150 for box in marks)


def test_labels_move_as_little_as_possible_and_keep_their_order():
    assert spread([10, 11, 30], [4, 4, 4], 0, 40, 1) == pytest.approx([8, 13, 30])
    assert spread([0, 0], [4, 4], 0, 40, 1) == pytest.approx([2, 7])
    assert spread([0, 0], [4, 4], 0, 8, 1) is None


def test_a_long_word_is_broken_and_every_line_fits():
    lines = wrap("short " + "x" * 80 + " end", 30.0)
    assert "".join(lines).replace(" ", "") == "short" + "x" * 80 + "end"
    assert max(map(text_width_mm, lines)) <= 30.0


def test_events_stand_in_order_of_time_whatever_the_order_of_the_list():
    found = {text.get_text(): box for text, box in example("events")[1]}
    named = (
        "Plan frozen: claim, modes, thresholds, criteria",
        "Reader R1 starts",
        "Reader R2 starts",
        "Truth opened",
        "Sectioning of the twin coupon",
    )
    heights = [found[name].y0 for name in named]
    assert heights == sorted(heights, reverse=True)
    assert len({event.status for event in EVENTS}) == 3
