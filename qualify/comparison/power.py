"""How often a design shows that a candidate is not inferior, by simulated trials.

The reference keeps its fitted curve; the candidate has the same curve moved to a true ratio of a90.
Trials of the same targets, readers and likeness of readings are drawn, and each is judged as the
trial was, with a quantile simulated for it. A trial in which a curve can't be fitted shows nothing.
"""

import math

import numpy as np

from qualify.comparison.ratio import first_limit
from qualify.comparison.ratio_simulation import RatioProblem
from qualify.comparison.score_kernels import related
from qualify.pod.links import Array

TRIALS, SIMULATIONS = 100, 99


def ratio_power(
    problem: RatioProblem,
    margin: float,
    true_ratio: float,
    *,
    confidence: float = 0.95,
    seed: int = 1,
    trials: int = TRIALS,
) -> float:
    """Share of simulated trials whose upper bound of the ratio is at most `margin`.

    Raises
    ------
    ValueError : for a margin or a true ratio of 0 or less.
    """
    if not (margin > 0.0 and true_ratio > 0.0):
        message = f"margin {margin:g} and true ratio {true_ratio:g} must be above 0"
        raise ValueError(message)
    curves, shown, share = _moved(problem, true_ratio), 0, 1.0 - confidence
    for k in range(trials):
        one = problem.drawn(curves, 1_000_003 * seed + k)
        if one is None:
            continue
        _, drawn = first_limit(one, share, True, problem.t.size, seed, SIMULATIONS)
        if drawn is None or drawn.size == 0:
            continue
        level = float(drawn[max(math.floor(share * (drawn.size + 1)), 1) - 1])
        shown += one.lowest(math.log(margin)) <= min(level, 0.0)
    return shown / trials


def _moved(problem: RatioProblem, ratio: float) -> Array:
    """Return curves (2, 2) of the reference as fitted, and of one that lies a ratio further on."""
    shift, stretch = related(problem.axis, math.log(ratio))
    places = np.array([problem.places[0], shift + stretch * problem.places[0]])
    slopes = float(problem.slopes[0]) / np.array([1.0, stretch])
    return np.ascontiguousarray(np.column_stack([problem.level - slopes * places, slopes]))
