"""An image shows the values it was given, to scale, and no truth before truth is open."""

import dataclasses
import itertools
import re

import numpy as np
import pytest

from qualify.figures.contours import edge_of
from qualify.figures.coverage import coverage_alt_text, coverage_figure
from qualify.figures.image_axes import cells
from qualify.figures.images import alt_text, image_figure, modes_figure
from qualify.figures.palette import MM_PER_INCH, SMALL_PT, render
from qualify.figures.ramps import colour_map
from tests.figures.image_examples import (
    AMPLITUDE,
    BLIND,
    COHERENCE,
    FINE,
    IMAGES,
    LINEAR,
    OPENED,
    SECTOR,
    SIGN,
    SIX,
    THREE_VIEWS,
    TRUTH,
    WEIGHTED,
    panel,
    six_views,
)
from tests.figures.test_layout import texts_of

COHERENCE_PLAIN = dataclasses.replace(COHERENCE, contour=False)


def axes_named(figure, label):
    return next(axes for axes in figure.axes if axes.get_label() == label)


def by_gid(figure, pattern):
    return figure.findobj(lambda artist: re.fullmatch(pattern, artist.get_gid() or "") is not None)


def written(figure):
    return " ".join(text.get_text() for text in figure.axes[0].texts)


def test_the_pixels_drawn_are_the_values_given_and_the_rest_is_masked():
    figure = modes_figure(SIX)
    for k, given in enumerate(SIX):
        (image,) = by_gid(figure, f"image-{k}-values")
        drawn = image.get_array()
        np.testing.assert_array_equal(np.ma.getmaskarray(drawn), ~given.covered)
        np.testing.assert_array_equal(drawn.data[given.covered], given.values[given.covered])
        assert image.get_interpolation() == "none"
        assert image.cmap.name == colour_map(given.unit).name
    assert len({colour_map(given.unit).name for given in SIX}) == 2


def test_a_pixel_stands_at_its_own_place():
    values = np.full(AMPLITUDE.values.shape, -40.0)
    values[20, 130] = 0.0  # at x 12.625, depth 10.125 mm
    figure = image_figure(dataclasses.replace(AMPLITUDE, values=values))
    (image,) = by_gid(figure, "image-0-values")
    left, right, bottom, top = image.get_extent()
    assert (left, right, bottom, top) == pytest.approx((-20, 20, 45, 5))
    picture = np.asarray(render_rgb(figure))
    axes = axes_named(figure, "image-0")
    x, y = axes.transData.transform((AMPLITUDE.x_mm[130], AMPLITUDE.z_mm[20]))
    brightest = picture[round(figure.bbox.height - y), round(x)]
    np.testing.assert_array_equal(brightest, colour_map("db")(1.0, bytes=True)[:3])


def render_rgb(figure):
    figure.canvas.draw()
    return np.asarray(figure.canvas.buffer_rgba())[..., :3]


def test_the_colour_range_is_the_one_printed_on_image_and_bar():
    figure = modes_figure(SIX)
    printed = ("−40 to 0 dB", "0 to 1", "−40 to 0 dB", "−40 to 0 dB", "−60 to −3 dB", "0 to 0.5")
    text = written(figure)
    for k, (given, words) in enumerate(zip(SIX, printed, strict=True)):
        limits = (given.low, given.high)
        for gid in (f"image-{k}-values", f"bar-{k}-colours"):
            assert by_gid(figure, gid)[0].get_clim() == limits
        bar = axes_named(figure, f"bar-{k}")
        assert bar.get_xlim() == limits
        assert f"colour range {words}" in text
        assert by_gid(figure, f"bar-{k}-colours")[0].get_extent()[:2] == list(limits)


def test_values_beyond_the_range_are_told_at_the_end_of_the_bar():
    inside = np.clip(AMPLITUDE.values, -39.0, -1.0)
    for values, ends in ((inside, ("−40", "0")), (AMPLITUDE.values, ("≤ −40", "≥ 0"))):
        figure = image_figure(dataclasses.replace(AMPLITUDE, values=values))
        labels = [t.get_text() for t in axes_named(figure, "bar-0").get_xticklabels()]
        assert (labels[0], labels[-1]) == ends
    hidden = np.where(LINEAR.covered, np.clip(LINEAR.values, -39, -1), 99.0)
    figure = image_figure(dataclasses.replace(LINEAR, values=hidden))
    labels = [t.get_text() for t in axes_named(figure, "bar-0").get_xticklabels()]
    assert labels[-1] == "0"  # what is not covered is no value


