"""The penalised likelihood of Firth and its maximum, free or with one combination held.

Firth's penalty is half the log determinant of the information. With a parameter held the penalty
stays that of the FULL information. Public questions stand in `qualify.pod.firth`, sources too.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from qualify.pod.design import (
    Plane,
    Standardised,
    checked_counts,
    inverse,
    onto,
    outward_root,
    plane,
    standardise,
)
from qualify.pod.links import Array, terms

MAX_STEPS = 500
MAX_HALVINGS = 60
STEP_TOLERANCE = 1e-8  # relative; the step is still taken, so the error left is its square
DECREMENT_TOLERANCE = 1e-13
REACH = 20.0  # most that a step may move any eta: far out the information vanishes
ROUNDING = 1e-14  # relative slack when two penalised log-likelihoods are compared


@dataclass(frozen=True, slots=True)
class Penalised:
    """Data of a penalised fit in orthogonal columns; hits, misses (rows,)."""

    standard: Standardised
    hits: Array
    misses: Array


@dataclass(frozen=True, slots=True)
class State:
    """Penalised likelihood at coefficients `values` (k,) of the basis, with derivatives there.

    Attributes
    ----------
    height : penalised log-likelihood, in the basis; minus infinity where the information is 0.
    log_likelihood : the part without penalty.
    information : (k, k), of the likelihood alone.
    score : (k,), of the penalised likelihood.
    """

    values: Array
    height: float
    log_likelihood: float
    information: Array
    score: Array


def penalised_of(design: npt.ArrayLike, hits: npt.ArrayLike, trials: npt.ArrayLike) -> Penalised:
    """Check data and design (rows, k); raises ValueError as `fit_firth` does."""
    standard = standardise(design)
    return Penalised(standard, *checked_counts(hits, trials, len(standard.basis)))


def _height(data: Penalised, values: Array) -> tuple[float, float, Array]:
    """Penalised and plain log-likelihood and the information (k, k) at `values` (k,)."""
    basis = data.standard.basis
    at = terms("logit", basis @ values)
    plain = float((data.hits * at.log_hit + data.misses * at.log_miss).sum())
    weight = (data.hits + data.misses) * at.expected_weight()
    information = basis.T @ (weight[:, None] * basis)
    sign, log_det = np.linalg.slogdet(information)
    return (plain + 0.5 * float(log_det) if sign > 0 else -np.inf), plain, information


def _derivatives(data: Penalised, values: Array, information: Array) -> tuple[Array, Array]:
    """Penalised score (k,) and minus its second derivative (k, k).

    Firth's score is sum x (hits - trials POD + h (1/2 - POD)), h the diagonal of the hat matrix.
    The second derivative of half a log determinant is half of
    tr(A^-1 A_jk) - tr(A^-1 A_j A^-1 A_k), with A the information and A_j its derivatives.
    """
    basis = data.standard.basis
    at = terms("logit", basis @ values)
    pod, rest = -at.miss_slope, at.hit_slope
    weight = (data.hits + data.misses) * pod * rest
    covariance = inverse(information)
    leverage = np.einsum("ij,jk,ik->i", basis, covariance, basis)
    hat = weight * leverage
    score = basis.T @ (data.hits * rest - data.misses * pod + hat * (rest - pod) / 2.0)
    first = np.einsum("i,ij,ik,il->jkl", weight * (rest - pod), basis, basis, basis)
    turned = np.einsum("ab,jbc->jac", covariance, first)
    second = basis.T @ ((hat * (1.0 - 6.0 * pod * rest))[:, None] * basis)
    bend = information - 0.5 * second + 0.5 * np.einsum("jab,kba->jk", turned, turned)
    return score, bend


def _step(bend: Array, information: Array, score: Array) -> Array:
    """Newton step where the penalised likelihood is concave, else a scoring step."""
    try:
        np.linalg.cholesky(bend)
    except np.linalg.LinAlgError:
        return np.asarray(np.linalg.solve(information, score))
    return np.asarray(np.linalg.solve(bend, score))


def _share_of_step(data: Penalised, values: Array, step: Array, height: float) -> float:
    """Largest of 1, 1/2, 1/4 ... of the step that does not lower the penalised likelihood."""
    share = 1.0
    for _ in range(MAX_HALVINGS):
        if _height(data, values + share * step)[0] >= height - ROUNDING * (1.0 + abs(height)):
            return share
        share *= 0.5
    return 0.0


def _climb(data: Penalised, held: Plane, start: Array) -> State:
    """Maximise over held.origin + held.directions @ free; start (free,).

    Raises
    ------
    ArithmeticError : when the iteration does not converge.
    """
    along, values = held.directions, held.origin + held.directions @ start
    reached = False
    for _ in range(MAX_STEPS):
        height, plain, information = _height(data, values)
        if not np.isfinite(height):
            break
        score, bend = _derivatives(data, values, information)
        pull = along.T @ score
        if reached:
            return State(values, height, plain, information, pull)
        free_step = _step(along.T @ bend @ along, along.T @ information @ along, pull)
        step = along @ free_step
        moved = float(np.abs(data.standard.basis @ step).max())
        step *= min(1.0, REACH / max(moved, REACH))
        small = np.all(np.abs(step) <= STEP_TOLERANCE * (1.0 + np.abs(values)))
        reached = bool(small) and abs(float(pull @ free_step)) <= DECREMENT_TOLERANCE
        values = values + step * (1.0 if reached else _share_of_step(data, values, step, height))
    message = "the penalised fit did not converge"
    raise ArithmeticError(message)


def free_maximum(data: Penalised) -> State:
    """Return the penalised maximum over all coefficients."""
    k = data.standard.basis.shape[1]
    return _climb(data, Plane(np.zeros(k), np.eye(k)), np.zeros(k))


def held_maximum(data: Penalised, near: State, row: Array, value: float) -> State:
    """Penalised maximum with row . coef held at `value`; row (k,) in the columns of the design.

    The search starts from the state `near`.
    """
    across = data.standard.back.T @ row
    held = plane(across, value)
    start = onto(near.values, inverse(near.information), across, value)
    return _climb(data, held, held.free_of(start))


def drop(best: State, held: State) -> float:
    """Penalised likelihood-ratio statistic: twice the height lost by holding."""
    return max(0.0, 2.0 * (best.height - held.height))


def profile_root(
    data: Penalised,
    best: State,
    held_at: Callable[[float], tuple[Array, float]],
    around: tuple[float, float],
    limit: float,
) -> float | None:
    """Place where the penalised likelihood-ratio statistic reaches `limit`; None where it does not.

    `held_at` turns a place into the row and the value held there; `around` holds the place of the
    estimate and the first step away from it. Each search starts from the one before.
    """
    near = best

    def residual(place: float) -> float:
        nonlocal near
        near = held_maximum(data, near, *held_at(place))
        return drop(best, near) - limit

    try:
        return outward_root(residual, *around)
    except ArithmeticError:
        return None
