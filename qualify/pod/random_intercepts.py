"""A curve whose level differs from target to target: typical target and average over targets.

POD of a reading given its target is F(design @ coef + sd u), u standard normal, one a target.
At u = 0 stands the *typical* (median) target. A claim of POD speaks of targets at large: the
average over u, the *marginal* curve, which is flatter; its a90 is larger.

For a held `sd` the log-likelihood is concave in the coefficients (all links are log-concave, and
so are their integrals: Prékopa 1973). So the maximum is sought along `sd`, one figure, and
polished by Newton's method in all.

Source: Stiratelli, Laird and Ware 1984, Biometrics 40: 961-971 (model; from memory). Checked in
`tests/published` against glmer of the R package lme4 with 25 places.
"""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
import numpy.typing as npt
from scipy import optimize, stats

from qualify.pod.clustered import numbered
from qualify.pod.links import Array, Indices, LinkName, eta_of
from qualify.pod.marginal import Grouped, Height, height_at, marginal_pod
from qualify.pod.observations import size_of
from qualify.pod.regression import Solution, maximum, problem_of, separation_of

Spread: TypeAlias = Literal["fitted", "no_spread", "unbounded", "separated"]

NODES = 25
GRID = (0.0, 0.3, 0.7, 1.2, 2.0, 3.5, 6.0, 10.0)  # of sd, in the unit of eta
LEAST_SD = 1e-4
POLISHING = 8
LOGISTIC_VARIANCE = np.pi**2 / 3.0
MAX_STEPS, MAX_HALVINGS = 50, 20
FINE = 1e-8  # of the Newton decrement
FAR_BELOW = 1.0  # of log-likelihood below the best so far: the search along sd ends
ROUNDING = 1e-13

OUTCOME_WORDS: dict[Spread, str] = {
    "fitted": "targets of one size differ in how readily they are found",
    "no_spread": (
        "targets of one size are found alike, as far as these readings show: the spread between "
        "targets is estimated as 0, and typical target and average are the same"
    ),
    "unbounded": (
        "readers agree on nearly every target: the spread between targets has no upper end in "
        "these readings, and a curve with it no estimate"
    ),
    "separated": (
        "hits and misses are separated, so that no finite maximum-likelihood estimate exists"
    ),
}


@dataclass(frozen=True, slots=True)
class RandomInterceptFit:
    """A maximum-likelihood fit with a random intercept of the target.

    Attributes
    ----------
    outcome : `fitted`; `no_spread`, where sd is 0 and the fit is the pooled one; `unbounded` or
        `separated`, where there is none and all figures are None. `OUTCOME_WORDS` tells it.
    coef : (k,), of the typical target, one a column of the design.
    sd : standard deviation between targets, in the unit of eta.
    covariance : (k, k) of the coefficients, from the observed information with sd free (held at
        0 for `no_spread`).
    sd_error : standard error of sd from the same; None for `no_spread`.
    log_likelihood : marginal, without binomial constants.
    spread_lr, spread_p : twice the log-likelihood gained over sd = 0, and its p-value from half
        chi-square with 1 degree (sd = 0 is the end of its range).
    quadrature_change : change in log-likelihood with twice the places: the error of quadrature.
    targets, readings, nodes : numbers of them; nodes are places of quadrature.
    link : of the model.
    """

    outcome: Spread
    coef: Array | None
    sd: float | None
    covariance: Array | None
    sd_error: float | None
    log_likelihood: float | None
    spread_lr: float | None
    spread_p: float | None
    quadrature_change: float | None
    targets: int
    readings: int
    nodes: int
    link: LinkName


def fit_random_intercepts(
    design: npt.ArrayLike,
    hits: npt.ArrayLike,
    trials: npt.ArrayLike,
    clusters: Sequence[Hashable] | npt.NDArray[np.generic],
    link: LinkName,
    *,
    nodes: int = NODES,
) -> RandomInterceptFit:
    """Fit POD = F(design @ coef + sd u) with u of the target, by maximum likelihood.

    Parameters
    ----------
    design : (rows, k), with its constant column.
    hits, trials : (rows,); trials may be one number.
    clusters : (rows,), the target of each row.
    link : `logit`, `probit`, `cloglog` or `loglog`.
    nodes : places of quadrature for a target, 15 or more.

    Raises
    ------
    ValueError : as `fit_regression`, but not for separation; for fewer than two targets or
        fewer than 15 places.
    """
    if nodes < 15:
        message = f"{nodes} places of quadrature are too few; 15 or more are wanted"
        raise ValueError(message)
    problem = problem_of(design, hits, trials, link)
    group, count = numbered(clusters, len(problem.hits))
    size = (count, int((problem.hits + problem.misses).sum()), nodes, link)
    nothing = (None,) * 8
    if separation_of(problem) != "overlap":
        return RandomInterceptFit("separated", *nothing, *size)
    if _unanimous(problem.hits, problem.misses, group, count):
        return RandomInterceptFit("unbounded", *nothing, *size)
    order = np.argsort(group, kind="stable")
    first = np.searchsorted(group[order], np.arange(count))
    basis, found_at, missed_at = problem.standard.basis, problem.hits, problem.misses
    data = Grouped(basis[order], found_at[order], missed_at[order], first, group[order], link)
    pooled = maximum(problem)
    found = _best(data, pooled, nodes)
    if found is None:
        return RandomInterceptFit("unbounded", *nothing, *size)
    values, sd, height = found
    back = problem.standard.back
    k = len(values)
    bend = height.bend if sd > 0.0 else height.bend[:k, :k]
    covariance = np.linalg.inv(-bend)
    gained = max(0.0, 2.0 * (height.value - pooled.log_likelihood)) if sd > 0.0 else 0.0
    finer = height_at(data, values, sd, 2 * nodes)
    return RandomInterceptFit(
        "fitted" if sd > 0.0 else "no_spread",
        back @ values,
        sd,
        back @ covariance[:k, :k] @ back.T,
        float(np.sqrt(covariance[k, k])) if sd > 0.0 else None,
        height.value,
        gained,
        0.5 * float(stats.chi2.sf(gained, 1)) if gained > 0.0 else 1.0,
        abs(finer.value - height.value),
        *size,
    )


