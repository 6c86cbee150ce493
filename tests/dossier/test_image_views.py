"""Panels of images hold what the images and the gate say."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "imaging"))
from made import TOTAL, coherence, points

from qualify.dossier.image_views import coverage_views, image_panels
from qualify.imaging.focus import make_images
from qualify.imaging.grid import Grid
from qualify.recording.gate import GateResult, Reason

GRID = Grid.over((-3.0, 3.0), (15.0, 25.0), 0.5)
MODES = (TOTAL.model_copy(update={"threshold": -20.0}), coherence())


@pytest.fixture(scope="module")
def panels():
    images = make_images(points([[0.0, 20.0]], 0.5, elements=8), MODES, GRID)
    rejected = GateResult((Reason("dead_elements", "2 dead elements"),), ())
    return images, image_panels(images, MODES, rejected, range_db=30.0, scale_bar_mm=None)


def test_panels_show_the_images_on_ranges_told(panels):
    images, drawn = panels
    for image, panel in zip(images, drawn, strict=True):
        np.testing.assert_array_equal(panel.values, image.values)
        np.testing.assert_array_equal(panel.covered, image.covered)
        assert (panel.mode, panel.unit) == (image.mode, image.unit)
        assert panel.rejected == ("2 dead elements",)
        assert panel.truth is None
    # a point of half of full scale: -6.02 dB, so that colours end at -6 dB
    assert (drawn[0].low, drawn[0].high) == (-36.0, -6.0)
    assert (drawn[1].low, drawn[1].high) == (0.0, 1.0)
    assert (drawn[0].threshold, drawn[0].contour) == (-20.0, True)
    assert (drawn[1].threshold, drawn[1].contour) == (None, False)
    assert drawn[1].random_99 == images[1].random_99
    assert coverage_views(drawn)[0].covered is drawn[0].covered


@pytest.mark.parametrize(("width", "bar"), [(6.0, 2.0), (26.0, 10.0), (0.9, 0.2), (100.0, 50.0)])
def test_the_scale_bar_is_round_and_at_most_half_the_width(width, bar):
    grid = Grid(0.0, 10.0, width / 10, width / 10, 10, 4)
    images = make_images(points([[0.0, 20.0]], elements=4), MODES[:1], grid)
    (panel,) = image_panels(images, MODES[:1], GateResult((), ()), range_db=30.0, scale_bar_mm=None)
    assert panel.scale_bar_mm == pytest.approx(bar)
