"""Signals within the band of the probe, and the stretch of each in which it is loudest."""

import math

import numpy as np
from numpy.typing import NDArray

from qualify.recording.probe import Probe
from qualify.recording.record import Recording

Array = NDArray[np.float64]
Singles = NDArray[np.float32]
LOWEST = 0.1  # of the centre frequency: below lies offset, not signal
FAINTEST_DB = -120.0


def band_mhz(probe: Probe) -> tuple[float, float]:
    """Return the band in which a probe's pulse lies: twice its −6 dB band, about its centre."""
    width = probe.bandwidth_fraction
    return probe.centre_mhz * max(1.0 - width, LOWEST), probe.centre_mhz * (1.0 + width)


def in_band(recording: Recording) -> Singles:
    """Return the samples with everything outside the band taken out, in their own shape."""
    low, high = band_mhz(recording.probe)
    mhz = np.fft.rfftfreq(recording.sample_count, 1.0 / recording.sampling_mhz)
    outside = (mhz < low) | (mhz > high)
    out = np.empty(recording.samples.shape, np.float32)
    for row, signals in enumerate(recording.samples):
        spectrum = np.fft.rfft(signals)
        spectrum[..., outside] = 0.0
        out[row] = np.fft.irfft(spectrum, recording.sample_count)
    return out


def pulse_samples(recording: Recording, count: int) -> int:
    """Return the samples of a stretch that holds one pulse, at most `count`."""
    probe = recording.probe
    length = 4.0 * recording.sampling_mhz / (probe.centre_mhz * probe.bandwidth_fraction)
    return min(max(8, math.ceil(length)), count)


def loudest(power: Array | Singles, length: int) -> NDArray[np.int64]:
    """Return the indices (signals, length) of the stretch around each signal's largest power."""
    middle = np.argmax(power, axis=-1)
    first = np.clip(middle - length // 2, 0, power.shape[-1] - length)
    return np.asarray(first[:, None] + np.arange(length)[None, :])


def power_db(ratio: float) -> float:
    """Return a ratio of powers in decibels, not below `FAINTEST_DB`."""
    return max(10.0 * math.log10(ratio), FAINTEST_DB) if ratio > 0.0 else FAINTEST_DB
