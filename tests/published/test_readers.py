"""Readings of the same targets, pooled: covariances by target against R and statsmodels."""

import json
from pathlib import Path

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import linalg, special

from qualify.pod.clustered import clustered_fit, clustered_size_bound

R = json.loads((Path(__file__).parent / "data" / "readers_r.json").read_text())
INSPECTORS, PAIRED = R["inspectors"], R["paired"]


def inspectors():
    size = np.log(INSPECTORS["size"])
    return np.column_stack([np.ones(len(size)), size]), np.array(INSPECTORS["hit"], dtype=float)


def paired():
    """Both modes below each other: constant, log size, mode, mode times log size."""
    x = np.tile(np.log(PAIRED["size"]), 2)
    mode = np.repeat([0.0, 1.0], len(PAIRED["size"]))
    hits = np.array([*PAIRED["mode_a"], *PAIRED["mode_b"]], dtype=float)
    return np.column_stack([np.ones(len(x)), x, mode, mode * x]), hits, PAIRED["target"] * 2


def sandwiches_by_step(design, hits, clusters):
    """Scoring from R's start; at each step the covariances of its weights with the last scores."""
    pod = (hits + 0.5) / 2
    eta = special.logit(pod)
    breads = []
    for _ in range(12):
        weight = pod * (1 - pod)
        breads.append(np.linalg.inv(design.T @ (weight[:, None] * design)))
        eta = design @ (breads[-1] @ (design.T @ (weight * eta + hits - pod)))
        pod = special.expit(eta)
    scores = design * (hits - pod)[:, None]
    names = np.array(clusters)
    summed = np.array([scores[names == one].sum(axis=0) for one in np.unique(names)])
    return [(bread, bread @ summed.T @ summed @ bread) for bread in breads]


CASES = {
    "inspectors": (*inspectors(), INSPECTORS["target"], INSPECTORS["known"], "pooled_coef"),
    "paired": (*paired(), PAIRED["known"], "coef_x_mode"),
}


@pytest.mark.parametrize("case", CASES)
def test_clustered_covariances_are_those_of_r_but_for_the_step_r_left_out(case):
    """Coefficients to 1e-9; covariances to 2e-7, where R stopped; R's own at its step to 1e-9."""
    design, hits, clusters, known, name = CASES[case]
    fit = clustered_fit(design, hits, clusters, "logit")
    np.testing.assert_allclose(fit.coef, known[name], rtol=1e-9)
    np.testing.assert_allclose(fit.naive, known["vcov_naive"], rtol=2e-7)
    np.testing.assert_allclose(fit.cr0, known["vcov_cluster"]["CR0"], rtol=2e-7)
    np.testing.assert_allclose(fit.cr1, known["vcov_cluster"]["CR1_G"], rtol=2e-7)
    stopped = min(
        sandwiches_by_step(design, hits, clusters),
        key=lambda step: np.abs(step[0] - known["vcov_naive"]).max(),
    )
    np.testing.assert_allclose(stopped[0], known["vcov_naive"], rtol=1e-9)
    np.testing.assert_allclose(stopped[1], known["vcov_cluster"]["CR0"], rtol=1e-9)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("link", ["logit", "probit", "cloglog", "loglog"])
def test_statsmodels_agrees_on_covariances_by_target(case, link):
    """Liang and Zeger 1986: estimating equations with working independence; CR0 to 1e-6."""
    design, hits, clusters, _, _ = CASES[case]
    links = {"logit": "Logit", "probit": "Probit", "cloglog": "CLogLog", "loglog": "LogLog"}
    family = sm.families.Binomial(link=getattr(sm.families.links, links[link])())
    other = sm.GEE(hits, design, groups=np.array(clusters), family=family)
    fit = clustered_fit(design, hits, clusters, link)
    result = other.fit(start_params=fit.coef, maxiter=300, ctol=1e-11, scale=1.0)
    np.testing.assert_allclose(fit.coef, result.params, rtol=1e-8)
    np.testing.assert_allclose(fit.naive, result.cov_naive, rtol=1e-6)
    np.testing.assert_allclose(fit.cr0, result.cov_params(), rtol=1e-6)


def test_wald_bounds_of_pooled_readings_with_either_covariance():
    """R took the normal quantile 1.645 where we take t with 49 degrees, 1.677: both from CR1."""
    design, hits = inspectors()
    known = INSPECTORS["known"]
    fit = clustered_fit(design, hits, INSPECTORS["target"], "logit")
    bound = clustered_size_bound(fit, "logit", "log")
    half = np.log(known["a90_95_cluster_CR1"] / known["a90_pooled"])
    t_over_z = 1.676550892616 / 1.644853626951
    assert np.log(bound.value / known["a90_pooled"]) == pytest.approx(half * t_over_z, rel=1e-7)
    assert bound.value > known["a90_95_cluster_CR1"] > known["a90_95_naive"]


def test_cr2_undoes_the_leverage_of_each_target():
    """Bell and McCaffrey 2002: residuals by (I - H)^(-1/2), here by the square root of scipy; 1e-9.

    On a constant with as many readings of each target, every block of I - H has the value
    1 - 1/G along the readings, so that CR2 is CR1 exactly.
    """
    design, hits = inspectors()
    fit = clustered_fit(design, hits, INSPECTORS["target"], "probit")
    eta, names = design @ fit.coef, np.array(INSPECTORS["target"])
    pod, density = special.ndtr(eta), np.exp(-(eta**2) / 2) / np.sqrt(2 * np.pi)
    root = density / np.sqrt(pod * (1 - pod))
    scaled, pearson = design * root[:, None], (hits - pod) / np.sqrt(pod * (1 - pod))
    middle = np.zeros((2, 2))
    for one in np.unique(names):
        own = scaled[names == one]
        power = np.linalg.inv(linalg.sqrtm(np.eye(len(own)) - own @ fit.naive @ own.T))
        score = own.T @ power @ pearson[names == one]
        middle += np.outer(score, score)
    np.testing.assert_allclose(fit.cr2, fit.naive @ middle @ fit.naive, rtol=1e-9)
    flat = clustered_fit(np.ones((len(hits), 1)), hits, names, "logit")
    np.testing.assert_allclose(flat.cr2, flat.cr1, rtol=1e-9)


def test_a_target_that_alone_fixes_a_coefficient_leaves_no_cr2():
    design = np.column_stack([np.ones(8), [0, 0, 0, 0, 0, 0, 1, 1]])
    fit = clustered_fit(design, [0, 1, 1, 0, 1, 1, 0, 1], [1, 1, 2, 2, 3, 3, 4, 4], "logit")
    assert fit.cr2 is None
    assert fit.cr1[1, 1] > 0.0
    with pytest.raises(ValueError, match="at least two targets"):
        clustered_fit(design, [0, 1, 1, 0, 1, 1, 0, 1], [1] * 8, "logit")
