"""Dead zone and positive control: images with known values, and an echo through imaging."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.imaging.controls import coherent_control, dead_zone, positive_control
from qualify.imaging.grid import Grid
from qualify.recording.points import record_points
from qualify.recording.probe import Medium
from tests.imaging.imagers import array_of, total_focusing
from tests.imaging.made_images import GRID, blob, image_of

RIPPLE = 2.0  # mm between maxima of a ring-down
ACROSS = (-5.0, 5.0)
SEARCH = {"search_to_mm": 25.0, "clear_mm": 2.0}


def ringing(fall_db_per_mm, grid=GRID, **more):
    """Return a ring-down that falls straight in dB, and dips by 20 dB each millimetre."""
    z = grid.z_mm()[:, None] + 0 * grid.x_mm()[None, :]
    dips = np.where(np.isclose(z % RIPPLE, RIPPLE / 2), 0.1, 1.0)
    return image_of(dips * 10 ** (-fall_db_per_mm * z / 20), grid, **more)


@given(fall=st.floats(2, 20), threshold=st.floats(-38, -5))
def test_dead_zone_of_a_known_ring_down(fall, threshold):
    """exp: threshold/fall millimetres; told to a step of 0.25 mm and never short.

    A step more where the last pixel at the threshold is a dip.
    """
    found = dead_zone(ringing(fall), threshold, ACROSS, **SEARCH)
    known = -threshold / fall
    assert found.reason is None
    assert found.resolution_mm == 0.25
    assert known - 0.25 - 1e-6 <= found.depth_mm <= known + 0.25 + 1e-6
    free = ringing(fall).values[GRID.z_mm() >= found.depth_mm]
    assert np.all(free[: int(15 / 0.25)] < threshold)


def test_a_dip_between_two_maxima_frees_nothing():
    """20 dB lower at 1 mm, back again at 1.25 mm: the last crossing counts."""
    image = ringing(4.0)
    below = image.values[:, 40] < -6
    assert below[4]
    assert not below[5]
    assert dead_zone(image, -6, ACROSS, **SEARCH).depth_mm == pytest.approx(1.5 + 0.25)


def test_one_column_is_enough_and_columns_outside_are_not_asked():
    values = np.full(GRID.shape, 1e-3)
    values[20, 60], values[40, 75] = 1.0, 1.0
    found = dead_zone(image_of(values, GRID), -20, ACROSS, **SEARCH)
    assert found.depth_mm == pytest.approx(GRID.z_mm()[20] + 0.25)


def test_what_is_not_shown_counts_as_dead():
    hidden = GRID.z_mm()[:, None] + 0 * GRID.x_mm()[None, :] < 3.1
    image = image_of(np.full(GRID.shape, 1e-3), GRID, covered=~hidden)
    assert dead_zone(image, -20, ACROSS, **SEARCH).depth_mm == pytest.approx(3.25)


def test_no_end_and_no_start():
    still = dead_zone(ringing(0.1), -20, ACROSS, **SEARCH)
    assert still.depth_mm is None
    assert "end of the search" in still.reason
    late = Grid.over((-10, 10), (5, 40), 0.25)
    found = dead_zone(ringing(10, late), -20, ACROSS, **SEARCH)
    assert found.depth_mm == 5
    assert "starts below" in found.remark
    assert dead_zone(ringing(10), -20, ACROSS, **SEARCH).remark is None
    silent = dead_zone(image_of(np.full(GRID.shape, 1e-6), GRID), -20, ACROSS, **SEARCH)
    assert silent.depth_mm == 0
    with pytest.raises(ValueError, match="no pixel"):
        dead_zone(ringing(10), -20, (90, 91), **SEARCH)


def control(image, **more):
    given_ = {"search_mm": 3.0, "limit_mm": 0.5, "least_level": -20.0}
    return positive_control(image, 30.0, (-2, 2), **(given_ | more))


@given(depth=st.floats(29, 31))
def test_depth_of_an_echo_between_rows(depth):
    """Gaussian, so a parabola in dB: exact to float32 whatever the rows."""
    image = image_of(blob(GRID, 0, depth, ((1, 0), (0, 4.0))), GRID)
    found = control(image)
    assert found.depth_mm == pytest.approx(depth, abs=1e-4)
    assert found.error_mm == pytest.approx(depth - 30, abs=1e-4)
    assert found.found == (abs(found.error_mm) <= 0.5)


def test_an_echo_too_weak_elsewhere_or_only_a_flank():
    echo = blob(GRID, 0, 30, ((1, 0), (0, 4.0)))
    weak = control(image_of(0.05 * echo, GRID))
    assert (weak.found, weak.depth_mm) == (False, pytest.approx(30, abs=1e-3))
    assert "below -20" in weak.reason
    off = control(image_of(blob(GRID, 0, 31, ((1, 0), (0, 4.0))), GRID))
    assert off.found is False
    assert "+1.00 mm off" in off.reason
    flank = control(image_of(blob(GRID, 0, 34, ((1, 0), (0, 0.1))), GRID))
    assert flank.found is False
    assert flank.depth_mm is None
    assert "edge of the search" in flank.reason
    nowhere = control(image_of(echo, GRID, covered=np.zeros(GRID.shape, bool)))
    assert nowhere.found is None
    assert "does not cover" in nowhere.reason
    with pytest.raises(ValueError, match="cannot show an error"):
        control(image_of(echo, GRID), limit_mm=3.0)


def test_a_wrong_velocity_is_seen():
    """Imaged with 2 % too much, an echo at 20 mm lies at 20.4 mm (small angles, 8 elements)."""
    recording = record_points(array_of(8), [(0.0, 20.0)], samples=600)
    grid = Grid.over((-1, 1), (17, 23), 0.1)
    asked = {"search_mm": 2.0, "limit_mm": 0.2, "least_level": -6.0}
    right = positive_control(total_focusing(recording, grid), 20.0, (-1, 1), **asked)
    assert right.found
    assert right.error_mm == pytest.approx(0, abs=0.02)
    fast = replace(recording, medium=Medium(longitudinal_m_per_s=1.02 * 5900))
    wrong = positive_control(total_focusing(fast, grid), 20.0, (-1, 1), **asked)
    assert wrong.found is False
    assert wrong.error_mm == pytest.approx(0.4, abs=0.04)


@pytest.mark.parametrize(
    ("least", "found", "reason"),
    [(0.5, True, None), (0.9, False, "below 0.9"), (0.1, None, "no more than chance gives")],
)
def test_a_coherence_controls_by_its_level_and_tells_no_depth(least, found, reason):
    """A plateau of 0.8 at 29.5 to 30.5 mm; chance gives 0.2, and a level below it says nothing."""
    grid = Grid.over((-2, 2), (20, 40), 0.25)
    values = np.full(grid.shape, 0.05)
    values[np.abs(grid.z_mm() - 30.0) <= 0.5] = 0.8
    image = image_of(values, grid, unit="coherence", random_99=0.2)
    control = coherent_control(image, 30.0, (-1, 1), limit_mm=1.0, least_level=least)
    assert (control.found, control.depth_mm, control.error_mm) == (found, None, None)
    assert control.level == pytest.approx(0.8)
    assert control.reason is None if reason is None else reason in control.reason
    away = coherent_control(image, 36.0, (-1, 1), limit_mm=1.0, least_level=0.5)
    assert away.found is False
