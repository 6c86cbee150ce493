"""Recordings of point scatterers, and half and full matrices: closed forms and invariants."""

from dataclasses import replace

import numpy as np
import pytest

from qualify.recording.paths import times_us
from qualify.recording.points import pulse_sigma_us, record_points
from qualify.recording.probe import element_centres_mm
from qualify.recording.record import (
    Recording,
    full_matrix,
    half_matrix,
    half_pairs,
    pair_count,
)
from tests.recording.made import PROBE, STEEL, WATER

PLACES = [[-2.0, 10.0], [3.0, 20.0]]


def test_every_signal_is_the_pulse_at_its_exact_time():
    """a·exp(−(t−τ)²/2σ²)·cos 2πf(t−τ), τ from distances alone, to single precision."""
    found = record_points(PROBE, [[2.0, 15.0]], -0.4, samples=512)
    way = np.hypot(PROBE.along_mm() - 2.0, 15.0) / 5.9
    transmit, receive = half_pairs(PROBE.elements)
    late = found.times_us()[None, :] - (way[transmit] + way[receive])[:, None]
    sigma = pulse_sigma_us(5.0, 0.7)
    wanted = -0.4 * np.exp(-0.5 * (late / sigma) ** 2) * np.cos(2 * np.pi * 5.0 * late)
    np.testing.assert_allclose(found.samples, wanted, atol=1e-7)


def test_bandwidth_is_where_the_spectrum_has_fallen_by_6_db():
    """Half the amplitude at 5 ± 0.35·5 MHz, from the transform of a sampled pulse."""
    time = np.arange(-40, 40, 0.005)
    pulse = np.exp(-0.5 * (time / pulse_sigma_us(5.0, 0.7)) ** 2) * np.cos(2 * np.pi * 5.0 * time)
    at = lambda mhz: abs(np.sum(pulse * np.exp(-2j * np.pi * mhz * time)))  # noqa: E731
    for edge in (5.0 - 1.75, 5.0 + 1.75):
        assert at(edge) / at(5.0) == pytest.approx(0.5, abs=2e-3)


def test_without_spreading_every_pair_carries_the_same_energy():
    """∫ of the squared pulse: a²·(σ√π/2)·(1 + exp(−(2πfσ)²)), for each pair."""
    found = record_points(PROBE, [[1.0, 15.0]], 0.5, samples=1024)
    energy = np.square(found.samples, dtype=np.float64).sum(axis=1) / found.sampling_mhz
    sigma = pulse_sigma_us(5.0, 0.7)
    closed = 0.25 * 0.5 * sigma * np.sqrt(np.pi) * (1 + np.exp(-((2 * np.pi * 5.0 * sigma) ** 2)))
    np.testing.assert_allclose(energy, closed, rtol=1e-5)


@pytest.mark.parametrize("coupling", [None, WATER])
def test_the_recording_is_linear_in_the_scatterers(coupling):
    told = {"coupling": coupling, "samples": 1600}
    both = record_points(PROBE, PLACES, [0.7, -0.2], **told)
    one = record_points(PROBE, PLACES[:1], 1.0, **told)
    other = record_points(PROBE, PLACES[1:], 1.0, **told)
    np.testing.assert_allclose(both.samples, 0.7 * one.samples - 0.2 * other.samples, atol=1e-6)
    assert np.abs(both.samples).max() > 0.5


def test_the_start_time_moves_the_window_and_not_the_echo():
    early = record_points(PROBE, PLACES, samples=512)
    late = record_points(PROBE, PLACES, samples=412, start_us=2.0)
    np.testing.assert_allclose(late.samples, early.samples[:, 100:], atol=1e-7)


def test_an_echo_beyond_the_window_is_not_recorded():
    found = record_points(PROBE, [[0.0, 50.0]], samples=256)
    assert not found.samples.any()


def test_a_standoff_delays_the_echo():
    """Through water the echo of the first element peaks at twice its time of flight."""
    found = record_points(PROBE, [[0.0, 10.0]], coupling=WATER, samples=2048)
    way = times_us(element_centres_mm(PROBE, WATER), [[0.0, 10.0]], WATER, STEEL)
    peak = found.times_us()[np.argmax(np.abs(found.samples[0]))]
    assert peak == pytest.approx(2 * way[0, 0], abs=0.5 / found.sampling_mhz)


def test_half_and_full_say_the_same():
    half = record_points(PROBE, PLACES, samples=512).samples
    full = full_matrix(half)
    assert full.shape == (16, 16, 512)
    np.testing.assert_array_equal(full, full.transpose(1, 0, 2))
    np.testing.assert_array_equal(half_matrix(full), half)
    assert len(half) == pair_count(16) == 136
    assert half_matrix(half) is half
    assert full_matrix(full) is full


def test_half_of_a_matrix_that_is_not_reciprocal_is_the_mean_of_both():
    full = np.zeros((3, 3, 2), np.float32)
    full[0, 2], full[2, 0], full[1, 1] = 4.0, 1.0, 7.0
    half = half_matrix(full)
    assert half[:, 0].tolist() == [0.0, 0.0, 2.5, 7.0, 0.0, 0.0]
    transmit, receive = half_pairs(3)
    assert list(zip(transmit, receive, strict=True)) == [
        (0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "shape", [(16, 16), (135, 8), (15, 16, 8), (16, 16, 1), (4,), (1, 2, 3, 4)]
)
def test_samples_that_do_not_fit_the_array_are_refused(shape):
    good = record_points(PROBE, PLACES, samples=64)
    with pytest.raises(ValueError, match="do not fit 16 elements"):
        replace(good, samples=np.zeros(shape, np.float32))
    assert isinstance(replace(good, samples=np.zeros((16, 16, 2), np.float32)), Recording)
