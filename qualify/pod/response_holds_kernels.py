"""Compiled counting of trials, drawn from a known law, in which a bound holds."""

import math

import numpy as np
import numpy.typing as npt

from qualify.pod.links import Array
from qualify.pod.response_fits import Line, line
from qualify.pod.response_kernels import LEFT, RIGHT
from qualify.pod.response_simulation import (
    FEWEST_EXACT,
    FINE,
    above,
    censored,
    normals,
    simulate,
)
from qualify.pod.simulation import block
from qualify.threads import njit

NORMAL, HEAVY, SKEWED = 0, 1, 2
HEAVY_DF = 4  # of Student's t
EULER, GUMBEL_SD = 0.5772156649015329, math.pi / math.sqrt(6.0)
HERE = 1e-10
MOST_DRAWN = 4  # times the simulated trials wanted


@njit(cache=True, nogil=True)
def scatter(seed: np.uint64, trial: int, law: int, store: Array, out: Array) -> None:
    """Write deviates with mean 0 and standard deviation 1 of a law into out (rows,).

    store : (rows * 6,), room for normal deviates.
    """
    n = out.size
    if law == NORMAL:
        normals(block(seed, trial, store.size + 1), out)
        return
    normals(block(seed, trial, store.size + 1), store)
    for i in range(n):
        if law == HEAVY:  # t with 4 degrees of freedom has variance 2
            square = 0.0
            for j in range(1, 1 + HEAVY_DF):
                square += store[j * n + i] * store[j * n + i]
            out[i] = store[i] / math.sqrt(square / HEAVY_DF) / math.sqrt(2.0)
        else:  # a long tail towards small responses
            u = 0.5 * math.erfc(-store[i] / math.sqrt(2.0))
            out[i] = (math.log(-math.log(min(max(u, 1e-300), 1.0 - 1e-16))) + EULER) / GUMBEL_SD


@njit(cache=True, nogil=True)
def exceeding(
    t: Array,
    low: Array,
    high: Array,
    growing: bool,
    psi: float,
    eta: float,
    truth: Line,
    root: float,
    seed: np.uint64,
    simulations: int,
    limit: int,
) -> int:
    """Count simulated trials whose root is at least `root`, up to a limit; one response a target.

    Of the first `simulations` trials that have a line; where they are rare the limit is returned.
    """
    rows = t.size
    store, y, code = np.empty(rows), np.empty(rows), np.empty(rows, dtype=np.int8)
    count, valid = 0, 0
    for k in range(MOST_DRAWN * simulations):
        normals(block(seed, k, rows + 1), store)
        simulate(t, truth, store, y)
        if censored(y, low, high, code) < FEWEST_EXACT:
            continue
        valid += 1
        held = line(y, t, code, growing, True, psi, eta, truth, FINE)
        free = line(y, t, code, growing, False, psi, eta, truth, FINE)
        if above(free, psi, eta) and 2.0 * (free[4] - held[4]) >= root * root:
            count += 1
        if count >= limit or valid == simulations:
            return count
    return limit


@njit(cache=True, nogil=True)
def statements(
    t: Array,
    low: Array,
    high: Array,
    mean: Array,
    spread: Array,
    law: int,
    growing: bool,
    psi: float,
    eta: float,
    near: Line,
    seeds: npt.NDArray[np.uint64],
    first: int,
    last: int,
    simulations: int,
    limit: int,
    out: Array,
) -> None:
    """For each trial: root at the true psi and at infinity, count at both, left and right shares.

    Trials are drawn as mean + spread * scatter of the law, censored at low and high. `out`
    (trials, 6). A trial without a line has nan roots and counts of `limit`.
    """
    rows = t.size
    store, e = np.empty(6 * rows), np.empty(rows)
    y, code = np.empty(rows), np.empty(rows, dtype=np.int8)
    for s in range(first, last):
        scatter(seeds[0], s, law, store, e)
        for i in range(rows):
            y[i] = mean[i] + spread[i] * e[i]
        exact = censored(y, low, high, code)
        out[s, 4] = np.sum(code == LEFT) / rows
        out[s, 5] = np.sum(code == RIGHT) / rows
        if exact < FEWEST_EXACT:
            out[s, 0], out[s, 1], out[s, 2], out[s, 3] = math.nan, math.nan, limit, limit
            continue
        free = line(y, t, code, growing, False, psi, eta, near, HERE)
        for k in range(2):
            at = psi if k == 0 else math.inf
            held = line(y, t, code, growing, True, at, eta, free, HERE)
            root = math.sqrt(max(0.0, 2.0 * (free[4] - held[4])))
            out[s, k] = root if above(free, at, eta) else -root
            if out[s, k] <= 0.0:
                out[s, 2 + k] = limit
            elif root > 6.0:
                out[s, 2 + k] = 0
            else:
                out[s, 2 + k] = exceeding(
                    t, low, high, growing, at, eta, held, root, seeds[1] + np.uint64(s * 1000003),
                    simulations, limit,
                )  # fmt: skip
