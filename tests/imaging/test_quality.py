"""Peaks, noise and twins: on images with known values, and through imaging."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qualify.imaging.focus import make_images
from qualify.imaging.grid import Grid
from qualify.imaging.modes import Mode
from qualify.imaging.quality import coherence_at_target, signal_to_noise
from qualify.imaging.random_phase import random_level_of_pairs
from qualify.imaging.random_receivers import random_level_of_receivers
from qualify.imaging.region import Box, noise_in, peak_in
from qualify.recording.points import record_points
from tests.imaging.imagers import array_of, coherence, total_focusing
from tests.imaging.made_images import GRID, blob, image_of, speckle

TARGET = Box((-2, 2), (18, 22))
NOISE = Box((-10, 10), (25, 39))
ROUND = ((4.0, 0.0), (0.0, 4.0))


def test_peak_of_a_box_and_its_place():
    image = image_of(blob(GRID, 0.5, 20.25, ROUND) + 2 * blob(GRID, 5, 30, ROUND), GRID)
    peak = peak_in(image, TARGET)
    assert (peak.x_mm, peak.z_mm) == (0.5, 20.25)
    assert peak.value == pytest.approx(0, abs=1e-4)
    assert peak_in(image, Box((-10, 10), (0, 40))).value == pytest.approx(
        20 * math.log10(2), abs=1e-4
    )


def test_what_is_not_covered_is_neither_peak_nor_noise():
    values = np.full(GRID.shape, 0.1)
    hidden = GRID.z_mm()[:, None] + 0 * GRID.x_mm()[None, :] > 30
    values[hidden] = np.nan
    image = image_of(values, GRID, covered=~hidden)
    assert peak_in(image, Box((-10, 10), (20, 40))).value == pytest.approx(-20, abs=1e-4)
    assert noise_in(image, NOISE).rms_db == pytest.approx(-20, abs=1e-4)
    nothing = peak_in(image, Box((-1, 1), (35, 38)))
    assert nothing.value is None
    assert "does not cover" in nothing.reason
    assert "no pixel" in peak_in(image, Box((50, 51), (1, 2))).reason


def test_noise_is_the_rms_of_amplitude_not_the_mean_of_decibels():
    """Rayleigh envelope, seed 3: rms² = 2σ². The mean of its decibels lies 2.51 dB lower.

    10γ/ln 10, γ = .5772: the mean logarithm of an exponential variable is −γ. Four standard errors.
    """
    image = image_of(speckle(3, GRID, level=0.01), GRID)
    pixels = noise_in(image, NOISE).pixels
    assert noise_in(image, NOISE).rms_db == pytest.approx(-40, abs=4 * 4.343 / math.sqrt(pixels))
    mean_db = image.values[NOISE.holds(GRID)].mean()
    assert mean_db == pytest.approx(-40 - 10 * np.euler_gamma / math.log(10), abs=0.4)


def test_signal_to_noise_stands_beside_its_twin():
    """A target of 0.1 in noise of rms 0.01: 20 dB; the flaw-free box alone has some 8 to 12 dB.

    The largest of 289 Rayleigh amplitudes: 10 log₁₀(ln 289) = 7.5 dB is its most probable value.
    """
    grain = speckle(4, GRID, level=0.01)
    quiet = np.where(blob(GRID, 0, 20, ROUND) > 0.5, 0, grain)
    flawed, twin = (
        image_of(quiet + 0.1 * blob(GRID, 0, 20, ROUND), GRID),
        image_of(grain, GRID),
    )
    found = signal_to_noise(flawed, twin, TARGET, NOISE)
    assert found.snr_db == pytest.approx(20, abs=0.2)
    assert 6 < found.twin_snr_db < 12
    assert found.excess_db == pytest.approx(found.snr_db - found.twin_snr_db)
    assert found.twin_snr_db == pytest.approx(
        20
        * math.log10(
            grain[TARGET.holds(GRID)].max() / math.sqrt(np.mean(grain[NOISE.holds(GRID)] ** 2))
        ),
        abs=1e-3,
    )
    assert f"excess {found.excess_db:.1f} dB" in found.in_words()
    same = signal_to_noise(twin, twin, TARGET, NOISE)
    assert same.excess_db == 0
    louder = signal_to_noise(flawed, image_of(3 * grain, GRID), TARGET, NOISE)
    assert louder.excess_db == pytest.approx(found.excess_db, abs=1e-3)  # each by its own noise


def test_no_ratio_without_a_twin():
    image = image_of(speckle(5, GRID), GRID)
    found = signal_to_noise(image, None, TARGET, NOISE)
    assert (found.snr_db, found.excess_db) == (None, None)
    assert "no flaw-free twin" in found.in_words()
    assert found.peak.value is not None
    assert found.noise.rms_db is not None


def test_no_ratio_without_noise():
    """An image without noise at all, as of a made point, has no ratio rather than a huge one."""
    image = image_of(np.where(TARGET.holds(GRID), 1.0, 0.0), GRID)
    found = signal_to_noise(image, image, TARGET, NOISE)
    assert found.snr_db is None
    assert "holds no noise" in found.reason


def test_faulty_questions_are_refused():
    image = image_of(speckle(5, GRID), GRID)
    with pytest.raises(ValueError, match="keep them apart"):
        signal_to_noise(image, image, TARGET, Box((-10, 10), (22, 39)))
    with pytest.raises(ValueError, match="another mode"):
        signal_to_noise(image, replace(image, mode="other"), TARGET, NOISE)
    with pytest.raises(ValueError, match="covers another region"):
        signal_to_noise(image, replace(image, covered=~image.covered), TARGET, NOISE)
    with pytest.raises(ValueError, match="amplitude"):
        coherence_at_target(image, None, TARGET)
    shown = image_of(np.full(GRID.shape, 0.5), GRID, unit="coherence")
    with pytest.raises(ValueError, match="of an amplitude"):
        signal_to_noise(shown, shown, TARGET, NOISE)
    with pytest.raises(ValueError, match="smaller to the larger"):
        Box((2, 1), (0, 1))


def test_coherence_beside_chance_and_twin():
    values = np.full(GRID.shape, 0.1)
    twin = values.copy()
    values[80, 40], twin[78, 41] = 0.75, 0.23
    more = {"unit": "coherence", "random_level": 0.198, "random_99": 0.472}
    flawed, blank = image_of(values, GRID, **more), image_of(twin, GRID, **more)
    found = coherence_at_target(flawed, blank, TARGET)
    assert found.peak.value == pytest.approx(0.75)
    assert found.twin_largest == pytest.approx(0.23)
    assert found.in_words() == (
        "coherence 0.75; random phases 0.20, 1 in 100 0.47; largest without the flaw 0.23"
    )
    alone = coherence_at_target(flawed, None, TARGET)
    assert alone.twin_largest is None
    assert "no flaw-free twin" in alone.in_words()


@given(gain_db=st.floats(-60, 40), seed=st.integers(0, 50))
@settings(max_examples=25, deadline=None)
def test_gain_changes_no_ratio(gain_db, seed):
    grid, gain = Grid.over((-5, 5), (10, 30), 0.5), 10 ** (gain_db / 20)
    grain = speckle(seed, grid, 0.01)
    flawed = np.hypot(grain, 0.05 * blob(grid, 0, 20, ROUND))
    noise = Box((-5, 5), (25, 30))
    found = [
        signal_to_noise(image_of(k * flawed, grid), image_of(k * grain, grid), TARGET, noise)
        for k in (1.0, gain)
    ]
    assert found[1].snr_db == pytest.approx(found[0].snr_db, abs=1e-3)
    assert found[1].excess_db == pytest.approx(found[0].excess_db, abs=1e-3)


# Through imaging: what a receiver does to amplitude and to coherence.

SMALL = Grid.over((-3, 3), (17, 23), 0.3)
AROUND = Box((-1, 1), (19, 21))


def noisy_point(amplitude=1.0):
    """A point at 20 mm in white noise of a tenth, seed 6; 16 elements."""
    recording = record_points(array_of(16), [(0.0, 20.0)], samples=700)
    noise = np.random.default_rng(6).standard_normal(recording.samples.shape)
    samples = amplitude * recording.samples + amplitude * 0.1 * noise
    return replace(recording, samples=samples.astype(np.float32))


def test_amplitude_is_linear_in_the_recording():
    """Twice the signal: 6.02 dB everywhere; two points together: their complex sum, no more."""
    once, twice = (total_focusing(noisy_point(a), SMALL) for a in (1.0, 2.0))
    assert twice.values - once.values == pytest.approx(20 * math.log10(2), abs=2e-3)
    places = [(-1.2, 20.0), (1.5, 21.2)]
    apart = [total_focusing(record_points(array_of(16), [p], samples=700), SMALL) for p in places]
    both = total_focusing(record_points(array_of(16), places, samples=700), SMALL)
    a, b = (image.amplitude() for image in apart)
    assert np.all(both.amplitude() <= a + b + 1e-4)
    assert np.all(both.amplitude() >= np.abs(a - b) - 1e-4)


@pytest.mark.parametrize("gain", [1e-3, 7.0])
def test_coherence_knows_no_gain(gain):
    one, other = (coherence(noisy_point(a), SMALL).values for a in (1.0, gain))
    assert other == pytest.approx(one, abs=1e-3)


def test_clipping_costs_amplitude_and_hides_from_coherence():
    """A point four times above full scale: its crest is cut to 1/4, −12.04 dB; R stays.

    The maximum beside it may be that of the fundamental of a cut sine,
    (2/π)(A asin(1/A) + √(1 − 1/A²)) = 1.259 of A = 4: −10.04 dB. Noise ± 0.3 dB.
    """
    whole = noisy_point(4.0)
    cut = replace(whole, samples=np.clip(whole.samples, -1, 1))
    assert 0.005 < np.mean(np.abs(whole.samples) > 1) < 0.2
    lost = (
        peak_in(total_focusing(cut, SMALL), AROUND).value
        - peak_in(total_focusing(whole, SMALL), AROUND).value
    )
    assert -12.04 - 0.3 < lost < -10.04 + 0.3
    kept = [coherence_at_target(coherence(r, SMALL), None, AROUND) for r in (whole, cut)]
    assert kept[0].peak.value > 0.9
    assert kept[1].peak.value == pytest.approx(kept[0].peak.value, abs=0.03)
    assert kept[1].peak.value > kept[1].random_99


@pytest.mark.parametrize("pairs", ["all", "receive"])
@pytest.mark.parametrize(
    "measure",
    [
        "vector_coherence",
        "coherence_factor",
        "phase_coherence_factor",
        "sign_coherence_factor",
    ],
)
def test_noise_alone_reads_what_chance_reads(measure, pairs):
    """White noise, no point, seed 7, 16 elements: mean and share above the 99 % level.

    Pixels 2 mm apart, farther than pulse and beam, are nearly independent: four standard errors
    of some 2,000 pixels, and 1 % of the limit of many.
    """
    recording = record_points(array_of(16), [(0.0, 20.0)], amplitudes=0.0, samples=1400)
    noise = np.random.default_rng(7).standard_normal(recording.samples.shape)
    recording = replace(recording, samples=noise.astype(np.float32))
    mode = Mode(
        name="noise", focusing="total_focusing", show="coherence", measure=measure, pairs=pairs
    )
    grid = Grid.over((-60, 60), (5, 75), 2.0)
    image = make_images(recording, (mode,), grid, threads=False)[0]
    found = image.values[image.covered].astype(float)
    assert len(found) > 1500
    level_of = random_level_of_receivers if pairs == "receive" else random_level_of_pairs
    level = level_of(measure, 16)
    error = found.std() / math.sqrt(len(found))
    assert level.mean == pytest.approx(found.mean(), abs=4 * error + 0.01 * level.mean)
    share = np.mean(found > level.level_99)
    assert 0.002 < share < 0.01 + 4 * math.sqrt(0.0099 / len(found))
    assert (image.random_level, image.random_99) == (level.mean, level.level_99)
