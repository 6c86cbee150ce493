"""Binary regression with any number of coefficients, for all four links, with a separation test.

POD = F(design @ coef). The log-likelihood is concave for all four links, so Newton's method with
step halving finds its one maximum wherever hits and misses overlap. Whether they do is decided
beforehand by linear programming, never from the behaviour of the iteration.

Sources: McCullagh and Nelder 1989, section 4.4; Albert and Anderson 1984, Biometrika 71, 1-10,
for overlap and separation; Konis 2007, Linear programming algorithms for detecting separated
data in binary logistic regression models (thesis, Oxford), for the linear programme. All from
memory; results are checked in `tests/published` against fits made in R.
"""

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import optimize

from qualify.pod.design import Standardised, checked_counts, inverse, onto, plane, standardise
from qualify.pod.links import Array, LinkName, eta_of, terms

Separation: TypeAlias = Literal["overlap", "separated", "quasi_separated"]

MAX_STEPS = 200
MAX_HALVINGS = 60
STEP_TOLERANCE = 1e-8  # relative; the step is still taken, so the error left is its square
DECREMENT_TOLERANCE = 1e-13
REACH = 1e4  # most that a step may move any eta, a guard against overflow
ROUNDING = 1e-14  # relative slack when two log-likelihoods are compared
LEAST_GAP = 1e-6  # of standardised eta, ten times what the linear programme leaves open

SEPARATED = (
    "hits and misses are separated by a combination of the columns, so that no finite "
    "maximum-likelihood estimate exists"
)


@dataclass(frozen=True, slots=True)
class RegressionFit:
    """A maximum-likelihood fit of k coefficients; always finite.

    Attributes
    ----------
    coef : (k,), one a column of the design.
    covariance_expected : (k, k), inverse Fisher information.
    covariance_observed : (k, k), inverse of minus the second derivative; the same for the logit.
    log_likelihood : without binomial constants.
    score : largest absolute derivative at the solution, in orthogonal columns of mean square 1.
    converged : whether the last step was below tolerance.
    """

    coef: Array
    covariance_expected: Array
    covariance_observed: Array
    log_likelihood: float
    score: float
    converged: bool


@dataclass(frozen=True, slots=True)
class Problem:
    """Data and link of a regression in orthogonal columns; hits, misses (rows,)."""

    standard: Standardised
    hits: Array
    misses: Array
    link: LinkName


@dataclass(frozen=True, slots=True)
class Solution:
    """Where the iteration stopped: coefficients (k,) of the basis, and the state there."""

    values: Array
    log_likelihood: float
    expected: Array
    observed: Array
    score: float
    converged: bool


def problem_of(
    design: npt.ArrayLike, hits: npt.ArrayLike, trials: npt.ArrayLike, link: LinkName
) -> Problem:
    """Check data and design (rows, k); raises ValueError as `fit_regression` does."""
    standard = standardise(design)
    found, missed = checked_counts(hits, trials, len(standard.basis))
    return Problem(standard, found, missed, link)


def separation_of(problem: Problem) -> Separation:
    """Decide whether a maximum-likelihood estimate exists, by linear programming.

    A direction b separates when design @ b is never negative at a hit and never positive at a
    miss. Columns are orthogonal with mean square 1 and no |b| exceeds 1, so the sum of
    |design @ b| is 0 when nothing separates and at least sqrt(rows) when something does: one
    half decides. An overlap below about 1e-7 of a standard deviation counts as none.
    """
    basis = problem.standard.basis
    k = basis.shape[1]
    signed = np.vstack([basis[problem.hits > 0], -basis[problem.misses > 0]])
    box = [(-1.0, 1.0)] * k
    zero = np.zeros(len(signed))
    first = optimize.linprog(-signed.sum(axis=0), A_ub=-signed, b_ub=zero, bounds=box)
    if _optimum(first) <= 0.5:
        return "overlap"
    # complete separation: a direction with design @ b above one gap at every row
    wider = np.hstack([-signed, np.ones((len(signed), 1))])
    aim = np.zeros(k + 1)
    aim[-1] = -1.0
    second = optimize.linprog(aim, A_ub=wider, b_ub=zero, bounds=[*box, (0.0, None)])
    return "separated" if _optimum(second) > LEAST_GAP else "quasi_separated"


def _optimum(result: optimize.OptimizeResult) -> float:
    """Return the maximum of a programme that always has the solution 0."""
    if result.status != 0:
        message = f"the separation test did not finish: {result.message}"
        raise ArithmeticError(message)
    return -float(result.fun)


def separation(design: npt.ArrayLike, hits: npt.ArrayLike, trials: npt.ArrayLike = 1) -> Separation:
    """Say whether hits and misses overlap in the space of the columns.

    Parameters
    ----------
    design : (rows, k), with its constant column.
    hits, trials : (rows,); trials may be one number.

    Returns
    -------
    `overlap`, where an estimate exists for every link; `separated`, where a combination of the
    columns tells every hit from every miss; `quasi_separated`, where it does so but for rows on
    the border.

    Raises
    ------
    ValueError : as `fit_regression`, but not for separation.
    """
    return separation_of(problem_of(design, hits, trials, "logit"))


def _start(problem: Problem) -> Array:
    """Return least squares on smoothed link values (k,)."""
    share = (problem.hits + 0.5) / (problem.hits + problem.misses + 1.0)
    return np.asarray(problem.standard.basis.T @ eta_of(problem.link, share) / len(share))


