"""Figures of responses, noise and their trade: what is drawn is what was given, and is legible."""

import dataclasses
import functools
import itertools
import math
import random

import numpy as np
import pytest
from matplotlib import style
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from qualify.figures.axes_parts import split_line
from qualify.figures.near_labels import near_labels
from qualify.figures.noise import NoisePanel, noise_alt_text, noise_figure
from qualify.figures.palette import SMALL_PT, STYLE, new_figure
from qualify.figures.response import ResponsePanel, response_alt_text, response_figure
from qualify.figures.response_checks import response_checks_alt_text, response_checks_figure
from qualify.figures.scale import Scale, level, level_scale, size_scale, ticks_of
from qualify.figures.trade import TradePanel, trade_alt_text, trade_figure
from tests.figures.response_examples import (
    BUNCHED,
    CROWDED,
    FIGURES,
    FIVE_NOISES,
    FOUR_TRADES,
    NO_LINE,
    SIX_RESPONSES,
    THREE_CHECKS,
    trade_line,
)

MARKED = {"response six", "response one", "checks three", "noise five", "trade four"}


def found(figure, gid):
    return figure.findobj(lambda artist: artist.get_gid() == gid)


def xy(figure, gid):
    return found(figure, gid)[0].get_xydata()


def written(figure):
    return [text.get_text() for text in figure.axes[0].texts]


@functools.cache
def example(name):
    figure = FIGURES[name]()
    with style.context(STYLE, after_reset=True):  # as `render` does
        canvas = FigureCanvasAgg(figure)
        canvas.draw()
        renderer = canvas.get_renderer()
        seen = [t for t in figure.findobj(Text) if t.get_visible() and t.get_text().strip()]
        boxes = [(text, text.get_window_extent(renderer)) for text in seen]
        return figure, boxes, np.asarray(canvas.buffer_rgba())[..., :3].min(axis=2)


@pytest.mark.parametrize("name", FIGURES)
def test_no_text_is_cut_off_lies_over_another_or_is_too_small(name):
    figure, texts, _ = example(name)
    sheet = figure.bbox
    assert texts
    assert min(text.get_fontsize() for text, _ in texts) >= SMALL_PT
    outside = [
        text.get_text()
        for text, box in texts
        if box.x0 < 0 or box.y0 < 0 or box.x1 > sheet.x1 or box.y1 > sheet.y1
    ]
    assert outside == []
    over = [
        (a.get_text(), b.get_text())
        for (a, one), (b, other) in itertools.combinations(texts, 2)
        if min(one.x1, other.x1) - max(one.x0, other.x0) > 0.5
        and min(one.y1, other.y1) - max(one.y0, other.y0) > 1.5
    ]
    assert over == []


@pytest.mark.parametrize("name", FIGURES)
def test_no_ink_touches_the_edge_of_the_page(name):
    pixels = example(name)[2]
    sides = [pixels[0], pixels[:, 0]]
    if name not in MARKED:  # their frame stands at the lower right edge
        sides += [pixels[-1], pixels[:, -1]]
    assert all((side == 255).all() for side in sides)


def test_marks_are_printed_where_asked():
    for name in FIGURES:
        told = {text.get_text() for text, _ in example(name)[1]} & {"SYNTHETIC", "SIMULATED"}
        assert bool(told) == (name in MARKED)


# Responses


def test_recorded_responses_stand_at_their_values_and_limits_at_theirs():
    figure = response_figure(SIX_RESPONSES)
    for k, panel in enumerate(SIX_RESPONSES):
        for name, sizes, values in (
            ("exact", panel.exact_sizes, panel.exact_responses),
            ("left", panel.left_sizes, panel.left_limits),
            ("right", panel.right_sizes, panel.right_limits),
            ("missed", panel.missed_sizes, panel.missed_limits),
        ):
            assert len(found(figure, f"response-{k}-{name}")) == bool(sizes)
            if sizes:
                drawn = xy(figure, f"response-{k}-{name}")
                np.testing.assert_array_equal(drawn[:, 0], sizes)
                if panel is not CROWDED or name == "exact":
                    np.testing.assert_array_equal(drawn[:, 1], values)


def test_marks_that_coincide_are_stacked_only_the_way_the_response_can_lie():
    figure = response_figure((CROWDED,), width_mm=85)
    left, missed = xy(figure, "response-0-left"), xy(figure, "response-0-missed")
    right = xy(figure, "response-0-right")
    assert left[:, 1].max() <= -40.0
    assert missed[:, 1].max() == -35.0
    assert right[:, 1].min() == -15.0
    assert len({tuple(p) for p in (*left, *missed)}) == 49  # none hides another
    low, high = figure.axes[1].get_ylim()
    assert low < min(left[:, 1].min(), missed[:, 1].min())
    assert right[:, 1].max() < high
    assert any("coincide" in text for text in written(figure))
    assert not any("coincide" in text for text in written(response_figure(SIX_RESPONSES[:1])))


