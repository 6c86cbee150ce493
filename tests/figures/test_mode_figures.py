"""Figures of mode against mode draw what they were given, where it belongs, and nothing else."""

import dataclasses
import itertools

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.patches import Ellipse

from qualify.figures.beside_twins import BesideTwinsView, beside_twins_alt_text, draw_beside_twins
from qualify.figures.coverage_map import shares
from qualify.figures.mode_coverage import (
    ModeCoverageView,
    draw_mode_coverage,
    mode_coverage_alt_text,
)
from qualify.figures.modes_pod import ModesPodView, draw_modes_pod, modes_pod_alt_text
from qualify.figures.palette import MM_PER_INCH, PAPER
from qualify.figures.size_depth import (
    PlacedTarget,
    SizeDepthMode,
    SizeDepthView,
    draw_size_depth,
    size_depth_alt_text,
)
from qualify.figures.size_methods import MethodSizes, SizeMethodsView, draw_size_methods
from qualify.figures.size_methods import size_methods_alt_text as methods_alt_text
from tests.figures.mode_examples import (
    CLOSE_MODES,
    FLAT_COVERED,
    FOUR_COVERED,
    FOUR_MAPS,
    FOUR_MODES,
    FOUR_ROWS,
    SIX_METHODS,
    mode_pod,
    twin_picture,
    twin_row,
)


def found(figure, gid):
    return figure.findobj(lambda artist: artist.get_gid() == gid)


def line(figure, gid):
    (one,) = found(figure, gid)
    return np.asarray(one.get_xdata(), dtype=float), np.asarray(one.get_ydata(), dtype=float)


def axes_named(figure, label):
    return next(axes for axes in figure.axes if axes.get_label() == label)


def written(figure):
    return " ".join(text.get_text() for text in figure.axes[0].texts)


def paper_mm(figure, axes, x, y):
    """Place of a point on paper, from the lower left corner."""
    return axes.transData.transform((x, y)) / figure.dpi * MM_PER_INCH


def hollow(artist):
    return to_hex(artist.get_markerfacecolor()) == PAPER


# POD curves of several modes


def test_curves_bounds_and_marks_stand_at_the_values_given():
    figure = draw_modes_pod(FOUR_MODES)
    for k, mode in enumerate(FOUR_MODES.modes):
        for name, sizes in (("hits", mode.hits), ("misses", mode.misses)):
            x, y = line(figure, f"{name}-{k}")
            np.testing.assert_array_equal(x, sizes)
            assert ((y > 1.0) if name == "hits" else (y < 0.0)).all()
        if not mode.sizes:
            continue
        sizes, pod = np.array(mode.sizes), np.array(mode.pod)
        tested = (sizes >= min(mode.hits + mode.misses)) & (sizes <= max(mode.hits + mode.misses))
        for gid, part in ((f"curve-{k}", tested), (f"curve-{k}-outside", ~tested)):
            x, y = line(figure, gid)
            np.testing.assert_array_equal(x, sizes)
            np.testing.assert_array_equal(y[part], pod[part])
        assert len(found(figure, f"lower-{k}")) == bool(mode.lower)
        if mode.lower:
            np.testing.assert_array_equal(line(figure, f"lower-{k}")[1], mode.lower)
        for gid, value, is_hollow in (("a90", mode.a90, False), ("a90-95", mode.a90_95, True)):
            assert [float(v[0]) for v in line(figure, f"{gid}-{k}")] == [value, 0.9]
            assert hollow(found(figure, f"{gid}-{k}")[0]) is is_hollow


def test_a_mode_without_a_curve_is_told_with_its_reason_and_no_curve_is_drawn():
    figure = draw_modes_pod(FOUR_MODES)
    for gid in ("curve-3", "curve-3-outside", "lower-3", "a90-3", "a90-95-3"):
        assert found(figure, gid) == []
    assert "no curve: every target was found" in written(figure)
    assert "sectorial scan: 48 of 48 found; no curve: every" in modes_pod_alt_text(FOUR_MODES)
    with pytest.raises(ValueError, match="None with its reason"):
        mode_pod("no words", sizes=(), pod=(), lower=(), a90=None, a90_95=None)
    with pytest.raises(ValueError, match="None with its reason"):
        mode_pod("no words", a90_95=None)