def _information(design: Array, weights: Array) -> Array:
    return np.asarray(design.T @ (weights[:, None] * design))


def _newton_step(information: Array, score: Array) -> Array:
    """Solve information @ step = score; a little is added where the information is singular."""
    try:
        return np.asarray(np.linalg.solve(information, score))
    except np.linalg.LinAlgError:
        ridge = max(float(np.trace(information)), 1e-100) * 1e-8
        return np.asarray(np.linalg.solve(information + ridge * np.eye(len(score)), score))


def _climb(problem: Problem, design: Array, offset: Array, start: Array) -> tuple[Array, bool]:
    """Newton with step halving on eta = offset + design @ free; (k,) and whether it converged."""
    free = start.copy()
    for _ in range(MAX_STEPS):
        at = terms(problem.link, offset + design @ free)
        score = design.T @ (problem.hits * at.hit_slope + problem.misses * at.miss_slope)
        bend = -(problem.hits * at.hit_bend + problem.misses * at.miss_bend)
        step = _newton_step(_information(design, bend), score)
        moved = float(np.abs(design @ step).max(initial=0.0))
        step *= min(1.0, REACH / max(moved, REACH))
        height = float((problem.hits * at.log_hit + problem.misses * at.log_miss).sum())
        free = free + step * _share_of_step(problem, design, offset + design @ free, step, height)
        small = np.all(np.abs(step) <= STEP_TOLERANCE * (1.0 + np.abs(free)))
        if small and abs(float(score @ step)) <= DECREMENT_TOLERANCE:
            return free, True
    return free, False


def _share_of_step(
    problem: Problem, design: Array, eta: Array, step: Array, height: float
) -> float:
    """Largest of 1, 1/2, 1/4 ... of the step that does not lower the log-likelihood."""
    share = 1.0
    for _ in range(MAX_HALVINGS):
        at = terms(problem.link, eta + share * (design @ step))
        reached = float((problem.hits * at.log_hit + problem.misses * at.log_miss).sum())
        if reached >= height - ROUNDING * (1.0 + abs(height)):
            return share
        share *= 0.5
    return 0.0


def _solution(problem: Problem, values: Array, design: Array, converged: bool) -> Solution:
    """State at `values`; the score along the free columns `design`."""
    basis, hits, misses = problem.standard.basis, problem.hits, problem.misses
    at = terms(problem.link, basis @ values)
    score = design.T @ (hits * at.hit_slope + misses * at.miss_slope)
    return Solution(
        values=values,
        log_likelihood=float((hits * at.log_hit + misses * at.log_miss).sum()),
        expected=_information(basis, (hits + misses) * at.expected_weight()),
        observed=_information(basis, -(hits * at.hit_bend + misses * at.miss_bend)),
        score=float(np.abs(score).max(initial=0.0)),
        converged=converged,
    )


def maximum(problem: Problem) -> Solution:
    """Return the maximum-likelihood estimate of data that are known to overlap."""
    basis = problem.standard.basis
    values, converged = _climb(problem, basis, np.zeros(len(basis)), _start(problem))
    return _solution(problem, values, basis, converged)


def maximum_held(problem: Problem, best: Solution, row: Array, value: float) -> Solution:
    """Maximum with row . coef held at `value`; row (k,) in the columns of the design.

    `best` is the free maximum, from which the search starts.

    Raises
    ------
    ArithmeticError : when the iteration does not converge, which overlap rules out.
    """
    basis, across = problem.standard.basis, problem.standard.back.T @ row
    held = plane(across, value)
    near = onto(best.values, inverse(best.expected), across, value)
    free_columns = basis @ held.directions
    free, converged = _climb(problem, free_columns, basis @ held.origin, held.free_of(near))
    if not converged:
        message = "a held fit did not converge although hits and misses overlap"
        raise ArithmeticError(message)
    return _solution(problem, held.origin + held.directions @ free, free_columns, converged)


def in_design(problem: Problem, best: Solution) -> RegressionFit:
    """Coefficients and covariances of a solution in the columns of the design.

    Raises
    ------
    ArithmeticError : when the information is singular in double precision.
    """
    back = problem.standard.back
    try:
        expected, observed = inverse(best.expected), inverse(best.observed)
    except np.linalg.LinAlgError as fault:
        message = "hits and misses overlap too little for a covariance of the coefficients"
        raise ArithmeticError(message) from fault
    return RegressionFit(
        coef=back @ best.values,
        covariance_expected=back @ expected @ back.T,
        covariance_observed=back @ observed @ back.T,
        log_likelihood=best.log_likelihood,
        score=best.score,
        converged=best.converged,
    )


def fit_regression(
    design: npt.ArrayLike, hits: npt.ArrayLike, trials: npt.ArrayLike, link: LinkName
) -> RegressionFit:
    """Fit POD = F(design @ coef) by maximum likelihood.

    Parameters
    ----------
    design : (rows, k), with its constant column; needs no centring or scaling.
    hits, trials : (rows,); trials may be one number.
    link : `logit`, `probit`, `cloglog` or `loglog`.

    Raises
    ------
    ValueError : for a rank-deficient design, hits outside 0..trials, lists of unequal length,
        or data that are separated, where no finite estimate exists.
    ArithmeticError : when the overlap is too small for double precision.
    """
    problem = problem_of(design, hits, trials, link)
    if separation_of(problem) != "overlap":
        raise ValueError(SEPARATED)
    return in_design(problem, maximum(problem))