def test_the_four_kinds_of_target_differ_by_shape():
    figure = response_figure(SIX_RESPONSES)
    shapes = []
    for name in ("exact", "left", "right", "missed"):
        marker = found(figure, f"response-0-{name}")[0].get_marker()
        shapes.append(marker if isinstance(marker, str) else tuple(map(tuple, marker.vertices)))
    assert len(set(shapes)) == 4
    # base at the limit, tip where the response can lie
    assert min(y for _, y in shapes[1]) < 0 == max(y for _, y in shapes[1])
    assert max(y for _, y in shapes[2]) > 0 == min(y for _, y in shapes[2])


def test_the_line_is_solid_in_the_tested_range_and_dashed_outside_with_its_band():
    panel = SIX_RESPONSES[0]
    figure = response_figure((panel,))
    sizes = np.array(panel.line_sizes)
    tested = (sizes >= 0.2) & (sizes <= 4.0)
    for name, values in (
        ("line", panel.line_responses),
        ("band-low", panel.band_low),
        ("band-high", panel.band_high),
    ):
        inside = found(figure, f"response-0-{name}")[0]
        outside = found(figure, f"response-0-{name}-outside")[0]
        np.testing.assert_array_equal(np.isfinite(inside.get_ydata()), tested)
        np.testing.assert_array_equal(inside.get_ydata()[tested], np.array(values)[tested])
        assert np.isfinite(outside.get_ydata()[~tested]).all()
        assert (np.isfinite(outside.get_ydata()) & tested).sum() == 2  # they meet
        assert not inside._dash_pattern[1]
        assert outside._dash_pattern[1]


def test_a_line_keeps_its_gaps_and_refuses_values_that_differ_in_number():
    axes = new_figure(50, 50).add_subplot()
    split_line(axes, ((1.0, 2.0, 3.0), (None, 0.5, 0.6)), None, ({}, {}), "line")
    assert np.isnan(axes.lines[0].get_ydata()).tolist() == [True, False, False]
    assert len(axes.lines) == 1
    with pytest.raises(ValueError, match="found 2 and 1"):
        split_line(axes, ((1.0, 2.0), (1.0,)), None, ({}, {}), "line")


def test_levels_and_sizes_are_drawn_through_the_axes_or_named_with_an_arrow():
    first, second, third = SIX_RESPONSES[:3]
    axes = response_figure((first,)).axes[1]
    across = {line.get_ydata()[0] for line in axes.lines if list(line.get_xdata()) == [0, 1]}
    along = {line.get_xdata()[0] for line in axes.lines if list(line.get_ydata()) == [0, 1]}
    assert across == {first.threshold, first.floor, first.ceiling}
    assert along == {first.a90, first.a90_95, first.limit}
    assert "30.00 →" in written(response_figure((second,)))
    texts = written(response_figure((third,)))
    assert "1.00 ↑" in texts
    assert "1×10⁻⁷ ↓" in texts
    assert "0.00025" in texts


def test_without_a_line_the_reason_stands_in_its_place():
    figure = response_figure((NO_LINE,))
    assert found(figure, "response-0-line") == []
    assert any(text.startswith("No line was fitted: fewer") for text in written(figure))
    bare = dataclasses.replace(NO_LINE, message=None)
    assert "No line was fitted." in written(response_figure((bare,)))
    assert "No targets." in written(response_figure(SIX_RESPONSES[5:]))


def test_what_cannot_be_drawn_is_refused():
    odd = ResponsePanel("odd", "size", "mm", "response", "dB", (1.0, 2.0), (3.0,))
    with pytest.raises(ValueError, match=r"odd: 2 sizes and 1 responses of kind 'exact'"):
        response_figure((odd,))
    negative = dataclasses.replace(SIX_RESPONSES[0], log_response=True)
    with pytest.raises(ValueError, match="responses on a logarithmic axis"):
        response_figure((negative,))
    nothing = ResponsePanel("zero", "size", "mm", "response", "dB", (0.0,), (1.0,))
    with pytest.raises(ValueError, match=r"sizes .* found 0.0"):
        response_figure((nothing,))


# Checks


