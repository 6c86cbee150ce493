"""Maximum likelihood for curves with a floor and a plateau, batched over data sets.

P(hit) = floor + (plateau - floor) F(b0 + b1 t), 0 <= floor <= plateau <= 1. Written as
r = a + (1 - a) w G with 0 <= a, w <= 1, the limits become a box. With G = F this is P(hit),
a = floor; with G = 1 - F (`mirrored`) it is P(miss), a = 1 - plateau, so that either limit can
be held. Blank grading units join as one more row: P(call) = floor.

Steep limits (b1 to infinity) are no business of the climb (`qualify.pod.climb`): `step_height`
gives their likelihood in closed form.

Checked in `tests/` against R and against a general minimiser of scipy.
"""

from dataclasses import dataclass

import numpy as np
from scipy import special

from qualify.pod.climb import Likelihood, Local
from qualify.pod.links import Array, Indices, LinkName, eta_of, terms

LEAST_PROBABILITY = 1e-100


@dataclass(frozen=True, slots=True)
class Counts:
    """Hits and misses by size, and calls on blanks, of a batch of data sets.

    Attributes
    ----------
    t : (sizes,) rising, centred and scaled.
    hits, misses : (sets, sizes).
    called, quiet : (sets,) blank units with and without a call; 0 where there are none.
    """

    t: Array
    hits: Array
    misses: Array
    called: Array
    quiet: Array

    def with_blanks(self) -> tuple[Array, Array]:
        """Hits and misses with the blanks as a last column, (sets, sizes + 1)."""
        hits = np.concatenate([self.hits, self.called[:, None]], axis=1)
        return hits, np.concatenate([self.misses, self.quiet[:, None]], axis=1)

    def repeated(self, times: int) -> "Counts":
        """Each set `times` times over, for several starts; set s start k at s * times + k."""
        parts = (self.hits, self.misses, self.called, self.quiet)
        return Counts(self.t, *(np.repeat(part, times, axis=0) for part in parts))


def _summed(jacobian: Array, up: Array, down: Array, r: Array, rest: Array) -> Local:
    """Log-likelihood, gradient, first part of the observed information, expected information."""
    r, rest = np.maximum(r, LEAST_PROBABILITY), np.maximum(rest, LEAST_PROBABILITY)
    turned = np.swapaxes(jacobian, 1, 2)
    height = (up * np.log(r) + down * np.log(rest)).sum(axis=1)
    above, below = up / r, down / rest
    grad = (jacobian @ (above - below)[:, :, None])[:, :, 0]
    observed = (jacobian * (above / r + below / rest)[:, None, :]) @ turned
    expected = (jacobian * ((up + down) / r / rest)[:, None, :]) @ turned
    return height, grad, observed, expected


def mixture(counts: Counts, link: LinkName, mirrored: bool) -> Likelihood:
    """Likelihood of (a, w, b0, b1); see the head of this module."""
    hits, misses = counts.with_blanks()
    up, down = (misses, hits) if mirrored else (hits, misses)
    t = np.append(counts.t, 0.0)
    powers = np.column_stack([np.ones_like(t), t, t * t])

    def parts(v: Array) -> tuple[Array, Array, Array, Array]:
        at = terms(link, v[:, 2:3] + v[:, 3:4] * counts.t)
        hit, miss = np.exp(at.log_hit), np.exp(at.log_miss)
        of_hit = (hit, miss, hit * at.hit_slope, hit * (at.hit_slope**2 + at.hit_bend))
        of_miss = (miss, hit, miss * at.miss_slope, miss * (at.miss_slope**2 + at.miss_bend))
        on_blank = (float(mirrored), float(not mirrored), 0.0, 0.0)
        chosen = zip(of_miss if mirrored else of_hit, on_blank, strict=True)
        whole = np.empty((4, len(v), t.size))
        for k, (part, blank) in enumerate(chosen):
            whole[k, :, :-1], whole[k, :, -1] = part, blank
        return whole[0], whole[1], whole[2], whole[3]

    def likelihood(v: Array, index: Indices) -> Local:
        a, w = v[:, 0:1], v[:, 1:2]
        g, g_rest, slope, bend = parts(v)
        r, in_a = a + (1.0 - a) * w * g, (1.0 - w) + w * g_rest
        rest, in_w, in_eta = (1.0 - a) * in_a, (1.0 - a) * g, (1.0 - a) * w * slope
        jacobian = np.empty((len(v), 4, t.size))
        jacobian[:, 0], jacobian[:, 1], jacobian[:, 2] = in_a, in_w, in_eta
        np.multiply(in_eta, t, out=jacobian[:, 3])
        u, d = up[index], down[index]
        local = _summed(jacobian, u, d, r, rest)
        pull = u / np.maximum(r, LEAST_PROBABILITY) - d / np.maximum(rest, LEAST_PROBABILITY)
        along = (pull * slope) @ powers[:, :2]
        bent = (pull * bend) @ powers * ((1.0 - a) * w)
        second = np.zeros((len(v), 4, 4))  # sum of pull times the second derivatives of r
        second[:, 0, 1] = -(pull * g).sum(axis=1)
        second[:, 0, 2:] = -w * along
        second[:, 1, 2:] = (1.0 - a) * along
        second[:, 2, 3] = bent[:, 1]
        second += np.swapaxes(second, 1, 2)
        second[:, 2, 2], second[:, 3, 3] = bent[:, 0], bent[:, 2]
        return local[0], local[1], local[2] - second, local[3]

    return likelihood


