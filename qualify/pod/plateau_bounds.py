"""Profile-likelihood bounds of curves with a plateau: on the plateau, and on a90.

- Plateau: the largest value below the estimate at which twice the drop of the profile
  likelihood reaches z^2.
- a90: the curve is held at POD 0.90 at a size, everything else is fitted anew. As that size
  grows without limit, the profile tends to the higher of 'plateau 0.90' and 'no slope'. So an
  upper bound exists if and only if the data exclude both at the confidence asked for.

How often they hold, in our own simulation (plateau 0.97, logit curve in log size, slope 3, sizes
0.5 to 8, half of that found at 1.6, floor held at 0, 300 trials each): the plateau bound in 100 %
of trials of 120 targets and 94 % of 400; the a90 bound did not exist in 66 and 24 %, and where
it existed it held in 85 and 93 %.

Source: Cox and Hinkley 1974, section 9.3, for profile likelihood (from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from qualify.pod.climb import climb
from qualify.pod.links import Array, LinkName, eta_of
from qualify.pod.mixture import Counts, held_mixture, step_height
from qualify.pod.mixture_fits import STEEPEST, Best, from_starts
from qualify.pod.observations import size_of
from qualify.pod.problem import normal_quantile

POD = 0.9
MOST_EXCESS = 60.0  # of the link value: all of the way from plateau 1 to plateau 0.90
MAX_DOUBLINGS = 40
ROOT = 1e-10

LOW_PLATEAU = "the plateau of the curve lies at or below 0.90: no size has POD 0.90"
HIGH_FLOOR = "the floor of the curve lies at or above 0.90: a90 has no meaning"
NOT_EXCLUDED = "the data don't exclude a plateau at or below 0.90"
NO_PLATEAU_BOUND = "the data exclude no plateau"
NO_TREND = "POD is not shown to rise with size"
NOT_FOUND = "the bound lies too far beyond the sizes tested to be given as a number"
NO_SIZE = "it is no finite size of 0 or more"


@dataclass(frozen=True, slots=True)
class Limit:
    """A number, or the reason why there is none.

    Attributes
    ----------
    value : float or None.
    reason : in words when there is no value, else None.
    """

    value: float | None
    reason: str | None


@dataclass(frozen=True, slots=True)
class Climate:
    """Counts of one data set in t = (x - centre) / spread, with link and scale."""

    counts: Counts
    link: LinkName
    scale: str
    centre: float
    spread: float

    def limit_at(self, t: float) -> Limit:
        """Size of a standardised t, as a `Limit`."""
        size = size_of(self.centre + self.spread * t, self.scale)
        return Limit(size, None if size is not None else NO_SIZE)

    def flat_height(self, floor: float | None) -> float:
        """Log-likelihood of one POD for all targets, blanks by the floor."""
        c = self.counts
        hits, misses = float(c.hits.sum()), float(c.misses.sum())
        called, quiet = float(c.called[0]), float(c.quiet[0])
        share = hits / (hits + misses)
        low = (called / (called + quiet) if called else 0.0) if floor is None else floor
        if share < low:  # the floor can't lie above the curve
            share = low = (
                (hits + called) / (hits + misses + called + quiet) if floor is None else low
            )
        height = special.xlogy(hits, share) + special.xlog1py(misses, -share)
        return float(height + special.xlogy(called, low) + special.xlog1py(quiet, -low))

    def step_limits(self, floor: float | None) -> tuple[float, float]:
        """Floor and plateau of the best infinitely steep curve."""

        def loss(top: float) -> float:
            return -float(step_height(self.counts, floor, top)[0])

        c = self.counts
        target = float(step_height(c, floor, None)[0])
        hits, total = c.hits[0], c.hits[0] + c.misses[0]
        above = np.cumsum(hits[::-1])[::-1] / np.cumsum(total[::-1])[::-1]
        tops = np.unique(np.append(above, 1.0))
        top = float(min(tops, key=lambda v: abs(-loss(v) - target)))
        if floor is not None:
            return floor, top
        called, blanks = float(c.called[0]), float(c.called[0] + c.quiet[0])
        below = (np.cumsum(hits) + called) / (np.cumsum(total) + blanks)
        lows = np.unique(np.append(below, called / blanks if blanks else 0.0))
        heights = [float(step_height(c, low, top)[0]) for low in lows]
        return float(lows[int(np.argmax(heights))]), top


def profile_plateau(
    climate: Climate, floor: float | None, plateau: float, starts: Array
) -> tuple[float, Array]:
    """Highest log-likelihood with the plateau held; also the values (4,) reached."""
    held = starts.copy()
    held[..., 1] = plateau
    held[..., 0] = np.minimum(held[..., 0], 0.9 * plateau)
    end = from_starts(climate.counts, climate.link, floor, plateau, held)
    return float(end.height[0]), end.values[0]


def _starts_below(found: Best) -> Array:
    """Give starts (1, 2, 4) about the estimate: as it is, and shallower."""
    one = found.values[0]
    shallow = one * np.array([1.0, 1.0, 0.5, 0.5])
    return np.stack([one, shallow])[None]


def _crossing(
    residual: Callable[[float], float], estimate: float, step: float, least: float, z: float
) -> float | None:
    """Where a residual, -z at `estimate`, crosses 0 in the direction of `step`; None if nowhere.

    `least` is the place beyond which a downward search does not go.
    """
    known = {estimate: -z}

    def once(place: float) -> float:
        if place not in known:
            known[place] = residual(place)
        return known[place]

    near = estimate
    for _ in range(MAX_DOUBLINGS):
        far = max(least, near + step)
        if once(far) >= 0.0:
            return float(optimize.brentq(once, near, far, xtol=ROOT, rtol=ROOT))
        if far == least:
            break
        near, step = far, 2.0 * step
    return None


def plateau_lower(climate: Climate, found: Best, floor: float | None, confidence: float) -> Limit:
    """One-sided lower profile-likelihood bound on the plateau."""
    z, top = normal_quantile(confidence), float(found.values[0, 1])
    starts = np.concatenate([_starts_below(found), found.values[None]], axis=1)

    def residual(plateau: float) -> float:
        height, starts[0, -1] = profile_plateau(climate, floor, plateau, starts)
        return float(np.sqrt(max(0.0, 2.0 * (found.height[0] - height)))) - z

    least = 1e-6 if floor is None else floor + 1e-6
    place = _crossing(residual, top, -0.02, least, z)
    return Limit(None, NO_PLATEAU_BOUND) if place is None else Limit(place, None)


def _obstacle(climate: Climate, found: Best, floor: float | None, confidence: float) -> str | None:
    """Why no a90 is given, or None."""
    low, top = found.values[0, 0], found.values[0, 1]
    if low >= POD:
        return HIGH_FLOOR
    if top <= POD:
        return LOW_PLATEAU
    shown = 2.0 * (found.height[0] - climate.flat_height(floor)) > normal_quantile(confidence) ** 2
    return None if shown else NO_TREND


def _psi(climate: Climate, found: Best) -> float:
    low, top, b0, b1 = (float(v) for v in found.values[0])
    return (float(eta_of(climate.link, (POD - low) / (top - low))) - b0) / b1


def a90_of(climate: Climate, found: Best, floor: float | None, confidence: float) -> Limit:
    """Size with POD 0.90, or why there is none."""
    reason = _obstacle(climate, found, floor, confidence)
    return climate.limit_at(_psi(climate, found)) if reason is None else Limit(None, reason)


def profile_size(
    climate: Climate,
    psi: float,
    level: float,
    floor: float | None,
    top: float | None,
    starts: Array,
) -> tuple[float, Array]:
    """Highest log-likelihood with P(hit) = `level` at t = `psi`, and where it was reached.

    `starts` (k, 3): floor, excess, slope. `top` is 1 for a plateau held at 1, None for a free one.
    """
    likelihood = held_mixture(climate.counts.repeated(len(starts)), climate.link, psi, level)
    most = 0.0 if top is not None else MOST_EXCESS
    low, high = np.zeros_like(starts), np.tile([level - 1e-6, most, STEEPEST], (len(starts), 1))
    if floor is not None:
        low[:, 0] = high[:, 0] = floor
    end = climb(likelihood, starts, low, high)
    chosen = int(np.argmax(end.height))
    return float(end.height[chosen]), end.values[chosen]


def upper_psi(
    climate: Climate,
    highest: float,
    estimate: float,
    level: float,
    limits: tuple[float | None, float | None],
    start: tuple[float, float, float],
    z: float,
) -> float | None:
    """Largest t that the likelihood does not exclude as the place where P(hit) = `level`."""
    starts = np.array(
        [start, (start[0], start[1] + 2.0, start[2]), (start[0], 0.0, start[2] / 2), start]
    )

    def residual(psi: float) -> float:
        height, starts[-1] = profile_size(climate, psi, level, limits[0], limits[1], starts)
        return float(np.sqrt(max(0.0, 2.0 * (highest - height)))) - z

    return _crossing(residual, estimate, 0.25, -np.inf, z)


def size_upper(climate: Climate, found: Best, floor: float | None, confidence: float) -> Limit:
    """One-sided upper profile-likelihood bound on a90, or why there is none."""
    reason = _obstacle(climate, found, floor, confidence)
    if reason is not None:
        return Limit(None, reason)
    z, highest = normal_quantile(confidence), float(found.height[0])
    at_limit = profile_plateau(climate, floor, POD, _starts_below(found))[0]
    if 2.0 * (highest - at_limit) <= z**2:
        return Limit(None, NOT_EXCLUDED)
    low, top, _, b1 = (float(v) for v in found.values[0])
    psi = _psi(climate, found)
    share = (POD - low) / (top - low), (POD - low) / (1.0 - low)
    excess = float(eta_of(climate.link, share[0]) - eta_of(climate.link, share[1]))
    reached = upper_psi(climate, highest, psi, POD, (floor, None), (low, excess, b1), z)
    return Limit(None, NOT_EXCLUDED) if reached is None else climate.limit_at(reached)
