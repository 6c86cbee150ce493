"""The score statistic of a ratio of a90 held against its own distribution, by simulated trials.

Trials are drawn from the curves held in that ratio. All readings of a target, in both modes and by
all readers, share a normal effect of the target: a reading is a hit where
sqrt(rho) u + sqrt(1 - rho) e lies below the probit of its POD, so that the POD of a reading is that
of its curve whatever rho is. rho is matched to how unevenly targets were hit: the sum over targets
of squared numbers of hits. The statistic is studentised by target and hardly depends on rho;
simulation sees to its skewness in small trials.

Sources: Beran 1987, Biometrika 74, 457-468 (prepivoting); Emrich and Piedmonte 1991, The American
Statistician 45, 302-304 (correlated hits from a normal law). From memory; how often the bounds hold
is counted in `tests/recovery`.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy import optimize, special

from qualify.comparison.kernels import FITTED, curve_of
from qualify.comparison.paired_targets import PairedTargets
from qualify.comparison.score_kernels import (
    Axis,
    edge_of_ratio,
    held_curves,
    lowest,
    studentised,
    target_scores,
)
from qualify.pod.kernels import LINK_NUMBERS, pod_at
from qualify.pod.links import Array, LinkName, eta_of
from qualify.pod.response_simulation import normals, stream
from qualify.pod.simulation import block
from qualify.threads import in_threads, njit

SIMULATIONS = 999
THREADED = 64
NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(40)
MOST_ALIKE = 0.99


@dataclass(frozen=True, slots=True)
class RatioProblem:
    """Two fitted curves on the same targets, ready for statements on the ratio of their a90.

    Attributes
    ----------
    link, t, level : as in the fits; t (targets,) standardised places.
    hits : (2, targets), readers that hit in a, in b.
    readings : (targets,), in each mode.
    places, slopes : (2,), psi of a90 of each curve, and its slope in t.
    axis : whether sizes are logarithmic, centre, spread.
    estimate : log of the ratio.
    rho : share of the effect of targets.
    """

    link: LinkName
    t: Array
    level: float
    hits: Array
    readings: Array
    places: Array
    slopes: Array
    axis: Axis
    estimate: float
    rho: float

    def statistic(self, log_ratio: float) -> float:
        """Studentised score of the statement that the ratio is as given; nan without one."""
        return float(studentised(LINK_NUMBERS[self.link], self.t, self.hits,
                                 self.readings - self.hits, self.level, self.places, self.axis,
                                 log_ratio, np.empty(self.t.size)))  # fmt: skip

    def lowest(self, log_ratio: float) -> float:
        """Lowest statistic between the estimate and a log ratio above it; nan without one."""
        return float(lowest(LINK_NUMBERS[self.link], self.t, self.hits, self.readings - self.hits,
                            self.level, self.places, self.axis, self.estimate, log_ratio,
                            np.empty(self.t.size)))  # fmt: skip

    def edge(self, wanted: float) -> float:
        """Log ratio where the statistic is `wanted`: below 0 an upper limit, above 0 a lower one.

        Infinite where there is none.
        """
        scores, misses = np.empty(self.t.size), self.readings - self.hits
        number = LINK_NUMBERS[self.link]
        if not target_scores(number, self.t, self.hits, misses, self.level, self.places, self.axis,
                             self.estimate, scores):  # fmt: skip
            return math.copysign(math.inf, -wanted)
        is_log, centre, spread = self.axis
        reach = spread if is_log else spread / (centre + spread * self.places[1])
        step = math.copysign(0.5 * abs(reach) * float(np.sqrt((scores**2).sum())), -wanted)
        if step == 0.0:
            return math.copysign(math.inf, -wanted)
        return float(edge_of_ratio(number, self.t, self.hits, misses, self.level, self.places,
                                   self.axis, self.estimate, wanted, step))  # fmt: skip

    def simulated(
        self, log_ratio: float, *, seed: int, simulations: int = SIMULATIONS
    ) -> Array | None:
        """Statistic (fitted trials,), rising, of trials in which the ratio is as given.

        None where the curves held so do not rise. One seed draws the same targets for every ratio.
        """
        number, found = LINK_NUMBERS[self.link], np.empty((2, 4))
        if not held_curves(number, self.t, self.hits, self.readings - self.hits, self.level,
                           self.places, self.axis, log_ratio, found):  # fmt: skip
            return None
        slopes = found[:, 0]
        curves = np.ascontiguousarray(np.column_stack([self.level - slopes * found[:, 1], slopes]))
        out, probits = np.empty(simulations), probits_of(self.link, self.t, curves)
        state = stream(seed, b"ratio of a90")

        def work(first: int, last: int) -> None:
            _statistics(number, self.t, self.readings, probits, self.rho, self.level, curves,
                        self.axis, log_ratio, state, first, last, out)  # fmt: skip

        in_threads(work, simulations, THREADED)
        return np.sort(out[np.isfinite(out)])

    def of_hits(self, hits: Array, starts: Array) -> "RatioProblem | None":
        """Return the problem of other hits (2, targets) on these targets; None without curves.

        `starts` (2, 2), intercept and slope in t, are near the curves. Its own rho is found anew.
        """
        number = LINK_NUMBERS[self.link]
        misses = self.readings - hits
        found = np.array([
            curve_of(number, self.t, hits[k], misses[k], self.level, starts[k, 0], starts[k, 1])
            for k in range(2)
        ])  # fmt: skip
        if np.any(found[:, 3] != FITTED):
            return None
        is_log, centre, spread = self.axis
        sizes = centre + spread * found[:, 2]
        if not is_log and np.any(sizes <= 0.0):
            return None
        own = probits_of(self.link, self.t, np.ascontiguousarray(found[:, :2]))
        return replace(
            self, hits=hits, places=np.ascontiguousarray(found[:, 2]), slopes=found[:, 1].copy(),
            estimate=float(sizes[1] - sizes[0] if is_log else np.log(sizes[1] / sizes[0])),
            rho=alike(own, hits, self.readings),
        )  # fmt: skip


def ratio_problem(data: PairedTargets, link: LinkName, curves: Array) -> RatioProblem:
    """Return the problem of two fitted curves (2, 4): intercept, slope, place of a90, state."""
    hits, readings = data.hits, data.readings
    probits = probits_of(link, data.t, np.ascontiguousarray(curves[:, :2]))
    places = np.ascontiguousarray(curves[:, 2])
    is_log = data.scale == "log"
    sizes = data.centre + data.spread * places
    estimate = float(sizes[1] - sizes[0] if is_log else np.log(sizes[1] / sizes[0]))
    return RatioProblem(link, data.t, float(eta_of(link, 0.9)), hits, readings, places,
                        curves[:, 1].copy(), (is_log, data.centre, data.spread), estimate,
                        alike(probits, hits, readings))  # fmt: skip


def alike(probits: Array, hits: Array, readings: Array) -> float:
    """Share rho of the effect of targets, 0 to 0.99, that hits per target are as uneven with.

    probits (2, targets) of POD in both modes; hits (2, targets); readings (targets,) in each mode.
    """
    total = hits.sum(axis=0)
    seen = float((total**2 - total).sum())

    def more(rho: float) -> float:
        given = (probits[:, :, None] - math.sqrt(rho) * NODES) / math.sqrt(1.0 - rho)
        a, b = special.ndtr(given)  # (targets, nodes) each
        pairs = (readings * (readings - 1.0))[:, None] * (a * a + b * b)
        pairs = pairs + 2.0 * (readings * readings)[:, None] * a * b
        return float((pairs @ WEIGHTS).sum() / WEIGHTS.sum()) - seen

    if more(0.0) >= 0.0:
        return 0.0
    if more(MOST_ALIKE) <= 0.0:
        return MOST_ALIKE
    return float(optimize.brentq(more, 0.0, MOST_ALIKE, xtol=1e-10))


@njit(cache=True, nogil=True)
def _pods(link: int, t: Array, curves: Array) -> Array:
    out = np.empty((2, t.size))
    for mode in range(2):
        for i in range(t.size):
            out[mode, i] = pod_at(link, curves[mode, 0] + curves[mode, 1] * t[i])
    return out


def probits_of(link: LinkName, t: Array, curves: Array) -> Array:
    """Probits (2, targets) of the POD of two curves (2, 2), intercept and slope in t."""
    pods = np.clip(_pods(LINK_NUMBERS[link], t, curves), 1e-300, 1.0 - 1e-16)
    return np.ascontiguousarray(special.ndtri(pods))


@njit(cache=True, nogil=True)
def _draw(
    readings: Array, probits: Array, rho: float, drawn: Array, hits: Array, misses: Array
) -> None:
    """Write hits and misses (2, targets) of one trial from normal deviates."""
    shared, own = math.sqrt(rho), math.sqrt(1.0 - rho)
    n = readings.size
    j = n
    for i in range(n):
        for mode in range(2):
            found = 0.0
            for _ in range(int(readings[i])):
                if shared * drawn[i] + own * drawn[j] < probits[mode, i]:
                    found += 1.0
                j += 1
            hits[mode, i], misses[mode, i] = found, readings[i] - found


@njit(cache=True, nogil=True)
def _statistics(
    link: int,
    t: Array,
    readings: Array,
    probits: Array,
    rho: float,
    level: float,
    starts: Array,
    axis: Axis,
    log_ratio: float,
    seed: np.uint64,
    first: int,
    last: int,
    out: Array,
) -> None:
    """Write the statistic of simulated trials first..last-1; nan where a curve can't be fitted."""
    n = t.size
    total = n + 2 * int(readings.sum())
    drawn, scores, places = np.empty(total), np.empty(n), np.empty(2)
    hits, misses = np.empty((2, n)), np.empty((2, n))
    for k in range(first, last):
        normals(block(seed, k, total + 1), drawn)
        _draw(readings, probits, rho, drawn, hits, misses)
        out[k] = math.nan
        fitted = True
        for mode in range(2):
            found = curve_of(link, t, hits[mode], misses[mode], level, starts[mode, 0],
                             starts[mode, 1])  # fmt: skip
            fitted = fitted and found[3] == FITTED
            places[mode] = found[2]
        if fitted:
            out[k] = studentised(link, t, hits, misses, level, places, axis, log_ratio, scores)
