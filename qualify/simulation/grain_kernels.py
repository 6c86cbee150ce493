"""Compiled loops of grain: many points added to signals in time.

Work: elements × points for the legs, pairs × points for the sums; at some thousand points a
transform a signal costs nothing beside. A point arrives between two samples of an impulse signal
and is shared out linearly; the pulse is put on afterwards, once a signal.
"""

import numpy as np
from numpy.typing import NDArray

from qualify.threads import fast

Floats = NDArray[np.float32]
Array = NDArray[np.float64]
Whole = NDArray[np.int64]
PIECE = 1024  # points in one go: their places and shares stay in the nearest cache
RUN = 8 * PIECE  # points whose legs stay in the next cache over all pairs
ONE = np.float32(1.0)


@fast
def grain_legs(
    x_mm: Array,
    z_mm: Array,
    element_mm: Array,
    samples_per_mm: float,
    directivity: Floats,
    spreading: Floats,
    step_mm: float,
    start: int,
    stop: int,
    late: Floats,
    size: Floats,
) -> None:
    """Write time (samples) and amplitude of legs (elements, points) of points start to stop.

    directivity : over the sine of the angle, evenly from 0 to 1; spreading : over the range, every
    `step_mm` from 0; both are interpolated.
    """
    steps, rows = directivity.size - 1, spreading.size - 2
    for e in range(element_mm.size):
        for m in range(start, stop):
            dx = x_mm[m] - element_mm[e]
            r = np.sqrt(dx * dx + z_mm[m] * z_mm[m])
            place = abs(dx) / r * steps
            low = min(np.uint32(place), np.uint32(steps - 1))
            d = directivity[low]
            d += np.float32(place - low) * (directivity[low + np.uint32(1)] - d)
            place = min(r / step_mm, np.float64(rows))
            low = np.uint32(place)
            s = spreading[low]
            s += np.float32(place - low) * (spreading[low + np.uint32(1)] - s)
            late[e, m] = r * samples_per_mm
            size[e, m] = d * s


@fast
def splat(
    late: Floats,
    size: Floats,
    weight: Floats,
    one: Whole,
    other: Whole,
    start: int,
    stop: int,
    out: Floats,
) -> None:
    """Add all points to the impulse signals (pairs, samples) of pairs start to stop.

    The last two samples of `out` take what comes too late, and mean nothing.
    """
    last = np.float32(out.shape[1] - 2)
    place = np.empty(PIECE, np.uint32)
    early, after = np.empty(PIECE, np.float32), np.empty(PIECE, np.float32)
    for run in range(0, weight.size, RUN):
        for pair in range(start, stop):
            i, j, signal = one[pair], other[pair], out[pair]
            for first in range(run, min(run + RUN, weight.size), PIECE):
                end = min(first + PIECE, weight.size)
                t, u, w = late[i, first:end], late[j, first:end], weight[first:end]
                a, b = size[i, first:end], size[j, first:end]
                for m in range(end - first):
                    at = min(t[m] + u[m], last)
                    low = np.int32(at)
                    part = at - np.float32(low)
                    whole = w[m] * a[m] * b[m]
                    place[m] = low
                    after[m] = whole * part
                    early[m] = whole * (ONE - part)
                for m in range(end - first):
                    k = place[m]
                    signal[k] += early[m]
                    signal[k + np.uint32(1)] += after[m]