def test_one_millimetre_is_as_long_in_depth_as_in_x_and_in_every_panel_and_the_scale_bar():
    figure = modes_figure(SIX)
    wide, high = figure.get_size_inches() * MM_PER_INCH
    scales = []
    for k, given in enumerate(SIX):
        axes = axes_named(figure, f"image-{k}")
        box = axes.get_position()
        (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
        assert (left, right, top, bottom) == pytest.approx(given.region)
        scales += [box.width * wide / (right - left), box.height * high / (bottom - top)]
    assert scales == pytest.approx([scales[0]] * len(scales))
    bars = [line.get_xdata() for line in by_gid(figure, "scale-bar")]
    assert len(bars) == len(SIX)
    assert [b - a for a, b in bars] == pytest.approx([10.0 * scales[0]] * len(SIX))
    assert written(figure).count("10 mm") == len(SIX)


def test_threshold_and_random_levels_stand_on_the_bar_at_their_values_and_in_words():
    figure = modes_figure((AMPLITUDE, COHERENCE, SECTOR))
    for gid, value in (
        ("bar-0-threshold", -12.0),
        ("bar-1-threshold", 0.3),
        ("bar-1-mean", 0.0139),
        ("bar-1-99 %", 0.0335),
    ):
        assert list(by_gid(figure, gid)[0].get_xdata()) == [value, value]
    text = written(figure)
    for words in (
        "threshold −12 dB",
        "threshold 0.3",
        "mean of random phases",
        "0.0139",
        "99 % level",
        "no threshold",
    ):
        assert words in text
    assert by_gid(figure, "bar-2-.*(threshold|mean|99 %)") == []


def test_a_threshold_outside_the_range_is_told_and_not_marked():
    figure = image_figure(WEIGHTED)
    assert "threshold −62.5 dB, below the colour range" in written(figure)
    assert by_gid(figure, "bar-0-threshold") == []


def test_the_threshold_is_a_line_in_the_image_only_where_asked():
    figure = modes_figure((AMPLITUDE, COHERENCE))
    assert by_gid(figure, "image-0-threshold-.*") == []
    lines = by_gid(figure, "image-1-threshold-.*")
    x, z = COHERENCE.x_mm, COHERENCE.z_mm
    ends = np.concatenate([line.get_xydata() for line in lines])
    near = [
        np.sort(COHERENCE.values[np.abs(z - deep) < 0.25][:, np.abs(x - at) < 0.25], axis=None)
        for at, deep in ends
    ]
    assert all(part[0] <= 0.3 <= part[-1] for part in near)


def test_truth_is_refused_before_it_is_open():
    with pytest.raises(ValueError, match="the truth is sealed"):
        dataclasses.replace(AMPLITUDE, truth=TRUTH)
    with pytest.raises(ValueError, match="the truth is sealed"):
        dataclasses.replace(AMPLITUDE, truth=())
    with pytest.raises(ValueError, match="the truth is sealed"):
        dataclasses.replace(OPENED, truth_open=False)


def test_open_truth_is_drawn_to_scale_and_none_is_drawn_without():
    marks = by_gid(image_figure(OPENED), "image-0-truth-.*")
    assert len(marks) == len(TRUTH)
    hole, small, slot, box = marks
    assert (*hole.get_center(), hole.width, hole.height) == (-8.0, 15.0, 3.0, 3.0)
    assert (small.width, small.height) == (0.2, 0.2)
    assert slot.get_xydata().tolist() == [[7.0, 35.0], [11.0, 33.0]]
    assert (*box.get_xy(), box.get_width(), box.get_height()) == (-15.0, 30.5, 6.0, 3.0)
    closed = dataclasses.replace(AMPLITUDE, truth_open=True)
    for given in (AMPLITUDE, closed):
        figure = image_figure(given)
        assert by_gid(figure, "image-0-truth-.*") == []
        assert "target" not in written(figure) + alt_text((given,))


def test_simulated_is_printed_on_every_simulated_panel_and_no_other():
    for panels in ((AMPLITUDE,), (SIGN,), SIX, (SIGN, SIGN)):
        simulated = [p for p in panels if p.signal == "simulated"]
        assert written(modes_figure(panels)).count("SIMULATED") == len(simulated)
        assert alt_text(panels).count("SIMULATED") == len(simulated)


def test_every_panel_names_mode_method_unit_and_why_it_was_rejected():
    text = re.sub(r"\s+", " ", written(modes_figure((SECTOR, SIGN), width_mm=300.0)))
    for given in (SECTOR, SIGN):
        assert given.mode in text
        assert given.method in text
    assert "✕ rejected by the quality gate: the positive control lies 7 dB below its limit;" in text
    assert text.count("rejected") == 1
    assert "amplitude, dB re full scale of one received signal" in text
    assert "coherence, 0 to 1" in text
    assert SIGN.notes[0] in text
    assert "covered: 61.3 % of the region" in text


def test_where_dots_are_fewer_than_pixels_the_largest_is_kept_and_told():
    """A lone pixel must not fall between two dots."""
    values = np.full(FINE.values.shape, -40.0)
    values[401, 333] = -1.0
    figure = image_figure(dataclasses.replace(FINE, values=values), width_mm=60.0)
    (image,) = by_gid(figure, "image-0-values")
    shown = image.get_array()
    axes = axes_named(figure, "image-0")
    dots = axes.get_window_extent()
    assert shown.shape[1] <= dots.width < 800
    assert (shown == -1.0).sum() == 1
    row, column = np.argwhere(shown == -1.0)[0]
    left, right, bottom, top = image.get_extent()
    width, height = (right - left) / shown.shape[1], (bottom - top) / shown.shape[0]
    assert abs(left + width * (column + 0.5) - FINE.x_mm[333]) <= width / 2
    assert abs(top + height * (row + 0.5) - FINE.z_mm[401]) <= height / 2
    across = 800 / shown.shape[1]
    assert f"largest of each {across:.0f} × {across:.0f} pixels" in written(figure)


def test_cells_over_the_edge_hold_only_what_is_there():
    drawn = np.ma.masked_array(np.arange(15.0).reshape(3, 5), mask=np.zeros((3, 5), bool))
    drawn.mask[0:2, 0:2] = True
    shown, size = cells(drawn, 3, 2)
    assert size == (2, 2)
    assert shown.filled(-1).tolist() == [[-1, 8, 9], [11, 13, 14]]


def test_words_tell_region_range_largest_value_and_coverage():
    values = np.where(LINEAR.covered, -30.0, 50.0)
    values[60, 90] = -2.34
    words = alt_text((dataclasses.replace(LINEAR, values=values, threshold=-6.0),))
    assert words.startswith("Image of one mode, x −20 to 20 mm, depth 5 to 45 mm.")
    for told in (
        "linear scan: linear scan, 16 elements, focus at 25 mm: amplitude",
        "colour range −40 to 0 dB",
        "largest value −2.3 dB at x 2.62 mm, depth 20.12 mm",
        "61.3 % of the region covered",
        f"reached by {100 / LINEAR.covered.sum():.3g} % of the covered pixels",
    ):
        assert told in words
    assert "nothing covered" in alt_text((BLIND,))
    assert "rejected by the quality gate: the positive control" in alt_text((SECTOR,))


BAD = {
    "ascending": ({"x_mm": AMPLITUDE.x_mm[::-1]}, "even steps"),
    "uneven": ({"z_mm": AMPLITUDE.z_mm**1.01}, "even steps"),
    "shape": ({"values": AMPLITUDE.values[1:]}, "values has the shape"),
    "mask": ({"covered": AMPLITUDE.covered[:, 1:]}, "covered has the shape"),
    "no mask": ({"covered": AMPLITUDE.covered.astype(float)}, "true or false"),
    "range": ({"low": 0.0, "high": 0.0}, "colour range"),
    "hole": ({"values": np.full_like(AMPLITUDE.values, np.nan)}, "no finite value"),
    "levels": ({"random_mean": 0.1}, "belong to a coherence"),
    "per cent": ({"unit": "coherence", "low": 0.0, "high": 1.0, "threshold": None}, "0 and 1"),
    "bar": ({"scale_bar_mm": 41.0}, "scale bar"),
    "signal": ({"signal": "real"}, "simulated or measured"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_panel_that_does_not_fit_together_is_refused(name):
    changed, words = BAD[name]
    with pytest.raises(ValueError, match=words):
        dataclasses.replace(AMPLITUDE, **changed)


def test_images_of_two_regions_are_not_set_side_by_side():
    for figure in (modes_figure, alt_text):
        with pytest.raises(ValueError, match="one region"):
            figure((AMPLITUDE, panel("other", x=(-19.0, 21.0))))
        for count in (0, 7):
            with pytest.raises(ValueError, match="1 to 6"):
                figure((AMPLITUDE,) * count)


def test_coverage_tells_each_mode_by_hatch_line_and_mark_and_joins_equal_ones():
    figure = coverage_figure(THREE_VIEWS)
    areas = by_gid(figure, "covered-.*")
    assert len(areas) == 3  # two of the four modes cover the same
    assert len({area.get_hatch() for area in areas}) == 3
    sectors = areas[2].get_path()
    given = THREE_VIEWS[3]
    x, z = np.meshgrid(given.x_mm, given.z_mm)
    inside = sectors.contains_points(np.column_stack([x.ravel(), z.ravel()]))
    np.testing.assert_array_equal(inside.reshape(given.covered.shape), given.covered)
    lines = axes_named(figure, "coverage").lines
    assert len({tuple(line._dash_pattern[1] or ()) for line in lines[::2]}) == 3
    assert len({line.get_marker() for line in lines[1::2]}) == 3
    words = coverage_alt_text(THREE_VIEWS)
    assert "amplitude; total focusing, vector coherence over all pairs: 100 % of" in words
    assert "sectorial scan, −30° to 30°: 63.9 % of the region." in words
    assert "none: nothing covered" in coverage_alt_text(six_views())


def test_a_mode_that_covers_nothing_has_a_line_of_words_and_no_sample():
    figure = coverage_figure(six_views())
    assert len([p for p in figure.axes[0].patches if p.get_hatch()]) == 5
    assert "none: nothing covered, no outline" in written(figure)


def test_the_edge_of_coverage_runs_along_the_edge_of_pixels():
    """Two by three pixels of 0.5 mm by 1 mm from x 1.0 and depth 6.0 mm, at the lower end."""
    covered = np.zeros((6, 8), dtype=bool)
    covered[4:6, 3:6] = True
    (ring,) = edge_of(covered, -0.25 + 0.5 * np.arange(8), 2.5 + np.arange(6))
    assert (*ring.min(axis=0), *ring.max(axis=0)) == pytest.approx((1.0, 6.0, 2.5, 8.0))
    assert edge_of(np.zeros((6, 8), dtype=bool), np.arange(8), np.arange(6)) == []


def test_a_hatch_shows_where_nothing_is_covered_and_the_legend_says_so():
    figure = modes_figure((AMPLITUDE, LINEAR))
    assert "not covered" in written(figure)
    linear = axes_named(figure, "image-1")
    ground = next(patch for patch in linear.patches if patch.get_hatch())
    assert ground.get_bbox().extents == pytest.approx((-20.0, 5.0, 20.0, 45.0))
    (image,) = by_gid(figure, "image-1-values")
    assert ground.get_zorder() < image.get_zorder()
    assert image.cmap(image.norm(image.get_array()))[0, 0, 3] == 0.0  # the hatch shows through
    assert "not covered" not in written(image_figure(AMPLITUDE))


@pytest.mark.parametrize("name", IMAGES)
def test_no_text_is_cut_off_lies_over_another_or_is_too_small(name):
    figure = IMAGES[name]()
    shown = texts_of(figure)
    sheet = figure.bbox
    assert min(text.get_fontsize() for text, _ in shown) >= SMALL_PT
    for text, box in shown:
        inside = box.x0 >= 0 and box.y0 >= 0 and box.x1 <= sheet.x1 and box.y1 <= sheet.y1
        assert inside, text.get_text()
    over = [
        (a.get_text(), b.get_text())
        for (a, one), (b, other) in itertools.combinations(shown, 2)
        if min(one.x1, other.x1) - max(one.x0, other.x0) > 0.5
        and min(one.y1, other.y1) - max(one.y0, other.y0) > 1.5
    ]
    assert over == []
    covered = [axes for axes in figure.axes if axes.get_label().startswith("image-")]
    for axes, (text, box) in itertools.product(covered, shown):
        image = axes.get_window_extent()
        across = min(image.x1, box.x1) - max(image.x0, box.x0)
        down = min(image.y1, box.y1) - max(image.y0, box.y0)
        assert min(across, down) < 1.0, text.get_text()
    wide, high = figure.get_size_inches() * MM_PER_INCH
    assert wide <= 180.5
    assert high <= 247.0


def test_the_same_bytes_twice_and_a_font_inside():
    one, other = (render(IMAGES["modes 2"]()) for _ in range(2))
    assert one == other
    assert b"/FontFile2" in one.pdf
    assert b"<dc:date>" not in one.svg


def test_the_print_holds_colours_of_the_ramp_only():
    """Smoothed or resampled pixels would show values that nobody computed."""
    figure = image_figure(COHERENCE_PLAIN)
    picture = render_rgb(figure)
    axes, high = axes_named(figure, "image-0").get_window_extent(), picture.shape[0]
    rows = slice(high - int(axes.y1) + 3, high - int(axes.y0) - 3)
    part = picture[rows, int(axes.x0) + 3 : int(axes.x1) - 3]
    shown = {tuple(map(int, colour)) for colour in part.reshape(-1, 3)}
    ramp = {tuple(map(int, c)) for c in colour_map("coherence")(np.arange(256), bytes=True)[:, :3]}
    assert len(shown) > 100
    assert shown <= ramp


def test_a_panel_is_frozen():
    with pytest.raises(dataclasses.FrozenInstanceError):
        AMPLITUDE.low = -50.0


def test_images_stand_side_by_side_unless_they_are_far_wider_than_deep():
    places = axes_places(modes_figure((AMPLITUDE, COHERENCE, LINEAR)))
    assert len({round(top, 6) for _, top in places}) == 1
    places = axes_places(IMAGES["modes wide"]())
    assert len({round(left, 6) for left, _ in places}) == 1


def axes_places(figure):
    shown = [axes for axes in figure.axes if axes.get_label().startswith("image-")]
    return [(axes.get_position().x0, axes.get_position().y1) for axes in shown]
