"""Compiled: whole targets drawn anew, both curves fitted to each; modes exchanged by target."""

import math

import numpy as np
import numpy.typing as npt

from qualify.pod.kernels import fit_two
from qualify.pod.links import Array, Indices
from qualify.pod.simulation import GAMMA, S11, UNIT, block, ends, mixed
from qualify.threads import njit

FINE = 1e-8
SLACK = 1e-9  # relative, of a statistic: equal ones count as equal in spite of rounding
FITTED, STEP, ALL_HIT, ALL_MISSED, FALLS = 0.0, 1.0, 2.0, 3.0, 4.0


@njit(cache=True, nogil=True)
def curve_of(
    link: int, t: Array, hits: Array, misses: Array, level: float, start: float, slope: float
) -> tuple[float, float, float, float]:
    """Curve of one trial: intercept, slope, where it reaches `level`, and its state.

    t rises; rows may be empty. Where hits and misses do not overlap the curve is a step at the
    smallest hit (state STEP); where it does not rise, it reaches the level nowhere: infinite.
    """
    first_hit, last_hit, first_miss, last_miss = ends(hits, misses)
    if first_hit < 0:
        return 0.0, 0.0, math.inf, ALL_MISSED
    if last_miss < 0:
        return 0.0, 0.0, t[first_hit], ALL_HIT
    if t[last_miss] <= t[first_hit]:
        return 0.0, math.inf, t[first_hit], STEP
    if t[last_hit] <= t[first_miss]:
        return 0.0, -math.inf, math.inf, FALLS
    a, b, _, _ = fit_two(link, t, hits, misses, start, slope, math.inf, FINE)
    if b > 0.0:
        return a, b, (level - a) / b, FITTED
    return a, b, math.inf, FALLS


@njit(cache=True, nogil=True)
def draw_targets(state: np.uint64, strata: Indices, times: Indices) -> np.uint64:
    """Draw targets with return within each stratum (first of each, and the number of all).

    Writes how many times (targets,) each was drawn; returns the state of the generator.
    """
    times[:] = 0
    for s in range(strata.size - 1):
        first, count = strata[s], strata[s + 1] - strata[s]
        for _ in range(count):
            state = state + GAMMA
            times[first + int((mixed(state) >> S11) * UNIT * count)] += 1
    return state


@njit(cache=True, nogil=True)
def resampled(
    link: int,
    t: Array,
    hits: Array,
    misses: Array,
    level: float,
    starts: Array,
    strata: Indices,
    seed: np.uint64,
    first: int,
    last: int,
    out: Array,
) -> None:
    """Fit both modes to draws first..last-1 of whole targets.

    t (targets,) rises; hits, misses (2, targets) are counts of readers; starts (2, 2) intercept
    and slope. Writes intercept, slope, place and state of both modes: out (draws, 2, 4).
    """
    n = t.size
    times = np.empty(n, dtype=np.intp)
    x, h, m = np.empty(n), np.empty(n), np.empty(n)
    for k in range(first, last):
        draw_targets(block(seed, k, n), strata, times)
        for mode in range(2):
            rows = 0
            for i in range(n):
                if times[i] > 0 and hits[mode, i] + misses[mode, i] > 0.0:
                    x[rows] = t[i]
                    h[rows] = times[i] * hits[mode, i]
                    m[rows] = times[i] * misses[mode, i]
                    rows += 1
            found = curve_of(
                link, x[:rows], h[:rows], m[:rows], level, starts[mode, 0], starts[mode, 1]
            )
            for j in range(4):
                out[k, mode, j] = found[j]


@njit(cache=True, nogil=True)
def quadratic(u0: float, u1: float, v: Array) -> float:
    """Quadratic form u' V u with V (2, 2)."""
    value: float = u0 * u0 * v[0, 0] + 2.0 * u0 * u1 * v[0, 1] + u1 * u1 * v[1, 1]
    return value


@njit(cache=True, nogil=True)
def exchanged(
    steps: Array,
    t: Array,
    inverse: Array,
    seen: float,
    every: bool,
    seed: np.uint64,
    first: int,
    last: int,
) -> int:
    """Count exchanges first..last-1 of whole targets whose statistic is at least the one seen.

    steps (targets,), the score of each target; its sign is turned at random, or by the bits of the
    number of the exchange where `every` one is gone through.
    """
    n, count = steps.size, 0
    least = seen * (1.0 - SLACK)
    for k in range(first, last):
        u0, u1 = 0.0, 0.0
        state = block(seed, k, (n + 63) // 64)
        bits = np.uint64(k)
        for i in range(n):
            if not every and i % 64 == 0:
                state = state + GAMMA
                bits = mixed(state)
            one = steps[i] if bits & np.uint64(1) else -steps[i]
            bits = bits >> np.uint64(1)
            u0 += one
            u1 += one * t[i]
        count += quadratic(u0, u1, inverse) >= least
    return count


Seeds = npt.NDArray[np.uint64]
