"""How often the likelihood bound on a90 holds, counted by simulation of known POD curves.

The claim printed beside every such bound, that it holds less often than it says at this trade's
sample sizes, rests on this count. The figures are our own: 2000 trials a design, counted by an
independent program in R and Python before this engine was written; standard error 0.006.
"""

import numpy as np
import pytest

from qualify.pod.engine import fit_curves, fit_through

TRIALS, Z = 2000, 1.6448536269514722
DESIGNS = [
    # name, a50, a90, sizes uniform in log, targets, share of trials in which the bound held
    ("moderate", 1.5, 3.0, True, 60, 0.922),
    ("moderate", 1.5, 3.0, True, 120, 0.939),
    ("moderate", 1.5, 3.0, False, 60, 0.904),
    ("moderate", 1.5, 3.0, False, 120, 0.931),
    ("steep", 2.2, 3.0, True, 120, 0.908),
    ("steep", 2.2, 3.0, False, 120, 0.914),
]


def simulated(a50: float, a90: float, in_log: bool, n: int, rng: np.random.Generator):
    """Sizes stratified at random on 0.5 to 8, and hits of a logit curve in log size."""
    place = (np.arange(n) + rng.random((TRIALS, n))) / n
    low, high = (np.log(0.5), np.log(8.0)) if in_log else (0.5, 8.0)
    x = low + place * (high - low)
    x = x if in_log else np.log(x)
    slope = np.log(9.0) / np.log(a90 / a50)
    pod = 1.0 / (1.0 + np.exp(-slope * (x - np.log(a50))))
    return x, (rng.random((TRIALS, n)) < pod).astype(float)


@pytest.mark.parametrize(("name", "a50", "a90", "in_log", "n", "expected"), DESIGNS)
def test_share_of_trials_in_which_the_bound_holds(name, a50, a90, in_log, n, expected):
    """The bound lies above the true a90 if the signed root at the true a90 is below z."""
    rng = np.random.default_rng([20260301, n, int(in_log), int(10 * a50)])
    x, hits = simulated(a50, a90, in_log, n, rng)
    missed = np.where(hits == 0, x, -np.inf).max(axis=1)
    overlap = missed > np.where(hits == 1, x, np.inf).min(axis=1)
    free = fit_curves(x[overlap], hits[overlap], 1.0, "logit")
    level = np.full(int(overlap.sum()), np.log(9.0))
    psi = np.full_like(level, np.log(a90))
    held = fit_through(x[overlap], hits[overlap], 1.0, "logit", psi, level)
    drop = np.sqrt(np.maximum(0.0, 2 * (free.log_likelihood - held.log_likelihood)))
    above = free.intercept + free.slope * np.log(a90) > level
    failed = np.where(above, drop, -drop) > Z
    share = 1.0 - failed.sum() / TRIALS  # no bound under separation: nothing claimed
    assert share == pytest.approx(expected, abs=0.02)
    assert share < 0.95