def held_mixture(counts: Counts, link: LinkName, psi: float, level: float) -> Likelihood:
    """Likelihood of (floor, excess, b1) with P(hit) = `level` held at t = `psi`.

    eta0 = b0 + b1 psi is the link value there, its least value the one with plateau 1; `excess`
    is eta0 above that least value. P(hit) = floor + (level - floor) F(eta) / F(eta0).
    """
    hits, misses = counts.with_blanks()
    away = counts.t - psi

    def parts(v: Array) -> tuple[Array, ...]:
        a = v[:, 0:1]
        share = (level - a) / (1.0 - a)
        eta_least = eta_of(link, share)
        eta_0 = eta_least + v[:, 1:2]
        at, at_0, least = (terms(link, eta) for eta in (eta_0 + v[:, 2:3] * away, eta_0, eta_least))
        density = np.exp(least.log_hit) * least.hit_slope
        moved = -(1.0 - level) / (1.0 - a) ** 2 / np.maximum(density, LEAST_PROBABILITY)
        span = (level - a) * np.exp(-at_0.log_hit)  # plateau - floor
        low = np.maximum(0.0, 1.0 - a - span)
        p = a + span * np.exp(at.log_hit)
        rest = low + span * np.exp(at.log_miss)
        above = p - a
        in_eta_0 = above * (at.hit_slope - at_0.hit_slope)
        in_a = 1.0 - above / (level - a) + in_eta_0 * moved
        return p, rest, in_a, in_eta_0, above * at.hit_slope * away

    def likelihood(v: Array, index: Indices) -> Local:
        a = v[:, 0:1]
        blank = (a, 1.0 - a, np.ones_like(a), np.zeros_like(a), np.zeros_like(a))
        columns = zip(parts(v), blank, strict=True)
        p, rest, *slopes = (np.concatenate(pair, axis=1) for pair in columns)
        local = _summed(np.stack(slopes, axis=1), hits[index], misses[index], p, rest)
        return local[0], local[1], local[3], local[3]

    return likelihood


def step_height(counts: Counts, floor: float | None, plateau: float | None) -> Array:
    """Highest log-likelihood (sets,) of infinitely steep curves; limits free where None.

    A step between two sizes, or at a size that then has a POD of its own between floor and
    plateau.
    """
    zero = np.zeros((len(counts.hits), 1))
    hit = np.concatenate([zero, np.cumsum(counts.hits, axis=1)], axis=1)
    miss = np.concatenate([zero, np.cumsum(counts.misses, axis=1)], axis=1)
    below = (hit + counts.called[:, None], miss + counts.quiet[:, None])
    above = (hit[:, -1:] - hit, miss[:, -1:] - miss)
    plain = _two_levels(below, above, floor, plateau)[0]
    first = tuple(part[:, :-1] for part in below)
    last = tuple(part[:, 1:] for part in above)
    middle, low, high = _two_levels((first[0], first[1]), (last[0], last[1]), floor, plateau)
    total = counts.hits + counts.misses
    share = counts.hits / np.maximum(total, 1.0)
    own = special.xlogy(counts.hits, share) + special.xlog1py(counts.misses, -share)
    between = (share >= low) & (share <= high)
    middle = np.where(between, middle + own, -np.inf)
    return np.asarray(np.maximum(plain.max(axis=1), middle.max(axis=1)))


def _two_levels(
    below: tuple[Array, Array], above: tuple[Array, Array], floor: float | None, top: float | None
) -> tuple[Array, Array, Array]:
    """Log-likelihood, floor and plateau at each cut, (sets, cuts); -inf where floor > plateau."""
    n_below, n_above = below[0] + below[1], above[0] + above[1]
    low = np.where(n_below > 0, below[0] / np.maximum(n_below, 1.0), 0.0)
    high = np.where(n_above > 0, above[0] / np.maximum(n_above, 1.0), 1.0)
    low = (
        np.minimum(low, 1.0 if top is None else top) if floor is None else np.full_like(low, floor)
    )
    high = (
        np.maximum(high, 0.0 if floor is None else floor)
        if top is None
        else np.full_like(high, top)
    )
    height = special.xlogy(below[0], low) + special.xlog1py(below[1], -low)
    height = height + special.xlogy(above[0], high) + special.xlog1py(above[1], -high)
    return np.where(low <= high, height, -np.inf), low, high
