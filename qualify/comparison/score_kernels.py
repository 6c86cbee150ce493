"""Compiled: the score, target by target, of the statement that two a90 stand in a given ratio.

Curve a runs through `level` at psi, curve b at shift + stretch psi, which is where its a90 is then;
psi and both slopes are fitted so. The score of a target, freed of psi and slopes, is
stretch e_a / (slope_a J_a) - e_b / (slope_b J_b), with e the target's score for the level of its
curve freed of the slope, and J the information on that level: what the target says of how far b
lies beyond the statement. Readings of one target, in both modes and by all readers, are summed
before they are squared.
"""

import math

import numpy as np

from qualify.pod.kernels import climb_at
from qualify.pod.links import Array
from qualify.pod.simulation import away_from, hold
from qualify.threads import njit

FINE = 1e-8  # gain in log-likelihood at which a slope stops; the last step is still taken
MOST_STEPS = 100
WAY = 4  # places looked at between estimate and ratio
LEAST_SLOPE = 1e-9  # per standard deviation of the size axis
CLOSE = 1e-6  # of psi, in standard deviations; scores freed of psi err by the square

Axis = tuple[bool, float, float]  # whether sizes are logarithmic, centre and spread
Held = tuple[float, float, float, float]  # slope, pull on the level, information on it, I01 / I11


@njit(cache=True, nogil=True)
def related(axis: Axis, log_ratio: float) -> tuple[float, float]:
    """Shift and stretch of psi_b = shift + stretch psi_a for a ratio of sizes."""
    is_log, centre, spread = axis
    if is_log:
        return log_ratio / spread, 1.0
    stretch = math.exp(log_ratio)
    return (stretch - 1.0) * centre / spread, stretch


@njit(cache=True, nogil=True)
def _held(
    link: int, t: Array, hits: Array, misses: Array, level: float, psi: float, start: float
) -> Held:
    """Curve held at `level` at psi: slope, score and information of the level freed of the slope.

    The slope is nan where it has no finite value or does not rise.
    """
    away, reach = away_from(t, psi)
    slope, _, _ = hold(link, away, hits, misses, level, start * reach, FINE)
    if not (math.isfinite(slope) and slope > LEAST_SLOPE * reach):
        return math.nan, 0.0, 0.0, 0.0
    _, s0, s1, i00, i01, i11 = climb_at(link, level, slope, away, hits, misses)
    if not i11 > 0.0:
        return math.nan, 0.0, 0.0, 0.0
    free = i01 / i11
    return slope / reach, s0 - free * s1, i00 - i01 * free, free / reach


@njit(cache=True, nogil=True)
def held_curves(
    link: int,
    t: Array,
    hits: Array,
    misses: Array,
    level: float,
    places: Array,
    axis: Axis,
    log_ratio: float,
    out: Array,
) -> bool:
    """Hold both curves in a ratio; write (2, 4); false where one does not rise so.

    Slope, place where it is held, information on the level there, and I01 / I11. Psi lies between
    the places that each curve by itself asks for; Newton steps that leave what is known to hold it
    are replaced by halving.
    """
    shift, stretch = related(axis, log_ratio)
    low, high = places[0], (places[1] - shift) / stretch
    if low > high:
        low, high = high, low
    psi = 0.5 * (low + high)
    a, b = 0.0, 0.0
    for step in range(MOST_STEPS):
        at = shift + stretch * psi
        one = _held(link, t, hits[0], misses[0], level, psi, a)
        other = _held(link, t, hits[1], misses[1], level, at, b)
        if math.isnan(one[0]) or math.isnan(other[0]):
            return False
        a, b = one[0], other[0]
        out[0, 0], out[0, 1], out[0, 2], out[0, 3] = a, psi, one[2], one[3]
        out[1, 0], out[1, 1], out[1, 2], out[1, 3] = b, at, other[2], other[3]
        rise = -a * one[1] - stretch * b * other[1]
        bend = a * a * one[2] + (stretch * b) ** 2 * other[2]
        if not bend > 0.0:
            return False
        if rise > 0.0:
            low = psi
        else:
            high = psi
        new = psi + rise / bend
        if not low < new < high or step % 8 == 7:
            new = 0.5 * (low + high)
        if abs(new - psi) < CLOSE or high - low < CLOSE:
            return True
        psi = new
    return True


