"""Compiled fits of a line to responses: free, or held at a POD at a size, with a growing spread.

`growth` k means sigma(t) = sigma exp(k t). Where it is free (`growing`) the log-likelihood is
climbed in k by parabolas over the concave fits at given k, from a place near.
"""

import math

import numpy as np

from qualify.pod.links import Array
from qualify.pod.response_kernels import Codes, fit
from qualify.threads import njit

MOST_GROWTH = 3.0  # of log sigma over one standard deviation of the size axis
FIRST_STEP = 0.25
MOVES, PARABOLAS = 24, 30

Line = tuple[float, float, float, float, float]  # theta, slope, level at t = 0, growth, height


@njit(cache=True, nogil=True)
def _at_growth(
    growth: float,
    y: Array,
    t: Array,
    code: Codes,
    held: bool,
    psi: float,
    eta: float,
    theta: float,
    slope: float,
    level: float,
    fine: float,
) -> Line:
    """Fit with sigma(t) = sigma exp(growth t); psi infinite: held without a slope."""
    w = np.ones(t.size)
    if growth != 0.0:
        for i in range(t.size):
            w[i] = math.exp(-growth * t[i])
    if not held:
        a = fit(y, t, w, code, theta, slope, level, True, fine)
        return a[0], a[1], a[2], growth, a[3]
    if math.isinf(psi):
        a = fit(y, np.zeros(t.size), w, code, theta, 0.0, level, True, fine)
        return a[0], 0.0, a[2], growth, a[3]
    reach = max(1.0, abs(psi))
    away = t / reach - psi / reach
    to = eta * math.exp(growth * psi) if growth != 0.0 else eta
    a = fit(y, away, w, code, theta, slope * reach, to, False, fine)
    return a[0], a[1] / reach, to - a[1] / reach * psi, growth, a[3]


@njit(cache=True, nogil=True)
def line(
    y: Array,
    t: Array,
    code: Codes,
    growing: bool,
    held: bool,
    psi: float,
    eta: float,
    start: Line,
    fine: float,
) -> Line:
    """Line of highest likelihood, climbed from `start`; held at probit `eta` at psi if asked for.

    `start[4]` is not used. With psi infinite it is held without a slope.
    """
    middle = _at_growth(start[3], y, t, code, held, psi, eta, start[0], start[1], start[2], fine)
    if not growing:
        return middle
    h = FIRST_STEP
    low = _at_growth(middle[3] - h, y, t, code, held, psi, eta, middle[0], middle[1], middle[2],
                     fine)  # fmt: skip
    high = _at_growth(middle[3] + h, y, t, code, held, psi, eta, middle[0], middle[1], middle[2],
                      fine)  # fmt: skip
    for _ in range(MOVES):
        if low[4] > middle[4] and low[3] > -MOST_GROWTH:
            high, middle = middle, low
            low = _at_growth(middle[3] - h, y, t, code, held, psi, eta, middle[0], middle[1],
                             middle[2], fine)  # fmt: skip
        elif high[4] > middle[4] and high[3] < MOST_GROWTH:
            low, middle = middle, high
            high = _at_growth(middle[3] + h, y, t, code, held, psi, eta, middle[0], middle[1],
                              middle[2], fine)  # fmt: skip
        else:
            break
    for _ in range(PARABOLAS):
        left, right = middle[3] - low[3], high[3] - middle[3]
        down, up = middle[4] - low[4], middle[4] - high[4]
        bottom = down * right + up * left
        if not bottom > 0.0:
            break
        shift = 0.5 * (down * right * right - up * left * left) / bottom
        gain = 0.5 * shift * shift * bottom / (left * right * 0.5 * (left + right))
        if abs(shift) < 0.02 * min(left, right):
            shift = 0.02 * min(left, right) * (1.0 if shift >= 0.0 else -1.0)
        shift = min(max(shift, -0.9 * left), 0.9 * right)
        new = _at_growth(middle[3] + shift, y, t, code, held, psi, eta, middle[0], middle[1],
                         middle[2], fine)  # fmt: skip
        if new[4] > middle[4]:
            if shift > 0.0:
                low = middle
            else:
                high = middle
            middle = new
        elif shift > 0.0:
            high = new
        else:
            low = new
        if gain <= fine or high[3] - low[3] < 1e-9:
            break
    return middle
