"""Pooled readings of the same targets: one curve, covariances that know the targets.

Readings of one target are alike, so that the covariance of a pooled fit that takes them as
independent is too small. The sandwich sums the scores of a target before it squares them:
V = B (sum over targets of u u') B, B the inverse expected information, u (k,) the score of a
target. CR0 is that; CR1 multiplies it by G / (G - 1), G the number of targets; CR2 turns the
residuals of a target by (I - H)^(-1/2), H its block of the hat matrix, which takes away the bias
if readings were independent.

Bounds from it are contrasts, not the bound reported: with 60 targets they hold less often than
they say.

Sources: Liang and Zeger 1986, Biometrika 73: 13-22 (CR0); Bell and McCaffrey 2002, Survey
Methodology 28: 169-181 (CR2); from memory. CR0 and CR1 are checked in `tests/published` against
R and statsmodels.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from qualify.pod.contrast import NO_RISE, Contrast
from qualify.pod.links import Array, Indices, LinkName, eta_of, terms
from qualify.pod.observations import size_of
from qualify.pod.problem import BELOW_ZERO, TOO_FAR, Side, normal_quantile
from qualify.pod.regression import (
    SEPARATED,
    in_design,
    maximum,
    problem_of,
    separation_of,
)

LEAST_LEFT = 1e-10  # of 1 - leverage; less and a target by itself fixes a coefficient


@dataclass(frozen=True, slots=True)
class ClusteredFit:
    """A pooled maximum-likelihood fit of k coefficients with covariances by target.

    Attributes
    ----------
    coef : (k,), one a column of the design.
    naive : (k, k), inverse expected information, as if readings were independent.
    cr0, cr1 : (k, k), cluster-robust; cr1 = cr0 * G / (G - 1).
    cr2 : (k, k), or None where one target by itself fixes a coefficient.
    clusters : G, number of targets.
    log_likelihood : of the pooled fit, as if readings were independent, without constants.
    """

    coef: Array
    naive: Array
    cr0: Array
    cr1: Array
    cr2: Array | None
    clusters: int
    log_likelihood: float


def clustered_fit(
    design: npt.ArrayLike,
    hits: npt.ArrayLike,
    clusters: Sequence[Hashable] | npt.NDArray[np.generic],
    link: LinkName,
) -> ClusteredFit:
    """Fit POD = F(design @ coef) to all readings, with covariances clustered by target.

    Parameters
    ----------
    design : (readings, k), with its constant column.
    hits : (readings,), 0 or 1.
    clusters : (readings,), the target of each reading.
    link : `logit`, `probit`, `cloglog` or `loglog`.

    Raises
    ------
    ValueError : as `fit_regression`; for lists of unequal length; for fewer than two targets.
    ArithmeticError : when hits and misses overlap too little for double precision.
    """
    problem = problem_of(design, hits, 1, link)
    group, count = numbered(clusters, len(problem.hits))
    if separation_of(problem) != "overlap":
        raise ValueError(SEPARATED)
    best = maximum(problem)
    fit = in_design(problem, best)
    basis, back = problem.standard.basis, problem.standard.back
    at = terms(link, basis @ best.values)
    bread = back @ np.linalg.inv(best.expected)
    residual = problem.hits * at.hit_slope + problem.misses * at.miss_slope
    scores = _summed(basis * residual[:, None], group, count)
    cr0 = bread @ (scores.T @ scores) @ bread.T
    weight = (problem.hits + problem.misses) * at.expected_weight()
    turned = _turned_scores(basis, residual, weight, group, count)
    return ClusteredFit(
        coef=fit.coef,
        naive=fit.covariance_expected,
        cr0=cr0,
        cr1=cr0 * count / (count - 1),
        cr2=None if turned is None else bread @ (turned.T @ turned) @ bread.T,
        clusters=count,
        log_likelihood=fit.log_likelihood,
    )


def numbered(
    clusters: Sequence[Hashable] | npt.NDArray[np.generic], readings: int
) -> tuple[Indices, int]:
    """Return the number of each reading's target, in order of appearance, and how many there are.

    Raises
    ------
    ValueError : for a list of another length, or fewer than two targets.
    """
    if len(clusters) != readings:
        message = f"{len(clusters)} targets named for {readings} readings; one a reading is wanted"
        raise ValueError(message)
    names: dict[Hashable, int] = {}
    group = np.array([names.setdefault(name, len(names)) for name in clusters], dtype=np.intp)
    if len(names) < 2:
        message = "readings of at least two targets are wanted"
        raise ValueError(message)
    return group, len(names)


def _summed(rows: Array, group: Indices, count: int) -> Array:
    """Sum rows (readings, k) by target: (count, k)."""
    out = np.zeros((count, rows.shape[1]))
    np.add.at(out, group, rows)
    return out


def _turned_scores(
    basis: Array, residual: Array, weight: Array, group: Indices, count: int
) -> Array | None:
    """Scores (count, k) of the targets with the residuals of CR2; None where there are none."""
    root = np.sqrt(np.maximum(weight, np.finfo(float).tiny))
    scaled = basis * root[:, None]
    hat = scaled @ np.linalg.inv(scaled.T @ scaled)
    out = np.empty((count, basis.shape[1]))
    for g in range(count):
        own = np.flatnonzero(group == g)
        left = np.eye(len(own)) - hat[own] @ scaled[own].T
        values, vectors = np.linalg.eigh(0.5 * (left + left.T))
        if values[0] <= LEAST_LEFT:
            return None
        turn = (vectors / np.sqrt(values)) @ vectors.T
        out[g] = scaled[own].T @ (turn @ (residual[own] / root[own]))
    return out


def clustered_size_bound(
    fit: ClusteredFit,
    link: LinkName,
    scale: str,
    *,
    pod: float = 0.9,
    confidence: float = 0.95,
    side: Side = "upper",
) -> Contrast:
    """One-sided Wald bound on the size with POD `pod`, from CR1 and t with G - 1 degrees.

    The fit must have two columns: the constant, then size (`scale` `linear`) or its natural
    logarithm (`log`). A contrast, not the bound reported.

    Raises
    ------
    ValueError : unless the fit has two coefficients.
    """
    if fit.coef.shape != (2,):
        message = "a bound on a size is for a curve of intercept and slope"
        raise ValueError(message)
    normal_quantile(confidence)
    intercept, slope = fit.coef
    if not slope > 0.0:
        return Contrast(None, NO_RISE, "clustered_wald", side)
    psi = float((eta_of(link, pod) - intercept) / slope)
    gradient = np.array([1.0, psi]) / slope
    t = float(stats.t.ppf(confidence, fit.clusters - 1)) * (1.0 if side == "upper" else -1.0)
    place = psi + t * float(np.sqrt(gradient @ fit.cr1 @ gradient))
    size = size_of(place, scale)
    if size is not None:
        return Contrast(size, None, "clustered_wald", side)
    below = scale == "linear" and np.isfinite(place)
    return Contrast(None, BELOW_ZERO if below else TOO_FAR, "clustered_wald", side)
