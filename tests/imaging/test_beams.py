"""Linear and sectorial scans against closed forms of one point."""

import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
from made import CONTACT, COUPLINGS, WATER, WEDGE, points
from plain import exact_signals

from qualify.errors import InputError
from qualify.imaging.beams import around_mm, beams_of
from qualify.imaging.focus import make_images
from qualify.imaging.grid import Grid
from qualify.imaging.modes import Corrections, Mode
from qualify.recording.probe import element_centres_mm


def linear(size=16, focus=None):
    return Mode(name="linear", focusing="linear", aperture_elements=size, focus_mm=focus)


def sectorial(focus=None, step=1.0, ends=(-30.0, 30.0)):
    return Mode(
        name="sectorial",
        focusing="sectorial",
        focus_mm=focus,
        angle_from_deg=ends[0],
        angle_to_deg=ends[1],
        angle_step_deg=step,
    )


@pytest.mark.parametrize("coupling", COUPLINGS)
@pytest.mark.parametrize("mode", [linear(focus=25.0), sectorial(25.0)], ids=lambda m: m.name)
def test_a_point_in_the_focus_of_a_beam_has_its_full_amplitude(coupling, mode):
    """All pairs arrive in phase there: the amplitude is the point's own, within 0.02 dB."""
    empty = points([[0.0, 20.0]], coupling=COUPLINGS[coupling])
    beam = beams_of(empty, mode)[5]
    angle = np.radians(beam.angle_deg)
    focus = [beam.entry_mm + 25.0 * np.sin(angle), 25.0 * np.cos(angle)]
    recording = points([focus], 0.5, coupling=COUPLINGS[coupling])
    (image,) = make_images(recording, [mode], Grid(focus[0], focus[1], 0.1, 0.1, 1, 1))
    assert image.covered.all()
    assert image.values[0, 0] == pytest.approx(20 * np.log10(0.5), abs=0.02)


def test_an_unfocused_aperture_sums_signals_at_equal_times():
    """Contact, straight down: each pair of the aperture is read at 2z/c, whatever its elements."""
    place = np.array([[0.0, 22.0]])
    recording = points(place)
    mode, grid = linear(8), Grid.over((0.0, 0.0), (20.0, 25.0), 0.1)
    (image,) = make_images(recording, [mode], grid)
    lines = [beam.entry_mm for beam in beams_of(recording, mode)]
    at = int(np.argmin(np.abs(lines)))
    assert lines[at] == pytest.approx(0.0, abs=1e-12)
    sigma, wanted = 0.0, np.zeros(len(grid.z_mm()), complex)
    from qualify.recording.points import pulse_sigma_us

    sigma = pulse_sigma_us(5.0, 0.7)
    way = np.hypot(recording.probe.along_mm()[at : at + 8], 22.0) / 5.9
    for i in range(8):
        for j in range(8):
            late = 2.0 * grid.z_mm() / 5.9 - way[i] - way[j]
            wanted += np.exp(-0.5 * (late / sigma) ** 2 + 10j * np.pi * late) / 64
    np.testing.assert_allclose(image.amplitude()[:, 0], np.abs(wanted), atol=3e-3)


def test_beams_obey_snell_and_start_where_they_should():
    """A wedge of 6° and 2330 m/s: a front parallel to the array enters at asin(sin 6°·5900/2330).

    Snell's law; the entry lies where the normal of the array's middle meets the face.
    """
    for beam in beams_of(points([[0.0, 20.0]], coupling=WEDGE), linear()):
        assert beam.angle_deg == pytest.approx(15.348, abs=1e-3)
    centres = element_centres_mm(points([[0.0, 20.0]]).probe, WEDGE)
    first = beams_of(points([[0.0, 20.0]], coupling=WEDGE), linear())[0]
    middle = centres[:16].mean(axis=0)
    assert first.entry_mm == pytest.approx(middle[0] - middle[1] * np.tan(np.radians(6.0)))
    (straight,) = {
        beam.angle_deg for beam in beams_of(points([[0.0, 20.0]], coupling=WATER), linear())
    }
    assert straight == 0.0


