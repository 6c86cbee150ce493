"""Compiled maximum likelihood of noise peaks: the Gumbel law and the generalised one, censored.

A grading unit gives one number, the peak of the noise in it: exact, or left-censored at a floor.

Gumbel law, location mu and scale beta: climbed in theta = 1/beta and d = mu/beta, in which the
log-likelihood is concave: with z = theta y - d, an exact peak gives log theta - z - exp(-z), a
censored one -exp(-z). So Newton's method with halved steps finds the one maximum.

Generalised extreme-value law (GEV): mu, phi = log beta and shape xi, where xi > 0 is a heavy tail
and xi = 0 is Gumbel. With z = (y - mu)/beta and s = log(1 + xi z)/xi an exact peak gives
-phi - (1 + xi) s - exp(-s), a censored one -exp(-s). Not concave: Newton with a ridge, from Gumbel.

Source: Jenkinson 1955, Quarterly Journal of the Royal Meteorological Society 81, 158-171 (from
memory; checked against scipy's genextreme, whose shape c is -xi, in `tests/published`).
"""

import math

import numpy as np

from qualify.pod.links import Array, Flags
from qualify.threads import njit

STEPS, HALVINGS = 100, 60
CLOSE = 1e-20  # Newton decrement: twice the log-likelihood still to be gained
GAIN = 1e-9  # below it a whole step is taken unasked: rounding hides what is gained
TINY = 1e-300
FAR = 700.0  # exponents are cut here
LEAST_SHAPE, MOST_SHAPE = -0.99, 10.0  # at -1 and below the likelihood has no bound
SERIES = 1e-2  # |xi z| below it: series instead of a difference of near-equal numbers
TERMS = 12
MOST_RIDGE = 1e12


@njit(cache=True, nogil=True)
def start_of(y: Array, censored: Flags) -> tuple[float, float]:
    """Mean and standard deviation of the exact peaks; the deviation is 0 without scatter."""
    n, mean, square = 0, 0.0, 0.0
    for i in range(y.size):
        if not censored[i]:
            n += 1
            step = y[i] - mean
            mean += step / n
            square += step * (y[i] - mean)
    return mean, math.sqrt(square / n) if n > 1 and square > 0.0 else 0.0


@njit(cache=True, nogil=True)
def gumbel_terms(
    y: Array, censored: Flags, theta: float, d: float
) -> tuple[float, float, float, float, float, float]:
    """Log-likelihood, slopes in theta and d, and bends (theta theta), (theta d), (d d)."""
    height, by_theta, by_d = 0.0, 0.0, 0.0
    bend_theta, bend_both, bend_d = 0.0, 0.0, 0.0
    for i in range(y.size):
        z = theta * y[i] - d
        w = math.exp(min(-z, FAR))
        height -= w
        slope = w
        if not censored[i]:
            height += math.log(theta) - z
            slope -= 1.0
            by_theta += 1.0 / theta
            bend_theta -= 1.0 / (theta * theta)
        by_theta += slope * y[i]
        by_d -= slope
        bend_theta -= w * y[i] * y[i]
        bend_both += w * y[i]
        bend_d -= w
    return height, by_theta, by_d, bend_theta, bend_both, bend_d


@njit(cache=True, nogil=True)
def gumbel_climb(y: Array, censored: Flags) -> tuple[float, float, float, bool]:
    """Location, scale, log-likelihood of the Gumbel law, and whether the climb arrived."""
    centre, spread = start_of(y, censored)
    if spread == 0.0:
        return centre, 0.0, 0.0, False
    exact = 0
    x = np.empty(y.size)
    for i in range(y.size):
        x[i] = (y[i] - centre) / spread
        exact += not censored[i]
    theta = math.pi / math.sqrt(6.0)
    d = -0.5772156649015329
    arrived = False
    height, a, b, aa, ab, bb = gumbel_terms(x, censored, theta, d)
    for _ in range(STEPS):
        root = aa * bb - ab * ab
        if not root > 0.0:
            break
        step, other = (ab * b - bb * a) / root, (ab * a - aa * b) / root
        gain = step * a + other * b
        size = 1.0
        for _ in range(HALVINGS):
            new = gumbel_terms(x, censored, max(theta + size * step, TINY), d + size * other)
            if theta + size * step > 0.0 and (new[0] >= height or gain < GAIN):
                break
            size *= 0.5
        theta, d = theta + size * step, d + size * other
        height, a, b, aa, ab, bb = new
        if gain < CLOSE:
            arrived = True
            break
    top = height - exact * math.log(spread)
    return centre + spread * d / theta, spread / theta, top, arrived


@njit(cache=True, nogil=True)
def place_terms(z: float, xi: float) -> tuple[float, float, float, float, float, float]:
    """Place s = log(1 + xi z)/xi; its slopes in z and xi; its bends (z z), (z xi), (xi xi)."""
    w = 1.0 + xi * z
    x = xi * z
    if abs(x) < SERIES:
        s, by_xi, bend = 0.0, 0.0, 0.0
        power, before, twice = 1.0, 0.0, 0.0  # (-x)^k and its derivatives by -x
        for k in range(TERMS):
            s += power / (k + 1)
            by_xi -= before / (k + 1)
            bend += twice / (k + 1)
            twice = twice * -x + 2.0 * before
            before = before * -x + power
            power *= -x
        s, by_xi, bend = s * z, by_xi * z * z, bend * z * z * z
    else:
        s = math.log1p(x) / xi
        by_xi = (z / w - s) / xi
        bend = (-(z * z) / (w * w) - 2.0 * by_xi) / xi
    return s, 1.0 / w, by_xi, -xi / (w * w), -z / (w * w), bend


