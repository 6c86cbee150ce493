"""Compiled: targets and blank units drawn anew together, a90 of both modes at one rate."""

import math

import numpy as np

from qualify.comparison.kernels import draw_targets
from qualify.pod.links import Array, Flags, Indices
from qualify.pod.noise_kernels import gumbel_climb
from qualify.pod.response_fits import Line, line
from qualify.pod.response_kernels import Codes
from qualify.pod.response_simulation import FEWEST_EXACT
from qualify.pod.simulation import block
from qualify.threads import njit

FINE = 1e-8


@njit(cache=True, nogil=True)
def place_at_rate(
    y: Array,
    t: Array,
    code: Codes,
    start: Line,
    peaks: Array,
    censored: Flags,
    place: float,
    offset: float,
    unit: float,
    low: float,
    high: float,
    probit: float,
) -> float:
    """Psi of a90 at the threshold for a rate; infinite without one."""
    exact = 0
    for i in range(code.size):
        exact += code[i] == 0
    if exact < FEWEST_EXACT:
        return math.inf
    mu, beta, _, arrived = gumbel_climb(peaks, censored)
    if not arrived:
        return math.inf
    threshold = (mu + beta * place - offset) / unit
    if threshold < low or threshold >= high:
        return math.inf
    theta, slope, level, _, _ = line(y, t, code, False, False, 0.0, 0.0, start, FINE)
    if not slope > 0.0:
        return math.inf
    return (threshold * theta + probit - level) / slope


@njit(cache=True, nogil=True)
def joint_draws(
    y: Array,
    t: Array,
    code: Codes,
    group: Indices,
    rows: Indices,
    starts: tuple[Line, Line],
    peaks: Array,
    censored: Flags,
    place: float,
    scales: Array,
    probit: float,
    targets: int,
    seed: np.uint64,
    other: np.uint64,
    first: int,
    last: int,
    out: Array,
) -> None:
    """Write psi of a90 in both modes for draws first..last-1; out (draws, 2).

    y, t, code, group (2, most rows), of which rows (2,) count; peaks, censored (2, units).
    """
    units = peaks.shape[1]
    times, again = np.empty(targets, dtype=np.intp), np.empty(units, dtype=np.intp)
    all_targets, all_units = np.array([0, targets]), np.array([0, units])
    for k in range(first, last):
        draw_targets(block(seed, k, targets), all_targets, times)
        draw_targets(block(other, k, units), all_units, again)
        for mode in range(2):
            n = 0
            for i in range(rows[mode]):
                n += times[group[mode, i]]
            own_y, own_t = np.empty(n), np.empty(n)
            own_code = np.empty(n, dtype=np.int8)
            n = 0
            for i in range(rows[mode]):
                for _ in range(times[group[mode, i]]):
                    own_y[n], own_t[n], own_code[n] = y[mode, i], t[mode, i], code[mode, i]
                    n += 1
            own_peaks, own_censored = np.empty(units), np.empty(units, dtype=np.bool_)
            n = 0
            for i in range(units):
                for _ in range(again[i]):
                    own_peaks[n], own_censored[n] = peaks[mode, i], censored[mode, i]
                    n += 1
            offset, unit, low, high = scales[mode]
            out[k, mode] = place_at_rate(
                own_y, own_t, own_code, starts[mode], own_peaks, own_censored, place, offset, unit,
                low, high, probit,
            )  # fmt: skip
