"""Ratio of two a90 on the same targets, candidate over reference, with bounds that know the pairs.

The bounds of record turn round a score test by target: a ratio is kept where the targets' scores
for it (`score_kernels`), over the root of their sum of squares, lie inside the quantile that trials
simulated in that ratio give (`ratio_simulation`). Whole targets are the unit, so that both modes
and all readers of a target may be as alike as they are. Beside them stand bounds from drawing whole
targets anew (`resampling`). In simulation bounds of record hold as often as they say, those from
draws less often (`tests/recovery`).

Sources: Rao 1948, Proceedings of the Cambridge Philosophical Society 44, 50-57; Boos 1992, The
American Statistician 46, 327-333 (score tests with a covariance from the data). From memory.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special

from qualify.comparison.kernels import ALL_HIT, FITTED, STEP
from qualify.comparison.paired_targets import PairedTargets
from qualify.comparison.ratio_simulation import SIMULATIONS, RatioProblem, ratio_problem
from qualify.comparison.resampling import (
    FARTHEST_LOG,
    Draws,
    Pair,
    bounds_by_draws,
    curves_of,
)
from qualify.effort import trials
from qualify.pod.links import Array, LinkName
from qualify.pod.observations import size_of

FEWEST = 4  # targets
NO_A90 = "no a90 {}: {}"
WHY = {
    FITTED: "",
    STEP: "every missed target is smaller than every hit one, so that no curve can be fitted",
    ALL_HIT: "every target was hit",
    3.0: "no target was hit",
    4.0: "detection does not rise with size",
}
NOT_CLOSED = "the bound does not close: ratios without end agree with these targets"
TOO_FEW = f"fewer than {FEWEST} targets were read in both modes"
BELOW_ZERO = "an a90 below size 0 on the linear axis has no ratio"
SLACK = 1e-7  # relative, of a statistic: equal trials count as equal in spite of rounding


@dataclass(frozen=True, slots=True)
class A90Ratio:
    """a90 of b over a90 of a.

    Attributes
    ----------
    a90_a, a90_b : in the unit of sizes, None where there is none.
    ratio : None with `reason`.
    upper, lower : one-sided at `confidence`, each by itself; None with a reason of their own.
    interval : two-sided at `confidence`; None where an end is missing.
    percentile, corrected : (lower, upper) one-sided bounds from draws; ends None where endless.
    unfitted : share of draws in which a curve did not rise or was a step.
    margin : declared, or None.
    inferior_p : p of the statement that the ratio is `margin` or more; None without a margin.
    inside : whether both a90 lie among the sizes tested.
    targets : read in both modes.
    simulations, seed : behind bounds and p.
    """

    a90_a: float | None
    a90_b: float | None
    ratio: float | None
    upper: float | None
    lower: float | None
    interval: tuple[float, float] | None
    percentile: Pair
    corrected: Pair
    unfitted: float | None
    margin: float | None
    inferior_p: float | None
    inside: bool | None
    reason: str | None
    upper_reason: str | None
    lower_reason: str | None
    confidence: float
    targets: int
    simulations: int
    seed: int


def a90_ratio(
    data: PairedTargets,
    link: LinkName,
    *,
    draws: Draws | None = None,
    margin: float | None = None,
    confidence: float = 0.95,
    seed: int = 1,
    names: tuple[str, str] = ("of a", "of b"),
) -> A90Ratio:
    """Return the ratio of a90 with its bounds.

    Parameters
    ----------
    draws : of `draw_curves`; without them no bounds by drawing targets anew.
    margin : ratio up to which b counts as not inferior, declared beforehand.
    confidence : one-sided, of each bound by itself; the interval is two-sided at the same.
    names : of the modes, for reasons.

    Raises
    ------
    ValueError : for a margin of 0 or less, or a confidence outside 0.5..1.
    """
    if margin is not None and not margin > 0.0:
        message = f"margin {margin:g} must be above 0, as 1.15"
        raise ValueError(message)
    if not 0.5 < confidence < 1.0:
        message = f"confidence {confidence} must lie between 0.5 and 1, as 0.95"
        raise ValueError(message)
    curves = curves_of(data, link)
    sizes = [size_of(data.centre + data.spread * psi, data.scale) for psi in curves[:, 2]]
    a, b = (s if state == FITTED else None for s, state in zip(sizes, curves[:, 3], strict=True))
    reason = _why_none(data, curves, (a, b), names)
    low, high = float(data.size[0]), float(data.size[-1])
    inside = None if a is None or b is None else low <= min(a, b) and max(a, b) <= high
    targets = int(np.sum(data.readings > 0))
    ends, p = _Ends(None, None, None, reason, reason), None
    percentile: Pair = (None, None)
    corrected: Pair = (None, None)
    if reason is None:
        problem = ratio_problem(data, link, curves)
        ends, drawn = _ends(problem, confidence, targets, seed)
        if margin is not None:
            p = _inferior_p(problem, margin, drawn)
        if draws is not None:
            percentile, corrected = bounds_by_draws(data, draws, problem.estimate, confidence)
    unfitted = None if draws is None else float(
        np.mean(np.any(draws.curves[:, :, 3] != FITTED, axis=1))
    )  # fmt: skip
    return A90Ratio(
        a90_a=a, a90_b=b,
        ratio=None if reason is not None or a is None or b is None else b / a,
        upper=ends.upper, lower=ends.lower, interval=ends.interval,
        percentile=percentile, corrected=corrected, unfitted=unfitted,
        margin=margin, inferior_p=p, inside=inside,
        reason=reason, upper_reason=ends.upper_reason, lower_reason=ends.lower_reason,
        confidence=confidence, targets=targets, simulations=trials(SIMULATIONS), seed=seed,
    )  # fmt: skip


def _why_none(
    data: PairedTargets,
    curves: Array,
    sizes: tuple[float | None, float | None],
    names: tuple[str, str],
) -> str | None:
    if int(np.sum(data.readings > 0)) < FEWEST:
        return TOO_FEW
    told = [
        NO_A90.format(name, WHY[float(state)])
        for name, state in zip(names, curves[:, 3], strict=True)
        if state != FITTED
    ]
    if told:
        return "; ".join(told)
    return BELOW_ZERO if any(size is None or size <= 0.0 for size in sizes) else None


@dataclass(frozen=True, slots=True)
class _Ends:
    upper: float | None
    lower: float | None
    interval: tuple[float, float] | None
    upper_reason: str | None
    lower_reason: str | None


def first_limit(
    problem: RatioProblem, share: float, upper: bool, targets: int, seed: int, simulations: int
) -> tuple[float, Array | None]:
    """Limit of the log ratio by Student's t, and the statistic (trials,) of trials simulated there.

    Infinite, and None, where there is none.
    """
    way = -1.0 if upper else 1.0
    first = problem.edge(way * float(special.stdtrit(targets - 2, 1.0 - share)))
    if not math.isfinite(first):
        return first, None
    return first, problem.simulated(first, seed=seed, simulations=simulations)


def _limits(
    problem: RatioProblem, shares: Sequence[float], upper: bool, targets: int, seed: int
) -> tuple[list[float | None], Array | None]:
    """Limits of the ratio, one-sided at 1 - each of `shares`; None where there is none.

    The quantile of Student's t gives a first one for the first share; there trials are simulated,
    and their quantiles give those that count. Also returns the statistic of these trials.
    """
    way = -1.0 if upper else 1.0
    _, drawn = first_limit(problem, shares[0], upper, targets, seed, trials(SIMULATIONS))
    found: list[float | None] = []
    for share in shares:
        wanted = way * float(special.stdtrit(targets - 2, 1.0 - share))
        if drawn is not None and drawn.size:
            rank = max(math.floor(share * (drawn.size + 1)), 1)
            quantile = float(drawn[rank - 1] if upper else drawn[-rank])
            wanted = quantile if quantile * way > 0.0 else wanted
        at = problem.edge(wanted)
        found.append(math.exp(at) if abs(at) < FARTHEST_LOG else None)
    return found, drawn


def _ends(
    problem: RatioProblem, confidence: float, targets: int, seed: int
) -> tuple[_Ends, Array | None]:
    shares = (1.0 - confidence, 0.5 * (1.0 - confidence))
    (lower, low), _ = _limits(problem, shares, False, targets, seed)
    (upper, high), drawn = _limits(problem, shares, True, targets, seed)
    interval = None if low is None or high is None else (low, high)
    ends = _Ends(upper, lower, interval, NOT_CLOSED if upper is None else None,
                 NOT_CLOSED if lower is None else None)  # fmt: skip
    return ends, drawn


def _inferior_p(problem: RatioProblem, margin: float, drawn: Array | None) -> float | None:
    """How likely a statistic as low as seen is, by the trials that the upper bound rests on.

    So that p is at most 5 % where the upper 95 % bound is at most the margin.
    """
    seen = problem.lowest(math.log(margin))
    if drawn is None or drawn.size == 0 or not math.isfinite(seen):
        return None
    slack = SLACK * (1.0 + abs(seen))
    return (1 + int(np.sum(drawn <= seen + slack))) / (drawn.size + 1)
