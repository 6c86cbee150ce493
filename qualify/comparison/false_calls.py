"""False calls of two modes on the same blank units: each rate with its bound, and the difference.

A mode that calls more finds more. Where rates differ, a smaller a90 may be bought with false calls.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.comparison.paired_counts import PairedCounts, SignTest, counts_of, mcnemar, sign_test
from qualify.comparison.rate_difference import (
    RateDifference,
    rate_difference,
    rate_difference_by_target,
)
from qualify.pod.false_calls import FalseCallRate, false_call_rate


@dataclass(frozen=True, slots=True)
class PairedFalseCalls:
    """Calls on blank units examined in both modes.

    Attributes
    ----------
    a, b : rates with exact one-sided bounds; for several readers over all readings, and then
        without bounds, as readings of one unit are alike.
    counts : units by what both modes made of them; for several readers, readings.
    test : exact test of the difference, by unit.
    difference : rate of b less rate of a.
    """

    a: FalseCallRate
    b: FalseCallRate
    counts: PairedCounts
    test: SignTest
    difference: RateDifference


def paired_false_calls(
    called_a: npt.ArrayLike, called_b: npt.ArrayLike, confidence: float = 0.95
) -> PairedFalseCalls:
    """Compare calls (units,) or (units, readers), 1 or 0, nan where not examined in that mode.

    A unit counts for a reader who examined it in both modes.
    """
    a, b = (np.asarray(v, dtype=float) for v in (called_a, called_b))
    a, b = (v[:, None] if v.ndim == 1 else v for v in (a, b))
    both = np.isfinite(a) & np.isfinite(b)
    counts = counts_of(a[both], b[both])
    seen = both.sum(axis=1)
    sums = [np.where(both, v, 0.0).sum(axis=1) for v in (a, b)]
    rates = [false_call_rate(counts.n, int(s.sum()), None) for s in sums]
    if a.shape[1] > 1:
        rates = [FalseCallRate(r.blank_units, r.units_called, r.calls, r.rate, None, None,
                               r.reason) for r in rates]  # fmt: skip
        difference = rate_difference_by_target(sums[0], sums[1], seen, confidence)
        test = sign_test(sums[1] - sums[0])
    else:
        difference, test = rate_difference(counts, confidence), mcnemar(counts)
    return PairedFalseCalls(rates[0], rates[1], counts, test, difference)
