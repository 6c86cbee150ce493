"""The plain numpy form of the engine: the reference that the compiled one is tested against.

Everything is batched: the leading axis counts data sets, the last axis targets. All four
links have concave log-likelihoods, so Newton's method with step halving finds the one
maximum wherever hits and misses overlap. Whether they do is decided beforehand from the data,
in `qualify.pod.outcome`, never from the behaviour of the iteration.

Source: McCullagh and Nelder 1989, section 4.4, with the observed information in place of the
expected one for the steps (from memory; results checked in `tests/published`). The reported
covariance is the inverse EXPECTED (Fisher) information.
"""

import numpy as np
import numpy.typing as npt

from qualify.pod.engine import CurveFits, ThroughFits
from qualify.pod.links import Array, LinkName, eta_of, log_likelihood, terms

MAX_STEPS = 100
MAX_HALVINGS = 60
STEP_TOLERANCE = 1e-10  # relative; the step is still taken, so the error left is its square
DECREMENT_TOLERANCE = 1e-12
REACH = 1e8  # most that a step may move any eta, a guard against overflow
LEAST_INFORMATION = 1e-100
ROUNDING = 1e-13  # relative slack when two log-likelihoods are compared


def _batch(x: Array, hits: Array, trials: Array) -> tuple[Array, Array, Array]:
    """Sizes, hits and misses, each broadcast to (sets, targets)."""
    x, hits, trials = np.broadcast_arrays(np.atleast_2d(x), np.atleast_2d(hits), trials)
    return x.astype(float), hits.astype(float), (trials - hits).astype(float)


def _information(design: Array, weights: Array) -> Array:
    """Sum of weight * design design'; design (parameters, sets, targets) -> (sets, k, k)."""
    return np.asarray(np.einsum("jsn,sn,ksn->sjk", design, weights, design))


def _newton_step(information: Array, score: Array) -> Array:
    """Solve information * step = score for one or two parameters; (sets, k)."""
    if score.shape[1] == 1:
        return np.asarray(score / np.maximum(information[:, 0, :], LEAST_INFORMATION))
    a, b, d = information[:, 0, 0], information[:, 0, 1], information[:, 1, 1]
    determinant = np.maximum(a * d - b * b, LEAST_INFORMATION)
    first = (d * score[:, 0] - b * score[:, 1]) / determinant
    second = (a * score[:, 1] - b * score[:, 0]) / determinant
    return np.stack([first, second], axis=1)


def _climb(
    design: Array, offset: Array, hits: Array, misses: Array, link: LinkName, start: Array
) -> tuple[Array, Array, npt.NDArray[np.bool_]]:
    """Newton with step halving. design (k, sets, targets), start (sets, k).

    Returns parameters (sets, k), log-likelihoods (sets,) and which sets converged.
    """
    values = start.copy()
    heights = log_likelihood(link, offset + np.einsum("jsn,sj->sn", design, values), hits, misses)
    done = np.zeros(len(values), dtype=bool)
    for _ in range(MAX_STEPS):
        (todo,) = np.nonzero(~done)
        if todo.size == 0:
            break
        part = (design[:, todo], offset[todo], hits[todo], misses[todo])
        eta = part[1] + np.einsum("jsn,sj->sn", part[0], values[todo])
        at = terms(link, eta)
        pull = part[2] * at.hit_slope + part[3] * at.miss_slope
        bend = -(part[2] * at.hit_bend + part[3] * at.miss_bend)
        score = np.einsum("jsn,sn->sj", part[0], pull)
        step = _newton_step(_information(part[0], bend), score)
        moved = np.abs(np.einsum("jsn,sj->sn", part[0], step)).max(axis=1)
        step *= np.minimum(1.0, REACH / np.maximum(moved, REACH))[:, None]
        new, height = _halve(part, link, values[todo], heights[todo], step)
        values[todo], heights[todo] = new, height
        small_step = np.all(np.abs(step) <= STEP_TOLERANCE * (1.0 + np.abs(new)), axis=1)
        small_gain = np.abs((score * step).sum(axis=1)) <= DECREMENT_TOLERANCE
        done[todo] = small_step & small_gain
    return values, heights, done


