"""Sizing error of found targets: reported size minus true size.

A negative error is an undersized target. Targets that were missed have no size; their number
is carried along, because errors of found targets alone flatter a technique near its limit.

Sources: Student's t for the bias and chi-square for the standard deviation (any textbook);
Bland and Altman 1986, Lancet i, 307-310, for differences as the object of study; tolerance
factors in `qualify.sizing.tolerance`; bounds of the RMSE in `qualify.sizing.rmse`.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from qualify.sizing.rmse import rmse_bound, rmse_interval
from qualify.sizing.tolerance import one_sided_factor, two_sided_factor

SHARE = 0.95  # of errors held by the tolerance interval and above the undersizing bound
NONE_SIZED = "no target was sized"
ONE_SIZED = "one sized target shows no scatter: at least 2 are needed"


@dataclass(frozen=True, slots=True)
class SizingError:
    """Sizing error, in the unit of the sizes; error = reported - true.

    Attributes
    ----------
    n, unsized : targets with and without a reported size.
    confidence : of all intervals and bounds, as a fraction.
    bias, bias_ci : mean error and its two-sided t interval (low, high).
    sd, sd_ci : standard deviation (n - 1) and its two-sided chi-square interval.
    rmse, rmse_ci : root mean square error, about zero, and its two-sided interval.
    rmse_upper, rmse_lower : one-sided bounds of the RMSE.
    tolerance : two-sided interval (low, high) that holds 95 % of errors with `confidence`.
    undersizing_bound : one-sided lower limit, above which 95 % of errors lie with `confidence`.
    undersizing_counter : the opposite one-sided limit: the error below which 5 % of errors lie
        is at most this, with `confidence`.
    largest_undersizing, largest_undersizing_index : smallest error, signed, and its row.
    largest_oversizing, largest_oversizing_index : largest error, signed, and its row.
    reason : why figures are None, else None.
    """

    n: int
    unsized: int
    confidence: float
    bias: float | None
    bias_ci: tuple[float, float] | None
    sd: float | None
    sd_ci: tuple[float, float] | None
    rmse: float | None
    rmse_ci: tuple[float, float] | None
    rmse_upper: float | None
    rmse_lower: float | None
    tolerance: tuple[float, float] | None
    undersizing_bound: float | None
    undersizing_counter: float | None
    largest_undersizing: float | None
    largest_undersizing_index: int | None
    largest_oversizing: float | None
    largest_oversizing_index: int | None
    reason: str | None


def _errors(true: npt.ArrayLike, reported: npt.ArrayLike) -> npt.NDArray[np.float64]:
    a, b = np.asarray(true, dtype=float), np.asarray(reported, dtype=float)
    if a.ndim != 1 or a.shape != b.shape:
        message = f"{a.size} true and {b.size} reported sizes; two lists of one length are wanted"
        raise ValueError(message)
    if not (np.all(np.isfinite(a)) and np.all(np.isfinite(b))):
        message = "a size is missing or not a finite number; count missed targets as unsized"
        raise ValueError(message)
    return np.asarray(b - a)


def _check(confidence: float, unsized: int) -> None:
    if not 0.0 < confidence < 1.0 or unsized < 0:
        message = f"confidence {confidence} must lie in 0..1 and unsized {unsized} be 0 or more"
        raise ValueError(message)


def sizing_error(
    true: npt.ArrayLike, reported: npt.ArrayLike, *, confidence: float = 0.95, unsized: int = 0
) -> SizingError:
    """Summarise the sizing error of found targets.

    Parameters
    ----------
    true, reported : (n,), one unit for both.
    confidence : of intervals and bounds, as a fraction.
    unsized : targets without a reported size.

    Raises
    ------
    ValueError : for unequal lists, missing sizes, negative `unsized`, confidence outside 0..1.
    """
    error = _errors(true, reported)
    _check(confidence, unsized)
    n = error.size
    if n == 0:
        return SizingError(0, unsized, confidence, *(None,) * 15, reason=NONE_SIZED)
    bias = float(error.mean())
    low, high = int(error.argmin()), int(error.argmax())
    sd = float(error.std(ddof=1)) if n > 1 else None
    rmse = float(np.sqrt((error**2).mean()))
    spread = (None,) * 5 if sd is None else _spread(n, bias, sd, confidence)
    bounds = (None,) * 3 if sd is None else _rmse(n, bias, sd, rmse, confidence)
    return SizingError(
        n=n,
        unsized=unsized,
        confidence=confidence,
        bias=bias,
        bias_ci=spread[0],
        sd=sd,
        sd_ci=spread[1],
        rmse=rmse,
        rmse_ci=bounds[0],
        rmse_upper=bounds[1],
        rmse_lower=bounds[2],
        tolerance=spread[2],
        undersizing_bound=spread[3],
        undersizing_counter=spread[4],
        largest_undersizing=float(error[low]),
        largest_undersizing_index=low,
        largest_oversizing=float(error[high]),
        largest_oversizing_index=high,
        reason=None if n > 1 else ONE_SIZED,
    )


def _spread(
    n: int, bias: float, sd: float, confidence: float
) -> tuple[tuple[float, float], tuple[float, float], tuple[float, float], float, float]:
    """Intervals of bias and SD, tolerance interval, undersizing bound and its opposite."""
    freedom, tail = n - 1.0, (1.0 - confidence) / 2.0
    reach = float(special.stdtrit(freedom, 1.0 - tail)) * sd / np.sqrt(n)
    sd_low = sd * np.sqrt(freedom / special.chdtri(freedom, tail))
    sd_high = sd * np.sqrt(freedom / special.chdtri(freedom, 1.0 - tail))
    k = two_sided_factor(n, share=SHARE, confidence=confidence)
    return (
        (float(bias - reach), float(bias + reach)),
        (float(sd_low), float(sd_high)),
        (bias - k * sd, bias + k * sd),
        bias - one_sided_factor(n, share=SHARE, confidence=confidence) * sd,
        bias - one_sided_factor(n, share=SHARE, confidence=1.0 - confidence) * sd,
    )


def _rmse(
    n: int, bias: float, sd: float, rmse: float, confidence: float
) -> tuple[tuple[float, float], float, float]:
    """Two-sided interval of the RMSE and its one-sided bounds, upper first."""
    if sd == 0.0 or abs(bias) >= rmse:
        return (rmse, rmse), rmse, rmse
    return (
        rmse_interval(n, bias, rmse, confidence),
        rmse_bound(n, bias, rmse, 1.0 - confidence),
        rmse_bound(n, bias, rmse, confidence),
    )
