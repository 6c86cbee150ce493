"""Compiled simulation of trials with several readers: flaws that are hard for all, strict readers.

A reading is a hit when a hidden normal value lies below the normal quantile of its POD. A share
`rho` of that value's variance belongs to the target and is common to all readings of it; so each
reading keeps exactly the POD of its curve, whatever the share. Readers differ by offsets in link
units. The normal distribution and the link are read from tables, linear between entries: errors
below 3e-5 of a standard deviation, far below what 20,000 simulated trials can see.

Source: the Gaussian copula model of correlated binary data, Emrich and Piedmonte 1991, The
American Statistician 45: 302-304 (from memory). Draws come from SplitMix64 in blocks, as in
`qualify.pod.simulation`.
"""

import math

import numpy as np
import numpy.typing as npt
from scipy import special

from qualify.pod.kernels import climb_at
from qualify.pod.links import LINK_NAMES, Array, terms
from qualify.pod.simulation import (
    GAMMA,
    S11,
    UNIT,
    away_from,
    block,
    mixed,
    reaches,
)
from qualify.threads import njit

NORMAL_END, NORMAL_STEPS = 8.5, 256  # the table of the normal distribution; entries a unit
LINK_END, LINK_STEPS = 40.0, 64  # the tables of the links; entries a link unit
NORMAL_TABLE = special.ndtr(
    np.arange(-NORMAL_END * NORMAL_STEPS, NORMAL_END * NORMAL_STEPS + 1) / NORMAL_STEPS
)


def _quantiles() -> Array:
    """Return the normal quantile of the POD at each link value, (links, entries)."""
    eta = np.arange(-LINK_END * LINK_STEPS, LINK_END * LINK_STEPS + 1) / LINK_STEPS
    rows = []
    for link in LINK_NAMES:
        at = terms(link, eta)
        low, high = special.ndtri_exp(at.log_hit), -special.ndtri_exp(at.log_miss)
        rows.append(np.where(at.log_hit < at.log_miss, low, high))
    return np.asarray(np.clip(np.array(rows), -37.0, 37.0))


QUANTILES = _quantiles()

MAX_STEPS, MAX_HALVINGS = 100, 40
SHRINK = 3.0  # pull of a reader's offset to the mean: the information of 12 readings at POD 0.5
SLOPE_PULL = 1e-3  # keeps a slope finite where readings part at one size


@njit(cache=True, nogil=True)
def normal_share(z: float) -> float:
    """Return the normal distribution at z, from its table."""
    place = (z + NORMAL_END) * NORMAL_STEPS
    if place <= 0.0:
        return 0.0
    i = int(place)
    if i >= NORMAL_TABLE.size - 1:
        return 1.0
    return float(NORMAL_TABLE[i] + (place - i) * (NORMAL_TABLE[i + 1] - NORMAL_TABLE[i]))


@njit(cache=True, nogil=True)
def quantile_at(link: int, eta: float) -> float:
    """Return the normal quantile of the POD at a link value, from its table."""
    place = (eta + LINK_END) * LINK_STEPS
    if place <= 0.0:
        return float(QUANTILES[link, 0])
    i = int(place)
    if i >= QUANTILES.shape[1] - 1:
        return float(QUANTILES[link, QUANTILES.shape[1] - 1])
    here = QUANTILES[link, i]
    return float(here + (place - i) * (QUANTILES[link, i + 1] - here))


@njit(cache=True, nogil=True)
def uniform(state: np.uint64) -> float:
    """Open uniform number of a state of the generator."""
    return float(((mixed(state) >> S11) + 0.5) * UNIT)


@njit(cache=True, nogil=True)
def normal(state: np.uint64) -> tuple[np.uint64, float]:
    """State after two steps, and a normal number (Box and Muller 1958)."""
    first, second = state + GAMMA, state + GAMMA + GAMMA
    radius = math.sqrt(-2.0 * math.log(uniform(first)))
    return second, radius * math.cos(2.0 * math.pi * uniform(second))


@njit(cache=True, nogil=True)
def picked(u: float, cumulated: Array) -> int:
    """Index of the first entry of rising `cumulated` shares that holds u."""
    i = 0
    while i < cumulated.size - 1 and cumulated[i] < u:
        i += 1
    return i


@njit(cache=True, nogil=True)
def draw_readings(
    quantile: Array,
    trials: Array,
    where: npt.NDArray[np.int64],
    rho: float,
    state: np.uint64,
    hits: Array,
) -> np.uint64:
    """Draw one trial; hits by distinct size (sizes,) are written, the state after is returned.

    quantile, trials : (targets, readers). where : (targets,), distinct size of each target.
    """
    common, own = math.sqrt(rho), math.sqrt(1.0 - rho)
    hits[:] = 0.0
    for i in range(trials.shape[0]):
        state, z = normal(state)
        for j in range(trials.shape[1]):
            if trials[i, j] == 0.0:
                continue
            share = normal_share((quantile[i, j] - common * z) / own)
            for _ in range(int(trials[i, j])):
                state = state + GAMMA
                if uniform(state) < share:
                    hits[where[i]] += 1.0
    return state


@njit(cache=True, nogil=True)
def set_quantiles(link: int, away: Array, starts: Array, slope: float, out: Array) -> None:
    """Write the normal quantile (targets, readers) of eta = starts + slope away."""
    for i in range(away.size):
        for j in range(starts.size):
            out[i, j] = quantile_at(link, starts[j] + slope * away[i])


