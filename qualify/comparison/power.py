"""How often a design shows that a candidate is not inferior, by simulated trials.

The reference keeps its fitted curve; the candidate has the same curve moved to a true ratio of a90.
Trials of the same targets, readers and likeness of readings are drawn, and each is tested as the
trial was. A trial in which a curve can't be fitted shows nothing.
"""

import math

import numpy as np

from qualify.comparison.ratio_simulation import RatioProblem
from qualify.comparison.score_kernels import related


def ratio_power(
    problem: RatioProblem,
    margin: float,
    true_ratio: float,
    *,
    confidence: float = 0.95,
    seed: int = 1,
    trials: int = 999,
) -> float | None:
    """Share of simulated trials that show a ratio of at most `margin`; None without curves there.

    Raises
    ------
    ValueError : for a margin or a true ratio of 0 or less.
    """
    if not (margin > 0.0 and true_ratio > 0.0):
        message = f"margin {margin:g} and true ratio {true_ratio:g} must be above 0"
        raise ValueError(message)
    null = problem.simulated(math.log(margin), seed=seed)
    if null is None or null.size == 0:
        return None
    level = float(null[max(math.floor((1.0 - confidence) * (null.size + 1)), 1) - 1])
    slope = float(problem.slopes[0])
    shift, stretch = related(problem.axis, math.log(true_ratio))
    places = np.array([problem.places[0], shift + stretch * problem.places[0]])
    slopes = np.array([slope, slope / stretch])
    curves = np.column_stack([problem.level - slopes * places, slopes])
    seen = problem.statistics_from(curves, math.log(margin), seed=seed + 1, simulations=trials)
    return float(np.sum(seen <= level) / trials)
