"""Panels of images hold what the images and the gate say."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "imaging"))
from made import TOTAL, coherence, points

from qualify.dossier.image_views import EMPTY_DB, Shown, coverage_views, image_panels, top_db
from qualify.figures.image_panel import TrueTarget
from qualify.imaging.focus import make_images
from qualify.imaging.grid import Grid
from qualify.recording.gate import GateResult, Reason

GRID = Grid.over((-3.0, 3.0), (15.0, 25.0), 0.5)
MODES = (TOTAL.model_copy(update={"threshold": -20.0}), coherence())


@pytest.fixture(scope="module")
def panels():
    recording = replace(points([[0.0, 20.0]], 0.5, elements=8), block="B7", position_mm=120.0)
    images = make_images(recording, MODES, GRID)
    rejected = GateResult((Reason("dead_elements", "2 dead elements"),), ())
    return images, image_panels(images, MODES, recording, rejected, Shown(30.0, top_db(images)))


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
    assert f"recording {images[0].recording[:12]}, block B7 at 120 mm" in drawn[0].notes
    assert coverage_views(drawn)[0].covered is drawn[0].covered


@pytest.mark.parametrize(("width", "bar"), [(6.0, 2.0), (26.0, 10.0), (0.9, 0.2), (100.0, 50.0)])
def test_the_scale_bar_is_round_and_at_most_half_the_width(width, bar):
    grid = Grid(0.0, 10.0, width / 10, width / 10, 10, 4)
    recording = points([[0.0, 20.0]], elements=4)
    images = make_images(recording, MODES[:1], grid)
    (panel,) = image_panels(images, MODES[:1], recording, GateResult((), ()), Shown(30.0, 0.0))
    assert panel.scale_bar_mm == pytest.approx(bar)


def test_images_of_nothing_stay_dark_and_unknown_scales_are_told():
    recording = replace(points([[0.0, 20.0]], 0.0, elements=8), full_scale=None)
    images = make_images(recording, MODES[:1], GRID)
    assert top_db(images) == EMPTY_DB
    assert images[0].values.max() < EMPTY_DB - 40.0
    shown = Shown(40.0, EMPTY_DB)
    (panel,) = image_panels(images, MODES[:1], recording, GateResult((), ()), shown)
    assert panel.reference == "1 in the unit of the samples"


def test_only_targets_that_reach_into_the_image_are_drawn():
    """The grid covers x ±3 mm, z 15 to 25 mm; a hole of 1 mm at x = 3.4 mm reaches into it."""
    recording = points([[0.0, 20.0]], elements=4)
    images = make_images(recording, MODES[:1], GRID)
    holes = [
        TrueTarget(x, z, 0.5, 0.5, "hole") for x, z in ((3.4, 20), (3.6, 20), (0, 14), (0, 26))
    ]
    (panel,) = image_panels(
        images, MODES[:1], recording, GateResult((), ()), Shown(30.0, 0.0, truth=tuple(holes))
    )
    assert panel.truth == (holes[0],)
    (panel,) = image_panels(
        images, MODES[:1], recording, GateResult((), ()), Shown(30.0, 0.0, truth=tuple(holes[1:]))
    )
    assert panel.truth is None
