"""Compiled simulation of trials: how the likelihood ratio is distributed where a curve is held.

A curve held at link value `level` at size `psi` has one free slope. From the curve so fitted,
trials are drawn; each gives a signed root of the likelihood ratio of the same statement. Where
a maximum does not exist (separation) its supremum counts, known from the data without a fit.

Sizes `t` rise. Draws come from the counter-based generator SplitMix64 (Steele, Lea and Flood
2014, from memory; checked against its published first outputs in `tests/pod`), one block of
numbers a simulated trial, so that results do not depend on threads and the same trials are drawn
for every size held: common random numbers.
"""

import math

import numpy as np
import numpy.typing as npt

from qualify.pod.kernels import climb_at, fit_one, fit_two, pod_at
from qualify.pod.links import Array
from qualify.threads import njit

GAMMA = np.uint64(0x9E3779B97F4A7C15)
FIRST_MIX, SECOND_MIX = np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB)
S27, S30, S31, S11 = np.uint64(27), np.uint64(30), np.uint64(31), np.uint64(11)
UNIT = 1.0 / 9007199254740992.0  # 2^-53

FINE = 1e-5  # gain in log-likelihood at which a simulated fit stops; its error is about the square
SLACK = 1e-7  # of a squared root: equal data sets count as equal in spite of rounding


@njit(cache=True, nogil=True)
def mixed(state: np.uint64) -> np.uint64:
    """Output of SplitMix64 at a state."""
    z = (state ^ (state >> S30)) * FIRST_MIX
    z = (z ^ (z >> S27)) * SECOND_MIX
    return z ^ (z >> S31)


@njit(cache=True, nogil=True)
def draw(state: np.uint64, pods: Array, trials: Array, hits: Array, misses: Array) -> np.uint64:
    """Draw hits and misses into the arrays given; returns the state of the generator."""
    for i in range(pods.size):
        found = 0.0
        for _ in range(int(trials[i])):
            state = state + GAMMA
            if (mixed(state) >> S11) * UNIT < pods[i]:
                found += 1.0
        hits[i] = found
        misses[i] = trials[i] - found
    return state


@njit(cache=True, nogil=True)
def block(seed: np.uint64, number: int, total: int) -> np.uint64:
    """State from which simulated trial `number` of `total` draws each begins."""
    return seed + np.uint64(number) * np.uint64(total) * GAMMA


@njit(cache=True, nogil=True)
def ends(hits: Array, misses: Array) -> tuple[int, int, int, int]:
    """Return first and last index with a hit, first and last with a miss; -1 without one."""
    first_hit, last_hit, first_miss, last_miss = -1, -1, -1, -1
    for i in range(hits.size):
        if hits[i] > 0.0:
            last_hit = i
            if first_hit < 0:
                first_hit = i
        if misses[i] > 0.0:
            last_miss = i
            if first_miss < 0:
                first_miss = i
    return first_hit, last_hit, first_miss, last_miss


@njit(cache=True, nogil=True)
def place_of(
    link: int, t: Array, hits: Array, misses: Array, level: float, start: float, slope: float
) -> tuple[float, bool]:
    """Return where the curve of one trial reaches `level`, and whether that curve was fitted.

    Infinite where it does not rise; where hits and misses do not overlap the far end of the gap,
    the smallest hit. The climb begins at (start, slope).
    """
    first_hit, last_hit, first_miss, last_miss = ends(hits, misses)
    if first_hit < 0:
        return math.inf, False
    if last_miss <= first_hit:
        return t[first_hit], False
    if last_hit <= first_miss:
        return math.inf, False
    a, b, _, _ = fit_two(link, t, hits, misses, start, slope, math.inf, 1e-8)
    return ((level - a) / b, True) if b > 0.0 else (math.inf, False)


@njit(cache=True, nogil=True)
def supremum(hits: Array, misses: Array) -> float:
    """Highest log-likelihood where no maximum exists, +1 where hits and misses overlap."""
    first_hit, last_hit, first_miss, last_miss = ends(hits, misses)
    if first_hit < 0 or first_miss < 0 or last_miss < first_hit or last_hit < first_miss:
        return 0.0
    shared = -1
    if last_miss == first_hit:
        shared = first_hit
    elif last_hit == first_miss:
        shared = last_hit
    if shared < 0:
        return 1.0
    h, m = hits[shared], misses[shared]
    top: float = h * math.log(h / (h + m)) + m * math.log(m / (h + m))
    return top


@njit(cache=True, nogil=True)
def hold(
    link: int, away: Array, hits: Array, misses: Array, level: float, slope: float, fine: float
) -> tuple[float, float, float]:
    """Slope, log-likelihood and score of the level of the curve held; slope +-inf if unbounded."""
    up, down = False, False
    for i in range(away.size):
        if away[i] > 0.0:
            up = up or hits[i] > 0.0
            down = down or misses[i] > 0.0
        elif away[i] < 0.0:
            up = up or misses[i] > 0.0
            down = down or hits[i] > 0.0
    if up and down:
        slope, height, pull, _ = fit_one(link, away, hits, misses, level, slope, fine)
        return slope, height, pull
    height, pull = 0.0, 0.0
    for i in range(away.size):
        if away[i] == 0.0:
            one = climb_at(link, level, 0.0, away[i : i + 1], hits[i : i + 1], misses[i : i + 1])
            height += one[0]
            pull += one[1]
    if up:
        return math.inf, height, pull
    return (-math.inf if down else 0.0), height, pull


