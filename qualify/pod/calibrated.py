"""Bounds that hold as often as they say: the likelihood ratio calibrated by simulation.

For a statement 'the curve runs through `level` at `psi`' the trial is repeated by simulation
from the curve held there (not from the fitted one), and the signed root r of the data is
compared with the simulated ones: p = (count of r* >= r, plus 1) / (simulations + 1). The bound is
the farthest size that is not rejected, the largest root of p(psi) = 1 - confidence, as p need
not fall monotonically. Every size uses the same random numbers, so that p changes smoothly. The
method needs no overlap of hits and misses.

A bound exists if the statement 'the curve is flat' (psi at infinity) is rejected. On the way the
search looks at a ladder of sizes with few simulated trials, then at those in question with many.

Sources: Beran 1987, Biometrika 74: 457-468 (prepivoting); DiCiccio, Martin and Stern 2001,
Canadian Journal of Statistics 29: 67-76 (simulation at the constrained fit); Davison and Hinkley
1997, section 4.2, for (count + 1) / (simulations + 1). From memory; how often it holds is
counted in `tests/recovery`.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from qualify.pod.bounds import delta_error, start_and_step
from qualify.pod.engine import in_threads
from qualify.pod.kernels import LINK_NUMBERS
from qualify.pod.links import eta_of, pod_of
from qualify.pod.problem import (
    NO_TREND,
    BoundValue,
    FittedCurve,
    Side,
    SizedHits,
    held,
    normal_quantile,
    signed_root,
)
from qualify.pod.simulation import away_from, exceedances

SIMULATIONS = 19_999  # behind a bound that is reported
SEED = 1
FEW, MIDDLE, LEAST = 249, 1_999, 999
WORK = 5_000_000  # simulated targets a size looked at; large trials get by with fewer repeats
LADDER = (0.2, 0.5, 0.8, 1.0, 1.2, 1.4, 1.7, 2.0, 2.5, 3.0, 4.0, 6.0, 10.0, 30.0, 300.0)
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
HIGHEST = 1.0 - 1e-6  # where the search for a POD begins without an estimate
FARTHEST = 500.0  # link units below the estimate, as good as POD 0

Place = Callable[[float], tuple[float, float]]  # position on the way -> psi, level


def stream(seed: int) -> np.uint64:
    """Return the start of the generator of a recorded seed."""
    state = np.random.SeedSequence([seed, *b"calibration"]).generate_state(1, np.uint64)
    return np.uint64(state[0])


def affordable(simulations: int, trials: float) -> int:
    """Return how many repeats are run: fewer in large trials, where r is nearly normal."""
    return int(min(simulations, max(LEAST, WORK // max(1.0, trials))))


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

        in_threads(work, simulations, least=100)
        return float((sum(counts) + 1) / (simulations + 1))

    def margin(self, at: float, simulations: int) -> float:
        """How far beyond rejection a place lies, in normal quantiles; 0 or less: kept."""
        p = min(self.p_value(at, simulations), CERTAIN)
        return float(-special.ndtri(p)) - normal_quantile(self.confidence)


@dataclass(frozen=True, slots=True)
class _Found:
    """Where the bound lies on the way, its Monte-Carlo error there, and the trials behind it."""

    at: float
    error: float
    simulations: int


def _bracket(way: Way, simulations: int) -> tuple[float, float] | None:
    """Return the last place kept and the first rejected beyond it; None if none is rejected."""
    if way.margin(np.inf, simulations) <= 0.0:
        return None
    outer = np.inf
    for at in reversed(LADDER):
        margin = way.margin(at, FEW)
        if abs(margin) <= NEAR:
            margin = way.margin(at, simulations)
        if margin <= 0.0:
            break
        outer = at
    else:
        return 0.0, outer
    if np.isinf(outer):
        outer = 4.0 * at
        while way.margin(outer, simulations) <= 0.0 and outer < INFINITY:
            at, outer = outer, 4.0 * outer
    return at, outer


def _root(way: Way, inner: float, outer: float, simulations: int) -> float:
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


def _solve(way: Way, simulations: int) -> _Found | None:
    """Find the farthest place that is kept: coarsely with few simulated trials, then with all."""
    first = min(simulations, MIDDLE)
    bracket = _bracket(way, first)
    if bracket is None:
        return None
    at = _root(way, *bracket, first)
    slope = _slope(way, at, first)
    if simulations > first:
        at = _refined(way, at, slope, simulations)
    return _Found(at, _margin_error(way.confidence, simulations) / slope, simulations)


def _refined(way: Way, at: float, slope: float, simulations: int) -> float:
    """Move a root found with few simulated trials to that with all of them.

    One secant step where p is smooth; where it jumps, an interval is closed in on again.
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
    while way.margin(outer, simulations) <= 0.0:
        inner, outer = outer, outer + min(reach, 0.5 * outer)
    return _root(way, inner, outer, simulations)


