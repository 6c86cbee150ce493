"""How often a bound on a90 from responses holds, by simulation of the design at hand.

Trials are drawn with the sizes, floors and ceilings of the data: from the fitted line, and from
laws that break one of its assumptions, each with its own true a90. A bound holds where it is at or
above the true a90, which is where the true statement is not rejected; a trial without a bound
claims nothing and counts as holding. The calibrated bound is repeated with 299 simulated trials
each.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np
from scipy import optimize, special, stats

from qualify.pod.links import Array
from qualify.pod.problem import normal_quantile
from qualify.pod.response_curve import ResponseCurve
from qualify.pod.response_fits import Line
from qualify.pod.response_holds_kernels import (
    EULER,
    GUMBEL_SD,
    HEAVY,
    HEAVY_DF,
    NORMAL,
    SKEWED,
    statements,
)
from qualify.threads import in_threads

Case: TypeAlias = Literal["fit", "growing", "shrinking", "bent_up", "bent_down", "heavy", "skewed"]

REPLICATES, SIMULATIONS, REJECTED = 1000, 299, 15
GROWTH = math.log(2.0)  # of sigma from the smallest size to the largest
BEND = 1.0  # of a sigma, that a bent line departs from a straight one at ends and middle
POD = 0.9
CASE_WORDS: dict[Case, str] = {
    "fit": "the fitted line with normal scatter",
    "growing": "a line whose spread doubles from the smallest size to the largest",
    "shrinking": "a line whose spread halves from the smallest size to the largest",
    "bent_up": "a line that bends upwards, by one standard deviation between its middle and ends",
    "bent_down": "a line that bends downwards, by one standard deviation",
    "heavy": "scatter with heavy tails (Student's t, 4 degrees of freedom)",
    "skewed": "scatter with a long tail towards small responses (Gumbel)",
}


@dataclass(frozen=True, slots=True)
class Truth:
    """A law that responses are drawn from, in units of y and t.

    Attributes
    ----------
    mean, spread : (rows,).
    law : number of the law of scatter.
    psi : true t with POD 0.90.
    near : a line to climb from.
    """

    mean: Array
    spread: Array
    law: int
    psi: float
    near: Line


@dataclass(frozen=True, slots=True)
class ResponseHeld:
    """How often bounds hold if one law is true.

    Attributes
    ----------
    case, replicates, a90 : the law, trials drawn, its true a90 in the unit of sizes.
    calibrated, likelihood : shares of trials in which the bound holds.
    exact : the same for the exact bound, None where rows may be censored.
    error : standard error of the share of the calibrated bound.
    no_bound, no_likelihood_bound : shares of trials without one.
    given : share of the calibrated bounds there are that hold, None without any.
    left, right : mean shares censored.
    """

    case: Case
    replicates: int
    a90: float
    calibrated: float
    likelihood: float
    exact: float | None
    error: float
    no_bound: float
    no_likelihood_bound: float
    given: float | None
    left: float
    right: float


def tenth_percentile(law: int) -> float:
    """Deviate of a law, of mean 0 and standard deviation 1, that one in ten falls below."""
    if law == HEAVY:
        return float(stats.t.ppf(1.0 - POD, HEAVY_DF)) / math.sqrt(HEAVY_DF / (HEAVY_DF - 2.0))
    if law == SKEWED:
        return (math.log(-math.log(POD)) + EULER) / GUMBEL_SD
    return float(special.ndtri(1.0 - POD))


def truth_of(curve: ResponseCurve, case: Case) -> Truth | None:
    """Return a law near the fitted line, None where it has no a90 that rises."""
    t = curve.data.t
    low, high = float(t.min()), float(t.max())
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    k = {"growing": GROWTH, "shrinking": -GROWTH}.get(case, 0.0) / (2.0 * half)
    bend = {"bent_up": BEND, "bent_down": -BEND}.get(case, 0.0)
    law = {"heavy": HEAVY, "skewed": SKEWED}.get(case, NORMAL)

    def mean(place: Array) -> Array:
        u = (place - middle) / half
        return np.asarray(curve.level + curve.slope * place + bend * (2.0 * u * u - 1.0) * 0.5)

    def spread(place: Array) -> Array:
        return np.asarray(np.exp(k * (place - middle) + curve.growth * place))

    tenth = tenth_percentile(law)
    grid = np.linspace(low - half, high + half, 4001)
    short = mean(grid) + tenth * spread(grid)
    rises = np.flatnonzero((short[:-1] < 0.0) & (short[1:] >= 0.0))
    if rises.size == 0:
        return None
    r = rises[-1]
    psi = optimize.brentq(
        lambda at: float((mean(np.array([at])) + tenth * spread(np.array([at])))[0]),
        grid[r], grid[r + 1], xtol=1e-13)  # fmt: skip
    near = (curve.theta, curve.slope, curve.level, curve.growth + k, 0.0)
    return Truth(mean(t) / curve.theta, spread(t) / curve.theta, law, float(psi), near)


def how_often_held(
    curve: ResponseCurve,
    cases: Sequence[Case] = tuple(CASE_WORDS),
    *,
    confidence: float = 0.95,
    replicates: int = REPLICATES,
    seed: int = 1,
) -> list[ResponseHeld]:
    """Count for each law how often the bounds hold; laws without an a90 are left out.

    Raises
    ------
    ValueError : where targets are repeated.
    """
    if curve.data.repeated:
        message = "how often a bound holds is not simulated where targets have several responses"
        raise ValueError(message)
    told = []
    for case in cases:
        truth = truth_of(curve, case)
        if truth is not None:
            told.append(_counted(curve, case, truth, confidence, replicates, seed))
    return told


def _counted(
    curve: ResponseCurve, case: Case, truth: Truth, confidence: float, replicates: int, seed: int
) -> ResponseHeld:
    data, z = curve.data, normal_quantile(confidence)
    seeds = (
        np.random.SeedSequence([seed, *case.encode()])
        .generate_state(2, np.uint64)
        .astype(np.uint64)
    )
    out = np.empty((replicates, 6))
    limit = REJECTED if confidence == 0.95 else math.ceil((1.0 - confidence) * (SIMULATIONS + 1))
    eta = float(special.ndtri(POD))

    def work(first: int, last: int) -> None:
        statements(data.t, data.low, data.high, truth.mean, truth.spread, truth.law,
                   curve.growing, truth.psi, eta, truth.near, seeds, first, last, SIMULATIONS,
                   limit, out)  # fmt: skip

    in_threads(work, replicates, least=16)
    root, kept, none = out[:, 0], out[:, 2] >= limit, out[:, 3] >= limit
    none_likelihood = ~(out[:, 1] > z)
    holds, likely = kept | none, ~(root > z) | none_likelihood
    share = float(holds.mean())
    there = float((~none).mean())
    place = data.centre + data.spread * truth.psi
    free = np.all(np.isinf(data.low)) and np.all(np.isinf(data.high)) and not curve.growing
    return ResponseHeld(
        case=case,
        replicates=replicates,
        a90=math.exp(place) if data.scale == "log" else place,
        calibrated=share,
        likelihood=float(likely.mean()),
        exact=_exact(data.t, truth.psi, root, eta, confidence) if free else None,
        error=math.sqrt(max(share * (1.0 - share), 0.25 / replicates) / replicates),
        no_bound=float(none.mean()),
        no_likelihood_bound=float(none_likelihood.mean()),
        given=float((kept & ~none).mean()) / there if there else None,
        left=float(out[:, 4].mean()),
        right=float(out[:, 5].mean()),
    )


def _exact(t: Array, psi: float, root: Array, eta: float, confidence: float) -> float:
    """Share of trials in which the exact bound holds: their root is below its exact quantile.

    Without censoring the root rises with the non-central t statistic T of the true statement.
    """
    n = t.size
    h = math.sqrt(1.0 / n + (psi - t.mean()) ** 2 / float(((t - t.mean()) ** 2).sum()))
    top = float(stats.nct.ppf(confidence, n - 2, eta / h))
    return float((root <= root_of_statistic(top, h, n, eta)).mean())


def root_of_statistic(statistic: float, h: float, n: int, eta: float) -> float:
    """Signed root of the likelihood ratio of an uncensored line whose statistic at psi is given.

    With d = statistic * h / sqrt(n - 2) in units of the residual root sum of squares, the held
    fit maximises n log theta - (theta^2 + (theta d - eta)^2 / h^2) / 2.
    """
    d = statistic * h / math.sqrt(n - 2.0)
    a, b = 1.0 + (d / h) ** 2, d * eta / (h * h)
    theta = (b + math.sqrt(b * b + 4.0 * a * n)) / (2.0 * a)
    held = n * math.log(theta) - 0.5 * (theta**2 + ((theta * d - eta) / h) ** 2)
    free = n * math.log(math.sqrt(n)) - 0.5 * n
    return math.copysign(math.sqrt(max(0.0, 2.0 * (free - held))), math.sqrt(n) * d - eta)
