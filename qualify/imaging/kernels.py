"""Compiled loops of the images: delayed signals of half a matrix summed over pairs, pixel by pixel.

Signals are complex, moved down to zero frequency, so that their nearest sample will do where the
carrier would need finely spaced ones: the error differs from pair to pair and goes in the mean
over them. Where few pairs are summed, or all at one time, samples are interpolated. The carrier is
put back exactly: its phase at the sum of two one-way times is the product of two phasors, one an
element and pixel. Pixels come in tiles of `PIXELS`, near to each other, so that the stretch of
signal that a tile needs stays in the cache. The pair loop is outside and the pixel loop inside;
fetching samples and doing arithmetic on them are loops apart, so that the second is vectorised.
Coherence costs little on top of total focusing.

Layout. `signals` (pairs, samples): two float32 seen as one int64, the first and last sample zero;
pairs with transmit ≤ receive in the order of `qualify.recording.record`. `late` (elements, PIXELS)
float32: one-way times in samples. `turn` (elements, 3·PIXELS): cosine and sine of the carrier's
phase, zero where an element takes no part, and its weight in the amplitude. The plain numpy form
of all of it is the reference in `tests/imaging/plain.py`.

Source: coherent sums after Holmes, Drinkwater and Wilcox 2005 (total focusing); mean of unit
phasors as in directional statistics (Mardia and Jupp 2000), both from memory.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from qualify.imaging.laws import PIXELS, Floats, Law, tile_laws
from qualify.threads import fast

AMPLITUDE_ROWS = 5  # in-phase and quadrature sum, sum of unit phasors (2), sum of squares
PAIR_ROWS = AMPLITUDE_ROWS + 3  # and what takes part, see `tile_laws`
TINY = np.float32(1e-30)  # added to a squared modulus, so that zero has no phase and no infinity
P2, P3, P4 = 2 * PIXELS, 3 * PIXELS, 4 * PIXELS
ZERO, HALF, ONE, TWO = np.float32(0.0), np.float32(0.5), np.float32(1.0), np.float32(2.0)


class Hand(NamedTuple):
    """Room for fetching (PIXELS): sample numbers, places between samples, following samples."""

    number: NDArray[np.uint32]
    part: Floats
    following: NDArray[np.int64]


@fast
def empty_hand() -> Hand:
    """Return room for fetching."""
    return Hand(
        np.empty(PIXELS, np.uint32), np.empty(PIXELS, np.float32), np.empty(PIXELS, np.int64)
    )


@fast
def first_pair(i: int, elements: int) -> int:
    """Row of the pair (i, i) in half a matrix."""
    return i * elements - (i * (i - 1)) // 2


@fast
def fetch(
    signal: NDArray[np.int64],
    one: Floats,
    other: Floats,
    between: bool,
    hand: Hand,
    fetched: NDArray[np.int64],
) -> None:
    """Fetch one pair for each pixel of a tile: the nearest sample, or between two samples.

    `one` and `other` are times of `tile_laws`, which holds their sums inside the signal.

    Either loop of fetching is scalar, one sample of eight bytes at a time; all else is vectorised.
    """
    index = hand.number
    if not between:
        for p in range(PIXELS):
            index[p] = np.uint32(np.int32(one[p] + other[p]))
        for p in range(PIXELS):
            fetched[p] = signal[np.uint64(index[p])]
        return
    for p in range(PIXELS):
        late = max(one[p] + other[p] - HALF, ZERO)
        index[p] = np.uint32(np.int32(late))
        hand.part[p] = late - np.floor(late)
    for p in range(PIXELS):
        fetched[p] = signal[np.uint64(index[p])]
    for p in range(PIXELS):
        hand.following[p] = signal[np.uint64(index[p] + np.uint32(1))]
    s, r = fetched.view(np.float32), hand.following.view(np.float32)
    for p in range(PIXELS):
        s[2 * p] += hand.part[p] * (r[2 * p] - s[2 * p])
        s[2 * p + 1] += hand.part[p] * (r[2 * p + 1] - s[2 * p + 1])


@fast
def _terms(
    x: np.float32, y: np.float32, c: np.float32, d: np.float32, weight: np.float32
) -> tuple[np.float32, np.float32, np.float32, np.float32, np.float32]:
    """Turn one sample; return it weighted, its unit phasor, and its squared modulus."""
    re, im = c * x - d * y, c * y + d * x
    square = re * re + im * im
    unit = ONE / np.sqrt(square + TINY)
    return weight * re, weight * im, unit * re, unit * im, square


@fast
def _add(s: Floats, turn: Floats, row: Floats, share: np.float32) -> None:
    """Add one pair, its receiver turned by `turn`, to the sums over receivers (5·PIXELS)."""
    for p in range(PIXELS):
        a, b, c, d, e = _terms(s[2 * p], s[2 * p + 1], turn[p], turn[PIXELS + p], turn[P2 + p])
        row[p] += share * a
        row[PIXELS + p] += share * b
        row[P2 + p] += share * c
        row[P3 + p] += share * d
        row[P4 + p] += share * e


@fast
def _add_four(fetched: Floats, turns: Floats, row: Floats) -> None:
    """Add four pairs of one transmitter, so that the sums are read and written once.

    fetched : (4, 2·PIXELS), turns : (4, 3·PIXELS), of their receivers.
    """
    s0, s1, s2, s3 = fetched[0], fetched[1], fetched[2], fetched[3]
    t0, t1, t2, t3 = turns[0], turns[1], turns[2], turns[3]
    for p in range(PIXELS):
        a, b, c, d, e = _terms(s0[2 * p], s0[2 * p + 1], t0[p], t0[PIXELS + p], t0[P2 + p])
        f, g, h, i, j = _terms(s1[2 * p], s1[2 * p + 1], t1[p], t1[PIXELS + p], t1[P2 + p])
        a, b, c, d, e = a + f, b + g, c + h, d + i, e + j
        f, g, h, i, j = _terms(s2[2 * p], s2[2 * p + 1], t2[p], t2[PIXELS + p], t2[P2 + p])
        a, b, c, d, e = a + f, b + g, c + h, d + i, e + j
        f, g, h, i, j = _terms(s3[2 * p], s3[2 * p + 1], t3[p], t3[PIXELS + p], t3[P2 + p])
        row[p] += a + f
        row[PIXELS + p] += b + g
        row[P2 + p] += c + h
        row[P3 + p] += d + i
        row[P4 + p] += e + j


@fast
def _close(row: Floats, turn: Floats, total: Floats) -> None:
    """Turn the sums over receivers by the transmitter's phase and add them, each pair twice."""
    for p in range(PIXELS):
        c, d = TWO * turn[p], TWO * turn[PIXELS + p]
        weight = turn[P2 + p]
        re, im = row[p], row[PIXELS + p]
        total[p] += weight * (c * re - d * im)
        total[PIXELS + p] += weight * (c * im + d * re)
        re, im = row[P2 + p], row[P3 + p]
        total[P2 + p] += c * re - d * im
        total[P3 + p] += c * im + d * re
        total[P4 + p] += (c * c + d * d) * HALF * row[P4 + p]


