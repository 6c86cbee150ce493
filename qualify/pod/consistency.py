"""How consistent readers are: with themselves on reading again, and with each other.

- Agreement: the share of targets called alike, with its exact interval (Clopper and Pearson 1934).
- Cohen's kappa: agreement beyond that expected by chance from how often each says hit (Cohen 1960,
  Educational and Psychological Measurement 20: 37-46). Interval: kappa plus or minus the normal
  quantile times the large-sample standard error of Fleiss, Cohen and Everitt 1969, Psychological
  Bulletin 72: 323-327, cut to -1..1. It is rough for few targets or near-complete agreement.
- Change from first to second reading: exact McNemar test on the targets that changed.
- Fleiss' kappa: the same of several readers (Fleiss 1971, Psychological Bulletin 76: 378-382).

All from memory; checked in `tests` against statsmodels and worked examples. Where all readings
are alike no kappa exists, as chance alone would explain them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt
from scipy import stats

from qualify.pod.links import Array

ALIKE = (
    "every target was called alike, or nearly so, by chance too: kappa measures agreement beyond "
    "chance and does not exist here"
)
NO_TARGET = "no target was read twice"


@dataclass(frozen=True, slots=True)
class Agreement:
    """Two readings of the same targets.

    Attributes
    ----------
    targets, both, first_only, second_only, neither : counts of targets; both: hit in both.
    share, low, high : targets called alike, with its exact two-sided interval; None without any.
    kappa, kappa_error, kappa_low, kappa_high : Cohen's, with standard error and interval.
    reason : why there is no kappa, else None.
    change_p : exact two-sided McNemar p-value of first against second; 1 where none changed.
    confidence : of the intervals.
    """

    targets: int
    both: int
    first_only: int
    second_only: int
    neither: int
    share: float | None
    low: float | None
    high: float | None
    kappa: float | None
    kappa_error: float | None
    kappa_low: float | None
    kappa_high: float | None
    reason: str | None
    change_p: float | None
    confidence: float

    @property
    def change_words(self) -> str:
        """Which way calls changed from first to second reading."""
        lost, won = self.first_only, self.second_only
        if lost + won == 0:
            return "no target changed"
        moved = f"{won} called only the second time, {lost} only the first"
        if self.change_p is not None and self.change_p <= 1.0 - self.confidence:
            more = "more" if won > lost else "fewer"
            return f"{moved}: {more} called the second time (p = {self.change_p:.2g})"
        return f"{moved}: no direction shown (p = {self.change_p:.2g})"


@dataclass(frozen=True, slots=True)
class BetweenReaders:
    """Several readers of the same targets.

    Attributes
    ----------
    pairs : agreement of every two readers, by their names.
    fleiss : kappa of all together, or None with `reason`.
    targets, readers : read by all; how many readers.
    alike : targets that all readers called alike.
    """

    pairs: Mapping[tuple[str, str], Agreement]
    fleiss: float | None
    reason: str | None
    targets: int
    readers: int
    alike: int


def agreement(
    first: npt.ArrayLike, second: npt.ArrayLike, *, confidence: float = 0.95
) -> Agreement:
    """Compare two readings of the same targets.

    Parameters
    ----------
    first, second : (targets,), 0 or 1, in the same order of targets.

    Raises
    ------
    ValueError : for lists of unequal length or calls other than 0 and 1.
    """
    one, other = _calls(first), _calls(second)
    if one.shape != other.shape:
        message = f"{one.size} first and {other.size} second readings; one each a target is wanted"
        raise ValueError(message)
    table = np.array([[np.sum((one == i) & (other == j)) for j in (1, 0)] for i in (1, 0)])
    return agreement_of_counts(table, confidence=confidence)


def agreement_of_counts(table: npt.ArrayLike, *, confidence: float = 0.95) -> Agreement:
    """Compare two readings from counts [[both, first only], [second only, neither]]."""
    counts = np.asarray(table)
    both, first_only, second_only, neither = (int(v) for v in counts.ravel())
    n, alike = int(counts.sum()), both + neither
    tail = (1.0 - confidence) / 2.0
    share = low = high = p = None
    if n:
        share = alike / n
        low = float(stats.beta.ppf(tail, alike, n - alike + 1)) if alike > 0 else 0.0
        high = float(stats.beta.ppf(1.0 - tail, alike + 1, n - alike)) if alike < n else 1.0
        changed = first_only + second_only
        p = float(stats.binomtest(first_only, changed, 0.5).pvalue) if changed else 1.0
    found = cohens_kappa(counts) if n else None
    half = float(stats.norm.ppf(1.0 - tail)) * found[1] if found else 0.0
    return Agreement(
        targets=n,
        both=both,
        first_only=first_only,
        second_only=second_only,
        neither=neither,
        share=share,
        low=low,
        high=high,
        kappa=found[0] if found else None,
        kappa_error=found[1] if found else None,
        kappa_low=max(-1.0, found[0] - half) if found else None,
        kappa_high=min(1.0, found[0] + half) if found else None,
        reason=None if found else ALIKE if n else NO_TARGET,
        change_p=p,
        confidence=confidence,
    )


def _calls(values: npt.ArrayLike) -> Array:
    calls = np.atleast_1d(np.asarray(values, dtype=float))
    if not np.all((calls == 0.0) | (calls == 1.0)):
        message = "calls must be 0 or 1"
        raise ValueError(message)
    return calls


def cohens_kappa(counts: npt.ArrayLike) -> tuple[float, float] | None:
    """Kappa and its standard error from counts (categories, categories), first by second reading.

    None where chance alone makes all alike.
    """
    table = np.asarray(counts, dtype=float)
    n = table.sum()
    share = table / n
    rows, columns = share.sum(axis=1), share.sum(axis=0)
    seen, chance = float(np.trace(share)), float(rows @ columns)
    if 1.0 - chance <= 1e-12:
        return None
    kappa = (seen - chance) / (1.0 - chance)
    # Fleiss, Cohen and Everitt 1969, equation 13
    sums = rows[None, :] + columns[:, None]  # (i, j): row total of j plus column total of i
    own = np.diag(share) * (1.0 - np.diag(sums) * (1.0 - kappa)) ** 2
    off = (1.0 - kappa) ** 2 * (share * sums**2)
    beside = float(off.sum() - np.trace(off))
    last = (kappa - chance * (1.0 - kappa)) ** 2
    variance = (float(own.sum()) + beside - last) / (n * (1.0 - chance) ** 2)
    return kappa, float(np.sqrt(max(0.0, variance)))


def fleiss_kappa(counts: npt.ArrayLike) -> float | None:
    """Kappa of several readers from counts (targets, categories); None where all are alike.

    Raises
    ------
    ValueError : unless every target has the same number of readings, two or more.
    """
    table = np.asarray(counts, dtype=float)
    readings = table.sum(axis=1)
    if table.ndim != 2 or not len(table) or np.any(readings != readings[0]) or readings[0] < 2:
        message = "every target must have the same number of readings, two or more"
        raise ValueError(message)
    m = readings[0]
    seen = float(((table**2).sum(axis=1) - m).mean() / (m * (m - 1.0)))
    chance = float(((table.sum(axis=0) / table.sum()) ** 2).sum())
    return None if 1.0 - chance <= 1e-12 else (seen - chance) / (1.0 - chance)


def between_readers(
    calls: Mapping[str, npt.ArrayLike], *, confidence: float = 0.95
) -> BetweenReaders:
    """Compare readers of the same targets.

    Parameters
    ----------
    calls : by reader, (targets,) of 0 or 1 in the same order of targets; two readers or more.

    Raises
    ------
    ValueError : for fewer than two readers, no target, lists of unequal length, other calls.
    """
    if len(calls) < 2:
        message = "agreement between readers needs two readers or more"
        raise ValueError(message)
    pairs = {
        (a, b): agreement(calls[a], calls[b], confidence=confidence)
        for a, b in combinations(calls, 2)
    }
    found = np.sum([_calls(one) for one in calls.values()], axis=0)
    fleiss = fleiss_kappa(np.column_stack([found, len(calls) - found]))
    alike = int(np.sum((found == 0.0) | (found == len(calls))))
    reason = ALIKE if fleiss is None else None
    return BetweenReaders(pairs, fleiss, reason, len(found), len(calls), alike)
