"""Bounds from responses that hold as often as they say: the likelihood ratio calibrated.

For a statement 'POD is p at psi' the trial is repeated by simulation from the line held there,
censored as the data were, and the signed root r of the data is compared with the quantile of the
simulated ones. The bound is the farthest place that is not rejected; every place sees the same
random numbers. Where nothing is censored and no target is repeated the result is the exact bound
but for the error of simulation, as r is then a function of a non-central t variable alone.

Where targets have several responses, r is that of all rows taken as independent, and the simulated
trials share variance within targets as the data do: the statistic is simple, its distribution is
not taken from theory.

Sources: see `qualify.pod.calibrated`. How often it holds is counted in `tests/recovery`.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize

from qualify.pod.calibrated import SEED
from qualify.pod.links import Array
from qualify.pod.problem import Side, normal_quantile
from qualify.pod.response_curve import ResponseCurve, held, signed_root
from qualify.pod.response_simulation import roots, stream
from qualify.pod.response_targets import shared_variance
from qualify.threads import in_threads

SIMULATIONS = 19_999
FEW = 1_999
WORK = 3_000_000  # simulated rows a place; large trials get by with fewer repeats
THREADED = 20_000  # simulated rows; fewer are not worth a thread
INFINITY = 1e6
STEPS = 6  # of the fixed point
FEWEST_SHARE = 0.25  # of simulated trials that must have a line; else nothing is excluded
NEAR = 0.1  # of the Monte-Carlo error: closer to the root is not worth a step
RUNGS = (1.5, 2.5, 5.0, 20.0, 200.0)  # of the distance of the bound, looked at beyond it
FARTHEST = 60.0  # probits

Place = Callable[[float], tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Found:
    """Where a bound lies on its way, the Monte-Carlo error there, and the trials behind it."""

    at: float
    error: float
    simulations: int


@dataclass(frozen=True, slots=True)
class Way:
    """Places to be looked at, from the estimate (0) outwards; `place` gives psi and probit."""

    curve: ResponseCurve
    place: Place
    sign: float
    confidence: float
    seed: int

    def root(self, at: float) -> float:
        """Signed root of the data at a place, positive outwards."""
        return self.sign * signed_root(self.curve, *self.place(at))

    def simulated(self, at: float, simulations: int) -> Array:
        """Sorted signed roots of trials drawn from the line held at a place, of those with one."""
        psi, eta = self.place(at)
        data, growing = self.curve.data, self.curve.growing
        truth = held(self.curve, psi, eta)
        rho = shared_variance(data, *truth[:4])
        state = stream(self.seed, b"responses")
        out = np.empty(simulations)

        def work(first: int, last: int) -> None:
            roots(data.t, data.low, data.high, data.group, growing, psi, eta, truth, rho, state,
                  first, last, out)  # fmt: skip

        in_threads(work, simulations, least=1 + THREADED // data.rows)
        return np.sort(self.sign * out[np.isfinite(out)])

    def quantile(self, at: float, simulations: int) -> float:
        """Quantile of the simulated roots that a root of the data must exceed to be rejected."""
        found = self.simulated(at, simulations)
        if found.size < FEWEST_SHARE * simulations:
            return math.inf
        rank = math.ceil(self.confidence * (found.size + 1))
        return float(found[rank - 1])


def affordable(simulations: int, rows: int) -> int:
    """Return how many repeats are run: fewer in large trials, where r is nearly normal."""
    return int(min(simulations, max(FEW, WORK // max(1, rows))))


def farthest_kept(way: Way, simulations: int, *, bounded: bool) -> Found | None:
    """Return the farthest place that is kept; None where none, however far, is rejected.

    `bounded`: whether the root of the data grows without bound along the way.
    """
    if not bounded:
        few = min(FEW, simulations)
        gap = way.root(math.inf) - way.quantile(math.inf, few)
        if abs(gap) < 0.2 and few < simulations:
            gap = way.root(math.inf) - way.quantile(math.inf, simulations)
        if not gap > 0.0:
            return None
    at = _fixed_point(way, simulations)
    if at is None:
        return None
    beyond = [at * rung for rung in RUNGS]
    few = min(FEW, simulations)
    kept = [place for place in beyond if _kept(way, place, few)]
    if kept:
        at = _closed_in(way, max(kept), simulations)
    return Found(at, _error(way, at, simulations), simulations)


def _kept(way: Way, at: float, simulations: int) -> bool:
    """Whether a place is kept; not where most trials drawn there hold too little for a line."""
    quantile = way.quantile(at, simulations)
    return math.isfinite(quantile) and way.root(at) <= quantile


def _place_of_root(way: Way, wanted: float) -> float | None:
    """Return where the root of the data reaches a value; None where it never does."""
    outer = 1.0
    while way.root(outer) < wanted:
        outer *= 2.0
        if outer > INFINITY:
            return None
    if wanted <= 0.0:
        return 0.0
    return float(optimize.brentq(lambda at: way.root(at) - wanted, 0.0, outer, xtol=1e-10))


def _fixed_point(way: Way, simulations: int) -> float | None:
    """Move to where the root of the data equals the quantile simulated there."""
    at = _place_of_root(way, normal_quantile(way.confidence))
    few = min(FEW, simulations)
    for step in range(STEPS):
        if at is None:
            return None
        repeats = few if step == 0 else simulations
        new = _place_of_root(way, way.quantile(at, repeats))
        if new is None:
            return None
        settled = abs(new - at) <= NEAR * _error(way, new, simulations)
        at = new
        if settled and repeats == simulations:
            break
    return at


def _closed_in(way: Way, inner: float, simulations: int) -> float:
    """Halve an interval whose inner end is kept until it is narrow."""
    outer = 2.0 * inner
    while _kept(way, outer, simulations) and outer < INFINITY:
        inner, outer = outer, 2.0 * outer
    while outer - inner > 1e-3 * outer:
        middle = 0.5 * (inner + outer)
        if _kept(way, middle, simulations):
            inner = middle
        else:
            outer = middle
    return outer


def _error(way: Way, at: float, simulations: int) -> float:
    """Monte-Carlo standard error of a place, from that of a quantile of a nearly normal root."""
    z = normal_quantile(way.confidence)
    share = math.sqrt(way.confidence * (1.0 - way.confidence) / simulations)
    step = 0.05 * max(at, 1e-6)
    rise = (way.root(at + step) - way.root(max(at - step, 0.0))) / (2.0 * step)
    return share * math.sqrt(2.0 * math.pi) * math.exp(0.5 * z * z) / max(rise, 1e-9)


def calibrated_psi(
    curve: ResponseCurve,
    eta: float,
    confidence: float,
    side: Side,
    *,
    seed: int = SEED,
    simulations: int = SIMULATIONS,
) -> Found | None:
    """Return the calibrated bound on t where the probit of POD is `eta`; `at` is that t."""
    estimate = curve.psi(eta)
    sign = 1.0 if side == "upper" else -1.0
    unit = sign * max(delta_error(curve, eta), 1e-9)

    def place(at: float) -> tuple[float, float]:
        return (math.copysign(math.inf, unit) if math.isinf(at) else estimate + at * unit), eta

    repeats = affordable(simulations, curve.data.rows)
    found = farthest_kept(Way(curve, place, sign, confidence, seed), repeats, bounded=False)
    if found is None:
        return None
    return Found(estimate + found.at * unit, found.error * abs(unit), repeats)


def calibrated_eta(
    curve: ResponseCurve,
    psi: float,
    confidence: float,
    *,
    seed: int = SEED,
    simulations: int = SIMULATIONS,
) -> Found | None:
    """Return the lower calibrated bound on the probit of POD at a standardised size."""
    top = float(curve.eta(np.array([psi]))[0])
    gradient = np.array([0.0, psi, 1.0])
    unit = max(math.sqrt(gradient @ curve.covariance @ gradient), 1e-9)

    def place(at: float) -> tuple[float, float]:
        return psi, top - (FARTHEST if math.isinf(at) else at * unit)

    repeats = affordable(simulations, curve.data.rows)
    found = farthest_kept(Way(curve, place, 1.0, confidence, seed), repeats, bounded=True)
    if found is None:
        return None
    return Found(top - found.at * unit, found.error * unit, repeats)


def delta_error(curve: ResponseCurve, eta: float) -> float:
    """Return the standard error of psi by the delta method, the growth held."""
    psi, k = curve.psi(eta), curve.growth
    # eta(psi) = (level + slope psi) exp(-k psi): its derivatives in psi, slope and level
    rise = (curve.slope - k * (curve.level + curve.slope * psi)) if k else curve.slope
    gradient = np.array([0.0, psi, 1.0]) / rise
    return float(math.sqrt(gradient @ curve.covariance @ gradient))


def p_value(
    curve: ResponseCurve, psi: float, eta: float, *, seed: int, simulations: int = SIMULATIONS
) -> float:
    """Return p of the statement that the probit of POD at psi is `eta` or less."""
    way = Way(curve, lambda _: (psi, eta), 1.0, 0.95, seed)
    found = way.simulated(0.0, simulations)
    return (int(np.sum(found >= way.root(0.0))) + 1) / (found.size + 1)
