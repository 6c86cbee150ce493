"""Exact tolerance factors of a normal sample: mean +- k s holds a stated share of all errors.

Sources: two-sided, exact by integration: Odeh and Owen 1980, Tables for Normal Tolerance
Limits; Guttman 1970; one-sided by the non-central t distribution: Owen 1968 (from memory;
checked in `tests/published` against an R computation and NIST/SEMATECH e-Handbook 7.2.6.3).
"""

from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

Array = npt.NDArray[np.float64]

NODES = 200
REACH = 9.0  # standard errors of the mean; what lies beyond weighs 2e-19


def _check(n: int, share: float, confidence: float) -> None:
    if n < 2:
        message = f"a tolerance factor needs at least 2 values, {n} given"
        raise ValueError(message)
    for name, value in (("share", share), ("confidence", confidence)):
        if not 0.0 < value < 1.0:
            message = f"{name} {value} must lie between 0 and 1, ends excluded"
            raise ValueError(message)


@lru_cache(maxsize=1)
def _rule() -> tuple[Array, Array]:
    """Nodes and weights of Gauss-Legendre quadrature."""
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return nodes, weights


def _half_width(offset: Array, share: float) -> Array:
    """Half width r that holds `share` of a unit normal around `offset` >= 0.

    Newton from offset + z_share, below the root on a rising, concave function: no overshoot.
    """
    half = np.maximum(offset + special.ndtri(share), special.ndtri((1.0 + share) / 2.0) * 0.5)
    for _ in range(100):
        held = special.ndtr(offset + half) - special.ndtr(offset - half) - share
        density = np.exp(-((offset + half) ** 2) / 2.0) + np.exp(-((offset - half) ** 2) / 2.0)
        step = -held * np.sqrt(2.0 * np.pi) / density
        half = half + step
        if np.all(np.abs(step) <= 1e-14 * half):
            break
    return np.asarray(half)


@lru_cache(maxsize=256)
def two_sided_factor(n: int, *, share: float = 0.95, confidence: float = 0.95) -> float:
    """Factor k: with `confidence`, mean +- k s holds at least `share` of a normal population.

    Solves E over the mean's error z / sqrt(n) of P(chi2_{n-1} >= (n - 1) r(z)^2 / k^2)
    = confidence, by Gauss-Legendre quadrature.

    Raises
    ------
    ValueError : for n < 2, or share or confidence outside 0..1.
    """
    _check(n, share, confidence)
    nodes, weights = _rule()
    z = REACH * (nodes + 1.0) / 2.0
    weight = REACH * weights / 2.0 * 2.0 * np.exp(-(z**2) / 2.0) / np.sqrt(2.0 * np.pi)
    half = _half_width(z / np.sqrt(n), share)
    freedom = n - 1.0

    def excess(log_k: float) -> float:
        held = special.gammaincc(freedom / 2.0, freedom * (half / np.exp(log_k)) ** 2 / 2.0)
        return float((weight * held).sum() - confidence)

    low, high = -20.0, 1.0
    while excess(high) < 0.0:
        high += 1.0
    return float(np.exp(optimize.brentq(excess, low, high, xtol=1e-14, rtol=1e-14)))


@lru_cache(maxsize=256)
def one_sided_factor(n: int, *, share: float = 0.95, confidence: float = 0.95) -> float:
    """Factor k: with `confidence`, at least `share` of a normal population lies above mean - k s.

    k = t'_{n-1, confidence}(z_share sqrt(n)) / sqrt(n), t' the non-central t quantile.

    Raises
    ------
    ValueError : for n < 2, or share or confidence outside 0..1.
    """
    _check(n, share, confidence)
    root = np.sqrt(n)
    noncentral = float(special.ndtri(share)) * root
    return float(special.nctdtrit(n - 1.0, noncentral, confidence) / root)