@njit(cache=True, nogil=True)
def reader_exceedances(
    link: int,
    t: Array,
    totals: Array,
    where: npt.NDArray[np.int64],
    trials: Array,
    psi: float,
    level: float,
    slope: float,
    starts: Array,
    rhos: Array,
    rho_shares: Array,
    spreads: Array,
    spread_levels: Array,
    spread_shares: Array,
    root: float,
    side: float,
    seed: np.uint64,
    first: int,
    last: int,
    limit: int,
) -> int:
    """Count simulated trials first..last-1 whose pooled root, times `side`, is at least `root`.

    t, totals (sizes,); where (targets,); trials (targets, readers); `slope` per unit of `away`.
    The share `rho` of each trial is drawn from `rhos` by `rho_shares` (cumulated). With `spreads`
    the readers of each trial are drawn anew: their spread by `spread_shares`, about
    `spread_levels`; without, they stand at `starts` (readers,).
    """
    away, reach = away_from(t, psi)
    far = away[where]
    targets, readers = trials.shape
    quantile = np.empty((targets, readers))
    own = starts.copy()
    if spreads.size == 0:
        set_quantiles(link, far, own, slope, quantile)
    numbers = 2 + 2 * readers + 2 * targets + int(totals.sum())
    hits = np.empty(t.size)
    count = 0
    for k in range(first, last):
        state = block(seed, k, numbers) + GAMMA
        rho = rhos[picked(uniform(state), rho_shares)]
        if spreads.size > 0:
            state = state + GAMMA
            h = picked(uniform(state), spread_shares)
            for j in range(readers):
                state, z = normal(state)
                own[j] = spread_levels[h] + spreads[h] * z
            set_quantiles(link, far, own, slope, quantile)
        draw_readings(quantile, trials, where, rho, state, hits)
        count += reaches(link, t, away, reach, hits, totals - hits, psi, level, slope, root, side)
        if count >= limit:
            break
    return count


@njit(cache=True, nogil=True)
def _penalised(
    link: int, t: Array, hits: Array, misses: Array, starts: Array, slope: float, pull: float
) -> float:
    mean = starts.mean()
    height = -0.5 * SLOPE_PULL * slope * slope
    for j in range(starts.size):
        height += climb_at(link, starts[j], slope, t, hits[:, j], misses[:, j])[0]
        height -= 0.5 * pull * (starts[j] - mean) ** 2
    return height


@njit(cache=True, nogil=True)
def fit_starts(
    link: int, t: Array, hits: Array, misses: Array, pull: float
) -> tuple[Array, float, Array]:
    """Fit eta = start of the reader + slope t, starts pulled to their mean.

    t : (targets,). hits, misses : (targets, readers). Returns starts (readers,), slope, and the
    information of each start (readers,). Always finite where `pull` is above 0.
    """
    readers = hits.shape[1]
    starts, slope = np.zeros(readers), 0.0
    score, weight, cross = np.empty(readers), np.empty(readers), np.empty(readers)
    height = _penalised(link, t, hits, misses, starts, slope, pull)
    for _ in range(MAX_STEPS):
        mean, g, h = starts.mean(), -SLOPE_PULL * slope, SLOPE_PULL
        for j in range(readers):
            one = climb_at(link, starts[j], slope, t, hits[:, j], misses[:, j])
            score[j], weight[j], cross[j] = one[1], one[3], one[4]
            score[j] -= pull * (starts[j] - mean)
            g += one[2]
            h += one[5]
        left, right = h, g
        for j in range(readers):
            left -= cross[j] * cross[j] / (weight[j] + pull)
            right -= cross[j] * score[j] / (weight[j] + pull)
        step = min(max(right / left, -2.0), 2.0)
        moves = (score - cross * step) / (weight + pull)
        factor = 1.0
        for _ in range(MAX_HALVINGS):
            new = _penalised(
                link, t, hits, misses, starts + factor * moves, slope + factor * step, pull
            )
            if new >= height - 1e-12 * (1.0 + abs(height)):
                break
            factor *= 0.5
        starts, slope, height = starts + factor * moves, slope + factor * step, new
        if abs(step) <= 1e-9 and np.max(np.abs(moves)) <= 1e-9:
            break
    return starts, slope, weight


@njit(cache=True, nogil=True)
def fit_slope(
    link: int, away: Array, reach: float, hits: Array, misses: Array, starts: Array, slope: float
) -> float:
    """Fit the slope, per unit of `away` (targets,), of eta = starts + slope away."""
    pull = SLOPE_PULL / (reach * reach)
    for _ in range(MAX_STEPS):
        g, h = -pull * slope, pull
        for j in range(starts.size):
            one = climb_at(link, starts[j], slope, away, hits[:, j], misses[:, j])
            g += one[2]
            h += one[5]
        most = 3.0 * reach
        step = min(max(g / h, -most), most)
        slope += step
        if abs(step) <= 1e-9 * reach:
            break
    return slope


@njit(cache=True, nogil=True)
def share_heights(
    quantile: Array, hits: Array, misses: Array, rhos: Array, nodes: Array, weights: Array
) -> Array:
    """Log-likelihood (shares,) of each share of variance that belongs to the target.

    quantile, hits, misses : (targets, readers). The target's value is integrated over `nodes`.
    """
    out = np.zeros(rhos.size)
    for r in range(rhos.size):
        common, own = math.sqrt(rhos[r]), math.sqrt(1.0 - rhos[r])
        for i in range(quantile.shape[0]):
            total = 0.0
            for m in range(nodes.size):
                p = weights[m]
                for j in range(quantile.shape[1]):
                    share = normal_share((quantile[i, j] - common * nodes[m]) / own)
                    for _ in range(int(hits[i, j])):
                        p *= share
                    for _ in range(int(misses[i, j])):
                        p *= 1.0 - share
                total += p
            out[r] += math.log(max(total, 1e-300))
    return out
