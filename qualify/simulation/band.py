"""The frequencies of a simulated recording and the pulse on them.

A signal is computed at the frequencies of the pulse alone, as its spectrum in the convention
exp(−iωt) of a wave that goes out as exp(+ikr); its conjugate is what a Fourier transform back to
time wants. The stretch transformed is longer than the record, so that what comes after the record
does not come round into its beginning.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from qualify.recording.probe import Probe
from qualify.threads import in_threads

LEAST = 3e-4  # of the pulse's spectrum over its maximum: what is weaker is left out
LEAST_MHZ = 0.3
BEYOND_US = 2.0  # after the record: what arrives up to half of it is computed, so its front is seen
ROWS = 64  # signals transformed by one thread


@dataclass(frozen=True, slots=True)
class Band:
    """Frequencies and pulse.

    Attributes
    ----------
    sampling_mhz, samples : of the record; `length` samples are transformed.
    first : number of the first frequency; frequency k is (first + k)·sampling_mhz/length.
    mhz : (frequencies,).
    pulse : (frequencies,) its spectrum; an echo of amplitude 1 peaks at 1.
    centre_mhz : of the pulse.
    """

    sampling_mhz: float
    samples: int
    length: int
    first: int
    mhz: NDArray[np.float64]
    pulse: NDArray[np.float64]
    centre_mhz: float

    def per_mm(self, speed: float) -> NDArray[np.float64]:
        """Return wave numbers (frequencies,) at a velocity in mm/µs."""
        return 2.0 * np.pi * self.mhz / speed


def band_of(probe: Probe, sampling_mhz: float, samples: int) -> Band:
    """Return the band of a probe for a record of so many samples.

    The pulse has a Gaussian spectrum exp(−(f − f₀)²/2s²), s = bandwidth/(2√(2 ln 2)): half of its
    maximum at the −6 dB points.
    """
    length = int(
        scipy.fft.next_fast_len(samples + int(np.ceil(BEYOND_US * sampling_mhz)), real=True)
    )
    every = np.asarray(np.fft.rfftfreq(length, 1.0 / sampling_mhz), np.float64)
    spread = probe.centre_mhz * probe.bandwidth_fraction / (2.0 * np.sqrt(2.0 * np.log(2.0)))
    pulse = np.exp(-0.5 * ((every - probe.centre_mhz) / spread) ** 2)
    held = np.flatnonzero((pulse > LEAST) & (every > LEAST_MHZ) & (every < 0.5 * sampling_mhz))
    mhz, pulse = every[held], pulse[held]
    pulse = np.asarray(pulse * (0.5 * length / pulse.sum()))
    return Band(sampling_mhz, samples, length, int(held[0]), mhz, pulse, probe.centre_mhz)


def to_time(spectra: NDArray[np.float32], band: Band) -> NDArray[np.float32]:
    """Return signals (pairs, samples) of spectra (2, pairs, frequencies), which are conjugated."""
    pairs, count = spectra.shape[1:]
    out = np.empty((pairs, band.samples), np.float32)

    def work(start: int, stop: int) -> None:
        for row in range(start, stop, ROWS):
            end = min(row + ROWS, stop)
            whole = np.zeros((end - row, band.length // 2 + 1), np.complex64)
            held = whole[:, band.first : band.first + count]
            held.real = spectra[0, row:end]
            np.negative(spectra[1, row:end], out=held.imag)
            signal = scipy.fft.irfft(whole, n=band.length, axis=-1, overwrite_x=True)
            out[row:end] = signal[:, : band.samples]

    in_threads(work, pairs, ROWS)
    return out


def to_band(
    signals: NDArray[np.float32], band: Band, by: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Return spectra (2, pairs, frequencies) of signals (pairs, up to length) times `by`.

    by : (frequencies,) real.
    """
    out = np.empty((2, len(signals), len(band.mhz)), np.float32)

    def work(start: int, stop: int) -> None:
        for row in range(start, stop, ROWS):
            end = min(row + ROWS, stop)
            whole = scipy.fft.rfft(signals[row:end], n=band.length, axis=-1)
            held = whole[:, band.first : band.first + len(band.mhz)]
            np.multiply(held.real, by, out=out[0, row:end])
            np.multiply(held.imag, -by, out=out[1, row:end])

    in_threads(work, len(signals), ROWS)
    return out


def peak_of(spectrum: NDArray[np.complex128], band: Band, arrival_us: float) -> float:
    """Return the envelope at one time of the signal of a spectrum (frequencies,)."""
    turned = spectrum * np.exp(-2j * np.pi * band.mhz * arrival_us)
    return float(abs(turned.sum()) * 2.0 / band.length)
