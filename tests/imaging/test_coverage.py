"""How much of a region is covered: counted by hand, and by brute force."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from qualify.imaging.coverage import _largest_rectangle, coverage
from qualify.imaging.focus import make_images
from qualify.imaging.grid import Grid
from qualify.imaging.modes import Mode
from qualify.imaging.region import Box
from qualify.recording.points import record_points
from tests.imaging.imagers import array_of, total_focusing
from tests.imaging.made_images import image_of

GRID = Grid.over((-10, 10), (0, 20), 1.0)


def shown(covered):
    return image_of(np.ones(GRID.shape), GRID, covered=covered)


def test_share_and_gaps_by_hand():
    """8 columns and 6 rows asked for, 2 columns beyond the image, a corner of 2 × 3 hidden."""
    covered = np.ones(GRID.shape, bool)
    covered[10:13, 15:17] = False
    found = coverage(shown(covered), Box((5, 12), (10, 15)))
    assert found.fraction == pytest.approx((36 - 6) / 48)
    assert [(gap.reason, gap.fraction) for gap in found.gaps] == [
        ("outside the image", pytest.approx(12 / 48)),
        ("not covered by the mode; the image does not say why", pytest.approx(6 / 48)),
    ]
    assert found.gaps[0].around == Box((11, 12), (10, 15))
    assert found.gaps[1].around == Box((5, 6), (10, 12))
    assert found.rectangle == Box((7, 10), (10, 15))
    assert found.reason is None


def test_gaps_that_touch_nowhere_are_told_apart():
    covered = np.ones(GRID.shape, bool)
    covered[2, 2], covered[5, 5:8] = False, False
    found = coverage(shown(covered), Box((-10, 10), (0, 20)))
    assert [gap.around for gap in found.gaps] == [Box((-5, -3), (5, 5)), Box((-8, -8), (2, 2))]


def test_nothing_covered_and_nothing_asked():
    blind = coverage(shown(np.zeros(GRID.shape, bool)), Box((0, 3), (0, 3)))
    assert (blind.fraction, blind.rectangle) == (0, None)
    between = coverage(shown(np.ones(GRID.shape, bool)), Box((0.2, 0.8), (0, 3)))
    assert between.fraction is None
    assert "smaller than a step" in between.reason
    away = coverage(shown(np.ones(GRID.shape, bool)), Box((50, 53), (0, 3)))
    assert away.fraction == 0
    assert away.gaps[0].fraction == 1


def test_gaps_of_time_and_gaps_of_reach():
    """400 samples at 50 MHz end at 7.98 µs: 23.54 mm straight below an element of its own.

    From the farthest element of 8 (2.1 mm off the middle) z = 23.45 mm below the middle.
    """
    recording = record_points(array_of(8), [(0.0, 10.0)], samples=400)
    grid = Grid.over((-0.5, 0.5), (5, 30), 0.5)
    image = total_focusing(recording, grid)
    found = coverage(image, Box((0, 0), (5, 30)))
    rows = np.arange(5, 30.1, 0.5)
    assert found.fraction == pytest.approx(np.mean(np.hypot(2.1, rows) * 2 / 5.9 <= 399 / 50))
    assert [gap.reason for gap in found.gaps] == ["outside the recorded time"]
    assert found.gaps[0].around.z_mm == (23.5, 30)


def test_a_scan_misses_what_its_beams_do_not_reach_and_what_comes_too_early():
    """Lines of 4 of 8 elements stand at x = −1.2 … 1.2 mm; recorded from 3 µs: from z = 8.85 mm."""
    recording = record_points(array_of(8), [(0.0, 12.0)], samples=400, start_us=3.0)
    mode = Mode(name="linear", focusing="linear", aperture_elements=4)
    (image,) = make_images(recording, [mode], Grid.over((-2, 2), (5, 20), 0.5))
    gaps = coverage(image, Box((-2, 2), (5, 20))).gaps
    assert {(gap.reason, gap.around) for gap in gaps} == {
        ("outside what the beams or elements of the mode reach", Box((-2, -1.5), (5, 20))),
        ("outside what the beams or elements of the mode reach", Box((1.5, 2), (5, 20))),
        ("outside the recorded time", Box((-1, 1), (5, 8.5))),
    }


@given(mask=arrays(bool, st.tuples(st.integers(1, 6), st.integers(1, 6))))
def test_largest_rectangle_against_all_rectangles(mask):
    rows, columns = mask.shape
    areas = [
        (b - a + 1) * (d - c + 1)
        for a in range(rows)
        for b in range(a, rows)
        for c in range(columns)
        for d in range(c, columns)
        if mask[a : b + 1, c : d + 1].all()
    ]
    found = _largest_rectangle(mask)
    if not areas:
        assert found is None
    else:
        top, bottom, left, right = found
        assert mask[top : bottom + 1, left : right + 1].all()
        assert (bottom - top + 1) * (right - left + 1) == max(areas)


@given(
    covered=arrays(bool, GRID.shape),
    x=st.tuples(st.floats(-15, 0), st.floats(2, 15)),
    z=st.tuples(st.floats(0, 8), st.floats(10, 25)),
)
def test_share_and_gaps_make_up_the_whole(covered, x, z):
    found = coverage(shown(covered), Box(x, z))
    assert found.fraction + sum(gap.fraction for gap in found.gaps) == pytest.approx(1)