def test_a_bound_outside_the_axis_is_an_arrow_at_its_end_and_a_missing_one_is_words():
    figure = draw_modes_pod(CLOSE_MODES)
    assert found(figure, "a90-95-0") == []
    assert len(found(figure, "a90-95-0-beyond")) == len(found(figure, "a90-95-2-beyond")) == 1
    assert found(figure, "a90-95-1") == found(figure, "a90-95-1-beyond") == []
    text = written(figure)
    assert "69.28 mm (outside the axis)" in text
    assert "no a90/95: the bound does not close" in text
    assert "no a90/95: the bound does not close" in modes_pod_alt_text(CLOSE_MODES)


def test_modes_differ_by_dash_and_by_shape_of_mark():
    figure = draw_modes_pod(CLOSE_MODES)
    dashes = {str(found(figure, f"curve-{k}")[0]._dash_pattern) for k in range(4)}
    marks = {found(figure, f"hits-{k}")[0].get_marker() for k in range(4)}
    assert len(dashes) == len(marks) == 4


def test_a_name_stands_nearest_to_its_own_curve():
    figure = draw_modes_pod(FOUR_MODES)
    axes = axes_named(figure, "modes-pod")
    page = figure.axes[0]
    for k, letter in enumerate("ABC"):
        (label,) = [
            t for t in page.texts
            if t.get_text()[:1] == letter and t.get_ha() == "center" and len(t.get_text()) < 30
        ]  # fmt: skip
        at = page.transData.transform(label.get_position())
        near = []
        for mode in FOUR_MODES.modes[:3]:
            points = axes.transData.transform(np.stack([mode.sizes, mode.pod], axis=1))
            near.append(np.hypot(*(points - at).T).min())
        assert int(np.argmin(near)) == k


def test_alternative_text_gives_counts_and_bounds():
    assert "linear scan: 21 of 48 found; a90 2.77 mm, a90/95 3.60 mm." in modes_pod_alt_text(
        FOUR_MODES
    )
    with pytest.raises(ValueError, match="up to 4 modes on one plot, found 5"):
        ModesPodView("", "size", "mm", FOUR_MODES.modes + CLOSE_MODES.modes[:1])


# Size and depth


def test_every_target_is_drawn_once_at_its_depth_with_the_shape_of_its_tilt():
    figure = draw_size_depth(FOUR_MAPS)
    shapes = {0.0: "o", 15.0: "s", 30.0: "^", 22.0: "D", None: "o"}
    for k, mode in enumerate(FOUR_MAPS.modes):
        for target in mode.targets:
            (mark,) = found(figure, f"{k}-{target.seen}-{target.name}")
            assert list(mark.get_ydata()) == [target.depth_mm]
            if target.seen == "not examined":
                assert mark.get_marker() == "+"
                continue
            assert mark.get_marker() == shapes[target.tilt_deg]
            assert hollow(mark) is (target.seen == "miss")
        drawn = [a for a in axes_named(figure, f"size-depth-{k}").lines if a.get_gid()]
        assert len(drawn) == len(mode.targets)


def test_marks_stand_at_their_size_unless_moved_aside_and_then_the_panel_counts_them():
    figure = draw_size_depth(FOUR_MAPS)
    for k, mode in enumerate(FOUR_MAPS.modes):
        axes = axes_named(figure, f"size-depth-{k}")
        places, moved = [], 0
        for target in mode.targets:
            (mark,) = found(figure, f"{k}-{target.seen}-{target.name}")
            (x,) = mark.get_xdata()
            places.append(paper_mm(figure, axes, x, target.depth_mm))
            away = places[-1][0] - paper_mm(figure, axes, target.size, target.depth_mm)[0]
            moved += abs(away) > 0.01
            assert abs(away) <= 8.0
        apart = [np.hypot(*(a - b)) for a, b in itertools.combinations(places, 2)]
        assert min(apart) > 1.4  # a mark is 1.4 to 1.6 mm wide
        assert moved == (72 if k == 1 else 0)
    assert written(figure).count("moved sideways, as another stands there: 72") == 1


