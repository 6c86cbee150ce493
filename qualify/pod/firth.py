"""Firth's penalised likelihood for hits and misses (logit link), with profile intervals.

The log-likelihood plus half the log determinant of the information has a finite maximum also
where hits and misses are separated. Intervals come from the profile of the penalised likelihood:
the penalty is that of the FULL information, with the parameter held and the rest refitted. Wald
intervals around these estimates are wrong under separation and are not given.

Sources: Firth 1993, Biometrika 80, 27-38; Heinze and Schemper 2002, Statistics in Medicine 21,
2409-2419 (both from memory); checked in `tests/published` against fits made in R.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from qualify.pod.design import inverse
from qualify.pod.links import Array, eta_of
from qualify.pod.observations import Observations, size_of
from qualify.pod.penalised import (
    Penalised,
    State,
    drop,
    free_maximum,
    held_maximum,
    penalised_of,
    profile_root,
)
from qualify.pod.problem import BELOW_ZERO, NO_CURVE, NO_TREND, TOO_FAR, Side, normal_quantile

NOT_CLOSED = "the profile of the penalised likelihood does not fall far enough to give an end"
ONE_SIZE = "a curve needs two distinct sizes"


@dataclass(frozen=True, slots=True)
class FirthFit:
    """A penalised fit of k coefficients; finite under separation too.

    Attributes
    ----------
    coef : (k,), one a column of the design.
    covariance : (k, k), inverse information at the solution.
    log_likelihood : without the penalty and without binomial constants.
    penalised_log_likelihood : with half the log determinant of the information in the columns
        of the design.
    score : largest absolute penalised score at the solution, in orthogonal columns of mean
        square 1.
    """

    coef: Array
    covariance: Array
    log_likelihood: float
    penalised_log_likelihood: float
    score: float


@dataclass(frozen=True, slots=True)
class ProfileInterval:
    """Both ends of a profile interval; an end is None, with the reason, where it has none."""

    lower: float | None
    upper: float | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class PenalisedTest:
    """Penalised likelihood-ratio test that one coefficient is 0; chi-squared, 1 degree."""

    statistic: float
    p_value: float


def fit_firth(design: npt.ArrayLike, hits: npt.ArrayLike, trials: npt.ArrayLike = 1) -> FirthFit:
    """Fit a logit curve, POD = 1 / (1 + exp(-design @ coef)), by Firth's penalised likelihood.

    Parameters
    ----------
    design : (rows, k), with its constant column; needs no centring or scaling.
    hits, trials : (rows,); trials may be one number.

    Raises
    ------
    ValueError : for a rank-deficient design, hits outside 0..trials or lists of unequal length.
    ArithmeticError : when the iteration does not converge.
    """
    data = penalised_of(design, hits, trials)
    best, back = free_maximum(data), data.standard.back
    return FirthFit(
        coef=back @ best.values,
        covariance=back @ inverse(best.information) @ back.T,
        log_likelihood=best.log_likelihood,
        penalised_log_likelihood=best.height - data.standard.log_scale,
        score=float(np.abs(best.score).max()),
    )


def firth_test(
    design: npt.ArrayLike, hits: npt.ArrayLike, trials: npt.ArrayLike, index: int
) -> PenalisedTest:
    """Test that coefficient `index` is 0; data and errors as in `fit_firth`."""
    data = penalised_of(design, hits, trials)
    best = free_maximum(data)
    row = np.eye(len(best.values))[index]
    statistic = drop(best, held_maximum(data, best, row, 0.0))
    return PenalisedTest(statistic, float(special.chdtrc(1, statistic)))


def firth_profile_interval(
    design: npt.ArrayLike,
    hits: npt.ArrayLike,
    trials: npt.ArrayLike,
    index: int,
    confidence: float = 0.95,
) -> ProfileInterval:
    """Two-sided profile interval of coefficient `index`; data and errors as in `fit_firth`.

    Raises
    ------
    ValueError : unless confidence lies between 0 and 1.
    """
    if not 0.0 < confidence < 1.0:
        message = f"confidence {confidence} must lie between 0 and 1, as 0.95"
        raise ValueError(message)
    data = penalised_of(design, hits, trials)
    best, back = free_maximum(data), data.standard.back
    row = np.eye(len(back))[index]
    limit = float(special.chdtri(1, 1.0 - confidence))
    estimate = float(row @ back @ best.values)
    error = float(np.sqrt(row @ back @ inverse(best.information) @ back.T @ row))
    step = float(np.sqrt(limit)) * error
    lower, upper = (
        profile_root(data, best, lambda value: (row, value), (estimate, way * step), limit)
        for way in (-1.0, 1.0)
    )
    return ProfileInterval(lower, upper, NOT_CLOSED if lower is None or upper is None else None)


@dataclass(frozen=True, slots=True)
class FirthSizeBound:
    """A one-sided penalised profile bound on the size with a given POD, or why there is none.

    Attributes
    ----------
    value : in the caller's size unit, or None.
    reason : in words when there is no value, else None.
    estimate : size with this POD on the penalised curve; None where POD is not shown to rise.
    slope_lr : penalised likelihood-ratio statistic of the slope; None with one size only.
    pod, confidence : fractions, as asked for.
    side : `upper` or `lower`.
    """

    value: float | None
    reason: str | None
    estimate: float | None
    slope_lr: float | None
    pod: float
    confidence: float
    side: Side


def firth_size_bound(
    seen: Observations, pod: float = 0.9, confidence: float = 0.95, side: Side = "upper"
) -> FirthSizeBound:
    """One-sided bound on the size where the logit curve has `pod`, by penalised profile.

    The curve is held at `pod` at a size psi, which leaves one free slope; the bound is the psi
    where twice the penalised height lost is z^2. As psi goes to infinity the held curve tends to
    the flat one, so a bound exists only where the slope's own statistic exceeds z^2. It works
    under complete and quasi-complete separation, and is conservative there.

    Parameters
    ----------
    seen : from `qualify.pod.observations.observe`.
    pod : between 0 and 1.
    confidence : one-sided, above 0.5 and below 1.
    side : `upper` or `lower`.

    Raises
    ------
    ValueError : for a pod or a confidence out of range.
    ArithmeticError : when the fit does not converge.
    """
    level, limit = float(eta_of("logit", pod)), normal_quantile(confidence) ** 2
    if len(seen.size) < 2:
        return FirthSizeBound(None, ONE_SIZE, None, None, pod, confidence, side)
    data = penalised_of(np.column_stack([np.ones_like(seen.x), seen.x]), seen.hits, seen.trials)
    best = free_maximum(data)
    intercept, slope = data.standard.back @ best.values
    slope_lr = drop(best, held_maximum(data, best, np.array([0.0, 1.0]), 0.0))
    if slope <= 0.0 or slope_lr <= limit:
        flat = NO_CURVE["decreasing"] if slope <= 0.0 else NO_TREND
        return FirthSizeBound(None, flat, None, slope_lr, pod, confidence, side)
    psi = float((level - intercept) / slope)
    place = _bound_place(data, best, psi, level, limit, side)
    value = size_of(place, seen.scale)
    below = seen.scale == "linear" and place is not None and place < 0.0
    why = BELOW_ZERO if below else TOO_FAR
    reason = why if value is None else None
    return FirthSizeBound(value, reason, size_of(psi, seen.scale), slope_lr, pod, confidence, side)


def _bound_place(
    data: Penalised, best: State, psi: float, level: float, limit: float, side: Side
) -> float | None:
    """Bound on the axis of the model, sought from the estimate psi on."""
    back = data.standard.back
    row = np.array([1.0, psi])
    variance = float(row @ back @ inverse(best.information) @ back.T @ row)
    step = float(np.sqrt(limit * variance) / abs((back @ best.values)[1]))
    way = step if side == "upper" else -step
    return profile_root(
        data, best, lambda place: (np.array([1.0, place]), level), (psi, way), limit
    )