def test_checks_draw_residuals_trend_band_and_stems_as_given():
    panel = THREE_CHECKS[0]
    figure = response_checks_figure((panel,))
    for gid, xs, ys in (
        ("exact", panel.exact_sizes, panel.exact_residuals),
        ("left", panel.left_sizes, panel.left_residuals),
        ("right", panel.right_sizes, panel.right_residuals),
        ("trend", panel.trend_sizes, panel.trend_residuals),
        ("heads", panel.influence_sizes, panel.influence_changes),
    ):
        np.testing.assert_array_equal(xy(figure, f"checks-0-{gid}"), np.column_stack([xs, ys]))
    stems = found(figure, "checks-0-stems")[0].get_segments()
    assert [tuple(s[:, 1]) for s in stems] == [(0.0, c) for c in panel.influence_changes]
    band = found(figure, "checks-0-band")[0].get_paths()[0].vertices
    for low, high, q in zip(panel.band_low, panel.band_high, panel.quantiles, strict=True):
        heights = band[np.isclose(band[:, 0], q), 1]
        assert {heights.min(), heights.max()} == {low, high}


def test_the_tail_that_decides_is_drawn_apart_by_shape():
    panel = THREE_CHECKS[0]
    figure = response_checks_figure((panel,))
    tail = [q for q, told in zip(panel.quantiles, panel.deciding, strict=True) if told]
    assert tail == list(xy(figure, "checks-0-deciding")[:, 0])
    others = found(figure, "checks-0-others")[0]
    assert len(others.get_xdata()) == len(panel.quantiles) - len(tail)
    assert others.get_marker() != found(figure, "checks-0-deciding")[0].get_marker()
    identity = xy(figure, "checks-0-identity")
    np.testing.assert_array_equal(identity[:, 0], identity[:, 1])


def test_the_five_largest_influences_are_named_near_their_stems():
    panel = THREE_CHECKS[0]
    ranked = sorted(
        zip(panel.influence_changes, panel.influence_ids, strict=True), key=lambda p: -abs(p[0])
    )
    texts = written(response_checks_figure((panel,)))
    assert {name for _, name in ranked[:5]} == {t for t in texts if t in panel.influence_ids}
    told = response_checks_alt_text((panel,))
    assert all(name in told for _, name in ranked[:5])
    assert ranked[5][1] not in told
    bunched = written(response_checks_figure((BUNCHED,)))
    assert {f"…07-target-{k}" for k in range(5)} <= set(bunched)


def test_labels_lie_over_no_other_and_inside_their_field():
    dice = random.Random(3)
    for _ in range(10):
        heads = [(dice.uniform(18, 24), dice.uniform(10, 14)) for _ in range(5)]
        widths = [dice.uniform(6, 16) for _ in heads]
        stems = [(x, 20.0, y) for x, y in heads]
        places = near_labels(heads, widths, 2.9, (0.0, 0.0, 42.0, 42.0), stems)
        assert None not in places
        for (x, y), width in zip(places, widths, strict=True):
            assert width / 2 <= x <= 42.0 - width / 2
            assert 1.45 <= y <= 42.0 - 1.45
        for (a, one), (b, other) in itertools.combinations(zip(places, widths, strict=True), 2):
            assert abs(a[0] - b[0]) >= (one + other) / 2 or abs(a[1] - b[1]) >= 2.9
    assert near_labels([(5, 5)], [50.0], 2.9, (0, 0, 42, 42), []) == [None]
    alone = near_labels([(20, 5)], [8.0], 2.9, (0, 0, 42, 42), [(20, 20, 5)])[0]
    assert math.dist(alone, (20, 5)) < 6.0
    assert abs(alone[0] - 20) >= 4.0 or alone[1] <= 5 - 1.45  # not over its own stem


# Noise


def test_the_share_of_units_steps_down_at_each_peak():
    """Share of units with a peak above t: at each of n peaks it falls by 1 / units."""
    panel = NoisePanel("N", "threshold", "dB", (-40.0, -44.0, -42.0), 1, -45.0)
    figure = noise_figure((panel,))
    drawn = xy(figure, "noise-0-steps")
    assert drawn[:, 0].tolist() == [-45.0, -44.0, -44.0, -42.0, -42.0, -40.0, -40.0]
    assert drawn[:-1, 1].tolist() == [0.75, 0.75, 0.5, 0.5, 0.25, 0.25]
    assert drawn[-1, 1] < figure.axes[1].get_ylim()[0]
    assert "4 blank units, 3 with a peak recorded; 1 without one, so at most −45.00 dB" in " ".join(
        written(figure)
    )
    full = dataclasses.replace(panel, censored=0, censored_at=None)
    figure = noise_figure((full,))
    steps = xy(figure, "noise-0-steps")
    assert steps[0].tolist() == [figure.axes[1].get_xlim()[0], 1.0]


