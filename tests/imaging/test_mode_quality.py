"""The figures of a mode on one target, gathered from an image, its twin and their recording."""

from dataclasses import replace

import numpy as np
import pytest

from qualify.imaging.controls import dead_zone, positive_control
from qualify.imaging.coverage import coverage
from qualify.imaging.grid import Grid
from qualify.imaging.mode_quality import mode_quality
from qualify.imaging.quality import coherence_at_target, signal_to_noise
from qualify.imaging.region import Box
from qualify.recording.points import record_points
from qualify.recording.signal_checks import clipping
from tests.imaging.imagers import array_of, coherence, total_focusing

GRID = Grid.over((-4, 4), (1, 40), 0.25)
TARGET, NOISE = Box((-1, 1), (19, 21)), Box((-4, 4), (24, 32))


def recording_of(points, amplitude, full_scale=None):
    """16 elements, the same white noise of 0.02 (seed 8) in every recording; 700 samples."""
    made = record_points(array_of(16), points, amplitude, samples=700)
    samples = made.samples + 0.02 * np.random.default_rng(8).standard_normal(made.samples.shape)
    if full_scale:
        samples = np.clip(samples, -full_scale, full_scale)
    return replace(made, samples=samples.astype(np.float32), full_scale=full_scale)


def test_all_figures_of_one_mode():
    """A point of 0.1 (−20 dB) in white noise of .02, 16 elements: 32 dB; the twin some 10 dB.

    Envelope of the noise: rms .02·√2; mean over all pairs of a reciprocal recording:
    √(2·256 − 16)/256 of it; −52.2 dB. Peak with noise and 300 pixels in the region: ± 1.5 dB.
    """
    flawed = recording_of([(0, 20)], 0.1, full_scale=1.0)
    blank = recording_of([(0, 20)], 0.0, full_scale=1.0)
    image, twin = (total_focusing(r, GRID) for r in (flawed, blank))
    found = mode_quality(
        image,
        signal_to_noise=signal_to_noise(image, twin, TARGET, NOISE),
        dead_zone=dead_zone(twin, -25.0, (-4, 4), search_to_mm=15, clear_mm=2),
        positive_control=positive_control(
            image, 20.0, (-1, 1), search_mm=2, limit_mm=0.3, least_level=-26
        ),
        coverage=coverage(image, Box((-4, 4), (1, 50))),
        clipped_samples_fraction=clipping(flawed).samples_fraction,
    )
    told = found.summary()
    assert told["snr_db"] == pytest.approx(32.2, abs=1.5)
    assert told["excess_db"] > 18
    assert told["control_found"] is True
    assert told["dead_zone_mm"] == 1.0
    assert told["clipped_samples_fraction"] == 0
    assert 0.7 < told["covered_fraction"] < 0.85
    assert all(value is None or isinstance(value, (str, float, int)) for value in told.values())
    words = found.remarks()
    assert any("starts below the scan face" in w for w in words)
    assert any("outside the image" in w for w in words)
    assert not any("clipped" in w for w in words)


def test_clipping_is_told_beside_a_coherence_that_hides_it():
    cut = recording_of([(0, 20)], 1.0, full_scale=0.25)
    image = coherence(cut, GRID)
    share = clipping(cut).samples_fraction
    found = mode_quality(
        image, coherence=coherence_at_target(image, None, TARGET), clipped_samples_fraction=share
    )
    assert found.summary()["coherence"] > 0.9
    words = found.remarks()
    assert any("clipped: a coherence does not show it" in w for w in words)
    assert any("no flaw-free twin" in w for w in words)
    assert "not examined" in mode_quality(image).remarks()[0]
