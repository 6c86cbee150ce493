"""Tests of whether two POD curves on the same targets differ, wherever in size.

Three answers, each with its own reference. (1) Exchange of modes: under equal curves a target might
as well have given its readings in one mode to the other. The score of a target, readers that hit in
b less those in a, is turned in sign at random, all readers of a target at once; the statistic
u' V^-1 u is quadratic in the sums u of scores and of scores times size, V the sum of their squares,
which no exchange changes. For one reader the test is exact; for several V takes up how alike the
readings of a target are. (2), (3) A joint model with mode and mode times size, and a Wald statistic
(2 degrees of freedom) with a covariance clustered by target (CR1), held against chi-square, and
against Hotelling's law with as many degrees as targets allow.

Sources: Liang and Zeger 1986, Biometrika 73, 13-22 (covariance by cluster); Rotnitzky and Jewell
1990, Biometrika 77, 485-497 (score statistic by cluster); Pitman 1937, Supplement to the Journal of
the Royal Statistical Society 4, 119-130 (exchange); Hotelling 1931, Annals of Mathematical
Statistics 2, 360-378. From memory; the Wald statistic is checked in `tests/published` against R.
"""

from dataclasses import dataclass

import numpy as np
from scipy import stats

from qualify.comparison.kernels import exchanged, quadratic
from qualify.comparison.paired_targets import PairedTargets
from qualify.pod.clustered import clustered_fit
from qualify.pod.links import Array, LinkName, terms
from qualify.pod.regression import maximum, problem_of, separation_of
from qualify.pod.response_simulation import stream
from qualify.threads import in_threads

EXCHANGES = 19_999
EVERY = 14  # discordant targets up to which every exchange is gone through
THREADED = 2000
NO_JOINT = "a joint model has no finite fit: {}"
NO_SIZES = "discordant targets lie at one size, or there are fewer than two: no slope to compare"


@dataclass(frozen=True, slots=True)
class CurveDifference:
    """Whether two curves differ; all p are two-sided.

    Attributes
    ----------
    exchange_statistic, exchange_p : u' V^-1 u and its p, the one of record; None with `reason`.
    exchanges : how many were tried, `every` whether these are all there are.
    wald, chi_square_p, hotelling_p : of the joint model; None with `wald_reason`.
    coef : (4,) constant, x, mode b, x times mode b, on the size axis as given; None likewise.
    cr1 : (4, 4), their covariance by target.
    seed : of the exchanges.
    """

    exchange_statistic: float | None
    exchange_p: float | None
    exchanges: int
    every: bool
    reason: str | None
    wald: float | None
    chi_square_p: float | None
    hotelling_p: float | None
    coef: Array | None
    cr1: Array | None
    wald_reason: str | None
    seed: int


def curve_difference(data: PairedTargets, link: LinkName, *, seed: int = 1) -> CurveDifference:
    """Return the three tests that two curves differ.

    A target counts once, whatever the number of its readers.
    """
    told, p, tried, every, reason = exchange_test(data, link, seed=seed)
    wald, coef, cr1, targets, none = _wald(data, link)
    chi = hotelling = None
    if wald is not None:
        chi = float(stats.chi2.sf(wald, 2))
        hotelling = float(stats.f.sf(wald * (targets - 2) / (2 * (targets - 1)), 2, targets - 2))
    return CurveDifference(told, p, tried, every, reason, wald, chi, hotelling, coef, cr1, none,
                           seed)  # fmt: skip


def _weights(data: PairedTargets, link: LinkName) -> Array:
    """Return what a hit more is worth in the score of a target, from the curve of both together.

    The same for all where that curve has no finite fit, and for the logit.
    """
    if link == "logit":
        return np.ones(data.n)
    read = data.readings > 0
    design = np.column_stack([np.ones(data.n), data.t])
    try:
        problem = problem_of(design[read], data.hits.sum(axis=0)[read], 2.0 * data.readings[read],
                             link)  # fmt: skip
    except ValueError:
        return np.ones(data.n)
    if separation_of(problem) != "overlap":
        return np.ones(data.n)
    best = maximum(problem)
    at = terms(link, problem.standard.basis @ best.values)
    worth = np.ones(data.n)
    worth[read] = at.hit_slope - at.miss_slope
    return worth


def exchange_test(
    data: PairedTargets, link: LinkName, *, seed: int = 1
) -> tuple[float | None, float | None, int, bool, str | None]:
    """Return statistic, p, exchanges, whether these are all, and the reason for none."""
    steps = data.steps * _weights(data, link)
    told = steps != 0.0
    s, x = np.ascontiguousarray(steps[told]), np.ascontiguousarray(data.t[told])
    if s.size < 2 or np.ptp(x) == 0.0:
        return None, None, 0, False, NO_SIZES
    x = x - x.mean()
    x = x / np.abs(x).max()
    rows = np.column_stack([s, s * x])
    inverse = np.linalg.inv(rows.T @ rows)
    seen = float(quadratic(rows[:, 0].sum(), rows[:, 1].sum(), inverse))
    every = s.size <= EVERY
    tries = 2**s.size if every else EXCHANGES
    state = stream(seed, b"exchange of modes")
    counts: list[int] = []

    def work(first: int, last: int) -> None:
        counts.append(exchanged(s, x, inverse, seen, every, state, first, last))

    in_threads(work, tries, THREADED)
    count = sum(counts)
    return seen, count / tries if every else (count + 1) / (tries + 1), tries, every, None


def _wald(
    data: PairedTargets, link: LinkName
) -> tuple[float | None, Array | None, Array | None, int, str | None]:
    """Wald statistic of mode and mode times size, coefficients, covariance, targets, or why not."""
    i, r = np.nonzero(np.isfinite(data.a))
    x = data.x[i]
    zero, one = np.zeros_like(x), np.ones_like(x)
    design = np.vstack([
        np.column_stack([one, x, zero, zero]), np.column_stack([one, x, one, x])
    ])  # fmt: skip
    hits = np.concatenate([data.a[i, r], data.b[i, r]])
    try:
        fit = clustered_fit(design, hits, np.concatenate([i, i]), link)
        value = float(fit.coef[2:] @ np.linalg.solve(fit.cr1[2:, 2:], fit.coef[2:]))
    except (ValueError, ArithmeticError) as error:
        return None, None, None, 0, NO_JOINT.format(error)
    return value, fit.coef, fit.cr1, fit.clusters, None
