"""Compiled simulation of response trials from a curve that is held, censored as the trial was.

Each simulated trial has the sizes, floors, ceilings and targets of the data. Rows of one target
share a part `rho` of their variance. Every trial gives the signed root of the likelihood ratio of
the statement that was held. Draws come from the counter-based generator of
`qualify.pod.simulation`, a block of numbers a trial; normal deviates by Box and Muller 1958
(Annals of Mathematical Statistics 29, 610-611; from memory, moments checked in `tests/pod`).
"""

import math

import numpy as np

from qualify.pod.links import Array, Indices
from qualify.pod.response_fits import Line, line
from qualify.pod.response_kernels import LEFT, RIGHT, Codes
from qualify.pod.simulation import GAMMA, S11, UNIT, block, mixed
from qualify.threads import njit

FINE = 1e-5  # a last step follows a gain below this: what is left is far smaller
FEWEST_EXACT = 5  # our own choice: with fewer, line and spread describe nothing


def stream(seed: int, name: bytes) -> np.uint64:
    """Return the start of the generator of a recorded seed and a name."""
    return np.uint64(np.random.SeedSequence([seed, *name]).generate_state(1, np.uint64)[0])


@njit(cache=True, nogil=True)
def normals(state: np.uint64, out: Array) -> None:
    """Fill with standard normal deviates, two from two numbers of the generator."""
    for i in range(0, out.size, 2):
        state = state + GAMMA
        radius = math.sqrt(-2.0 * math.log(((mixed(state) >> S11) + 1.0) * UNIT))
        state = state + GAMMA
        angle = 2.0 * math.pi * ((mixed(state) >> S11) * UNIT)
        out[i] = radius * math.cos(angle)
        if i + 1 < out.size:
            out[i + 1] = radius * math.sin(angle)


@njit(cache=True, nogil=True)
def deviates(seed: np.uint64, trial: int, rho: float, group: Indices, store: Array) -> None:
    """Write standard deviates of a trial into the first rows of the store, rho shared by target."""
    rows = group.size
    if rho > 0.0:
        normals(block(seed, trial, store.size + 1), store)
        own, shared = math.sqrt(1.0 - rho), math.sqrt(rho)
        for i in range(rows):
            store[i] = own * store[i] + shared * store[rows + group[i]]
    else:
        normals(block(seed, trial, store.size + 1), store[:rows])


@njit(cache=True, nogil=True)
def censored(y: Array, low: Array, high: Array, code: Codes) -> int:
    """Censor responses where they stand; returns how many are exact."""
    exact = 0
    for i in range(y.size):
        if y[i] <= low[i]:
            y[i], code[i] = low[i], LEFT
        elif y[i] >= high[i]:
            y[i], code[i] = high[i], RIGHT
        else:
            code[i] = 0
            exact += 1
    return exact


@njit(cache=True, nogil=True)
def above(free: Line, psi: float, eta: float) -> bool:
    """Whether a line lies above probit `eta` at psi; with psi infinite: rises towards it."""
    if math.isinf(psi):
        return (free[1] > 0.0) == (psi > 0.0)
    return (free[2] + free[1] * psi) * math.exp(-free[3] * psi) > eta


@njit(cache=True, nogil=True)
def roots(
    t: Array,
    low: Array,
    high: Array,
    group: Indices,
    growing: bool,
    psi: float,
    eta: float,
    truth: Line,
    rho: float,
    seed: np.uint64,
    first: int,
    last: int,
    out: Array,
) -> None:
    """Write the signed roots of simulated trials first..last-1 into out (all trials,).

    `truth` is the line held at probit `eta` at psi. A trial with too few exact responses has no
    line and makes no claim: its root is nan, and the data are compared with those that have one.
    """
    rows = t.size
    store = np.empty(rows + (int(group.max()) + 1 if rho > 0.0 else 0))
    y, code = np.empty(rows), np.empty(rows, dtype=np.int8)
    for k in range(first, last):
        deviates(seed, k, rho, group, store)
        simulate(t, truth, store, y)
        if censored(y, low, high, code) < FEWEST_EXACT:
            out[k] = math.nan
            continue
        held = line(y, t, code, growing, True, psi, eta, truth, FINE)
        free = line(y, t, code, growing, False, psi, eta, truth, FINE)
        root = math.sqrt(max(0.0, 2.0 * (free[4] - held[4])))
        out[k] = root if above(free, psi, eta) else -root


@njit(cache=True, nogil=True)
def simulate(t: Array, truth: Line, store: Array, y: Array) -> None:
    """Write responses y (rows,) of a line from standard deviates."""
    theta, slope, level, growth, _ = truth
    for i in range(t.size):
        scale = math.exp(growth * t[i]) if growth != 0.0 else 1.0
        y[i] = (level + slope * t[i] + scale * store[i]) / theta


@njit(cache=True, nogil=True)
def refit(
    t: Array,
    low: Array,
    high: Array,
    group: Indices,
    growing: bool,
    truth: Line,
    rho: float,
    seed: np.uint64,
    trial: int,
    store: Array,
    y: Array,
    code: Codes,
) -> tuple[int, Line]:
    """Draw one trial from a line into y and code (rows,) and fit it; exact rows and the new line.

    store : (rows + targets,) where targets are repeated, else (rows,).
    """
    deviates(seed, trial, rho, group, store)
    simulate(t, truth, store, y)
    exact = censored(y, low, high, code)
    if exact < FEWEST_EXACT:
        return exact, truth
    return exact, line(y, t, code, growing, False, 0.0, 0.0, truth, FINE)
