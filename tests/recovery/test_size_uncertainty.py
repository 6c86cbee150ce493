"""Curves of sizes measured with error: closed form, simulated truth, simulation extrapolation."""

import numpy as np
import pytest
from scipy import special

from qualify.pod.engine import fit_curves
from qualify.pod.hit_miss import fit_hit_miss
from qualify.pod.size_uncertainty import size_uncertainty

A50, A90 = 1.6, 2.6
SLOPE = np.log(9) / np.log(A90 / A50)


def trial(rng, n, u):
    """Classical error: log-uniform true sizes 0.5 to 8, measured with relative error u."""
    x = rng.uniform(np.log(0.5), np.log(8), n)
    hits = (rng.random(n) < special.expit(SLOPE * (x - np.log(A50)))).astype(float)
    return np.exp(x + u * rng.standard_normal(n)), hits


def test_probit_curve_has_its_closed_form():
    """With one u for all, integral of Phi is Phi of slope / sqrt(1 + slope^2 u^2): to 1e-6.

    So the integrated curve and its likelihood bound follow from those with sizes as exact: same
    a50, same likelihood, slope steeper; the bound solved for the level the wider curve reaches.
    """
    w, hits = trial(np.random.default_rng(2), 150, 0.1)
    u = 0.12
    found = size_uncertainty(w, hits, u * w, link="probit")
    exact = fit_hit_miss(w, hits, link="probit", bound="likelihood")
    steeper = exact.slope / np.sqrt(1 - (exact.slope * u) ** 2)
    assert found.slope_integrated == pytest.approx(steeper, rel=1e-6)
    assert found.a50_integrated == pytest.approx(exact.a50, rel=1e-6)
    a90 = exact.a50 * np.exp(special.ndtri(0.9) / steeper)
    assert found.a90_integrated == pytest.approx(a90, rel=1e-6)
    assert found.change_a90 == pytest.approx(a90 / exact.a90 - 1, rel=1e-5)
    assert found.matters
    assert found.limit == pytest.approx(0.1 / exact.slope, rel=1e-9)


def test_without_uncertainty_nothing_changes():
    """u = 0: a50, a90 and likelihood bound of `fit_hit_miss`, all links and scales, to 1e-6."""
    w, hits = trial(np.random.default_rng(3), 90, 0.0)
    for link in ("logit", "probit", "cloglog", "loglog"):
        for scale in ("log", "linear"):
            found = size_uncertainty(w, hits, 0.0 * w, link=link, scale=scale)
            assert found.a50_integrated == pytest.approx(found.a50, rel=1e-6)
            assert found.a90_integrated == pytest.approx(found.a90, rel=1e-6)
            assert found.a90_95_integrated == pytest.approx(found.a90_95, rel=1e-5)
            assert not found.matters


def test_it_comes_nearer_to_the_truth_than_sizes_taken_as_exact():
    """24 trials of 120 targets, u = 0.3: true a90 2.6; naive 2.9 or more, integrated 2.4 to 2.8."""
    rng = np.random.default_rng(8)
    made = [trial(rng, 120, 0.3) for _ in range(24)]
    found = [size_uncertainty(w, hits, 0.3 * w) for w, hits in made]
    there = [one for one in found if one.a90_integrated is not None]
    assert len(there) >= 21
    naive = np.median([one.a90 for one in there])
    integrated = np.median([one.a90_integrated for one in there])
    assert naive > 2.85
    assert 2.4 < integrated < 2.8
    holds = [one.a90_95_integrated is None or one.a90_95_integrated >= A90 for one in there]
    assert np.mean(holds) >= 0.85  # standard error 0.045 at 0.95


def test_simulation_extrapolation_agrees():
    """Cook and Stefanski 1994: more error added, slopes extrapolated to none; both within 4 %.

    2000 targets, u = 0.15, four steps of added error, a quadratic; its own error is some 2 %.
    """
    rng = np.random.default_rng(5)
    w, hits = trial(rng, 2000, 0.15)
    steps = np.array([0.0, 0.5, 1.0, 1.5, 2.0])
    places = []
    for step in steps:
        noise = np.sqrt(step) * 0.15 * rng.standard_normal((16, 2000))
        fits = fit_curves(np.log(w) + noise, hits, 1, "logit")
        places.append(np.mean((np.log(9) - fits.intercept) / fits.slope))
    simex = np.exp(np.polyval(np.polyfit(steps, places, 2), -1.0))
    found = size_uncertainty(w, hits, 0.15 * w)
    assert found.a90_integrated == pytest.approx(simex, rel=0.04)
    assert abs(np.log(simex / found.a90)) > 0.01


@pytest.mark.parametrize(("u", "low", "high"), [(0.05, 0.1, 1.0), (0.15, 2.5, 5.5)])
def test_what_a_relative_uncertainty_adds_to_a90(u, low, high):
    """Size error widens a90 by less than 1 % at u = 0.05 and by about 4 % at 0.15.

    Rule of thumb, common practice, no source; here for a90 / a50 = 1.6 by a sample so large
    (400,000) that its error is 0.15 %.
    """
    w, hits = trial(np.random.default_rng(3), 400_000, u)
    fit = fit_curves(np.log(w), hits, 1, "logit")
    a90 = np.exp((np.log(9) - fit.intercept[0]) / fit.slope[0])
    assert low < 100 * (a90 / A90 - 1) < high


def test_a_step_and_a_wrong_uncertainty_are_told():
    """Hits and misses that cross within the uncertainty give no slope; bad cells are refused."""
    w = np.array([1.0, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6, 1.7])
    hits = np.array([0, 0, 0, 1, 0, 1, 1, 1])
    found = size_uncertainty(w, hits, 0.2 * w)
    assert found.a90_integrated is None
    assert "may be a step" in found.reason
    for bad, words in (([0.1] * 7, "needs a standard"), (-0.1 * w, "needs"), (0.6 * w, "half")):
        with pytest.raises(ValueError, match=words):
            size_uncertainty(w, hits, bad)
