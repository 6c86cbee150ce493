"""Two statistics of misfit of a hit/miss curve, batched over data sets.

- Curvature: the likelihood-ratio statistic of adding x^2 to the link value, 1 degree of freedom.
- Unweighted sum of squares: S = sum of (y - p)^2 over single trials, less its expectation
  sum of p (1 - p), over the standard deviation of that difference, which allows for the fitted
  intercept and slope. With h hits of N trials at one size, the difference is
  sum of (h - N p)(1 - 2 p).

Sources: Copas 1989, Applied Statistics 38, 71-80, for the sum of squares; its standard deviation
after le Cessie and van Houwelingen 1991, Biometrics 47, 1267-1282, and Hosmer, Hosmer, le Cessie
and Lemeshow 1997, Statistics in Medicine 16, 965-980 (from memory), here written out for any
link. No outside figure was found for it; `tests/pod` checks it against the quadratic form with
matrices and against a weighted regression of statsmodels.
"""

from dataclasses import dataclass

import numpy as np

from qualify.pod.climb import Local, climb
from qualify.pod.engine import fit_curves
from qualify.pod.links import Array, Flags, Indices, LinkName, terms
from qualify.pod.outcome import ends_of

LEAST_VARIANCE = 1e-12


@dataclass(frozen=True, slots=True)
class Misfit:
    """Statistics of misfit, (sets,) each.

    Attributes
    ----------
    curvature : likelihood-ratio statistic of x^2.
    squares, expected, z : S, its expectation, and the standardised difference.
    apart : sets whose hits and misses do not overlap. One curve, rising or falling, fits them
        perfectly, so all statistics of misfit are 0; they stay in every count.
    """

    curvature: Array
    squares: Array
    expected: Array
    z: Array
    apart: Flags


def _curved(
    t: Array, hits: Array, misses: Array, link: LinkName, start: Array, weights: Array
) -> Array:
    """Highest log-likelihood (sets,) of a quadratic link value, from `start` (sets, 2)."""
    share = weights / weights.sum()
    square = t * t - (share * t * t).sum() - (share * t**3).sum() * t  # away from 1 and t
    design = np.stack([np.ones_like(t), t, square])

    def likelihood(v: Array, index: Indices) -> Local:
        at, h, m = terms(link, v @ design), hits[index], misses[index]
        bend = -(h * at.hit_bend + m * at.miss_bend)
        observed = (design[None] * bend[:, None]) @ design.T
        expected = (design[None] * ((h + m) * at.expected_weight())[:, None]) @ design.T
        height = (h * at.log_hit + m * at.log_miss).sum(axis=1)
        return height, (h * at.hit_slope + m * at.miss_slope) @ design.T, observed, expected

    begin = np.column_stack([start, np.zeros(len(start))])
    endless = np.full_like(begin, np.inf)
    return climb(likelihood, begin, -endless, endless).height


def _squares(t: Array, hits: Array, misses: Array, eta: Array, link: LinkName) -> tuple[Array, ...]:
    """S, its expectation and the variance of the difference, (sets,) each."""
    at, n = terms(link, eta), hits + misses
    p, q = np.exp(at.log_hit), np.exp(at.log_miss)
    weight = n * at.expected_weight()
    direction = q - p  # 1 - 2 p
    density = p * at.hit_slope
    a, b, c = weight.sum(1), (weight * t).sum(1), (weight * t * t).sum(1)
    u, v = (n * density * direction).sum(1), (n * density * direction * t).sum(1)
    determinant = a * c - b * b
    first, second = (c * u - b * v) / determinant, (a * v - b * u) / determinant
    # density / (p q) = hit_slope - miss_slope: no quotient of small numbers
    rest = direction - (at.hit_slope - at.miss_slope) * (first[:, None] + second[:, None] * t)
    squares = (hits * q * q + misses * p * p).sum(1)
    return squares, (n * p * q).sum(1), (rest * rest * n * p * q).sum(1)


def misfit(t: Array, hits: Array, trials: Array, link: LinkName) -> Misfit:
    """Statistics of misfit of the two-parameter curve, fitted anew to each set.

    Parameters
    ----------
    t : (sizes,) distinct, centred and scaled.
    hits : (sets, sizes).
    trials : (sizes,).
    """
    misses = trials - hits
    apart = ends_of(t, hits, misses).apart
    (kept,) = np.nonzero(~apart)
    curvature, z = np.zeros(len(hits)), np.zeros(len(hits))
    squares, expected = np.zeros(len(hits)), np.zeros(len(hits))
    if kept.size:
        h, m = hits[kept], misses[kept]
        fits = fit_curves(t, h, trials, link)
        start = np.column_stack([fits.intercept, fits.slope])
        higher = _curved(t, h, m, link, start, trials)
        curvature[kept] = np.maximum(0.0, 2.0 * (higher - fits.log_likelihood))
        eta = start[:, :1] + start[:, 1:] * t
        squares[kept], expected[kept], variance = _squares(t, h, m, eta, link)
        sure = variance > LEAST_VARIANCE
        z[kept] = np.where(
            sure, (squares - expected)[kept] / np.sqrt(np.where(sure, variance, 1.0)), 0.0
        )
    return Misfit(curvature, squares, expected, z, apart)
