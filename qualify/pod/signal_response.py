"""The POD curve of recorded responses: one call, one frozen result.

Y = intercept + slope x + sigma e, x = log a or a, Y the response, its logarithm or its logit;
POD(a) = P(Y > threshold) = Phi((intercept + slope x - threshold) / sigma).

Sources: Berens 1989, ASM Handbook 17, 689-701; MIL-HDBK-1823A 2009, appendix G (both from memory);
checked in `tests/published` against R.
"""

import math
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import special

from qualify.pod.calibrated import SEED
from qualify.pod.links import Array
from qualify.pod.notices import Notice
from qualify.pod.observations import Scale, size_of
from qualify.pod.problem import BoundName, normal_quantile
from qualify.pod.response_all_bounds import RESPONSE_BOUNDS, ResponseBounds, bounds_of, no_bounds
from qualify.pod.response_bounds import exact_applies
from qualify.pod.response_calibrated import SIMULATIONS
from qualify.pod.response_curve import ResponseCurve, fit_curve, signed_root
from qualify.pod.response_notices import ResponseFindings, response_notices
from qualify.pod.response_simulation import FEWEST_EXACT
from qualify.pod.response_targets import shared_variance
from qualify.pod.responses import ResponseAxis, Responses, observe_responses, on_axis

ResponseOutcome: TypeAlias = Literal[
    "fitted", "decreasing", "all_censored", "too_few", "no_scatter", "not_settled"
]
Matrix3: TypeAlias = tuple[tuple[float, ...], ...]

NO_SCATTER = 1e-9  # of the spread of responses
PODS = {"a50": 0.5, "a90": 0.9}


@dataclass(frozen=True, slots=True)
class ResponseFit:
    """A line through responses and the POD curve it gives; sizes in the unit of the sizes given.

    What does not exist is None; `notices` or the `reason` of a bound say why.

    Attributes
    ----------
    outcome : state of the fit; figures of the curve exist only for `fitted`.
    targets, rows : the sample size is the number of targets.
    exact, left, right, missed : rows by kind; missed ones are among the left-censored.
    scale, axis, threshold : as asked for, the threshold in the unit of responses.
    confidence, bound : of the one-sided bounds; the kind reported as `a90_95`.
    intercept, slope, sigma : in natural units of the axes; sigma by maximum likelihood (divisor
        n), at the mean of x where the spread grows.
    growth : k of sigma exp(k (x - mean x)); 0 where the spread is constant.
    shared : share of variance that responses of one target have in common, None if not repeated.
    covariance : (3, 3) of intercept, slope, log sigma; inverse OBSERVED information.
    log_likelihood, aic : on the axis of response, without its Jacobian.
    slope_root : signed root of the likelihood ratio that responses do not change with size.
    a50, a90, a90_95, a90_lower_95, bounds, seed, tested_range, extrapolated : as in `HitMissFit`.
    threshold_inside : whether the threshold lies among the exact responses.
    curve : the line in standardised units, None where there is none.
    """

    outcome: ResponseOutcome
    targets: int
    rows: int
    exact: int
    left: int
    right: int
    missed: int
    scale: Scale
    axis: ResponseAxis
    threshold: float
    confidence: float
    intercept: float | None
    slope: float | None
    sigma: float | None
    growth: float | None
    shared: float | None
    covariance: Matrix3 | None
    log_likelihood: float | None
    aic: float | None
    slope_root: float | None
    a50: float | None
    a90: float | None
    a90_95: float | None
    a90_lower_95: float | None
    bound: BoundName
    bounds: ResponseBounds
    seed: int
    tested_range: tuple[float, float]
    extrapolated: bool | None
    threshold_inside: bool | None
    notices: tuple[Notice, ...]
    data: Responses = field(repr=False, compare=False)
    curve: ResponseCurve | None = field(repr=False, compare=False)


def fit_response(
    size: npt.ArrayLike,
    response: npt.ArrayLike,
    *,
    threshold: float,
    floor: npt.ArrayLike | None = None,
    ceiling: npt.ArrayLike | None = None,
    targets: npt.ArrayLike | None = None,
    scale: str = "log",
    axis: str = "log",
    growing: bool = False,
    confidence: float = 0.95,
    bound: str = "auto",
    seed: int = SEED,
    simulations: int = SIMULATIONS,
) -> ResponseFit:
    """Fit a line to responses, or say why there is none, and turn it into POD.

    Parameters
    ----------
    size, response, threshold, floor, ceiling, targets, scale, axis : see `observe_responses`.
    growing : whether the spread may grow or shrink with size.
    confidence : of each one-sided bound, above 0.5 and below 1.
    bound : the kind reported as `a90_95`: `exact`, `calibrated`, `likelihood`, `wald`, or `auto`:
        exact where nothing is censored and no target repeated, calibrated otherwise.
    seed : of the bounds that rest on simulation.
    simulations : simulated trials behind the calibrated bound.

    Raises
    ------
    ValueError : see `observe_responses`; also an unknown bound, or a confidence out of range.
    """
    if bound not in ("auto", *RESPONSE_BOUNDS):
        message = f"bound {bound!r} is not known; use auto, {', '.join(RESPONSE_BOUNDS)}"
        raise ValueError(message)
    normal_quantile(confidence)  # refuses a confidence out of range
    data = observe_responses(size, response, threshold=threshold, floor=floor, ceiling=ceiling,
                             targets=targets, scale=scale, axis=axis)  # fmt: skip
    outcome, curve = _curve(data, growing)
    free = not data.repeated and not growing and bool(np.all(data.exact))
    usual: BoundName = "exact" if free else "calibrated"
    chosen = next((name for name in RESPONSE_BOUNDS if name == bound), usual)
    names = tuple(dict.fromkeys(("wald", "likelihood", chosen)))
    if curve is not None and exact_applies(curve):
        names = tuple(dict.fromkeys((*names, "exact")))
    if outcome == "fitted" and curve is not None:
        bounds = bounds_of(curve, names, confidence, seed, simulations)
    else:
        bounds = no_bounds(outcome, names)
    return _assemble(data, outcome, curve, chosen, bounds, confidence, seed)