@njit(cache=True, nogil=True)
def add_unit(
    z: float, scale: float, phi: float, xi: float, exact: bool, slope: Array, bend: Array
) -> float:
    """Add slopes (3,) and bends (3, 3; upper half) of one unit; returns its log-likelihood."""
    s, by_z, by_xi, bend_z, bend_both, bend_xi = place_terms(z, xi)
    w = math.exp(min(-s, FAR))
    height, pull = -w, w
    # s by (mu, phi, xi): z falls by 1/scale with mu and by z with phi
    m, p, x = -by_z / scale, -by_z * z, by_xi
    if exact:
        height -= phi + (1.0 + xi) * s
        pull -= 1.0 + xi
        slope[1] -= 1.0
        slope[2] -= s
        bend[0, 2] -= m
        bend[1, 2] -= p
        bend[2, 2] -= 2.0 * x
    slope[0] += pull * m
    slope[1] += pull * p
    slope[2] += pull * x
    bend[0, 0] += pull * bend_z / (scale * scale) - w * m * m
    bend[0, 1] += pull * (bend_z * z + by_z) / scale - w * m * p
    bend[1, 1] += pull * (bend_z * z + by_z) * z - w * p * p
    bend[0, 2] += -pull * bend_both / scale - w * m * x
    bend[1, 2] += -pull * bend_both * z - w * p * x
    bend[2, 2] += pull * bend_xi - w * x * x
    return height


@njit(cache=True, nogil=True)
def gev_terms(
    y: Array, censored: Flags, mu: float, phi: float, xi: float, slope: Array, bend: Array
) -> float:
    """Log-likelihood; writes slopes (3,) and bends (3, 3) in mu, phi and xi. -inf if impossible."""
    height = 0.0
    slope[:] = 0.0
    bend[:] = 0.0
    if not LEAST_SHAPE < xi < MOST_SHAPE:
        return -math.inf
    scale = math.exp(phi)
    for i in range(y.size):
        z = (y[i] - mu) / scale
        if 1.0 + xi * z > 0.0:
            height += add_unit(z, scale, phi, xi, not censored[i], slope, bend)
        elif not (censored[i] and xi < 0.0):  # a floor beyond the upper end of the law is certain
            return -math.inf
    bend[1, 0], bend[2, 0], bend[2, 1] = bend[0, 1], bend[0, 2], bend[1, 2]
    return height


@njit(cache=True, nogil=True)
def uphill(slope: Array, bend: Array, ridge: float, step: Array) -> bool:
    """Write the step of Newton's method with a ridge; false where it would not lead uphill."""
    a = np.empty((3, 3))
    for i in range(3):
        for j in range(3):
            a[i, j] = -bend[i, j]
        a[i, i] += ridge * max(1.0, abs(bend[i, i]))
    for j in range(3):  # Cholesky
        for k in range(j):
            a[j, j] -= a[j, k] * a[j, k]
        if not a[j, j] > 0.0:
            return False
        a[j, j] = math.sqrt(a[j, j])
        for i in range(j + 1, 3):
            for k in range(j):
                a[i, j] -= a[i, k] * a[j, k]
            a[i, j] /= a[j, j]
    for i in range(3):
        step[i] = slope[i]
        for k in range(i):
            step[i] -= a[i, k] * step[k]
        step[i] /= a[i, i]
    for i in range(2, -1, -1):
        for k in range(i + 1, 3):
            step[i] -= a[k, i] * step[k]
        step[i] /= a[i, i]
    return True


@njit(cache=True, nogil=True)
def gev_climb(y: Array, censored: Flags) -> tuple[float, float, float, float, bool]:
    """Location, scale, shape, log-likelihood of the GEV law, and whether the climb arrived."""
    centre, spread, _, arrived = gumbel_climb(y, censored)
    if not arrived:
        return centre, spread, 0.0, 0.0, False
    exact = 0
    x = np.empty(y.size)
    for i in range(y.size):
        x[i] = (y[i] - centre) / spread
        exact += not censored[i]
    at, step = np.zeros(3), np.zeros(3)
    slope, new_slope = np.zeros(3), np.zeros(3)
    bend, new_bend = np.zeros((3, 3)), np.zeros((3, 3))
    height = gev_terms(x, censored, 0.0, 0.0, 0.0, slope, bend)
    ridge, arrived = 0.0, False
    for _ in range(4 * STEPS):
        if uphill(slope, bend, ridge, step):
            gain = step @ slope
            new = at + step
            top = gev_terms(x, censored, new[0], new[1], new[2], new_slope, new_bend)
            near = gain < GAIN
            if top >= height or (near and top > -math.inf):
                at[:], slope[:], bend[:] = new, new_slope, new_bend
                height = top
                if gain < CLOSE:
                    arrived = True
                    break
                ridge = 0.0 if near or ridge < 1e-6 else 0.1 * ridge
                continue
        ridge = 1e-4 if ridge == 0.0 else 4.0 * ridge
        if ridge > MOST_RIDGE:
            break
    top = height - exact * math.log(spread)
    return centre + spread * at[0], spread * math.exp(at[1]), at[2], top, arrived
