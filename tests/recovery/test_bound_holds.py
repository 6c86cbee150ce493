"""How often bounds on a90 hold, counted by simulation of known POD curves.

The designs: sizes 0.5 to 8, stratified at random, evenly in size or in log size; a90 at 3, a50 at
1.5 (moderate) or 2.2 (steep). The figures beside the likelihood bound are our own: 2000 trials a
design, counted by an independent program in R and Python before this engine was written;
standard error 0.006. What is asked of the calibrated bound is its name: 95 %.
"""

from functools import cache

import numpy as np
import pytest

from qualify.pod.calibrated import calibrated_bound
from qualify.pod.farthest import INFINITY
from qualify.pod.hit_miss import fit_hit_miss
from qualify.pod.holds import (
    count_calibrated,
    count_likelihood,
    count_wald,
    how_often,
    kept,
    truths_of,
)
from qualify.pod.links import eta_of
from qualify.pod.observations import observe
from qualify.pod.problem import sized_hits
from qualify.pod.trials import Design, Truth, no_curve, simulated_hits

REPLICATES, Z = 5_000, 1.6448536269514722
CENTRE, SPREAD, A90 = 0.7, 0.8, 3.0
A50 = {"moderate": 1.5, "steep": 2.2}
CELLS = [(name, in_log, n) for name in A50 for in_log in (False, True) for n in (60, 90, 120)]
SMALL = [(name, in_log, n) for name in A50 for in_log in (False, True) for n in (30, 40)]
FOUR = [(name, in_log, 60) for name in A50 for in_log in (False, True)]
# median bound / a90 of the r* bound, 2000 trials a cell, the same independent program
R_STAR_MEDIAN = dict(
    zip(
        CELLS, (1.42, 1.33, 1.29, 1.52, 1.39, 1.32, 1.27, 1.22, 1.17, 1.30, 1.22, 1.19), strict=True
    )
)


def truth_of(name, link="logit"):
    low, high = float(eta_of(link, 0.5)), float(eta_of(link, 0.9))
    slope = (high - low) / np.log(A90 / A50[name])
    return Truth(link, high + slope * (CENTRE - np.log(A90)), slope * SPREAD)


def design_of(in_log, n, link="logit", replicates=REPLICATES):
    """A row of sizes for each simulated trial, one in each of n strata, rising."""
    rng = np.random.default_rng([20261125, n, int(in_log)])
    place = (np.arange(n) + rng.random((replicates, n))) / n
    low, high = (np.log(0.5), np.log(8.0)) if in_log else (0.5, 8.0)
    x = low + place * (high - low)
    x = x if in_log else np.log(x)
    return Design((x - CENTRE) / SPREAD, np.ones(n), link)


@cache
def counted(name, in_log, n, link="logit", replicates=REPLICATES):
    design = design_of(in_log, n, link, replicates)
    return count_calibrated(design, truth_of(name, link), replicates=replicates, seed=7)


@cache
def plain_no_bound(name, in_log, n):
    """Share of trials without a likelihood bound, separated ones not counted among them."""
    design = design_of(in_log, n)
    hits = simulated_hits(design, truth_of(name), REPLICATES, 7)
    _, roots = kept(design, hits, INFINITY, seed=7, simulations=1)
    return float((no_curve(design, hits)[1] | (roots <= Z)).mean())


@pytest.mark.parametrize(("name", "in_log", "n"), CELLS)
def test_the_calibrated_bound_holds_as_often_as_it_says(name, in_log, n):
    """.935 to .965 of 5,000 trials from 60 targets on; given that a bound exists, too."""
    held = counted(name, in_log, n)
    assert 0.935 <= held.share <= 0.965
    assert 0.935 <= held.share_given <= 0.965
    assert held.no_bound <= plain_no_bound(name, in_log, n) + 0.01


@pytest.mark.parametrize(("name", "in_log", "n"), SMALL)
def test_in_small_trials_it_holds_no_less(name, in_log, n):
    """Hits and misses of 30 or 40 targets often do not overlap; the bound errs to the safe side."""
    held = counted(name, in_log, n)
    assert held.share >= 0.94
    assert held.share_given >= 0.94
    assert held.no_bound <= plain_no_bound(name, in_log, n) + 0.01


@pytest.mark.parametrize("link", ["probit", "cloglog"])
@pytest.mark.parametrize(("name", "in_log", "n"), FOUR)
def test_it_holds_for_other_links(link, name, in_log, n):
    """.935 to .965 of 4,000 trials."""
    assert 0.935 <= counted(name, in_log, n, link, 4000).share <= 0.965


@pytest.mark.parametrize(("name", "in_log", "n"), CELLS)
def test_it_is_not_bought_with_larger_bounds(name, in_log, n):
    """Its median lies within 1.10 of that of r*: half of all trials reject a90 = that size."""
    design = design_of(in_log, n)
    some = Design(design.t[:2000], design.trials, "logit")
    hits = simulated_hits(some, truth_of(name), 2000, 7)
    size = 1.10 * R_STAR_MEDIAN[(name, in_log, n)] * A90
    still, _ = kept(some, hits, (np.log(size) - CENTRE) / SPREAD, seed=7)
    assert still.mean() <= 0.5