def test_law_bound_and_thresholds_stand_where_they_were_given():
    panel = FIVE_NOISES[0]
    figure = noise_figure((panel,))
    for gid, xs, ys in (
        ("law", panel.law_levels, panel.law_fractions),
        ("bound", panel.bound_levels, panel.bound_fractions),
        ("other-0", panel.others[0].levels, panel.others[0].fractions),
        ("frozen", [-36.0], [0.0082]),
        ("frozen-upper", [-36.0, -36.0], [0.0082, 0.0113]),
        ("error", [-36.5 - 0.62, -36.5 + 0.62], [0.01, 0.01]),
    ):
        np.testing.assert_array_equal(xy(figure, f"noise-0-{gid}"), np.column_stack([xs, ys]))
    axes = figure.axes[1]
    along = {line.get_xdata()[0] for line in axes.lines if list(line.get_ydata()) == [0, 1]}
    assert along == {-36.5, -36.0}
    assert [0.01, 0.01] in [list(line.get_ydata()) for line in axes.lines]
    dashes = [
        found(figure, f"noise-0-{g}")[0]._dash_pattern[1] for g in ("law", "bound", "other-0")
    ]
    assert dashes[0] is None or not dashes[0]
    assert dashes[1] != dashes[2]
    assert {"−36.50 ± 0.62", "−36.00", "for 1 %", "in use"} <= set(written(figure))


def test_a_threshold_whose_rate_is_not_known_has_a_line_and_no_rate():
    panel = FIVE_NOISES[2]
    figure = noise_figure((panel,))
    assert found(figure, "noise-0-frozen") == []
    assert found(figure, "noise-0-law") == []
    assert "−40.00" in written(figure)
    assert panel.message in written(figure)
    assert "threshold for it none" in noise_alt_text((panel,))


# POD against false calls


def test_pod_against_false_calls_is_drawn_as_given_and_grey_where_extrapolated():
    panel = FOUR_TRADES[0]
    figure = trade_figure((panel,))
    for k, line in enumerate(panel.lines):
        rates = np.array(line.rates)
        known = (rates >= 0.002) & (rates <= 0.4)
        for name, values in (("line", line.pod), ("bound", line.bound)):
            inside = found(figure, f"trade-0-{name}-{k}")[0]
            outside = found(figure, f"trade-0-{name}-{k}-outside")[0]
            values = np.array(values, dtype=float)
            np.testing.assert_array_equal(inside.get_xdata(), rates)
            np.testing.assert_array_equal(inside.get_ydata()[known], values[known])
            assert np.isnan(inside.get_ydata()[~known]).all()
            np.testing.assert_array_equal(outside.get_ydata()[~known], values[~known])
            assert inside._dash_pattern[1] != outside._dash_pattern[1]
        assert xy(figure, f"trade-0-frozen-{k}").tolist() == [[0.012, line.frozen_pod]]
        down = xy(figure, f"trade-0-down-{k}")
        assert down.tolist() == [[0.012, line.frozen_pod], [0.012, line.frozen_bound]]
        across = xy(figure, f"trade-0-interval-{k}")
        assert across.tolist() == [[0.004, line.frozen_pod], [0.031, line.frozen_pod]]
    shapes = [found(figure, f"trade-0-frozen-{k}")[0].get_marker() for k in range(3)]
    assert len(set(shapes)) == 3
    assert shapes == [found(figure, f"trade-0-line-{k}")[0].get_marker() for k in range(3)]


def test_a_size_has_the_same_mark_in_every_panel():
    figure = trade_figure(FOUR_TRADES)
    of_1_5 = [
        found(figure, f"trade-{p}-line-{k}")[0].get_marker() for p, k in ((0, 1), (1, 0), (2, 0))
    ]
    assert len(set(of_1_5)) == 1


def test_an_interval_that_reaches_zero_ends_in_an_arrow():
    figure = trade_figure(FOUR_TRADES[1:2])
    axes = figure.axes[1]
    assert xy(figure, "trade-0-interval-0")[0, 0] == axes.get_xlim()[0]
    assert "<" in [line.get_marker() for line in axes.lines]
    assert ">" not in [line.get_marker() for line in axes.lines]


