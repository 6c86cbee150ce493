"""Random intercept of the target: against R (lme4, 25 places), plain integration, closed forms.

glmer gives with more than one place a log-likelihood that lacks binomial constants and is told
against the saturated model; for single readings that is the log-likelihood itself.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import integrate, special, stats

from qualify.pod.engine import entropy_sum
from qualify.pod.links import LINK_NAMES, pod_of
from qualify.pod.marginal import Grouped, height_at, marginal_pod
from qualify.pod.random_intercepts import average_size, fit_random_intercepts, typical_size

R = json.loads((Path(__file__).parent / "data" / "readers_r.json").read_text())
INSPECTORS, CBPP = R["inspectors"], R["cbpp"]
SIZE = np.log(INSPECTORS["size"])
DESIGN = np.column_stack([np.ones(len(SIZE)), SIZE])


def test_readings_of_four_inspectors_are_those_of_glmer():
    """Coefficients and both a90 to 1e-7, sd to 1e-7, likelihood to 1e-11; covariance to 1e-5.

    The covariance of glmer comes from finite differences.
    """
    fit = fit_random_intercepts(DESIGN, INSPECTORS["hit"], 1, INSPECTORS["target"], "logit")
    known = INSPECTORS["known"]["glmer_agq25"]
    assert fit.outcome == "fitted"
    np.testing.assert_allclose(fit.coef, known["fixed"], rtol=1e-7)
    assert fit.sd == pytest.approx(known["sd"], rel=1e-7)
    assert fit.log_likelihood == pytest.approx(known["loglik"], rel=1e-11)
    np.testing.assert_allclose(fit.covariance, known["vcov"], rtol=1e-5)
    typical, average = (size(fit, 0.9, "log") for size in (typical_size, average_size))
    assert typical == pytest.approx(known["a90_typical_target"], rel=1e-7)
    assert average == pytest.approx(known["a90_population_averaged"], rel=1e-7)


def test_herds_of_lesnoff_are_those_of_glmer():
    """Lesnoff et al. 2004, four periods: coefficients and sd to 1e-7, covariance to 2e-6."""
    period = np.array(CBPP["period"])
    design = np.column_stack([np.ones(len(period)), *(period == p for p in (2, 3, 4))])
    hits, trials = np.array(CBPP["incidence"], float), np.array(CBPP["size"], float)
    fit, known = fit_random_intercepts(design, hits, trials, CBPP["herd"], "logit"), CBPP["known"]
    np.testing.assert_allclose(fit.coef, known["fixed"], rtol=1e-7)
    assert fit.sd == pytest.approx(known["sd"], rel=1e-7)
    saturated = float(entropy_sum(hits, trials).sum())
    assert fit.log_likelihood - saturated == pytest.approx(known["loglik"], rel=1e-11)
    np.testing.assert_allclose(fit.covariance, known["vcov"], rtol=2e-6)


@pytest.mark.parametrize("link", LINK_NAMES)
def test_likelihood_of_plain_integration_and_derivatives_of_differences(link):
    """By scipy's integration of each target to 1e-7; derivatives by differences to 1e-5."""
    group, first = np.repeat(np.arange(10), 4), np.arange(0, 40, 4)
    design, hits = DESIGN[80:120], np.array(INSPECTORS["hit"][80:120], dtype=float)
    data = Grouped(design, hits, 1 - hits, first, group, link)
    values, sd = np.array([-1.4, 2.1]), 0.8

    def whole(target):
        own = group == target

        def integrand(u):
            pod = pod_of(link, design[own] @ values + sd * u)
            return np.prod(np.where(hits[own] > 0, pod, 1 - pod)) * stats.norm.pdf(u)

        return np.log(integrate.quad(integrand, -9, 9, epsabs=1e-10, limit=100)[0])

    here = height_at(data, values, sd, 25)
    assert here.value == pytest.approx(sum(whole(g) for g in range(10)), abs=1e-6)
    step, moves = 1e-5, np.eye(3)
    for j in range(3):
        there, back = (
            height_at(data, values + way * step * moves[j, :2], sd + way * step * moves[j, 2], 25)
            for way in (1, -1)
        )
        slope = (there.value - back.value) / (2 * step)
        assert here.gradient[j] == pytest.approx(slope, rel=1e-5, abs=1e-5)
        bend = (there.gradient - back.gradient) / (2 * step)
        np.testing.assert_allclose(here.bend[j], bend, rtol=1e-5, atol=1e-5)


def test_average_of_a_probit_curve_has_its_closed_form():
    """The integral of Phi(eta + sd u) phi(u) is Phi(eta / sqrt(1 + sd^2)); to 1e-13."""
    eta = np.linspace(-6, 6, 13)
    for sd in (0.0, 0.4, 2.0, 8.0):
        known = special.ndtr(eta / np.sqrt(1 + sd**2))
        np.testing.assert_allclose(marginal_pod("probit", eta, sd), known, atol=1e-13)


def test_no_spread_and_spread_without_end_are_told():
    """Independent readings give sd 0 and the pooled curve; unanimous readers give none."""
    rng = np.random.default_rng(1)
    x, target = np.repeat(np.linspace(-1, 1, 40), 4), np.repeat(np.arange(40), 4)
    design, pod = np.column_stack([np.ones(160), x]), special.expit(3 * x)
    alike = fit_random_intercepts(design, rng.random(160) < pod, 1, target, "logit")
    assert (alike.outcome, alike.sd, alike.spread_p) == ("no_spread", 0.0, 1.0)
    assert typical_size(alike, 0.9, "linear") == pytest.approx(
        average_size(alike, 0.9, "linear"), rel=1e-10
    )
    agreed = np.repeat(rng.random(40) < pod[::4], 4)
    unbounded = fit_random_intercepts(design, agreed, 1, target, "logit")
    assert (unbounded.outcome, unbounded.coef) == ("unbounded", None)
    assert average_size(unbounded, 0.9, "linear") is None
    apart = fit_random_intercepts(design, x > 0, 1, target, "logit")
    assert apart.outcome == "separated"
