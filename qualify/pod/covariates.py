"""POD with size and one covariate: depth, tilt, mode, surface; tests, and a90 at its values.

Three nested models: size; size + covariate (the covariate shifts the curve); size x covariate
(it also changes its slope). Each step is tested by twice the gain in log-likelihood against
chi-squared with as many degrees of freedom as columns added. A bound on a90 at a value of the
covariate is the profile likelihood bound of the model size + covariate: 'eta = link value of
0.90 at size psi and covariate c' is linear in the coefficients, so it is held and the rest is
refitted. It exists only where twice the log-likelihood gained by size, the covariate standing in
the model already, exceeds z^2.

Every row counts as independent: readings of ONE reader, one a target. Repeated readings of a
target, by several readers or passes, are not independent, and p values and bounds made from them
here would be too small.

Sources: McCullagh and Nelder 1989, sections 4.4 and 7 (from memory); checked in `tests/published`
against R and statsmodels.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.pod.covariate_models import (
    Coding,
    Covariate,
    LikelihoodRatio,
    ModelFit,
    Nested,
    Value,
    as_categories,
    as_numbers,
    fit_nested,
    ratio_of,
)
from qualify.pod.covariate_notices import SizeAt, notices_of
from qualify.pod.design import inverse, outward_root
from qualify.pod.links import Array, LinkName, eta_of, link_named, pod_of
from qualify.pod.notices import Notice
from qualify.pod.observations import Observations, Scale, observe, size_of
from qualify.pod.problem import BELOW_ZERO, NO_CURVE, NO_TREND, TOO_FAR, normal_quantile
from qualify.pod.regression import Problem, Solution, maximum_held

LEVEL_POD = 0.9


@dataclass(frozen=True, slots=True)
class CovariateResult:
    """Does the covariate matter, and what is a90 at its values.

    Attributes
    ----------
    name : of the covariate, as in `terms` and notices.
    n, hits : readings and hits.
    link, scale, confidence : as asked for; confidence of each one-sided bound.
    coding : categories, or lowest and highest number tested.
    tested_range : smallest and largest size tested.
    size_only, with_covariate, with_interaction : the nested models.
    covariate_test : of the step size -> size + covariate.
    interaction_test : of the step size + covariate -> size x covariate.
    size_test : of size, the covariate standing in the model already.
    a90 : at the values asked for, from the model size + covariate; empty without that model.
    worst : the entry of `a90` with the largest bound, one without bound before all others; None
        where `a90` is empty.
    notices : remarks that belong beside the numbers.
    """

    name: str
    n: int
    hits: int
    link: LinkName
    scale: Scale
    confidence: float
    coding: Coding
    tested_range: tuple[float, float]
    size_only: ModelFit
    with_covariate: ModelFit
    with_interaction: ModelFit
    covariate_test: LikelihoodRatio
    interaction_test: LikelihoodRatio
    size_test: LikelihoodRatio
    a90: tuple[SizeAt, ...]
    worst: SizeAt | None
    notices: tuple[Notice, ...]


@dataclass(frozen=True, slots=True)
class Readings:
    """What was asked, checked; size and hits (rows,) in the order given."""

    seen: Observations
    size: Array
    hits: Array
    covariate: Covariate
    link: LinkName
    confidence: float
    name: str


def covariate_test(
    size: npt.ArrayLike,
    hits: npt.ArrayLike,
    covariate: npt.ArrayLike,
    *,
    link: str = "logit",
    scale: str = "log",
    numeric: bool,
    at: Sequence[Value] | None = None,
    confidence: float = 0.95,
    name: str = "covariate",
) -> CovariateResult:
    """Test one covariate beside size, and give a90 with its bound at values of the covariate.

    Parameters
    ----------
    size, hits : (rows,), any unit; hits 0 or 1; independent rows of one reader.
    covariate : (rows,), numbers (depth, tilt) or labels (mode, surface).
    link : `logit`, `probit`, `cloglog` or `loglog`.
    scale : `log` (natural logarithm) or `linear`, of the sizes; a covariate is taken as it is.
    numeric : whether the covariate is a number.
    at : values at which a90 is wanted; by default each category, or the smallest, the median and
        the largest number.
    confidence : of each one-sided bound, above 0.5 and below 1; effects are called shown at
        1 - confidence.
    name : of the covariate.

    Raises
    ------
    ValueError : for the faults that `observe` names, lists of unequal length, missing values of
        the covariate, values in `at` that were not tested, an unknown link or confidence.
    """
    seen, given = observe(size, hits, None, scale), _taken(covariate, numeric)
    readings = Readings(
        seen=seen,
        size=np.atleast_1d(np.asarray(size, dtype=float)),
        hits=np.atleast_1d(np.asarray(hits, dtype=float)),
        covariate=given,
        link=link_named(link),
        confidence=confidence,
        name=name,
    )
    normal_quantile(confidence)  # refuses a confidence out of range
    if len(given.values) != seen.total:
        message = f"{len(given.values)} values of the covariate for {seen.total} sizes"
        raise ValueError(message)
    return _result(readings, _usual_values(given) if at is None else tuple(at))


def _taken(covariate: npt.ArrayLike, numeric: bool) -> Covariate:
    return as_numbers(covariate) if numeric else as_categories(covariate)


def _result(given: Readings, wanted: tuple[Value, ...]) -> CovariateResult:
    seen, coding = given.seen, given.covariate.coding
    x = np.log(given.size) if seen.scale == "log" else given.size
    nested = fit_nested(x, given.hits, given.covariate, given.link, given.name)
    sizes = _sizes_at(nested, coding, wanted, given.confidence, seen.scale)
    tested = (float(seen.size[0]), float(seen.size[-1]))
    tests = (
        ratio_of(nested.size, nested.main),
        ratio_of(nested.main, nested.interaction),
        ratio_of(nested.without_size, nested.main),
    )
    worst = max(sizes, key=_how_bad, default=None)
    return CovariateResult(
        name=given.name,
        n=seen.total,
        hits=seen.total_hits,
        link=given.link,
        scale=seen.scale,
        confidence=given.confidence,
        coding=coding,
        tested_range=tested,
        size_only=nested.size.model,
        with_covariate=nested.main.model,
        with_interaction=nested.interaction.model,
        covariate_test=tests[0],
        interaction_test=tests[1],
        size_test=tests[2],
        a90=sizes,
        worst=worst,
        notices=notices_of(given.name, seen.total, tests, sizes, worst, tested, given.confidence),
    )


def _usual_values(given: Covariate) -> tuple[Value, ...]:
    """Each category, or the smallest, the median and the largest number; no value twice."""
    if not given.coding.numeric:
        return given.coding.categories
    numbers = np.array(given.values, dtype=float)
    chosen = (numbers.min(), np.median(numbers), numbers.max())
    return tuple(dict.fromkeys(float(v) for v in chosen))


def _how_bad(one: SizeAt) -> tuple[bool, float]:
    """No bound is worse than any bound, but for a bound below size 0, which is the best."""
    if one.reason == BELOW_ZERO:
        return False, 0.0
    return one.upper is None, one.upper or one.a90 or 0.0


def _sizes_at(
    nested: Nested, coding: Coding, wanted: tuple[Value, ...], confidence: float, scale: str
) -> tuple[SizeAt, ...]:
    """a90 and bound at each value wanted; nothing without a model size + covariate."""
    rows = [coding.row_of(value) for value in wanted]
    main, size_test = nested.main, ratio_of(nested.without_size, nested.main)
    if main.problem is None or main.best is None or size_test.statistic is None:
        return ()
    limit = normal_quantile(confidence) ** 2
    slope = float((main.problem.standard.back @ main.best.values)[1])
    if slope <= 0.0 or size_test.statistic <= limit:
        reason = NO_CURVE["decreasing"] if slope <= 0.0 else NO_TREND
        return tuple(SizeAt(value, None, None, reason) for value in wanted)
    return tuple(
        _size_at(main.problem, main.best, value, row, limit, scale)
        for value, row in zip(wanted, rows, strict=True)
    )


def _size_at(
    problem: Problem, best: Solution, value: Value, columns: Array, limit: float, scale: str
) -> SizeAt:
    """a90 and its upper bound at one value, by profile of the model size + covariate."""
    back, level = problem.standard.back, float(eta_of(problem.link, LEVEL_POD))
    coef = back @ best.values
    psi = float((level - coef[0] - columns @ coef[2:]) / coef[1])

    def row_at(place: float) -> Array:
        return np.concatenate([[1.0, place], columns])

    def residual(place: float) -> float:
        held = maximum_held(problem, best, row_at(place), level)
        return 2.0 * (best.log_likelihood - held.log_likelihood) - limit

    covariance = back @ inverse(best.expected) @ back.T
    error = float(np.sqrt(row_at(psi) @ covariance @ row_at(psi)) / coef[1])
    try:
        place = outward_root(residual, psi, float(np.sqrt(limit)) * error)
    except ArithmeticError:
        place = None
    upper = size_of(place, scale)
    below = scale == "linear" and place is not None and place < 0.0
    why = BELOW_ZERO if below else TOO_FAR
    return SizeAt(value, size_of(psi, scale), upper, why if upper is None else None)


def curve_at(result: CovariateResult, value: Value, sizes: npt.ArrayLike) -> Array:
    """POD (k,) at each size (k,) and one value of the covariate, from the model size + covariate.

    Raises
    ------
    ValueError : when there is no such model or POD does not rise with size in it, for a value
        that was not tested, or for sizes that have no place on the axis.
    """
    row = result.coding.row_of(value)
    if result.with_covariate.coefficients is None:
        message = f"there is no curve with this covariate: {result.with_covariate.reason}"
        raise ValueError(message)
    coef = np.array(result.with_covariate.coefficients)
    if coef[1] <= 0.0:
        raise ValueError(NO_CURVE["decreasing"])
    a = np.atleast_1d(np.asarray(sizes, dtype=float))
    if not np.all(np.isfinite(a)) or np.any(a < 0.0) or (result.scale == "log" and np.any(a == 0)):
        message = "sizes must be finite and above 0 (0 is allowed on the linear scale)"
        raise ValueError(message)
    x = np.log(a) if result.scale == "log" else a
    return pod_of(result.link, coef[0] + coef[1] * x + float(row @ coef[2:]))
