"""Whether sizing errors are normally distributed, as normal tolerance intervals take for granted.

Source: Shapiro and Wilk 1965, Biometrika 52, 591-611, as in scipy (Royston 1995).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FEWEST, MOST = 3, 5000
NOT_TESTED = f"tested with {FEWEST} to {MOST} sized targets that differ in error"


@dataclass(frozen=True, slots=True)
class Normality:
    """Statistic W and p value of a test of normality; None with `reason`."""

    w: float | None
    p: float | None
    reason: str | None


def normality(error: npt.NDArray[np.float64]) -> Normality:
    """Test errors (n,) for a normal distribution; a small p speaks against it."""
    from scipy import stats

    if not FEWEST <= error.size <= MOST or float(np.ptp(error)) <= 1e-12 * np.abs(error).max():
        return Normality(None, None, NOT_TESTED)
    found = stats.shapiro(error)
    return Normality(float(found.statistic), float(found.pvalue), None)
