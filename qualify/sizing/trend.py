"""Proportional bias: whether the sizing error changes with true size.

A line of error on true size by ordinary least squares. Uncertainty of the true sizes lowers its
slope a little; the line with uncertainty in both sizes is in `qualify.sizing.york`.

Source: simple linear regression (any textbook); trend of differences: Bland and Altman 1999,
Statistical Methods in Medical Research 8, 135-160 (from memory).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

FEWEST = 3
TOO_FEW = f"a trend needs at least {FEWEST} sized targets"
ONE_SIZE = "all true sizes are the same: no trend can be seen"
NO_SCATTER = "errors show no scatter about their line: its uncertainty can't be told"


@dataclass(frozen=True, slots=True)
class ErrorTrend:
    """Error = intercept + slope x true size.

    Attributes
    ----------
    slope : change of error by unit of true size, without unit; negative: large ones come out
        smaller, by comparison, than small ones.
    intercept : in the unit of sizes, far outside the sizes tested as a rule.
    se, p, slope_ci : standard error of the slope, two-sided p of slope 0, two-sided t interval.
    residual_sd : scatter of errors about the line (n - 2).
    reason : why figures are None, else None.
    """

    slope: float | None
    intercept: float | None
    se: float | None
    p: float | None
    slope_ci: tuple[float, float] | None
    residual_sd: float | None
    reason: str | None


def error_trend(
    true: npt.NDArray[np.float64], error: npt.NDArray[np.float64], *, confidence: float = 0.95
) -> ErrorTrend:
    """Fit the trend of the error with true size; arrays (n,) in one unit, finite."""
    n = true.size
    if n < FEWEST:
        return ErrorTrend(*(None,) * 6, reason=TOO_FEW)
    centred = true - true.mean()
    squares = float(centred @ centred)
    if squares == 0.0:
        return ErrorTrend(*(None,) * 6, reason=ONE_SIZE)
    slope = float(centred @ error / squares)
    intercept = float(error.mean() - slope * true.mean())
    freedom = n - 2.0
    residual = error - intercept - slope * true
    sd = float(np.sqrt(residual @ residual / freedom))
    if sd <= 1e-12 * float(np.abs(error).max() + np.abs(true).max()):
        return ErrorTrend(slope, intercept, None, None, None, None, NO_SCATTER)
    se = sd / float(np.sqrt(squares))
    reach = float(special.stdtrit(freedom, (1.0 + confidence) / 2.0)) * se
    return ErrorTrend(
        slope=slope,
        intercept=intercept,
        se=se,
        p=2.0 * float(special.stdtr(freedom, -abs(slope / se))),
        slope_ci=(slope - reach, slope + reach),
        residual_sd=sd,
        reason=None,
    )
