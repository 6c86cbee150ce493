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
Places = NDArray[np.uint32]
PIECE = 512  # points in one go: their places and shares stay in the nearest cache
RUN = 16 * PIECE  # points whose legs stay in the next cache over all pairs
LANES = 4  # sums of one signal side by side
ONE, NEXT = np.float32(1.0), np.uint32(1)


@fast
def _geometry(
    x_mm: Array,
    z_mm: Array,
    element_mm: float,
    steps: tuple[float, float, float],
    most: tuple[int, int],
    rows: Places,
    parts: Floats,
    late: Floats,
) -> None:
    """Write the time of legs, and their places in both tables: row, and part of the next.

    steps : rows a unit of the sine, mm a row of the range, samples a mm. most : last rows.
    """
    for m in range(x_mm.size):
        dx = x_mm[m] - element_mm
        r = np.sqrt(dx * dx + z_mm[m] * z_mm[m])
        place = np.abs(dx) / r * steps[0]
        low = min(np.int32(place), np.int32(most[0] - 1))
        rows[0, m] = low
        parts[0, m] = np.float32(place - low)
        place = min(r / steps[1], np.float64(most[1]))
        low = np.int32(place)
        rows[1, m] = low
        parts[1, m] = np.float32(place - low)
        late[m] = r * steps[2]


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
    `step_mm` from 0; both are interpolated. Looking up is a loop apart, so that the rest is
    vectorised.
    """
    most = (directivity.size - 1, spreading.size - 2)
    steps = (np.float64(most[0]), step_mm, samples_per_mm)
    rows, parts = np.empty((2, PIECE), np.uint32), np.empty((2, PIECE), np.float32)
    for e in range(element_mm.size):
        for first in range(start, stop, PIECE):
            here = slice(first, min(first + PIECE, stop))
            x, z, t, legs = x_mm[here], z_mm[here], late[e, here], size[e, here]
            _geometry(x, z, element_mm[e], steps, most, rows, parts, t)
            for m in range(x.size):
                low = rows[0, m]
                d = directivity[low]
                d += parts[0, m] * (directivity[low + NEXT] - d)
                low = rows[1, m]
                s = spreading[low]
                s += parts[1, m] * (spreading[low + NEXT] - s)
                legs[m] = d * s


@fast
def _shares(
    t: Floats,
    u: Floats,
    a: Floats,
    b: Floats,
    weight: Floats,
    last: np.float32,
    place: Places,
    early: Floats,
    after: Floats,
) -> None:
    """Write where points arrive, and their shares of the two samples there."""
    for m in range(t.size):
        at = min(t[m] + u[m], last)
        low = np.int32(at)
        part = at - np.float32(low)
        whole = weight[m] * a[m] * b[m]
        place[m] = low
        after[m] = whole * part
        early[m] = whole * (ONE - part)


@fast
def _add(place: Places, early: Floats, after: Floats, count: int, lanes: Floats) -> None:
    """Add shares to the lanes (LANES, samples) in turn.

    Neighbours arrive at the same sample, where an addition has to wait for the one before.
    """
    s0, s1, s2, s3 = lanes[0], lanes[1], lanes[2], lanes[3]
    m = 0
    while m + 3 < count:
        a, b, c, d = place[m], place[m + 1], place[m + 2], place[m + 3]
        s0[a] += early[m]
        s1[b] += early[m + 1]
        s2[c] += early[m + 2]
        s3[d] += early[m + 3]
        s0[a + NEXT] += after[m]
        s1[b + NEXT] += after[m + 1]
        s2[c + NEXT] += after[m + 2]
        s3[d + NEXT] += after[m + 3]
        m += 4
    while m < count:
        a = place[m]
        s0[a] += early[m]
        s0[a + NEXT] += after[m]
        m += 1


@fast
def splat(
    late: Floats,
    soonest: Floats,
    size: Floats,
    weight: Floats,
    one: Whole,
    other: Whole,
    start: int,
    stop: int,
    out: Floats,
) -> None:
    """Add all points to the impulse signals (pairs, samples) of pairs start to stop.

    soonest : (elements, pieces), the least of `late` in each piece; a piece that comes too late as
        a whole is passed over. The last two samples of `out` take what else comes too late, and
        mean nothing.
    """
    last = np.float32(out.shape[1] - 2)
    place = np.empty(PIECE, np.uint32)
    early, after = np.empty(PIECE, np.float32), np.empty(PIECE, np.float32)
    lanes = np.empty((LANES, out.shape[1]), np.float32)
    for run in range(0, weight.size, RUN):
        for pair in range(start, stop):
            i, j, signal = one[pair], other[pair], out[pair]
            lanes[:] = 0.0
            for first in range(run, min(run + RUN, weight.size), PIECE):
                piece, end = first // PIECE, min(first + PIECE, weight.size)
                if soonest[i, piece] + soonest[j, piece] < last:
                    here = slice(first, end)
                    t, u, a, b = late[i, here], late[j, here], size[i, here], size[j, here]
                    _shares(t, u, a, b, weight[here], last, place, early, after)
                    _add(place, early, after, end - first, lanes)
            for k in range(signal.size):
                signal[k] += (lanes[0, k] + lanes[1, k]) + (lanes[2, k] + lanes[3, k])
