"""Exact tests of two modes on the same targets: discordant targets and their direction.

Only targets that one mode hit and the other missed tell the modes apart. If both find a target
equally often, each of them is as likely to go one way as the other.

Sources: McNemar 1947, Psychometrika 12, 153-157; the exact form is a sign test of discordant pairs.
Mid-p: Lancaster 1961, Journal of the American Statistical Association 56, 223-234; Fagerland,
Lydersen and Laake 2013, BMC Medical Research Methodology 13:91. Conditional odds ratio: Clopper
and Pearson 1934. From memory; checked in `tests/published` against R.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from qualify.pod.false_calls import proportion_bounds
from qualify.pod.links import Array

NO_DISCORDANT = "no target was hit in one mode and missed in the other"
NO_PAIRS = "no target was read in both modes"


@dataclass(frozen=True, slots=True)
class PairedCounts:
    """Targets by what two modes made of them; a is the reference, b the candidate."""

    both: int
    a_only: int
    b_only: int
    neither: int

    @property
    def n(self) -> int:
        """Number of pairs."""
        return self.both + self.a_only + self.b_only + self.neither

    @property
    def discordant(self) -> int:
        """Number of targets that tell the modes apart."""
        return self.a_only + self.b_only


@dataclass(frozen=True, slots=True)
class SignTest:
    """How likely discordance as one-sided as seen is, if both modes find targets equally often.

    Attributes
    ----------
    exact_p, mid_p : two-sided; 1 where nothing is discordant.
    b_better_p, b_better_mid_p : one-sided: small where b finds what a misses.
    a_better_p, a_better_mid_p : one-sided the other way.
    """

    exact_p: float
    mid_p: float
    b_better_p: float
    b_better_mid_p: float
    a_better_p: float
    a_better_mid_p: float


@dataclass(frozen=True, slots=True)
class OddsRatio:
    """Conditional odds ratio, a only over b only, with an exact two-sided interval.

    Attributes
    ----------
    value : None where no target was found in b only, or none is discordant; then `reason`.
    low, high : ends of the interval; `high` is None where it has no end.
    confidence : two-sided.
    """

    value: float | None
    low: float | None
    high: float | None
    confidence: float
    reason: str | None


def counts_of(hits_a: npt.ArrayLike, hits_b: npt.ArrayLike) -> PairedCounts:
    """Count pairs from hits (pairs,), 0 or 1, of the same targets in the same order."""
    a, b = (np.asarray(h, dtype=float) > 0.5 for h in (hits_a, hits_b))
    return PairedCounts(
        int(np.sum(a & b)), int(np.sum(a & ~b)), int(np.sum(~a & b)), int(np.sum(~a & ~b))
    )


def sign_test(steps: npt.ArrayLike) -> SignTest:
    """Test the sum of whole steps, each as likely to go up as down, from its exact distribution.

    Parameters
    ----------
    steps : (targets,), whole numbers; for one reader 1 where b alone hit, -1 where a alone did, 0
        else. For several readers the number that hit in b less the number that hit in a: modes are
        exchanged for whole targets, so that readings of one target are not taken as independent.
    """
    d = np.asarray(steps, dtype=float).round().astype(int)
    d = d[d != 0]
    chance = _sum_of_signs(np.abs(d))
    reach = (chance.size - 1) // 2
    at = int(d.sum()) + reach
    up, down, here = float(chance[at:].sum()), float(chance[: at + 1].sum()), float(chance[at])
    less_up, less_down = up - 0.5 * here, down - 0.5 * here
    return SignTest(
        exact_p=min(1.0, 2.0 * min(up, down)),
        mid_p=min(1.0, 2.0 * min(less_up, less_down)),
        b_better_p=min(1.0, up),
        b_better_mid_p=less_up,
        a_better_p=min(1.0, down),
        a_better_mid_p=less_down,
    )


def _sum_of_signs(sizes: npt.NDArray[np.int_]) -> Array:
    """Chances (2 sum + 1,) of each sum of steps whose signs are fair coins."""
    if sizes.size and int(sizes.max()) == 1:
        m = sizes.size
        k = np.arange(m + 1)
        own = special.gammaln(m + 1) - special.gammaln(k + 1) - special.gammaln(m - k + 1)
        chance = np.zeros(2 * m + 1)
        chance[::2] = np.exp(own - m * math.log(2.0))
        return chance
    chance = np.ones(1)
    for size in sizes:
        grown = np.zeros(chance.size + 2 * int(size))
        grown[: chance.size] += 0.5 * chance
        grown[2 * int(size) :] += 0.5 * chance
        chance = grown
    return chance


def mcnemar(counts: PairedCounts) -> SignTest:
    """Return the exact test of one reader's pairs, with mid-p."""
    up, down = np.ones(counts.b_only), -np.ones(counts.a_only)
    return sign_test(np.concatenate([up, down]))


def odds_ratio(counts: PairedCounts, confidence: float = 0.95) -> OddsRatio:
    """Return the conditional odds ratio a only / b only, with its exact interval.

    Raises
    ------
    ValueError : when confidence lies outside 0..1.
    """
    m = counts.discordant
    if m == 0:
        return OddsRatio(None, None, None, confidence, NO_DISCORDANT if counts.n else NO_PAIRS)
    low, high = proportion_bounds(counts.a_only, m, 0.5 + 0.5 * confidence)
    assert low is not None
    assert high is not None
    reason = None if counts.b_only else "no target was hit in b only: the odds have no upper end"
    return OddsRatio(
        value=counts.a_only / counts.b_only if counts.b_only else None,
        low=low / (1.0 - low) if low < 1.0 else None,
        high=high / (1.0 - high) if high < 1.0 else None,
        confidence=confidence,
        reason=reason,
    )
