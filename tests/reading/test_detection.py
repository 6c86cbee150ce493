"""Reading by rule: its false calls and hits against closed forms, its groups against invariants."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from qualify.imaging.region import Box
from qualify.reading.detection import (
    Background,
    Looking,
    background_of,
    groups,
    largest,
    responses,
)
from qualify.reading.extent import AT_EDGE, IN_GRAIN, ONE_TIP, extent_of
from tests.reading.noise_images import COLUMNS, GRID, LOOKING, ROWS, image_of, rayleigh

CELLS = COLUMNS * ROWS
FLAT = Background((0.0, 50.0), (-60.0, -60.0), 20.0, -60.0, 1)


def _peaks(count, seed):
    rng = np.random.default_rng(seed)
    images = [image_of(rayleigh(rng)) for _ in range(count)]
    background = background_of(images, LOOKING, smooth_mm=100.0, reference_z_mm=20.0)
    return images, background


def test_background_is_the_root_mean_square_in_decibels():
    """Mean square of a Rayleigh amplitude: 20 lg of its rms; 300 images of 600 cells, 4 errors."""
    _, background = _peaks(300, 1)
    error = 10.0 / np.log(10.0) / np.sqrt(300 * COLUMNS * ROWS / 2)
    assert background.reference == pytest.approx(-60.0, abs=4 * error)


def test_false_calls_on_rayleigh_noise_come_as_often_as_the_closed_form_says():
    """P(a cell exceeds t times the rms) = exp(-t²) (Rayleigh 1880); of m cells 1 - (1 - p)^m."""
    images, background = _peaks(1500, 2)
    rate = 0.10
    over = np.sqrt(-np.log(1.0 - (1.0 - rate) ** (1.0 / CELLS)))
    threshold = background.reference + 20.0 * np.log10(over)
    called = sum(
        bool(groups(i, responses(i, background, LOOKING), threshold, LOOKING)) for i in images
    )
    error = np.sqrt(rate * (1 - rate) / len(images))
    assert called / len(images) == pytest.approx(rate, abs=4 * error)


def test_a_constant_signal_is_found_as_often_as_rice_and_marcum_say():
    """POD of a signal A in Rayleigh noise of rms r at threshold t: Q₁(A√2/r, t√2/r).

    Rice 1945, Marcum 1960; scipy.stats.rice is the reference. One cell is looked at.
    """
    rng = np.random.default_rng(3)
    where = Looking(Box((-0.4, 0.6), (19.6, 20.4)), (), 0.5, 0.5)
    ratio, limit, trials = 2.5, 2.0, 3000
    hits = 0
    for _ in range(trials):
        parts = rng.standard_normal((2, ROWS, COLUMNS)) * np.sqrt(0.5)
        amplitude = 1e-3 * np.hypot(parts[0] + ratio, parts[1])
        image = image_of(amplitude)
        threshold = -60.0 + 20.0 * np.log10(limit)
        hits += bool(groups(image, responses(image, FLAT, where), threshold, where))
    sigma = np.sqrt(0.5)
    pod = stats.rice.sf(limit / sigma, ratio / sigma)
    assert where.within(GRID).sum() == 1
    assert hits / trials == pytest.approx(pod, abs=4 * np.sqrt(pod * (1 - pod) / trials))


def test_one_threshold_on_responses_follows_the_grain_over_depth():
    """Grain 20 dB louder below 20 mm: the same share of cells exceeds (4 errors)."""
    rng = np.random.default_rng(4)
    louder = np.where(GRID.z_mm() < 20.0, 1.0, 10.0)[:, None]
    images = [image_of(rayleigh(rng) * louder) for _ in range(200)]
    background = background_of(images, LOOKING, smooth_mm=1.0, reference_z_mm=10.0)
    threshold = background.reference + 20.0 * np.log10(2.0)
    share = np.mean([responses(i, background, LOOKING) >= threshold for i in images], axis=(0, 2))
    error = np.sqrt(np.exp(-4.0) / (200 * COLUMNS * ROWS / 2))
    for part in (share[GRID.z_mm() < 20.0], share[GRID.z_mm() >= 20.0]):
        assert part.mean() == pytest.approx(np.exp(-4.0), abs=4 * error)
    shown = background.threshold_at(threshold, np.array([10.0, 30.0]))
    assert shown[1] - shown[0] == pytest.approx(20.0, abs=1.0)


def test_masks_and_what_is_not_covered_are_not_read():
    amplitude = np.full((ROWS, COLUMNS), 1e-4)
    amplitude[5, 3] = amplitude[20, 10] = 0.1
    masked = Looking(LOOKING.region, (Box((-9.5, 9.5), (5.0, 12.0)),), 0.5, 0.5)
    image = image_of(amplitude)
    found = groups(image, responses(image, FLAT, masked), -40.0, masked)
    assert [(g.x_mm, g.z_mm) for g in found] == [(0.5, 25.0)]
    image.covered[20, 10] = False
    assert groups(image, responses(image, FLAT, masked), -40.0, masked) == ()
    image.covered[:] = False
    assert largest(responses(image, FLAT, masked)) is None


@pytest.mark.parametrize(("apart", "wanted"), [(3, 1), (5, 2)])
def test_groups_no_farther_apart_than_declared_are_one_indication(apart, wanted):
    amplitude = np.full((ROWS, COLUMNS), 1e-4)
    amplitude[10, 5] = amplitude[10, 5 + apart] = 0.1
    looking = Looking(LOOKING.region, (), 4.0, 4.0)
    image = image_of(amplitude)
    found = groups(image, responses(image, FLAT, looking), -40.0, looking)
    assert len(found) == wanted
    if wanted == 1:
        assert found[0].x_mm == pytest.approx(-9.5 + 5 + apart / 2)
        assert found[0].width_mm == apart + 1.0  # of a millimetre a column, both ends counted
    else:
        assert [group.width_mm for group in found] == [1.0, 1.0]


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.floats(-60.0, -48.0), st.floats(0.0, 6.0))
def test_a_higher_threshold_adds_no_pixel_and_no_response(seed, threshold, by):
    image = image_of(rayleigh(np.random.default_rng(seed)))
    response = responses(image, FLAT, LOOKING)
    low, high = (groups(image, response, t, LOOKING) for t in (threshold, threshold + by))
    pixels = [
        np.any([g.pixels for g in found], axis=0) if found else False for found in (low, high)
    ]
    assert not np.any(pixels[1] & ~np.asarray(pixels[0]))
    assert sum(g.pixels.sum() for g in low) == np.sum(response >= threshold)
    assert {g.response for g in high} <= {g.response for g in low} | {
        float(r) for r in response[response >= threshold + by]
    }


def _spots(*places, sigma=2.0, tall=1.0):
    x, z = np.meshgrid(GRID.x_mm(), GRID.z_mm())
    made = [
        0.1 * np.exp(-((x - a) ** 2) / (2 * sigma**2) - (z - b) ** 2 / (2 * tall**2))
        for a, b in places
    ]
    return np.maximum(np.max(made, axis=0), 1e-6)


def _one(amplitude, method, unit="db"):
    image = image_of(amplitude, unit)
    background = FLAT if unit == "db" else Background((0.0, 50.0), (0.01, 0.01), 20.0, 0.01, 1)
    looking = Looking(LOOKING.region, (), 4.0, 4.0)
    threshold = -40.0 if unit == "db" else 0.05
    found = groups(image, responses(image, background, looking), threshold, looking)
    return extent_of(image, found[0], background, looking, method)


def test_six_decibel_drop_of_a_gaussian_echo_is_its_closed_form():
    """Half of the peak's amplitude at ± σ √(2 ln 2.0) (20 lg 2 = 6.02 dB); grid of 1 mm, 2 %."""
    found = _one(_spots((0.5, 20.0)), "six_db_drop")
    half = 10.0 ** (-6.0 / 20.0)
    assert found.mm == pytest.approx(2 * 2.0 * np.sqrt(2.0 * np.log(1.0 / half)), rel=0.02)


def test_coherence_extent_of_a_gaussian_spot_is_its_full_width_at_half_maximum():
    found = _one(_spots((0.5, 20.0)), "coherence_extent", "coherence")
    assert found.mm == pytest.approx(2 * 2.0 * np.sqrt(2.0 * np.log(2.0)), rel=0.02)


def test_tips_are_as_far_apart_as_their_maxima():
    found = _one(_spots((-3.5, 18.0), (2.5, 21.0), sigma=1.0), "tip_separation")
    assert found.mm == pytest.approx(np.hypot(6.0, 3.0))


def test_what_can_not_be_sized_says_why():
    assert _one(_spots((0.5, 20.0)), "tip_separation").reason == ONE_TIP
    assert _one(_spots((9.5, 20.0)), "six_db_drop").reason == AT_EDGE
    quiet = Background((0.0, 50.0), (-24.0, -24.0), 20.0, -24.0, 1)
    image = image_of(_spots((0.5, 20.0)))
    found = groups(image, responses(image, quiet, LOOKING), -22.0, LOOKING)
    assert extent_of(image, found[0], quiet, LOOKING, "six_db_drop").reason == IN_GRAIN
