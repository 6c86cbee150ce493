"""What the modes of one recording show, against each other and against closed forms."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from made import TOTAL, coherence, noisy, points
from plain import exact_sums

from qualify.imaging.focus import make_images
from qualify.imaging.grid import Grid
from qualify.imaging.modes import Corrections, Mode

GRID = Grid.over((-4.0, 4.0), (14.0, 24.0), 0.4)
HANN = Corrections(window="hann", directivity=True, spreading=True)
MEASURES = (
    "vector_coherence", "phase_coherence_factor", "sign_coherence_factor", "coherence_factor"
)  # fmt: skip


@pytest.fixture(scope="module")
def recording():
    return noisy(points([[0.0, 20.0], [2.5, 17.0]], [0.4, 0.2], elements=16), 0.02)


def test_full_scale_is_the_unit_of_amplitudes(recording):
    """Counts of a 16-bit receiver, full scale 32768, show what fractions of full scale show."""
    counts = replace(recording, samples=recording.samples * np.float32(32768), full_scale=32768.0)
    (image,), (known,) = (make_images(one, [TOTAL], GRID) for one in (counts, recording))
    np.testing.assert_allclose(image.values, known.values, atol=1e-3)


def test_weighted_amplitude_is_amplitude_times_coherence(recording):
    weighted = Mode(
        name="weighted", focusing="total_focusing", show="weighted_amplitude",
        measure="coherence_factor", corrections=HANN,
    )  # fmt: skip
    plain = TOTAL.model_copy(update={"corrections": HANN})
    shown = make_images(recording, [weighted, plain, coherence("coherence_factor")], GRID)
    product = shown[1].amplitude() * shown[2].values
    np.testing.assert_allclose(shown[0].amplitude(), product, rtol=1e-4, atol=1e-9)
    assert shown[0].unit == "db"


@pytest.mark.parametrize("pairs", ["all", "receive"])
@pytest.mark.parametrize("measure", MEASURES)
def test_corrections_weigh_amplitudes_and_leave_coherence_alone(recording, measure, pairs):
    modes = [coherence(measure, pairs), coherence(measure, pairs, corrections=HANN)]
    one, other = make_images(recording, modes, GRID)
    np.testing.assert_array_equal(one.values, other.values)
    assert one.values.max() > one.random_99 > one.random_level > 0.0


def test_a_window_weighs_pairs_by_both_of_its_ends():
    """|Σ wᵢ wⱼ sᵢⱼ| / (Σ w)² with w = sin²(π(k + ½)/n), from exact delays; −50 dB."""
    place, n = np.array([[1.0, 20.0]]), 32
    made, mode = points(place), TOTAL.model_copy(update={"corrections": Corrections(window="hann")})
    grid = Grid.over((-2.0, 4.0), (18.0, 22.0), 0.25)
    x, z = np.meshgrid(grid.x_mm(), grid.z_mm())
    weights = np.sin(np.pi * (np.arange(n) + 0.5) / n) ** 2
    signal, _, _ = exact_sums(made, place, [1.0], np.column_stack([x.ravel(), z.ravel()]), weights)
    wanted = np.abs(signal).reshape(grid.shape) / weights.sum() ** 2
    (image,) = make_images(made, [mode], grid)
    assert np.abs(image.amplitude() - wanted).max() < 10 ** (-50 / 20)


def test_a_place_seen_by_one_element_is_not_covered():
    """Elements every 0.6 mm, seen within 30°: two or more from z = 0.3/tan 30° = 0.52 mm on."""
    made = points([[0.0, 20.0]], elements=16)
    mode = TOTAL.model_copy(update={"largest_angle_deg": 30.0})
    (image,) = make_images(made, [mode], Grid.over((0.0, 0.0), (0.1, 2.0), 0.1))
    np.testing.assert_array_equal(image.covered[:, 0], image.grid.z_mm() > 0.5197)


def test_the_sum_is_linear_in_the_recording():
    """Sums of two recordings add up: in phase and in quadrature, before any modulus is taken."""
    from qualify.imaging.focus import Focusing
    from qualify.imaging.signals import prepare

    one, other = points([[0.0, 20.0]], 0.3), points([[1.0, 18.0]], -0.2)
    both = replace(one, samples=one.samples + other.samples)
    rows = [
        Focusing(made, GRID, prepare(made), False).rows(TOTAL, "pairs", weighted=False)[:2]
        for made in (one, other, both)
    ]
    np.testing.assert_allclose(rows[0] + rows[1], rows[2], atol=1e-3)
