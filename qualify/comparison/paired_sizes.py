"""Sizing errors of two modes on the targets that one reader sized in both.

Sources: Student's t for the mean difference of errors; Wilcoxon 1945, Biometrics Bulletin 1:
80-83, for the magnitudes, by `scipy.stats.wilcoxon` (exact without ties).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

FEWEST = 2
TOO_FEW = "fewer than two targets were sized in both modes"


@dataclass(frozen=True, slots=True)
class PairedSizes:
    """Errors of mode b against those of mode a, in the unit of the sizes.

    Attributes
    ----------
    n : targets sized in both modes.
    difference : mean of error b less error a; None with `reason`.
    interval : its two-sided t interval.
    rmse_a, rmse_b : of the same targets.
    magnitude_p : Wilcoxon's signed-rank test of the magnitudes of the errors, two-sided; 1 where
        all are equal.
    """

    n: int
    difference: float | None
    interval: tuple[float, float] | None
    rmse_a: float | None
    rmse_b: float | None
    magnitude_p: float | None
    reason: str | None


def paired_sizes(
    true: npt.ArrayLike, a: npt.ArrayLike, b: npt.ArrayLike, *, confidence: float = 0.95
) -> PairedSizes:
    """Compare sizes of the same targets in two modes.

    Parameters
    ----------
    true, a, b : (targets,), one unit; a and b as reported.

    Raises
    ------
    ValueError : for lists of unequal length or sizes that are no finite numbers.
    """
    t, one, other = (np.asarray(v, dtype=float) for v in (true, a, b))
    if not t.shape == one.shape == other.shape:
        message = f"{t.size} true, {one.size} and {other.size} reported sizes; as many are wanted"
        raise ValueError(message)
    if not all(np.all(np.isfinite(v)) for v in (t, one, other)):
        message = "a size is missing or not a finite number"
        raise ValueError(message)
    if t.size < FEWEST:
        return PairedSizes(int(t.size), None, None, None, None, None, TOO_FEW)
    first, second = one - t, other - t
    step = second - first
    mean, error = float(step.mean()), float(step.std(ddof=1) / np.sqrt(t.size))
    reach = float(stats.t.ppf(0.5 + confidence / 2.0, t.size - 1)) * error
    turn = np.abs(second) - np.abs(first)
    p = float(stats.wilcoxon(turn).pvalue) if np.any(turn != 0.0) else 1.0
    one_rmse, other_rmse = (float(np.sqrt((v**2).mean())) for v in (first, second))
    ends = (mean - reach, mean + reach)
    return PairedSizes(int(t.size), mean, ends, one_rmse, other_rmse, p, None)
