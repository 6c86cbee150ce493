"""Compiled inner loops of the hit/miss model: one data set, one or two free parameters.

Every function takes one data set as plain arrays over its distinct sizes: `t` (centred and
scaled sizes), `hits` and `misses` (counts as floats). A link is given by its number in
`LINK_NUMBERS`. Newton's method climbs the concave log-likelihood with analytic derivatives and
halves a step that would descend. Whether a maximum exists is decided from the data before.

Source: McCullagh and Nelder 1989, section 4.4 (from memory), with the observed information for
the steps. The plain numpy form of the same method is the reference in `tests/pod`.
"""

import math

from qualify.pod.links import EXPONENT_LIMIT, LINK_NAMES, SMALL, Array
from qualify.threads import njit

LINK_NUMBERS = {name: number for number, name in enumerate(LINK_NAMES)}
LOGIT, PROBIT, CLOGLOG = 0, 1, 2  # the rest is loglog

MAX_STEPS, MAX_HALVINGS = 200, 60
REACH = 1e8  # most that a step may move any eta, a guard against overflow
LEAST_INFORMATION = 1e-100
NEAR_TOP = 0.25  # decrement from which on the height still to gain is about half of it
FEW_TRIALS = 16.0  # at one size: so many are multiplied rather than taken the logarithm of
ROUNDING = 1e-13  # relative slack when two log-likelihoods are compared
FAR = -30.0  # below it the normal tail is summed as a series
ROOT_TWO, LOG_ROOT_TWO_PI = math.sqrt(2.0), 0.5 * math.log(2.0 * math.pi)


@njit(cache=True, nogil=True)
def normal_terms(eta: float) -> tuple[float, float, float]:
    """Log of the normal distribution at eta, its first and second derivative."""
    if eta > FAR:
        share = 0.5 * math.erfc(-eta / ROOT_TWO)
        height = math.log1p(-0.5 * math.erfc(eta / ROOT_TWO)) if eta > 1.0 else math.log(share)
        slope = math.exp(-0.5 * eta * eta - LOG_ROOT_TWO_PI) / share
        return height, slope, min(-slope * (eta + slope), 0.0)
    # phi / Phi = -eta / s, s = 1 - 1/eta^2 + 3/eta^4 - ...: Abramowitz and Stegun 26.2.12
    inverse = 1.0 / (eta * eta)
    term, total = 1.0, 1.0
    for k in range(1, 9):
        term *= -(2 * k - 1) * inverse
        total += term
    height = -0.5 * eta * eta - LOG_ROOT_TWO_PI - math.log(-eta) + math.log(total)
    slope = -eta / total
    return height, slope, min(-slope * (eta * (total - 1.0) / total), 0.0)


@njit(cache=True, nogil=True)
def _cloglog_hit(eta: float) -> tuple[float, float, float]:
    """Log POD of the complementary log-log link at eta, first and second derivative."""
    t = math.exp(min(eta, EXPONENT_LIMIT))
    if t < SMALL:
        ratio = 1.0 - t / 2.0 + t * t / 12.0
        return eta - t / 2.0 + t * t / 24.0, ratio, ratio * (-t / 2.0 - t * t / 12.0)
    if t > EXPONENT_LIMIT:
        return 0.0, 0.0, 0.0
    height = math.log(-math.expm1(-t)) if t < 1.0 else math.log1p(-math.exp(-t))
    ratio = t / math.expm1(t)
    return height, ratio, ratio * (1.0 - t - ratio)


@njit(cache=True, nogil=True)
def _hit_terms(link: int, eta: float) -> tuple[float, float, float]:
    if link == PROBIT:
        return normal_terms(eta)
    if link == CLOGLOG:
        return _cloglog_hit(eta)
    t = math.exp(min(-eta, EXPONENT_LIMIT))
    return -t, t, -t


@njit(cache=True, nogil=True)
def _miss_terms(link: int, eta: float) -> tuple[float, float, float]:
    if link == PROBIT:
        height, slope, bend = normal_terms(-eta)
        return height, -slope, bend
    if link == CLOGLOG:
        t = math.exp(min(eta, EXPONENT_LIMIT))
        return -t, -t, -t
    height, slope, bend = _cloglog_hit(-eta)
    return height, -slope, bend


@njit(cache=True, nogil=True)
def pod_at(link: int, eta: float) -> float:
    """POD at eta."""
    if link == LOGIT:
        return 1.0 / (1.0 + math.exp(-eta)) if eta > -700.0 else 0.0
    return math.exp(_hit_terms(link, eta)[0])


