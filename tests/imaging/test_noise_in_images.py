"""Speckle, its envelope, and the phases of an echo in noise."""

import math

import numpy as np
import pytest

from qualify.imaging.phase_noise import coherence_at_snr, mean_vector
from qualify.imaging.speckle import (
    MEAN_OVER_SIGMA,
    false_call_fraction,
    false_call_fraction_at_db,
    over_rms_db,
    speckle_receive_coherence,
    threshold_over_sigma,
)

SEED = 12


def test_false_calls_of_a_rayleigh_envelope():
    """exp(−t²/2σ²), Rayleigh; 2, 3, 4 σ: .1353, .01111, 3.355e-4."""
    for t, known in ((2, 0.1353), (3, 0.01111), (4, 3.355e-4)):
        assert false_call_fraction(t) == pytest.approx(known, rel=5e-4)
    assert false_call_fraction_at_db(20 * math.log10(2)) == pytest.approx(math.exp(-4))
    assert false_call_fraction_at_db(20 * math.log10(4)) == pytest.approx(1.1e-7, rel=0.03)
    rng = np.random.default_rng(SEED)
    envelope = np.hypot(*rng.standard_normal((2, 200_000)))
    rms = math.sqrt(np.mean(envelope**2))
    for t in (1.0, 2.0, 3.0):
        share = false_call_fraction(t)
        error = 4 * math.sqrt(share * (1 - share) / len(envelope))
        assert np.mean(envelope > t) == pytest.approx(share, abs=error)
        assert false_call_fraction_at_db(over_rms_db(t)) == pytest.approx(share)
    assert envelope.mean() == pytest.approx(MEAN_OVER_SIGMA, rel=0.006)
    assert rms == pytest.approx(math.sqrt(2), rel=0.005)
    assert pytest.approx(1.2533, abs=5e-5) == MEAN_OVER_SIGMA


def test_threshold_for_a_false_call_in_twenty_images():
    """5 % in 10,000 independent cells: 4.941 σ, 10.87 dB above the rms; exact by 1 − (1−p)ⁿ."""
    t = threshold_over_sigma(1e4, 0.05)
    assert t == pytest.approx(4.941, abs=5e-4)
    assert over_rms_db(t) == pytest.approx(10.87, abs=5e-3)
    assert -math.expm1(1e4 * math.log1p(-false_call_fraction(t))) == pytest.approx(0.0488, abs=1e-4)
    with pytest.raises(ValueError, match="give >= 1"):
        threshold_over_sigma(0, 0.05)


def test_speckle_agrees_over_receivers_after_focusing_on_transmission():
    """Mallart and Fink 1994 (from memory): 2/3 as a ratio of means; simulated, 16 elements.

    Each image cell holds many scatterers across the beam; each weighs with the transmitted
    field at its place and adds its own phase to every receiver. The mean of the ratios of
    single pixels lies well below and is not what is published.
    """
    elements, pixels, rng = 16, 20_000, np.random.default_rng(SEED)
    element = np.arange(elements) - (elements - 1) / 2
    across = 2 * np.pi * np.arange(64) / 64
    leg = np.exp(1j * np.outer(across, element))
    beam = leg.sum(axis=1)
    grain = rng.standard_normal((pixels, 64)) + 1j * rng.standard_normal((pixels, 64))
    received = (grain * beam) @ leg
    top = np.abs(received.sum(axis=1)) ** 2
    bottom = elements * (np.abs(received) ** 2).sum(axis=1)
    ratio = top.mean() / bottom.mean()
    blocks = top.reshape(20, -1).mean(axis=1) / bottom.reshape(20, -1).mean(axis=1)
    error = blocks.std(ddof=1) / math.sqrt(20)
    assert error < 0.006
    assert speckle_receive_coherence(elements) == pytest.approx(ratio, abs=4 * error)
    assert speckle_receive_coherence(64) == pytest.approx(2 / 3, abs=1e-4)
    assert np.mean(top / bottom) < ratio - 0.05


@pytest.mark.parametrize("snr_db", [-10, -6, 0, 3, 6, 10])
def test_coherence_of_64_signals_in_noise(snr_db):
    """Computed before, by simulation; here by another one of 8,000 draws. Tolerance 2 %."""
    known = {-10: 0.288, -6: 0.425, 0: 0.714, 3: 0.846, 6: 0.929, 10: 0.974}[snr_db]
    found = coherence_at_snr(snr_db, 64)
    assert found == pytest.approx(known, rel=0.02)
    rng = np.random.default_rng(SEED)
    noise = (rng.standard_normal((8000, 64)) + 1j * rng.standard_normal((8000, 64))) / math.sqrt(2)
    signal = 10 ** (snr_db / 20) + noise
    length = np.abs((signal / np.abs(signal)).mean(axis=1))
    assert found == pytest.approx(length.mean(), abs=4 * length.std() / math.sqrt(8000), rel=0.005)


def test_coherence_of_eight_signals_in_noise():
    """By simulation, 100,000 draws at −6 dB: the normal approximation is within 1 %."""
    noise = np.random.default_rng(SEED).standard_normal((2, 100_000, 8)) / math.sqrt(2)
    signal = 10 ** (-6 / 20) + noise[0] + 1j * noise[1]
    length = np.abs((signal / np.abs(signal)).mean(axis=1))
    assert coherence_at_snr(-6, 8) == pytest.approx(length.mean(), rel=0.01)


def test_ends_of_coherence_in_noise():
    """No echo: random phases, √(π/4N). A strong one: 1 − 1/(4γ), the variance of a small phase."""
    assert coherence_at_snr(-80, 64) == pytest.approx(math.sqrt(math.pi / 256), rel=1e-3)
    assert mean_vector(30) == pytest.approx(1 - 1 / 4000, abs=1e-6)
    with pytest.raises(ValueError, match="8 or more"):
        coherence_at_snr(0, 4)
