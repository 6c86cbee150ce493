"""Signals ready for focusing: analytic, moved down to zero frequency, half a matrix.

The analytic signal has the positive half of the spectrum alone (Gabor 1946, from memory). Moved
down by the carrier, by a whole number of lines of its spectrum, it varies slowly, so that its
nearest sample will do; the error falls with `UPSAMPLED_RATE` and is measured in `tests/imaging`.
"""

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from qualify.recording.record import Recording, half_matrix
from qualify.simulation.band import Band

UPSAMPLED_RATE = 20.0  # samples a period of the centre frequency, at least
BLOCK = 64  # signals turned at a time, so that spectra never fill the memory


@dataclass(frozen=True, slots=True)
class Signals:
    """Half a matrix of complex signals.

    Attributes
    ----------
    table : (pairs, samples + 2) complex64; one zero stands before and after the signal.
    samples : of each signal, after upsampling.
    rate_mhz, start_us : sample k (the k-th after the zero) lies at start_us + k / rate_mhz.
    carrier_mhz : the signals were moved down by it.
    elements : of the array.
    """

    table: NDArray[np.complex64]
    samples: int
    rate_mhz: float
    start_us: float
    carrier_mhz: float
    elements: int


def prepare(recording: Recording, *, workers: int = 1) -> Signals:
    """Return the signals of a recording ready for focusing; a mean of each signal is taken off.

    `workers` : threads of the transforms. A length that these are slow at, as a large prime, is
    filled up with zeros to one that they are quick at.
    """
    samples = half_matrix(recording.samples)
    pairs, count = samples.shape
    probe = recording.probe
    times = max(1, int(np.ceil(UPSAMPLED_RATE * probe.centre_mhz / recording.sampling_mhz - 1e-9)))
    length = int(scipy.fft.next_fast_len(count))
    lines = int(np.rint(probe.centre_mhz * length / recording.sampling_mhz))
    out = np.zeros((pairs, count * times + 2), np.complex64)
    for start in range(0, pairs, BLOCK):
        here, part = slice(start, start + BLOCK), samples[start : start + BLOCK]
        if length > count:
            part = part - part.mean(axis=-1, keepdims=True)
        _moved_down(part, length, lines, times, workers, out[here, 1:-1])
    return Signals(
        out,
        count * times,
        recording.sampling_mhz * times,
        recording.start_us,
        lines * recording.sampling_mhz / length,
        probe.elements,
    )


def signals_of(spectra: NDArray[np.float32], band: Band, elements: int) -> Signals:
    """Return signals ready for focusing straight from simulated spectra, by one transform.

    spectra : (2, pairs, frequencies), real and imaginary part, in the convention exp(−iωt), of
        half a matrix. Nothing is clipped and no noise is in them; the record begins at 0.
    """
    times = max(1, int(np.ceil(UPSAMPLED_RATE * band.centre_mhz / band.sampling_mhz - 1e-9)))
    lines = int(np.rint(band.centre_mhz * band.length / band.sampling_mhz))
    pairs, count = spectra.shape[1:]
    kept, long = band.samples * times, band.length * times
    place = (band.first + np.arange(count) - lines) % long
    out = np.zeros((pairs, kept + 2), np.complex64)
    for start in range(0, pairs, BLOCK):
        part = spectra[:, start : start + BLOCK]
        moved = np.zeros((part.shape[1], long), np.complex64)
        moved[:, place] = np.float32(2.0 * times) * (part[0] - 1j * part[1])
        found = scipy.fft.ifft(moved, axis=-1, overwrite_x=True)
        out[start : start + BLOCK, 1:-1] = found[:, :kept]
    carrier = lines * band.sampling_mhz / band.length
    return Signals(out, kept, band.sampling_mhz * times, 0.0, carrier, elements)


def _moved_down(
    samples: NDArray[np.float32],
    length: int,
    lines: int,
    times: int,
    workers: int,
    out: NDArray[np.complex64],
) -> None:
    """Write analytic signals (pairs, samples·times) moved down by `lines` of their spectrum.

    length : samples that are transformed. out : of zeros, transformed where it lies if it can be.
    A time shift is not made: the carrier's phase is counted from the first sample, see `Signals`.
    """
    whole = length * times
    spectrum = scipy.fft.rfft(samples, n=length, axis=-1, workers=workers)
    spectrum[:, 0] = 0.0
    if length % 2 == 0:
        spectrum[:, -1] *= 0.5
    spectrum *= np.float32(2.0 * times)
    moved = out if out.shape[-1] == whole else np.zeros((len(out), whole), np.complex64)
    above = spectrum[:, lines:]
    moved[:, : above.shape[-1]] = above
    moved[:, whole - lines :] = spectrum[:, :lines]
    found = scipy.fft.ifft(moved, axis=-1, workers=workers, overwrite_x=True)
    if not np.may_share_memory(found, out):
        out[:] = found[:, : out.shape[-1]]