def test_marks_that_nearly_coincide_move_too_and_more_than_have_room_are_told():
    close = tuple(PlacedTarget(f"T{k}", 2.0, 20.0 + 0.4 * k, "hit") for k in range(3))
    crowd = tuple(PlacedTarget(f"C{k}", 5.0, 40.0, "miss") for k in range(12))
    mode = SizeDepthMode("coherence", (*close, *crowd, PlacedTarget("A", 0.5, 5.0, "hit")))
    figure = draw_size_depth(SizeDepthView("extent", "mm", (mode,)))
    axes = axes_named(figure, "size-depth-0")
    places = [
        paper_mm(figure, axes, mark.get_xdata()[0], mark.get_ydata()[0])
        for mark in (found(figure, f"0-hit-{target.name}")[0] for target in close)
    ]
    assert min(np.hypot(*(a - b)) for a, b in itertools.combinations(places, 2)) > 1.4
    assert "there: 10; drawn over others, as no place is free: 3" in written(figure)


def test_panels_share_their_axes_and_show_the_ends_of_the_region():
    figure = draw_size_depth(FOUR_MAPS)
    panels = [axes_named(figure, f"size-depth-{k}") for k in range(4)]
    assert len({(a.get_xlim(), a.get_ylim()) for a in panels}) == 1
    low, high = panels[0].get_ylim()
    assert low > 55.0 > 3.0 > high >= 0.0  # down the page
    for axes in panels:
        across = {a.get_ydata()[0] for a in axes.lines if a.get_color() == "#8c1d40"}
        assert across == {3.0, 55.0}


def test_alternative_text_names_the_largest_miss():
    targets = (
        PlacedTarget("T1", 2.0, 10.0, "miss", 15.0),
        PlacedTarget("T2", 3.5, 22.0, "miss", 30.0),
        PlacedTarget("T3", 5.0, 30.0, "hit"),
    )
    view = SizeDepthView("extent", "mm", (SizeDepthMode("coherence", targets),))
    assert size_depth_alt_text(view) == (
        "Targets over size and depth. coherence: 1 found, 2 missed. "
        "Largest missed: T2, 3.50 mm, depth 22 mm, tilt 30°."
    )
    bad = SizeDepthMode("coherence", (PlacedTarget("T1", 0.0, 1.0, "hit"),))
    with pytest.raises(ValueError, match=r"mode coherence: sizes .* found 0"):
        SizeDepthView("extent", "mm", (bad,))


# Beside twins


def test_pictures_hold_the_values_given_at_one_range_a_row_and_one_scale():
    figure = draw_beside_twins(FOUR_ROWS)
    for index, row in enumerate(FOUR_ROWS.rows):
        scales = []
        for k, cell in enumerate(row.cells()):
            images = found(figure, f"twins-{index}-{k}-values")
            if isinstance(cell, str):
                assert images == []
                continue
            drawn = images[0].get_array()
            np.testing.assert_array_equal(np.ma.getmaskarray(drawn), np.isnan(cell.values))
            np.testing.assert_array_equal(drawn.filled(np.nan), cell.values)
            assert images[0].get_clim() == (row.low, row.high)
            assert images[0].get_extent() == [*cell.x_mm, *cell.z_mm[::-1]]
            axes = axes_named(figure, f"twins-{index}-{k}")
            box = axes.get_window_extent()
            scales += [box.width / cell.wide_mm, box.height / cell.deep_mm]
        assert scales == pytest.approx([scales[0]] * len(scales))
        assert found(figure, f"twins-{index}-colours")[0].get_clim() == (row.low, row.high)


