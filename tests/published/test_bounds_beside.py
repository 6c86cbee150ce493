"""Bounds beside the calibrated one: R under separation, a prototype of r*, the whole curve."""

import json
from pathlib import Path

import numpy as np
import pytest

from qualify.pod.bounds import likelihood_bound
from qualify.pod.hit_miss import fit_hit_miss
from qualify.pod.observations import observe
from qualify.pod.other_bounds import modified_root, whole_curve_constant
from qualify.pod.problem import FittedCurve, SizedHits, signed_root, sized_hits

SETS = json.loads((Path(__file__).parent / "data" / "hit_miss_sets.json").read_text())


def data_of(name, link="logit", scale="log"):
    one = SETS[name]
    return sized_hits(observe(one["size"], one["hits"], one["trials"], scale), link)


# R 4.2.2, own profile likelihood by optim and uniroot; supremum of the log-likelihood, bound
SEPARATED = {
    "invented_separated": (0.0, 2.69871623801681),
    "invented_quasi_separated": (-1.90954250488444, 2.92771954815975),
}


@pytest.mark.parametrize("name", SEPARATED)
def test_the_likelihood_bound_exists_under_separation_and_agrees_with_r(name):
    """It is computed, and not given to users: it would hold far less often than it says."""
    top, bound = SEPARATED[name]
    data = data_of(name)
    assert isinstance(data, SizedHits)
    assert not isinstance(data, FittedCurve)
    assert data.top == pytest.approx(top, rel=1e-12, abs=1e-14)
    found = likelihood_bound(data, 0.9, 0.95, "upper").value
    assert found == pytest.approx(bound, rel=1e-7)
    fit = fit_hit_miss(SETS[name]["size"], SETS[name]["hits"], simulations=249)
    assert fit.bounds["likelihood"]["upper"].value is None


# A prototype in Python, not R; only its simulated holding supports it
PROTOTYPE = {"invented_n60": 3.9440459477939758, "invented_n120": 3.147215017331109}


@pytest.mark.parametrize("name", PROTOTYPE)
def test_the_modified_root_agrees_with_a_prototype(name):
    one = SETS[name]
    fit = fit_hit_miss(one["size"], one["hits"], bound="r_star")
    assert fit.a90_95 == pytest.approx(PROTOTYPE[name], rel=1e-7)
    assert fit.bounds["likelihood"]["upper"].value < fit.a90_95


def test_the_modified_root_is_continuous_through_the_estimate():
    """At r = 0 its formula is 0/0; the correction next to it is small and changes no sign."""
    data = data_of("invented_n120")
    level = float(np.log(9.0))
    estimate = (level - data.intercept) / data.slope
    psi = estimate + np.linspace(-0.05, 0.05, 41)
    root = modified_root(data, psi, level)
    assert np.all(np.diff(root) > 0.0)
    plain = signed_root(data, psi, np.full(41, level))
    assert np.abs(root - plain).max() < 0.2


def test_the_constant_of_the_whole_curve_region():
    """5.13838 at 95 %, one-sided, solved in R from Phi(sqrt g) - exp(-g/2)/2 = 0.95."""
    assert whole_curve_constant(0.95) == pytest.approx(5.13838078532145, rel=1e-10)


def test_the_region_of_the_whole_curve_is_wider_and_says_what_it_is():
    fit = fit_hit_miss(**{k: SETS["invented_n60"][k] for k in ("size", "hits")}, bound="cheng_iles")
    wald = fit.bounds["wald"]["upper"].value
    # log size: estimate + sqrt(5.13838) / 1.644854 as far as the Wald bound
    ratio = np.log(fit.a90_95 / fit.a90) / np.log(wald / fit.a90)
    assert ratio == pytest.approx(np.sqrt(5.13838078532145) / 1.6448536269514722, rel=1e-9)
    assert "whole curve" in {n.code: n.text for n in fit.notices}["whole_curve"]


@pytest.mark.parametrize("kind", ["r_star", "firth"])
def test_what_is_defined_for_the_logit_only_says_so(kind):
    one = SETS["invented_n60"]
    fit = fit_hit_miss(one["size"], one["hits"], link="probit", bound=kind)
    assert fit.a90_95 is None
    assert "logit" in fit.bounds[kind]["upper"].reason


def test_no_resample_is_dropped_by_the_bootstrap():
    """14 targets of which each resample is separated: a percentile of the gap's far end."""
    from qualify.pod.other_bounds import bootstrap_bound, resampled_psi

    data = data_of("invented_separated")
    psi, odd = resampled_psi(data, 0.9, seed=1, resamples=499)
    assert len(psi) == 499
    assert odd == 1.0
    assert np.isfinite(psi).mean() > 0.95
    assert bootstrap_bound(data, 0.9, 0.95, "upper").value >= 2.1
    full = data_of("invented_n60")
    psi, odd = resampled_psi(full, 0.9, seed=1)
    assert odd < 0.05
    # its percentile against numpy's on the same resamples, one rank apart at most
    fit = fit_hit_miss(**{k: SETS["invented_n60"][k] for k in ("size", "hits")}, bound="bootstrap")
    low, high = np.sort(psi)[[1898, 1900]] * full.spread + full.centre
    assert low <= np.log(fit.a90_95) <= high