def test_too_many_sizes_and_rates_of_zero_are_refused():
    four = TradePanel("four", tuple(trade_line(f"{k} mm", 0.0) for k in range(4)))
    with pytest.raises(ValueError, match="at most 3 sizes in a panel, found 4"):
        trade_figure((four,))
    many = tuple(TradePanel("one", (trade_line(f"{k} mm", 0.0),)) for k in range(7))
    with pytest.raises(ValueError, match="at most 6 sizes in a figure, found 7"):
        trade_figure(many)
    line = dataclasses.replace(trade_line("1 mm", 0.0), rates=(0.0,), pod=(0.5,), bound=())
    with pytest.raises(ValueError, match="rates of false calls"):
        trade_figure((TradePanel("zero", (line,)),))


# Words and axes


def test_alternative_texts_carry_the_numbers():
    told = response_alt_text(SIX_RESPONSES)
    assert "Coherence, R1: 47 recorded, 6 at most the floor, 2 saturated, 6 missed" in told
    assert "decision threshold −36.00 dB; floor −46.00 dB; ceiling −12.00 dB" in told
    assert "sizes tested 0.20 to 4.00 mm" in told
    assert "a90 1.08 mm; a90/95 1.31 mm; limit on a90/95 1.50 mm." in told
    assert "a90 none; a90/95 none; limit on a90/95 1.50 mm; no line fitted." in told
    told = response_checks_alt_text(THREE_CHECKS)
    assert "48 recorded, 3 at most their limit, 2 at least their limit" in told
    assert "3 of 48 residuals outside the simulated 95 % band, 3 of the 15 in the tail" in told
    assert "coupon-07-target-1 (size 1.01 mm) +0.21 mm" in told
    assert "coupon-07-target-4 (size 1.04 mm) −0.2 mm" in told
    assert "Nothing recorded: no residuals. No response was recorded." in told
    told = noise_alt_text(FIVE_NOISES)
    assert "Coherence, R1: 150 blank units, 120 with a peak recorded; 30 without one" in told
    assert "declared rate 1 % of the units; threshold for it −36.50 ± 0.62 dB" in told
    assert "threshold in use −36.00 dB; its rate 0.82 %; upper 95 % bound of that 1.13 %" in told
    told = trade_alt_text(FOUR_TRADES)
    assert "at 1.0 mm POD 0.10 to" in told
    assert "0.95 at the threshold in use (lower 95 % bound 0.87)" in told
    assert "rate of false calls at the threshold in use 1.2 %, interval 0.4 % to 3.1 %" in told
    assert "by responses recorded from 0.2 % to 40 %" in told
    assert "Nothing computed: no line. No line: no law was fitted to the noise." in told


@pytest.mark.parametrize(
    ("words", "draw"),
    [
        (response_alt_text, response_figure),
        (response_checks_alt_text, response_checks_figure),
        (noise_alt_text, noise_figure),
        (trade_alt_text, trade_figure),
    ],
)
def test_empty_data_are_told_in_words(words, draw):
    told = words(())
    assert told.startswith("No ")
    assert " ".join(written(draw(()))) == told


@pytest.mark.parametrize("log", [False, True])
def test_an_axis_shows_all_it_was_given_with_free_paper_at_its_ends(log):
    scale = level_scale((2.0, 50.0), (60.0, 9e9), log=log, length_mm=40.0, below_mm=3, above_mm=4)
    assert scale.fraction(2.0) * 40 == pytest.approx(3.0)
    assert scale.fraction(60.0) * 40 == pytest.approx(36.0)
    assert not scale.shows(9e9)
    assert scale.at(scale.fraction(7.0)) == pytest.approx(7.0)
    sizes = size_scale((1.0, 4.0), (11.0, 13.0), log=log)
    assert [sizes.shows(v) for v in (1.0, 4.0, 11.0, 13.0)] == [True, True, True, False]
    one = level_scale((5.0,), (), log=log, length_mm=40.0)
    assert one.low < 5.0 < one.high


@pytest.mark.parametrize(
    "scale", [Scale(1e-6, 1, True), Scale(0.2, 4, True), Scale(-90, -3, False)]
)
def test_numbers_beside_an_axis_stay_apart(scale):
    ticks = ticks_of(scale, 25.0, lambda _: 4.0)
    places = [scale.fraction(tick) * 25.0 for tick in ticks]
    assert len(ticks) >= 2
    assert min(b - a for a, b in itertools.pairwise(places)) >= 5.0 - 1e-9
    assert all(scale.shows(tick) for tick in ticks)


def test_levels_are_told_so_that_close_ones_differ():
    assert [level(v) for v in (-36.0, 12.34, 0.00025, 0.0, 1234.0, -2.5e-7)] == [
        "−36.00",
        "12.34",
        "0.00025",
        "0",
        "1234",
        "−2.5×10⁻⁷",
    ]
