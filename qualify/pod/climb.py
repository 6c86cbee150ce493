"""Highest point of many likelihoods at once, each in a box of its parameters.

Newton's method on the observed information, projected on the box, and damped Fisher scoring where
that information is not positive or a step does not climb.

Sources: projected Newton, Bertsekas 1982, SIAM Journal on Control and Optimization 20, 221-246;
damping, Marquardt 1963, SIAM Journal 11, 431-441 (both from memory). Results are checked against
R and against a general minimiser of scipy in `tests/`.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from qualify.pod.links import Array, Flags, Indices

# log-likelihood (sets,), gradient (sets, k), observed and expected information (sets, k, k)
Local: TypeAlias = tuple[Array, Array, Array, Array]
Likelihood: TypeAlias = Callable[[Array, Indices], Local]  # of values (sets, k) and set numbers

MAX_STEPS = 60
GAIN_TOLERANCE = 1e-10  # of the log-likelihood a step promises; the step is still taken
ROUNDING = 1e-13
LEAST_INFORMATION = 1e-12
LEAST_PIVOT = 1e-10  # of a matrix scaled to a diagonal near 1
RIDGE = 1e-12
FIRST_DAMPING, LEAST_DAMPING, MOST_DAMPING = 1e-2, 1e-3, 1e8


@dataclass(frozen=True, slots=True)
class Climbed:
    """Where the climb ended: values (sets, parameters), height and converged (sets,)."""

    values: Array
    height: Array
    converged: npt.NDArray[np.bool_]


def _factored(matrix: Array, right: Array) -> tuple[Array, Flags]:
    """Solve matrix x = right by L D L' for each set; also whether every pivot was positive.

    matrix (sets, k, k), right (sets, k). A pivot that is not counts as 1, so that x still climbs.
    """
    k = right.shape[1]
    left, x = matrix.copy(), right.copy()
    sound, pivots = np.ones(len(right), dtype=bool), np.empty_like(right)
    for j in range(k):
        good = left[:, j, j] > LEAST_PIVOT
        sound &= good
        pivots[:, j] = np.where(good, left[:, j, j], 1.0)
        factors = left[:, j + 1 :, j] / pivots[:, j, None]
        left[:, j + 1 :, j + 1 :] -= factors[:, :, None] * left[:, None, j + 1 :, j]
        x[:, j + 1 :] -= factors * x[:, j, None]
        left[:, j + 1 :, j] = factors
    x /= pivots
    for j in range(k - 2, -1, -1):
        x[:, j] -= (left[:, j + 1 :, j] * x[:, j + 1 :]).sum(axis=1)
    return x, sound


def _solve(
    grad: Array, matrix: Array, scale: Array, damping: Array, free: Flags
) -> tuple[Array, Flags]:
    """Step (sets, k) that solves (matrix + damping diag) step = grad, 0 where not free."""
    scaled = matrix / (scale[:, :, None] * scale[:, None, :])
    scaled = np.where(free[:, :, None] & free[:, None, :], scaled, 0.0)
    index = np.arange(grad.shape[1])
    scaled[:, index, index] += np.where(free, (damping + RIDGE)[:, None], 1.0)
    step, sound = _factored(scaled, np.where(free, grad / scale, 0.0))
    return step / scale, sound


def _direction(local: Local, damping: Array, free: Flags) -> tuple[Array, Array]:
    """Newton step, or a damped scoring step where Newton's is unsound; step and damping."""
    _, grad, observed, expected = local
    diagonal = np.einsum("sjj->sj", expected)
    scale = np.sqrt(np.maximum(diagonal, LEAST_INFORMATION))
    newton = damping == 0.0
    matrix = np.where(newton[:, None, None], observed, expected)
    step, sound = _solve(grad, matrix, scale, damping, free)
    wrong = newton & ~sound
    if wrong.any():
        damping = np.where(wrong, FIRST_DAMPING, damping)
        step[wrong] = _solve(
            grad[wrong], expected[wrong], scale[wrong], damping[wrong], free[wrong]
        )[0]
    return step, damping


def climb(likelihood: Likelihood, start: Array, lower: Array, upper: Array) -> Climbed:
    """Highest likelihood in a box, from `start` (sets, k); `lower`, `upper` as `start`."""
    values = np.clip(start, lower, upper)
    local = likelihood(values, np.arange(len(values)))
    todo = np.arange(len(values))
    heights, damping, done = local[0].copy(), np.zeros(len(values)), np.zeros(len(values), bool)
    for _ in range(MAX_STEPS):
        here, low, high, grad = values[todo], lower[todo], upper[todo], local[1]
        outward = ((here <= low) & (grad <= 0.0)) | ((here >= high) & (grad >= 0.0))
        step, pressed = _direction(local, damping[todo], ~outward)
        new = np.clip(here + step, low, high)
        there = likelihood(new, todo)
        better = there[0] >= local[0] - ROUNDING * (1.0 + np.abs(local[0]))
        local = there if better.all() else _mixed(better, there, local)
        values[todo] = np.where(better[:, None], new, here)
        heights[todo] = local[0]
        small = np.abs((grad * step).sum(axis=1)) <= GAIN_TOLERANCE
        eased = np.where(pressed <= LEAST_DAMPING, 0.0, pressed / 10.0)
        damping[todo] = np.where(better, eased, np.maximum(10.0 * pressed, FIRST_DAMPING))
        done[todo] = ended = small | (damping[todo] > MOST_DAMPING)
        if ended.all():
            break
        if ended.any():
            todo = todo[~ended]
            local = (local[0][~ended], local[1][~ended], local[2][~ended], local[3][~ended])
    return Climbed(values, heights, done)


def _mixed(better: Flags, there: Local, here: Local) -> Local:
    """Each set at the new point where that is better, else where it was."""
    matrix = better[:, None, None]
    return (
        np.where(better, there[0], here[0]),
        np.where(better[:, None], there[1], here[1]),
        np.where(matrix, there[2], here[2]),
        np.where(matrix, there[3], here[3]),
    )