@njit(cache=True, nogil=True)
def away_from(t: Array, psi: float) -> tuple[Array, float]:
    """(t - psi) / reach and reach = max(1, |psi|), exact for far psi."""
    reach = max(1.0, abs(psi))
    return t / reach - psi / reach, reach


@njit(cache=True, nogil=True)
def pods_along(link: int, away: Array, level: float, slope: float) -> Array:
    """POD at each size of the curve held; a boundless slope gives 0 and 1."""
    pods = np.empty(away.size)
    for i in range(away.size):
        if math.isinf(slope):
            pods[i] = 1.0 if away[i] * slope > 0.0 else 0.0
            if away[i] == 0.0:
                pods[i] = pod_at(link, level)
        else:
            pods[i] = pod_at(link, level + slope * away[i])
    return pods


@njit(cache=True, nogil=True)
def reaches(
    link: int,
    t: Array,
    away: Array,
    reach: float,
    hits: Array,
    misses: Array,
    psi: float,
    level: float,
    start: float,
    root: float,
    side: float,
) -> bool:
    """Whether the root of one trial, times `side`, is at least `root`.

    `away` and `reach` are those of `away_from` psi; the climb begins at the slope `start`.
    """
    held, height, pull = hold(link, away, hits, misses, level, start, FINE)
    on_side = pull * side > 0.0
    if on_side != (root > 0.0) or pull == 0.0:
        return root <= 0.0 and (on_side or pull == 0.0)
    top = supremum(hits, misses)
    enough = height + 0.5 * root * root + (-0.5 * SLACK if root > 0.0 else 0.5 * SLACK)
    if top > 0.5:
        b = 0.0 if math.isinf(held) else held / reach
        top = fit_two(link, t, hits, misses, level - b * psi, b, enough, FINE)[2]
    return top >= enough if root > 0.0 else top <= enough


@njit(cache=True, nogil=True)
def exceedances(
    link: int,
    t: Array,
    trials: Array,
    psi: float,
    level: float,
    slope: float,
    root: float,
    side: float,
    seed: np.uint64,
    first: int,
    last: int,
    limit: int,
) -> int:
    """Count simulated trials first..last-1 whose root, times `side`, is at least `root`.

    Stops at `limit`: what follows can't change whether the count reaches it.
    """
    away, reach = away_from(t, psi)
    pods = pods_along(link, away, level, slope)
    start = 0.0 if math.isinf(slope) else slope
    total = int(trials.sum())
    hits, misses = np.empty(t.size), np.empty(t.size)
    count = 0
    for k in range(first, last):
        draw(block(seed, k, total), pods, trials, hits, misses)
        count += reaches(link, t, away, reach, hits, misses, psi, level, start, root, side)
        if count >= limit:
            break
    return count


@njit(cache=True, nogil=True)
def observed_root(
    link: int, t: Array, hits: Array, misses: Array, psi: float, level: float, fine: float
) -> tuple[float, float]:
    """Signed root of the statement that eta = level at psi, and the slope held (away units)."""
    away, reach = away_from(t, psi)
    top = supremum(hits, misses)
    slope, height, pull = hold(link, away, hits, misses, level, 0.0, fine)
    if top > 0.5:
        b = 0.0 if math.isinf(slope) else slope / reach
        top = fit_two(link, t, hits, misses, level - b * psi, b, math.inf, fine)[2]
    root = math.sqrt(max(0.0, 2.0 * (top - height)))
    return (root if pull > 0.0 else -root), slope


@njit(cache=True, nogil=True)
def statements_kept(
    link: int,
    t: Array,
    hits: Array,
    trials: Array,
    psi: float,
    level: float,
    simulations: int,
    limit: int,
    sure: float,
    seeds: npt.NDArray[np.uint64],
    kept: npt.NDArray[np.bool_],
    roots: Array,
) -> None:
    """For each data set: whether simulation does not reject that eta = level at psi (upper side).

    t, hits (sets, sizes); trials (sizes,); seeds (sets,). `kept` and `roots` (sets,) are written.
    A root above `sure` is rejected unsimulated.
    """
    for s in range(t.shape[0]):
        misses = trials - hits[s]
        root, slope = observed_root(link, t[s], hits[s], misses, psi, level, 1e-12)
        roots[s] = root
        if root <= 0.0 or root > sure:
            kept[s] = root <= 0.0
            continue
        count = exceedances(
            link, t[s], trials, psi, level, slope, root, 1.0, seeds[s], 0, simulations, limit
        )
        kept[s] = count >= limit
