"""A straight line of reported against true size, with uncertainty in both.

Ordinary least squares takes true sizes as exact; their uncertainty then flattens the line, by
var(true) / (var(true) + u^2) on the average. The line here weighs every target by the
uncertainty of both of its sizes.

Where the uncertainty of reported sizes is not known, one scatter common to all is taken from the
data: the one at which chi-square equals n - 2.

Source: York, Evensen, Martinez and De Basabe Delgado 2004, American Journal of Physics 72,
367-375, equations 13a to 13d with uncorrelated errors; ordinary least squares and attenuation:
any textbook.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special

Array = npt.NDArray[np.float64]

FEWEST = 3
TOO_FEW = f"a line with its scatter needs at least {FEWEST} sized targets"
ONE_SIZE = "all true sizes are the same: no line"
BOTH_EXACT = "a target whose true and reported size are both exact: no line"
NOT_FOUND = "the line was not found: iterations did not settle"
PERFECT = "reported sizes show no scatter about a line: its uncertainty can't be told"
ITERATIONS = 500


@dataclass(frozen=True, slots=True)
class Line:
    """Reported = intercept + slope x true.

    Attributes
    ----------
    n : targets.
    slope, intercept : of the line, uncertainty in both sizes; intercept in the unit of sizes.
    slope_se, intercept_se : standard errors from the stated uncertainties alone.
    chi2, reduced_chi2, chi2_p : sum of squares over stated uncertainty, the same over n - 2, and
        its p value; None where the scatter was taken from the data.
    scatter : the scatter taken from the data, None where uncertainties of reported sizes are given.
    slope_ci : two-sided, Student's t with n - 2; standard errors are widened by the root of
        reduced chi-square where that is above 1.
    plain_slope, plain_intercept : of ordinary least squares.
    attenuation : share of its slope that ordinary least squares keeps on the average.
    reason : why there is no line, else None.
    """

    n: int
    slope: float | None
    intercept: float | None
    slope_se: float | None
    intercept_se: float | None
    chi2: float | None
    reduced_chi2: float | None
    chi2_p: float | None
    scatter: float | None
    slope_ci: tuple[float, float] | None
    plain_slope: float | None
    plain_intercept: float | None
    attenuation: float | None
    reason: str | None


def no_line(n: int, reason: str) -> Line:
    """Return the absence of a line, with its reason."""
    return Line(n, *(None,) * 12, reason=reason)


def york_line(
    true: npt.ArrayLike,
    reported: npt.ArrayLike,
    true_u: npt.ArrayLike,
    reported_u: npt.ArrayLike | None,
    *,
    confidence: float = 0.95,
) -> Line:
    """Fit reported against true size, with standard uncertainties of both.

    Parameters
    ----------
    true, reported : (n,), one unit.
    true_u, reported_u : (n,) standard uncertainties, 0 or more, not both 0 for a target;
        `reported_u` None: one scatter for all, from the data.
    confidence : of `slope_ci`, two-sided.

    Raises
    ------
    ValueError : for lists of unequal length, values that are not finite, negative uncertainties.
    """
    x, y = np.asarray(true, dtype=float), np.asarray(reported, dtype=float)
    ux = np.asarray(true_u, dtype=float)
    uy = None if reported_u is None else np.asarray(reported_u, dtype=float)
    _check(x, y, ux, uy)
    n = x.size
    if n < FEWEST:
        return no_line(n, TOO_FEW)
    if np.ptp(x) == 0.0:
        return no_line(n, ONE_SIZE)
    scatter = None
    if uy is None:
        scatter = _scatter(x, y, ux)
        if scatter is None:
            return no_line(n, PERFECT)
        uy = np.full(n, scatter)
    if np.any((ux == 0.0) & (uy == 0.0)):
        return no_line(n, BOTH_EXACT)
    fit = _fit(x, y, ux, uy)
    return no_line(n, NOT_FOUND) if fit is None else _told(x, y, ux, fit, scatter, confidence)


def _check(x: Array, y: Array, ux: Array, uy: Array | None) -> None:
    columns = [x, y, ux] + ([] if uy is None else [uy])
    if any(c.ndim != 1 or c.shape != x.shape or not np.all(np.isfinite(c)) for c in columns):
        message = "sizes and uncertainties must be finite lists of one length"
        raise ValueError(message)
    if np.any(ux < 0.0) or (uy is not None and np.any(uy < 0.0)):
        message = "a standard uncertainty is negative; give 0 or more"
        raise ValueError(message)


def _plain(x: Array, y: Array) -> tuple[float, float]:
    """Intercept and slope of ordinary least squares."""
    centred = x - x.mean()
    slope = float(centred @ y / (centred @ centred))
    return float(y.mean() - slope * x.mean()), slope


def _fit(
    x: Array, y: Array, ux: Array, uy: Array
) -> tuple[float, float, float, float, float] | None:
    """Intercept, slope, their standard errors, chi-square; None where iterations do not settle."""
    _, slope = _plain(x, y)
    vx, vy = ux**2, uy**2
    for _ in range(ITERATIONS):
        before = slope
        weight, mean_x, mean_y, beta = _step(x, y, vx, vy, slope)
        slope = float(np.sum(weight * beta * (y - mean_y)) / np.sum(weight * beta * (x - mean_x)))
        if abs(slope - before) <= 1e-15 * max(abs(slope), 1e-300) or not np.isfinite(slope):
            break
    if not np.isfinite(slope) or abs(slope - before) > 1e-9 * max(abs(slope), 1e-9):
        return None
    weight, mean_x, mean_y, beta = _step(x, y, vx, vy, slope)
    intercept = mean_y - slope * mean_x
    adjusted = mean_x + beta  # equation 13d
    centre = float(np.sum(weight * adjusted) / np.sum(weight))
    slope_variance = 1.0 / float(np.sum(weight * (adjusted - centre) ** 2))
    intercept_variance = 1.0 / float(np.sum(weight)) + centre**2 * slope_variance
    chi2 = float(np.sum(weight * (y - intercept - slope * x) ** 2))
    return (
        intercept,
        slope,
        float(np.sqrt(intercept_variance)),
        float(np.sqrt(slope_variance)),
        chi2,
    )


def _step(
    x: Array, y: Array, vx: Array, vy: Array, slope: float
) -> tuple[Array, float, float, Array]:
    """Weights, weighted means, and the way of each point along x to its adjusted place."""
    weight = 1.0 / (vy + slope**2 * vx)
    mean_x = float(np.sum(weight * x) / np.sum(weight))
    mean_y = float(np.sum(weight * y) / np.sum(weight))
    beta = weight * ((x - mean_x) * vy + slope * (y - mean_y) * vx)
    return weight, mean_x, mean_y, beta


def _scatter(x: Array, y: Array, ux: Array) -> float | None:
    """Scatter of reported sizes at which chi-square is n - 2; 0 where less is seen."""
    intercept, slope = _plain(x, y)
    freedom = x.size - 2.0
    plain = float(np.sqrt(np.sum((y - intercept - slope * x) ** 2) / freedom))
    if plain <= 1e-12 * float(np.abs(y).max()):
        return None

    def excess(scatter: float) -> float:
        fit = _fit(x, y, ux, np.full(x.size, scatter))
        return np.nan if fit is None else fit[4] - freedom

    low, high = plain * 1e-6, plain * 4.0
    if not excess(low) > 0.0:
        return 0.0 if np.all(ux > 0.0) else low
    return float(optimize.brentq(excess, low, high, xtol=1e-15 * plain, rtol=1e-13))


def _told(
    x: Array,
    y: Array,
    ux: Array,
    fit: tuple[float, float, float, float, float],
    scatter: float | None,
    confidence: float,
) -> Line:
    intercept, slope, intercept_se, slope_se, chi2 = fit
    freedom = x.size - 2.0
    reduced = chi2 / freedom
    wide = slope_se * (np.sqrt(max(1.0, reduced)) if scatter is None else 1.0)
    reach = float(special.stdtrit(freedom, (1.0 + confidence) / 2.0) * wide)
    plain_intercept, plain_slope = _plain(x, y)
    given = scatter is None
    return Line(
        n=x.size,
        slope=slope,
        intercept=intercept,
        slope_se=slope_se,
        intercept_se=intercept_se,
        chi2=chi2 if given else None,
        reduced_chi2=reduced if given else None,
        chi2_p=float(special.chdtrc(freedom, chi2)) if given else None,
        scatter=scatter,
        slope_ci=(slope - reach, slope + reach),
        plain_slope=plain_slope,
        plain_intercept=plain_intercept,
        attenuation=float(max(0.0, 1.0 - (ux**2).mean() / x.var(ddof=1))),
        reason=None,
    )
