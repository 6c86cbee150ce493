"""The farthest statement that simulation does not reject: the search behind calibrated bounds.

A way leads outwards from the estimate. At each place stands a statement 'the curve runs through
`level` at `psi`', with its p from simulated trials; every place sees the same random numbers. As p
need not fall monotonically, the search begins at the far end: first on a ladder, with few
simulated trials and with more where those do not decide, then between the last rung kept and
the next.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy import special

from qualify.pod.kernels import LINK_NUMBERS
from qualify.pod.problem import SizedHits, held, normal_quantile, signed_root
from qualify.pod.simulation import away_from, exceedances
from qualify.threads import in_threads

FEW, MIDDLE, LEAST = 99, 1_999, 999
WORK = 5_000_000  # simulated targets a size looked at; large trials get by with fewer repeats
NEAR_PART, FAR_PART = (0.1, 8.0), (14.0, 30.0, 300.0)  # of the ladder, in first steps
RUNGS, FEWEST_AND_MOST = 1_200, (24, 80)  # rungs of the near part times targets; its limits
THREADED = 50_000  # simulated targets; fewer are not worth a thread
STEPS_OUT, EVEN_STEPS = 60, 8  # outwards from a root; even ones, then each twice the last
INFINITY = 1e6  # standardised size at which a curve is as good as flat
NEAR = 0.5  # normal quantiles: so near to rejection, few simulated trials do not decide
ROOT_STEPS = 12
ENOUGH = 0.1  # of the Monte-Carlo error: closer to the root is not worth a look
NARROW = 2e-4  # of the place: an interval so narrow is not halved further
TILT = 0.15  # share of the place by which the slope of the margin is taken
LEAST_SLOPE = 1e-6
CERTAIN = 1.0 - 1e-9
SMOOTH = 0.5  # of the Monte-Carlo error: so near after one step, p is smooth there
WIDEN = 3.0  # steps by which an interval is widened, in Monte-Carlo errors

Place = Callable[[float], tuple[float, float]]  # position on the way -> psi, level


def stream(seed: int) -> np.uint64:
    """Return the start of the generator of a recorded seed."""
    state = np.random.SeedSequence([seed, *b"calibration"]).generate_state(1, np.uint64)
    return np.uint64(state[0])


def affordable(simulations: int, trials: float) -> int:
    """Return how many repeats are run: fewer in large trials, where r is nearly normal."""
    return int(min(simulations, max(LEAST, WORK // max(1.0, trials))))


class Walked(Protocol):
    """A way that is searched: places from the estimate (0) outwards."""

    @property
    def confidence(self) -> float:
        """Of the bound, as a fraction."""

    @property
    def readings(self) -> float:
        """Readings of one simulated trial."""

    def margin(self, at: float, simulations: int) -> float:
        """How far beyond rejection a place lies; 0 or less: kept."""


def margin_of(p: float, confidence: float) -> float:
    """Return how far beyond rejection a p lies, in normal quantiles; 0 or less: kept."""
    return float(-special.ndtri(min(p, CERTAIN))) - normal_quantile(confidence)


@dataclass(frozen=True, slots=True)
class Way:
    """Places to be looked at, from the estimate (0) outwards, for data and side."""

    data: SizedHits
    place: Place
    sign: float
    confidence: float
    seed: int

    def p_value(self, at: float, simulations: int) -> float:
        """Return p of the statement at one place, from so many simulated trials."""
        psi, level = self.place(at)
        psis, levels = np.array([psi]), np.array([level])
        slope = float(held(self.data, psis, levels)[0][0]) * away_from(self.data.t, psi)[1]
        root = self.sign * float(signed_root(self.data, psis, levels)[0])
        number, state = LINK_NUMBERS[self.data.link], stream(self.seed)
        t, trials, counts = self.data.t, self.data.trials, []

        def work(first: int, last: int) -> None:
            found = exceedances(
                number, t, trials, psi, level, slope, root, self.sign, state, first, last, last
            )
            counts.append(found)

        in_threads(work, simulations, least=1 + THREADED // t.size)
        return float((sum(counts) + 1) / (simulations + 1))

    def margin(self, at: float, simulations: int) -> float:
        """How far beyond rejection a place lies, in normal quantiles; 0 or less: kept."""
        return margin_of(self.p_value(at, simulations), self.confidence)

    @property
    def readings(self) -> float:
        """Readings of one simulated trial."""
        return float(self.data.trials.sum())


@dataclass(frozen=True, slots=True)
class Found:
    """Where the bound lies on the way, its Monte-Carlo error there, and the trials behind it."""

    at: float
    error: float
    simulations: int


def _bracket(way: Walked, simulations: int) -> tuple[float, float] | None:
    """Return the farthest place kept and one rejected beyond it; None if none is rejected.

    In small trials p jumps, and the ladder has more rungs: they are cheap there.
    """
    if way.margin(np.inf, simulations) <= 0.0:
        return None
    count = int(np.clip(RUNGS / way.readings, *FEWEST_AND_MOST))
    ladder = [*np.geomspace(*NEAR_PART, count).tolist(), *FAR_PART]
    inner, outer = _last_rung(way, ladder, simulations)
    if np.isinf(outer):
        outer = 4.0 * inner
        while way.margin(outer, simulations) <= 0.0 and outer < INFINITY:
            inner, outer = outer, 4.0 * outer
    return inner, outer


def _last_rung(way: Walked, rungs: Sequence[float], simulations: int) -> tuple[float, float]:
    """Return the farthest rung kept, or 0, and the next beyond it, or infinity."""
    outer = np.inf
    for at in reversed(rungs):
        margin = way.margin(at, FEW)
        if abs(margin) <= NEAR:
            margin = way.margin(at, simulations)
        if margin <= 0.0:
            return at, outer
        outer = at
    return 0.0, outer


def _root(way: Walked, inner: float, outer: float, simulations: int) -> float:
    """Close in on the root between a place kept and one rejected, by the Illinois method.

    Where p jumps, as in small trials, the rejected end of the last interval is returned.
    """
    a, b = inner, outer
    low, high = way.margin(a, simulations), way.margin(b, simulations)
    enough = ENOUGH * _margin_error(way.confidence, simulations)
    for _ in range(ROOT_STEPS):
        middle = a - low * (b - a) / (high - low) if high > low else 0.5 * (a + b)
        middle = min(max(middle, a + 0.02 * (b - a)), b - 0.02 * (b - a))
        seen = way.margin(middle, simulations)
        if abs(seen) <= enough:
            return middle
        if seen <= 0.0:
            a, low, high = middle, seen, 0.5 * high
        else:
            b, high, low = middle, seen, 0.5 * low
        if b - a <= NARROW * b:
            break
    return b


def _margin_error(confidence: float, simulations: int) -> float:
    """Return the Monte-Carlo standard error of a margin near 0."""
    z = normal_quantile(confidence)
    share = np.sqrt(confidence * (1.0 - confidence) / simulations)
    return float(share * np.sqrt(2.0 * np.pi) * np.exp(0.5 * z * z))


def farthest_kept(way: Walked, simulations: int) -> Found | None:
    """Find the farthest place that is kept: coarsely with few simulated trials, then with all."""
    first = min(simulations, MIDDLE)
    bracket = _bracket(way, first)
    if bracket is None:
        return None
    at = _root(way, *bracket, first)
    slope = _slope(way, at, first)
    if simulations > first:
        refined = _refined(way, at, slope, simulations)
        if refined is None:
            return None
        at = refined
    return Found(at, _margin_error(way.confidence, simulations) / slope, simulations)


def _refined(way: Walked, at: float, slope: float, simulations: int) -> float | None:
    """Move a root found with few simulated trials to that with all of them.

    One secant step where p is smooth; where it jumps, an interval is closed in on again. None where
    all of them reject no place, however far, that few rejected.
    """
    error = _margin_error(way.confidence, simulations)
    here = way.margin(at, simulations)
    if abs(here) <= ENOUGH * error:
        return at
    there = min(max(at - here / slope, 0.7 * at), 1.3 * at)
    margin = way.margin(there, simulations)
    if abs(margin) <= SMOOTH * error:
        local = (margin - here) / (there - at)
        return there - margin / local if local > 0.3 * slope else there
    inner, outer = min(at, there), max(at, there)
    reach = max(WIDEN * error / slope, 0.02 * outer)
    while way.margin(inner, simulations) > 0.0 and inner > 1e-3:
        outer, inner = inner, max(inner - reach, 0.5 * inner)
    for step in range(STEPS_OUT):
        if way.margin(outer, simulations) > 0.0:
            return _root(way, inner, outer, simulations)
        wide = min(reach, 0.5 * outer) * 2.0 ** max(0, step - EVEN_STEPS)
        inner, outer = outer, outer + wide
        if step == EVEN_STEPS and way.margin(np.inf, simulations) <= 0.0:
            return None
    return None


def _slope(way: Walked, at: float, simulations: int) -> float:
    """Return the slope of the margin about a place."""
    near, far = (way.margin(at * factor, simulations) for factor in (1.0 - TILT, 1.0 + TILT))
    return max((far - near) / (2.0 * TILT * at), LEAST_SLOPE)