def test_outline_and_peak_stand_at_their_places_and_a_twin_has_a_broken_outline():
    figure = draw_beside_twins(FOUR_ROWS)
    row = FOUR_ROWS.rows[0]
    for k, cell in enumerate(row.cells()):
        (mark,) = found(figure, f"twins-0-{k}-truth-0")
        target = cell.target
        if isinstance(mark, Ellipse):
            assert mark.get_center() == (target.x_mm, target.z_mm)
            assert (mark.width, mark.height) == (2 * target.half_x_mm, 2 * target.half_z_mm)
        else:
            assert list(mark.get_xdata()) == pytest.approx([18.4, 21.6])
            assert list(mark.get_ydata()) == pytest.approx([48.14, 46.86])  # rising to the right
        assert bool(mark._dash_pattern[1]) is (k % 2 == 1)
        x, z = line(figure, f"twins-0-{k}-peak")
        assert (x[0], z[0]) == cell.peak_mm


def test_captions_tell_response_against_threshold_and_a_missing_picture_is_words():
    picture = dataclasses.replace(FOUR_ROWS.rows[0].hit, response=-7.54, threshold=-18.0)
    low = dataclasses.replace(picture, name="T9", response=-20.26)
    row = twin_row("linear scan", hit=picture, miss=low, miss_twin="The twin was not recorded.")
    view = BesideTwinsView((row,), "mm", "measured", truth_open=True)
    told = beside_twins_alt_text(view)
    assert (
        "T07: 0.60 mm, depth 23 mm; response −7.5 dB, 10.5 dB above the threshold −18 dB." in told
    )
    assert "T9: 0.60 mm, depth 23 mm; response −20.3 dB, 2.3 dB below the threshold" in told
    text = written(draw_beside_twins(view))
    assert "response −7.5 dB, 10.5 dB above the threshold −18 dB" in text
    assert "The twin was not recorded." in text
    assert "All signals measured." in text


def test_thresholds_of_the_pictures_are_marked_on_the_bar():
    figure = draw_beside_twins(FOUR_ROWS)
    for index, marks in ((0, {-18.0, -20.0}), (1, set()), (2, {0.3})):  # row 1 ends at −15 dB
        drawn = {a.get_ydata()[0] for a in found(figure, f"twins-{index}-threshold")}
        assert drawn == marks


def test_no_picture_beside_its_twin_before_truth_is_open_and_no_peak_outside():
    with pytest.raises(ValueError, match="the truth is sealed"):
        BesideTwinsView(FOUR_ROWS.rows, "mm", "simulated")
    with pytest.raises(ValueError, match="lies outside the picture"):
        dataclasses.replace(twin_picture("T1", 0.5, 20.0, -9.0), peak_mm=(40.0, 20.0))
    with pytest.raises(ValueError, match="words say why"):
        twin_row("linear scan", miss=" ")


# Sizes by method


def test_sizes_and_limits_are_drawn_as_given_on_the_same_axes():
    figure = draw_size_methods(SIX_METHODS)
    ends = set()
    for k, panel in enumerate(SIX_METHODS.panels):
        if not panel.true_sizes:
            assert "No target was sized." in written(figure)
            continue
        axes = axes_named(figure, f"methods-{k}")
        ends |= {axes.get_xlim(), axes.get_ylim()}
        pairs = []
        for gid, off in (("inside", False), ("beyond", True)):
            for artist in found(figure, f"methods-{k}-{gid}"):
                drawn = list(zip(artist.get_xdata(), artist.get_ydata(), strict=True))
                assert all(bool(abs(y - x) > 1.0) is off for x, y in drawn)
                assert artist.get_marker() == ("D" if off else "o")
                pairs += drawn
        assert sorted(pairs) == sorted(zip(panel.true_sizes, panel.reported_sizes, strict=True))
        shifts = [a.get_ydata()[0] - a.get_xdata()[0] for a in axes.lines if a.get_gid() is None]
        assert sorted(shifts) == pytest.approx([-1.0, 0.0, 1.0])
        box = axes.get_window_extent()
        assert box.width == pytest.approx(box.height)
    assert len(ends) == 1
    assert "16 sized, 2 not sized, 6 missed; 9 of 16 off" in written(figure)


