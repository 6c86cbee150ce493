"""Noise of Rayleigh law and a constant signal in it, of Rice law, against closed forms.

Rayleigh noise of unit quadrature variance exceeds t with probability exp(-t^2 / 2); a constant
signal A in it exceeds t with probability Q1(A, t), Marcum's function, which is 1 less the
non-central chi-square distribution function of t^2 with 2 degrees of freedom and non-centrality
A^2 (Marcum 1960, IRE Transactions IT-6, 59-267; from memory, the identity with scipy).
"""

import numpy as np
import pytest
from scipy import stats

from qualify.pod.false_calls import proportion_bounds
from qualify.pod.noise import fit_noise
from qualify.pod.signal_response import fit_response, response_pod
from qualify.pod.threshold import choose_threshold, noise_draws, rate_at

RATE = 0.02


def marcum(signal, threshold):
    return stats.ncx2.sf(threshold**2, 2, np.asarray(signal) ** 2)


def rice(rng, signal):
    shape = np.shape(signal)
    return np.abs(signal + rng.standard_normal(shape) + 1j * rng.standard_normal(shape))


def test_threshold_of_a_declared_rate_is_that_of_the_rayleigh_law():
    """A unit of m cells: 1 - (1 - exp(-t^2/2))^m = rate; peaks taken as amplitude squared."""
    rng, cells = np.random.default_rng(5), 100
    peaks = rng.rayleigh(size=(4000, cells)).max(axis=1)
    fit = fit_noise(peaks**2)
    chosen = choose_threshold(fit, RATE, noise_draws(fit, seed=1, simulations=999))
    closed = np.sqrt(-2.0 * np.log1p(-((1.0 - RATE) ** (1.0 / cells))))
    error = chosen.standard_error / (2.0 * closed)
    assert np.sqrt(chosen.threshold) == pytest.approx(closed, abs=4.0 * error)
    assert 4.0 * error < 0.02 * closed
    found = rate_at(fit, closed**2, noise_draws(fit, seed=1, simulations=999))
    assert found.lower < RATE < found.upper
    low, high = proportion_bounds(found.units_called, found.units, 0.999)
    assert low < RATE < high


def test_pod_of_a_constant_signal_is_marcums():
    """The line is normal, the law is Rice's: they meet where the signal stands clear of noise."""
    rng = np.random.default_rng(6)
    threshold = np.sqrt(-2.0 * np.log(1e-3))  # one cell, false calls 1 in 1000
    size = np.tile(np.geomspace(0.9, 2.4, 40), 50)
    signal = 4.0 * size
    fit = fit_response(size, rice(rng, signal), threshold=threshold, scale="linear", axis="linear",
                       bound="wald")  # fmt: skip
    at = np.array([0.95, 1.0, 1.1, 1.3])
    assert response_pod(fit, at) == pytest.approx(marcum(4.0 * at, threshold), abs=0.03)
    assert fit.sigma == pytest.approx(1.0, abs=0.04)
    a90 = next(a for a in np.linspace(0.9, 2.4, 15001) if marcum(4.0 * a, threshold) >= 0.9)
    assert fit.a90 == pytest.approx(a90, rel=0.02)
