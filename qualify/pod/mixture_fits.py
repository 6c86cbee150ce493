"""Best floor, plateau and curve of a batch of data sets, from several starts."""

from dataclasses import dataclass

import numpy as np

from qualify.pod.climb import climb
from qualify.pod.links import Array, LinkName, eta_of
from qualify.pod.mixture import Counts, mixture, step_height

STEEPEST = 1e3  # per standard deviation of t; steeper is a step between neighbouring sizes
FARTHEST = 1e4
EDGE = 0.01  # starts keep this far from the limits 0 and 1


@dataclass(frozen=True, slots=True)
class Best:
    """The highest likelihood of each data set.

    Attributes
    ----------
    values : (sets, 4): floor, plateau, b0, b1 in centred and scaled sizes.
    smooth : (sets,) log-likelihood there.
    steep : (sets,) highest log-likelihood of infinitely steep curves.
    """

    values: Array
    smooth: Array
    steep: Array

    @property
    def height(self) -> Array:
        """Least upper bound (sets,) of the log-likelihood."""
        return np.maximum(self.smooth, self.steep)


def _shares(counts: Counts) -> tuple[Array, Array, Array]:
    """Floor, plateau and place (sets,) of the cut that parts hits from misses best."""
    hit, total = np.cumsum(counts.hits, axis=1), np.cumsum(counts.hits + counts.misses, axis=1)
    low = (hit + 0.5) / (total + 1.0)
    high = (hit[:, -1:] - hit + 0.5) / (total[:, -1:] - total + 1.0)
    weight = total * (total[:, -1:] - total)
    cut = np.argmax(np.sqrt(weight) * (high - low), axis=1)
    row = np.arange(len(hit))
    after = np.minimum(cut + 1, len(counts.t) - 1)
    return low[row, cut], high[row, cut], (counts.t[cut] + counts.t[after]) / 2.0


def starts_of(counts: Counts, link: LinkName, curve: Array) -> Array:
    """Give starts (sets, starts, 4) about the two-parameter `curve` (sets, 2) and the best cut."""
    low, high, place = _shares(counts)
    ones = np.ones(len(low))
    middle = float(eta_of(link, 0.5))
    b0, b1 = curve[:, 0], np.clip(curve[:, 1], 0.3, 30.0)
    rows = [
        (EDGE * ones, (1.0 - EDGE) * ones, b0, b1),
        (0.05 * ones, 0.85 * ones, 2.0 * b0 - middle, 2.0 * b1),
        (low, high, middle - 3.0 * place, 3.0 * ones),
        (low, high, middle - 10.0 * place, 10.0 * ones),
    ]
    return np.stack([np.stack(row, axis=1) for row in rows], axis=1)


def _box(sets: int, floor: Array | None, plateau: Array | None) -> tuple[Array, Array, bool]:
    """Lower and upper limits (sets, 4) of a, w, b0, b1, and whether the mirrored form is used."""
    low = np.tile([0.0, 0.0, -FARTHEST, 0.0], (sets, 1))
    high = np.tile([1.0, 1.0, FARTHEST, STEEPEST], (sets, 1))
    mirrored = plateau is not None and bool(np.any(plateau < 1.0))
    if mirrored and plateau is not None:
        low[:, 0] = high[:, 0] = 1.0 - plateau
        if floor is not None:
            low[:, 1] = high[:, 1] = 1.0 - floor / plateau
    else:
        if floor is not None:
            low[:, 0] = high[:, 0] = floor
        if plateau is not None:
            low[:, 1] = 1.0
    return low, high, mirrored


def _into(values: Array, mirrored: bool) -> Array:
    floor, plateau = values[:, 0], np.maximum(values[:, 1], 1e-12)
    if mirrored:
        first, second = 1.0 - plateau, 1.0 - floor / plateau
    else:
        first = np.minimum(floor, 1.0 - 1e-12)
        second = (plateau - first) / (1.0 - first)
    return np.column_stack([first, second, values[:, 2:]])


def _back(values: Array, mirrored: bool) -> Array:
    first, second = values[:, 0], values[:, 1]
    if mirrored:
        plateau = 1.0 - first
        return np.column_stack([plateau * (1.0 - second), plateau, values[:, 2:]])
    return np.column_stack([first, first + (1.0 - first) * second, values[:, 2:]])


def from_starts(
    counts: Counts, link: LinkName, floor: float | None, plateau: float | None, starts: Array
) -> Best:
    """Best end of the climbs from `starts` (sets, starts, 4); limits free where None."""
    sets, times = starts.shape[:2]
    many = counts.repeated(times) if times > 1 else counts
    held = [None if part is None else np.full(sets * times, part) for part in (floor, plateau)]
    low, high, mirrored = _box(sets * times, held[0], held[1])
    end = climb(mixture(many, link, mirrored), _into(starts.reshape(-1, 4), mirrored), low, high)
    chosen = np.argmax(end.height.reshape(sets, times), axis=1)
    at = np.arange(sets) * times + chosen
    steep = step_height(counts, floor, plateau)
    return Best(_back(end.values[at], mirrored), end.height[at], steep)


def two_parameter(counts: Counts, link: LinkName, floor: float = 0.0) -> Best:
    """Curve (sets, 4) with this floor and plateau 1: one start, as the likelihood is unimodal."""
    hits, misses = counts.hits.sum(axis=1), counts.misses.sum(axis=1)
    flat = eta_of(link, (hits + 0.5) / (hits + misses + 1.0))
    ones = np.ones(len(flat))
    starts = np.stack([floor * ones, ones, flat, ones], axis=1)[:, None]
    return from_starts(counts, link, floor, 1.0, starts)


def best(
    counts: Counts,
    link: LinkName,
    floor: float | None,
    plateau: float | None,
    curve: Best,
    near: Array | None = None,
) -> Best:
    """Highest likelihood with `floor` and `plateau` held where given, else free.

    Parameters
    ----------
    counts, link, floor, plateau : data and model.
    curve : the two-parameter fit of the same data.
    near : (sets, 4), a point worth starting from, as the solution of a wider model; it replaces
        all starts but the two-parameter curve.
    """
    if floor == 0.0 and plateau == 1.0:
        return curve
    starts = starts_of(counts, link, curve.values[:, 2:])
    if near is not None:
        starts = np.concatenate([starts[:, :1], near[:, None]], axis=1)
    return from_starts(counts, link, floor, plateau, starts)
