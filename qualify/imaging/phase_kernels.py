"""Compiled loops of the rarer measures: phases over all pairs, and sums at each receiver.

Layout and conventions are those of `qualify.imaging.kernels`.
"""

import numpy as np
from numpy.typing import NDArray

from qualify.imaging.kernels import (
    HALF,
    ONE,
    P2,
    P3,
    P4,
    TINY,
    TWO,
    ZERO,
    empty_hand,
    fetch,
    first_pair,
)
from qualify.imaging.laws import PIXELS, Floats, Law, tile_laws
from qualify.threads import fast

PHASE_ROWS = 5  # sums of phases, of their squares, moduli and signs, and of real signs
RECEIVE_ROWS = 10  # sum (2), sum of unit phasors (2), of squares, and the five above
RIGHT = np.float32(np.pi / 2)
STRAIGHT = np.float32(np.pi)
SPREAD_SQUARE = np.float32(np.pi**2 / 3)  # mean square of a phase uniform in (−π, π]


@fast
def _angle(y: np.float32, x: np.float32) -> np.float32:
    """Angle of (x, y) in (−π, π], error below 1e-7 rad before rounding.

    Source: Abramowitz and Stegun 4.4.49 (coefficients from memory, tested against arctan2).
    """
    ax, ay = abs(x), abs(y)
    t = min(ax, ay) / (max(ax, ay) + TINY)
    q = t * t
    series = np.float32(0.0028662257)
    series = series * q - np.float32(0.0161657367)
    series = series * q + np.float32(0.0429096138)
    series = series * q - np.float32(0.0752896400)
    series = series * q + np.float32(0.1065626393)
    series = series * q - np.float32(0.1420889944)
    series = series * q + np.float32(0.1999355085)
    series = series * q - np.float32(0.3333314528)
    angle = t + t * q * series
    angle = RIGHT - angle if ay > ax else angle
    angle = STRAIGHT - angle if x < ZERO else angle
    return -angle if y < ZERO else angle


@fast
def _phase_terms(
    re: np.float32, im: np.float32
) -> tuple[np.float32, np.float32, np.float32, np.float32, np.float32]:
    """Phase, its square, modulus and sign, and the sign of the real signal.

    A signal that is not there has no phase: it counts as one evenly spread, with the means of
    that, so that dead elements and silence never look coherent.
    """
    if re == ZERO and im == ZERO:
        return ZERO, SPREAD_SQUARE, RIGHT, ZERO, ZERO
    phase = _angle(im, re)
    sign = ONE if phase >= ZERO else -ONE
    real = ONE if re > ZERO else (-ONE if re < ZERO else ZERO)
    return phase, phase * phase, abs(phase), sign, real


@fast
def _add_phases(s: Floats, one: Floats, other: Floats, row: Floats, share: np.float32) -> None:
    """Add phase, squared phase and sign of one pair (transmitter one, receiver other)."""
    for p in range(PIXELS):
        c = one[p] * other[p] - one[PIXELS + p] * other[PIXELS + p]
        d = one[p] * other[PIXELS + p] + one[PIXELS + p] * other[p]
        x, y = s[2 * p], s[2 * p + 1]
        re, im = c * x - d * y, c * y + d * x
        part = share * (c * c + d * d)
        phase, square, modulus, sign, real = _phase_terms(re, im)
        row[p] += part * phase
        row[PIXELS + p] += part * square
        row[P2 + p] += part * modulus
        row[P3 + p] += part * sign
        row[P4 + p] += part * real


