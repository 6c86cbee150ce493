"""What the modes of one recording show, against each other and against closed forms."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from made import TOTAL, coherence, noisy, points
from plain import exact_sums

from qualify.imaging.focus import Setting, make_images
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


@pytest.mark.parametrize(("least", "from_mm"), [(None, 0.7795), (3, 1.2991)])
def test_a_place_seen_by_too_few_elements_is_not_covered(least, from_mm):
    """x = 0.15 lies 0.15, 0.45, 0.75 mm from elements: within 30° of them from √3 of it."""
    made = points([[0.0, 20.0]], elements=16)
    mode = TOTAL.model_copy(update={"largest_angle_deg": 30.0, "least_elements": least})
    (image,) = make_images(made, [mode], Grid.over((0.15, 0.15), (0.1, 2.0), 0.1))
    np.testing.assert_array_equal(image.covered[:, 0], image.grid.z_mm() > from_mm)
    assert image.recorded.all()


def test_levels_of_chance_are_those_where_the_fewest_elements_take_part():
    """White noise, elements within 30°: at most 1 in 100 pixels pass the 99 % level, and then some.

    The level of the most elements was passed by 7 in 100: the shallow pixels have few.
    """
    made = noisy(points([[0.0, 20.0]], 0.0, elements=16, samples=1400), 0.05)
    grid = Grid.over((-12.0, 12.0), (8.0, 70.0), 0.8)
    plain, few = coherence(), coherence(largest_angle_deg=30.0, least_elements=6)
    images = make_images(made, [plain, few], grid)
    for image in images:
        shown = image.values[image.covered]
        share = np.mean(shown > image.random_99)
        assert share < 0.01 + 3 * np.sqrt(0.01 / len(shown))
    assert images[0].fewest_elements == 16
    assert images[1].fewest_elements == 6
    assert images[1].random_99 > images[0].random_99


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


def test_a_length_of_a_large_prime_changes_no_image():
    """541 samples, a prime, filled up with zeros, beside their first 540, on an offset of half the
    echo: 1e-3 of each value and 1e-4 of the largest."""
    made = points([[0.0, 20.0]], 0.4, elements=16, samples=541)
    made = replace(made, samples=made.samples + np.float32(0.2))
    cut = replace(made, samples=made.samples[..., :540])
    one, other = (make_images(held, [TOTAL], GRID)[0].amplitude() for held in (made, cut))
    assert one.max() == pytest.approx(0.4, rel=0.05)
    np.testing.assert_allclose(one, other, rtol=1e-3, atol=1e-4 * one.max())


def test_what_recordings_share_changes_no_image(recording):
    """In one setting in turn: the recording, a louder one, one that starts later, another grid and
    the first again: bit by bit the images of each alone, in every way of focusing; laws are made
    once a geometry."""
    linear = Mode(name="linear", focusing="linear", aperture_elements=6)
    sweep = {"angle_from_deg": -20.0, "angle_to_deg": 20.0, "angle_step_deg": 5.0}
    modes = [TOTAL, coherence(), linear, Mode(name="sectorial", focusing="sectorial", **sweep)]
    louder = replace(recording, samples=recording.samples * np.float32(1.5))
    later = replace(recording, start_us=3.0)
    coarse = Grid.over((-4.0, 4.0), (14.0, 24.0), 0.5)
    shared, laws = Setting(), []
    for one, grid in (
        (recording, GRID), (louder, GRID), (later, GRID), (recording, coarse), (recording, GRID)
    ):  # fmt: skip
        images = make_images(one, modes, grid, setting=shared)
        laws.append(next(held for key, held in shared.held.items() if key.startswith("law")))
        for image, alone in zip(images, make_images(one, modes, grid), strict=True):
            for part in ("values", "covered", "recorded"):
                np.testing.assert_array_equal(getattr(image, part), getattr(alone, part))
            assert image.fewest_elements == alone.fewest_elements
    assert laws[0] is laws[1]
    assert len({id(law) for law in laws}) == 4


@pytest.mark.parametrize("pairs", ["all", "receive"])
@pytest.mark.parametrize("measure", MEASURES)
def test_silence_and_dead_elements_are_not_coherent(measure, pairs):
    """A signal that is zero has no phase; three dead elements of 16 make noise no more coherent."""
    silent = points([[0.0, 20.0]], 0.0, elements=16)
    (image,) = make_images(silent, [coherence(measure, pairs)], GRID)
    assert image.values.max() < 1e-3
    noise = noisy(silent, 0.05)
    first, second = np.triu_indices(16)
    dead = np.isin(first, (2, 7, 11)) | np.isin(second, (2, 7, 11))
    samples = np.where(dead[:, None], np.float32(0.0), noise.samples).astype(np.float32)
    (image,) = make_images(replace(noise, samples=samples), [coherence(measure, pairs)], GRID)
    assert np.mean(image.values > image.random_99) < 0.04