def test_alternative_text_tells_counts_and_the_worst_size():
    panel = MethodSizes("coherence", "6 dB drop", (2.0, 4.0, 6.0), (2.5, 2.4, 6.1), 1, 2)
    view = SizeMethodsView("extent", "mm", (panel,), 1.0)
    assert methods_alt_text(view) == (
        "Reported against true extent. coherence: 6 dB drop: 3 sized, 1 not sized, 2 missed; "
        "1 of 3 off by more than 1 mm; farthest off: 2.40 for 4.00 mm."
    )
    with pytest.raises(ValueError, match="2 true sizes and 1 reported"):
        MethodSizes("m", "n", (1.0, 2.0), (1.0,))


# Coverage by mode


def test_maps_show_what_is_covered_in_every_unit_in_some_and_never():
    figure = draw_mode_coverage(FOUR_COVERED)
    for k, one in enumerate(FOUR_COVERED.maps):
        drawn = found(figure, f"map-{k}-classes")[0]
        classes = drawn.get_array().filled(0)
        np.testing.assert_array_equal(classes == 2, one.fraction == 1.0)
        np.testing.assert_array_equal(classes == 0, one.fraction == 0.0)
        assert drawn.get_extent() == [*one.x_mm, *one.z_mm[::-1]]
        told = shares(one)
        wanted = [np.mean(one.fraction == 1.0), None, np.mean(one.fraction == 0.0)]
        for words, share in zip(told, wanted, strict=True):
            if share is not None:
                assert float(words[:-2]) == pytest.approx(100 * share, abs=0.0501)
        assert all(words in mode_coverage_alt_text(FOUR_COVERED) for words in told[::2])


def test_dead_zone_masks_and_threshold_stand_at_their_depths():
    figure = draw_mode_coverage(FOUR_COVERED)
    (dead,) = found(figure, "map-0-dead")
    assert (dead.get_y(), dead.get_height(), dead.get_width()) == (0.0, 6.0, 60.0)
    assert found(figure, "map-2-dead") == []
    (mask,) = found(figure, "map-0-mask-1")
    assert (*mask.get_xy(), mask.get_width(), mask.get_height()) == (20.0, 46.0, 20.0, 4.0)
    assert dead.get_hatch() != mask.get_hatch()
    for k, one in enumerate(FOUR_COVERED.maps[:3]):
        x, y = line(figure, f"threshold-{k}-line")
        np.testing.assert_array_equal(x, one.threshold)
        np.testing.assert_array_equal(y, one.depths_mm)
        beside, shown = axes_named(figure, f"threshold-{k}"), axes_named(figure, f"map-{k}")
        assert beside.get_ylim() == shown.get_ylim()
        for edge in ("y0", "y1"):
            ends = [getattr(a.get_window_extent(), edge) for a in (beside, shown)]
            assert ends[0] == pytest.approx(ends[1])
    assert found(figure, "threshold-3-line") == []
    assert "no threshold: the reading rule" in written(figure)


def test_maps_are_to_scale_or_say_how_far_they_are_stretched():
    for view, stretched in ((FOUR_COVERED, 1.0), (FLAT_COVERED, None)):
        figure = draw_mode_coverage(view)
        box = axes_named(figure, "map-0").get_window_extent()
        x_from, x_to, z_from, z_to = view.maps[0].region
        ratio = (box.height / (z_to - z_from)) / (box.width / (x_to - x_from))
        if stretched is None:
            assert f"Depths are drawn {ratio:.2f} times as large as x." in written(figure)
        else:
            assert ratio == pytest.approx(stretched)
    other = dataclasses.replace(FOUR_COVERED.maps[1], x_mm=(0.0, 61.0))
    with pytest.raises(ValueError, match="compared on one region"):
        ModeCoverageView((FOUR_COVERED.maps[0], other))
