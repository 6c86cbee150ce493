"""Scatter of responses about their line, censored as it is: the tail that decides a90.

The distribution of standardised residuals is estimated without a law, by self-consistency
(Turnbull 1974, Journal of the American Statistical Association 69, 169-173; from memory; equal to
the product-limit estimate with one-sided censoring, tested), and held against the normal law by a
weighted distance whose p comes from simulation of trials with normal scatter, refitted each.
"""

import math
from dataclasses import dataclass

import numpy as np
from scipy import special

from qualify.pod.links import Array, Indices
from qualify.pod.observations import size_of
from qualify.pod.response_curve import ResponseCurve
from qualify.pod.response_kernels import Codes
from qualify.pod.response_simulation import FEWEST_EXACT, refit, stream

TAIL = -0.5  # residuals below decide where POD is 0.90: its tenth percentile is at -1.28
SIMULATIONS = 499
ROUNDS = 400
POD = 0.9


@dataclass(frozen=True, slots=True)
class Scatter:
    """Residuals against the normal law.

    Attributes
    ----------
    residuals : (exact rows,), standardised, rising.
    order : (exact rows,), their rows.
    scores : (exact rows,), normal scores of their estimated distribution.
    low, high : (exact rows,), simulated pointwise 95 % band of ordered residuals; nan where the
        number of exact rows varies too much to tell.
    distance, p_value : weighted distance to the normal law, and its p.
    tail_distance, tail_p_value : the same of the lower tail alone.
    tenth : estimated tenth percentile without a law, None where censoring hides it.
    a90 : size at which the line lies that far above the threshold, None where it does not exist.
    simulations : behind p.
    """

    residuals: Array
    order: Indices
    scores: Array
    low: Array
    high: Array
    distance: float
    p_value: float
    tail_distance: float
    tail_p_value: float
    tenth: float | None
    a90: float | None
    simulations: int


def residuals_of(curve: ResponseCurve) -> Array:
    """Standardised residuals (rows,); where a row is censored, that of its limit."""
    data = curve.data
    z = curve.theta * data.y - curve.level - curve.slope * data.t
    return np.asarray(z * np.exp(-curve.growth * data.t))


def self_consistent(z: Array, code: Codes) -> tuple[Array, Array]:
    """Exact residuals, rising, and their shares; mass outside all of them is not given.

    A left-censored row shares its mass among exact residuals at or below it, a right-censored one
    among those at or above it; without any it keeps its own mass.
    """
    points = np.sort(z[code == 0])
    left, right = z[code < 0], z[code > 0]
    share = np.full(points.size, 1.0 / z.size)
    below = points[None, :] <= left[:, None]
    above = points[None, :] >= right[:, None]
    reach = np.vstack([below, above]).astype(float)
    reach = reach[reach.any(axis=1)]
    for _ in range(ROUNDS):
        mass = reach @ share
        new = (1.0 + (reach / mass[:, None]).T.sum(axis=1) * share) / z.size
        moved = float(np.max(np.abs(new - share)))
        share = new
        if moved < 1e-9:
            break
    return points, share


def _heights(z: Array, code: Codes) -> tuple[Array, Array]:
    """Exact residuals, rising, and the distribution at the middle of each one's step."""
    points, share = self_consistent(z, code)
    hidden = float(np.sum(z[code < 0] < points[0])) / z.size  # mass below every exact residual
    return points, hidden + np.cumsum(share) - 0.5 * share


def distances(z: Array, code: Codes) -> tuple[float, float]:
    """Weighted mean square distance to the normal law: of all exact residuals, of the tail."""
    points, height = _heights(z, code)
    law = np.clip(special.ndtr(points), 1e-9, 1.0 - 1e-9)
    each = (height - law) ** 2 / (law * (1.0 - law))
    tail = each[points < TAIL]
    return float(each.sum()), float(tail.sum())


def scatter_of(curve: ResponseCurve, *, seed: int = 1, simulations: int = SIMULATIONS) -> Scatter:
    """Return residuals against the normal law; p by simulated trials with normal scatter."""
    data = curve.data
    z = residuals_of(curve)
    points, height = _heights(z, data.code)
    whole, tail = distances(z, data.code)
    drawn = [d for d in (_drawn(curve, k, seed) for k in range(simulations)) if d is not None]
    wholes, tails = (np.array([d[i] for d in drawn]) for i in (0, 1))
    order = np.flatnonzero(data.exact)[np.argsort(z[data.exact], kind="stable")]
    scores = special.ndtri(np.clip(height, 1e-9, 1.0 - 1e-9))
    low, high = _band(scores, [d[2] for d in drawn])
    tenth = _tenth(z, data.code)
    return Scatter(
        residuals=points,
        order=order,
        scores=np.asarray(scores),
        low=low,
        high=high,
        distance=whole,
        p_value=float((np.sum(wholes >= whole) + 1) / (len(drawn) + 1)),
        tail_distance=tail,
        tail_p_value=float((np.sum(tails >= tail) + 1) / (len(drawn) + 1)),
        tenth=tenth,
        a90=None if tenth is None else _size_where(curve, tenth),
        simulations=len(drawn),
    )


def _drawn(
    curve: ResponseCurve, trial: int, seed: int
) -> tuple[float, float, tuple[Array, Array]] | None:
    """Distances of a trial simulated from the line and fitted anew, and its normal scores."""
    data, start = curve.data, stream(seed, b"scatter")
    store, y = np.empty(data.rows), np.empty(data.rows)
    code = np.empty(data.rows, dtype=np.int8)
    each = np.arange(data.rows)
    exact, new = refit(data.t, data.low, data.high, each, curve.growing, curve.line, 0.0, start,
                       trial, store, y, code)  # fmt: skip
    if exact < FEWEST_EXACT:
        return None
    z = (new[0] * y - new[2] - new[1] * data.t) * np.exp(-new[3] * data.t)
    points, height = _heights(z, code)
    whole, tail = distances(z, code)
    return whole, tail, (points, special.ndtri(np.clip(height, 1e-9, 1.0 - 1e-9)))


def _band(scores: Array, drawn: list[tuple[Array, Array]]) -> tuple[Array, Array]:
    """Pointwise band of residuals at given normal scores, nan where too few trials reach there."""
    found = np.full((len(drawn), scores.size), np.nan)
    for k, (points, places) in enumerate(drawn):
        inside = (scores >= places[0]) & (scores <= places[-1])
        found[k, inside] = np.interp(scores[inside], places, points)
    enough = np.sum(np.isfinite(found), axis=0) >= 0.5 * max(1, len(drawn))
    low, high = np.full(scores.size, np.nan), np.full(scores.size, np.nan)
    if np.any(enough):
        low[enough], high[enough] = np.nanquantile(found[:, enough], [0.025, 0.975], axis=0)
    return low, high


def _tenth(z: Array, code: Codes) -> float | None:
    """Tenth percentile of the residuals without a law, None where it is hidden."""
    points, height = _heights(z, code)
    wanted = 1.0 - POD
    if not height[0] <= wanted <= height[-1]:
        return None
    return float(np.interp(wanted, height, points))


def _size_where(curve: ResponseCurve, tenth: float) -> float | None:
    psi = curve.psi(-tenth)
    if not math.isfinite(psi):
        return None
    return size_of(curve.data.centre + curve.data.spread * psi, curve.data.scale)
