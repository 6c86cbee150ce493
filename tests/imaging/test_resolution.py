"""The dip between two neighbours: Gaussians with a closed form, and two made points."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qualify.imaging.field import focal_spot_mm
from qualify.imaging.grid import Grid
from qualify.imaging.resolution import dip_between
from qualify.recording.points import record_points
from tests.imaging.imagers import array_of, total_focusing
from tests.imaging.made_images import blob, image_of

FINE = Grid.over((-4, 4), (8, 12), 0.1)
UNIT = ((1.0, 0.0), (0.0, 1.0))


@given(apart=st.integers(15, 30), weaker=st.floats(0.3, 1))
def test_dip_between_two_gaussians(apart, weaker):
    """a·exp(−x²/2) and exp(−(x − d)²/2): minimum and lower maximum found on a fine line.

    Pixels of 0.1 σ: at the minimum, where the two slopes of d/2 ≤ 3 σ meet, a pixel lies up to
    .05 σ off: cosh(3·.05), 0.097 dB.
    """
    d = 0.2 * apart
    values = weaker * blob(FINE, -d / 2, 10, UNIT) + blob(FINE, d / 2, 10, UNIT)
    found = dip_between(
        image_of(values, FINE), (-d / 2, 10), (d / 2, 10), reach_mm=0.4, least_dip_db=6
    )
    x = np.linspace(-d / 2 - 0.4, d / 2 + 0.4, 20_001)
    line = weaker * np.exp(-0.5 * (x + d / 2) ** 2) + np.exp(-0.5 * (x - d / 2) ** 2)
    first, second = np.argmax(line[x < -d / 2 + 0.4]), np.argmax(np.where(x > d / 2 - 0.4, line, 0))
    known = 20 * math.log10(min(line[first], line[second]) / line[first : second + 1].min())
    assert found.dip_db == pytest.approx(known, abs=0.1)
    assert found.resolved == (found.dip_db >= 6)


def test_two_points_side_by_side_and_one_above_the_other():
    """16 elements, 20 mm deep, λF/D = 2.46 mm: twice that apart resolved, half of it not.

    In depth the pulse is 0.74 mm wide; 2 mm apart is resolved, along an oblique line too.
    """
    spot = focal_spot_mm(1.18, 20, 9.6)
    grid = Grid.over((-4, 4), (17, 23), 0.1)
    for place, other, resolved in (
        ((-spot, 20.0), (spot, 20.0), True),
        ((-spot / 4, 20.0), (spot / 4, 20.0), False),
        ((0.0, 19.0), (0.0, 21.0), True),
        ((-1.5, 19.0), (1.5, 21.0), True),
    ):
        image = total_focusing(record_points(array_of(16), [place, other], samples=700), grid)
        found = dip_between(image, place, other, reach_mm=0.3, least_dip_db=6)
        assert found.resolved is resolved
        assert (found.dip_db > 10) is resolved


def test_no_dip_where_nothing_is_shown():
    values = blob(FINE, -2, 10, UNIT) + blob(FINE, 2, 10, UNIT)
    gap = np.broadcast_to(np.abs(FINE.x_mm()[None, :]) > 0.5, FINE.shape)
    places = {"first_mm": (-2, 10), "second_mm": (2, 10), "reach_mm": 0.4, "least_dip_db": 6}
    hidden = dip_between(image_of(values, FINE, covered=gap), **places)
    assert (hidden.dip_db, hidden.resolved) == (None, None)
    assert "line is not covered" in hidden.reason
    no_db = dip_between(image_of(values, FINE, unit="coherence"), **places)
    assert "no amplitude" in no_db.reason
    blind = dip_between(image_of(values, FINE, covered=~gap), **places)
    assert "does not cover" in blind.reason