def test_bounds_solved_agree_with_statements_tested():
    """One cell by 250 bounds, solved one by one, and the same trials by their statements.

    Both rest on 299 simulated trials of different seeds, so they may part where p is near 0.05.
    """
    name, in_log, n, replicates = "moderate", True, 60, 250
    design = design_of(in_log, n, replicates=replicates)
    hits = simulated_hits(design, truth_of(name), replicates, 7)
    still, _ = kept(design, hits, truth_of(name).a90, seed=7)
    solved = np.empty(replicates, dtype=bool)
    for k, (t, found) in enumerate(zip(design.t, hits, strict=True)):
        data = sized_hits(observe(np.exp(CENTRE + SPREAD * t), found, None, "log"), "logit")
        bound = calibrated_bound(data, 0.9, 0.95, "upper", simulations=299, seed=k)
        solved[k] = bound.value is None or bound.value >= A90
    parted = int((solved != still).sum())
    assert parted <= 0.03 * replicates
    assert abs(int(solved.sum()) - int(still.sum())) <= 3.5 * np.sqrt(max(parted, 1))


LIKELIHOOD = [
    ("moderate", True, 60, 0.922),
    ("moderate", True, 120, 0.939),
    ("moderate", False, 120, 0.931),
    ("steep", True, 120, 0.908),
    ("steep", False, 120, 0.914),
]


@pytest.mark.parametrize(("name", "in_log", "n", "expected"), LIKELIHOOD)
def test_share_of_trials_in_which_the_likelihood_bound_holds(name, in_log, n, expected):
    held = count_likelihood(design_of(in_log, n), truth_of(name), replicates=REPLICATES, seed=7)
    assert held.share == pytest.approx(expected, abs=0.02)
    assert held.share < 0.945


def test_share_of_trials_in_which_the_wald_bound_holds():
    """.888 in 2000 trials of the moderate curve, 60 sizes even in their logarithm."""
    held = count_wald(design_of(True, 60), truth_of("moderate"), replicates=REPLICATES, seed=7)
    assert held.share == pytest.approx(0.888, abs=0.02)


def fitted(n=60, seed=3):
    rng = np.random.default_rng(seed)
    size = np.geomspace(0.5, 8.0, n)
    hits = rng.random(n) < truth_of("moderate").pod((np.log(size) - CENTRE) / SPREAD)
    return size, hits.astype(int)


def test_the_true_curves_of_a_check_share_their_a90():
    """Steeper, shallower and another link turn about a90; a plateau moves it out, as it must."""
    data = sized_hits(observe(*fitted(), None, "log"), "logit")
    truths = truths_of(data)
    a90 = truths["fit"].a90
    for case in ("steeper", "shallower", "probit", "cloglog", "loglog"):
        assert truths[case].a90 == pytest.approx(a90, abs=1e-12)
        assert float(truths[case].pod(np.array([a90]))[0]) == pytest.approx(0.9, abs=1e-12)
    slope = truths["fit"].slope
    assert truths["steeper"].slope == pytest.approx(1.5 * slope, rel=1e-12)
    assert truths["shallower"].slope == pytest.approx(slope / 1.5, rel=1e-12)
    assert [truths[k].link for k in ("fit", "probit", "loglog")] == ["logit", "probit", "loglog"]
    level = truths["plateau"]
    assert level.a90 > a90
    assert float(level.pod(np.array([level.a90]))[0]) == pytest.approx(0.9, abs=1e-12)
    assert float(level.pod(np.array([1e3]))[0]) == pytest.approx(0.97, abs=1e-12)


def test_a_check_tells_where_the_bound_does_not_hold():
    """At the fit it does; if the true curve is of another link, it may hold far less often."""
    data = sized_hits(observe(*fitted(120), None, "log"), "logit")
    held = how_often(data, "calibrated", replicates=2000)
    assert held["fit"].share == pytest.approx(0.95, abs=0.02)
    assert held["steeper"].share == pytest.approx(0.955, abs=0.025)
    assert held["loglog"].share < held["fit"].share - 0.03
    assert held["cloglog"].share > held["fit"].share
    plain = how_often(data, "wald", replicates=2000)
    assert plain["fit"].share < held["fit"].share - 0.02


def test_a_separated_trial_is_checked_from_the_curve_held_at_its_bound():
    sizes = [0.6, 0.9, 1.2, 1.5, 1.8, 2.1, 2.4, 2.8, 3.3, 4.0]
    data = sized_hits(observe(sizes, [0] * 5 + [1] * 5, None, "log"), "logit")
    with pytest.raises(ValueError, match="no rising curve"):
        how_often(data, "calibrated", replicates=100)
    fit = fit_hit_miss(sizes, [0] * 5 + [1] * 5, simulations=999)
    psi = (np.log(fit.a90_95) - data.centre) / data.spread
    held = how_often(data, "calibrated", psi=psi, replicates=1000)
    assert held["fit"].share >= 0.93