def _curve(data: Responses, growing: bool) -> tuple[ResponseOutcome, ResponseCurve | None]:
    """Decide from the data whether there is a line, and fit it."""
    exact = data.exact
    if not np.any(exact):
        return "all_censored", None
    if exact.sum() < FEWEST_EXACT or np.unique(data.t[exact]).size < 2:
        return "too_few", None
    line = np.polynomial.polynomial.polyfit(data.t[exact], data.y[exact], 1)
    left = data.y[exact] - np.polynomial.polynomial.polyval(data.t[exact], line)
    if np.std(left) < NO_SCATTER:
        return "no_scatter", None
    curve = fit_curve(data, growing=growing)
    if not (math.isfinite(curve.height) and 0.0 < curve.theta < 1.0 / NO_SCATTER):
        return "not_settled", None
    return ("fitted" if curve.slope > 0.0 else "decreasing"), curve


def _assemble(
    data: Responses,
    outcome: ResponseOutcome,
    curve: ResponseCurve | None,
    bound: BoundName,
    bounds: ResponseBounds,
    confidence: float,
    seed: int,
) -> ResponseFit:
    low, high = float(data.size.min()), float(data.size.max())
    root = None if curve is None else signed_root(curve, math.inf, 0.0)
    shown = outcome == "fitted" and root is not None and root > normal_quantile(confidence)
    told = curve if shown else None
    a50, a90 = (None if told is None else size_at_pod(told, p) for p in PODS.values())
    upper, lower = bounds[bound]["upper"], bounds[bound]["lower"]
    reported = [v for v in (a90, upper.value) if v is not None]
    outside = any(v < low or v > high for v in reported)
    inside = _threshold_inside(data)
    shared = None
    if curve is not None and data.repeated:
        shared = shared_variance(data, *curve.line[:4])
    findings = ResponseFindings(data, outcome, confidence, bound, bounds, shown, a50, a90, inside,
                                shared)  # fmt: skip
    intercept, slope, sigma, covariance = (None,) * 4 if curve is None else natural(curve)
    height = None if curve is None else curve.log_likelihood
    free = 4 if curve is not None and curve.growing else 3
    return ResponseFit(
        outcome=outcome,
        targets=data.targets,
        rows=data.rows,
        exact=int(data.exact.sum()),
        left=int((data.code < 0).sum()),
        right=int((data.code > 0).sum()),
        missed=int(data.missed.sum()),
        scale=data.scale,
        axis=data.axis,
        threshold=data.threshold,
        confidence=confidence,
        intercept=intercept,
        slope=slope,
        sigma=sigma,
        growth=None if curve is None else curve.growth / data.spread,
        shared=shared,
        covariance=covariance,
        log_likelihood=height,
        aic=None if height is None else 2.0 * free - 2.0 * height,
        slope_root=root,
        a50=a50,
        a90=a90,
        a90_95=upper.value,
        a90_lower_95=lower.value,
        bound=bound,
        bounds=bounds,
        seed=seed,
        tested_range=(low, high),
        extrapolated=outside if reported else None,
        threshold_inside=inside,
        notices=response_notices(findings),
        data=data,
        curve=curve,
    )


def _threshold_inside(data: Responses) -> bool | None:
    exact = data.response[data.exact]
    if exact.size == 0:
        return None
    return bool(exact.min() <= data.threshold <= exact.max())


def size_at_pod(curve: ResponseCurve, pod: float) -> float | None:
    """Size with a POD on the curve, None when it is no finite size of 0 or more."""
    psi = curve.psi(float(special.ndtri(pod)))
    return size_of(curve.data.centre + curve.data.spread * psi, curve.data.scale)


def natural(curve: ResponseCurve) -> tuple[float, float, float, Matrix3]:
    """Intercept, slope, sigma and covariance (with log sigma) on the axes of x and response."""
    data, theta = curve.data, curve.theta
    start = float(on_axis(np.array([data.threshold]), data.axis)[0])
    shift = data.centre / data.spread
    at = (curve.level - curve.slope * shift) * data.unit / theta
    slope = curve.slope * data.unit / (theta * data.spread)
    scale = data.unit / theta
    jacobian = np.array([[-at / theta, -shift * scale, scale],
                         [-slope / theta, scale / data.spread, 0.0],
                         [-1.0 / theta, 0.0, 0.0]])  # fmt: skip
    covariance = jacobian @ curve.covariance @ jacobian.T
    rows = tuple(tuple(float(v) for v in row) for row in covariance)
    return start + at, slope, scale, rows


def response_pod(fit: ResponseFit, sizes: npt.ArrayLike) -> Array:
    """POD (k,) at each size (k,).

    Raises
    ------
    ValueError : when there is no curve.
    """
    if fit.curve is None or fit.outcome != "fitted":
        message = f"there is no POD curve: the outcome is {fit.outcome}"
        raise ValueError(message)
    return np.asarray(special.ndtr(fit.curve.eta(fit.data.t_of(np.atleast_1d(sizes)))))
