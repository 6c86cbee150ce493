"""Widths of an echo: of shapes whose width is known."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from made_images import GRID, blob, image_of

from qualify.imaging.echo import NOT_CLOSED, echo_width
from qualify.imaging.grid import Grid
from qualify.imaging.region import Box

BOX = Box((-3.0, 3.0), (10.0, 20.0))


def test_widths_of_a_gaussian_are_its_own():
    """exp(−½ d²/s²) is a half at s√(2 ln 2): full width 2.3548 s; 1 % (linear between pixels)."""
    form = ((1 / 0.8**2, 0.0), (0.0, 1 / 1.5**2))
    found = echo_width(image_of(blob(GRID, 0.5, 15.0, form), GRID), BOX)
    assert found.width_x_mm == pytest.approx(2.3548 * 0.8, rel=0.01)
    assert found.width_z_mm == pytest.approx(2.3548 * 1.5, rel=0.01)
    assert (found.peak.x_mm, found.peak.z_mm) == (0.5, 15.0)


def test_a_triangle_is_exact():
    """A linear flank is cut where it is a half, to 1e-5: slope 1/4 a millimetre, 4 mm across."""
    grid = Grid.over((-10, 10), (5, 25), 0.5)
    across = np.clip(1 - np.abs(grid.x_mm() - 0.0) / 4.0, 1e-3, None)
    down = np.clip(1 - np.abs(grid.z_mm() - 15.0) / 6.0, 1e-3, None)
    found = echo_width(image_of(down[:, None] * across[None, :], grid, unit="coherence"), BOX)
    assert found.width_x_mm == pytest.approx(4.0, abs=1e-4)
    assert found.width_z_mm == pytest.approx(6.0, abs=1e-4)


def test_an_echo_that_does_not_fall_to_half_has_no_width():
    """A flat line runs out of the image; or out of what is covered: said, not guessed."""
    grid = Grid.over((-4, 4), (10, 20), 0.5)
    line = np.exp(-((grid.z_mm() - 15.0) ** 2))[:, None] * np.ones(grid.columns)
    found = echo_width(image_of(line, grid), BOX)
    assert found.width_x_mm is None
    assert found.reason == NOT_CLOSED
    covered = np.ones(grid.shape, bool)
    covered[:, grid.x_mm() > 0.4] = False
    dot = line * np.exp(-(grid.x_mm() ** 2))
    assert echo_width(image_of(dot, grid, covered=covered), BOX).width_x_mm is None
    nothing = echo_width(image_of(dot, grid, covered=np.zeros(grid.shape, bool)), BOX)
    assert nothing.peak.value is None
