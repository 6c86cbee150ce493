"""The compiled loops against closed forms and against plain numpy."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

sys.path.insert(0, str(Path(__file__).parent))
from made import CONTACT, COUPLINGS, TOTAL, coherence, noisy, points
from plain import exact_sums, rows_of

from qualify.imaging.focus import make_images
from qualify.imaging.grid import Grid
from qualify.imaging.kernels import PAIR_ROWS, sum_pairs
from qualify.imaging.laws import PIXELS, _crossing
from qualify.imaging.modes import Corrections
from qualify.imaging.phase_kernels import (
    PHASE_ROWS,
    RECEIVE_ROWS,
    _angle,
    sum_phases,
    sum_receivers,
)
from qualify.imaging.plain import analytic_signals, one_way_us, plain_sums
from qualify.imaging.signals import prepare
from qualify.imaging.tiles import grid_pixels, run, tile_order
from qualify.imaging.total_focusing import total_focusing_law
from qualify.recording.paths import crossings_mm, times_us
from qualify.recording.probe import element_centres_mm

PLACES, SIZES = np.array([[0.0, 20.0], [3.33, 28.0], [-4.7, 24.0]]), np.array([0.6, 0.3, -0.2])
GRID = Grid.over((-8.0, 8.0), (12.0, 32.0), 0.2)


def places_of(grid):
    x, z = np.meshgrid(grid.x_mm(), grid.z_mm())
    return np.column_stack([x.ravel(), z.ravel()])


@pytest.mark.parametrize("coupling", COUPLINGS)
@pytest.mark.parametrize("start_us", [0.0, 2.37])
def test_total_focusing_is_the_sum_of_exact_delays(coupling, start_us):
    """Error at most −50 dB of the largest amplitude against exact delays in double precision.

    Measured −56 dB with 32 elements: the nearest sample of a signal moved down to zero frequency.
    """
    grid = Grid.over((-8.0, 8.0), (12.0, 32.0), 0.37)
    recording = points(PLACES, SIZES, coupling=COUPLINGS[coupling], start_us=start_us)
    (image,) = make_images(recording, [TOTAL], grid)
    signal, _, _ = exact_sums(recording, PLACES, SIZES, places_of(grid))
    wanted = np.abs(signal).reshape(grid.shape) / 32**2
    assert np.abs(image.amplitude() - wanted).max() < 10 ** (-50 / 20) * wanted.max()
    assert image.covered.all()


def test_a_small_array_is_as_exact_as_a_large_one():
    """Six elements have too few pairs for errors of the nearest sample to go in the mean."""
    place, grid = [[0.4, 15.0]], Grid.over((-2.0, 2.0), (14.0, 16.0), 0.05)
    recording = points(place, elements=6)
    (image,) = make_images(recording, [TOTAL], grid)
    signal, _, _ = exact_sums(recording, place, [1.0], places_of(grid))
    wanted = np.abs(signal).reshape(grid.shape) / 6**2
    assert np.abs(image.amplitude() - wanted).max() < 10 ** (-54 / 20) * wanted.max()


def test_coherence_is_that_of_exact_delays_where_signals_overlap():
    """Near a point every pair holds its pulse, and unit phasors follow from the closed form."""
    recording = points([[0.0, 20.0]])
    grid = Grid.over((-0.3, 0.3), (19.7, 20.3), 0.05)
    (image,) = make_images(recording, [coherence()], grid)
    _, unit, _ = exact_sums(recording, [[0.0, 20.0]], [1.0], places_of(grid))
    np.testing.assert_allclose(image.values.ravel(), np.abs(unit) / 32**2, atol=2e-4)


@pytest.mark.parametrize("coupling", COUPLINGS)
@pytest.mark.parametrize(("largest_deg", "between"), [(None, False), (12.0, True)])
def test_every_row_is_that_of_plain_numpy(coupling, largest_deg, between):
    """Same samples, double precision: 2e-4 of the largest value of each row.

    For 97 of 100 pixels: single precision rounds a few times to the neighbouring sample, and to
    the other side of a change of sign.
    """
    recording = noisy(points(PLACES, SIZES, elements=12, coupling=COUPLINGS[coupling]), 0.05)
    grid = Grid.over((-5.0, 5.0), (14.0, 26.0), 0.55)
    mode = TOTAL.model_copy(
        update={
            "largest_angle_deg": largest_deg,
            "corrections": Corrections(
                window="hann", directivity=True, spreading=coupling == "contact"
            ),
        }
    )
    signals, pixels = prepare(recording), grid_pixels(grid)
    law = total_focusing_law(recording, signals, mode, pixels, weighted=True)
    law = law._replace(between=between)
    pairs = run(sum_pairs, signals, law, PAIR_ROWS)
    taken = pairs[5:]
    times, part, weights = _declared(recording, mode, pixels)
    wanted = rows_of(signals, times, part, weights, recording.start_us, between)
    np.testing.assert_allclose(taken[0], part.sum(axis=0), atol=1e-4)
    np.testing.assert_allclose(taken[1], (part * weights).sum(axis=0), rtol=1e-5, atol=1e-5)
    found = (
        pairs[:5],
        run(sum_phases, signals, law, PHASE_ROWS),
        run(sum_receivers, signals, law, RECEIVE_ROWS),
    )
    for rows, known in zip(found, wanted, strict=True):
        scale = np.abs(known).max(axis=1, keepdims=True)
        apart = np.abs(rows - known) / scale
        assert np.quantile(apart, 0.97) < 2e-4


def _declared(recording, mode, pixels):
    """Return times, participation and weights (elements, pixels) from their definitions."""
    coupling, probe = recording.coupling, recording.probe
    centres = element_centres_mm(probe, coupling)
    place = np.column_stack([pixels.x_mm, pixels.z_mm])
    times = times_us(centres, place, coupling, recording.medium)
    apart = place[None, :, 0] - centres[:, None, 0]
    below = recording.medium.longitudinal_m_per_s * 1e-3
    if coupling.kind == "contact":
        leg = np.hypot(apart, place[None, :, 1])
        sine = steep = apart / leg
        above = below
    else:
        above = coupling.longitudinal_m_per_s * 1e-3
        crossing = crossings_mm(centres, place, above, below)
        run_mm = crossing - centres[:, None, 0]
        steep = run_mm / np.hypot(run_mm, centres[:, None, 1])
        rest = place[None, :, 0] - crossing
        sine, leg = rest / np.hypot(rest, place[None, :, 1]), np.ones_like(rest)
    largest = mode.largest_angle_deg
    part = np.abs(sine) <= (2.0 if largest is None else np.sin(np.radians(largest)))
    n = probe.elements
    window = np.sin(np.pi * (np.arange(n) + 0.5) / n)[:, None] ** 2
    u = probe.element_width_mm * probe.centre_mhz / above * steep
    weights = window * np.sinc(u)
    if mode.corrections.spreading:
        weights = weights * np.sqrt(leg)
    return times, part.astype(float), weights


def test_the_plain_pair_loop_gives_the_same_image():
    """The benchmark's baseline does the same work, with the error of its linear interpolation.

    At most (2π f Δt)²/8 of the amplitude, 4.9 % at ten samples a period (the remainder of the
    linear interpolant, Abramowitz and Stegun 25.2.1, from memory).
    """
    recording = points(PLACES, SIZES)
    (image,) = make_images(recording, [TOTAL], GRID)
    signal, _ = plain_sums(analytic_signals(recording), one_way_us(recording, GRID), 50.0, 0.0)
    times, analytic = one_way_us(recording, GRID), analytic_signals(recording)
    every, _ = plain_sums(analytic, times, 50.0, 0.0, every_pair=True)
    np.testing.assert_allclose(every, signal, atol=1e-6 * np.abs(signal).max())
    known = np.abs(signal).reshape(GRID.shape) / 32**2
    assert np.abs(image.amplitude() - known).max() < (0.2 * np.pi) ** 2 / 8 * known.max()


def test_threads_change_no_digit():
    recording = noisy(points(PLACES, SIZES), 0.1)
    modes = [TOTAL, coherence(), coherence("phase_coherence_factor"), coherence(pairs="receive")]
    one = make_images(recording, modes, GRID, threads=False)
    many = make_images(recording, modes, GRID)
    for a, b in zip(one, many, strict=True):
        assert a.values.tobytes() == b.values.tobytes()


@given(st.floats(-1e3, 1e3, width=32), st.floats(-1e3, 1e3, width=32))
def test_the_compiled_angle_is_the_arc_tangent(x, y):
    """Abramowitz and Stegun 4.4.49, recalled from memory: tested to 2e-6 rad here."""
    if max(abs(x), abs(y)) > 1e-3:
        found = float(_angle(np.float32(y), np.float32(x)))
        assert abs(np.exp(1j * found) - np.exp(1j * np.arctan2(y, x))) < 2e-6


def test_a_pixel_outside_the_recorded_time_is_not_covered():
    """The last sample at 10.2 µs is 30 mm of path there and back at 5.9 mm/µs, less off axis."""
    recording = points([[0.0, 20.0]], samples=512, coupling=CONTACT)
    (image,) = make_images(recording, [TOTAL], Grid.over((0.0, 0.0), (5.0, 60.0), 0.1))
    centres = recording.probe.along_mm()
    way = 2.0 * np.hypot(centres[0], image.grid.z_mm()) / 5.9
    np.testing.assert_array_equal(image.covered[:, 0], way <= 511.5 / 50.0)


@pytest.mark.parametrize("coupling", ["wedge", "water"])
def test_compiled_paths_through_a_standoff_are_those_of_fermat(coupling):
    """Within 1e-6 µs from 1 mm below the face on, and 1e-3 µs (a 200th of a period) on it."""
    recording = points([[0.0, 20.0]], elements=8, coupling=COUPLINGS[coupling])
    below = recording.medium.longitudinal_m_per_s * 1e-3
    above = recording.coupling.longitudinal_m_per_s * 1e-3
    for centre in element_centres_mm(recording.probe, recording.coupling):
        for x in np.linspace(-40.0, 40.0, 41):
            for z, limit in ((0.0, 1e-3), (1.0, 1e-6), (8.0, 1e-9), (60.0, 1e-9)):
                across = abs(x - centre[0])
                c = _crossing(across, -centre[1], z, above, below)
                found = np.hypot(c, centre[1]) / above + np.hypot(across - c, z) / below
                known = times_us(centre, [[x, z]], recording.coupling, recording.medium)[0, 0]
                assert found == pytest.approx(known, abs=limit)


def test_an_offset_of_each_signal_changes_no_image():
    """The mean of a signal is no echo: it is taken off exactly."""
    recording = points(PLACES, SIZES)
    offset = np.linspace(-0.5, 0.5, len(recording.samples), dtype=np.float32)
    moved = replace(recording, samples=recording.samples + offset[:, None])
    (image,), (known,) = (make_images(one, [TOTAL], GRID) for one in (moved, recording))
    np.testing.assert_allclose(image.amplitude(), known.amplitude(), atol=2e-6)


@pytest.mark.parametrize(("rows", "columns"), [(1, 1), (16, 16), (37, 5), (5, 300), (33, 29)])
def test_every_pixel_stands_in_one_tile(rows, columns):
    """In whole tiles, of which only the last repeats a pixel; a tile is narrow: neighbours in it
    are neighbours on the grid."""
    row, column = tile_order(rows, columns)
    count = rows * columns
    assert row.size == -(-count // PIXELS) * PIXELS
    np.testing.assert_array_equal(np.sort((row * columns + column)[:count]), np.arange(count))
    assert (row[count:] == row[count - 1]).all()
    assert (column[count:] == column[count - 1]).all()
    assert np.abs(np.diff(column)).max(initial=0) <= 1
    assert np.abs(np.diff(row)).max(initial=0) <= 15
