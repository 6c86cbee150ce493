"""The length of the mean of unit vectors of random direction.

The vector coherence R of N signals is the length of the mean of their unit vectors. If all phases
are independent and spread evenly, N·R is the end of a random walk of N steps. Steps may weigh
differently: in a reciprocal recording a pair of two elements is counted twice.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import optimize, special

from qualify.imaging.chance import TAIL

Array = NDArray[np.float64]
Steps = Sequence[tuple[float, int]]  # weight and how many steps have it
TERMS = 500
NODES = 400
REACH = 9.0  # effective steps^-1/2: the mean is longer with probability exp(-81)
EXACT_BELOW = (math.pi * TERMS / 13.0) ** 2  # the last term is then below exp(-42)


@dataclass(frozen=True, slots=True)
class Resultant:
    """Length of the mean of weighted random unit vectors, 0 to 1.

    Attributes
    ----------
    mean, sd, level_99 : expectation, standard deviation, and the value passed by 1 in 100.
    exact : by the series; else by the limit of many steps, a Rayleigh distribution.
    """

    mean: float
    sd: float
    level_99: float
    exact: bool


def effective_steps(steps: Steps) -> float:
    """Return (Σw)² / Σw²: as many steps of equal weight give the same mean square."""
    total = sum(weight * count for weight, count in steps)
    return float(total**2 / sum(weight**2 * count for weight, count in steps))


def pair_steps(elements: int, *, reciprocal: bool = True) -> Steps:
    """Return the steps of all pairs of `elements`.

    Reciprocal: each element with itself weighs 1; each pair of two elements, of which both
    directions carry the same signal, 2. Else all n² pairs are independent and weigh alike.
    """
    if reciprocal:
        return ((1.0, elements), (2.0, elements * (elements - 1) // 2))
    return ((1.0, elements**2),)


def rayleigh_resultant(effective: float) -> Resultant:
    """Return the limit of many steps: P(R > r) = exp(−N r²).

    Source: J. W. S. Rayleigh 1880, Phil. Mag. 10, 73-78 (from memory); so mean √(π/4N),
    variance (1 − π/4)/N and 99 % level √(ln 100 / N).
    """
    return Resultant(
        mean=math.sqrt(math.pi / (4.0 * effective)),
        sd=math.sqrt((1.0 - math.pi / 4.0) / effective),
        level_99=min(1.0, math.sqrt(-math.log(TAIL) / effective)),
        exact=False,
    )


def resultant(steps: Steps) -> Resultant:
    """Return mean, sd and 99 % level of the mean of random unit vectors.

    Raises
    ------
    ValueError : for fewer than two steps.
    """
    count = sum(number for _, number in steps)
    if count < 2:
        msg = f"the mean of {count} unit vectors is not random in length; give 2 or more"
        raise ValueError(msg)
    effective = effective_steps(steps)
    if count == 2 and effective == 2.0:
        mean = 2.0 / math.pi  # of two steps R = |cos(φ/2)|
        return Resultant(mean, math.sqrt(0.5 - mean**2), math.cos(math.pi * TAIL / 2), exact=True)
    if effective > EXACT_BELOW:
        return rayleigh_resultant(effective)
    top = min(1.0, REACH / math.sqrt(effective))
    node, share = np.polynomial.legendre.leggauss(NODES)
    beyond = 1.0 - below(0.5 * top * (node + 1.0), steps)
    mean = float(0.5 * top * np.sum(share * beyond))
    level = optimize.brentq(
        lambda r: float(below([r], steps)[0]) - (1.0 - TAIL), 0.2 * mean, top, xtol=1e-12
    )
    return Resultant(mean, math.sqrt(1.0 / effective - mean**2), float(level), exact=True)


def below(lengths: ArrayLike, steps: Steps) -> Array:
    """Return P(R ≤ r) (lengths,) for three steps or more.

    Notes
    -----
    The walk ends inside the disc of radius W = Σw, and the transform of its density is
    Π J₀(w t). The density as a Fourier-Bessel series on that disc, term by term integrated:
    P(R ≤ r) = 2r Σₘ Πw J₀(w jₘ/W) J₁(jₘ r) / (jₘ J₁(jₘ)²), with jₘ the zeros of J₀.
    The transform: J. C. Kluyver 1906, Proc. Kon. Akad. Wet. 8, 341-350 (from memory).
    """
    total = sum(weight * count for weight, count in steps)
    zero, slope = _zeros()
    product = np.ones_like(zero)
    for weight, count in steps:
        product *= special.j0(weight * zero / total) ** count
    share = product / (zero * slope**2)
    r = np.asarray(lengths, dtype=np.float64)
    return np.asarray(2.0 * r * (special.j1(np.outer(r, zero)) @ share))


@lru_cache(maxsize=1)
def _zeros() -> tuple[Array, Array]:
    """Return the first zeros of J₀ and J₁ there."""
    zero = np.asarray(special.jn_zeros(0, TERMS))
    return zero, np.asarray(special.j1(zero))