@pytest.mark.parametrize("coupling", COUPLINGS)
def test_scans_cover_what_their_beams_reach_and_no_more(coupling):
    """Linear in contact and water: between the first and the last line; sectorial: the fan."""
    recording = points([[0.0, 20.0]], coupling=COUPLINGS[coupling])
    grid = Grid.over((-14.0, 14.0), (5.0, 40.0), 0.5)
    x, z = np.meshgrid(grid.x_mm(), grid.z_mm())
    for mode in (linear(), sectorial()):
        (image,) = make_images(recording, [mode], grid)
        ends = [beams_of(recording, mode)[k] for k in (0, -1)]
        left, right = (b.entry_mm + z * np.tan(np.radians(b.angle_deg)) for b in ends)
        np.testing.assert_array_equal(image.covered, (x > left - 1e-6) & (x < right + 1e-6))


def test_an_image_between_beams_is_interpolated_between_their_magnitudes():
    """On a line, or halfway between two: the mean of what the lines show there."""
    recording = points([[0.4, 22.0]])
    mode = linear(8)
    lines = [beam.entry_mm for beam in beams_of(recording, mode)]
    step = lines[1] - lines[0]
    (image,) = make_images(recording, [mode], Grid(lines[10], 20.0, step / 2, 0.1, 5, 40))
    shown = image.amplitude()
    np.testing.assert_allclose(shown[:, 1], (shown[:, 0] + shown[:, 2]) / 2, atol=1e-6)


def test_scans_that_fit_neither_probe_nor_standoff_are_refused():
    recording = points([[0.0, 20.0]], coupling=CONTACT)
    grid = Grid.over((0.0, 1.0), (10.0, 11.0), 0.5)
    with pytest.raises(InputError, match="33 elements, and the array has 32"):
        make_images(recording, [linear(33)], grid)
    steep = WEDGE.model_copy(update={"angle_deg": 30.0})
    with pytest.raises(InputError, match="beyond the critical angle"):
        make_images(points([[0.0, 20.0]], coupling=steep), [linear()], grid)
    declared = linear().model_copy(update={"corrections": Corrections(spreading=True)})
    with pytest.raises(InputError, match="where no leg has one length"):
        make_images(recording, [declared], grid)


def test_exact_signals_are_those_of_the_recording():
    """The closed form the tests rest on is what `record_points` samples."""
    recording = points([[1.0, 20.0]], elements=4)
    here = np.array([[0.3, 19.5]])
    from qualify.recording.paths import times_us

    centres = element_centres_mm(recording.probe, recording.coupling)
    way = times_us(centres, here, recording.coupling, recording.medium)[:, 0]
    for pair, (i, j, value) in enumerate(exact_signals(recording, [[1.0, 20.0]], [1.0], here)):
        sampled = np.interp(way[i] + way[j], recording.times_us(), recording.samples[pair])
        assert sampled == pytest.approx(value[0].real, abs=0.05)


def test_places_on_and_between_the_beams_beside_a_point():
    """Sectorial in contact, beams a degree apart: crossings at z tan θ; outside the fan none."""
    beams = beams_of(points([[0.0, 20.0]]), sectorial())
    left, middle, right = around_mm(beams, (3.0, 20.0))
    middle_eight = sectorial().model_copy(update={"aperture_elements": 8})
    assert {(b.first, b.last) for b in beams_of(points([[0.0, 20.0]]), middle_eight)} == {(12, 20)}
    angles = np.degrees(np.arctan2([left[0], right[0]], 20.0))
    np.testing.assert_allclose(angles, [8.0, 9.0], atol=1e-9)
    assert middle[0] == pytest.approx((left[0] + right[0]) / 2)
    assert around_mm(beams, (12.0, 20.0)) == []