def _halve(
    part: tuple[Array, Array, Array, Array],
    link: LinkName,
    values: Array,
    heights: Array,
    step: Array,
) -> tuple[Array, Array]:
    """Take each step, halved until the log-likelihood does not fall; (sets, k) and (sets,)."""
    design, offset, hits, misses = part
    factor = np.ones(len(values))
    slack = ROUNDING * (1.0 + np.abs(heights))
    reached = heights.copy()
    todo = np.arange(len(values))
    for _ in range(MAX_HALVINGS):
        trial = values[todo] + factor[todo, None] * step[todo]
        eta = offset[todo] + np.einsum("jsn,sj->sn", design[:, todo], trial)
        reached[todo] = log_likelihood(link, eta, hits[todo], misses[todo])
        todo = todo[~(reached[todo] >= heights[todo] - slack[todo])]
        if todo.size == 0:
            break
        factor[todo] *= 0.5
    factor[todo] = 0.0
    reached[todo] = heights[todo]
    return values + factor[:, None] * step, reached


def fit_curves(x: Array, hits: Array, trials: Array | float, link: LinkName) -> CurveFits:
    """Fit eta = intercept + slope * x to each data set by maximum likelihood.

    Parameters
    ----------
    x : (targets,) or (sets, targets), size or its logarithm.
    hits : (targets,) or (sets, targets).
    trials : opportunities behind each number of hits; a scalar or as `hits`.

    Returns
    -------
    CurveFits : in the coordinates of `x`; the iteration runs in centred and scaled ones.
    """
    x, hits, misses = _batch(x, hits, np.asarray(trials, dtype=float))
    weight = hits + misses
    total = weight.sum(axis=1)
    centre = (weight * x).sum(axis=1) / total
    scale = np.sqrt((weight * (x - centre[:, None]) ** 2).sum(axis=1) / total)
    scale = np.where(scale > 0.0, scale, 1.0)
    t = (x - centre[:, None]) / scale[:, None]
    design = np.stack([np.ones_like(t), t])
    start = np.zeros((len(t), 2))
    start[:, 0] = eta_of(link, (hits.sum(axis=1) + 0.5) / (total + 1.0))
    values, heights, done = _climb(design, np.zeros_like(t), hits, misses, link, start)
    at = terms(link, np.einsum("jsn,sj->sn", design, values))
    score = np.einsum("jsn,sn->sj", design, hits * at.hit_slope + misses * at.miss_slope)
    # theta = (intercept, slope) of x; values = forward theta, so information goes back by it
    forward = np.zeros((len(t), 2, 2))
    forward[:, 0, 0], forward[:, 0, 1], forward[:, 1, 1] = 1.0, centre, scale
    turned = np.swapaxes(forward, 1, 2)
    bend = -(hits * at.hit_bend + misses * at.miss_bend)
    return CurveFits(
        intercept=values[:, 0] - values[:, 1] * centre / scale,
        slope=values[:, 1] / scale,
        log_likelihood=heights,
        expected_information=turned @ _information(design, weight * at.expected_weight()) @ forward,
        observed_information=turned @ _information(design, bend) @ forward,
        score=score,
        converged=done,
    )


def fit_through(
    x: Array, hits: Array, trials: Array | float, link: LinkName, psi: Array, level: Array
) -> ThroughFits:
    """Fit only the slope, with eta held at `level` where x = `psi`: the profile for a size.

    Parameters
    ----------
    x, hits, trials : as in `fit_curves`; best centred and scaled by the caller.
    psi, level : (sets,), where the curve is held and at which link value.

    Returns
    -------
    ThroughFits : (sets,) each.
    """
    x, hits, misses = _batch(x, hits, np.asarray(trials, dtype=float))
    psi, level = np.atleast_1d(psi).astype(float), np.atleast_1d(level).astype(float)
    sets = max(len(x), len(psi), len(level))
    psi, level = np.broadcast_to(psi, sets), np.broadcast_to(level, sets)
    x, hits, misses = (np.broadcast_to(a, (sets, x.shape[1])) for a in (x, hits, misses))
    reach = np.maximum(1.0, np.abs(psi))
    away = x / reach[:, None] - (psi / reach)[:, None]  # (x - psi) / reach, exact for far psi
    offset = np.broadcast_to(level[:, None], away.shape)
    # start as near as one slope can bring the curve to the flat model
    total = (hits + misses).sum(axis=1)
    flat = eta_of(link, (hits.sum(axis=1) + 0.5) / (total + 1.0))
    start = (flat - level) * away.mean(axis=1) / np.maximum((away**2).mean(axis=1), 1e-300)
    values, heights, done = _climb(away[None], offset, hits, misses, link, start[:, None])
    return ThroughFits(values[:, 0] / reach, heights, done)
