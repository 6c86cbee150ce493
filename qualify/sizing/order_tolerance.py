"""Tolerance limits from ordered errors alone, whatever their distribution.

The r-th smallest of n errors has at least a share p of all errors above it with confidence
P(B >= r), B binomial with n trials and chance 1 - p. Between the r-th smallest and the r-th
largest lies at least p with confidence P(B >= 2 r). Conservative where errors are rounded.

Source: Wilks 1941, Annals of Mathematical Statistics 12, 91-96 (from memory); 95/95 needs 59
values on one side and 93 on two.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy import special

SHARE = 0.95


@dataclass(frozen=True, slots=True)
class OrderTolerance:
    """Limits of the error from order statistics; None where there are too few.

    Attributes
    ----------
    lower : error above which 95 % lie with the confidence asked for.
    lower_needed : sized targets from which on it exists.
    interval : (low, high) between which 95 % lie with that confidence.
    interval_needed : sized targets from which on it exists.
    """

    lower: float | None
    lower_needed: int
    interval: tuple[float, float] | None
    interval_needed: int

    @property
    def lower_reason(self) -> str | None:
        """Why there is no lower limit, None if there is one."""
        return None if self.lower is not None else _needs(self.lower_needed)

    @property
    def interval_reason(self) -> str | None:
        """Why there is no interval, None if there is one."""
        return None if self.interval is not None else _needs(self.interval_needed)


def _needs(needed: int) -> str:
    return f"without a law of the errors at least {needed} sized targets are needed"


def left_out(n: int, share: float, confidence: float) -> int:
    """Return how many extreme values may lie outside; 0: not even between the extremes."""
    low, high = 0, n
    while low < high:
        middle = (low + high + 1) // 2
        enough = float(special.bdtrc(middle - 1, n, 1.0 - share)) >= confidence
        low, high = (middle, high) if enough else (low, middle - 1)
    return low


@lru_cache(maxsize=64)
def fewest(sides: int, *, share: float = SHARE, confidence: float = 0.95) -> int:
    """Return the smallest number of values with a limit on one side or on two.

    Raises
    ------
    ValueError : for sides other than 1 or 2, share or confidence outside 0..1.
    """
    if sides not in (1, 2) or not (0.0 < share < 1.0 and 0.0 < confidence < 1.0):
        message = f"{sides} sides, share {share}, confidence {confidence}: no such limit"
        raise ValueError(message)
    n = sides
    while left_out(n, share, confidence) < sides:
        n += 1
    return n


def order_tolerance(error: npt.NDArray[np.float64], *, confidence: float = 0.95) -> OrderTolerance:
    """Return limits of errors (n,) that hold whatever the distribution is."""
    ordered = np.sort(error)
    out = left_out(error.size, SHARE, confidence) if error.size else 0
    each = out // 2
    return OrderTolerance(
        lower=float(ordered[out - 1]) if out else None,
        lower_needed=fewest(1, confidence=confidence),
        interval=(float(ordered[each - 1]), float(ordered[-each])) if each else None,
        interval_needed=fewest(2, confidence=confidence),
    )