def _slope(way: Way, at: float, simulations: int) -> float:
    """Return the slope of the margin about a place."""
    near, far = (way.margin(at * factor, simulations) for factor in (1.0 - TILT, 1.0 + TILT))
    return max((far - near) / (2.0 * TILT * at), LEAST_SLOPE)


def calibrated_bound(
    data: SizedHits,
    pod: float,
    confidence: float,
    side: Side,
    *,
    seed: int = SEED,
    simulations: int = SIMULATIONS,
) -> BoundValue:
    """One-sided calibrated bound on the size where POD = `pod`, in the caller's unit.

    Parameters
    ----------
    data : with overlap of hits and misses or without.
    pod, confidence : fractions.
    seed : whole number from 0, recorded by the caller.
    simulations : trials simulated for the size reported, fewer in very large trials.

    Returns
    -------
    BoundValue : with the Monte-Carlo standard error of the bound in the caller's unit, and the
        simulated trials behind it.

    Raises
    ------
    ValueError : for a pod or a confidence out of range.
    """
    level = eta_of(data.link, np.array([pod]))
    start, step = start_and_step(data, level, side, normal_quantile(confidence))
    origin, unit, fixed = float(start[0]), float(step[0]), float(level[0])

    def place(at: float) -> tuple[float, float]:
        return (np.copysign(INFINITY, unit) if np.isinf(at) else origin + at * unit), fixed

    way = Way(data, place, 1.0 if side == "upper" else -1.0, confidence, seed)
    repeats = affordable(simulations, float(data.trials.sum()))
    found = None
    if data.slope_lr > normal_quantile(confidence) ** 2:
        found = _solve(way, repeats)
    if found is None:
        return BoundValue(None, NO_TREND, "calibrated", side, None, repeats)
    psi = origin + found.at * unit
    told = data.bound(psi, "calibrated", side)
    if told.value is None:
        return BoundValue(None, told.reason, "calibrated", side, None, repeats)
    error = found.error * abs(unit) * data.spread
    error *= told.value if data.scale == "log" else 1.0
    return BoundValue(told.value, None, "calibrated", side, error, repeats)


def calibrated_pod_bound(
    data: SizedHits,
    psi: float,
    confidence: float,
    *,
    seed: int = SEED,
    simulations: int = SIMULATIONS,
) -> float:
    """One-sided lower calibrated bound on POD at the standardised size `psi`.

    0 where the data do not exclude any POD, however low.
    """
    if isinstance(data, FittedCurve):
        eta = data.intercept + data.slope * psi
        unit = abs(data.slope) * float(delta_error(data, np.array([psi]))[0])
        unit *= normal_quantile(confidence)
    else:  # no estimate: the highest POD that any curve through the data reaches there is 1
        eta, unit = float(eta_of(data.link, HIGHEST)), 1.0

    def place(at: float) -> tuple[float, float]:
        return psi, (eta - FARTHEST if np.isinf(at) else eta - at * unit)

    way = Way(data, place, 1.0, confidence, seed)
    found = _solve(way, affordable(simulations, float(data.trials.sum())))
    if found is None:
        return 0.0
    return float(pod_of(data.link, np.array([eta - found.at * unit]))[0])


def p_value(
    data: SizedHits, psi: float, pod: float, *, seed: int = SEED, simulations: int = SIMULATIONS
) -> float:
    """Return p of the statement that POD at the standardised size `psi` is `pod` or less."""
    level = float(eta_of(data.link, pod))
    return Way(data, lambda _: (psi, level), 1.0, 0.95, seed).p_value(0.0, simulations)