def _unanimous(hits: Array, misses: Array, group: Indices, count: int) -> bool:
    """Whether every target was always hit or always missed."""
    found, lost = (np.bincount(group, weights=rows, minlength=count) for rows in (hits, misses))
    return not bool(np.any((found > 0.0) & (lost > 0.0)))


def _held(data: Grouped, start: Array, sd: float, nodes: int) -> tuple[Array, Height]:
    """Maximum over the coefficients with `sd` held; concave, Newton with step halving.

    Stops too where quadrature, less exact at large sd, lets no step along the gradient rise.
    """
    values, k = start.copy(), len(start)
    here = height_at(data, values, sd, nodes)
    for _ in range(MAX_STEPS):
        step = np.asarray(np.linalg.solve(-here.bend[:k, :k], here.gradient[:k]), dtype=float)
        gain = float(step @ here.gradient[:k])
        new = _not_down(data, values, step, sd, here, nodes)
        if new is None:
            break
        risen = new[1].value - here.value
        values, here = new
        if min(gain, risen) <= FINE:
            break
    return values, here


def _not_down(
    data: Grouped, values: Array, step: Array, sd: float, here: Height, nodes: int
) -> tuple[Array, Height] | None:
    """Take the largest of 1, 1/2, 1/4 ... of a step that does not lower the log-likelihood."""
    for halving in range(MAX_HALVINGS):
        there = values + 0.5**halving * step
        new = height_at(data, there, sd, nodes)
        if new.value >= here.value - ROUNDING * (1.0 + abs(here.value)):
            return there, new
    return None


def _best(data: Grouped, pooled: Solution, nodes: int) -> tuple[Array, float, Height] | None:
    """Coefficients, sd and height of the maximum; None where it grows to the end of the grid."""
    along: list[tuple[Array, Height]] = []
    values, before = pooled.values, 0.0
    for sd in GRID:
        values, height = _held(data, values * _steeper(sd) / _steeper(before), sd, nodes)
        before = sd
        along.append((values, height))
        if height.value < max(one.value for _, one in along) - FAR_BELOW:
            break
    best = int(np.argmax([height.value for _, height in along]))
    if best == len(GRID) - 1:
        return None
    low = max(GRID[max(best - 1, 0)], LEAST_SD)
    values = along[best][0]

    def slope(sd: float) -> float:
        nonlocal values
        values, height = _held(data, values, sd, nodes)
        return float(height.gradient[-1])

    if best == 0 and not (_rises_from_zero(along[0][1]) and slope(low) > 0.0):
        return along[0][0], 0.0, along[0][1]
    sd = float(optimize.brentq(slope, low, GRID[best + 1], xtol=1e-3, rtol=1e-3))
    values, height = _held(data, values, sd, nodes)
    polished = _polished(data, values, sd, height, nodes)
    return polished if polished[1] < GRID[-1] else None


def _steeper(sd: float) -> float:
    """About how much steeper the curve of one target is than the average over targets."""
    return float(np.sqrt(1.0 + sd * sd / LOGISTIC_VARIANCE))


def _rises_from_zero(height: Height) -> bool:
    """Whether the log-likelihood, even in sd, rises from sd = 0, by its second derivative."""
    return bool(height.bend[-1, -1] > 0.0)


def _polished(
    data: Grouped, values: Array, sd: float, height: Height, nodes: int
) -> tuple[Array, float, Height]:
    """Newton steps in all parameters at once, near the maximum."""
    for _ in range(POLISHING):
        step = np.linalg.solve(-height.bend, height.gradient)
        gain = float(step @ height.gradient)
        if gain < 0.0 or sd + step[-1] <= 0.0:
            break
        values, sd = values + step[:-1], sd + float(step[-1])
        height = height_at(data, values, sd, nodes)
        if gain < 1e-20:
            break
    return values, sd, height


def typical_size(fit: RandomInterceptFit, pod: float, scale: str) -> float | None:
    """Size with POD `pod` of the typical target; None without a rising curve.

    The fit must have two columns: the constant, then size (`scale` `linear`) or its natural
    logarithm (`log`). ValueError otherwise.
    """
    return _size(fit, float(eta_of(fit.link, pod)), scale)


def average_size(fit: RandomInterceptFit, pod: float, scale: str) -> float | None:
    """Size with POD `pod` averaged over targets; None without a rising curve; as above."""
    if fit.coef is None or fit.sd is None:
        return None
    sd = fit.sd

    def short(eta: float) -> float:
        return float(marginal_pod(fit.link, np.array(eta), sd)) - pod

    middle = float(eta_of(fit.link, pod))
    reach = 10.0 * (1.0 + sd)
    eta = optimize.brentq(short, middle - reach, middle + reach, xtol=1e-13)
    return _size(fit, float(eta), scale)


def _size(fit: RandomInterceptFit, eta: float, scale: str) -> float | None:
    if fit.coef is None:
        return None
    if fit.coef.shape != (2,):
        message = "a size with given POD is for a curve of intercept and slope"
        raise ValueError(message)
    intercept, slope = fit.coef
    return size_of(float((eta - intercept) / slope), scale) if slope > 0.0 else None