@fast
def sum_phases(signals: NDArray[np.int64], law: Law, start: int, stop: int, out: Floats) -> None:
    """Write sums over all pairs for tiles start to stop; a pair of two elements counts twice.

    out : (5, pixels): sum of phases in (−π, π], of their squares, of their moduli, of their
        signs, and of the signs of the real (recorded, delayed) signals.
    """
    n = law.x_mm.shape[0]
    late, turn = np.empty((n, PIXELS), np.float32), np.empty((n, 3 * PIXELS), np.float32)
    taken = np.empty((3, PIXELS), np.float32)
    row, hand = np.empty(PHASE_ROWS * PIXELS, np.float32), empty_hand()
    fetched = np.empty(PIXELS, np.int64)
    s = fetched.view(np.float32)
    for tile in range(start, stop):
        tile_laws(law, tile, signals.shape[1] - 2, late, turn, taken)
        row[:] = 0.0
        for i in range(law.first[tile], law.last[tile]):
            pair = first_pair(i, n)
            for j in range(i, law.last[tile]):
                fetch(signals[pair + j - i], late[i], late[j], law.between, hand, fetched)
                _add_phases(s, turn[i], turn[j], row, ONE if i == j else TWO)
        at = tile * PIXELS
        for c in range(PHASE_ROWS):
            for p in range(PIXELS):
                out[c, at + p] = row[c * PIXELS + p]


@fast
def _add_both(s: Floats, one: Floats, other: Floats, here: Floats, there: Floats) -> None:
    """Add one pair to the sum of each of its elements as receiver, turned by the other's phase."""
    for p in range(PIXELS):
        x, y = s[2 * p], s[2 * p + 1]
        c, d = one[p] * one[P2 + p], one[PIXELS + p] * one[P2 + p]
        there[p] += c * x - d * y
        there[PIXELS + p] += c * y + d * x
        c, d = other[p] * other[P2 + p], other[PIXELS + p] * other[P2 + p]
        here[p] += c * x - d * y
        here[PIXELS + p] += c * y + d * x


@fast
def _add_receiver(received: Floats, turn: Floats, row: Floats) -> None:
    """Turn the sum at one receiver by its own phase, and add what is asked of it."""
    for p in range(PIXELS):
        c, d, w = turn[p], turn[PIXELS + p], turn[P2 + p]
        re = c * received[p] - d * received[PIXELS + p]
        im = c * received[PIXELS + p] + d * received[p]
        square, part = re * re + im * im, c * c + d * d
        unit = ONE / np.sqrt(square + TINY)
        phase, phase_square, modulus, sign, real = _phase_terms(re, im)
        row[p] += w * re
        row[PIXELS + p] += w * im
        row[P2 + p] += unit * re
        row[P3 + p] += unit * im
        row[P4 + p] += square
        row[5 * PIXELS + p] += part * phase
        row[6 * PIXELS + p] += part * phase_square
        row[7 * PIXELS + p] += part * modulus
        row[8 * PIXELS + p] += part * sign
        row[9 * PIXELS + p] += part * real


@fast
def sum_receivers(signals: NDArray[np.int64], law: Law, start: int, stop: int, out: Floats) -> None:
    """Write sums over receivers, each focused on transmission, for tiles start to stop.

    out : (10, pixels): in-phase and quadrature sum, cosine and sine sum of the unit phasors of the
        receivers, sum of squared moduli, and the five of `sum_phases`, over receivers.
    """
    n = law.x_mm.shape[0]
    late, turn = np.empty((n, PIXELS), np.float32), np.empty((n, 3 * PIXELS), np.float32)
    taken = np.empty((3, PIXELS), np.float32)
    received = np.empty((n, 2 * PIXELS), np.float32)
    row, hand = np.empty(RECEIVE_ROWS * PIXELS, np.float32), empty_hand()
    fetched = np.empty(PIXELS, np.int64)
    s = fetched.view(np.float32)
    for tile in range(start, stop):
        first, last = law.first[tile], law.last[tile]
        tile_laws(law, tile, signals.shape[1] - 2, late, turn, taken)
        row[:] = 0.0
        received[:] = 0.0
        for i in range(first, last):
            pair = first_pair(i, n)
            for j in range(i, last):
                fetch(signals[pair + j - i], late[i], late[j], law.between, hand, fetched)
                if i == j:
                    for p in range(2 * PIXELS):
                        s[p] *= HALF
                _add_both(s, turn[i], turn[j], received[i], received[j])
        for i in range(first, last):
            _add_receiver(received[i], turn[i], row)
        at = tile * PIXELS
        for c in range(RECEIVE_ROWS):
            for p in range(PIXELS):
                out[c, at + p] = row[c * PIXELS + p]
