"""The likelihood of readings that share a target, integrated over what their targets differ in.

Given u, a standard normal figure of the target, POD = F(eta + sd u). The integral over u of the
product over a target's readings is taken by Gauss-Hermite quadrature about its own mode and with
its own curvature. Score and second derivative are posterior means of those given u (Louis 1982,
Journal of the Royal Statistical Society B 44: 226-233); both are analytic.

Sources: Liu and Pierce 1994, Biometrika 81: 624-629, and Pinheiro and Bates 1995, Journal of
Computational and Graphical Statistics 4: 12-35, for the adaptive rule; from memory, checked in
`tests/published` against R and against plain integration.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from qualify.pod.links import Array, Indices, LinkName, pod_of, terms

MAX_STEPS = 200
MODE_TOLERANCE = 1e-11
STEP, REACH = 0.02, 9.0  # of the trapezoidal rule over u; its error here is below 1e-14


@dataclass(frozen=True, slots=True)
class Grouped:
    """Readings sorted by target.

    Attributes
    ----------
    basis : (readings, k), columns of the model.
    hits, misses : (readings,).
    first : (targets,), row of the first reading of each target.
    group : (readings,), the number of each reading's target.
    link : of the model.
    """

    basis: Array
    hits: Array
    misses: Array
    first: Indices
    group: Indices
    link: LinkName

    def by_target(self, rows: Array) -> Array:
        """Sum rows (readings, ...) by target: (targets, ...)."""
        return np.asarray(np.add.reduceat(rows, self.first, axis=0))


@dataclass(frozen=True, slots=True)
class Height:
    """Log-likelihood, its gradient (k + 1,) and second derivative (k + 1, k + 1); sd last."""

    value: float
    gradient: Array
    bend: Array


def _slope_at(data: Grouped, eta: Array, sd: float, u: Array) -> tuple[Array, Array]:
    """First and second derivative (targets,) in u of log likelihood less u^2 / 2."""
    at = terms(data.link, eta + sd * u[data.group])
    slope = data.by_target(data.hits * at.hit_slope + data.misses * at.miss_slope)
    bend = data.by_target(data.hits * at.hit_bend + data.misses * at.miss_bend)
    return sd * slope - u, sd * sd * bend - 1.0


def _modes(data: Grouped, eta: Array, sd: float) -> tuple[Array, Array]:
    """Mode of each target's integrand and the width of its peak, (targets,) each.

    The slope falls all the way, by 1 or more a unit of u, so that the mode lies between 0 and the
    slope there. Newton's step is taken where it stays inside the bracket and is at most half the
    last one, or is but rounding; else the bracket is halved.
    """
    u = np.zeros(len(data.first))
    slope, bend = _slope_at(data, eta, sd, u)
    low, high = np.minimum(slope, 0.0), np.maximum(slope, 0.0)
    last = high - low
    for _ in range(MAX_STEPS):
        low, high = np.where(slope > 0.0, u, low), np.where(slope < 0.0, u, high)
        step = -slope / bend
        new = u + step
        large = np.abs(step) > MODE_TOLERANCE * (1.0 + np.abs(u))
        slow = large & ((new < low) | (new > high) | (np.abs(step) > 0.5 * last))
        new = np.where(slow, 0.5 * (low + high), new)
        last = np.abs(new - u)
        moved, u = last.max(), new
        slope, bend = _slope_at(data, eta, sd, u)
        if moved <= MODE_TOLERANCE * (1.0 + np.abs(u).max()):
            break
    return u, 1.0 / np.sqrt(-bend)


def height_at(data: Grouped, values: Array, sd: float, nodes: int) -> Height:
    """Log-likelihood and derivatives at coefficients `values` (k,) and `sd` >= 0.

    Without binomial constants. `nodes` is the number of places of the quadrature for a target.
    """
    places, weights = np.polynomial.hermite.hermgauss(nodes)
    eta = data.basis @ values
    mode, width = _modes(data, eta, sd)
    u = mode[:, None] + np.sqrt(2.0) * width[:, None] * places
    at = terms(data.link, eta[:, None] + sd * u[data.group])
    hits, misses = data.hits[:, None], data.misses[:, None]
    each = data.by_target(hits * at.log_hit + misses * at.log_miss)
    each += np.log(weights) + places**2 - 0.5 * u**2 + np.log(width / np.sqrt(np.pi))[:, None]
    total = special.logsumexp(each, axis=1)
    share = np.exp(each - total[:, None])
    slope = hits * at.hit_slope + misses * at.miss_slope
    bend = share[data.group] * (hits * at.hit_bend + misses * at.miss_bend)
    return Height(float(total.sum()), *_derivatives(data, u, share, slope, bend))


def _derivatives(
    data: Grouped, u: Array, share: Array, slope: Array, bend: Array
) -> tuple[Array, Array]:
    """Gradient and second derivative; u, share (targets, nodes), slope, bend (readings, nodes).

    `bend` carries the share of its node already.
    """
    scores = data.by_target(slope[:, :, None] * data.basis[:, None, :])
    scores = np.concatenate([scores, (u * data.by_target(slope))[:, :, None]], axis=2)
    mean = np.einsum("gq,gqk->gk", share, scores)
    squares = np.einsum("gq,gqk,gql->kl", share, scores, scores) - mean.T @ mean
    own = u[data.group]
    inside = data.basis.T @ (bend.sum(axis=1)[:, None] * data.basis)
    beside = data.basis.T @ (bend * own).sum(axis=1)
    corner = np.array([[float((bend * own**2).sum())]])
    squares += np.block([[inside, beside[:, None]], [beside[None, :], corner]])
    return mean.sum(axis=0), squares


def marginal_pod(link: LinkName, eta: Array, sd: float) -> Array:
    """POD averaged over targets, integral of F(eta + sd u) phi(u) du, at each eta (any shape).

    By the trapezoidal rule, whose error for these integrands falls exponentially with the step.
    """
    u = np.arange(-REACH, REACH + STEP / 2, STEP)
    weight = STEP * np.exp(-0.5 * u**2) / np.sqrt(2.0 * np.pi)
    eta = np.asarray(eta, dtype=float)
    return np.asarray((pod_of(link, eta[..., None] + sd * u) * weight).sum(axis=-1))
