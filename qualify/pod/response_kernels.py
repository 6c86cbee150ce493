"""Compiled inner loops of the signal-response model: one data set, two or three parameters.

A row has a response y (in units of its spread, measured from the decision threshold), a place t on
the standardised size axis, a weight w (1 over its relative standard deviation) and a code: exact,
left-censored (at most y) or right-censored (at least y). With theta = 1 / sigma, the residual is

    z = w (theta y - level - slope away),

a row adds log(theta w) + log phi(z), log Phi(z) or log Phi(-z). In theta, slope and level this
sum is concave, so that Newton's method with halved steps finds its only maximum. Rows that are
exact enter through their sums of squares and products: an iteration costs what the censored rows
cost. Where the curve is held at `level`, theta and slope are free.

Source: Olsen 1978, Econometrica 46, 1211-1215 (the concave parametrisation; from memory), checked
in `tests/published` against R.
"""

import math

import numpy as np
import numpy.typing as npt

from qualify.pod.kernels import LOG_ROOT_TWO_PI, normal_terms
from qualify.pod.links import Array
from qualify.threads import njit

Codes = npt.NDArray[np.int8]
EXACT, LEFT, RIGHT = 0, -1, 1
MAX_STEPS, MAX_HALVINGS = 100, 50
KEEP = 0.1  # a step leaves at least this share of theta
ROUNDING = 1e-13
RIDGE = 1e-14  # of the information, against directions that no row decides


@njit(cache=True, nogil=True)
def sums(y: Array, away: Array, w: Array, code: Codes, out: Array) -> None:
    """Write sums over exact rows: number, log w, then products of w y, w away, w (six of them)."""
    out[:] = 0.0
    for i in range(y.size):
        if code[i] != 0:
            continue
        ww = w[i] * w[i]
        out[0] += 1.0
        out[1] += math.log(w[i])
        out[2] += ww * y[i] * y[i]
        out[3] += ww * y[i] * away[i]
        out[4] += ww * y[i]
        out[5] += ww * away[i] * away[i]
        out[6] += ww * away[i]
        out[7] += ww


@njit(cache=True, nogil=True)
def climb_at(
    theta: float,
    slope: float,
    level: float,
    y: Array,
    away: Array,
    w: Array,
    code: Codes,
    s: Array,
    out: Array,
) -> float:
    """Log-likelihood; writes score (theta, slope, level) and information (tt ts tl ss sl ll)."""
    height: float = s[0] * (math.log(theta) - LOG_ROOT_TWO_PI) + s[1]
    # sums of w^2 z times y, away, 1 over exact rows
    zy = theta * s[2] - slope * s[3] - level * s[4]
    za = theta * s[3] - slope * s[5] - level * s[6]
    zo = theta * s[4] - slope * s[6] - level * s[7]
    height -= 0.5 * (theta * zy - slope * za - level * zo)
    out[0], out[1], out[2] = s[0] / theta - zy, za, zo
    out[3], out[4], out[5] = s[2] + s[0] / (theta * theta), -s[3], -s[4]
    out[6], out[7], out[8] = s[5], s[6], s[7]
    for i in range(y.size):
        if code[i] == 0:
            continue
        sign = -1.0 if code[i] > 0 else 1.0
        z = w[i] * (theta * y[i] - level - slope * away[i])
        value, first, second = normal_terms(sign * z)
        height += value
        pull, weight = sign * first * w[i], -second * w[i] * w[i]
        out[0] += pull * y[i]
        out[1] -= pull * away[i]
        out[2] -= pull
        out[3] += weight * y[i] * y[i]
        out[4] -= weight * y[i] * away[i]
        out[5] -= weight * y[i]
        out[6] += weight * away[i] * away[i]
        out[7] += weight * away[i]
        out[8] += weight
    return height


@njit(cache=True, nogil=True)
def _step(g: Array, level_free: bool, out: Array) -> None:
    """Newton's step (theta, slope, level) by elimination; the level stays unless it is free."""
    tt, ts, tl, ss, sl, ll = g[3], g[4], g[5], g[6], g[7], g[8]
    tt += RIDGE * tt
    ss += RIDGE * (1.0 + ss)
    if level_free:
        ll += RIDGE * ll
        tt -= tl * tl / ll
        ts -= tl * sl / ll
        ss -= sl * sl / ll
        gt, gs = g[0] - tl * g[2] / ll, g[1] - sl * g[2] / ll
    else:
        gt, gs = g[0], g[1]
    left = max(tt - ts * ts / ss, 1e-300)
    out[0] = (gt - ts * gs / ss) / left
    out[1] = (gs - ts * out[0]) / ss
    out[2] = (g[2] - tl * out[0] - sl * out[1]) / ll if level_free else 0.0


@njit(cache=True, nogil=True)
def fit(
    y: Array,
    away: Array,
    w: Array,
    code: Codes,
    theta: float,
    slope: float,
    level: float,
    level_free: bool,
    fine: float,
) -> tuple[float, float, float, float, bool]:
    """Climb from (theta, slope, level); stops where a step gains less than `fine`.

    Returns theta, slope, level, log-likelihood, and whether it settled.
    """
    s, here, new, step = np.empty(8), np.empty(9), np.empty(9), np.empty(3)
    sums(y, away, w, code, s)
    height = climb_at(theta, slope, level, y, away, w, code, s, here)
    for _ in range(MAX_STEPS):
        _step(here, level_free, step)
        gain = step[0] * here[0] + step[1] * here[1] + step[2] * here[2]
        if gain <= fine:
            if gain > 0.0 and theta + step[0] > 0.0:
                theta, slope, level = theta + step[0], slope + step[1], level + step[2]
                height = climb_at(theta, slope, level, y, away, w, code, s, here)
            return theta, slope, level, height, True
        factor = 1.0
        if theta + step[0] < KEEP * theta:
            factor = (1.0 - KEEP) * theta / -step[0]
        slack = ROUNDING * (1.0 + abs(height))
        moved = False
        for _halving in range(MAX_HALVINGS):
            at = (theta + factor * step[0], slope + factor * step[1], level + factor * step[2])
            reached = climb_at(at[0], at[1], at[2], y, away, w, code, s, new)
            if reached >= height - slack:
                moved = True
                break
            factor *= 0.5
        if not moved:
            return theta, slope, level, height, gain < 1e-6
        theta, slope, level = at
        height = reached
        here, new = new, here
    return theta, slope, level, height, False


@njit(cache=True, nogil=True)
def started(y: Array, t: Array, w: Array, level: float) -> tuple[float, float, float]:
    """Theta, slope and level of the least-squares line with limits taken as responses.

    Only a place to climb from.
    """
    n = sy = st = stt = sty = 0.0
    for i in range(y.size):
        ww = w[i] * w[i]
        n += ww
        sy += ww * y[i]
        st += ww * t[i]
        stt += ww * t[i] * t[i]
        sty += ww * t[i] * y[i]
    spread = stt - st * st / n
    b = (sty - st * sy / n) / spread if spread > 0.0 else 0.0
    a = (sy - b * st) / n
    left = 0.0
    for i in range(y.size):
        e = w[i] * (y[i] - a - b * t[i])
        left += e * e
    sigma = math.sqrt(left / y.size) if left > 0.0 else 1.0
    sigma = max(sigma, 1e-6)
    return 1.0 / sigma, b / sigma, a / sigma
