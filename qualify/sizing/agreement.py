"""Limits of agreement: bias +- 1.96 SD, with a confidence interval for each limit.

They estimate where 95 % of errors lie and promise nothing: in half of all trials a limit lies too
far in. What holds 95 % of errors with a stated confidence is a tolerance interval.

Intervals of the limits are exact for normal errors: a limit is a quantile of the errors, and
one-sided tolerance factors of 97.5 % bound it from both sides. Bland and Altman use SD sqrt(3 / n)
as standard error of a limit and Student's t.

Source: Bland and Altman 1986, Lancet i, 307-310; exact intervals of a normal quantile: Owen 1968,
Technometrics 10, 445-478 (from memory).
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from qualify.sizing.tolerance import one_sided_factor

SHARE = 0.95
TOO_FEW = "limits of agreement need at least 2 sized targets"


@dataclass(frozen=True, slots=True)
class LimitsOfAgreement:
    """Limits (low, high) of the error and intervals of each; None with `reason`.

    Attributes
    ----------
    limits : bias -+ 1.96 SD.
    low_ci, high_ci : two-sided exact interval of the lower and of the upper limit.
    approximate_se : SD sqrt(3 / n), the standard error of a limit by Bland and Altman.
    """

    limits: tuple[float, float] | None
    low_ci: tuple[float, float] | None
    high_ci: tuple[float, float] | None
    approximate_se: float | None
    reason: str | None


def limits_of_agreement(
    n: int, bias: float | None, sd: float | None, *, confidence: float = 0.95
) -> LimitsOfAgreement:
    """Return the limits from number, bias and SD (n - 1) of the errors."""
    if n < 2 or bias is None or sd is None:
        return LimitsOfAgreement(None, None, None, None, TOO_FEW)
    side = (1.0 + SHARE) / 2.0
    z = float(special.ndtri(side))
    far = one_sided_factor(n, share=side, confidence=(1.0 + confidence) / 2.0) * sd
    near = one_sided_factor(n, share=side, confidence=(1.0 - confidence) / 2.0) * sd
    return LimitsOfAgreement(
        limits=(bias - z * sd, bias + z * sd),
        low_ci=(bias - far, bias - near),
        high_ci=(bias + near, bias + far),
        approximate_se=sd * float(np.sqrt(3.0 / n)),
        reason=None,
    )
