"""The POD curve of hits and misses: one call, one frozen result."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from qualify.pod.all_bounds import Bounds, bounds_of, no_bounds
from qualify.pod.calibrated import SEED, SIMULATIONS
from qualify.pod.false_calls import proportion_bounds
from qualify.pod.links import Array, LinkName, eta_of, link_named, pod_of
from qualify.pod.notices import Findings, Notice, notices_of
from qualify.pod.observations import Observations, Scale, observe
from qualify.pod.outcome import Outcome, Overlap, overlap
from qualify.pod.problem import (
    BOUND_NAMES,
    BoundName,
    FittedCurve,
    SizedHits,
    normal_quantile,
    sized_hits,
)

WITH_BOUNDS = (None, "separated", "quasi_separated")  # outcomes of the data alone
LEAST_SLOPE = 1e-10  # per standard deviation of x; less is rounding of no slope at all

USUAL: tuple[BoundName, ...] = ("wald", "likelihood")
Matrix = tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class HitMissFit:
    """POD(a) = F(intercept + slope * x), x = log a or a; F the inverse of the link.

    All sizes are in the unit of the sizes given. What does not exist is None; `notices` or the
    `reason` of a bound say why.

    Attributes
    ----------
    outcome : state of the fit; figures of the curve exist only for `fitted`, coefficients and
        likelihood also for `decreasing` data whose hits and misses overlap.
    n, hits : trials and hits.
    link, scale, confidence, bound : as asked for; confidence as a fraction, of each one-sided
        bound.
    intercept, slope : of eta in x.
    covariance : of intercept and slope, inverse EXPECTED information.
    covariance_observed : the same from the OBSERVED information; equal for the logit.
    log_likelihood : with binomial constants only when `trials` was given.
    deviance : against one POD for each row given.
    aic : 4 - 2 * log_likelihood.
    slope_lr : likelihood-ratio statistic of the slope, 1 degree of freedom.
    a50, a90 : sizes with POD 0.50 and 0.90; None where POD is not shown to rise with size.
    a90_95, a90_lower_95 : one-sided upper and lower bound on a90 of the kind `bound`, at
        `confidence` (the names say 95 for the usual case).
    bounds : `wald`, `likelihood`, the kind `bound` and those asked for, each with `upper` and
        `lower`.
    seed : of the bounds that rest on simulation.
    tested_range : smallest and largest size tested.
    extrapolated : whether a90 or its upper bound lies outside it; None without either.
    largest_miss, smallest_hit : sizes, None where there is no miss or no hit.
    all_hit_lower_bound : exact lower bound of the share hit, when all were hit, else None.
    notices : remarks that belong beside the numbers.
    sizes, hits_at, trials_at : hits and trials at each distinct size, for figures and for
        further bounds.
    """

    outcome: Outcome
    n: int
    hits: int
    link: LinkName
    scale: Scale
    confidence: float
    intercept: float | None
    slope: float | None
    covariance: Matrix | None
    covariance_observed: Matrix | None
    log_likelihood: float | None
    deviance: float | None
    aic: float | None
    slope_lr: float | None
    a50: float | None
    a90: float | None
    a90_95: float | None
    a90_lower_95: float | None
    bound: BoundName
    bounds: Bounds
    seed: int
    tested_range: tuple[float, float]
    extrapolated: bool | None
    largest_miss: float | None
    smallest_hit: float | None
    all_hit_lower_bound: float | None
    notices: tuple[Notice, ...]
    sizes: tuple[float, ...] = field(repr=False)
    hits_at: tuple[int, ...] = field(repr=False)
    trials_at: tuple[int, ...] = field(repr=False)


def _bound_named(name: str) -> BoundName:
    if name not in BOUND_NAMES:
        message = f"bound {name!r} is not known; use one of {', '.join(BOUND_NAMES)}"
        raise ValueError(message)
    return name


def _size_with(curve: FittedCurve, pod: float) -> float | None:
    return curve.size_at(float((eta_of(curve.link, pod) - curve.intercept) / curve.slope))


def _coefficients(curve: FittedCurve) -> tuple[float, float, Matrix, Matrix]:
    """Intercept, slope and both covariances in x from those in centred and scaled x."""
    back = np.array([[1.0, -curve.centre / curve.spread], [0.0, 1.0 / curve.spread]])
    intercept, slope = back @ np.array([curve.intercept, curve.slope])
    expected, observed = (_matrix(back @ v @ back.T) for v in (curve.covariance, curve.observed))
    return float(intercept), float(slope), expected, observed


def _matrix(v: Array) -> Matrix:
    return (float(v[0, 0]), float(v[0, 1])), (float(v[0, 1]), float(v[1, 1]))


def fit_hit_miss(
    size: npt.ArrayLike,
    hits: npt.ArrayLike,
    trials: npt.ArrayLike | None = None,
    *,
    link: str = "logit",
    scale: str = "log",
    confidence: float = 0.95,
    bound: str = "calibrated",
    also: Sequence[str] = (),
    seed: int = SEED,
    simulations: int = SIMULATIONS,
) -> HitMissFit:
    """Fit a POD curve to hits and misses, or say why there is none.

    Parameters
    ----------
    size : (rows,), any unit.
    hits : (rows,), 0 or 1, or numbers of hits when `trials` is given.
    trials : (rows,), opportunities behind each number of hits, or None for single trials.
    link : `logit`, `probit`, `cloglog` or `loglog`.
    scale : `log` (natural logarithm) or `linear`.
    confidence : of each one-sided bound, above 0.5 and below 1.
    bound : the kind reported as `a90_95`, one of `qualify.pod.problem.BOUND_NAMES`.
    also : kinds that are to stand in `bounds` besides it, `wald` and `likelihood`.
    seed : of the bounds that rest on simulation, recorded in the result.
    simulations : simulated trials behind the calibrated bound.

    Raises
    ------
    ValueError : for missing, negative or (log scale) zero sizes, hits outside 0..trials, lists of
        unequal length, an unknown link, scale or bound, or confidence out of range.
    ArithmeticError : when the iteration does not converge, which overlap rules out.
    """
    chosen_link, chosen = link_named(link), _bound_named(bound)
    names = tuple(dict.fromkeys((*USUAL, chosen, *(_bound_named(name) for name in also))))
    normal_quantile(confidence)  # refuses a confidence out of range
    seen = observe(size, hits, trials, scale)
    lie = overlap(seen)
    data = sized_hits(seen, chosen_link) if lie.outcome in WITH_BOUNDS else None
    if lie.outcome is None and not isinstance(data, FittedCurve):
        message = "the fit did not converge although hits and misses overlap"
        raise ArithmeticError(message)
    outcome: Outcome = lie.outcome or "fitted"
    if isinstance(data, FittedCurve) and data.slope <= LEAST_SLOPE:
        outcome = "decreasing"
    if data is None or outcome == "decreasing":
        bounds = no_bounds(outcome, names)
    else:
        bounds = bounds_of(seen, data, names, outcome, confidence, seed, simulations)
    found = _findings(seen, lie, data, outcome, chosen, bounds, confidence)
    return _assemble(found, data, chosen_link, seed)


def _findings(
    seen: Observations,
    lie: Overlap,
    data: SizedHits | None,
    outcome: Outcome,
    bound: BoundName,
    bounds: Bounds,
    confidence: float,
) -> Findings:
    rising = data if outcome == "fitted" and isinstance(data, FittedCurve) else None
    shown = rising is not None and rising.slope_lr > normal_quantile(confidence) ** 2
    told = rising if shown else None
    all_hit = proportion_bounds(seen.total, seen.total, confidence)[0]
    return Findings(
        seen=seen,
        lie=lie,
        outcome=outcome,
        confidence=confidence,
        bound=bound,
        bounds=bounds,
        slope_shown=shown,
        a50=None if told is None else _size_with(told, 0.5),
        a90=None if told is None else _size_with(told, 0.9),
        all_hit_lower_bound=all_hit if outcome == "all_hit" else None,
    )


def _assemble(found: Findings, data: SizedHits | None, link: LinkName, seed: int) -> HitMissFit:
    seen = found.seen
    curve = data if isinstance(data, FittedCurve) else None
    intercept, slope, covariance, observed = (None,) * 4 if curve is None else _coefficients(curve)
    height = None if curve is None else curve.top + seen.constant
    chosen = found.bounds[found.bound]
    low, high = float(seen.size[0]), float(seen.size[-1])
    reported = [v for v in (found.a90, chosen["upper"].value) if v is not None]
    outside = any(v < low or v > high for v in reported)
    return HitMissFit(
        outcome=found.outcome,
        n=seen.total,
        hits=seen.total_hits,
        link=link,
        scale=seen.scale,
        confidence=found.confidence,
        intercept=intercept,
        slope=slope,
        covariance=covariance,
        covariance_observed=observed,
        log_likelihood=height,
        deviance=None if curve is None else max(0.0, 2 * (seen.saturated - curve.top)),
        aic=None if height is None else 4.0 - 2.0 * height,
        slope_lr=None if curve is None else curve.slope_lr,
        a50=found.a50,
        a90=found.a90,
        a90_95=chosen["upper"].value,
        a90_lower_95=chosen["lower"].value,
        bound=found.bound,
        bounds=found.bounds,
        seed=seed,
        tested_range=(low, high),
        extrapolated=outside if reported else None,
        largest_miss=found.lie.largest_miss,
        smallest_hit=found.lie.smallest_hit,
        all_hit_lower_bound=found.all_hit_lower_bound,
        notices=notices_of(found),
        sizes=tuple(seen.size.tolist()),
        hits_at=tuple(int(h) for h in seen.hits),
        trials_at=tuple(int(t) for t in seen.trials),
    )


def size_axis(fit: HitMissFit, sizes: npt.ArrayLike) -> Array:
    """Sizes (k,) on the axis of the model.

    Raises
    ------
    ValueError : when there is no curve, or for sizes that have no place on the axis.
    """
    if fit.outcome != "fitted":
        message = f"there is no POD curve: the outcome is {fit.outcome}"
        raise ValueError(message)
    return place_of_sizes(fit, sizes)


def place_of_sizes(fit: HitMissFit, sizes: npt.ArrayLike) -> Array:
    """Sizes (k,) on the axis of the model, whatever the outcome.

    Raises
    ------
    ValueError : for sizes that have no place on the axis.
    """
    a = np.atleast_1d(np.asarray(sizes, dtype=float))
    if not np.all(np.isfinite(a)) or np.any(a < 0.0) or (fit.scale == "log" and np.any(a == 0.0)):
        message = "sizes must be finite and above 0 (0 is allowed on the linear scale)"
        raise ValueError(message)
    return np.log(a) if fit.scale == "log" else a


def curve(fit: HitMissFit, sizes: npt.ArrayLike) -> Array:
    """POD (k,) at each size (k,), in the unit of the fit.

    Raises
    ------
    ValueError : when there is no curve, or for sizes that have no place on the axis.
    """
    x = size_axis(fit, sizes)
    return pod_of(fit.link, np.asarray(fit.intercept, dtype=float) + np.asarray(fit.slope) * x)