@njit(cache=True, nogil=True)
def climb_at(
    link: int, start: float, slope: float, t: Array, hits: Array, misses: Array
) -> tuple[float, float, float, float, float, float]:
    """Log-likelihood at eta = start + slope t, its score (2) and observed information (3).

    The logit sums the logarithms of a product: 1 + exp(-|eta|) never exceeds 2.
    """
    height, s0, s1, i00, i01, i11 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    product, held = 1.0, 0
    for i in range(t.size):
        eta = start + slope * t[i]
        h, m = hits[i], misses[i]
        if link == LOGIT:
            e = math.exp(-abs(eta))
            one = 1.0 / (1.0 + e)
            pod = one if eta >= 0.0 else e * one
            total = h + m
            if total <= FEW_TRIALS and total == math.floor(total):
                for _ in range(int(total)):
                    product *= 1.0 + e
                held += int(total)
                if held >= 500:
                    height -= math.log(product)
                    product, held = 1.0, 0
            else:
                height -= total * math.log1p(e)
            if eta < 0.0:
                height += h * eta
            else:
                height -= m * eta
            pull = h - total * pod
            weight = total * e * one * one
        else:
            pull, weight = 0.0, 0.0
            if h > 0.0:
                value, first, second = _hit_terms(link, eta)
                height += h * value
                pull += h * first
                weight -= h * second
            if m > 0.0:
                value, first, second = _miss_terms(link, eta)
                height += m * value
                pull += m * first
                weight -= m * second
        s0 += pull
        s1 += pull * t[i]
        i00 += weight
        i01 += weight * t[i]
        i11 += weight * t[i] * t[i]
    return height - math.log(product), s0, s1, i00, i01, i11


@njit(cache=True, nogil=True)
def expected_at(
    link: int, start: float, slope: float, t: Array, trials: Array
) -> tuple[float, float, float]:
    """Return the expected information (3) at eta = start + slope t."""
    i00, i01, i11 = 0.0, 0.0, 0.0
    for i in range(t.size):
        eta = start + slope * t[i]
        if link == LOGIT:
            e = math.exp(-abs(eta))
            weight = trials[i] * e / ((1.0 + e) * (1.0 + e))
        else:
            weight = -trials[i] * _hit_terms(link, eta)[1] * _miss_terms(link, eta)[1]
        i00 += weight
        i01 += weight * t[i]
        i11 += weight * t[i] * t[i]
    return i00, i01, i11


@njit(cache=True, nogil=True)
def fit_two(
    link: int,
    t: Array,
    hits: Array,
    misses: Array,
    start: float,
    slope: float,
    enough: float,
    fine: float,
) -> tuple[float, float, float, bool]:
    """Climb in intercept and slope from (start, slope).

    Stops early once the log-likelihood reaches `enough`, or, for a finite `enough`, once it can
    no longer reach it; else at a relative step below sqrt(fine) and a gain below `fine`.
    Returns intercept, slope, log-likelihood and whether it converged.
    """
    widest = 0.0
    for i in range(t.size):
        widest = max(widest, abs(t[i]))
    here = climb_at(link, start, slope, t, hits, misses)
    for _ in range(MAX_STEPS):
        height = here[0]
        if height >= enough:
            return start, slope, height, True
        determinant = max(here[3] * here[5] - here[4] * here[4], LEAST_INFORMATION)
        da = (here[5] * here[1] - here[4] * here[2]) / determinant
        db = (here[3] * here[2] - here[4] * here[1]) / determinant
        gain = da * here[1] + db * here[2]
        if gain < NEAR_TOP and height + gain < enough < math.inf:
            return start, slope, height, True
        moved = abs(da) + abs(db) * widest
        factor = 1.0 if moved <= REACH else REACH / moved
        slack = ROUNDING * (1.0 + abs(height))
        for halving in range(MAX_HALVINGS + 1):
            new = climb_at(link, start + factor * da, slope + factor * db, t, hits, misses)
            if new[0] >= height - slack:
                break
            factor = 0.5 * factor if halving < MAX_HALVINGS - 1 else 0.0
        start, slope, here = start + factor * da, slope + factor * db, new
        near = math.sqrt(fine)
        if (
            abs(gain) <= fine
            and abs(da) <= near * (1.0 + abs(start))
            and abs(db) <= near * (1.0 + abs(slope))
        ):
            return start, slope, here[0], True
    return start, slope, here[0], False


@njit(cache=True, nogil=True)
def fit_one(
    link: int,
    away: Array,
    hits: Array,
    misses: Array,
    level: float,
    slope: float,
    fine: float,
) -> tuple[float, float, float, bool]:
    """Climb in the slope alone, eta = level + slope away.

    Returns slope, log-likelihood, score of the level there, and whether it converged. The sign
    of that score is the sign of (best level - level), as the log-likelihood is concave.
    """
    widest = 0.0
    for i in range(away.size):
        widest = max(widest, abs(away[i]))
    here = climb_at(link, level, slope, away, hits, misses)
    for _ in range(MAX_STEPS):
        height = here[0]
        step = here[2] / max(here[5], LEAST_INFORMATION)
        gain = step * here[2]
        moved = abs(step) * widest
        factor = 1.0 if moved <= REACH else REACH / moved
        slack = ROUNDING * (1.0 + abs(height))
        for halving in range(MAX_HALVINGS + 1):
            new = climb_at(link, level, slope + factor * step, away, hits, misses)
            if new[0] >= height - slack:
                break
            factor = 0.5 * factor if halving < MAX_HALVINGS - 1 else 0.0
        slope, here = slope + factor * step, new
        if abs(gain) <= fine and abs(step) <= math.sqrt(fine) * (1.0 + abs(slope)):
            return slope, here[0], here[1], True
    return slope, here[0], here[1], False