@fast
def sum_pairs(signals: NDArray[np.int64], law: Law, start: int, stop: int, out: Floats) -> None:
    """Write the sums over all pairs for tiles start to stop.

    out : (8, pixels): in-phase and quadrature sum of the weighted signals, cosine and sine sum of
        their unit phasors, sum of squared moduli; a pair of two elements counts twice; then the
        three of `tile_laws`.
    """
    n = law.x_mm.shape[0]
    late, turn = np.empty((n, PIXELS), np.float32), np.empty((n, P3), np.float32)
    taken = np.empty((3, PIXELS), np.float32)
    row, total = np.empty(5 * PIXELS, np.float32), np.empty(5 * PIXELS, np.float32)
    hand, between = empty_hand(), law.between
    four = np.empty((4, PIXELS), np.int64)
    here, fetched = four[0], four.view(np.float32)
    s = fetched[0]
    for tile in range(start, stop):
        tile_laws(law, tile, signals.shape[1] - 2, late, turn, taken)
        first, last = law.first[tile], law.last[tile]
        total[:] = 0.0
        for i in range(first, last):
            row[:] = 0.0
            pair = first_pair(i, n)
            fetch(signals[pair], late[i], late[i], between, hand, here)
            _add(s, turn[i], row, HALF)
            j = i + 1
            while j + 3 < last:
                for k in range(4):
                    fetch(signals[pair + j + k - i], late[i], late[j + k], between, hand, four[k])
                _add_four(fetched, turn[j : j + 4], row)
                j += 4
            while j < last:
                fetch(signals[pair + j - i], late[i], late[j], between, hand, here)
                _add(s, turn[j], row, ONE)
                j += 1
            _close(row, turn[i], total)
        at = slice(tile * PIXELS, (tile + 1) * PIXELS)
        for c in range(AMPLITUDE_ROWS):
            out[c, at] = total[c * PIXELS : (c + 1) * PIXELS]
        out[AMPLITUDE_ROWS:, at] = taken


@fast
def fetch_all(signals: NDArray[np.int64], law: Law, start: int, stop: int, out: Floats) -> None:
    """Fetch what `sum_pairs` fetches and do nothing with it: the limit that `bench` tells.

    out : (1, pixels), the last sample fetched.
    """
    n = law.x_mm.shape[0]
    late, turn = np.empty((n, PIXELS), np.float32), np.empty((n, P3), np.float32)
    taken = np.empty((3, PIXELS), np.float32)
    hand, fetched = empty_hand(), np.empty(PIXELS, np.int64)
    s = fetched.view(np.float32)
    for tile in range(start, stop):
        tile_laws(law, tile, signals.shape[1] - 2, late, turn, taken)
        for i in range(law.first[tile], law.last[tile]):
            pair = first_pair(i, n)
            for j in range(i, law.last[tile]):
                fetch(signals[pair + j - i], late[i], late[j], law.between, hand, fetched)
        for p in range(PIXELS):
            out[0, tile * PIXELS + p] = s[2 * p]
