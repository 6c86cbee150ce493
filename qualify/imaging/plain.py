"""Total focusing and vector coherence as one writes them first: a loop over pairs in numpy.

It is the reference that the compiled loops are tested against and, kept as it is, the baseline of
`qualify bench`: analytic signals at their carrier, interpolated linearly between samples, for all
pixels of one pair after the other.
"""

import itertools

import numpy as np
from numpy.typing import NDArray
from scipy.signal import hilbert

from qualify.imaging.grid import Grid
from qualify.recording.paths import times_us
from qualify.recording.probe import element_centres_mm
from qualify.recording.record import Recording, half_matrix, half_pairs


def one_way_us(recording: Recording, grid: Grid) -> NDArray[np.float64]:
    """Return the times (elements, rows·columns) from every element to every pixel."""
    x, z = np.meshgrid(grid.x_mm(), grid.z_mm())
    places = np.column_stack([x.ravel(), z.ravel()])
    centres = element_centres_mm(recording.probe, recording.coupling)
    return times_us(centres, places, recording.coupling, recording.medium)


def analytic_signals(recording: Recording) -> NDArray[np.complex64]:
    """Return the analytic signals (pairs, samples) of half the matrix."""
    return np.asarray(hilbert(half_matrix(recording.samples), axis=-1), dtype=np.complex64)


def plain_sums(
    analytic: NDArray[np.complexfloating],
    times: NDArray[np.float64],
    sampling_mhz: float,
    start_us: float,
    *,
    coherence: bool = True,
    every_pair: bool = False,
) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Return the sums over all pairs of signals and of their unit phasors (pixels,).

    Parameters
    ----------
    analytic : (pairs, samples), half a matrix.
    times : (elements, pixels) one-way times in microseconds.
    coherence : whether unit phasors are summed too; else that sum is zero.
    every_pair : whether both pairs of two elements are summed, as one does first, and not one of
        them twice.
    """
    signal, unit = (np.zeros(times.shape[1], np.complex128) for _ in range(2))
    last = analytic.shape[1] - 2
    first, second = half_pairs(len(times))
    row = {(int(i), int(j)): pair for pair, (i, j) in enumerate(zip(first, second, strict=True))}
    for i, j in itertools.product(range(len(times)), repeat=2):
        if j < i and not every_pair:
            continue
        pair = row[min(i, j), max(i, j)]
        place = (times[i] + times[j] - start_us) * sampling_mhz
        whole = np.clip(place.astype(np.int64), 0, last)
        part = place - whole
        value = analytic[pair, whole] * (1.0 - part) + analytic[pair, whole + 1] * part
        twice = 1.0 if i == j or every_pair else 2.0
        signal += twice * value
        if coherence:
            unit += twice * value / (np.abs(value) + 1e-30)
    return signal, unit
