"""Scatter of the method apart from the uncertainty of the true sizes.

Errors scatter by both: sd^2 = method^2 + mean of u_true^2, where errors of true sizes are
independent from target to target. An error common to all true sizes, as of one gauge, is not
removed: it stands in the bias.

Its interval is that of the SD (chi-square), less the same: exact where all true sizes have one
uncertainty and errors are normal. RMSE and SD that rules ask for are left as they are.

Source: variance of a sum; classical error model (any textbook).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

NEGATIVE = (
    "errors scatter less than the stated uncertainty of the true sizes alone would make them: "
    "that uncertainty is stated too large, or there are too few targets to tell"
)


@dataclass(frozen=True, slots=True)
class MethodScatter:
    """SD of the method alone, in the unit of sizes.

    Attributes
    ----------
    true_u : root mean square of the standard uncertainties of the true sizes.
    sd : of the method; None with `reason`, also where its square comes out negative.
    sd_ci : two-sided; its lower end is 0 where the square is negative there, None where even the
        upper one is.
    """

    true_u: float | None
    sd: float | None
    sd_ci: tuple[float, float] | None
    reason: str | None


def method_scatter(
    sd: float | None, sd_ci: tuple[float, float] | None, true_u: npt.NDArray[np.float64]
) -> MethodScatter:
    """Take the uncertainty (n,) of the true sizes off the SD of the errors."""
    if sd is None or sd_ci is None:
        return MethodScatter(None, None, None, "fewer than 2 sized targets show no scatter")
    mean = float((true_u**2).mean())
    low, high = sd_ci[0] ** 2 - mean, sd_ci[1] ** 2 - mean
    square = sd**2 - mean
    return MethodScatter(
        true_u=float(np.sqrt(mean)),
        sd=float(np.sqrt(square)) if square >= 0.0 else None,
        sd_ci=(float(np.sqrt(max(0.0, low))), float(np.sqrt(high))) if high >= 0.0 else None,
        reason=None if square >= 0.0 else NEGATIVE,
    )
