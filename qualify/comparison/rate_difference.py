"""Difference of two detection rates on the same targets, with score intervals.

Sources: Newcombe 1998, Statistics in Medicine 17, 2635-2650, method 10; Tango 1998, Statistics in
Medicine 17, 891-908. From memory; checked in `tests/published`. Intervals for several readers of
each target rest on sums by target: mean difference over targets with Student's t.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

from qualify.comparison.paired_counts import NO_PAIRS, PairedCounts

CLOSE = 1e-13


@dataclass(frozen=True, slots=True)
class RateDifference:
    """Detection rate in b less that in a.

    Attributes
    ----------
    rate_a, rate_b, value : fractions; None without pairs, then `reason`.
    newcombe, tango : two-sided intervals; None for several readers of a target.
    by_target : two-sided interval for several readers of a target; None for one reader, and where
        every target differs alike.
    confidence : two-sided.
    """

    rate_a: float | None
    rate_b: float | None
    value: float | None
    newcombe: tuple[float, float] | None
    tango: tuple[float, float] | None
    by_target: tuple[float, float] | None
    confidence: float
    reason: str | None


def rate_difference(counts: PairedCounts, confidence: float = 0.95) -> RateDifference:
    """Return the difference of two paired rates with Newcombe's and Tango's intervals.

    Raises
    ------
    ValueError : when confidence lies outside 0..1.
    """
    z = _quantile(confidence)
    n = counts.n
    if n == 0:
        return RateDifference(None, None, None, None, None, None, confidence, NO_PAIRS)
    rate_a, rate_b = (counts.both + counts.a_only) / n, (counts.both + counts.b_only) / n
    return RateDifference(
        rate_a, rate_b, rate_b - rate_a, newcombe(counts, z), tango(counts, z), None, confidence,
        None,
    )  # fmt: skip


def rate_difference_by_target(
    hits_a: npt.ArrayLike, hits_b: npt.ArrayLike, readings: npt.ArrayLike, confidence: float = 0.95
) -> RateDifference:
    """Return the difference for several readers of each target, with a t interval over targets.

    Parameters
    ----------
    hits_a, hits_b, readings : (targets,), readers that hit in each mode, and that read in both.
    """
    a, b, k = (np.asarray(v, dtype=float) for v in (hits_a, hits_b, readings))
    z = _quantile(confidence)
    if k.sum() == 0:
        return RateDifference(None, None, None, None, None, None, confidence, NO_PAIRS)
    rate_a, rate_b = float(a.sum() / k.sum()), float(b.sum() / k.sum())
    value, groups = rate_b - rate_a, int(np.sum(k > 0))
    interval = None
    if groups > 1:
        off = (b - a) - value * k
        error = math.sqrt(groups / (groups - 1) * float((off**2).sum())) / float(k.sum())
        t = float(special.stdtrit(groups - 1, special.ndtr(z)))
        # targets that all differ alike leave nothing to estimate the spread from
        interval = (
            None if error == 0.0 else (max(-1.0, value - t * error), min(1.0, value + t * error))
        )
    return RateDifference(rate_a, rate_b, value, None, None, interval, confidence, None)


def _quantile(confidence: float) -> float:
    if not 0.0 < confidence < 1.0:
        message = f"confidence {confidence} must lie between 0 and 1, as 0.95"
        raise ValueError(message)
    return float(special.ndtri(0.5 + 0.5 * confidence))


def wilson(k: int, n: int, z: float) -> tuple[float, float]:
    """Return the score interval of one proportion (Wilson 1927)."""
    middle = (2 * k + z * z) / (2 * (n + z * z))
    half = z * math.sqrt(z * z + 4 * k * (n - k) / n) / (2 * (n + z * z))
    return (0.0 if k == 0 else middle - half), (1.0 if k == n else middle + half)


def newcombe(counts: PairedCounts, z: float) -> tuple[float, float]:
    """Return Newcombe's interval, method 10, of rate b less rate a; z is the normal quantile."""
    e, f, g, h, n = counts.both, counts.b_only, counts.a_only, counts.neither, counts.n
    pb, pa = (e + f) / n, (e + g) / n
    (low_b, high_b), (low_a, high_a) = wilson(e + f, n, z), wilson(e + g, n, z)
    phi = _phi(e, f, g, h)
    down_b, up_b, down_a, up_a = pb - low_b, high_b - pb, pa - low_a, high_a - pa
    low = math.sqrt(max(0.0, down_b**2 - 2 * phi * down_b * up_a + up_a**2))
    high = math.sqrt(max(0.0, up_b**2 - 2 * phi * up_b * down_a + down_a**2))
    return (pb - pa - low, pb - pa + high)


def _phi(e: int, f: int, g: int, h: int) -> float:
    """Correlation of the pairs, a positive one corrected for continuity."""
    product = (e + f) * (g + h) * (e + g) * (f + h)
    if product == 0:
        return 0.0
    top = float(e * h - f * g)
    if top > 0.0:
        top = max(top - 0.5 * (e + f + g + h), 0.0)
    return top / math.sqrt(product)


def tango(counts: PairedCounts, z: float) -> tuple[float, float]:
    """Return Tango's score interval of rate b less rate a; z is the normal quantile."""
    value = (counts.b_only - counts.a_only) / counts.n

    def above(difference: float) -> float:
        return tango_score(counts, difference) - z

    def below(difference: float) -> float:
        return tango_score(counts, difference) + z

    edge = 1.0 - 1e-12
    low = -1.0 if above(-edge) < 0.0 else float(
        optimize.brentq(above, -edge, min(value, edge), xtol=CLOSE)
    )  # fmt: skip
    high = 1.0 if below(edge) > 0.0 else float(
        optimize.brentq(below, max(value, -edge), edge, xtol=CLOSE)
    )  # fmt: skip
    return low, high


def tango_score(counts: PairedCounts, difference: float) -> float:
    """Score statistic of the statement that rate b less rate a is `difference`."""
    n, up, down = counts.n, counts.b_only, counts.a_only
    # share of a only where the likelihood is highest at that difference: Tango 1998
    linear = -up - down + (2 * n - up + down) * difference
    constant = -down * difference * (1.0 - difference)
    share = (math.sqrt(max(0.0, linear**2 - 8 * n * constant)) - linear) / (4 * n)
    variance = n * (2.0 * share + difference * (1.0 - difference))
    top = up - down - n * difference
    if variance <= 0.0:
        return 0.0 if top == 0.0 else math.copysign(math.inf, top)
    return top / math.sqrt(variance)
