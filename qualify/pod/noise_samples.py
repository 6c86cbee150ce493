"""Compiled simulation of blanks: samples of standard peaks, each fitted again.

Location 0 and scale 1 are the truth; every unit is censored at its floor. Draws come from the
counter-based generator of `qualify.pod.simulation`, a block of numbers a simulated sample: the same
bytes whatever the threads.
"""

import math

import numpy as np

from qualify.pod.links import Array, Flags
from qualify.pod.noise_kernels import FAR, gev_climb, gumbel_climb
from qualify.pod.simulation import GAMMA, S11, UNIT, block, mixed
from qualify.threads import njit


@njit(cache=True, nogil=True)
def fill(state: np.uint64, xi: float, floors: Array, y: Array, censored: Flags) -> None:
    """Draw standard peaks (location 0, scale 1, shape xi), each censored at its floor."""
    for i in range(y.size):
        state = state + GAMMA
        share = ((mixed(state) >> S11) + 0.5) * UNIT
        g = -math.log(-math.log(share))
        if xi != 0.0:
            g = math.expm1(xi * g) / xi
        censored[i] = g <= floors[i]
        y[i] = max(g, floors[i])


@njit(cache=True, nogil=True)
def distance(y: Array, censored: Flags, floor: float, mu: float, beta: float) -> float:
    """Anderson-Darling A2 of the Gumbel law, or Kolmogorov's distance above a finite floor."""
    n = y.size
    rising = np.sort(y)
    if math.isinf(floor):
        total = 0.0
        for i in range(n):
            below = -math.exp(min(-(rising[i] - mu) / beta, FAR))
            rest = -math.expm1(-math.exp(-(rising[n - 1 - i] - mu) / beta))
            total += (2 * i + 1) * (below + math.log(max(rest, 1e-300)))
        return -n - total / n
    far = 0.0
    for i in range(n):
        if rising[i] > floor:
            share = math.exp(-math.exp(-(rising[i] - mu) / beta))
            far = max(far, abs((i + 1) / n - share), abs(i / n - share))
    return far


@njit(cache=True, nogil=True)
def samples(
    gev: bool, xi: float, floors: Array, seed: np.uint64, first: int, last: int, out: Array
) -> None:
    """Fit simulated samples first..last-1 of standard peaks, in standard units.

    `out` (samples, 5): location, scale, shape, log-likelihood, distance of the Gumbel fit (nan
    with `gev`); a row of nan where no maximum was found.
    """
    y, censored = np.empty(floors.size), np.empty(floors.size, dtype=np.bool_)
    highest = floors.max()
    for k in range(first, last):
        fill(block(seed, k, floors.size), xi, floors, y, censored)
        out[k] = math.nan
        if gev:
            mu, beta, shape, height, arrived = gev_climb(y, censored)
            far = math.nan
        else:
            mu, beta, height, arrived = gumbel_climb(y, censored)
            shape = 0.0
            far = distance(y, censored, highest, mu, beta) if arrived else math.nan
        if arrived:
            out[k, 0], out[k, 1], out[k, 2], out[k, 3], out[k, 4] = mu, beta, shape, height, far