@njit(cache=True, nogil=True)
def target_scores(
    link: int,
    t: Array,
    hits: Array,
    misses: Array,
    level: float,
    places: Array,
    axis: Axis,
    log_ratio: float,
    out: Array,
) -> bool:
    """Write the score of each target (targets,); false where a curve held so does not rise.

    t (targets,) rises; hits, misses (2, targets); places (2,), psi of each curve by itself.
    """
    curves = np.empty((2, 4))
    if not held_curves(link, t, hits, misses, level, places, axis, log_ratio, curves):
        return False
    out[:] = 0.0
    _, stretch = related(axis, log_ratio)
    for mode in range(2):
        slope, at, information, free = curves[mode]
        if not information > 0.0:
            return False
        worth = (stretch if mode == 0 else -1.0) / (slope * information)
        for i in range(t.size):
            one = climb_at(link, level, slope, t[i : i + 1] - at, hits[mode, i : i + 1],
                           misses[mode, i : i + 1])  # fmt: skip
            out[i] += worth * (one[1] - free * one[2])
    return True


@njit(cache=True, nogil=True)
def studentised(
    link: int,
    t: Array,
    hits: Array,
    misses: Array,
    level: float,
    places: Array,
    axis: Axis,
    log_ratio: float,
    scores: Array,
) -> float:
    """Sum of the targets' scores over the root of the sum of their squares; nan without any.

    Positive where the data say that the ratio exceeds `log_ratio`.
    """
    if not target_scores(link, t, hits, misses, level, places, axis, log_ratio, scores):
        return math.nan
    total, square = 0.0, 0.0
    for i in range(scores.size):
        total += scores[i]
        square += scores[i] * scores[i]
    return total / math.sqrt(square) if square > 0.0 else math.nan


@njit(cache=True, nogil=True)
def lowest(
    link: int,
    t: Array,
    hits: Array,
    misses: Array,
    level: float,
    places: Array,
    axis: Axis,
    estimate: float,
    log_ratio: float,
    scores: Array,
) -> float:
    """Lowest statistic on the way from the estimate up to a log ratio; nan without any.

    Far from the estimate the squares of the scores outgrow their sum, and the statistic turns
    back: a ratio that was excluded on the way stays excluded.
    """
    if log_ratio <= estimate:
        return studentised(link, t, hits, misses, level, places, axis, log_ratio, scores)
    least = math.nan
    for k in range(1, WAY + 1):
        at = estimate + (log_ratio - estimate) * k / WAY
        one = studentised(link, t, hits, misses, level, places, axis, at, scores)
        if math.isnan(least) or one < least:
            least = one
    return least


@njit(cache=True, nogil=True)
def edge_of_ratio(
    link: int,
    t: Array,
    hits: Array,
    misses: Array,
    level: float,
    places: Array,
    axis: Axis,
    estimate: float,
    wanted: float,
    step: float,
) -> float:
    """First log ratio, going out from the estimate by steps, where the statistic is `wanted`.

    Infinite, with the sign of the step, where a curve ceases to rise before, or after many steps.
    """
    scores = np.empty(t.size)
    inside, t_inside = estimate, 0.0
    outside, t_outside = estimate, 0.0
    far = math.copysign(math.inf, step)
    for _ in range(MOST_STEPS):
        outside = inside + step
        t_outside = studentised(link, t, hits, misses, level, places, axis, outside, scores)
        if math.isnan(t_outside):
            return far
        if (t_outside - wanted) * step <= 0.0:
            break
        inside, t_inside = outside, t_outside
        step *= 1.2
    if (t_outside - wanted) * step > 0.0:
        return far
    for _ in range(MOST_STEPS):
        share = (t_inside - wanted) / (t_inside - t_outside)
        middle = inside + min(max(share, 0.05), 0.95) * (outside - inside)
        value = studentised(link, t, hits, misses, level, places, axis, middle, scores)
        if math.isnan(value):
            return far
        if (value - wanted) * step > 0.0:
            inside, t_inside = middle, value
        else:
            outside, t_outside = middle, value
        if abs(outside - inside) < 1e-10 or abs(value - wanted) < 1e-10:
            return middle
    return outside
